"""Pages of the cast session, used at the bench: each act is a small form of its own."""

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app.forms import Form
from app.models import Batch, CastSession
from app.models.batch import LeftoverIn, TestPiecesIn, VoidIn, WeighOutIn
from app.models.cast import CloseIn, NoteIn, OpenSessionIn, StepIn, TemperatureIn
from app.services import casting, cautions, planning, steps, weigh_outs, workshop
from app.units import editable
from app.web import Act, Book, Forms, Typed, render, submit, version_of

router = APIRouter(prefix="/cast")


@router.get("")
def show_all(request: Request, session: Book) -> Response:
    """Open and closed sessions, and what waits to be cast."""
    listed = casting.sessions(session)
    return render(
        request, session, "cast/index.html", section="cast",
        running=casting.due(session), closed=[pair for pair in listed if pair[0].closed_at is not None],
        planned=planning.batches(session, "planned"),
    )  # fmt: skip


@router.get("/{code}")
def show_one(request: Request, session: Book, code: str) -> Response:
    """One session."""
    return _page(request, session, code)


@router.post("/{code}/open")
def open_session(request: Request, typed: Typed, code: str) -> Response:
    """Open or reopen the session with its checklist."""

    def act(session: Session, data: OpenSessionIn) -> str:
        casting.open_session(session, planning.by_code(session, code), data)
        return f"/cast/{code}"

    return submit(
        request, typed, OpenSessionIn, act=act, page=lambda s, form: _page(request, s, code, form), form_id="open",
        notice="The session is open.",
    )  # fmt: skip


@router.post("/{code}/weigh/{part_id}")
def weigh(request: Request, session: Book, typed: Typed, code: str, part_id: int) -> Response:
    """Book a weighed amount."""

    def act(writing: Session, data: WeighOutIn) -> str:
        batch = planning.by_code(writing, code)
        person = casting.person(casting.the_open(writing, batch))
        weigh_outs.weigh_out(writing, batch, part_id, data, person, version_of(typed))
        return f"/cast/{code}#weigh-out"

    return submit(
        request, typed, weigh_outs.form_of(session, part_id), act=act,
        page=lambda s, form: _page(request, s, code, form), form_id=f"weigh-{part_id}", notice="Booked.",
    )  # fmt: skip


@router.post("/{code}/strike/{weigh_out_id}")
def strike(request: Request, typed: Typed, code: str, weigh_out_id: int) -> Response:
    """Strike out a weighed amount."""

    def act(session: Session, data: VoidIn) -> str:
        weigh_outs.strike_out(session, planning.by_code(session, code), weigh_out_id, data, version_of(typed))
        return f"/cast/{code}#weigh-out"

    return submit(
        request, typed, VoidIn, act=act, page=lambda s, form: _page(request, s, code, form),
        form_id=f"strike-{weigh_out_id}", notice="Struck out; it is back in its bag.",
    )  # fmt: skip


@router.post("/{code}/step/{step_id}")
def step(request: Request, typed: Typed, code: str, step_id: int) -> Response:
    """Tick, skip or take back a step."""

    def act(session: Session, data: StepIn) -> str:
        cast = casting.the_open(session, planning.by_code(session, code))
        steps.record(session, cast, step_id, data, casting.person(cast), version_of(typed))
        return f"/cast/{code}#steps"

    chosen = dict(typed).get("act", "")
    return submit(
        request, typed, StepIn, act=act, page=lambda s, form: _page(request, s, code, form),
        form_id=f"{chosen if chosen in ('skip', 'undo') else 'done'}-{step_id}", notice="",
    )  # fmt: skip


@router.post("/{code}/temperature")
def temperature(request: Request, typed: Typed, code: str) -> Response:
    """Keep a reading."""

    def act(session: Session, data: TemperatureIn) -> str:
        casting.read_temperature(session, planning.by_code(session, code), data)
        return f"/cast/{code}#temperature"

    return _small(request, typed, code, TemperatureIn, act, "temperature-form", "")


@router.post("/{code}/note")
def note(request: Request, typed: Typed, code: str) -> Response:
    """Keep words."""

    def act(session: Session, data: NoteIn) -> str:
        casting.write_note(session, planning.by_code(session, code), data)
        return f"/cast/{code}#notes"

    return _small(request, typed, code, NoteIn, act, "note-form", "")


@router.post("/{code}/test-pieces")
def test_pieces(request: Request, typed: Typed, code: str) -> Response:
    """Keep the mass of the test pieces."""

    def act(session: Session, data: TestPiecesIn) -> str:
        casting.tell_test_pieces(session, planning.by_code(session, code), data, version_of(typed))
        return f"/cast/{code}#closing"

    return _small(request, typed, code, TestPiecesIn, act, "test-pieces-form", "Kept.")


