"""Physical constants, the array type and the checks that every calculation shares. SI."""

from math import isfinite

import numpy as np
from numpy.typing import ArrayLike, NDArray

from app.calc.base.errors import CalcError, OutOfRange
from app.calc.base.notes import Amount, Note

Floats = NDArray[np.float64]

R_UNIVERSAL = 8.31446261815324
"""Molar gas constant [J/(mol K)], exact since the SI of 2019 (CODATA 2018)."""

STANDARD_GRAVITY = 9.80665
"""Standard acceleration of free fall [m/s2], exact (3rd CGPM, 1901)."""

ATM = 101325.0
"""Standard atmosphere [Pa], exact (10th CGPM, 1954)."""

PSI = 6894.757293168
"""Pound-force per square inch [Pa] (NIST SP 811, from the exact pound, inch and standard gravity)."""

ROOM_TEMPERATURE = 293.15
"""Temperature that rates and strengths refer to where nothing else is said [K]: 20 degC."""


def positive(field: str, value: float, remedy: str) -> float:
    """Pass a number that is finite and above zero.

    Parameters
    ----------
    field : str
        Name of the argument, as the caller knows it.
    value : float
        The number, in any unit [-].
    remedy : str
        What to do about it if it is wrong.

    Returns
    -------
    float
        The same number [-].

    Raises
    ------
    OutOfRange
        The number is zero, negative, infinite or not a number.

    Notes
    -----
    Any unit; the sign does not depend on it.

    Examples
    --------
    >>> positive("throat_d", 0.0127, "Measure the throat.")
    0.0127
    """
    if not isfinite(value) or value <= 0:
        raise OutOfRange(field, f"must be a number above zero, not {value:g}.", remedy)
    return value


def within(field: str, value: float, low: float, high: float, remedy: str, kind: str = "") -> float:
    """Pass a number that lies between two limits, both allowed.

    Parameters
    ----------
    field : str
        Name of the argument, as the caller knows it.
    value, low, high : float
        The number and its limits, in one unit [-].
    remedy : str
        What to do about it if it is wrong.
    kind : str
        Kind of unit, so that the numbers can be told in the reader's own [-].

    Returns
    -------
    float
        The same number [-].

    Raises
    ------
    OutOfRange
        The number is outside the limits or not a number.

    Notes
    -----
    Any unit.

    Examples
    --------
    >>> within("gamma", 1.13, 1.01, 1.67, "Take it from the blend's state.")
    1.13
    """
    if not low <= value <= high:  # false for NaN too
        fault = _fault("must lie between {low} and {high}, not {value}.", kind, low=low, high=high, value=value)
        raise OutOfRange(field, fault, remedy)
    return value


def _fault(words: str, kind: str, **values: float) -> Note | str:
    if kind:
        return Note(words, {name: Amount(value, kind) for name, value in values.items()})
    return words.format(**{name: f"{value:g}" for name, value in values.items()})


def finite_array(field: str, values: ArrayLike) -> Floats:
    """Turn numbers into an array, refusing what is not finite.

    Parameters
    ----------
    field : str
        Name of the argument, as the caller knows it.
    values : array_like
        Numbers of any shape and unit [-].

    Returns
    -------
    ndarray
        The same numbers as float64 [-], same shape.

    Raises
    ------
    CalcError
        One of them is infinite or not a number.

    Notes
    -----
    Any unit.

    Examples
    --------
    >>> finite_array("pressure", [1, 2]).tolist()
    [1.0, 2.0]
    """
    array = np.asarray(values, dtype=np.float64)
    if not np.isfinite(array).all():
        raise CalcError(field, "holds a value that is infinite or not a number.", "Look for an empty entry.")
    return array
