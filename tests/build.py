"""One function per noun: a plausible row in the book, made through the services. Numbers are invented.

The scenes that most tests begin with are made once and played back (`tests/scenes.py`).
"""

import typing
from datetime import date, timedelta
from itertools import count
from typing import Any, TypeVar

from sqlmodel import Session

from app import clock
from app.models import (
    Batch,
    BuildGrain,
    Case,
    CastingTube,
    CastSession,
    Checklist,
    ChecklistItem,
    CoringRod,
    Firing,
    Formula,
    Grain,
    GrainPattern,
    LaunchField,
    Leftover,
    Melt,
    MotorBuild,
    MotorChoice,
    Nozzle,
    Prediction,
    Rocket,
    Season,
    Supply,
    Wish,
)
from app.models.base import FormIn
from app.models.batch import PlanIn, WeighOutIn
from app.models.cast import OpenSessionIn, StepIn
from app.models.checklist import COVERS, AnswerIn, EditionIn, SignIn
from app.models.firing import FiringIn
from app.models.formula import FormulaIn
from app.models.grain import DecisionIn, GrainIn
from app.models.hardware import CaseIn, CastingTubeIn, CoringRodIn, GrainPatternIn, NozzleIn
from app.models.history import correction_of
from app.models.motor import BuildIn, DesignIn
from app.models.place import LaunchFieldIn, RocketIn
from app.models.season import SeasonIn, TestWishIn, WishIn
from app.models.supply import SupplyIn
from app.services.book import workshop
from app.services.cast import blanks, casting, checklists, evenings, needs, planning, steps, weigh_outs
from app.services.firings import firings
from app.services.grains import decisions, grains
from app.services.hardware import inventory, places, shapes
from app.services.motors import builds
from app.services.season import kept_choices, seasons, wishes
from app.services.stock import formulas, supplies
from app.units import KINDS
from tests.scenes import once

F = TypeVar("F", bound=FormIn)

_number = count(1)

EVERYDAY = {"potassium nitrate": "65 %", "sorbitol": "28 %", "sucrose": "7 %"}


def _texts(defaults: dict[str, Any], more: dict[str, Any]) -> dict[str, Any]:
    return {**defaults, **more}


def supply(session: Session, ingredient: str = "potassium nitrate", mass: str = "10 kg", **more: Any) -> Supply:
    """A bag."""
    texts = _texts(
        {"ingredient": ingredient, "mass": mass, "mark": f"Bag {next(_number)}", "received_on": date(2024, 1, 5)}, more
    )
    return supplies.save(session, SupplyIn.model_validate(texts))


def formula(
    session: Session, name: str = "", parts: dict[str, str] | None = None, row: Formula | None = None
) -> Formula:
    """A formula, or the next version of one."""
    lines = [{"ingredient": key, "percent": share} for key, share in (parts or EVERYDAY).items()]
    name = name or (row.name if row else f"Blend {next(_number)}")
    return formulas.save(session, FormulaIn.model_validate({"name": name, "parts": lines}), row)


def tube(session: Session, **more: Any) -> CastingTube:
    """A casting tube of the 54 mm class."""
    texts = {"name": f"Tube {next(_number)}", "inner_d": "44.45 mm", "outer_d": "47.2 mm", "tare": "9.6 g"}
    return inventory.save_tube(session, CastingTubeIn.model_validate(_texts(texts, more)))


def rod(session: Session, **more: Any) -> CoringRod:
    """A 3/4 in coring rod."""
    texts = {"name": f"Rod {next(_number)}", "diameter": "19.05 mm"}
    return inventory.save_rod(session, CoringRodIn.model_validate(_texts(texts, more)))


def pattern(session: Session, **more: Any) -> GrainPattern:
    """A 54 mm-class grain: 44.45 by 76.2 mm, 19.05 mm core, both ends burning."""
    texts = {
        "name": f"Pattern {next(_number)}",
        "outer_d": "44.45 mm",
        "core_d": "19.05 mm",
        "length": "76.2 mm",
        "burning_ends": 2,
    }
    return inventory.save_pattern(session, GrainPatternIn.model_validate(_texts(texts, more)))


def case(session: Session, **more: Any) -> Case:
    """An aluminium case of the 54 mm class with room for four grains."""
    texts = {
        "name": f"Case {next(_number)}",
        "inner_d": "48.2 mm",
        "outer_d": "54 mm",
        "chamber_length": "320 mm",
        "material": "aluminium_6061_t6",
        "rated_pressure": "8 MPa",
    }
    return inventory.save_case(session, CaseIn.model_validate(_texts(texts, more)))


