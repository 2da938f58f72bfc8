"""Flight of a rocket as a point: rail, burn, coast to apogee, and down under its parachutes. One or thousands."""

from dataclasses import dataclass, fields, replace
from typing import Any, Generic, TypeVar

import numpy as np

from app.calc.base.atmosphere import ALTITUDES
from app.calc.base.constants import STANDARD_GRAVITY, Floats
from app.calc.base.errors import CalcError, NoSolution, OutOfRange
from app.calc.base.notes import Amount, Note
from app.calc.flight.ascent import Batch, Bools, Track, U, W, X, Z, climb, leave_rail
from app.calc.flight.drag import Drag
from app.calc.flight.landing import come_down
from app.calc.flight.launch import MAX_TILT, Motor, Pad, Rocket, batch_of
from app.calc.flight.recovery import Parachute, Recovery
from app.calc.flight.wind import angle_off_rail

__all__ = [
    "MAX_TILT",
    "Flight",
    "Flights",
    "Flown",
    "Motor",
    "Pad",
    "Parachute",
    "Recovery",
    "Rocket",
    "first_of",
    "fly",
    "fly_many",
    "one_of",
]

T = TypeVar("T")


@dataclass(frozen=True)
class Flown(Generic[T]):
    """What was flown: each figure a number (one flight) or an array of shape (N,).

    Of a flight that does not leave its rail all that follows is zero. NaN stands for what never happens.

    Attributes
    ----------
    left_rail : ndarray of bool, shape (N,)
        Whether it left the rail [-].
    drag : Drag
        As it was used: coefficient [-], area [m²], the area in words.
    liftoff_mass, total_impulse : T
        [kg], [N s]
    thrust_to_weight, thrust_to_weight_rail : T
        Mean thrust over the burn to the weight at liftoff; thrust to weight as it leaves the rail [-].
    rail_exit_speed, rail_exit_time : T
        [m/s], [s]
    exit_angle : T
        Between the rail and the air that meets the rocket as it leaves it [rad].
    burnout_speed, burnout_time, burnout_height : T
        When the thrust curve ends [m/s], [s], [m].
    apogee, apogee_time, coast_time, downrange : T
        If nothing opens before: height above the field [m], time from ignition [s], time from burnout (the ideal
        delay) [s], distance with the wind [m].
    max_speed, max_acceleration : T
        Over the ground, on the way up [m/s], [m/s²].
    max_mach, max_mach_time, max_q, max_q_time : T
        Through the air, on the way up [-], [s], [Pa], [s].
    opening_time, opening_height, opening_speed : T
        When the first parachute opens [s], [m], through the air [m/s].
    main_opening_speed : T
        When the main parachute opens after a drogue [m/s].
    highest : T
        Height reached with what opens [m].
    landing_time, landing_distance : T
        [s], with the wind from the pad [m].
    landing_speed, landing_ground_speed : T
        As it lands: of descent, and sideways over the ground [m/s].
    time, distance, height : ndarray, shape (K,) or (K, N)
        The path; distance with the wind [s], [m], [m].
    notes : tuple of str
        What to keep in mind of the drag of one flight, in words.
    """

    left_rail: Bools
    drag: Drag
    liftoff_mass: T
    total_impulse: T
    thrust_to_weight: T
    thrust_to_weight_rail: T
    rail_exit_speed: T
    rail_exit_time: T
    exit_angle: T
    burnout_speed: T
    burnout_time: T
    burnout_height: T
    apogee: T
    apogee_time: T
    coast_time: T
    downrange: T
    max_speed: T
    max_acceleration: T
    max_mach: T
    max_mach_time: T
    max_q: T
    max_q_time: T
    opening_time: T
    opening_height: T
    opening_speed: T
    main_opening_speed: T
    highest: T
    landing_time: T
    landing_distance: T
    landing_speed: T
    landing_ground_speed: T
    time: Floats
    distance: Floats
    height: Floats
    notes: tuple[str, ...] = ()


Flight = Flown[float]
Flights = Flown[Floats]


