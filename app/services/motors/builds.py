"""Motors: real grains put in a real case, the prediction made of them, and taking them apart again."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import groupby
from typing import Any

from sqlalchemy.orm import defer
from sqlmodel import Session, col, func, select

from app import clock
from app.errors import Faults, NotFound, Refused
from app.models import BuildGrain, Case, Firing, Formula, Grain, MotorBuild, Nozzle, Prediction
from app.models.base import attribute
from app.models.base import build as build_row
from app.models.motor import BuildIn, TakeApartIn
from app.services.book import repository, serials, workshop
from app.services.grains import grains, wet
from app.services.grains.grains import GrainView
from app.services.hardware import throats
from app.services.learning import stored_predictions
from app.services.motors import clearance, motor_setup, prediction
from app.services.motors.build_checks import chosen_grains, nozzle_measured, on_that_day, one_formula
from app.services.motors.motor_setup import Setup
from app.services.stock import batches

STATES = {"ready": "Ready to fire", "fired": "Fired", "taken apart": "Taken apart"}


OFF_FORMULA = 0.01
"""How far a lot's weighed blend may lie from its formula before a prediction says so [mass fraction]."""


@dataclass(frozen=True)
class Built:
    """A build with what stands around it.

    `predictions` are all that were made of it, the newest first; `told` is the one that its firing is held against.
    """

    build: MotorBuild
    case: Case
    nozzle: Nozzle
    grains: list[GrainView]
    predictions: list[Prediction]
    told: Prediction | None
    firings: list[Firing]

    @property
    def prediction(self) -> Prediction | None:
        """The prediction of its firing, or the newest."""
        return self.told or next(iter(self.predictions), None)

    @property
    def state(self) -> str:
        """One of the keys of `STATES`."""
        if self.build.taken_apart_at is not None:
            return "taken apart"
        return "fired" if self.fired else "ready"

    @property
    def state_words(self) -> str:
        """The state for a person; a motor with a wet grain says so."""
        wet_ones = [v.grain.serial for v in self.wet]
        inside = f"{len(wet_ones)} wet grains" if len(wet_ones) > 2 else "wet " + " and ".join(wet_ones)
        if self.held:
            return f"Held: {inside}"
        return STATES[self.state] + (f", with {inside}" if wet_ones else "")

    @property
    def wet(self) -> list[GrainView]:
        """The grains in it, or burned in it, that were wet at their last re-weigh, accepted or not."""
        return [] if self.state == "taken apart" else [v for v in self.grains if v.wet is not None]

    @property
    def held(self) -> bool:
        """Whether the book holds it: whole, with a wet grain that nobody accepted."""
        return self.state == "ready" and any(wet.held(v.wet) for v in self.wet)

    @property
    def fired(self) -> Firing | None:
        """The firing that burned the grains, if there was one."""
        return next((f for f in self.firings if f.result != "no_light"), None)

    @property
    def formula(self) -> Formula:
        """What its grains are made of: one formula, by the rule of `build`."""
        return self.grains[0].formula


# --- Reading -----------------------------------------------------------------------------------


def code_for(session: Session, day: date) -> str:
    """The code of the next build of that year (26-031)."""
    prefix = serials.motor_prefix(day)
    return f"{prefix}{repository.next_number(session, MotorBuild.code, prefix):03d}"


def by_code(session: Session, code: str) -> Built:
    """The build of that code.

    Raises
    ------
    NotFound
        There is none.
    """
    build = session.exec(select(MotorBuild).where(func.upper(MotorBuild.code) == code.upper())).first()
    if build is None:
        raise NotFound(f"There is no motor “{code}” in this book.")
    return around(session, build)


def around(session: Session, build: MotorBuild) -> Built:
    """A build with its case, nozzle, grains in order, prediction and firings."""
    return _around(session, [build])[0]


_FIGURES = (defer(attribute(Prediction.inputs_json)), defer(attribute(Prediction.result_json)))
"""A list shows a prediction's figures, not its curves, which are most of what is kept of it."""


