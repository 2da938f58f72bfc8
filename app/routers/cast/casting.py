"""Pages of the cast session, used at the bench: each act is a small form of its own."""

from collections.abc import Callable
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app.charts import Axis, Band, Panel, Rule, Series, line_chart
from app.forms import Form
from app.models import Batch, CastSession, CastStep, TemperatureReading, Workshop
from app.models.base import FormIn
from app.models.batch import AirIn, LeftoverIn, SwapIn, TestPiecesIn, VoidIn, WeighOutIn
from app.models.cast import CloseIn, DegreesIn, NoteIn, OpenSessionIn, SetIn, StepIn, StepTimeIn, TemperatureIn
from app.models.history import correction_of
from app.services.book import first_minute, workshop
from app.services.cast import air, casting, cautions, gate, leftovers, pan, runsheets, steps, targets, weigh_outs
from app.services.grains import lots, undo
from app.services.stock import batches
from app.units import UnitSystem, convert, show
from app.web import Book, Forms, PageNumber, Texts, Typed, named, render, submit, version_of

router = APIRouter(prefix="/cast")


@router.get("")
def show_all(request: Request, session: Book, page: PageNumber = 1) -> Response:
    """Open and closed sessions, and what waits to be cast."""
    found, running = casting.closed(session, page), casting.due(session)
    return render(
        request,
        session,
        "cast/index.html",
        section="cast",
        running=running,
        alarms={run.batch.code: pan.alarm(session, run.cast) for run in running},
        closed=found.rows,
        found=found,
        planned=batches.in_states(session, "planned"),
    )


@router.get("/{code}")
def show_one(request: Request, session: Book, code: str) -> Response:
    """One session."""
    return page_of(request, session, code)


@router.post("/{code}/open")
def open_session(request: Request, typed: Typed, code: str) -> Response:
    """Open or reopen the session with its checklist."""
    return _small(request, typed, code, OpenSessionIn, casting.open_session, "open", "", "The session is open.")


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

    notice = "Booked the other way round; what stood there is struck out."
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
        cast = casting.the_open(session, batch)
        steps.record(session, cast, step_id, data, _hands(request, session, cast), version_of(typed))

    chosen = dict(typed).get("act", "")
    form_id = f"{chosen if chosen in ('skip', 'undo') else 'done'}-{step_id}"
    return _small(request, typed, code, StepIn, do, form_id, "#steps")


@router.post("/{code}/step/{step_id}/time")
def step_time(request: Request, typed: Typed, code: str, step_id: int) -> Response:
    """Tell afterwards when a step was done, or correct it."""

    def do(session: Session, batch: Batch, data: StepTimeIn) -> None:
        cast = casting.the_open(session, batch)
        steps.tell_time(session, cast, step_id, data, _hands(request, session, cast), version_of(typed))

    return _small(request, typed, code, StepTimeIn, do, f"time-{step_id}", "#steps", "The time is kept.")


@router.post("/{code}/sets")
def add_set(request: Request, typed: Typed, code: str) -> Response:
    """Add a set of moulds."""

    def do(session: Session, batch: Batch, data: SetIn) -> None:
        steps.add_set(session, casting.the_open(session, batch), data, version_of(typed))

    return _small(request, typed, code, SetIn, do, "set-form", "#steps", "The set is added.")


@router.post("/{code}/sets/drop")
def drop_set(request: Request, typed: Typed, code: str) -> Response:
    """Take the last set out."""

    def do(session: Session, batch: Batch, _data: FormIn) -> None:
        steps.drop_set(session, casting.the_open(session, batch), version_of(typed))

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
    """Keep the air's temperature and humidity."""
    return _small(request, typed, code, correction_of(AirIn), air.record_humidity, "air-form", "#air", "Kept.")


@router.post("/{code}/test-pieces")
def test_pieces(request: Request, typed: Typed, code: str) -> Response:
    """Keep the mass of the test pieces."""

    def do(session: Session, batch: Batch, data: TestPiecesIn) -> None:
        leftovers.tell_test_pieces(session, batch, data, version_of(typed))

    return _small(request, typed, code, correction_of(TestPiecesIn), do, "test-pieces-form", "#closing", "Kept.")


def _told(batch: Batch) -> type[FormIn]:
    """The form of the test pieces' mass: once it was told, another one needs a reason."""
    return TestPiecesIn if batch.test_pieces_kg is None else correction_of(TestPiecesIn)


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
        page=lambda s, form: page_of(request, s, code, form),
        form_id=form_id,
        notice=notice,
    )


