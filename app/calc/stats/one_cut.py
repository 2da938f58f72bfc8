"""One cut through ordered values that parts two kinds best, and how often chance alone would part them as well.

A line such as "95.8 % and up" is drawn after the values were seen: its chance is that of the best of all cuts.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise

from app.calc.base.constants import finite_array
from app.calc.base.errors import OutOfRange


@dataclass(frozen=True)
class Cut:
    """Where two kinds are parted best.

    `below` and `above` are the neighbouring values on its two sides, in the unit of the values [-]; `so_above` of
    `n_above` values above it and `so_below` of `n_below` below it are of the first kind [-]; `gap` is the difference
    of the shares of the two kinds that lie above it, and `p` the probability of one as large by chance alone [-].
    """

    below: float
    above: float
    so_above: int
    n_above: int
    so_below: int
    n_below: int
    gap: float
    p: float

    @property
    def upward(self) -> bool:
        """Whether the first kind lies rather above it."""
        return self.so_above * self.n_below > self.so_below * self.n_above

    @property
    def perfect(self) -> bool:
        """Whether each side holds one kind alone."""
        return {(self.so_above, self.so_below)} <= {(self.n_above, 0), (0, self.n_below)}

    @property
    def level(self) -> float:
        """The number with the fewest decimals that has the two sides apart, the one nearest the middle [-]."""
        middle = (self.below + self.above) / 2
        for decimals in range(12):
            near = round(middle, decimals)
            if self.below < near <= self.above:
                return near
        return self.above


def best_cut(values: Sequence[float], kinds: Sequence[bool]) -> Cut | None:
    """The cut that parts two kinds best: where the shares of both that lie above it differ most.

    Parameters
    ----------
    values : sequence of float, shape (n,)
        One value of each thing, in any one unit [-].
    kinds : sequence of bool, shape (n,)
        Whether it is of the first kind.

    Returns
    -------
    Cut or None
        Nothing where all values are alike, or all things of one kind.

    Raises
    ------
    OutOfRange
        Not as many kinds as values.
    CalcError
        One of the values is infinite or not a number.

    Notes
    -----
    Of cuts that part equally well, the one in the widest space between neighbours. The greatest difference of shares
    is the two-sample Kolmogorov-Smirnov statistic D, and the probability is that of a D as large in any direction
    among all orders of the kinds, counted exactly as lattice paths; between equal values there is no cut, and those
    orders are counted so. It holds for the best of all cuts, so nothing need be added for having looked for it.
    Things are taken for independent. Any unit.

    References
    ----------
    Hodges, Arkiv för Matematik 3 (1958) 469-486, for the paths; as scipy.stats.ks_2samp(method="exact") has it where
    no two values are equal. The cut itself: Youden, Cancer 3 (1950) 32-35, his index J at its largest.

    Examples
    --------
    >>> cut = best_cut([93.7, 94.2, 95.5, 95.8, 96.1, 96.4, 96.6], [False, False, False, True, True, True, True])
    >>> cut.level, cut.perfect, round(cut.p, 4)
    (95.7, True, 0.0571)
    """
    if len(kinds) != len(values):
        raise OutOfRange("kinds", f"{len(kinds)} kinds beside {len(values)} values.", "Give one for each.")
    pairs = sorted(zip(finite_array("values", values).tolist(), map(bool, kinds), strict=True))
    so = sum(kind for _, kind in pairs)
    others = len(pairs) - so
    steps = [(value, [kind for _, kind in same]) for value, same in groupby(pairs, key=lambda pair: pair[0])]
    if not so or not others or len(steps) < 2:
        return None
    found: tuple[int, float, int, int, float, float] | None = None
    mine = rest = 0
    for (below, same), (above, _) in pairwise(steps):
        mine, rest = mine + sum(same), rest + len(same) - sum(same)
        apart = abs(mine * others - rest * so)
        if found is None or (apart, above - below) > found[:2]:
            found = apart, above - below, mine, rest, below, above
    assert found is not None
    apart, _, mine, rest, below, above = found
    return Cut(
        below=below,
        above=above,
        so_above=so - mine,
        n_above=len(pairs) - mine - rest,
        so_below=mine,
        n_below=mine + rest,
        gap=apart / (so * others),
        p=_chance(so, others, [len(same) for _, same in steps], apart),
    )


def _chance(so: int, others: int, sizes: Sequence[int], apart: int) -> float:
    """The share of all orders whose best cut parts at least so far: one less those that keep closer at every cut."""
    ways = {0: 1}  # by how many of the first kind lie below: orders that got so far without parting as much
    below = 0
    for size in sizes[:-1]:
        below += size
        reached: dict[int, int] = {}
        for mine, n in ways.items():
            for more in range(min(size, so - mine) + 1):
                at = mine + more
                if at <= below and abs(at * others - (below - at) * so) < apart and below - at <= others:
                    reached[at] = reached.get(at, 0) + n * math.comb(size, more)
        ways = reached
    last = sizes[-1]
    close = sum(n * math.comb(last, so - mine) for mine, n in ways.items() if 0 <= so - mine <= last)
    every = math.comb(so + others, so)
    return (every - close) / every