def nozzle(session: Session, **more: Any) -> Nozzle:
    """A nozzle with a 12.7 mm throat."""
    texts = {"name": f"Nozzle {next(_number)}", "throat_d": "12.7 mm", "exit_d": "32 mm", "divergence": "15 deg"}
    return inventory.save_nozzle(session, NozzleIn.model_validate(_texts(texts, more)))


def rocket(session: Session, **more: Any) -> Rocket:
    """A 16 lb rocket."""
    texts = {"name": f"Rocket {next(_number)}", "mass": "7.26 kg", "diameter": "102 mm", "drag_coefficient": 0.5}
    return places.save_rocket(session, RocketIn.model_validate(_texts(texts, more)))


def field(session: Session, **more: Any) -> LaunchField:
    """A field near sea level with a ceiling of 900 m."""
    texts = {"name": f"Field {next(_number)}", "elevation": "12 m", "ceiling": "900 m"}
    return places.save_field(session, LaunchFieldIn.model_validate(_texts(texts, more)))


def season(session: Session, **more: Any) -> Season:
    """A season from today on for half a year, with evenings on Tuesdays and Thursdays."""
    texts = {
        "name": f"Season {next(_number)}",
        "begins_on": clock.today(),
        "ends_on": clock.today() + timedelta(days=200),
        "weekdays": ["2", "4"],
        "melts_per_evening": 2,
        "confidence": "90 %",
    }
    return seasons.save(session, SeasonIn.model_validate(_texts(texts, more)))


def wish(session: Session, season: Season, **more: Any) -> Wish:
    """Six flights to between 500 and 600 m, in half a year."""
    texts = {"count": 6, "height_low": "500 m", "height_high": "600 m", "by_on": season.ends_on} | more
    texts |= {} if "rocket_id" in texts else {"rocket_id": rocket(session).pk}
    texts |= {} if "launch_field_id" in texts else {"launch_field_id": field(session).pk}
    return wishes.save_flight(session, season, WishIn.model_validate(texts))


def wished_test(session: Session, season: Season, **more: Any) -> Wish:
    """Three static tests of a formula in a case."""
    texts = {"count": 3, "by_on": season.ends_on, "comes_first": True} | more
    texts |= {} if "formula_id" in texts else {"formula_id": formula(session).pk}
    texts |= {} if "case_id" in texts else {"case_id": case(session).pk}
    return wishes.save_test(session, season, TestWishIn.model_validate(texts))


def chosen(session: Session, wish: Wish, *grains: tuple[GrainPattern, int], **more: Any) -> MotorChoice:
    """A motor chosen for a wish: four grains in an aluminium case, the throat as measured."""
    told: dict[str, Any] = {"case_id": 0, "nozzle_id": 0, "formula_id": 0, "throat_d_m": 0.0127, "figures": {}} | more
    for key, make in (("case_id", case), ("nozzle_id", nozzle), ("formula_id", formula)):
        told[key] = told[key] or make(session).pk
    inside = grains or ((pattern(session), 4),)
    return kept_choices.choose(session, wish, grains=[(one.pk, count) for one, count in inside], **told)


def plan_in(session: Session, count: int = 4, **more: Any) -> PlanIn:
    """The plan form for grains of one pattern; `blend` and `shape` are the rows to plan with."""
    blend: Formula = more.pop("blend", None) or formula(session)
    shape: GrainPattern = more.pop("shape", None) or pattern(session)
    texts = {
        "formula_id": blend.pk,
        "planned_for": clock.today(),
        "items": [{"pattern_id": shape.pk, "count": count}],
        "expected_density": "95 %",
        "over_pour": "5 %",
        "test_pieces": "10 g",
    }
    return PlanIn.model_validate(_texts(texts, more))


def state_pan(session: Session) -> None:
    """A pan of any size: most tests plan and are not about its size."""
    shop = workshop.get(session)
    shop.pan_capacity_kg, shop.pan_capacity_typed = 50.0, "50 kg"
    shop.known_melt_kg, shop.known_melt_typed = 50.0, "50 kg"
    session.flush()


@once
def batch(session: Session, count: int = 4, **more: Any) -> Batch:
    """A plan for grains of one pattern, in a book that knows its pan; nothing is bought for it."""
    if workshop.get(session).pan_capacity_kg is None:
        state_pan(session)
    return planning.plan(session, plan_in(session, count, **more))


