"""Which grains go together: sets whose masses lie closest to each other."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from app.calc.base.constants import finite_array
from app.calc.base.errors import OutOfRange


@dataclass(frozen=True)
class GrainSet:
    """One set: positions of its grains in the row given, lightest first, and the range of their masses [kg]."""

    members: tuple[int, ...]
    spread: float


def even_sets(masses: Sequence[float], size: int, count: int) -> list[GrainSet]:
    """Choose sets of grains so that the ranges of mass inside them, added up, are the least possible.

    Parameters
    ----------
    masses : sequence of float
        Of the grains to choose from [kg].
    size : int
        Grains in a set [-].
    count : int
        How many sets; no grain is in two of them [-].

    Returns
    -------
    list of GrainSet
        The sets, most even first: positions in `masses` [-] and range of mass, heaviest less lightest [kg].

    Raises
    ------
    OutOfRange
        Fewer than two grains in a set, no set wanted, or more grains wanted than there are.
    CalcError
        A mass is not a number.

    Notes
    -----
    Exact for any number of grains. Two sets whose ranges overlap can be exchanged, the lighter half of their
    grains in one and the heavier in the other, and neither the sum of the ranges nor the larger range grows; so
    some best choice has sets that are neighbours in order of mass. Of those the least sum is found by dynamic
    programming: with the first i grains and j sets, either grain i stays out or it is the heaviest of set j.

    References
    ----------
    R. Bellman, Dynamic Programming, 1957 (the method). A test compares with trying every choice.

    Examples
    --------
    >>> [s.members for s in even_sets([0.170, 0.165, 0.172, 0.166, 0.150], size=2, count=2)]
    [(1, 3), (0, 2)]
    """
    values = finite_array("masses", masses)
    n = len(values)
    if size < 2:
        raise OutOfRange("size", "a set has two grains or more.", "Choose at least 2.")
    if count < 1:
        raise OutOfRange("count", "no set is wanted.", "Choose at least 1.")
    if size * count > n:
        raise OutOfRange(
            "count", f"{count} sets of {size} need {size * count} grains and there are {n}.", "Choose fewer or smaller."
        )
    order = np.argsort(values, kind="stable")
    in_order = values[order]
    spread = in_order[size - 1 :] - in_order[: n - size + 1]  # of the set that begins at each grain
    best = np.zeros((count + 1, n + 1))  # least sum with so many sets among the first so many grains
    for sets in range(1, count + 1):
        best[sets, :size] = np.inf
        ending = best[sets - 1, : n - size + 1] + spread
        best[sets, size:] = np.minimum.accumulate(ending)
    chosen, last = [], n
    for sets in range(count, 0, -1):
        while last > size and best[sets, last - 1] <= best[sets, last]:
            last -= 1
        members = tuple(int(k) for k in order[last - size : last])
        chosen.append(GrainSet(members, float(spread[last - size])))
        last -= size
    return sorted(chosen, key=lambda s: (s.spread, s.members))