def _around(session: Session, builds: Sequence[MotorBuild], *options: Any) -> list[Built]:
    """Builds with what stands around them: a handful of queries, however many builds."""
    ids = [build.pk for build in builds]
    inside = [slot.grain_id for build in builds for slot in build.slots]
    views = {v.grain.pk: v for v in grains.views(session, col(Grain.id).in_(inside))}
    query = select(Prediction).where(col(Prediction.motor_build_id).in_(ids)).order_by(col(Prediction.id).desc())
    made: dict[int, Prediction] = {}
    of: dict[int, list[Prediction]] = {}
    for row in session.exec(query.options(*options)):
        made[row.pk] = row
        of.setdefault(row.motor_build_id, []).append(row)
    fired: dict[int, list[Firing]] = {}
    for firing in session.exec(
        select(Firing).where(col(Firing.motor_build_id).in_(ids)).order_by(col(Firing.fired_at))
    ):
        fired.setdefault(firing.motor_build_id, []).append(firing)
    burned = {
        firing.pk: build_id for build_id, found in fired.items() for firing in found if firing.result != "no_light"
    }
    told = {burned[key]: made[row] for key, row in stored_predictions.ids(session, burned).items()}
    return [
        Built(
            build=build,
            case=repository.get(session, Case, build.case_id, "case"),
            nozzle=repository.get(session, Nozzle, build.nozzle_id, "nozzle"),
            grains=[views[slot.grain_id] for slot in build.slots],
            predictions=of.get(build.pk, []),
            told=told.get(build.pk),
            firings=fired.get(build.pk, []),
        )
        for build in builds
    ]


_NEWEST = (col(MotorBuild.built_on).desc(), col(MotorBuild.id).desc())


def listed(session: Session, page: int = 1) -> repository.Page[Built]:
    """A page of all builds, newest first."""
    found = repository.page(session, select(MotorBuild).order_by(*_NEWEST), page)
    return replace(found, rows=_around(session, found.rows, *_FIGURES))


def of_builds(session: Session, ids: Iterable[int]) -> dict[int, Built]:
    """Builds by their identity, with what stands around them."""
    builds = session.exec(select(MotorBuild).where(col(MotorBuild.id).in_(set(ids)))).all()
    return {built.build.pk: built for built in _around(session, builds, *_FIGURES)}


def ready(session: Session) -> list[Built]:
    """The builds that can be fired, newest first: whole, with grains that were not burned."""
    burned = select(Firing.motor_build_id).where(Firing.result != "no_light")
    whole = select(MotorBuild).where(col(MotorBuild.taken_apart_at).is_(None), col(MotorBuild.id).not_in(burned))
    return _around(session, session.exec(whole.order_by(*_NEWEST)).all(), *_FIGURES)


def ready_by_lot(shelf: list[GrainView]) -> list[tuple[GrainView, list[GrainView]]]:
    """The grains of the shelf a motor can be built of, grouped by lot; the first of each group speaks for the lot."""
    free = [v for v in shelf if v.state == "ready"]
    return [(lot[0], lot) for lot in (list(g) for _, g in groupby(free, key=lambda v: v.batch.pk))]


def not_ready(shelf: list[GrainView]) -> list[GrainView]:
    """The grains on the shelf that may become ready: curing, wet, or waiting for a decision or a second look."""
    return [v for v in shelf if v.state in ("accepted", "curing", "weighed", "held", "wet")]


# --- Building ----------------------------------------------------------------------------------


def build(session: Session, data: BuildIn) -> MotorBuild:
    """Put grains, case and nozzle together and keep the prediction made of them.

    Raises
    ------
    Refused
        A grain is not cured, accepted and free; the grains are of several formulas or do not fit; the throat is
        wider than the exit; the day is still to come or lies before the cure; or the motor cannot work.
    """
    chosen = chosen_grains(session, data)
    case = repository.get(session, Case, data.case_id, "case")
    nozzle = repository.get(session, Nozzle, data.nozzle_id, "nozzle")
    house = workshop.get(session)
    faults = Faults()
    for kind, thing in (("case", case), ("nozzle", nozzle)):
        if thing.retired:
            faults.add(f"{kind}_id", f"{thing.name} is retired; bring it back first.")
    _hardware_free(session, case, nozzle, faults)
    with faults.one():
        on_that_day(data, chosen)
    with faults.one():  # these are all told beside the grains, where one is enough
        one_formula(chosen)
        clearance.fits_case(
            session, case, [(v.grain.serial, v.pattern, v.grain.outer_d_m) for v in chosen], field="grain_ids"
        )
        clearance.fits_length(case, [v.grain.length_m for v in chosen], house, field="grain_ids")
    with faults.one():
        clearance.throat_inside_exit(data.throat_d, nozzle.exit_d_m, house.units)
    faults.tell()
    row = build_row(MotorBuild, data, code=code_for(session, data.built_on), exit_d_m=nozzle.exit_d_m)
    session.add(row)
    session.flush()
    for position, view in enumerate(chosen, start=1):
        session.add(BuildGrain(motor_build_id=row.pk, grain_id=view.grain.pk, position=position))
    nozzle_measured(session, nozzle, data)
    session.flush()
    session.refresh(row)
    predict_again(session, row)
    return row