def leftover(session: Session, of: Batch, mass_kg: float = 0.05, mark: str = "L1") -> Leftover:
    """A leftover of a batch, whether or not it was cast."""
    row = Leftover(batch_id=of.pk, mark=mark, mass_kg=mass_kg, mass_typed=f"{mass_kg * 1000:.1f} g")
    session.add(row)
    session.flush()
    return row


def stock(session: Session, batch: Batch) -> None:
    """Buy a bag of whatever the shelf lacks for a batch."""
    for need in needs.of_batch(session, batch):
        if need.ingredient and need.target_kg > need.on_shelf_kg:
            supply(session, need.ingredient)


def edition_in(*lines: tuple[str, str], note: str = "") -> EditionIn:
    """A list of lines by heading and words, and one more for each thing that is never left out before a melt."""
    own = [{"heading": heading, "words": words} for heading, words in lines]
    never = [{"heading": "Again", "words": words, "covers": kind, "again": True} for kind, words in COVERS.items()]
    return EditionIn.model_validate({"note": note, "items": [*own, *never]})


def done(item: ChecklistItem) -> AnswerIn:
    """A line of the checklist answered as done, with a number in each of its blanks."""
    return blanks.filled(item.words, dict.fromkeys(("", *KINDS), "3"))


def checklist(
    session: Session, batch: Batch, person: str = "Ada", evening: CastSession | None = None, place: str = "Shed"
) -> Checklist:
    """A complete checklist for a batch, made now: the short one of an open evening, or the whole one."""
    made = checklists.start(session, batch, evening)
    for line in checklists.lines(session, made):
        checklists.answer(session, made, line.item.pk, done(line.item))
    checklists.sign(session, made, SignIn(person=person, place=place))
    return made


def joined(session: Session, batch: Batch, evening: CastSession) -> Melt:
    """A further melt of an open evening, let in by its short list; what it needs is bought first."""
    stock(session, batch)
    short = checklist(session, batch, evening=evening)
    return evenings.join(session, batch, OpenSessionIn(checklist_id=short.pk))


def opened_session(session: Session, batch: Batch) -> CastSession:
    """The cast session of a batch, opened or reopened with a new checklist; what it needs is bought first."""
    stock(session, batch)
    return casting.open_session(session, batch, OpenSessionIn(checklist_id=checklist(session, batch).pk))


@once
def weighed_batch(session: Session, count: int = 4, **more: Any) -> Batch:
    """A batch weighed out to its targets from the oldest bags; session open, no step ticked."""
    lot: Batch = more.pop("batch", None) or batch(session, count, **more)
    opened_session(session, lot)
    weighed_out(session, lot)
    return lot


def weighed_out(session: Session, lot: Batch, but_last: int = 0) -> None:
    """Weigh the parts of a batch out to their targets from the oldest bags, but for the last ones."""
    for part in lot.parts[: len(lot.parts) - but_last]:
        bag = supplies.bags(session, part.ingredient)[0].pk if part.ingredient else None
        mass = WeighOutIn.model_validate({"supply_id": bag, "mass": f"{part.target_kg * 1000:.9g} g"})
        weigh_outs.weigh_out(session, lot, part.pk, mass)


@once
def cast(session: Session, count: int = 4, until: str = "pour", **more: Any) -> Batch:
    """A batch weighed out and poured now; session open. `until` names the last step ticked."""
    lot = weighed_batch(session, count, **more)
    open_now = casting.the_open(session, lot)
    for step in open_now.steps[: next(i for i, s in enumerate(open_now.steps) if s.key == until) + 1]:
        steps.record(session, open_now, step.pk, StepIn(act="done"), "Ada")
    return lot


def grain(session: Session, batch: Batch, share: float = 0.96, decision: str | None = "accept", **more: Any) -> Grain:
    """The next grain of a cast batch, as dense as that share of ideal, decided on and bagged if accepted."""
    shape = session.get(GrainPattern, more.get("pattern_id", batch.items[0].pattern_id))
    assert shape is not None
    mass = share * formulas.ideal_density(formulas.get(session, batch.formula_id)) * shapes.volume(shape)
    texts = {"pattern_id": shape.pk, "number": grains.next_number(session, batch), "gross": f"{mass * 1000:.1f} g"}
    made = grains.weigh(session, batch, GrainIn.model_validate(_texts(texts, more)))
    if decision is not None:
        decisions.decide(session, made, DecisionIn(decision=decision, why="as seen", person="Ada"))
    if decision == "accept":
        decisions.bag(session, made)
    return made


