"""How sure a flight is: motors, drag, mass, wind, rail and weathercocking drawn from stated spreads, all flown at once.

Draws are a Latin hypercube: each input takes evenly spaced marks of its spread, in an order of its own. The same seed
gives the same answer.
"""

from dataclasses import dataclass, replace
from math import radians

import numpy as np

from app.calc.base.constants import Floats, finite_array, within
from app.calc.base.errors import CalcError, NoSolution
from app.calc.base.notes import Amount, Note
from app.calc.flight.flight import Flight, Flights, first_of, fly_many, one_of
from app.calc.flight.launch import MAX_TILT, Motor, Pad, Rocket, batch_of
from app.calc.flight.motor_draws import MotorDraws, drawn_from_marks, normal_marks, shares_about
from app.calc.motor.uncertainty import Marks

__all__ = [
    "FlightRange",
    "FlightSpread",
    "MotorDraws",
    "drawn_from_marks",
    "fly_range",
    "fly_with_range",
    "shares_about",
]

_MARKS = (0.05, 0.50, 0.95)
_POINTS = 61


@dataclass(frozen=True)
class FlightSpread:
    """Standard deviations; every one is this book's assumption, to be replaced by what flights teach.

    Attributes
    ----------
    drag, mass : float
        Of the drag coefficient and the dry mass, as shares [-].
    wind, still_wind : float
        Of the wind as a share of itself [-], and its least [m/s].
    tilt : float
        Of the rail [rad].
    turning : tuple of float
        Lowest and highest share of weathercocking, all between equally likely [-].
    """

    drag: float = 0.10
    mass: float = 0.01
    wind: float = 0.25
    still_wind: float = 0.5
    tilt: float = radians(1)
    turning: tuple[float, float] = (0.0, 1.0)


@dataclass(frozen=True)
class FlightRange:
    """What a flight is predicted to do, as ranges.

    Attributes
    ----------
    highest, rail_exit_speed, coast_time, opening_speed, landing_distance, max_mach : Marks
        5, 50 and 95 % marks of the draws that leave the rail [m], [m/s], [s], [m/s], [m], [-]; of the opening those in
        which something opens, NaN where nothing does.
    exit_angle : Marks
        Between the rail and the air that meets the rocket as it leaves it [rad].
    landing_speed, landing_ground_speed : Marks
        Of descent, and sideways over the ground [m/s].
    stays_on_rail, nothing_opens : float
        Shares of draws [-].
    above_ceiling, outside_field : float or None
        Shares of draws [-]; None where there is no ceiling, or no size or wind.
    kept : float
        Share of draws that leave the rail, stay below the ceiling and land in the field, as far as both are known [-].
    time, low, high : ndarray, shape (K,)
        5 and 95 % marks of the height over time [s], [m], [m].
    landings : ndarray, shape (M,)
        Where each draw that leaves the rail comes down, from the pad with the wind, in rising order [m].
    samples, seed : int
        [-]
    assumptions : tuple of Note or str
        In words.
    """

    highest: Marks
    rail_exit_speed: Marks
    exit_angle: Marks
    coast_time: Marks
    opening_speed: Marks
    landing_distance: Marks
    landing_speed: Marks
    landing_ground_speed: Marks
    max_mach: Marks
    stays_on_rail: float
    nothing_opens: float
    above_ceiling: float | None
    outside_field: float | None
    kept: float
    time: Floats
    low: Floats
    high: Floats
    landings: Floats
    samples: int
    seed: int
    assumptions: tuple[Note | str, ...]