def _hands(request: Request, session: Session, cast: CastSession) -> str:
    """Who does it: the person that the device is named for, or who opened the session."""
    return named(request, session) or casting.person(cast)


def page_of(request: Request, session: Session, code: str, failed: Form | None = None) -> Response:
    """The page of a session, with the form that failed."""
    batch = batches.by_code(session, code)
    cast = casting.find(session, batch)
    shop, pan_units = workshop.get(session), pan.units(session, cast)
    parts = weigh_outs.of_batch(session, batch)
    now = steps.of_session(cast, batch, batches.weighed(session, batch)) if cast else []
    readings = pan.readings(session, cast) if cast else []
    forms = _forms(request, session, batch, cast, failed, parts, now)
    running = casting.due(session)
    said = steps.warnings(cast, now) if cast and cast.closed_at is None else []
    alarms = [(run.batch.code, pan.alarm(session, run.cast)) for run in running if run.batch.pk != batch.pk]
    said += [f"{other}: {words}" for other, words in alarms if words]
    return render(
        request,
        session,
        "cast/show.html",
        section="cast",
        batch=batch,
        formula=batches.formula_of(session, batch),
        cast=cast,
        cautions=cautions,
        forms=forms,
        weighing=parts,
        places=targets.places(shop),
        swapped=_swapped(session, batch, parts, now),
        steps=now,
        coming=steps.in_turn(now),
        others=[c for c in casting.coming(running) if c.batch.pk != batch.pk],
        mark=casting.mark(running),
        warnings=[words for words in (*said, casting.wait_for(running, batch)) if words],
        overnight=cast is not None and casting.overnight(cast),
        sets=steps.sets(cast) if cast else 0,
        sheet=runsheets.of_session(session, cast) if cast else None,
        readings=[(reading, pan.of_reading(shop, reading, pan_units)) for reading in readings],
        pan=pan.standing(session, cast, pan_units),
        at_the_pan=lambda coming: [n for n in coming if gate.hot(n.step)],
        struck=undo.struck(session, TemperatureReading, cast) if cast else [],
        fresh=first_minute.fresh,
        at_once=first_minute.AT_ONCE,
        band=_band(shop.pan_low_k, shop.pan_limit_k, pan_units),
        pan_band=lambda s: _step_band(s, pan_units),
        chart=_pan_chart(batch.code, readings, shop, pan_units),
        notes=casting.notes(session, cast) if cast else [],
        air=air,
        air_mark=air.mark(session, batch),
        balance=lots.balance(session, batch) if cast else None,
        wanted=sum(item.count for item in batch.items),
        kept=leftovers.kept(session, batch),
        weighed_kg=sum(part.weighed_kg for part in parts),
        weighing_over=bool(now) and now[0].settled and not (failed and failed.id.startswith(("weigh-", "strike-"))),
        poured_at=casting.poured_at(session, batch),
        cure_s=shop.cure_s,
        stray=" ".join(failed.errors.values()) if failed and failed.id not in forms else "",
    )


def _swapped(
    session: Session, batch: Batch, parts: list[weigh_outs.PartNow], now: list[steps.Now]
) -> list[tuple[weigh_outs.PartNow, weigh_outs.PartNow]]:
    """Parts that stand in each other's line, each pair once, until the weighing out is ticked."""
    if not now or now[0].settled:
        return []
    of = {part.part.pk: part for part in parts}
    return [(of[one.pk], of[other.pk]) for one, other in targets.swapped(session, batch) if one.pk < other.pk]


def _band(low_k: float, high_k: float, units: UnitSystem) -> str:
    """A band of temperatures in words, with the unit once."""
    return f"{show(low_k, 'temperature', units).split(' ')[0]} to {show(high_k, 'temperature', units)}"


def _step_band(step: CastStep, units: UnitSystem) -> str:
    """The pan's band at a step; empty when the step has none."""
    if step.pan_low_k is None and step.pan_high_k is None:
        return ""
    if step.pan_low_k is None or step.pan_high_k is None:
        side = "up to" if step.pan_low_k is None else "from"
        return f"{side} {show(step.pan_high_k or step.pan_low_k, 'temperature', units)}"
    return _band(step.pan_low_k, step.pan_high_k, units)


