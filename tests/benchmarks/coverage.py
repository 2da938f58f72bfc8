"""How often the book's 90 % ranges hold, through its own engine, its own learning and its own drawing of ranges.

    python -m tests.benchmarks.coverage            the whole table of one motor, 400 workshops a cell
    python -m tests.benchmarks.coverage --motor sorbitol sucrose steep
    python -m tests.benchmarks.coverage --workshops 60 --motor sucrose --counts 0 3

A workshop is drawn: a c* efficiency, a nozzle efficiency and a factor on the burn rate, anywhere in a box or at one of
its corners, how far one firing differs from the next, and what its stand's force and pressure are off. It fires tests
of a motor, the book learns from what the stand said, and predicts the next one. The range holds where the *true*
impulse, peak pressure and burn time of that next motor lie inside, not what the stand would say of them.

The grains, throats and temperatures of every motor differ from what was measured by the book's own default spreads
(`--exact` leaves that out). Firings with a pressure gauge are taken to say of rate and efficiencies what is true,
shifted by stand and repeatability: `tests/calc/fit/test_pressure_fit.py` holds that a curve's fit does so, and
thousands of fits would take hours. Firings by thrust alone are fitted each from impulse and burn time, as the book
does.
"""

import argparse
import itertools
import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, fields, replace

import numpy as np

from app.calc.base.constants import Floats
from app.calc.base.errors import CalcError
from app.calc.fit.partial_pooling import STAND, Learned, Prior, Said, learn, stand_shifts
from app.calc.fit.pressure_fit import local_exponent, reading_errors
from app.calc.fit.thrust_fit import fit_figures
from app.calc.motor.arrays import Arrays
from app.calc.motor.assembly import C_STAR_EFFICIENCY, NOZZLE_EFFICIENCY, Motor
from app.calc.motor.draws import HALF_NORMAL_MEAN, LEARNED, drawn, sobol, taught_logs
from app.calc.motor.simulation import example, simulate, simulate_many
from app.calc.motor.spread import Spread, default_spread
from app.calc.propellant.burn_laws import published_law
from app.services.firings.firing_fits import PEAK
from app.services.learning.fit_records import BY_CELL, FIGURES, TIME_BY_CELL

C_STAR, NOZZLE, RATE = (0.80, 0.985), (0.82, 0.95), (0.85, 1.15)
"""The box that workshops are drawn from."""

CHANCE = (0.01, 0.03)
"""How far one firing of a workshop differs from the next, in each of the three, one standard deviation."""

COUNTS = (0, 1, 2, 3, 5, 10, 30)
MARKS = ("impulse", "burn time", "peak pressure")
WAYS = ("gauge", "thrust")
NAMES = ("burn rate", "c* efficiency", "nozzle efficiency")


def motors() -> dict[str, Motor]:
    """Motors that the book would expect: of flat, usual and steep burn laws."""
    flat = replace(example(), c_star_efficiency=C_STAR_EFFICIENCY, nozzle_efficiency=NOZZLE_EFFICIENCY)
    sucrose = replace(flat.propellant, law=published_law("sucrose"), ideal_density=1889.0, c_star=918.0, gamma=1.133)
    return {"sorbitol": flat, "sucrose": replace(flat, propellant=sucrose), "steep": replace(flat, throat_d=0.0102)}


@dataclass(frozen=True)
class Cell:
    """One cell of the table: shares of workshops whose range held, and half its width [-], each (3,) as in `MARKS`."""

    motor: str
    place: str
    way: str
    tests: int
    held: Floats
    width: Floats


def places() -> dict[str, tuple[int, int, int] | None]:
    """The box, and its corners by their signs in rate, c* and nozzle."""
    corners = {"".join("-+"[i] for i in one): one for one in itertools.product((0, 1), (0, 1), (0, 1))}
    return {"box": None, **corners}


def truths(place: tuple[int, int, int] | None, workshops: int, chance: np.random.Generator) -> Floats:
    """Factors of each workshop on the book's defaults, logarithms (workshops, 3)."""
    edges = np.array([RATE, C_STAR, NOZZLE])
    if place is None:
        made = chance.uniform(edges[:, 0], edges[:, 1], (workshops, 3))
    else:
        made = np.tile(edges[range(3), place], (workshops, 1))
    return np.asarray(np.log(made / [1.0, C_STAR_EFFICIENCY, NOZZLE_EFFICIENCY]))


