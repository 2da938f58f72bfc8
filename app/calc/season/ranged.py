"""One design looked at closely: marched alone, its range, and its flight with its range, as their own pages do it."""

from dataclasses import dataclass, replace

import numpy as np

from app.calc.base.errors import CalcError
from app.calc.base.notes import Note
from app.calc.flight.flight import Flight, fly
from app.calc.flight.flight_range import FlightRange, drawn_from_marks, fly_with_range, shares_about
from app.calc.flight.launch import Motor as Push
from app.calc.flight.wind import AtTheRail, at_the_rail
from app.calc.motor.assembly import Motor
from app.calc.motor.simulation import MotorRun, simulate
from app.calc.motor.spread import Spread
from app.calc.motor.uncertainty import STAYS_LOW, MotorRange, predict_range
from app.calc.season.designs import Designs
from app.calc.season.expected import too_near
from app.calc.season.hardware import Formula
from app.calc.season.launch import DELAY_OFF, KEPT, Launch
from app.calc.season.screening import Fault

__all__ = ["Ranged", "range_one", "spread_of"]


@dataclass(frozen=True, eq=False)
class Ranged:
    """A design with its ranges.

    Attributes
    ----------
    index : int
        Its place among the designs.
    motor, run, range : Motor, MotorRun, MotorRange
        As it is, alone and drawn.
    flight, flights, rail : Flight, FlightRange, AtTheRail or None
        Where it flies and leaves the rail; the rail is that of the 5 % mark of the speed.
    delay : float or None
        The ejection delay that it was flown with [s].
    faults : Fault
        What speaks against it.
    odd : Note or None
        Why it could not be ranged or flown, in words.
    """

    index: int
    motor: Motor
    run: MotorRun
    range: MotorRange
    flight: Flight | None
    flights: FlightRange | None
    rail: AtTheRail | None
    delay: float | None
    faults: Fault
    odd: Note | None = None


def spread_of(designs: Designs, index: int) -> Spread:
    """Give how far each input of a design is trusted.

    Parameters
    ----------
    designs : Designs
        All.
    index : int
        Which [-].

    Returns
    -------
    Spread
        The formula's, with how well this throat is known: as measured on the day where it is drilled.

    Notes
    -----
    One standard deviation each.

    References
    ----------
    `spread.throat_spread`.

    Examples
    --------
    >>> from app.calc.season.designs import designs_of
    >>> from app.calc.season.example import example_hardware
    >>> spread_of(designs_of(example_hardware()), 1).throat_d
    5e-05
    """
    house = designs.hardware
    drilled = designs.drilled[index] > 0
    known = house.drilled_spread if drilled else house.nozzles[designs.nozzle[index]].throat_spread
    formula: Formula = house.formulas[designs.formula[index]]
    return replace(formula.spread, throat_d=known)


def range_one(designs: Designs, index: int, launch: Launch | None, samples: int, flights: int, seed: int) -> Ranged:
    """Look at one design closely.

    Parameters
    ----------
    designs : Designs
        All.
    index : int
        Which [-].
    launch : Launch or None
        Rocket and field; nothing flies without them.
    samples, flights, seed : int
        Motors and flights drawn, and from where [-].

    Returns
    -------
    Ranged
        The same numbers as `simulation.simulate`, `uncertainty.predict_range`, `flight.fly` and `fly_range` alone, the
        flight's to some millionths.

    Raises
    ------
    CalcError
        The motor cannot be put together, marched or ranged.

    Notes
    -----
    What passes the case's limit is not flown: nobody would.

    References
    ----------
    As the four above.

    Examples
    --------
    >>> from app.calc.season.designs import designs_of
    >>> from app.calc.season.example import example_hardware
    >>> found = range_one(designs_of(example_hardware()), 12, None, 64, 64, 20)
    >>> found.range.peak_pressure.low < found.run.peak_pressure < found.range.peak_pressure.high
    True
    """
    house, formula = designs.hardware, designs.hardware.formulas[designs.formula[index]]
    limit = house.cases[designs.case[index]].limit
    motor = designs.motor(index)
    run = simulate(motor, house.least_port)
    ranged = predict_range(
        motor, spread_of(designs, index), samples, seed, limit, correlation=formula.correlation, seen=formula.seen
    )
    faults = Fault(0)
    if max(run.peak_pressure, ranged.peak_pressure.high) > limit:
        faults |= Fault.OVER
    if ranged.stays_low > STAYS_LOW:
        faults |= Fault.LOW
    alone = Ranged(index, motor, run, ranged, None, None, None, None, faults)
    if launch is None or faults:
        return alone
    if too_near(np.array([max(run.total_impulse, ranged.total_impulse.high)]), launch)[0]:
        faults |= Fault.DISTANCE
    try:
        return _flown(replace(alone, faults=faults), designs, launch, flights, seed)
    except CalcError as error:
        return replace(alone, faults=faults | Fault.ODD, odd=error.sentence)


def _flown(alone: Ranged, designs: Designs, launch: Launch, samples: int, seed: int) -> Ranged:
    run, marks, pad = alone.run, alone.range, launch.still_pad
    later = run.rising
    push = Push(run.time[later], run.thrust[later], run.propellant_mass)
    dry = float(np.asarray(launch.rocket.dry_mass)) + float(designs.empty_mass[alone.index])
    rocket, delay, faults = replace(launch.rocket, dry_mass=dry), None, alone.faults
    if launch.delays is not None:
        coast = fly(push, rocket, pad).coast_time
        delay = min(launch.delays, key=lambda one: abs(one - coast), default=None)
        if delay is None or abs(delay - coast) > DELAY_OFF:
            faults |= Fault.DELAY
        else:
            rocket = replace(rocket, recovery=replace(rocket.recovery, delay=delay))
    low, high = shares_about(run.total_impulse, marks.total_impulse.low, marks.total_impulse.high)
    fast, slow = shares_about(run.burn_time, marks.burn_time.low, marks.burn_time.high)
    draws = drawn_from_marks(low, high, fast, slow, samples)
    flight, flown = fly_with_range(push, rocket, pad, draws, launch.ceiling, launch.edges, launch.windy, samples, seed)
    slowest = min(flight.rail_exit_speed, flown.rail_exit_speed.low)
    rail = at_the_rail(
        slowest,
        pad.rail_length,
        float(np.asarray(pad.tilt)),
        launch.blows,
        launch.gusts,
        pad.wind_height,
        launch.largest_angle,
    )
    if slowest < launch.least_speed or flown.stays_on_rail > 1 - KEPT:
        faults |= Fault.RAIL
    if rail.gust_angle > launch.largest_angle:
        faults |= Fault.WIND
    above, outside = flown.above_ceiling or 0.0, flown.outside_field or 0.0
    if launch.ceiling is not None and flight.highest > launch.ceiling:
        faults |= Fault.CEILING
    if flown.kept < KEPT - 1e-12:
        faults |= Fault.CEILING if above >= outside and above > 0 else Fault.FIELD if outside > 0 else Fault.RAIL
    if above > 1 - KEPT + 1e-12:
        faults |= Fault.CEILING
    if outside > 1 - KEPT + 1e-12:
        faults |= Fault.FIELD
    return replace(alone, flight=flight, flights=flown, rail=rail, delay=delay, faults=faults)
