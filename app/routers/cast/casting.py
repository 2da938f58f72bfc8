"""Pages of the cast session, used at the bench: each act is a small form of its own."""

from collections.abc import Callable
from typing import Any

from fastapi import Request
from fastapi.responses import Response
from sqlmodel import Session

from app.models import Batch, CastSession, Melt
from app.models.base import FormIn
from app.models.batch import AirIn, LeftoverIn, SwapIn, TestPiecesIn, VoidIn, WeighOutIn
from app.models.cast import CloseIn, DegreesIn, NoteIn, OpenSessionIn, SetIn, StepIn, StepTimeIn, TemperatureIn
from app.models.history import correction_of
from app.page import Page
from app.routers.cast import checklists, session_page
from app.routing import late_router
from app.services.book import repository
from app.services.cast import air, casting, evenings, hands, leftovers, pan, sets_poured, weigh_outs
from app.services.cast.casting import Running
from app.services.stock import batches
from app.web import Book, PageNumber, Texts, Typed, named, render, submit, version_of

router = late_router("/cast")


class CastPage(Page, template="cast/index.html", section="cast"):
    """Open sessions, what waits to be cast, and a page of closed sessions."""

    running: list[Running]
    planned: list[Batch]
    closed: list[tuple[CastSession, list[Batch]]]
    found: repository.Page[tuple[CastSession, list[Batch]]]


@router.get("")
def show_all(request: Request, session: Book, page: PageNumber = 1) -> Response:
    """Open and closed sessions, and what waits to be cast."""
    found, running = casting.closed(session, page), casting.due(session)
    shown = CastPage(running=running, closed=found.rows, found=found, planned=batches.in_states(session, "planned"))
    return render(request, session, shown)


@router.get("/{code}")
def show_one(request: Request, session: Book, code: str) -> Response:
    """One session."""
    return session_page.page_of(request, session, code)


@router.post("/{code}/open")
def open_session(request: Request, typed: Typed, code: str) -> Response:
    """Open or reopen the session with its checklist, or let the batch into the open evening by its short list."""

    def act(session: Session, data: OpenSessionIn) -> str:
        evening = casting.open_session(session, batches.by_code(session, code), data)
        return f"/bench/{evening.pk}"

    return submit(
        request,
        typed,
        OpenSessionIn,
        act=act,
        page=lambda s, form: checklists.page_of(request, s, code, form),
        form_id="open",
        notice="The session is open.",
    )


@router.post("/{code}/join")
def join(request: Request, typed: Typed, code: str) -> Response:
    """Let the batch into the open evening with its signed short list."""

    def act(session: Session, data: OpenSessionIn) -> str:
        return f"/bench/{evenings.join(session, batches.by_code(session, code), data).cast_session_id}"

    return submit(
        request,
        typed,
        OpenSessionIn,
        act=act,
        page=lambda s, form: checklists.page_of(request, s, code, form),
        form_id="open",
        notice="It is a melt of the open evening.",
    )


@router.post("/{code}/weigh/{part_id}")
def weigh(request: Request, session: Book, typed: Typed, code: str, part_id: int) -> Response:
    """Book a weighed amount."""

    def do(writing: Session, batch: Batch, data: WeighOutIn) -> None:
        person = _hands(request, writing, casting.the_open(writing, batch))
        weigh_outs.weigh_out(writing, batch, part_id, data, person, version_of(typed))

    model = weigh_outs.form_of(session, part_id)
    return _small(request, typed, code, model, do, f"weigh-{part_id}", "#weigh-out", "Booked.")


@router.post("/{code}/weigh/{part_id}/swap")
def swap(request: Request, typed: Typed, code: str, part_id: int) -> Response:
    """Book what stands at two parts the other way round."""

    def do(session: Session, batch: Batch, data: SwapIn) -> None:
        person = _hands(request, session, casting.the_open(session, batch))
        weigh_outs.swap_over(session, batch, part_id, data, person, version_of(typed))

    notice = "Swapped; what stood there is struck out."
    return _small(request, typed, code, SwapIn, do, f"swap-{part_id}", "#weigh-out", notice)


@router.post("/{code}/strike/{weigh_out_id}")
def strike(request: Request, typed: Typed, code: str, weigh_out_id: int) -> Response:
    """Strike out a weighed amount."""

    def do(session: Session, batch: Batch, data: VoidIn) -> None:
        weigh_outs.strike_out(session, batch, weigh_out_id, data, version_of(typed))

    notice = "Struck out; it is back in its bag."
    return _small(request, typed, code, VoidIn, do, f"strike-{weigh_out_id}", "#weigh-out", notice)


