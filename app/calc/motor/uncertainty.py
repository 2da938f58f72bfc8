"""How sure a prediction is: inputs drawn from stated spreads, each draw marched, the answers put in order.

Draws come from a scrambled Sobol sequence, so a few hundred motors fill the space evenly and the same seed gives
the same answer. Each input is independent of the others, but for burn rate and efficiencies that were learned together.
"""

from collections.abc import Iterator
from dataclasses import dataclass, fields

import numpy as np

from app.calc.base.constants import STANDARD_GRAVITY, Floats, positive, within
from app.calc.base.errors import CalcError, NoSolution
from app.calc.base.notes import Amount, Note
from app.calc.grain.tabulated_grain import ShapedGrain
from app.calc.motor.arrays import Arrays
from app.calc.motor.chamber import Burn, come_up, march
from app.calc.motor.draws import drawn, sobol
from app.calc.motor.impulse import CLASS_LIMITS, impulse_class
from app.calc.motor.simulation import BatchRun, Motor, figures, simulate_many
from app.calc.motor.spread import BORROWED_RATE, NAMES, Spread, default_spread, rate_spread

__all__ = [
    "BORROWED_RATE",
    "NAMES",
    "Band",
    "Driver",
    "Marks",
    "MotorRange",
    "Spread",
    "default_spread",
    "predict_range",
    "rate_spread",
]

_MARKS = (0.05, 0.50, 0.95)


STAYS_LOW = 0.05
"""Share of draws that do not come up to pressure from which on it is said first [-]: this book's own mark."""


@dataclass(frozen=True)
class Marks:
    """The 5, 50 and 95 % marks of a figure: a tenth of the draws lies outside."""

    low: float
    mid: float
    high: float


@dataclass(frozen=True)
class Driver:
    """What one input does alone, from its 5 % to its 95 % mark, the others at their middle.

    Attributes
    ----------
    key, name : str
        Field of `Spread` and its words.
    peak_pressure, total_impulse, burn_time, mean_thrust : tuple of float
        Answer at the input's low and at its high mark [Pa], [N s], [s], [N].
    """

    key: str
    name: str
    peak_pressure: tuple[float, float]
    total_impulse: tuple[float, float]
    burn_time: tuple[float, float]
    mean_thrust: tuple[float, float]


@dataclass(frozen=True)
class Band:
    """5 and 95 % marks of the histories at even times: time [s], pressures [Pa], thrusts [N], each (N,)."""

    time: Floats
    pressure_low: Floats
    pressure_high: Floats
    thrust_low: Floats
    thrust_high: Floats


@dataclass(frozen=True)
class MotorRange:
    """What a motor is predicted to do, as ranges.

    Attributes
    ----------
    peak_pressure, mean_pressure, total_impulse, burn_time, action_time, mean_thrust, peak_thrust : Marks
        [Pa], [Pa], [N s], [s], [s], [N], [N].
    specific_impulse : Marks
        [s].
    classes : dict of str to float
        Share of draws in each impulse class [-].
    over_limit : float or None
        Share of draws whose peak passes the limit asked about [-].
    drivers : tuple of Driver
        The input that moves peak pressure most comes first.
    band : Band
        For drawing.
    figures : BatchRun
        Every draw.
    spread : Spread
        What was drawn from.
    samples, seed : int
        How many and from where [-].
    stays_low : float
        Share of draws whose pressure does not rise enough to choke the throat [-]; marks, classes and band are of the
        others.
    assumptions : tuple of Note or str
        In words.
    """

    peak_pressure: Marks
    mean_pressure: Marks
    total_impulse: Marks
    burn_time: Marks
    action_time: Marks
    mean_thrust: Marks
    peak_thrust: Marks
    specific_impulse: Marks
    classes: dict[str, float]
    over_limit: float | None
    drivers: tuple[Driver, ...]
    band: Band
    figures: BatchRun
    spread: Spread
    samples: int
    seed: int
    stays_low: float
    assumptions: tuple[Note | str, ...]

    @property
    def cautions(self) -> tuple[Note, ...]:
        """What the draws warn of, in words."""
        if not self.stays_low:
            return ()
        words = (
            f"In {self.stays_low:.1%} of the drawn motors the pressure does not rise enough to choke the throat: such "
            "a motor spits or burns weakly. The range is of the others."
        )
        return (Note(words, strong=self.stays_low > STAYS_LOW),)


