"""Stray samples in a record: one to three that leave their neighbours and come back, and the record without them."""

from dataclasses import dataclass

import numpy as np

from app.calc.base.constants import Floats

LONGEST = 3
"""Most samples in a row that are taken for a spike [-]: a choice."""

LEAST_SHARE = 0.03
"""Share of the record's range that a spike leaves its neighbours by at least [-]: a choice."""

_NEAR, _AROUND = 4, 16  # samples to either side that say what is usual here
_USUAL = 0.6  # of the steps around are smaller than the usual one: spikes may make up two in five
_ABRUPT = 0.7  # share of a spike's height that lies in its first step, and in its last
_PASSES = 4  # a large spike hides smaller ones until it is out


@dataclass(frozen=True)
class Spike:
    """Samples `first` to `last` of a record, from 0, which lie about `height` over (or under) their neighbours [N]."""

    first: int
    last: int
    height: float


def find_spikes(force: Floats) -> list[Spike]:
    """Find the samples that leave their neighbours for a moment.

    Parameters
    ----------
    force : ndarray
        Record, any zero and sign [N], shape (N,).

    Returns
    -------
    list of Spike
        In order of time, heights [N].

    Notes
    -----
    Runs of one to three samples that differ from the median of nine by more than 3 % of the range, eight usual steps of
    the record and two and a half of its smallest, four times as much as these nine differ from it, and six steps that
    are usual among the 33 around; with seven tenths of that in one step at each end. What rises and stays, such as
    ignition, does not come back, and what waves, such as ringing, leaves no further than its neighbours do. That it is
    no thrust is not said by that: an igniter's kick may look so where sampling is slow, so a person decides.

    References
    ----------
    Median of neighbours as what is expected, their median deviation as scale: Hampel, J. Amer. Statist. Assoc. 69
    (1974) 383 (from memory). Its numbers here: a choice.

    Examples
    --------
    >>> find_spikes(np.r_[np.tile([0.0, 1.0], 10), 900.0, np.tile([0.0, 1.0], 10)])
    [Spike(first=20, last=20, height=899.0)]
    """
    found: list[Spike] = []
    left = force
    for _ in range(_PASSES):
        more = _once(left)
        if not more:
            break
        found += more
        left = without_spikes(left, more)
    return sorted(found, key=lambda spike: spike.first)


def _once(force: Floats) -> list[Spike]:
    size = force.size
    if size < 2 * _NEAR + 1:
        return []
    steps = np.abs(np.diff(force))
    reach = float(np.ptp(force))
    if not reach > 0:
        return []
    least = float(steps[steps > 1e-7 * reach].min())
    floor = max(LEAST_SHARE * reach, 8 * float(np.median(steps)), 2.5 * least)
    starts = np.flatnonzero(steps > _ABRUPT * floor) + 1
    found: list[Spike] = []
    for block in np.array_split(starts, max(1, starts.size // 100_000)):
        for length in range(1, LONGEST + 1):
            first = block[(block >= 1) & (block + length < size)]
            last = first + length - 1
            window = force[_spread_over((first + last) // 2, _NEAR, size)]
            level = np.median(window, axis=1)
            usual = np.median(np.abs(window - level[:, None]), axis=1)
            wide = np.quantile(steps[_spread_over(first, _AROUND, size - 1)], _USUAL, axis=1)
            off = np.stack([force[first + i] - level for i in range(length)])
            height = np.where(off[0] > 0, off.min(axis=0), off.max(axis=0))
            sign = np.sign(height)
            out, back = force[first] - force[first - 1], force[last] - force[last + 1]
            enough = np.maximum(np.maximum(4 * usual, 6 * wide), floor)
            kept = (
                (np.abs(height) > enough)
                & (np.sign(off[0]) == sign)
                & (sign * out > _ABRUPT * np.abs(height))
                & (sign * back > _ABRUPT * np.abs(height))
            )
            found += [
                Spike(int(a), int(b), float(h)) for a, b, h in zip(first[kept], last[kept], height[kept], strict=True)
            ]
    return found


def _spread_over(middle: np.ndarray, reach: int, size: int) -> np.ndarray:
    """Samples about each of some, as many at the record's ends."""
    low = np.clip(middle - reach, 0, max(0, size - 2 * reach - 1))
    return np.asarray(np.minimum(low[:, None] + np.arange(2 * reach + 1), size - 1))


def without_spikes(force: Floats, spikes: list[Spike]) -> Floats:
    """Give a record with a straight line through each of its spikes.

    Parameters
    ----------
    force : ndarray
        Record [N], shape (N,).
    spikes : list of Spike
        From `find_spikes`.

    Returns
    -------
    ndarray
        The record without them [N], shape (N,).

    Notes
    -----
    From the sample before to the one after, by the number of samples.

    References
    ----------
    Linear interpolation.

    Examples
    --------
    >>> without_spikes(np.array([1.0, 2.0, 90.0, 4.0]), [Spike(2, 2, 87.0)]).tolist()
    [1.0, 2.0, 3.0, 4.0]
    """
    if not spikes:
        return force
    good = np.ones(force.size, dtype=bool)
    for spike in spikes:
        good[spike.first : spike.last + 1] = False
    if not good.any():
        return force
    better = force.copy()
    better[~good] = np.interp(np.flatnonzero(~good), np.flatnonzero(good), force[good])
    return better