@router.post("/{code}/step/{step_id}")
def step(request: Request, typed: Typed, code: str, step_id: int) -> Response:
    """Tick, skip or take back a step."""

    def do(session: Session, batch: Batch, data: StepIn) -> None:
        melt = casting.the_open(session, batch)
        hands.record(session, melt, step_id, data, _hands(request, session, melt), version_of(typed))

    chosen = dict(typed).get("act", "")
    form_id = f"{chosen if chosen in ('skip', 'undo') else 'done'}-{step_id}"
    return _small(request, typed, code, StepIn, do, form_id, "#steps")


@router.post("/{code}/step/{step_id}/time")
def step_time(request: Request, typed: Typed, code: str, step_id: int) -> Response:
    """Tell afterwards when a step was done, or correct it."""

    def do(session: Session, batch: Batch, data: StepTimeIn) -> None:
        melt = casting.the_open(session, batch)
        hands.tell_time(session, melt, step_id, data, _hands(request, session, melt), version_of(typed))

    return _small(request, typed, code, StepTimeIn, do, f"time-{step_id}", "#steps", "The time is kept.")


@router.post("/{code}/sets")
def add_set(request: Request, typed: Typed, code: str) -> Response:
    """Add a set of moulds."""

    def do(session: Session, batch: Batch, data: SetIn) -> None:
        sets_poured.add_set(session, casting.the_open(session, batch), data, version_of(typed))

    return _small(request, typed, code, SetIn, do, "set-form", "#steps", "The set is added.")


@router.post("/{code}/sets/drop")
def drop_set(request: Request, typed: Typed, code: str) -> Response:
    """Take the last set out."""

    def do(session: Session, batch: Batch, _data: FormIn) -> None:
        sets_poured.drop_set(session, casting.the_open(session, batch), version_of(typed))

    return _small(request, typed, code, FormIn, do, "drop-set-form", "#steps", "The set is taken out.")


@router.post("/{code}/temperature")
def temperature(request: Request, typed: Typed, code: str) -> Response:
    """Keep a reading."""
    return _small(request, typed, code, TemperatureIn, pan.record_temperature, "temperature-form", "#temperature")


@router.post("/{code}/temperature/{reading_id}/degrees")
def degrees(request: Request, typed: Typed, code: str, reading_id: int) -> Response:
    """Say which degrees a doubted reading was in."""

    def do(session: Session, batch: Batch, data: DegreesIn) -> None:
        pan.settle(session, batch, reading_id, data, version_of(typed))

    return _small(request, typed, code, DegreesIn, do, f"degrees-{reading_id}", "#temperature", "Kept.")


@router.post("/{code}/note")
def note(request: Request, typed: Typed, code: str) -> Response:
    """Keep words."""
    return _small(request, typed, code, NoteIn, casting.write_note, "note-form", "#notes")


@router.post("/{code}/air")
def tell_air(request: Request, typed: Typed, code: str) -> Response:
    """Save the air's temperature and humidity."""
    return _small(request, typed, code, correction_of(AirIn), air.record_humidity, "air-form", "#air", "Kept.")


@router.post("/{code}/test-pieces")
def test_pieces(request: Request, typed: Typed, code: str) -> Response:
    """Save the mass of the test pieces."""

    def do(session: Session, batch: Batch, data: TestPiecesIn) -> None:
        leftovers.tell_test_pieces(session, batch, data, version_of(typed))

    return _small(request, typed, code, correction_of(TestPiecesIn), do, "test-pieces-form", "#closing", "Kept.")


@router.post("/{code}/leftover")
def leftover(request: Request, typed: Typed, code: str) -> Response:
    """Keep a leftover."""
    notice = "Kept for a later batch."
    return _small(request, typed, code, LeftoverIn, leftovers.keep, "leftover-form", "#closing", notice)


@router.post("/{code}/close")
def close(request: Request, typed: Typed, code: str) -> Response:
    """Close the session."""

    def do(session: Session, batch: Batch, data: CloseIn) -> None:
        casting.close(session, batch, data, version_of(typed))

    return _small(request, typed, code, CloseIn, do, "close-form", "", "The session is closed.")


def _small(
    request: Request,
    typed: Texts,
    code: str,
    model: type[FormIn],
    do: Callable[[Session, Batch, Any], object],
    form_id: str,
    place: str,
    notice: str = "",
) -> Response:
    """Do one thing to a batch, then show the place of its page where it was done."""

    def act(session: Session, data: Any) -> str:
        do(session, batches.by_code(session, code), data)
        return f"/cast/{code}{place}"

    return submit(
        request,
        typed,
        model,
        act=act,
        page=lambda s, form: session_page.page_of(request, s, code, form),
        form_id=form_id,
        notice=notice,
    )


def _hands(request: Request, session: Session, melt: Melt) -> str:
    """Who does it: the person that the device is named for, or who opened the evening."""
    return named(request, session) or casting.person(melt.evening)
