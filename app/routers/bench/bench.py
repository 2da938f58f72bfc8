"""The bench view of an evening: each act one press, by the services of the cast session."""

from collections.abc import Callable
from typing import Any

from fastapi import Request
from fastapi.responses import Response
from sqlmodel import Session

from app.errors import Refused
from app.models import Batch, CastSession, Melt
from app.models.base import FormIn
from app.models.batch import BowlIn, TestPiecesIn
from app.models.cast import CloseIn, DegreesIn, NoteIn, SetIn, StepIn, TemperatureIn
from app.routers.bench import bench_page
from app.routers.bench.bench_page import NoBenchPage
from app.routing import late_router
from app.services.book import repository
from app.services.cast import at_bench, bowls, casting, hands, leftovers, pan, sets_poured
from app.services.stock import batches
from app.web import Book, Texts, Typed, loaded_whole, named, render, submit, version_of

router = late_router("/bench")

Onward = Callable[[Session, int, Batch], str]
"""Where an act leads."""

_closing: Onward = lambda _session, evening_id, _batch: f"/bench/{evening_id}?show=close"  # noqa: E731


@router.get("")
def show_open(request: Request, session: Book) -> Response:
    """The one evening that is open; where there are none or several, which they are."""
    running = casting.due(session)
    evenings = {run.cast.pk for run in running}
    if len(evenings) == 1:
        return bench_page.page_of(request, session, evenings.pop())
    return render(request, session, NoBenchPage(evening=None, running=running, stray=""))


@router.get("/{evening_id}")
def show_one(request: Request, session: Book, evening_id: int) -> Response:
    """An evening at arm's length."""
    return bench_page.page_of(request, session, evening_id)


@router.post("/{evening_id}/{code}/step/{step_id}")
def step(request: Request, typed: Typed, evening_id: int, code: str, step_id: int) -> Response:
    """The step in front is done."""

    def do(session: Session, batch: Batch, data: StepIn) -> str:
        melt = casting.the_open(session, batch)
        done = hands.record(session, melt, step_id, data, _hands(request, session, melt), version_of(typed))
        return f"{at_bench.SAID.get(done.key.partition(':')[0], 'Done')}."

    return _small(request, typed, evening_id, code, StepIn, do, f"done-{step_id}", bench_page.after_step)


@router.post("/{evening_id}/{code}/bowl/{part_id}")
def bowl(request: Request, session: Book, typed: Typed, evening_id: int, code: str, part_id: int) -> Response:
    """What the scale reads with a bowl on it."""

    def do(writing: Session, batch: Batch, data: BowlIn) -> str:
        melt = casting.the_open(writing, batch)
        person = _hands(request, writing, melt)
        booked = bowls.book(writing, melt, batch, part_id, data, person, version_of(typed))
        return f"{booked.words}.{' All weighed.' if booked.all_weighed else ''}"

    return _small(request, typed, evening_id, code, bowls.form_of(session, part_id), do, f"bowl-{part_id}")


@router.post("/{evening_id}/{code}/pan")
def read_pan(request: Request, typed: Typed, evening_id: int, code: str) -> Response:
    """Keep a reading of the pan."""

    def do(session: Session, batch: Batch, data: TemperatureIn) -> str:
        return f"Pan {pan.record_temperature(session, batch, data).temperature_typed}."

    return _small(request, typed, evening_id, code, TemperatureIn, do, "pan-form")


@router.post("/{evening_id}/{code}/pan/{reading_id}/degrees")
def degrees(request: Request, typed: Typed, evening_id: int, code: str, reading_id: int) -> Response:
    """Say which degrees a doubted reading was in."""

    def do(session: Session, batch: Batch, data: DegreesIn) -> str:
        settled = pan.settle(session, batch, reading_id, data, version_of(typed))
        return f"Pan {settled.temperature_typed}."

    return _small(request, typed, evening_id, code, DegreesIn, do, f"degrees-{reading_id}")


@router.post("/{evening_id}/{code}/set")
def add_set(request: Request, typed: Typed, evening_id: int, code: str) -> Response:
    """Add a set of moulds to a melt."""

    def do(session: Session, batch: Batch, data: SetIn) -> str:
        number = sets_poured.add_set(session, casting.the_open(session, batch), data, version_of(typed))
        return f"Set {number} is added."

    return _small(request, typed, evening_id, code, SetIn, do, "set-form")


@router.post("/{evening_id}/note")
def note(request: Request, typed: Typed, evening_id: int) -> Response:
    """Keep words."""

    def do(session: Session, batch: Batch, data: NoteIn) -> str:
        casting.write_note(session, batch, data, of_evening=True)
        return "The note is kept."

    return _small(request, typed, evening_id, "", NoteIn, do, "note-form")


@router.post("/{evening_id}/{code}/test-pieces")
def test_pieces(request: Request, typed: Typed, evening_id: int, code: str) -> Response:
    """Tell what of a melt went into test pieces, then the next one, then close."""

    def do(session: Session, batch: Batch, data: TestPiecesIn) -> str:
        leftovers.tell_test_pieces(session, batch, data)
        return f"Kept for {batch.code}."

    return _small(request, typed, evening_id, code, TestPiecesIn, do, "test-pieces-form", _closing)


@router.post("/{evening_id}/close")
def close(request: Request, typed: Typed, evening_id: int) -> Response:
    """Close the evening, once for all its melts."""

    def do(session: Session, batch: Batch, data: CloseIn) -> str:
        casting.close(session, batch, data, version_of(typed))
        return "The evening is closed."

    return _small(request, typed, evening_id, "", CloseIn, do, "close-form")


def _small(
    request: Request,
    typed: Texts,
    evening_id: int,
    code: str,
    model: type[FormIn],
    do: Callable[[Session, Batch, Any], str],
    form_id: str,
    onward: Onward | None = None,
) -> Response:
    """Do one thing to a melt, then show the bench, or the page that follows from it, with what was done and what comes
    next.
    """
    told: list[str] = []

    def act(session: Session, data: Any) -> str:
        batch = _batch(session, evening_id, code)
        told[:] = [do(session, batch, data)]
        told.append(bench_page.next_words(session, evening_id))
        return onward(session, evening_id, batch) if onward is not None else f"/bench/{evening_id}"

    response = submit(
        request,
        typed,
        model,
        act=act,
        page=lambda s, form: bench_page.page_of(request, s, evening_id, form),
        form_id=form_id,
        notice=lambda: " ".join(words for words in told if words),
    )
    at_bench_still = response.headers.get("location", "/bench/").startswith("/bench/")
    return response if at_bench_still else loaded_whole(request, response)


def _batch(session: Session, evening_id: int, code: str) -> Batch:
    """The melt's batch that an address names, or the evening's first one."""
    evening = repository.get(session, CastSession, evening_id, "evening")
    if not code:
        return repository.get(session, Batch, evening.melts[0].batch_id, "batch")
    batch = batches.by_code(session, code)
    if casting.find(session, batch) != evening:
        raise Refused(f"{batch.code} is no melt of this evening.")
    return batch


def _hands(request: Request, session: Session, melt: Melt) -> str:
    """Who does it: the person that the device is named for, or who opened the evening."""
    return named(request, session) or casting.person(melt.evening)