@once
def ready_grains(session: Session, n: int = 4, **more: Any) -> list[Grain]:
    """Accepted grains of one lot, cast a cure and an hour ago: a motor can be built of them."""
    poured = clock.now() - timedelta(seconds=workshop.get(session).cure_s + 3600)
    with clock.turned_to(poured):
        lot = cast(session, n, **more)
        return [grain(session, lot) for _ in range(n)]


def design_in(session: Session, **more: Any) -> DesignIn:
    """Four 44.45/19.05/76.2 mm grains, both ends burning, at 0.95 of ideal, behind a 12.7 mm throat."""
    texts = {
        "formula_id": (more.pop("formula", None) or formula(session)).pk,
        "pattern_id": (more.pop("pattern", None) or pattern(session)).pk,
        "case_id": (more.pop("case", None) or case(session)).pk,
        "nozzle_id": (more.pop("nozzle", None) or nozzle(session)).pk,
        "count": 4,
        "density": "95 %",
        "field_elevation": "0 m",
        "grain_temperature": "20 C",
    }
    return DesignIn.model_validate(_texts(texts, more))


def build_in(session: Session, **more: Any) -> BuildIn:
    """The form of a motor of four ready grains in a case and nozzle of the 54 mm class."""
    picked = more.pop("grains", None) or ready_grains(session)
    texts = {
        "grain_ids": [one.pk for one in picked],
        "case_id": (more.pop("case", None) or case(session)).pk,
        "nozzle_id": (more.pop("nozzle", None) or nozzle(session)).pk,
        "throat_d": "12.7 mm",
        "built_on": clock.today(),
        "field_elevation": "12 m",
        "grain_temperature": "20 C",
    }
    return BuildIn.model_validate(_texts(texts, more))


@once
def motor_build(session: Session, **more: Any) -> MotorBuild:
    """A motor built today, with its prediction."""
    return builds.build(session, build_in(session, **more))


def firing_in(session: Session, build: MotorBuild | None = None, **more: Any) -> FiringIn:
    """The form of a static test of a motor, fired now."""
    built = build or motor_build(session)
    texts = {"motor_build_id": built.pk, "kind": "static", "fired_at": clock.now(), "result": "good"}
    return FiringIn.model_validate(_texts(texts, more))


@once
def firing(session: Session, build: MotorBuild | None = None, *, sure: bool = False, **more: Any) -> Firing:
    """A static test of a motor, fired now; `sure` says yes to what the book asks about."""
    data = firing_in(session, build, **more)
    return firings.log(session, data.answering(None) if sure else data)


def because(data: F, why: str) -> F:
    """A form as it was filled in, with the reason why it changes what was entered."""
    return typing.cast("F", correction_of(type(data)).model_construct(**dict(data), why=why))


def bare_motor(session: Session, inside: list[Grain], predicted: float | None = None) -> MotorBuild:
    """A motor of these grains written straight into the book, without its rules: for tests of what comes after."""
    made = MotorBuild(
        code=f"T{next(_number)}",
        case_id=case(session).pk,
        nozzle_id=nozzle(session).pk,
        built_on=clock.today(),
        throat_d_m=0.0127,
        throat_d_typed="12.7 mm",
        exit_d_m=0.032,
        grain_temperature_k=293.15,
    )
    session.add(made)
    session.flush()
    for position, one in enumerate(inside, start=1):
        session.add(BuildGrain(motor_build_id=made.pk, grain_id=one.pk, position=position))
    session.flush()
    if predicted is not None:
        bare_prediction(session, made, predicted)
    return made


def bare_prediction(session: Session, build: MotorBuild, impulse: float, result: str = "{}") -> Prediction:
    """A prediction of a motor, made now, that nobody computed [N s]; `result` is what it stores as JSON."""
    made = Prediction(
        motor_build_id=build.pk,
        made_at=clock.now(),
        total_impulse_ns=impulse,
        mean_thrust_n=400.0,
        peak_pressure_pa=5e6,
        burn_time_s=1.5,
        designation="J400",
        inputs_json="{}",
        result_json=result,
    )
    session.add(made)
    session.flush()
    return made


def bare_firing(session: Session, build: MotorBuild, result: str = "good", **more: Any) -> Firing:
    """A static test of a motor, now, written straight into the book."""
    told: dict[str, Any] = {"kind": "static", "fired_at": clock.now(), "result": result} | more
    shot = Firing(motor_build_id=build.pk, **told)
    session.add(shot)
    session.flush()
    return shot
