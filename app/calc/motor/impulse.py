"""Durations, impulse, class and designation of a thrust curve, each by a named definition."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from app.calc.base.constants import Floats, finite_array, positive, within
from app.calc.base.errors import CalcError, OutOfRange
from app.calc.base.notes import Amount, Note

CLASS_LIMITS: dict[str, float] = {
    "1/8A": 0.3125,
    "1/4A": 0.625,
    "1/2A": 1.25,
    "A": 2.5,
    "B": 5.0,
    "C": 10.0,
    "D": 20.0,
    "E": 40.0,
    "F": 80.0,
    "G": 160.0,
    "H": 320.0,
    "I": 640.0,
    "J": 1280.0,
    "K": 2560.0,
    "L": 5120.0,
    "M": 10240.0,
    "N": 20480.0,
    "O": 40960.0,
}
"""Upper limit of each class, itself included [N s]; A to O as usual in the trade, below A from memory."""

BURN_SHARE = 0.05
"""Burn time runs while thrust is above this share of its peak [-] (NFPA 1125, quoted second hand)."""

ACTION_SHARE = 0.10
"""Action time runs while thrust is above this share of its peak [-] (from memory: Sutton & Biblarz)."""


def impulse_class(total_impulse: float) -> str:
    """Give the letter of a total impulse.

    Parameters
    ----------
    total_impulse : float
        Total impulse [N s].

    Returns
    -------
    str
        '1/8A' to 'O' [-].

    Raises
    ------
    OutOfRange
        Zero or less, not a number, or above class O.

    Notes
    -----
    The upper limit belongs to the class: 1280 N s is a J.

    References
    ----------
    Impulse classes doubling from A = 2.5 N s, as in NFPA 1125 (second hand).

    Examples
    --------
    >>> impulse_class(1280.0), impulse_class(1280.1)
    ('J', 'K')
    """
    positive("total_impulse", total_impulse, "Give the impulse in newton seconds.")
    for letter, limit in CLASS_LIMITS.items():
        if total_impulse <= limit:
            return letter
    raise OutOfRange(
        "total_impulse",
        Note(
            "{impulse} is above class O ({most}).",
            {"impulse": Amount(total_impulse, "impulse"), "most": Amount(CLASS_LIMITS["O"], "impulse")},
        ),
        "The table ends where US amateur rules do.",
    )


def designation(total_impulse: float, mean_thrust: float) -> str:
    """Give the short name of a motor: class letter and mean thrust.

    Parameters
    ----------
    total_impulse : float
        Total impulse [N s].
    mean_thrust : float
        Mean thrust over the burn time [N].

    Returns
    -------
    str
        For example 'J432' [-].

    Raises
    ------
    OutOfRange
        As `impulse_class`, or a mean thrust that is not above zero.

    Notes
    -----
    Thrust to the nearest newton. The delay, which a full name may carry, is not part of it.

    References
    ----------
    Common practice in the trade; NFPA 1125 (second hand).

    Examples
    --------
    >>> designation(980.0, 432.4)
    'J432'
    """
    positive("mean_thrust", mean_thrust, "Give the mean thrust in newtons.")
    return f"{impulse_class(total_impulse)}{mean_thrust:.0f}"


def threshold_times(time: ArrayLike, thrust: ArrayLike, share: float) -> tuple[Floats, Floats]:
    """Give when thrust first rises above a share of its peak and last falls below it.

    Parameters
    ----------
    time, thrust : array_like
        Curve: times that never fall [s] and thrust [N]; any leading axes, samples on the last one.
    share : float
        Share of the peak, 0 to 1 [-].

    Returns
    -------
    start, end : tuple of ndarray
        Times [s], the last axis gone.

    Raises
    ------
    CalcError
        Arrays that do not match, fewer than two samples, times that fall, or no thrust above zero.

    Notes
    -----
    Straight lines between samples. A dip below the share between two humps counts as burning.

    References
    ----------
    NFPA 1125 as summarised by a motor maker's published page (second hand).

    Examples
    --------
    >>> start, end = threshold_times([0, 1, 2], [0, 100, 0], 0.05)
    >>> round(float(start), 3), round(float(end), 3)
    (0.05, 1.95)
    """
    t, force = finite_array("time", time), finite_array("thrust", thrust)
    within("share", share, 0.0, 1.0, "Give a share of the peak, for example 0.05.")
    if t.shape != force.shape or t.shape[-1] < 2:
        raise CalcError("time", "and thrust need the same shape and two samples at least.", "Check the columns.")
    if (np.diff(t, axis=-1) < 0).any():
        raise CalcError("time", "runs backwards.", "Sort the samples by time.")
    peak = force.max(axis=-1, keepdims=True)
    if (peak <= 0).any():
        raise CalcError("thrust", "is never above zero.", "Check the sign and the zero of the curve.")
    level = share * peak
    above = force >= level
    n = t.shape[-1]
    first = above.argmax(axis=-1)[..., None]
    last = n - 1 - above[..., ::-1].argmax(axis=-1)[..., None]

    def crossing(inside: NDArray[np.int64], outside: NDArray[np.int64]) -> Floats:
        t_in, f_in = np.take_along_axis(t, inside, -1), np.take_along_axis(force, inside, -1)
        t_out, f_out = np.take_along_axis(t, outside, -1), np.take_along_axis(force, outside, -1)
        drop = f_in - f_out
        part = np.where(drop > 0, (f_in - level) / np.where(drop > 0, drop, 1.0), 0.0)
        return np.asarray((t_in + part * (t_out - t_in))[..., 0])

    return crossing(first, np.maximum(first - 1, 0)), crossing(last, np.minimum(last + 1, n - 1))


def burn_time(time: ArrayLike, thrust: ArrayLike, share: float = BURN_SHARE) -> float:
    """Give how long thrust stays above a share of its peak.

    Parameters
    ----------
    time, thrust : array_like
        Curve [s], [N], one-dimensional.
    share : float
        0.05 for burn time, 0.10 for the professional action time [-].

    Returns
    -------
    float
        Duration [s].

    Raises
    ------
    CalcError
        As `threshold_times`.

    Notes
    -----
    From first above to last below, so name the share beside the number.

    References
    ----------
    5 %: NFPA 1125 (second hand). 10 %: Sutton & Biblarz (from memory).

    Examples
    --------
    >>> round(burn_time([0, 1, 2], [0, 100, 0]), 3)
    1.9
    """
    start, end = threshold_times(time, thrust, share)
    return float(end - start)


def total_impulse(time: ArrayLike, thrust: ArrayLike) -> float:
    """Give the area under a whole thrust curve.

    Parameters
    ----------
    time, thrust : array_like
        Curve [s], [N], one-dimensional.

    Returns
    -------
    float
        Impulse [N s].

    Raises
    ------
    CalcError
        Arrays that do not match or hold what is not a number.

    Notes
    -----
    Trapezoidal rule over all samples.

    References
    ----------
    Definition: the integral of thrust over time.

    Examples
    --------
    >>> total_impulse([0, 1, 2], [0, 100, 0])
    100.0
    """
    t, force = finite_array("time", time), finite_array("thrust", thrust)
    if t.shape != force.shape or t.ndim != 1:
        raise CalcError("time", "and thrust need the same length.", "Check the columns.")
    return float(np.trapezoid(force, t))


def mean_thrust(impulse: float, duration: float) -> float:
    """Give the mean thrust from an impulse and a duration.

    Parameters
    ----------
    impulse : float
        Total impulse [N s].
    duration : float
        Burn time by the definition that is named beside it [s].

    Returns
    -------
    float
        Impulse over duration [N].

    Raises
    ------
    OutOfRange
        A value that is not above zero.

    Notes
    -----
    The same curve gives different means for different durations.

    References
    ----------
    NFPA 1125 as summarised by a motor maker's published page (second hand).

    Examples
    --------
    >>> round(mean_thrust(80.0, 1.24)), round(mean_thrust(80.0, 1.36))
    (65, 59)
    """
    positive("impulse", impulse, "Give the impulse in newton seconds.")
    positive("duration", duration, "Give the duration in seconds.")
    return impulse / duration