@router.post("/{code}/leftover")
def leftover(request: Request, typed: Typed, code: str) -> Response:
    """Keep a leftover."""

    def act(session: Session, data: LeftoverIn) -> str:
        casting.keep_leftover(session, planning.by_code(session, code), data)
        return f"/cast/{code}#closing"

    return _small(request, typed, code, LeftoverIn, act, "leftover-form", "Kept for a later batch.")


@router.post("/{code}/close")
def close(request: Request, typed: Typed, code: str) -> Response:
    """Close the session."""

    def act(session: Session, data: CloseIn) -> str:
        casting.close(session, planning.by_code(session, code), data, version_of(typed))
        return f"/cast/{code}"

    return _small(request, typed, code, CloseIn, act, "close-form", "The session is closed.")


def _small(
    request: Request, typed: list[tuple[str, str]], code: str, model: type, act: Act, form_id: str, notice: str
) -> Response:
    return submit(
        request, typed, model, act=act, page=lambda s, form: _page(request, s, code, form),
        form_id=form_id, notice=notice,
    )  # fmt: skip


def _page(request: Request, session: Session, code: str, failed: Form | None = None) -> Response:
    batch = planning.by_code(session, code)
    cast = casting.find(session, batch)
    shop = workshop.get(session)
    parts = weigh_outs.of_batch(session, batch)
    now = steps.of_session(cast, batch, planning.weighed(session, batch)) if cast else []
    readings = casting.temperatures(session, cast) if cast else []
    forms = _forms(request, session, batch, cast, failed, parts, now)
    return render(
        request, session, "cast/show.html", section="cast",
        batch=batch, formula=planning.formula_of(session, batch), cast=cast, cautions=cautions, forms=forms,
        weighing=parts, places=weigh_outs.places(shop), steps=now, next_step=next((n for n in now if n.is_next), None),
        readings=[(reading, casting.advice(shop, reading.temperature_k)) for reading in readings],
        band=(shop.pan_low_k, shop.pan_limit_k), notes=casting.notes(session, cast) if cast else [],
        kept=casting.kept(session, batch), weighed_kg=sum(part.weighed_kg for part in parts),
        weighing_over=bool(now) and now[0].settled and not (failed and failed.id.startswith(("weigh-", "strike-"))),
        poured_at=casting.poured_at(session, batch),
        stray=" ".join(failed.errors.values()) if failed and failed.id not in forms else "",
    )  # fmt: skip


def _forms(
    request: Request,
    session: Session,
    batch: Batch,
    cast: CastSession | None,
    failed: Form | None,
    parts: list[weigh_outs.PartNow],
    now: list[steps.Now],
) -> dict[str, Form]:
    """The forms of an open session; a closed one has none."""
    if cast is None or cast.closed_at is not None:
        return {}
    forms, url = Forms(request, session, failed), f"/cast/{batch.code}"
    units = workshop.get(session).units
    found = {
        "temperature-form": forms.get("temperature-form", TemperatureIn, f"{url}/temperature"),
        "note-form": forms.get("note-form", NoteIn, f"{url}/note"),
        "test-pieces-form": forms.get("test-pieces-form", TestPiecesIn, f"{url}/test-pieces", row=batch),
        "leftover-form": forms.get(
            "leftover-form", LeftoverIn, f"{url}/leftover", initial={"mark": casting.next_mark(session, batch)}
        ),
        "close-form": forms.get("close-form", CloseIn, f"{url}/close", row=cast),
    }
    for part in parts:
        bags = [(str(bag.pk), f"{bag.mark}, {editable(round(left, 6), 'mass', units)} left") for bag, left in part.bags]
        key = f"weigh-{part.part.pk}"
        first = {"supply_id": bags[0][0] if bags else ""}
        found[key] = forms.get(
            key, weigh_outs.form_of(session, part.part.pk), f"{url}/weigh/{part.part.pk}", row=part.part, initial=first,
            choices={"supply_id": bags},
        )  # fmt: skip
        for draw in part.draws:
            if draw.weigh_out.voided_at is None:
                key = f"strike-{draw.weigh_out.pk}"
                found[key] = forms.get(key, VoidIn, f"{url}/strike/{draw.weigh_out.pk}", row=draw.weigh_out)
    settled = [n for n in now if n.settled]
    for n in now:
        for kind, shown in (("done", n.is_next), ("skip", n.is_next), ("undo", bool(settled) and n is settled[-1])):
            if shown:
                key = f"{kind}-{n.step.pk}"
                found[key] = forms.get(key, StepIn, f"{url}/step/{n.step.pk}", row=n.step)
    return found