def fired(motor: Motor, logs: Floats, chance: np.random.Generator, exact: bool) -> tuple[Floats, Floats]:
    """True figures of motors that are off the book's by these logarithms (N, 3), their sizes off what was measured; and
    what unseen area adds to the logarithm of each rate that a fit reads (N,)."""
    spread = replace(default_spread(motor), burn_rate=0.0, c_star=0.0, nozzle=0.0)
    if exact:
        spread = replace(spread, **{f.name: 0.0 for f in fields(Spread)})
    unit = chance.uniform(size=(len(logs), len(fields(Spread))))
    arrays, sound = drawn(motor, spread, unit), drawn(motor, replace(spread, extra_area=0.0), unit)
    run = simulate_many(off(arrays, logs))
    figures = np.stack([run.total_impulse, run.burn_time, run.peak_pressure], axis=1)
    return figures, np.log(arrays.rate_scale / sound.rate_scale)


def by_gauge(motor: Motor, logs: Floats, stand: Floats, chance: np.random.Generator) -> list[Said]:
    """What tests (N, 3) on a stand (2,) say where pressure was measured."""
    pressure = simulate(motor).mean_pressure
    error = np.array(reading_errors(motor, pressure))
    n = local_exponent(motor.propellant.law, pressure)
    shifts = np.array([stand_shifts(what, n) for what in NAMES])
    values = logs + shifts[:, :2] @ stand + chance.normal(0.0, error, logs.shape)
    return [Said("blend", "case", np.eye(3), value, error, stand=shifts) for value in values]


def by_thrust(motor: Motor, figures: Floats, stand: Floats, chance: np.random.Generator) -> list[list[Said]]:
    """What tests (W, N, 3) on stands (W, 2) say where thrust alone was measured, fitted as the book fits them."""
    errors = np.array([BY_CELL, TIME_BY_CELL, PEAK])
    seen = figures * np.exp(chance.normal(0.0, errors, figures.shape))
    seen[:, :, 0] *= np.exp(stand[:, None, 0])
    seen[:, :, 2] = np.nan
    usual = default_spread(motor)
    told = fit_figures(
        motor, seen.reshape(-1, 3), np.hypot(errors, STAND), np.array([usual.burn_rate, usual.c_star, usual.nozzle])
    )
    shifts = np.array([stand_shifts(what, 0.0) for what in FIGURES])[:2]
    said = [
        Said("blend", "case", mixture[:2], value[:2], errors[:2], stand=shifts)
        for mixture, value in zip(told.mixture, told.value, strict=True)
    ]
    each = figures.shape[1]
    return [said[i : i + each] for i in range(0, len(said), each)]


def ranges(motor: Motor, learned: Sequence[Learned], samples: int) -> Floats:
    """Low and high marks of the next motor's figures, as `predict_range` draws them, for many workshops at once, shape
    (W, 2, 3)."""
    unit = sobol(samples, SEED)
    usual = default_spread(motor)
    base = drawn(motor, replace(usual, burn_rate=0.0, c_star=0.0, nozzle=0.0), unit)
    once = np.log1p(usual.extra_area * HALF_NORMAL_MEAN)
    logs = []
    for one in learned:
        found = one.of("blend", "case")
        spread = replace(usual, **dict(zip(LEARNED, found.spread.tolist(), strict=True)))
        twice = np.array([found.moved[0] * once, 0.0, 0.0])
        logs.append(found.mean - twice + taught_logs(spread, unit, found.correlation))
    run = simulate_many(off(base.rows(np.tile(np.arange(samples), len(learned))), np.concatenate(logs)))
    figures = np.stack([run.total_impulse, run.burn_time, run.peak_pressure], axis=1)
    return np.quantile(figures.reshape(len(learned), samples, 3), (0.05, 0.95), axis=1).transpose(1, 0, 2)


def off(arrays: Arrays, logs: Floats) -> Arrays:
    """Motors that are off by these logarithms of rate, c* and nozzle efficiency (N, 3)."""
    factors = np.exp(logs)
    return arrays.changed(
        rate_scale=arrays.rate_scale * factors[:, 0],
        c_star=arrays.c_star * factors[:, 1],
        nozzle_efficiency=arrays.nozzle_efficiency * factors[:, 2],
    )