def fly(motor: Motor, rocket: Rocket, pad: Pad) -> Flight:
    """Fly one rocket on a thrust curve, with the wind of the day.

    Parameters
    ----------
    motor : Motor
        Thrust curve [s], [N] and propellant [kg].
    rocket : Rocket
        Masses [kg], sizes [m], drag [-] and parachutes.
    pad : Pad
        Rail [m], [rad], elevation [m], temperature [K] and wind [m/s].

    Returns
    -------
    Flight
        Speeds [m/s], heights above the field [m], times [s], distances with the wind [m] and the path.

    Raises
    ------
    OutOfRange, GeometryError, CalcError
        If an input is impossible; each names the field.
    NoSolution
        If the thrust does not lift the rocket off the rail.

    Notes
    -----
    A batch of one of `fly_many`; see there for what is neglected.

    References
    ----------
    As `fly_many`.

    Examples
    --------
    >>> flight = fly(Motor([0, 2], [400, 400], 0.7), Rocket(6.5, 0.1, 0.5), Pad(2.0))
    >>> 400 < flight.apogee < 500
    True
    """
    flown = fly_many(motor, rocket, pad)
    if len(flown.left_rail) != 1:
        raise CalcError("motor", "several flights were asked for at once.", "Give single numbers.")
    if not flown.left_rail[0]:
        weight = float(flown.liftoff_mass[0]) * STANDARD_GRAVITY
        most = float(np.max(motor.thrust))
        if most <= weight:
            raise NoSolution(
                "thrust",
                Note(
                    "the largest thrust ({most}) does not lift {mass}.",
                    {"most": Amount(most, "force"), "mass": Amount(weight / STANDARD_GRAVITY, "heavy_mass", 0)},
                ),
                "Use a stronger motor or a lighter rocket.",
            )
        raise NoSolution(
            "rail_length",
            "the rocket does not leave the rail.",
            "Use a stronger motor, a lighter rocket or a shorter rail.",
        )
    return one_of(flown, 0)


def one_of(flown: Flights, place: int) -> Flight:
    """Give one flight of many that left the rail.

    Parameters
    ----------
    flown : Flights
        Many [SI].
    place : int
        Which [-].

    Returns
    -------
    Flight
        Its figures and its path [SI], with what to keep in mind of its drag.

    Notes
    -----
    Of a flight that did not leave the rail all is zero.

    References
    ----------
    As `fly_many`.

    Examples
    --------
    >>> flown = fly_many(Motor([0, 2], [400, 400], 0.7), Rocket([6.5, 7.5], 0.1, 0.5), Pad(2.0))
    >>> one_of(flown, 1).apogee == float(flown.apogee[1])
    True
    """
    single: dict[str, Any] = {
        f.name: float(getattr(flown, f.name)[place])
        for f in fields(flown)
        if f.name not in ("left_rail", "drag", "time", "distance", "height", "notes")
    }
    path = {name: getattr(flown, name)[:, place] for name in ("time", "distance", "height")}
    one: Flight = Flown(left_rail=flown.left_rail[place : place + 1], drag=flown.drag, **single, **path)
    return replace(one, notes=_notes(one))


def first_of(flown: Flights, count: int) -> Flights:
    """Give the first flights of many.

    Parameters
    ----------
    flown : Flights
        Many [SI].
    count : int
        How many of them [-].

    Returns
    -------
    Flights
        Their figures and paths [SI].

    Notes
    -----
    Views of the same arrays.

    References
    ----------
    As `fly_many`.

    Examples
    --------
    >>> flown = fly_many(Motor([0, 2], [400, 400], 0.7), Rocket([6.5, 7.5], 0.1, 0.5), Pad(2.0))
    >>> len(first_of(flown, 1).apogee)
    1
    """
    kept: dict[str, Any] = {
        f.name: getattr(flown, f.name)[..., :count] for f in fields(flown) if f.name not in ("drag", "notes")
    }
    return replace(flown, **kept)