def fly_range(
    motor: Motor,
    rocket: Rocket,
    pad: Pad,
    draws: MotorDraws,
    spread: FlightSpread | None = None,
    ceiling: float | None = None,
    edges: tuple[float, float] | None = None,
    windy: bool = True,
    samples: int = 256,
    seed: int = 20,
) -> FlightRange:
    """Fly a rocket as ranges.

    Parameters
    ----------
    motor, rocket, pad : Motor, Rocket, Pad
        At their middle values, single numbers [SI].
    draws : MotorDraws
        Motors to draw from [-].
    spread : FlightSpread, optional
        Of everything else [SI]; the usual one if left out.
    ceiling : float, optional
        Above the field [m].
    edges : tuple of float, optional
        From the pad to the edge of the field against the wind, and with it [m].
    windy : bool
        Whether a wind is known; without one none is drawn and no landing is judged.
    samples : int
        Flights to draw, 16 to 20,000 [-].
    seed : int
        Same seed, same answer [-].

    Returns
    -------
    FlightRange
        5, 50 and 95 % marks [m], [m/s], [s] and shares of draws [-].

    Raises
    ------
    OutOfRange, GeometryError, CalcError
        As `flight.fly_many`; or draws that are none.
    NoSolution
        If hardly any draw leaves the rail.

    Notes
    -----
    Inputs are independent of each other, but for impulse and burn time of one motor. A share of zero means fewer
    than one draw in `samples`, not never.

    References
    ----------
    Latin hypercube: McKay, Beckman, Conover, Technometrics 21 (1979) 239 (from memory). Spreads: `FlightSpread`.

    Examples
    --------
    >>> motor = Motor([0, 2], [400, 400], 0.7)
    >>> draws = drawn_from_marks(0.94, 1.05, 0.9, 1.1)
    >>> found = fly_range(motor, Rocket(6.5, 0.1, 0.5), Pad(2.0), draws, ceiling=500.0, windy=False)
    >>> found.highest.low < found.highest.mid < found.highest.high, 0 < found.above_ceiling < 1
    (True, True)
    """
    return _flown(motor, rocket, pad, draws, spread, ceiling, edges, windy, samples, seed, alone=False)[1]


def fly_with_range(
    motor: Motor,
    rocket: Rocket,
    pad: Pad,
    draws: MotorDraws,
    ceiling: float | None = None,
    edges: tuple[float, float] | None = None,
    windy: bool = True,
    samples: int = 256,
    seed: int = 20,
) -> tuple[Flight, FlightRange]:
    """Fly a rocket as expected and as ranges, all at once.

    Parameters
    ----------
    motor, rocket, pad, draws, ceiling, edges, windy, samples, seed
        As in `fly_range` [SI].

    Returns
    -------
    tuple of Flight and FlightRange
        The flight at the middle values, and the range [SI].

    Raises
    ------
    OutOfRange, GeometryError, CalcError, NoSolution
        As `fly_range`; or the flight at the middle values does not leave the rail.

    Notes
    -----
    The range is that of `fly_range`; the flight agrees with `flight.fly` to some millionths, for its steps are those of
    the hardest drawn flight.

    References
    ----------
    As `fly_range`.

    Examples
    --------
    >>> motor, rocket, pad = Motor([0, 2], [400, 400], 0.7), Rocket(6.5, 0.1, 0.5), Pad(2.0)
    >>> flight, found = fly_with_range(motor, rocket, pad, drawn_from_marks(0.94, 1.05, 0.9, 1.1), windy=False)
    >>> found.highest.low < flight.highest < found.highest.high
    True
    """
    flight, found = _flown(motor, rocket, pad, draws, None, ceiling, edges, windy, samples, seed, alone=True)
    if flight is None:
        raise NoSolution("rail_length", "the rocket does not leave the rail.", "Use a stronger motor.")
    return flight, found


