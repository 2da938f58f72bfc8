"""The page of a cast session: all that stands on it, and the forms that its state calls for."""

from collections.abc import Callable
from datetime import datetime

from fastapi import Request
from fastapi.responses import Response
from markupsafe import Markup
from sqlmodel import Session

from app.forms import Form
from app.models import (
    Batch,
    CastSession,
    CastStep,
    Formula,
    Incident,
    Leftover,
    Melt,
    RunSheet,
    ScaleCheck,
    TemperatureReading,
    ThermometerCheck,
)
from app.models.base import FormIn, Row
from app.models.batch import AirIn, LeftoverIn, SwapIn, TestPiecesIn, VoidIn
from app.models.cast import CloseIn, DegreesIn, NoteIn, SetIn, StepIn, StepTimeIn, TemperatureIn
from app.models.history import correction_of
from app.page import Page
from app.routers.cast import evening_pictures, heating, incident_forms
from app.services.book import first_minute, workshop
from app.services.cast import (
    air,
    at_bench,
    casting,
    cautions,
    evening_line,
    gate,
    hands,
    incidents,
    leftovers,
    pan,
    runsheets,
    steps,
    targets,
    weigh_outs,
)
from app.services.cast.casting import Coming, Noted
from app.services.cast.pan import Advice
from app.services.cast.steps import Now
from app.services.cast.weigh_outs import PartNow
from app.services.grains import lots, undo
from app.services.grains.lots import Balance
from app.services.hardware import instrument_checks
from app.services.stock import batches
from app.units import show
from app.web import Forms, render


class SessionPage(Page, template="cast/show.html", section="cast"):
    """A cast session. Before it is opened there is the batch alone; a closed one has no forms."""

    batch: Batch
    formula: Formula
    cast: CastSession | None
    """The evening of the batch."""
    forms: dict[str, Form]
    stray: str
    """Why something was refused that has no form on the page any more."""

    # What is next, and what is wrong
    mark: str
    coming: list[Now]
    waiting: list[Now]
    """What of it is done at the pan, and waits while that is too hot."""
    others: list[Coming]
    warnings: list[str]
    held: tuple[str, str] | None
    """Why it takes nothing new, in a sentence, and what is to be done and goes on; nothing when it takes everything."""
    overnight: bool
    swapped: list[tuple[PartNow, PartNow]]
    line: Markup | None
    """The evening's time line."""
    strip: Markup | None
    """The pans' temperature in it; nothing before the first reading."""
    caution: str
    """The one line of caution at the act in front; the others stand folded below it."""
    cautions: list[str]
    burns: str
    law: str

    # Weighing out and steps
    weighing: list[PartNow]
    weighed_kg: float
    weighing_over: bool
    scales_off: list[str]
    """What is said of scales whose newest check was outside its tolerance."""
    places: int
    steps: list[Now]
    heats: Callable[[CastStep], str]
    """Who heats the melt first, and where, at the step that does; empty at any other."""
    sets: int
    sheet: RunSheet | None
    pan_band: Callable[[CastStep], str]

    # The pan, the air and the notes
    thermometers_off: list[str]
    pan: pan.Standing | None
    readings: list[tuple[TemperatureReading, Advice]]
    struck: list[TemperatureReading]
    fresh: Callable[[Row], bool]
    at_once: str
    band: str
    told_air: str
    air_mark: air.Mark
    notes: list[Noted]
    told: list[Incident]
    """Incidents and near misses of it, voided ones too."""

    # What came of it
    balance: Balance | None
    wanted: int
    kept: list[Leftover]
    poured_at: datetime | None
    cure_s: float


