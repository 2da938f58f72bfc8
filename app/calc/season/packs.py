"""What to buy of a thing that is sold in sizes: the cheapest set of packs that is enough."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

from app.calc.base.errors import CalcError

MOST_PACKS = 10_000
"""More packs of one size than this are a slip in a size [-]."""


@dataclass(frozen=True)
class Packs:
    """How many of each size to take, in the order of the sizes; what they hold together and what they cost.

    Attributes
    ----------
    counts : tuple of int
        Packs of each size [-].
    amount : float
        What they hold, in the unit of the sizes.
    cost : float or None
        Together, in the currency of the prices; None where a price is not known.
    """

    counts: tuple[int, ...]
    amount: float
    cost: float | None


def cheapest(need: float, sizes: Sequence[float], prices: Sequence[float | None]) -> Packs:
    """The cheapest packs that hold at least what is needed.

    Where a price is not known, prices say nothing: then the least amount is taken that is enough. Of sets that cost
    the same, the one that holds more is taken, of those the one with the fewest packs.

    Parameters
    ----------
    need : float
        What is short, in the unit of the sizes [kg] or [-].
    sizes : sequence of float
        Amounts in a pack, each above 0, in the same unit [kg] or [-].
    prices : sequence of float or None
        Price of a pack of each size, at least 0 [-].

    Returns
    -------
    Packs
        All counts 0 where nothing is needed.

    Raises
    ------
    CalcError
        There is no size, a size is not above 0, or thousands of packs would be needed.

    Notes
    -----
    The covering form of the knapsack problem, solved exactly by walking through the counts of all sizes but the last;
    a shop sells a handful of sizes.

    References
    ----------
    S. Martello, P. Toth: Knapsack Problems, Wiley 1990, chapter 3 (from memory).

    Examples
    --------
    >>> cheapest(2.0, [1.2, 5.0], [7.80, 29.0]).counts
    (2, 0)
    >>> cheapest(4.2, [1.2, 5.0], [7.80, 29.0]).counts
    (0, 1)
    """
    if not sizes or min(sizes) <= 0:
        raise CalcError("sizes", "A pack holds more than nothing.", "Give at least one size.")
    if need <= 0:
        return Packs((0,) * len(sizes), 0.0, 0.0)
    if need / min(sizes) > MOST_PACKS:
        raise CalcError("sizes", "Thousands of packs would be needed.", "Check the sizes.")
    known = all(price is not None for price in prices)
    weights = [float(price or 0.0) for price in prices] if known else [float(size) for size in sizes]
    order = sorted(range(len(sizes)), key=lambda i: (weights[i] / sizes[i], -sizes[i]))
    best: tuple[float, float, int, tuple[int, ...]] | None = None

    def walk(place: int, left: float, counts: list[int], cost: float) -> None:
        nonlocal best
        rate = min(weights[i] / sizes[i] for i in order[place:])
        if best is not None and cost + max(left, 0.0) * rate > best[0] + _SAME:
            return
        size = sizes[order[place]]
        most = max(ceil(left / size - _SAME), 0)
        if place == len(order) - 1 or most == 0:
            taken = [*counts, most, *[0] * (len(order) - place - 1)]
            held = sum(count * sizes[i] for count, i in zip(taken, order, strict=True))
            found = (cost + most * weights[order[place]], -held, sum(taken), tuple(taken))
            if best is None or found[0] < best[0] - _SAME or (found[0] < best[0] + _SAME and found[1:] < best[1:]):
                best = found
            return
        for count in range(most, -1, -1):
            walk(place + 1, left - count * size, [*counts, count], cost + count * weights[order[place]])

    walk(0, need, [], 0.0)
    assert best is not None
    counts = [0] * len(sizes)
    for count, i in zip(best[3], order, strict=True):
        counts[i] = count
    cost = sum(count * float(price or 0.0) for count, price in zip(counts, prices, strict=True)) if known else None
    return Packs(tuple(counts), sum(count * size for count, size in zip(counts, sizes, strict=True)), cost)


_SAME = 1e-9
"""Costs and shares nearer than this are the same [-]."""
