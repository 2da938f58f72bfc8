"""The page of the bench view: what is in front, what stands beside it, and their forms."""

from dataclasses import dataclass, replace
from datetime import datetime

from fastapi import Request
from fastapi.responses import Response
from markupsafe import Markup
from sqlmodel import Session

from app import clock
from app.forms import Form
from app.models import Batch, CastSession, ScaleCheck, Supply, TemperatureReading, ThermometerCheck
from app.models.batch import TestPiecesIn
from app.models.cast import CloseIn, DegreesIn, NoteIn, SetIn, StepIn, TemperatureIn
from app.models.checklist import StartIn
from app.page import Page
from app.routers.bench import pictures
from app.routers.cast import evening_pictures, heating, incident_forms
from app.services.book import repository, workshop
from app.services.cast import (
    at_bench,
    bowls,
    casting,
    cautions,
    checklists,
    evening_line,
    gate,
    hands,
    pan,
    steps,
    targets,
    weigh_outs,
)
from app.services.cast.at_bench import Screen
from app.services.cast.casting import Running
from app.services.cast.weigh_outs import PartNow
from app.services.grains import lots
from app.services.hardware import instrument_checks
from app.services.stock import batches
from app.units import UnitSystem, show
from app.web import Forms, render

COUNTED = {"melt": "sugar", "remelt": "leftover", "oxidiser": "part", "compact": "compaction"}
"""What of one set is counted, where there are several of a kind."""


@dataclass(frozen=True)
class PanNow:
    """The pan as it stands in view."""

    run: Running
    reading: TemperatureReading | None
    words: str
    """What was read, in the degrees of the thermometer."""
    advice: pan.Advice | None
    asked: list[tuple[str, str]]
    limit: str
    over: str
    """How far it is above the limit, in words; empty where it is not."""
    read_again_at: datetime | None
    """When it is to be read again, while it is hot."""
    degrees: str


class BenchPage(Page, template="bench/show.html", section="cast"):
    """An open evening at arm's length."""

    evening: CastSession
    runs: list[Running]
    screen: Screen
    where: str
    """Which set, bowl or act of several is in front."""
    wall: str
    """What the clock on the wall shows, with its seconds."""
    mark: str
    forms: dict[str, Form]
    stray: str
    """Why something was refused that has no form on the page any more."""
    untold: list[str]
    """The melts of which nobody told yet how much went into test pieces."""
    overnight: bool
    planned: list[Batch]
    """What may come into the evening as its next melt, by day."""
    more_open: bool
    """Whether a form of those that are folded was refused."""
    pan: PanNow | None
    was_hot: bool
    """Whether a pan of the evening was read or heated, be it of another melt: then it is not said to be cold."""
    heats: str
    """Who heats the melt in front, and where, before it is heated first; empty at any other step."""
    amount: str
    band: str
    places: int
    bags: list[tuple[Supply, float]]
    caution: str
    cautions: list[str]
    burns: str
    mass_unit: str
    scale_off: str
    """That the scale or the thermometer was off at its last check, or not checked for long, and what to do."""
    thermometer_off: str

    # Pictures
    line: Markup | None
    strip: Markup | None
    picture: Markup | None
    """The bowl or the tube in front."""


class NoBenchPage(Page, template="bench/none.html", section="cast"):
    """No evening is open, this one is closed, or it must be said which one is meant."""

    evening: CastSession | None
    running: list[Running]
    stray: str


def runs_of(session: Session, evening_id: int, running: list[Running] | None = None) -> list[Running]:
    """The melts of an open evening in their order; one that the whole list is due again for is held before its heat.

    `running` are the melts of all open evenings, where they were read already.
    """
    every = casting.due(session) if running is None else running
    runs = [_held(session, run) for run in every if run.cast.pk == evening_id]
    return sorted(runs, key=lambda run: run.melt.number)


def _held(session: Session, run: Running) -> Running:
    if run.held or not any(now.step.key != "weigh" and gate.heats(now.step) for now in run.coming):
        return run
    stands = gate.held(session, run.melt)
    return run if stands.under_way else replace(run, held=gate.due(session, run.cast, run.batch, run.melt))


def screen_of(session: Session, runs: list[Running], chosen: str = "") -> Screen:
    """What the bench view of an evening shows now."""
    return at_bench.screen(
        runs,
        {run.batch.pk: pan.standing(session, run.melt, pan.units(session, run.melt)) for run in runs},
        {run.batch.pk: weigh_outs.of_batch(session, run.batch) for run in runs},
        {run.batch.pk: _to_weigh(session, run) for run in runs},
        chosen,
    )


def _to_weigh(session: Session, run: Running) -> int:
    balance = lots.balance(session, run.batch)
    return sum(item.count for item in run.batch.items) - (balance.grain_count if balance else 0)