def page_of(request: Request, session: Session, code: str, failed: Form | None = None) -> Response:
    """The page of a session, with the form that failed."""
    batch = batches.by_code(session, code)
    melt = casting.melt(session, batch)
    cast = melt.evening if melt is not None else None
    shop, pan_units = workshop.get(session), pan.units(session, melt)
    parts = weigh_outs.of_batch(session, batch)
    now = steps.of_melt(melt, batch, batches.weighed(session, batch)) if melt else []
    readings = pan.readings(session, melt) if melt else []
    coming, at_pan = steps.in_turn(now), pan.standing(session, melt, pan_units)
    forms, told = _forms(request, session, batch, melt, failed, parts, now), incidents.of_batch(session, batch)
    if melt is not None:
        forms |= incident_forms.of_melt(Forms(request, session, failed), batch, told)
    running = casting.due(session)
    rows = evening_line.of_evening(session, cast) if cast else []
    at_hand = next((n.step for n in coming), None)
    held = gate.says(session, melt) if melt and melt.evening.closed_at is None else ""
    said = steps.warnings(melt, now) if melt and melt.evening.closed_at is None else []
    page = SessionPage(
        batch=batch,
        formula=batches.formula_of(session, batch),
        cast=cast,
        line=evening_pictures.time_line(cast, rows) if cast else None,
        strip=evening_pictures.whole_strip(evening_pictures.pan_curve(session, cast, rows, at_hand, pan_units))
        if cast
        else None,
        caution=cautions.AT_ARMS_LENGTH.get(_act(coming, at_pan), cautions.AT_ARMS_LENGTH["step"]),
        cautions=cautions.AT_THE_PAN,
        burns=cautions.BURNS,
        law=cautions.LAW,
        forms=forms,
        weighing=parts,
        places=targets.places(shop),
        swapped=_swapped(session, batch, parts, now),
        steps=now,
        coming=coming,
        waiting=[n for n in coming if gate.hot(n.step)] if at_pan and at_pan.hot else [],
        others=[c for c in casting.coming(running) if c.batch.pk != batch.pk],
        mark=casting.mark(running),
        warnings=[words for words in (*said, casting.wait_for(running, batch)) if words],
        held=at_bench.parted(held) if held else None,
        overnight=cast is not None and casting.overnight(cast),
        heats=lambda step: hands.unchanged(session, melt, step) if melt else "",
        sets=steps.sets(melt) if melt else 0,
        sheet=runsheets.of_melt(session, melt) if melt else None,
        readings=[(reading, pan.of_reading(shop, reading, pan_units)) for reading in readings],
        pan=at_pan,
        struck=undo.struck(session, TemperatureReading, melt) if melt else [],
        fresh=first_minute.fresh,
        at_once=first_minute.AT_ONCE,
        band=pan.band_words(shop.pan_low_k, shop.pan_limit_k, pan_units),
        pan_band=lambda step: pan.step_band(step, pan_units),
        notes=casting.noted(session, cast) if cast else [],
        told=told,
        told_air=air.words(batch),
        air_mark=air.mark(session, batch),
        balance=lots.balance(session, batch) if cast else None,
        wanted=sum(item.count for item in batch.items),
        kept=leftovers.kept(session, batch),
        scales_off=instrument_checks.doubts(session, ScaleCheck),
        thermometers_off=instrument_checks.doubts(session, ThermometerCheck),
        weighed_kg=sum(part.weighed_kg for part in parts),
        weighing_over=bool(now) and now[0].settled and not (failed and failed.id.startswith(("weigh-", "strike-"))),
        poured_at=casting.poured_at(session, batch),
        cure_s=shop.cure_s,
        stray=" ".join(failed.errors.values()) if failed and failed.id not in forms else "",
    )
    return render(request, session, page)


def _swapped(
    session: Session, batch: Batch, parts: list[weigh_outs.PartNow], now: list[steps.Now]
) -> list[tuple[weigh_outs.PartNow, weigh_outs.PartNow]]:
    """Parts that stand in each other's line, each pair once, until the weighing out is ticked."""
    if not now or now[0].settled:
        return []
    of = {part.part.pk: part for part in parts}
    return [(of[one.pk], of[other.pk]) for one, other in targets.swapped(session, batch) if one.pk < other.pk]


def _act(now: list[steps.Now], found: pan.Standing | None) -> str:
    """The kind of act in front, as the cautions at it are told apart."""
    if found and (found.hot or found.asked):
        return "hot" if found.hot else "asked"
    first = next((one.step.key.partition(":")[0] for one in now), "close")
    return "bowl" if first == "weigh" else first


def _forms(
    request: Request,
    session: Session,
    batch: Batch,
    melt: Melt | None,
    failed: Form | None,
    parts: list[weigh_outs.PartNow],
    now: list[steps.Now],
) -> dict[str, Form]:
    """The forms of an open session; a closed one has none."""
    if melt is None or melt.evening.closed_at is not None:
        return {}
    forms, url = Forms(request, session, failed), f"/cast/{batch.code}"
    house = workshop.get(session)
    units, digits = house.units, targets.places(house)
    found = {
        "temperature-form": forms.get(
            "temperature-form",
            TemperatureIn,
            f"{url}/temperature",
            initial={"unit": pan.units(session, melt).temperature},
            choices={"unit": [("°F", "°F"), ("°C", "°C")]},
        ),
        "set-form": forms.get("set-form", SetIn, f"{url}/sets", row=melt),
        "drop-set-form": forms.get("drop-set-form", FormIn, f"{url}/sets/drop", row=melt),
        "note-form": forms.get("note-form", NoteIn, f"{url}/note"),
        "air-form": forms.get("air-form", correction_of(AirIn) if air.words(batch) else AirIn, f"{url}/air", row=batch),
        "test-pieces-form": forms.get("test-pieces-form", _told(batch), f"{url}/test-pieces", row=batch),
        "leftover-form": forms.get(
            "leftover-form", LeftoverIn, f"{url}/leftover", initial={"mark": leftovers.next_mark(session, batch)}
        ),
        "close-form": forms.get("close-form", CloseIn, f"{url}/close", row=melt.evening),
    }
    for reading in pan.readings(session, melt):
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
            "undo": steps.can_take_back(melt, n.step),
            "time": n.is_next or n.step.done_at is not None,
        }
        for kind in [kind for kind, is_shown in shown.items() if is_shown]:
            key, model = f"{kind}-{n.step.pk}", StepTimeIn if kind == "time" else StepIn
            address = f"{url}/step/{n.step.pk}" + ("/time" if kind == "time" else "")
            found[key] = forms.get(key, model, address, row=n.step)
            if kind == "done":
                heating.tell(forms.request, session, melt, n.step, found[key])
    return found


def _told(batch: Batch) -> type[FormIn]:
    """The form of the test pieces' mass: once it was told, another one needs a reason."""
    return TestPiecesIn if batch.test_pieces_kg is None else correction_of(TestPiecesIn)