def predict_again(session: Session, build: MotorBuild) -> Prediction:
    """Make a prediction of a build with the workshop's settings as they stand now; earlier ones stay.

    Raises
    ------
    Refused
        The motor cannot work, or its grains are gone.
    """
    built = around(session, build)
    if built.state != "ready":
        raise Refused(f"{build.code} is {built.state_words.lower()}; its prediction stays as it was made.")
    predicted = prediction.predict(session, setup_of(session, built))
    row = Prediction(
        motor_build_id=build.pk,
        made_at=clock.now(),
        total_impulse_ns=predicted.total_impulse.mid,
        mean_thrust_n=predicted.mean_thrust.mid,
        peak_pressure_pa=predicted.peak_pressure.mid,
        burn_time_s=predicted.burn_time.mid,
        designation=predicted.designation,
        inputs_json=predicted.inputs.model_dump_json(),
        result_json=predicted.model_dump_json(exclude={"inputs"}),
    )
    session.add(row)
    session.flush()
    return row


def setup_of(session: Session, built: Built) -> Setup:
    """A build as a prediction takes it: each grain with its own mass and sizes, the throat as measured then."""
    build = built.build
    burning = [
        motor_setup.burning(
            v.pattern,
            v.grain,
            v.grain.mass_kg,
            clearance.tube_od(session, v.pattern),
            v.grain.tare_kg or clearance.tube_mass(session, v.pattern),
        )
        for v in built.grains
    ]
    remarks = []
    for batch in {v.batch.pk: v.batch for v in built.grains}.values():
        weighed = batches.composition(session, batch)
        off = max(abs(weighed.get(k, 0) - built.formula.blend.get(k, 0)) for k in weighed | built.formula.blend)
        if off > OFF_FORMULA:
            remarks.append(
                f"Lot {batch.code} was weighed up to {off * 100:.1f} percentage points away from "
                f"{built.formula.label}; the prediction is made for the formula."
            )
    if built.wet:
        inside = ", ".join(v.grain.serial for v in built.wet)
        remarks.append(
            f"Wet at the last re-weigh: {inside}. The prediction takes each grain as dry, as its label says."
        )
    return Setup(
        formula=built.formula,
        grains=burning,
        case=built.case,
        nozzle=built.nozzle,
        throat_d=build.throat_d_m,
        exit_d=build.exit_d_m,
        elevation=build.field_elevation_m,
        temperature=build.grain_temperature_k,
        serials=[v.grain.serial for v in built.grains],
        remarks=remarks,
        throat_known=throats.as_built(session, build, built.nozzle),
    )


def _hardware_free(session: Session, case: Case, nozzle: Nozzle, faults: Faults) -> None:
    """One case and one nozzle are in one motor at a time."""
    for built in ready(session):
        for field, same, name in (
            ("case_id", built.case is case, case.name),
            ("nozzle_id", built.nozzle is nozzle, nozzle.name),
        ):
            if same:
                faults.add(
                    field,
                    f"{name} is in motor {built.build.code}, which is ready to fire. Fire it or take it apart first, "
                    "or enter a second piece under its own name.",
                )


# --- Taking apart ------------------------------------------------------------------------------


def take_apart(session: Session, build: MotorBuild, data: TakeApartIn, version: int | None = None) -> MotorBuild:
    """Take a motor apart: its grains go back to the shelf.

    Raises
    ------
    Refused
        It was fired or taken apart already.
    Conflict
        It was changed since the page was opened.
    """
    built = around(session, build)
    if built.state == "fired":
        raise Refused(f"{build.code} was fired; its grains are burned.")
    if built.state == "taken apart":
        raise Refused(f"{build.code} is taken apart already.")
    repository.claim(build, version)
    now = clock.now()
    build.taken_apart_at, build.taken_apart_why = now, data.why
    for slot in build.slots:
        slot.released_at = now
    session.flush()
    return build