def _flown(
    motor: Motor,
    rocket: Rocket,
    pad: Pad,
    draws: MotorDraws,
    spread: FlightSpread | None,
    ceiling: float | None,
    edges: tuple[float, float] | None,
    windy: bool,
    samples: int,
    seed: int,
    alone: bool,
) -> tuple[Flight | None, FlightRange]:
    """The range; with `alone` the flight at the middle values besides, behind the drawn ones, if it leaves the rail."""
    chosen = spread if spread is not None else FlightSpread()
    within("samples", samples, 16, 20_000, "A few hundred give steady marks.")
    impulse, longer = finite_array("draws", draws.impulse), finite_array("draws", draws.time)
    if impulse.ndim != 1 or impulse.shape != longer.shape or not len(impulse):
        raise CalcError("draws", "impulses and times do not pair up.", "Give one time for each impulse.")
    batch_of(motor, rocket, pad)  # refuses what is impossible before it is spread out
    rng = np.random.default_rng(seed)
    which = rng.permutation(np.arange(samples) % len(impulse))
    drag, mass, wind, tilt = (rng.permutation(normal_marks(samples)) for _ in range(4))
    low, high = chosen.turning
    share = low + (high - low) * (rng.permutation(samples) + 0.5) / samples
    blown = float(np.asarray(pad.wind)) if windy else 0.0
    gusts = max(chosen.wind * blown, chosen.still_wind) if windy else 0.0
    lean = float(np.asarray(pad.tilt))

    def with_middle(values: Floats, middle: float) -> Floats:
        return np.append(values, middle) if alone else values

    every = fly_many(
        replace(motor, impulse_scale=with_middle(impulse[which], 1.0), time_scale=with_middle(longer[which], 1.0)),
        replace(
            rocket,
            dry_mass=np.asarray(rocket.dry_mass) * with_middle(np.exp(chosen.mass * mass), 1.0),
            drag_scale=with_middle(np.exp(chosen.drag * drag), 1.0),
        ),
        replace(
            pad,
            wind=with_middle(np.abs(blown + gusts * wind), blown),
            tilt=with_middle(np.clip(lean + chosen.tilt * tilt, -MAX_TILT, MAX_TILT), lean),
            turning=with_middle(share, float(np.asarray(pad.turning))),
        ),
    )
    flight = one_of(every, samples) if alone and every.left_rail[samples] else None
    flown = first_of(every, samples) if alone else every
    left = flown.left_rail
    if left.mean() < 0.5:
        raise NoSolution(
            "rail_length", "most of the motors drawn do not lift it off the rail.", "Use a stronger motor."
        )
    landed = flown.landing_distance[left]
    outside = np.zeros(samples, dtype=bool)
    if edges is not None and windy:
        outside = (flown.landing_distance < -edges[0]) | (flown.landing_distance > edges[1])
    above = np.zeros(samples, dtype=bool) if ceiling is None else flown.highest > ceiling
    time, lower, upper = _band(flown)
    return flight, FlightRange(
        highest=_marks(flown.highest[left]),
        rail_exit_speed=_marks(flown.rail_exit_speed[left]),
        exit_angle=_marks(flown.exit_angle[left]),
        coast_time=_marks(flown.coast_time[left]),
        opening_speed=_marks(flown.opening_speed[left & np.isfinite(flown.opening_speed)]),
        landing_distance=_marks(landed),
        landing_speed=_marks(flown.landing_speed[left]),
        landing_ground_speed=_marks(flown.landing_ground_speed[left]),
        max_mach=_marks(flown.max_mach[left]),
        stays_on_rail=float((~left).mean()),
        nothing_opens=float(np.isnan(flown.opening_speed[left]).mean()),
        above_ceiling=None if ceiling is None else float(above.mean()),
        outside_field=None if edges is None or not windy else float(outside[left].mean()),
        kept=float((left & ~above & ~outside).mean()),
        time=time,
        low=lower,
        high=upper,
        landings=np.sort(landed),
        samples=samples,
        seed=seed,
        assumptions=_assumptions(chosen, samples, seed, blown if windy else None),
    )


def _marks(values: Floats) -> Marks:
    if not len(values):
        return Marks(float("nan"), float("nan"), float("nan"))
    low, mid, high = np.quantile(values, _MARKS)
    return Marks(float(low), float(mid), float(high))


def _band(flown: Flights) -> tuple[Floats, Floats, Floats]:
    """Height of all draws at even times, until the last is down."""
    time = np.linspace(0.0, float(np.quantile(flown.landing_time, 0.95)), _POINTS)
    height = np.stack(
        [np.interp(time, flown.time[:, i], flown.height[:, i], right=0.0) for i in np.flatnonzero(flown.left_rail)]
    )
    low, high = np.quantile(height, (_MARKS[0], _MARKS[2]), axis=0)
    return time, low, high


def _assumptions(spread: FlightSpread, samples: int, seed: int, wind: float | None) -> tuple[Note | str, ...]:
    blown = (
        "No wind is known, so none is drawn; landing is not judged."
        if wind is None
        else Note(f"Wind ±{spread.wind:.0%}, at least ±{{still}}.", {"still": Amount(spread.still_wind, "speed")})
    )
    return (
        f"Drag coefficient ±{spread.drag:.0%}, mass ±{spread.mass:.0%} (one standard deviation each).",
        blown,
        f"Rail ±{spread.tilt * 180 / np.pi:.0f}°; the nose turns into the wind by {spread.turning[0]:.0%} to "
        f"{spread.turning[1]:.0%} of the way, at once.",
        f"{samples} flights drawn (Latin hypercube, seed {seed}); spreads are assumptions until flights teach better.",
    )