def page_of(request: Request, session: Session, evening_id: int, failed: Form | None = None) -> Response:
    """The page of an evening, with the form that failed."""
    evening = repository.get(session, CastSession, evening_id, "evening")
    runs = runs_of(session, evening_id)
    if not runs:
        stray = " ".join(failed.errors.values()) if failed else ""
        return render(request, session, NoBenchPage(evening=evening, running=casting.due(session), stray=stray))
    chosen = failed.id.replace("done-", "step-") if failed else request.query_params.get("show", "")
    chosen = "close" if chosen in ("test-pieces-form", "close-form") else chosen
    screen = screen_of(session, runs, chosen)
    shop = workshop.get(session)
    pan_units = pan.units(session, (screen.pan or screen.run).melt)
    found = _pan_now(session, screen, pan_units)
    untold = [run.batch.code for run in runs if run.batch.test_pieces_kg is None]
    planned = batches.in_states(session, "planned")
    forms = _forms(request, session, screen, found, failed)
    forms |= _forms_beyond(request, session, screen, untold, planned, failed)
    now = screen.act.now if screen.act else None
    rows = evening_line.of_evening(session, evening)
    caution, folded = _caution(session, screen, runs)
    page = BenchPage(
        evening=evening,
        runs=runs,
        screen=screen,
        where=_where(screen),
        wall=f"{clock.local(clock.now()):%H:%M:%S}",
        mark=casting.mark(casting.due(session)),
        forms=forms,
        stray=" ".join(failed.errors.values()) if failed and failed.id not in forms else "",
        untold=untold,
        overnight=runs[0].overnight,
        planned=planned,
        more_open=failed is not None and failed.id in ("note-form", "set-form"),
        pan=found,
        was_hot=bool(pan.of_evening(session, evening))
        or any(gate.heats(s) and s.done_at is not None for run in runs for s in run.melt.steps),
        heats=hands.unchanged(session, screen.run.melt, screen.act.step) if screen.act else "",
        amount=targets.words(now.amount_kg, shop) if now and now.amount_kg else "",
        band=pan.step_band(screen.act.step, pan_units) if screen.act else "",
        places=targets.places(shop),
        bags=screen.bowl.bags if screen.bowl else [],
        caution=caution,
        cautions=folded,
        burns=cautions.BURNS,
        mass_unit=shop.units.mass,
        scale_off=instrument_checks.in_short(session, ScaleCheck),
        thermometer_off=instrument_checks.in_short(session, ThermometerCheck),
        line=evening_pictures.time_line(evening, rows),
        strip=pictures.strip(session, screen, rows, pan_units),
        picture=pictures.of_bowl(session, screen, failed.text("mass") if failed else "")
        or pictures.of_tube(session, screen),
    )
    return render(request, session, page)


def _where(screen: Screen) -> str:
    if screen.bowl is not None:
        return f"weigh out, bowl {screen.bowls.index(screen.bowl) + 1} of {len(screen.bowls)}"
    if screen.act is None or screen.kind not in ("step", "wait"):
        return ""
    of_set = f"set {screen.act.step.set_number}" if screen.act.several and screen.act.step.set_number else ""
    same = [s for s in screen.run.melt.steps if s.set_number == screen.act.step.set_number]
    of_kind = [s for s in same if s.key.partition(":")[0] == screen.act.kind]
    called = COUNTED.get(screen.act.kind)
    count = f"{called} {of_kind.index(screen.act.step) + 1} of {len(of_kind)}" if called and len(of_kind) > 1 else ""
    return ", ".join(part for part in ("next" if screen.kind == "wait" else "", of_set, count) if part)


def _pan_now(session: Session, screen: Screen, units: UnitSystem) -> PanNow | None:
    run = screen.pan
    if run is None:
        return None
    shop, latest = workshop.get(session), next(iter(pan.readings(session, run.melt)), None)
    standing = pan.standing(session, run.melt, units)
    hot = standing is not None and standing.hot and not standing.asked and latest is not None
    over = latest.temperature_k - shop.pan_limit_k if hot and latest else 0.0
    return PanNow(
        run,
        latest,
        show(latest.temperature_k, "temperature", units) if latest else "",
        standing.advice if standing else None,
        standing.asked if standing else [],
        show(shop.pan_limit_k, "temperature", units),
        f"{over * (9 / 5 if units.temperature == '°F' else 1):.0f} {units.temperature}" if hot else "",
        latest.read_at + at_bench.READ_AGAIN if latest and (at_bench.on_heat(run) or hot) else None,
        units.temperature,
    )


def _caution(session: Session, screen: Screen, runs: list[Running]) -> tuple[str, list[str]]:
    """The one strong line, and what is folded below it: warnings of this hour go before what always holds."""
    said = [words for run in runs for words in steps.warnings(run.melt, [*run.coming])]
    said += [words for run in runs if (words := casting.wait_for(casting.due(session), run.batch))]
    hot = any(at_bench.on_heat(run) for run in runs)  # then another melt's hold is its turn, told where that is
    said += [run.held for run in runs if run.held and (at_bench.on_heat(run) or not hot)]
    kind = screen.act.kind if screen.act else screen.kind
    line = cautions.AT_ARMS_LENGTH.get(kind, cautions.AT_ARMS_LENGTH["step"])
    folded = [*said, *cautions.AT_THE_PAN, cautions.BURNS, cautions.LAW]
    return (at_bench.parted(said[0])[0] if said else line), folded