def cells(
    name: str, place: str, workshops: int, samples: int, counts: Sequence[int], exact: bool, seed: int = 11
) -> Iterator[Cell]:
    """Every cell of one motor at one place of the box."""
    motor = motors()[name]
    where = places()[place]
    chance = np.random.default_rng([seed, list(motors()).index(name), list(places()).index(place)])
    most = max(counts)
    workshop = truths(where, workshops, chance)
    spread = chance.uniform(*CHANCE, (workshops, 1, 1))
    stand = chance.normal(0.0, STAND_ERROR, (workshops, 2))
    logs = workshop[:, None] + spread * chance.standard_normal((workshops, most + 1, 3))
    true, unseen = fired(motor, logs.reshape(-1, 3), chance, exact)
    true = true.reshape(workshops, most + 1, 3)
    read = logs + unseen.reshape(workshops, most + 1, 1) * [1.0, 0.0, 0.0]
    prior = Prior({})
    untaught = ranges(motor, [learn([], prior)], samples)
    for way in WAYS:
        if not most:
            said: list[list[Said]] = [[]] * workshops
        elif way == "gauge":
            said = [by_gauge(motor, read[w, :most], stand[w], chance) for w in range(workshops)]
        else:
            said = by_thrust(motor, true[:, :most], stand, chance)
        for n in counts:
            marks = ranges(motor, [learn(s[:n], prior) for s in said], samples) if n else untaught
            held = ((true[:, most] >= marks[:, 0]) & (true[:, most] <= marks[:, 1])).mean(axis=0)
            width = (np.log(marks[:, 1] / marks[:, 0]) / 2).mean(axis=0)
            yield Cell(name, place, way, n, held, width)


SEED = 20
STAND_ERROR = 0.03
"""What a stand's force and its pressure are off, the same in all of its firings, one standard deviation."""


def table(found: Sequence[Cell], counts: Sequence[int]) -> str:
    """The cells as text: box, worst corner and half width, in per cent."""
    lines = []
    for name, way in itertools.product(dict.fromkeys(c.motor for c in found), WAYS):
        lines.append(f"{name}, {'with a pressure gauge' if way == 'gauge' else 'thrust alone'}")
        lines.append("  tests | held over the box    | at its worst corner  | half width")
        lines.append("        | " + " | ".join(["impulse  time   peak"] * 3))
        for n in counts:
            box = [c for c in found if (c.motor, c.way, c.tests, c.place) == (name, way, n, "box")]
            corners = [c.held for c in found if (c.motor, c.way, c.tests) == (name, way, n) and c.place != "box"]
            worst = np.min(corners, axis=0) if corners else np.full(3, np.nan)
            for cell in box:
                shares = " | ".join(
                    "  ".join(f"{100 * v:5.1f}" for v in values) + "  " for values in (cell.held, worst, cell.width)
                )
                lines.append(f"  {n:5d} | {shares}")
    return "\n".join(lines)


def misses(found: Sequence[Cell]) -> list[str]:
    """Where a cell does not keep what is wanted of it."""
    said = []
    for c in found:
        low, high = (0.90, 0.999) if c.tests == 0 else (0.85, 0.97)
        least = 0.60 if c.tests == 0 else 0.80
        if c.tests in (1, 2):
            continue
        for what, held in zip(MARKS, c.held.tolist(), strict=True):
            fine = low <= held <= high if c.place == "box" else held >= least
            if not fine:
                said.append(f"{c.motor}, {c.way}, {c.tests} tests, {c.place}: {what} held {100 * held:.1f} %")
    return said


def _work(task: tuple[str, str, int, int, tuple[int, ...], bool]) -> list[Cell]:
    try:
        return list(cells(*task))
    except CalcError as error:  # it does not travel from a process to another
        raise RuntimeError(f"{task[0]}, {task[1]}: {error.field}: {error.fault}") from None


def main(arguments: Sequence[str] | None = None) -> int:
    """Work out the table and print it; 1 where a cell does not keep what is wanted."""
    parser = argparse.ArgumentParser(description="How often the 90 % ranges hold.")
    parser.add_argument("--workshops", type=int, default=400)
    parser.add_argument("--samples", type=int, default=256)
    parser.add_argument("--motor", nargs="*", default=["sucrose"], choices=list(motors()))
    parser.add_argument("--counts", nargs="*", type=int, default=list(COUNTS))
    parser.add_argument("--exact", action="store_true", help="sizes and temperatures as measured")
    parser.add_argument("--processes", type=int, default=2)
    told = parser.parse_args(arguments)
    counts = tuple(told.counts)
    more = 5 if counts == (0,) else 1  # nothing has to be learned, so more workshops cost little
    tasks = [
        (name, place, told.workshops * (more if place == "box" else 1), told.samples, counts, told.exact)
        for name in told.motor
        for place in places()
    ]
    with ProcessPoolExecutor(told.processes) as pool:
        found = [cell for part in pool.map(_work, tasks) for cell in part]
    print(table(found, counts))
    for miss in misses(found):
        print(miss)
    return 1 if misses(found) else 0


if __name__ == "__main__":
    sys.exit(main())
