"""Where the burns are in a record of a test stand."""

import numpy as np

from app.calc.base.constants import Floats
from app.calc.base.errors import CalcError
from app.calc.motor.impulse import BURN_SHARE
from app.calc.record.load_cell import running_impulse

PAUSE = 1.0
"""A pause shorter than this belongs to the burn [s]: common practice, no source."""

_FEW = 5  # samples that a level needs at least
_STRAY = 0.005  # a bump with less than this share of the burn's impulse is none of it
_ANOTHER = 0.02  # share of the largest burn's impulse that makes another one
_ABOVE_NOISE = 8.0  # times the noise that a burn's peak must reach


def find_burn(time: Floats, force: Floats) -> tuple[int, int]:
    """Find the burn in a record: the first and the last sample above 5 % of the rise.

    Parameters
    ----------
    time, force : ndarray
        Record [s], [N], shape (N,), thrust upwards, any zero.

    Returns
    -------
    first, last : tuple of int
        Samples, from 0 [-].

    Raises
    ------
    CalcError
        The force stands still, or nothing rises out of its noise.

    Notes
    -----
    The stretch above 5 % with the most impulse, joined with others less than a second apart; bumps with less than
    0.5 % of its impulse, or of one or two samples, are left out. Of several motors in one record the largest is found.

    References
    ----------
    5 %: NFPA 1125 (second hand). Joining: common practice, no source.

    Examples
    --------
    >>> find_burn(np.arange(15.0), np.array([0, 0, 0, 0, 0, 0, 50, 100, 50, 0, 0, 0, 0, 0, 0.0]))
    (6, 8)
    """
    found = _burns(time, force)
    return max(found, key=lambda burn: burn[2])[:2]


def burns(time: Floats, force: Floats) -> list[tuple[int, int]]:
    """Find all burns in a record, where several motors were fired into one file.

    Parameters
    ----------
    time, force : ndarray
        Record [s], [N], shape (N,), thrust upwards, any zero.

    Returns
    -------
    list of tuple of int
        First and last sample of each, from 0 [-], in order of time.

    Raises
    ------
    CalcError
        As `find_burn`.

    Notes
    -----
    As `find_burn`; a stretch with less than 2 % of the largest one's impulse is no motor. What stays below 5 % of the
    largest motor's peak is not seen.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> force = np.array([0, 0, 0, 0, 0, 0, 50, 90, 50, 0, 0, 0, 0, 0, 0, 40, 80, 40, 0, 0, 0, 0, 0, 0.0])
    >>> burns(np.arange(24.0), force)
    [(6, 8), (15, 17)]
    """
    found = _burns(time, force)
    largest = max(area for _, _, area in found)
    return [(first, last) for first, last, area in found if area >= _ANOTHER * largest]


def _burns(time: Floats, force: Floats) -> list[tuple[int, int, float]]:
    """Each burn's first and last sample and the impulse of its largest stretch."""
    few = int(np.clip(time.size // 50, _FEW, 2000))
    ends = force[:few], force[-few:]
    levels = [float(np.median(end)) for end in ends]
    if not float(np.ptp(force)) > 0:
        raise CalcError("force_column", "stands still: every reading is the same.", "Choose another column.")
    rough = min(levels)
    if abs(levels[1] - levels[0]) < 0.2 * (float(force.max()) - rough):  # both quiet: the zero may drift between
        rise = force - np.interp(time, (time[0], time[-1]), levels)
    else:
        rise = force - rough
    peak = float(rise.max())
    if -float(rise.min()) > 3 * peak:
        raise CalcError("force_column", "falls where it should rise.", "Turn the sign.")
    if peak < _ABOVE_NOISE * min(float(np.std(end)) for end in ends):
        raise CalcError(
            "force_column",
            "never rises out of its noise.",
            "Choose another column, or a record with a quiet stretch before or after the burn.",
        )
    above = np.r_[False, rise >= BURN_SHARE * peak, False]
    edges = np.flatnonzero(above[1:] != above[:-1])
    starts, stops = edges[::2], edges[1::2] - 1
    impulse = running_impulse(time, np.maximum(rise, 0.0, out=rise))
    area = impulse[np.minimum(stops + 1, time.size - 1)] - impulse[np.maximum(starts - 1, 0)]
    kept = (area >= _STRAY * area.max()) & ((stops - starts >= 2) | (stops - starts == (stops - starts).max()))
    starts, stops, area = starts[kept], stops[kept], area[kept]
    apart = np.flatnonzero(time[starts[1:]] - time[stops[:-1]] >= PAUSE) + 1
    return [
        (int(starts[group[0]]), int(stops[group[-1]]), float(area[group].max()))
        for group in np.split(np.arange(starts.size), apart)
    ]