def _forms(
    request: Request, session: Session, screen: Screen, found: PanNow | None, failed: Form | None
) -> dict[str, Form]:
    """The forms of what is shown."""
    forms, melt = Forms(request, session, failed), screen.run.melt
    url = f"/bench/{melt.cast_session_id}"
    of = f"{url}/{screen.run.batch.code}"
    shown = {
        "incident-form": incident_forms.of_melt(forms, screen.run.batch, [])["incident-form"],
        "note-form": forms.get("note-form", NoteIn, f"{url}/note"),
        "set-form": forms.get("set-form", SetIn, f"{of}/set", row=melt),
    }
    if found is not None:
        at = f"{url}/{found.run.batch.code}/pan"
        shown["pan-form"] = forms.get("pan-form", TemperatureIn, at, initial={"unit": found.degrees})
        if found.reading is not None and found.reading.doubted_k is not None:
            key = f"degrees-{found.reading.pk}"
            shown[key] = forms.get(key, DegreesIn, f"{at}/{found.reading.pk}/degrees", row=found.reading)
    if screen.act is not None:
        key = f"done-{screen.act.step.pk}"
        shown[key] = forms.get(key, StepIn, f"{of}/step/{screen.act.step.pk}", row=screen.act.step)
        heating.tell(request, session, melt, screen.act.step, shown[key])
    if screen.bowl is not None:
        _bowl_form(session, shown, forms, of, screen.bowl, request.query_params.get("read", ""))
        weighing = next((step for step in melt.steps if step.key == "weigh"), None)
        if weighing is not None and all(part.state != "open" for part in screen.bowls):
            key = f"done-{weighing.pk}"
            shown[key] = forms.get(key, StepIn, f"{of}/step/{weighing.pk}", row=weighing)
    return shown


def _forms_beyond(
    request: Request, session: Session, screen: Screen, untold: list[str], planned: list[Batch], failed: Form | None
) -> dict[str, Form]:
    """What leads on from a melt: the list of the next one, what a melt left, and the closing."""
    forms, evening = Forms(request, session, failed), screen.run.cast
    lot = next((lot for lot in planned[:1] if lot.planned_for <= clock.today()), None)
    if screen.kind in ("wait", "grains") and lot is not None and checklists.current(session, lot) is None:
        return {"start": forms.get("start", StartIn, f"/plan/{lot.code}/checklist/start")}
    if screen.kind == "close" and untold:
        at = f"/bench/{evening.pk}/{untold[0]}/test-pieces"
        return {"test-pieces-form": forms.get("test-pieces-form", TestPiecesIn, at)}
    if screen.kind == "close":
        return {"close-form": forms.get("close-form", CloseIn, f"/bench/{evening.pk}/close", row=evening)}
    return {}


def _bowl_form(session: Session, shown: dict[str, Form], forms: Forms, of: str, bowl: PartNow, read: str) -> None:
    shop = workshop.get(session)
    places = targets.places(shop)
    bags = [(str(bag.pk), f"{bag.mark}, {show(left, 'mass', shop.units, places)} left") for bag, left in bowl.bags]
    key = f"bowl-{bowl.part.pk}"
    shown[key] = forms.get(
        key,
        bowls.form_of(session, bowl.part.pk),
        f"{of}/bowl/{bowl.part.pk}",
        row=bowl.part,
        initial={"supply_id": bags[0][0] if bags else "", "mass": read[:40]},
        choices={"supply_id": bags},
    )


def after_step(session: Session, evening_id: int, batch: Batch) -> str:
    """Where a step leads: to the scale, when its cores are pulled and nothing else is due; else on at the bench."""
    runs = runs_of(session, evening_id)
    if runs:
        screen = screen_of(session, runs)
        if screen.kind == "grains" and screen.run.batch.pk == batch.pk:
            return f"/cast/{batch.code}/grains"
    return f"/bench/{evening_id}"


def next_words(session: Session, evening_id: int) -> str:
    """What comes next, as it is told after a save."""
    runs = runs_of(session, evening_id)
    if not runs:
        return ""
    screen = screen_of(session, runs)
    if screen.bowl is not None:
        return f"Next: {screen.bowl.name}."
    if screen.act is not None:
        at = f" at {clock.local(screen.act.due_at):%H:%M}" if screen.kind == "wait" and screen.act.due_at else ""
        return f"Next{at}: {' '.join(word for word in (screen.act.of, screen.act.line) if word)}"
    return {"grains": "Next: weigh the grains.", "close": "Next: close the evening."}.get(screen.kind, "")