def _pan_chart(code: str, readings: list[TemperatureReading], shop: Workshop, units: UnitSystem) -> str:
    """The pan's temperature over the session, with the band to work in; nothing before there are two readings."""
    if len(readings) < 2:
        return ""
    in_time = sorted(readings, key=lambda reading: reading.read_at)
    minutes = [(reading.read_at - in_time[0].read_at).total_seconds() / 60 for reading in in_time]
    low, limit = (convert(k, "temperature", units) for k in (shop.pan_low_k, shop.pan_limit_k))
    across = [minutes[0], max(minutes[-1], minutes[0] + 1)]
    return line_chart(
        f"Pan temperature of {code}",
        Axis("Time since the first reading", "min"),
        Panel(
            Axis("Pan", units.temperature),
            series=[Series("Read", minutes, [convert(r.temperature_k, "temperature", units) for r in in_time])],
            band=Band("Band to work in", across, [low, low], [limit, limit]),
            rules=[Rule("Limit", limit)],
        ),
    )


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
    house = workshop.get(session)
    units, digits = house.units, targets.places(house)
    found = {
        "temperature-form": forms.get(
            "temperature-form",
            TemperatureIn,
            f"{url}/temperature",
            initial={"unit": pan.units(session, cast).temperature},
            choices={"unit": [("°F", "°F"), ("°C", "°C")]},
        ),
        "set-form": forms.get("set-form", SetIn, f"{url}/sets", row=cast),
        "drop-set-form": forms.get("drop-set-form", FormIn, f"{url}/sets/drop", row=cast),
        "note-form": forms.get("note-form", NoteIn, f"{url}/note"),
        "air-form": forms.get("air-form", correction_of(AirIn) if air.words(batch) else AirIn, f"{url}/air", row=batch),
        "test-pieces-form": forms.get("test-pieces-form", _told(batch), f"{url}/test-pieces", row=batch),
        "leftover-form": forms.get(
            "leftover-form", LeftoverIn, f"{url}/leftover", initial={"mark": leftovers.next_mark(session, batch)}
        ),
        "close-form": forms.get("close-form", CloseIn, f"{url}/close", row=cast),
    }
    for reading in pan.readings(session, cast):
        key = f"misread-{reading.pk}"
        found[key] = forms.get(key, VoidIn, f"{url}/temperature/{reading.pk}/strike", row=reading)
        if reading.doubted_k is not None:
            key = f"degrees-{reading.pk}"
            found[key] = forms.get(key, DegreesIn, f"{url}/temperature/{reading.pk}/degrees", row=reading)
    for left in leftovers.kept(session, batch):
        if first_minute.fresh(left) and left.grain_id is None:
            key = f"leftover-back-{left.pk}"
            found[key] = forms.get(key, FormIn, f"{url}/leftover/{left.pk}/back", row=left)
    for part in parts:
        bags = [(str(bag.pk), f"{bag.mark}, {show(left, 'mass', units, digits)} left") for bag, left in part.bags]
        key = f"weigh-{part.part.pk}"
        first = {"supply_id": bags[0][0] if bags else ""}
        found[key] = forms.get(
            key,
            weigh_outs.form_of(session, part.part.pk),
            f"{url}/weigh/{part.part.pk}",
            row=part.part,
            initial=first,
            choices={"supply_id": bags},
        )
        for draw in part.draws:
            if draw.weigh_out.voided_at is None:
                key = f"strike-{draw.weigh_out.pk}"
                found[key] = forms.get(key, VoidIn, f"{url}/strike/{draw.weigh_out.pk}", row=draw.weigh_out)
    for one, other in _swapped(session, batch, parts, now):
        key = f"swap-{one.part.pk}"
        found[key] = forms.get(
            key, SwapIn, f"{url}/weigh/{one.part.pk}/swap", row=one.part, initial={"other_id": other.part.pk}
        )
    for n in now:
        shown = {
            "done": n.is_next,
            "skip": n.is_next,
            "undo": steps.can_take_back(cast, n.step),
            "time": n.is_next or n.step.done_at is not None,
        }
        for kind in [kind for kind, is_shown in shown.items() if is_shown]:
            key, model = f"{kind}-{n.step.pk}", StepTimeIn if kind == "time" else StepIn
            address = f"{url}/step/{n.step.pk}" + ("/time" if kind == "time" else "")
            found[key] = forms.get(key, model, address, row=n.step)
    return found