def _histories(burn: Burn, time: Floats) -> tuple[Floats, Floats]:
    """Pressure and thrust of each draw at given times; nothing after its end."""
    rows = range(len(burn.time))
    pressure = np.stack([np.interp(time, burn.time[i], burn.pressure[i], right=0.0) for i in rows])
    thrust = np.stack([np.interp(time, burn.time[i], burn.thrust[i], right=0.0) for i in rows])
    return pressure, thrust


def _marched(arrays: Arrays, time: Floats) -> Iterator[tuple[dict[str, Floats], Floats, Floats]]:
    for part, burn in march(arrays):
        yield figures(arrays.rows(part), burn), *_histories(burn, time)


def _marks(values: Floats) -> Marks:
    low, mid, high = np.quantile(values, _MARKS)
    return Marks(float(low), float(mid), float(high))


def predict_range(
    motor: Motor,
    spread: Spread | None = None,
    samples: int = 512,
    seed: int = 20,
    pressure_limit: float | None = None,
    band_points: int = 80,
    correlation: Floats | None = None,
    seen: float = 0.0,
) -> MotorRange:
    """Predict a motor as ranges.

    Parameters
    ----------
    motor : Motor
        At its middle values, SI.
    spread : Spread, optional
        Standard deviations; `default_spread` if left out.
    samples : int
        Motors to draw, 16 to 65536, best a power of two [-].
    seed : int
        Same seed, same answer [-].
    pressure_limit : float, optional
        Rating or other limit to count draws above [Pa].
    band_points : int
        Times to give the band at [-].
    correlation : ndarray, optional
        Of burn rate, c* and nozzle efficiency [-], shape (3, 3): firings by thrust alone know the product of both
        efficiencies better than either. Independent if left out.
    seen : float
        Share by which firings have taught the burn rate, as in `drawn` [-].

    Returns
    -------
    MotorRange
        5, 50 and 95 % marks [Pa], [N s], [s], [N] and what drives them.

    Raises
    ------
    CalcError
        A spread that the sizes do not allow, or a motor that cannot be marched.

    Notes
    -----
    Inputs are independent but for `correlation`; what drives the answers is asked of each alone. `over_limit` of zero
    means fewer than one draw in `samples`, not never.

    References
    ----------
    Sobol sequences: scipy.stats.qmc; spreads: `Spread`.

    Examples
    --------
    >>> from app.calc.motor.simulation import example
    >>> result = predict_range(example(), samples=64)
    >>> result.drivers[0].name
    'Burn rate'
    """
    chosen = spread if spread is not None else default_spread(motor)
    within("samples", samples, 16, 65536, "A few hundred give steady marks.")
    within("band_points", band_points, 2, 2000, "Eighty are enough to draw.")
    if pressure_limit is not None:
        positive("pressure_limit", pressure_limit, "Leave it empty if there is none.")
    arrays = drawn(motor, chosen, sobol(samples, seed), correlation, seen)
    drivers = _drivers(motor, chosen)
    slow = 1.25 * max(max(d.burn_time) for d in drivers)
    time = np.linspace(0.0, slow, band_points)
    up = np.ones(samples, dtype=bool)
    try:
        parts = list(_marched(arrays, time))
    except NoSolution:  # seldom; so the other motors are not looked at twice
        up = come_up(arrays)
        if up.all():
            raise
        if 2 * up.sum() < samples:
            raise NoSolution(
                "throat_d",
                f"in only {up.mean():.0%} of the drawn motors does the pressure rise enough to choke the throat.",
                "Use a smaller throat or more burning area.",
            ) from None
        parts = list(_marched(arrays.rows(np.flatnonzero(up)), time))
    batch = BatchRun(**{name: np.concatenate([p[0][name] for p in parts]) for name in parts[0][0]})
    pressure = np.quantile(np.concatenate([p[1] for p in parts]), (_MARKS[0], _MARKS[2]), axis=0)
    thrust = np.quantile(np.concatenate([p[2] for p in parts]), (_MARKS[0], _MARKS[2]), axis=0)
    letters = [impulse_class(value) for value in batch.total_impulse]
    over = None if pressure_limit is None else float((batch.peak_pressure > pressure_limit).sum() / samples)
    return MotorRange(
        peak_pressure=_marks(batch.peak_pressure),
        mean_pressure=_marks(batch.mean_pressure),
        total_impulse=_marks(batch.total_impulse),
        burn_time=_marks(batch.burn_time),
        action_time=_marks(batch.action_time),
        mean_thrust=_marks(batch.mean_thrust),
        peak_thrust=_marks(batch.peak_thrust),
        specific_impulse=_marks(batch.total_impulse / (batch.propellant_mass * STANDARD_GRAVITY)),
        classes={c: letters.count(c) / samples for c in CLASS_LIMITS if c in letters},
        over_limit=over,
        drivers=drivers,
        band=Band(time, pressure[0], pressure[1], thrust[0], thrust[1]),
        figures=batch,
        spread=chosen,
        samples=samples,
        seed=seed,
        stays_low=float(1 - up.mean()),
        assumptions=_assumptions(motor, chosen, samples, seed, correlation),
    )


