"""The same motor with fewer and with more grains: how many to cast for the height one has in mind."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from sqlmodel import Session

from app.calc.base.errors import CalcError
from app.calc.flight.flight import Flight, Motor, fly
from app.calc.motor.simulation import MotorRun, simulate
from app.errors import Refused
from app.models.motor import DesignIn
from app.services.flight.flights import Estimate
from app.services.learning import learning
from app.services.motors import designs, prediction

MOST = 12
"""Numbers of grains looked at: more than a home-cast motor has, and few enough to be worked out at once."""


@dataclass(frozen=True)
class OfCount:
    """What so many grains are expected to do, alone and in the rocket; None where it cannot be."""

    count: int
    run: MotorRun | None
    flight: Flight | None


def compare(session: Session, data: DesignIn, estimate: Estimate | None) -> list[OfCount]:
    """A design with each number of grains that fits its case, and the flight of each where one is estimated.

    Expected values only: the range of a motor is that of its own page.
    """
    return list(_each(session, data, estimate))


def _each(session: Session, data: DesignIn, estimate: Estimate | None) -> Iterator[OfCount]:
    taught = None
    for count in range(1, MOST + 1):
        try:
            setup = designs.setup_of(session, data.model_copy(update={"count": count}))
        except Refused:  # no more of them fit the case
            return
        try:
            taught = taught or learning.factors(session, setup.formula, setup.case)  # the same for all of them
            run = simulate(prediction.motor_of(session, setup, taught)[0])
        except (CalcError, Refused):
            yield OfCount(count, None, None)
            continue
        tubes = sum(one.tube_kg for one in setup.grains)
        yield OfCount(count, run, _flown(run, tubes, estimate) if estimate else None)


def _flown(run: MotorRun, tubes: float, estimate: Estimate) -> Flight | None:
    """The flight of such a motor in place of the one that was estimated; None where it does not leave the rail."""
    later = run.rising
    airframe = replace(estimate.airframe, dry_mass=estimate.bare_kg + tubes)
    try:
        return fly(Motor(run.time[later], run.thrust[later], run.propellant_mass), airframe, estimate.pad)
    except CalcError:
        return None