def fly_many(motor: Motor, rocket: Rocket, pad: Pad) -> Flights:
    """Fly many rockets at once, each with its own masses, drag, wind, tilt and share of the impulse.

    Parameters
    ----------
    motor : Motor
        One thrust curve [s], [N]; scales of each flight [-].
    rocket : Rocket
        Dry mass and scale of drag of each flight [kg], [-]; the rest is shared.
    pad : Pad
        Tilt and wind of each flight [rad], [m/s]; the rest is shared.

    Returns
    -------
    Flights
        Speeds [m/s], heights above the field [m], times [s], distances with the wind [m] and the paths.

    Raises
    ------
    OutOfRange, GeometryError, CalcError
        If an input is impossible; each names the field.

    Notes
    -----
    A point mass in the upright plane of the wind. Weathercocking: off the rail the nose turns at once by a share
    (`Pad.turning`) of the way from its path into the air that meets it; a real rocket turns later, swings, and with
    too little stability does not turn at all. Neglected besides: spin, lift, misaligned fins or thrust, rail
    friction, gusts, thermals, turning of the wind with height, the Earth's rotation and curvature, fall of gravity
    with height. On the rail drag acts in the wind at half its height; what thrust does not lift stays where it is.
    Mass is lost in proportion to impulse. A parachute is open at once; from then on the rocket slows from the velocity
    it has by the drag of parachute and body, and what opens nothing falls nose first. Nothing swings, and the wind is
    the open ground's to the very ground, where it falls to nothing.

    References
    ----------
    Equations of motion of a rocket in two dimensions: Sutton & Biblarz, Rocket Propulsion Elements, ch. 4
    (from memory). Air: U.S. Standard Atmosphere, 1976. Wind: `wind.wind_at`. Descent: the same
    equations with a parachute's drag.

    Examples
    --------
    >>> flown = fly_many(Motor([0, 2], [400, 400], 0.7), Rocket(6.5, 0.1, 0.5), Pad(2.0, wind=[0.0, 5.0]))
    >>> bool(flown.apogee[0] > flown.apogee[1] > 300)
    True
    """
    batch, recovery = batch_of(motor, rocket, pad)
    flies, left, exit_speed = leave_rail(batch)
    way_up, burnout, top_time, top = climb(batch, left, exit_speed, flies)
    if float(top[Z].max()) + pad.elevation > ALTITUDES[1]:
        raise OutOfRange("altitude", "it flies higher than the air of this calculation.", "Use a smaller motor.")
    burnt = np.minimum(np.maximum(batch.curve.end, left), top_time)
    down = come_down(batch, recovery, burnt, way_up, top_time, top, flies)
    weight = (batch.dry + batch.propellant) * STANDARD_GRAVITY
    start = way_up.states[0]
    meets = angle_off_rail(exit_speed, batch.tilt, batch.air.wind_over(start[Z]))

    def of_flight(values: Floats) -> Floats:
        return np.where(flies, values, 0.0)

    up: dict[str, Any] = {name: of_flight(values) for name, values in _largest(batch, way_up).items()}
    held = np.zeros((1, len(batch)))
    return Flown(
        left_rail=flies,
        drag=batch.drag,
        liftoff_mass=batch.dry + batch.propellant,
        total_impulse=batch.curve.total,
        thrust_to_weight=batch.curve.total / batch.curve.lasts / weight,
        thrust_to_weight_rail=of_flight(batch.curve.thrust(left) / (batch.mass(left) * STANDARD_GRAVITY)),
        rail_exit_speed=exit_speed,
        rail_exit_time=of_flight(left),
        exit_angle=of_flight(meets),
        burnout_speed=of_flight(np.hypot(burnout[U], burnout[W])),
        burnout_time=burnt,
        burnout_height=of_flight(burnout[Z]),
        apogee=of_flight(top[Z]),
        apogee_time=of_flight(top_time),
        coast_time=of_flight(top_time - burnt),
        downrange=of_flight(top[X]),
        opening_time=down.opening_time,
        opening_height=down.opening_height,
        opening_speed=down.opening_speed,
        main_opening_speed=down.main_opening_speed,
        highest=of_flight(down.highest),
        landing_time=of_flight(down.landing_time),
        landing_distance=of_flight(down.landing[X]),
        landing_speed=of_flight(-down.landing[W]),
        landing_ground_speed=of_flight(np.abs(down.landing[U])),
        time=np.concatenate((held, np.stack(way_up.times + down.times))),
        distance=np.concatenate((held, np.stack([s[X] for s in way_up.states] + down.distances))),
        height=np.concatenate((held, np.stack([s[Z] for s in way_up.states] + down.heights))),
        **up,
    )


def _largest(batch: Batch, way_up: Track) -> dict[str, Floats]:
    """Speed, acceleration, Mach number and dynamic pressure at their largest on the way up."""
    times, states = np.stack(way_up.times), np.stack(way_up.states)
    speed = np.hypot(states[:, U], states[:, W])
    step = np.diff(times, axis=0)
    gained = np.diff(speed, axis=0) / np.where(step > 1e-6, step, np.inf)
    z = states[:, Z]
    through = np.hypot(states[:, U] - batch.air.wind_over(z), states[:, W])
    mach = through / batch.air.sound_at(z)
    q = 0.5 * batch.air.density_at(z) * through**2
    rows = np.arange(len(batch))
    return {
        "max_speed": speed.max(axis=0),
        "max_acceleration": np.maximum(gained.max(axis=0), speed[0] / np.maximum(times[0], 1e-9)),
        "max_mach": mach.max(axis=0),
        "max_mach_time": times[mach.argmax(axis=0), rows],
        "max_q": q.max(axis=0),
        "max_q_time": times[q.argmax(axis=0), rows],
    }


def _notes(flight: Flight) -> tuple[str, ...]:
    notes = []
    if flight.max_mach > 0.8 and not flight.drag.tabled:
        notes.append(f"Mach {flight.max_mach:.2f}: drag rises near the speed of sound and one coefficient is too low.")
    if flight.drag.tabled and flight.max_mach > flight.drag.mach[-1]:
        notes.append(
            f"Mach {flight.max_mach:.2f} lies beyond the drag table, which ends at {flight.drag.mach[-1]:g}; its last "
            "row was used."
        )
    return tuple(notes)
