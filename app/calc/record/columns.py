"""Units that the columns of a logger may be in, in SI, and which column of an altimeter is time and height."""

import re
from collections.abc import Mapping, Sequence

import numpy as np

from app.calc.base.constants import PSI, STANDARD_GRAVITY, Floats

TIME_UNITS: dict[str, float] = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "min": 60.0}
"""Seconds in each unit of time [s]."""

POUND = 0.45359237 * STANDARD_GRAVITY

FORCE_UNITS: dict[str, float] = {
    "N": 1.0,
    "kN": 1e3,
    "kgf": STANDARD_GRAVITY,
    "gf": STANDARD_GRAVITY / 1000,
    "lbf": POUND,
    "ozf": POUND / 16,
}
"""Newtons in each unit of force [N], exact (pound of 1959, standard gravity); a kilopond is a kilogram-force."""

READINGS = ("counts", "mV", "V")
"""What a cell's amplifier may give instead of a force [-]: it needs known masses, or newtons per reading."""

PRESSURE_UNITS: dict[str, float] = {"Pa": 1.0, "kPa": 1e3, "MPa": 1e6, "bar": 1e5, "psi": PSI}
"""Pascals in each unit of pressure [Pa], exact."""


HEIGHT_UNITS: dict[str, float] = {"m": 1.0, "ft": 0.3048, "Pa": 1.0, "hPa": 100.0, "kPa": 1000.0}
"""Metres in each unit of altitude [m] and pascals in each of a barometer's pressure [Pa], exact (foot of 1959)."""

AIR_PRESSURES = ("Pa", "hPa", "kPa")
"""Those of `HEIGHT_UNITS` that are pressures [-]."""


def guess_height(columns: Sequence[Floats], names: Sequence[str]) -> tuple[int | None, str, int, str]:
    """Guess which column of an altimeter's file is time and which is altitude or air pressure.

    Parameters
    ----------
    columns : sequence of ndarray
        Each column's first numbers [-]; a column of words has none.
    names : sequence of str
        What heads each column, or nothing [-].

    Returns
    -------
    tuple
        Column of time or None and its unit; column of the height and its unit [-]. Columns count from 1.

    Notes
    -----
    For a person to confirm. Altitude goes before pressure where both are there, as the altimeter knew its air. Without
    words, numbers about an atmosphere's (700 to 1100 or 70,000 to 110,000) that do not rise are pressures, else
    metres.

    References
    ----------
    Common practice of loggers, no source.

    Examples
    --------
    >>> guess_height(np.array([[0.0, 50.0, 100.0], [0.0, 3.0, 12.0]]), ["Time (ms)", "Altitude (ft)"])
    (1, 'ms', 2, 'ft')
    """
    heads, time, left = _begun(columns, names)
    found = _first(heads, r"alti|height|höhe|^h\b|^h$|^z\b|agl|\bft\b|feet", left)
    if found is None:
        found = _first(heads, r"press|druck|baro|^p\b|[hk]?pa\b|mbar", left)
    if found is None:
        found = left[0] if left else 0
    middle = float(np.median(columns[found])) if len(columns[found]) else 0.0
    first = float(columns[found][0]) if len(columns[found]) else 0.0
    air = 0.99 * middle < first  # an altitude would have risen, a pressure fallen
    bare = "hPa" if air and 700 < middle < 1100 else "Pa" if air and 70_000 < middle < 110_000 else "m"
    unit = _unit(heads[found], _HEIGHT_WORDS, bare if not heads[found] or "press" in heads[found] else "m")
    if time is None or time == found:
        return None, "s", found + 1, unit
    return time + 1, _time_unit(heads[time], columns[time]), found + 1, unit


def _begun(columns: Sequence[Floats], names: Sequence[str]) -> tuple[list[str], int | None, list[int]]:
    """What heads each column, the column of time (called so, or the first that always rises), and what is left."""
    heads = [n.casefold() for n in names] if len(names) == len(columns) else [""] * len(columns)
    usable = [i for i, c in enumerate(columns) if len(c) > 1]
    time = _first(heads, r"time|zeit|^t\b|^t_|sec|millis|micros|\bms\b|\bus\b|µs", usable)
    if time is None:
        time = next((i for i in usable if bool((np.diff(columns[i]) > 0).all())), None)
    return heads, time, [i for i in usable if i != time]


def _first(heads: Sequence[str], pattern: str, among: Sequence[int]) -> int | None:
    return next((i for i in among if re.search(pattern, heads[i])), None)


_HEIGHT_WORDS = {"hPa": r"hpa|mbar", "kPa": r"kpa", "Pa": r"\bpa\b", "ft": r"\bft\b|feet|foot", "m": r"\bm\b|met"}
_TIME_WORDS = {"us": r"µs|μs|\bus\b|micro", "ms": r"\bms\b|milli", "s": r"\bs\b|sec"}


def _unit(head: str, words: Mapping[str, str], otherwise: str) -> str:
    return next((unit for unit, pattern in words.items() if re.search(pattern, head.replace("_", " "))), otherwise)


def _time_unit(head: str, column: Floats) -> str:
    return _unit(head, _TIME_WORDS, "") or usual_time_unit(column)


def usual_time_unit(column: Floats) -> str:
    """Tell in which unit a clock probably counts, by its steps.

    Parameters
    ----------
    column : ndarray
        Times as they stand in the file [-].

    Returns
    -------
    str
        A key of `TIME_UNITS` [-].

    Notes
    -----
    Steps from 0.5 are taken for milliseconds, from 300 for microseconds: no logger is that slow, or that quick.

    References
    ----------
    Common practice of loggers, no source.

    Examples
    --------
    >>> usual_time_unit(np.array([0.0, 12.5, 25.0]))
    'ms'
    """
    step = float(np.median(np.abs(np.diff(column)))) if len(column) > 1 else 0.0
    return "us" if step >= 300 else "ms" if step >= 0.5 else "s"