def _drivers(motor: Motor, spread: Spread) -> tuple[Driver, ...]:
    """March each input at its 5 and 95 % mark with the others at their middle: all in one batch."""
    keys = [f.name for f in fields(spread) if getattr(spread, f.name) > 0]
    order = [f.name for f in fields(spread)]
    unit = np.full((2 * len(keys) + 1, len(order)), 0.5)
    for i, key in enumerate(keys):
        unit[2 * i, order.index(key)], unit[2 * i + 1, order.index(key)] = _MARKS[0], _MARKS[2]
    arrays = drawn(motor, spread, unit)
    up = come_up(arrays)
    run = simulate_many(arrays.rows(np.flatnonzero(up)))
    stays = {"peak_pressure": motor.ambient_pressure}  # a motor that does not come up gives nothing else

    def pair(name: str, i: int) -> tuple[float, float]:
        every = np.full(len(up), stays.get(name, 0.0))
        every[up] = getattr(run, name)
        return float(every[2 * i]), float(every[2 * i + 1])

    found = [
        Driver(
            key,
            NAMES[key],
            pair("peak_pressure", i),
            pair("total_impulse", i),
            pair("burn_time", i),
            pair("mean_thrust", i),
        )
        for i, key in enumerate(keys)
    ]
    if not found:
        raise CalcError("spread", "every spread is zero.", "Give at least one, or predict the motor alone.")
    felt = [d for d in found if any(a != b for a, b in (d.peak_pressure, d.total_impulse, d.burn_time))]
    return tuple(sorted(felt or found, key=lambda d: -abs(d.peak_pressure[1] - d.peak_pressure[0])))


def _assumptions(
    motor: Motor, spread: Spread, samples: int, seed: int, correlation: Floats | None
) -> tuple[Note | str, ...]:
    """What was drawn from, in words."""
    mixed = correlation is not None and not np.allclose(correlation, np.eye(3), atol=0.005)
    law = motor.propellant.law
    rate = f"Burn rate ±{spread.burn_rate:.0%} (one standard deviation)"
    wider = law.borrowed and spread.burn_rate > Spread().burn_rate
    rate += ", widened because the law is borrowed." if wider else "."
    shaped = any(isinstance(grain, ShapedGrain) for grain in motor.grains)
    return (
        rate,
        *(["A core that is not round and straight keeps its shape and sizes in every draw."] * shaped),
        f"Grain density ±{spread.density:.1%}, c* ±{spread.c_star:.1%}, nozzle ±{spread.nozzle:.1%}.",
        Note(
            "Throat ±{throat}, core ±{core}, grains ±{grains}.",
            {
                "throat": Amount(spread.throat_d, "length"),
                "core": Amount(spread.core_d, "length"),
                "grains": Amount(spread.temperature, "temperature_step"),
            },
        ),
        f"Growth of the rate with heat ±{spread.sigma_p:.0%} of itself.",
        f"Unseen voids and cracks: up to about {2 * spread.extra_area:.0%} more burning area, for the whole burn.",
        f"{samples} motors drawn (Sobol, seed {seed}); inputs independent"
        + (" but for burn rate, c* and nozzle, which go together as firings leave them" if mixed else "")
        + "; spreads are assumptions until measured.",
    )
