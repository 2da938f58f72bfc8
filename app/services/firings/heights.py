"""How high each flight was expected to go, and how high it went: the firings of those who fly without a stand.

A flight drawn as a range takes a tenth of a second, so a list flies nothing: what a flight was expected to reach is
flown once, when it is written down, and kept beside its fit. Its key names everything it stands on: the prediction made
before it, its weather, its rocket, field and case. When one of them changes, it counts no more until flown again.
"""

import json
import time
from collections.abc import Iterable
from dataclasses import dataclass

from sqlalchemy import select as select_core
from sqlmodel import Session, col, select

from app import logbook
from app.models import Case, Firing, FiringFit, LaunchField, MotorBuild, Rocket
from app.services.book import calculation_key, repository
from app.services.flight import flights
from app.services.learning import fit_records, prediction_record, stored_predictions
from app.services.learning.fit_records import ExpectedHeight, FitRecord
from app.services.learning.prediction_record import Range
from app.troubles import trouble_of

CALCULATED_BY = (
    "app.services.firings.heights",
    "app.services.flight.flights",
    "app.services.hardware.places",
    "app.services.learning.prediction_record",
)
"""What makes a height, with all of `app.calc` that these use: any change of them makes every height anew."""

START_SECONDS = 2.0
"""Time spent on heights that wait, at most, as a book is opened or a rocket is changed [s]."""


@dataclass(frozen=True)
class Height:
    """Height reached [m] beside the height expected, and the marks that nine in ten drawn flights lie between."""

    reached_m: float
    expected: Range

    @property
    def ratio(self) -> float:
        """Reached over expected [-]."""
        return self.reached_m / self.expected.mid

    @property
    def low(self) -> float:
        """The lower mark over the expected height [-]."""
        return (self.expected.mid if self.expected.low is None else self.expected.low) / self.expected.mid

    @property
    def high(self) -> float:
        """The upper mark over the expected height [-]."""
        return (self.expected.mid if self.expected.high is None else self.expected.high) / self.expected.mid

    @property
    def inside(self) -> bool:
        """Whether it lies between the marks."""
        return self.low <= self.ratio <= self.high


# --- Reading -----------------------------------------------------------------------------------


def expected(session: Session, firing_ids: Iterable[int] | None = None) -> dict[int, Range]:
    """What flights were expected to reach [m], by the firing's identity; of all flights where none is named."""
    wanted = keys(session, firing_ids)
    kept = _kept(session, wanted)
    found = {key: kept[key] for key, name in wanted.items() if key in kept and kept[key].key == name}
    return {key: Range(mid=one.mid, low=one.low, high=one.high) for key, one in found.items() if one.mid}


def heights(session: Session, reached: dict[int, float | None]) -> dict[int, Height]:
    """Height reached beside height expected, of those firings of which both are known; by the firing's identity."""
    known = {key: metres for key, metres in reached.items() if metres is not None}
    told = expected(session, known) if known else {}
    return {key: Height(known[key], one) for key, one in told.items()}


def keys(session: Session, firing_ids: Iterable[int] | None = None) -> dict[int, str]:
    """The key that the height expected of each flight must have to count; only of flights that can be flown at all."""
    query = (
        select_core(
            col(Firing.id),
            stored_predictions.id_in_query(),
            col(Rocket.id),
            col(Rocket.version),
            col(LaunchField.id),
            col(LaunchField.version),
            col(Case.version),
            col(Firing.wind_m_s),
            col(Firing.wind_from),
            col(Firing.air_temperature_k),
            col(Firing.delay_planned_s),
        )
        .join(Rocket, col(Rocket.id) == Firing.rocket_id)
        .join(LaunchField, col(LaunchField.id) == Firing.launch_field_id)
        .join(MotorBuild, col(MotorBuild.id) == Firing.motor_build_id)
        .join(Case, col(Case.id) == MotorBuild.case_id)
        .where(col(Firing.kind) == "flight", col(Firing.result) != "no_light")
    )
    if firing_ids is not None:
        query = query.where(col(Firing.id).in_(list(firing_ids)))
    made_by = calculation_key.name(*CALCULATED_BY)
    return {
        key: f"{made_by}; prediction {told}, rocket {rocket}.{rocket_v}, field {field}.{field_v}, case {case_v}, "
        + ", ".join("-" if one is None else str(one) for one in weather)
        for key, told, rocket, rocket_v, field, field_v, case_v, *weather in session.execute(query)
        if told is not None
    }


def _kept(session: Session, firing_ids: Iterable[int]) -> dict[int, ExpectedHeight]:
    query = select_core(col(FiringFit.firing_id), col(FiringFit.fit_json))
    query = query.where(col(FiringFit.firing_id).in_(list(firing_ids)))
    read = {key: fit_records.height_in(made) for key, made in session.execute(query)}
    return {key: one for key, one in read.items() if one is not None}


# --- Flying ------------------------------------------------------------------------------------


def renew(session: Session, firing: Firing) -> None:
    """Fly what a firing was expected to reach, unless that was done from all the same."""
    session.flush()
    key = keys(session, [firing.pk]).get(firing.pk)
    row = session.exec(select(FiringFit).where(FiringFit.firing_id == firing.pk)).first()
    stands = fit_records.height_in(row.fit_json) if row is not None else None
    if key == (stands.key if stands is not None else None):
        return
    found = None if key is None else _flown(session, firing, key)
    if row is None:
        session.add(FiringFit(firing_id=firing.pk, key=fit_records.NO_FIT, fit_json=_with(None, found)))
    elif found is None and row.key == fit_records.NO_FIT:
        session.delete(row)
    else:
        row.fit_json = _with(row.fit_json, found)
        row.version += 1
    session.flush()


def catch_up(session: Session, seconds: float = START_SECONDS) -> int:
    """Fly what waits, newest flights first, until time is up; how many still wait."""
    until = time.monotonic() + seconds
    wanted = keys(session)
    kept = _kept(session, wanted)
    left = [key for key in sorted(wanted, reverse=True) if key not in kept or kept[key].key != wanted[key]]
    while left and time.monotonic() < until:
        renew(session, repository.get(session, Firing, left.pop(0), "firing"))
    return len(left)


def _flown(session: Session, firing: Firing, key: str) -> ExpectedHeight:
    """The height expected; without one where the rocket does not fly, or the program fails, so that no save is lost."""
    row = stored_predictions.for_firing(session, firing)
    try:
        estimate, _ = flights.estimate_of(session, prediction_record.from_row(row) if row else None, firing)
    except Exception as error:
        if trouble_of(error) is not None:  # the disk or the file: nothing is saved, and the page says why
            raise
        logbook.fault("flying a firing's expected height", error)
        estimate = None
    if estimate is None:
        return ExpectedHeight(key=key)
    found = estimate.highest
    return ExpectedHeight(key=key, mid=found.mid, low=found.low, high=found.high)


def _with(fit_json: str | None, found: ExpectedHeight | None) -> str:
    """A fit's text with another height; all else of it as it stands."""
    record = json.loads(fit_json or FitRecord().model_dump_json())
    return json.dumps({**record, "height": None if found is None else found.model_dump()})
