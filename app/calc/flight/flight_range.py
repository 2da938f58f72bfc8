"""How sure a flight is: motors, drag, mass, wind, rail and weathercocking drawn from stated spreads, all flown at once.

Draws are a Latin hypercube: each input takes evenly spaced marks of its spread, in an order of its own. The same seed
gives the same answer.
"""

from dataclasses import dataclass, replace
from functools import cache
from math import log, radians
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike

from app.calc.base.constants import Floats, finite_array, within
from app.calc.base.errors import CalcError, NoSolution
from app.calc.base.notes import Amount, Note
from app.calc.flight.flight import Flights, fly_many
from app.calc.flight.launch import MAX_TILT, Motor, Pad, Rocket, batch_of
from app.calc.motor.uncertainty import Marks

_MARKS = (0.05, 0.50, 0.95)
_HIGH = NormalDist().inv_cdf(_MARKS[2])
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
class MotorDraws:
    """Motors as drawn, each as impulse and burn time over the expected ones [-], equally long."""

    impulse: ArrayLike
    time: ArrayLike


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


def drawn_from_marks(low: float, high: float, time_low: float, time_high: float, samples: int = 256) -> MotorDraws:
    """Motors from nothing but the 5 and 95 % marks of their impulse and burn time.

    Parameters
    ----------
    low, high : float
        Marks of the impulse over the expected one [-].
    time_low, time_high : float
        Marks of the burn time over the expected one [-].
    samples : int
        How many [-].

    Returns
    -------
    MotorDraws
        Shares [-].

    Raises
    ------
    OutOfRange
        Marks that do not lie about one.

    Notes
    -----
    Each side of one is log-normal with its own width; impulse and burn time are taken as independent, which they are
    not quite: a motor that burns fast wastes a little less.

    References
    ----------
    An assumption of this book, no source.

    Examples
    --------
    >>> drawn = drawn_from_marks(0.9, 1.1, 0.8, 1.25)
    >>> [round(float(v), 2) for v in np.quantile(drawn.impulse, (0.05, 0.5, 0.95))]
    [0.9, 1.0, 1.1]
    """
    for name, value in (("low", low), ("time_low", time_low)):
        within(name, value, 0.01, 1.0, "The 5 % mark lies below the middle.")
    for name, value in (("high", high), ("time_high", time_high)):
        within(name, value, 1.0, 100.0, "The 95 % mark lies above the middle.")
    rng = np.random.default_rng(7)
    z, other = _normal(samples), rng.permutation(_normal(samples))

    def about_one(z: Floats, low: float, high: float) -> Floats:
        shares: Floats = np.exp(z / _HIGH * np.where(z > 0, log(high), -log(low)))
        return shares

    return MotorDraws(about_one(z, low, high), about_one(other, time_low, time_high))


def shares_about(mid: float, low: float | None, high: float | None) -> tuple[float, float]:
    """Give the marks of a figure as shares of its expected value, for `drawn_from_marks`.

    Parameters
    ----------
    mid : float
        As expected [-].
    low, high : float or None
        5 and 95 % marks, in the same unit [-].

    Returns
    -------
    tuple of float
        Both about one [-]; one where a mark is not known.

    Notes
    -----
    A mark on the other side of the expected value counts as that value.

    References
    ----------
    An assumption of this book, no source.

    Examples
    --------
    >>> shares_about(100.0, 80.0, 130.0), shares_about(100.0, None, None)
    ((0.8, 1.3), (1.0, 1.0))
    """
    if low is None or high is None or not mid > 0:
        return 1.0, 1.0
    return min(max(low / mid, 0.05), 1.0), min(max(high / mid, 1.0), 20.0)


@cache
def _even(samples: int) -> tuple[float, ...]:
    return tuple(NormalDist().inv_cdf((i + 0.5) / samples) for i in range(samples))


def _normal(samples: int) -> Floats:
    """Evenly spaced marks of a standard normal."""
    return np.array(_even(samples))


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
    chosen = spread if spread is not None else FlightSpread()
    within("samples", samples, 16, 20_000, "A few hundred give steady marks.")
    impulse, longer = finite_array("draws", draws.impulse), finite_array("draws", draws.time)
    if impulse.ndim != 1 or impulse.shape != longer.shape or not len(impulse):
        raise CalcError("draws", "impulses and times do not pair up.", "Give one time for each impulse.")
    batch_of(motor, rocket, pad)  # refuses what is impossible before it is spread out
    rng = np.random.default_rng(seed)
    which = rng.permutation(np.arange(samples) % len(impulse))
    drag, mass, wind, tilt = (rng.permutation(_normal(samples)) for _ in range(4))
    low, high = chosen.turning
    share = low + (high - low) * (rng.permutation(samples) + 0.5) / samples
    blown = float(np.asarray(pad.wind)) if windy else 0.0
    gusts = max(chosen.wind * blown, chosen.still_wind) if windy else 0.0
    flown = fly_many(
        replace(motor, impulse_scale=impulse[which], time_scale=longer[which]),
        replace(
            rocket,
            dry_mass=np.asarray(rocket.dry_mass) * np.exp(chosen.mass * mass),
            drag_scale=np.exp(chosen.drag * drag),
        ),
        replace(
            pad,
            wind=np.abs(blown + gusts * wind),
            tilt=np.clip(np.asarray(pad.tilt) + chosen.tilt * tilt, -MAX_TILT, MAX_TILT),
            turning=share,
        ),
    )
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
    return FlightRange(
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
