"""From the record of a stand to the burn in it: zero, cut, lost weight, ringing and pressure, in that one order."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from app.calc.base.constants import ATM, Floats
from app.calc.base.errors import CalcError
from app.calc.base.notes import Amount, Note
from app.calc.motor.impulse import BURN_SHARE
from app.calc.record.curve import measurable
from app.calc.record.load_cell import Ringing, ringing, smoothed, without_lost_weight
from app.calc.record.pulses import burns, find_burn
from app.calc.record.zero import Zeroed, zeroed

LEAST = 10
"""Fewest samples that a record is made of [-]: this book's choice."""


@dataclass(frozen=True)
class Reduced:
    """The burn of a record: every sample of its `time` [s], `thrust` [N] and absolute `pressure` [Pa], each (M,).

    `zero` is the whole record with its zero taken off, `low` and `high` the first and last sample of the burn in it.
    `begins` and `ends` tell whether the record itself begins or ends while the motor burns, without a time having been
    given for it. `tone` is the ringing that was found; where `smoothed`, it is out of the thrust, whose times are then
    even and reach half a wave further at each end.
    """

    time: Floats
    thrust: Floats
    pressure: Floats | None
    zero: Zeroed
    low: int
    high: int
    begins: bool
    ends: bool
    tone: Ringing | None
    smoothed: bool


def between(time: Floats, start: float | None = None, end: float | None = None) -> tuple[int, int]:
    """Find the samples between two moments of a record.

    Parameters
    ----------
    time : ndarray
        Times, rising [s], shape (N,).
    start, end : float, optional
        Moments in the record, both inside [s]; without one, the record's own end.

    Returns
    -------
    begin, stop : tuple of int
        The first sample, and one past the last, from 0 [-].

    Raises
    ------
    CalcError
        Fewer than ten samples lie between them.

    Examples
    --------
    >>> between(np.arange(100) / 10, 2.0, 4.0)
    (20, 41)
    """
    begin = 0 if start is None else int(np.searchsorted(time, start))
    stop = time.size if end is None else int(np.searchsorted(time, end, side="right"))
    if stop - begin < LEAST:
        raise CalcError(
            "start" if end is None else "end",
            Note(
                "Fewer than ten samples lie between these times; the record runs from 0 to {last}.",
                {"last": Amount(float(time[-1]), "time")},
            ),
        )
    return begin, stop


def reduce_record(
    time: Floats,
    force: Floats,
    *,
    start: float | None = None,
    end: float | None = None,
    lost_weight: float = 0.0,
    way: str = "line",
    smooth: bool = False,
    gauge: Floats | None = None,
    ambient: float = ATM,
    burn: tuple[int, int] | None = None,
    others: Sequence[tuple[int, int]] = (),
) -> Reduced:
    """Give the thrust of the burn in a record of a stand, and the chamber pressure beside it.

    Parameters
    ----------
    time, force : ndarray
        Record, times rising [s], force of the cell with thrust upwards over any zero [N], shape (N,).
    start, end : float, optional
        Where the burn is cut [s]; without one, where thrust is no longer measurable.
    lost_weight : float
        What an upright stand's reading has changed by when the propellant is gone [N]: `load_cell.weight_change`.
    way : str
        How the zero went from before the burn to after it, a name of `zero.ZEROS` [-].
    smooth : bool
        Whether the stand's ringing is taken out, where there is any [-].
    gauge : ndarray, optional
        Pressure of the chamber over any zero at the same times [Pa], shape (N,).
    ambient : float
        Pressure of the air, which a gauge's zero stands for [Pa].
    burn : tuple of int, optional
        First and last sample of the burn, where it was chosen among several [-]; without it, it is found.
    others : sequence of tuple of int
        First and last sample of what else stands in the record, where no zero is taken [-].

    Returns
    -------
    Reduced
        Times [s], thrust [N], absolute pressure [Pa], shape (M,).

    Raises
    ------
    CalcError
        Fewer than ten samples lie between start and end, nothing rises out of the noise, there is no quiet stretch
        for the zero, or the lost weight is as large as the thrust.

    Notes
    -----
    Each step needs the one before it. The burn is found between start and end only. Its zero comes from the whole
    record: the quiet stretches lie outside the cut, and outside the burn that a cut goes through. Only over a known
    zero can be told where thrust ends, and only in the burn alone does weight leave in proportion to impulse. A tone is
    looked for in thrust that no weight bends any more, and the smoothed burn is made last: it is longer than the cut.
    Pressure has a zero and no drift, and is read at the times of the thrust.

    References
    ----------
    Each step its own: `pulses.find_burn`, `zero.zeroed`, `curve.measurable`, `load_cell.without_lost_weight`,
    `load_cell.ringing`, `load_cell.smoothed`. Their order: common practice, no source.

    Examples
    --------
    >>> t = np.arange(0.0, 6.0, 0.01)
    >>> thrust = np.interp(t, [2.0, 2.1, 3.5, 3.6], [0.0, 300.0, 300.0, 0.0])
    >>> found = reduce_record(t, thrust + 4.0 + 0.5 * t)
    >>> t[found.low].round(2), t[found.high].round(2), found.thrust.max().round(6)
    (np.float64(2.0), np.float64(3.6), np.float64(300.0))
    """
    begin, stop = between(time, start, end)
    if burn is None or not begin <= burn[0] < burn[1] < stop:
        first, last = (i + begin for i in find_burn(time[begin:stop], force[begin:stop]))
    else:
        first, last = burn
    lit, out = whole = (first, last) if start is None and end is None else _uncut(time, force, first, last)
    aside = [other for other in others if other[1] < lit or other[0] > out]
    zero = zeroed(time, force, *whole, lost_weight, way, aside)
    low, high = measurable(zero.thrust[begin:stop], first - begin, last - begin, zero.noise, lost_weight)
    low, high = (begin if start is not None else low + begin), (stop - 1 if end is not None else high + begin)
    t, thrust = time[low : high + 1], zero.thrust[low : high + 1]
    if lost_weight:
        lit, out = min(low, lit), max(high, out)
        weighed = without_lost_weight(time[lit : out + 1], zero.thrust[lit : out + 1], lost_weight)
        thrust = weighed[low - lit : high - lit + 1]
    burning = BURN_SHARE * float(thrust.max())
    begins = low == 0 and start is None and bool(thrust[0] > burning)
    ends = high == time.size - 1 and end is None and bool(thrust[-1] > burning)
    tone = ringing(t, thrust)
    if tone is not None and smooth:
        t, thrust = smoothed(t, thrust, 1 / tone.frequency)
    pressure = None
    if gauge is not None:
        pressure = np.interp(t, time, zeroed(time, gauge, *whole, way="level", others=aside).thrust + ambient)
    return Reduced(t, thrust, pressure, zero, low, high, begins, ends, tone, smooth and tone is not None)


def _uncut(time: Floats, force: Floats, first: int, last: int) -> tuple[int, int]:
    """The first and last sample of the burn as it was before a cut went through it, where the record shows that."""
    try:
        whole = [burn for burn in burns(time, force) if burn[0] <= last and burn[1] >= first]
    except CalcError:  # something else in the record hides the burn, which is why it was cut
        whole = []
    return min([first, *(burn[0] for burn in whole)]), max([last, *(burn[1] for burn in whole)])
