"""What goes into one melt: grains of one formula, as many as the pan holds and as there are tubes and rods for."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from app.calc.base.constants import Floats, positive
from app.calc.base.errors import NoSolution, OutOfRange
from app.calc.base.notes import Amount, Note, joined

_EPSILON_KG = 1e-9


@dataclass(frozen=True)
class Pattern:
    """A grain to cast: its mass [kg] and the formula it is cast of."""

    mass_kg: float
    formula: str


@dataclass(frozen=True)
class Pan:
    """How much melt the pan holds [kg], the share added for what stays in it [-], and test pieces of each melt [kg]."""

    holds_kg: float
    over_pour: float = 0.05
    test_pieces_kg: float = 0.0

    def melt_kg(self, grains_kg: float) -> float:
        """Mass to melt for grains of that mass [kg]: the over-pour is put on the grains, not on the test pieces."""
        return grains_kg * (1 + self.over_pour) + self.test_pieces_kg


Load = tuple[int, ...]
"""Grains of each pattern of a formula, in their order."""


def most_of(pattern: Pattern, pan: Pan, sets: int | None = None) -> int:
    """Count how many grains of one pattern a melt takes.

    Parameters
    ----------
    pattern : Pattern
        The grain [-].
    pan : Pan
        The pan [-].
    sets : int or None
        Sets of tools for it [-]; without, they do not limit.

    Returns
    -------
    int
        Grains, 0 where not one fits [-].

    Raises
    ------
    OutOfRange
        The grain weighs nothing, or the pan holds nothing.

    Notes
    -----
    n m (1 + over-pour) + test pieces at most what the pan holds.

    References
    ----------
    Conservation of mass, as `recipe.batch_mass`.

    Examples
    --------
    >>> most_of(Pattern(0.17, "sorbitol"), Pan(0.76, 0.05, 0.01), sets=6)
    4
    """
    positive("mass_kg", pattern.mass_kg, "Give what one grain weighs.")
    positive("pan_kg", pan.holds_kg, "Give what the pan holds safely.")
    room = (pan.holds_kg - pan.test_pieces_kg + _EPSILON_KG) / (pattern.mass_kg * (1 + pan.over_pour))
    fits = max(int(room), 0)
    return fits if sets is None else min(fits, sets)


def full_loads(
    patterns: Mapping[str, Pattern],
    pan: Pan,
    most: Mapping[str, int],
    tools: Sequence[tuple[frozenset[str], int]] = (),
    limit: int = 150,
) -> list[Load]:
    """List every way to fill one melt of a formula to which no grain more can be added.

    Parameters
    ----------
    patterns : mapping of str to Pattern
        The formula's grains by name [-].
    pan : Pan
        The pan [-].
    most : mapping of str to int
        The most of each pattern in a melt, such as how many are wanted [-].
    tools : sequence of (frozenset of str, int)
        Patterns that are cast with the same tools, and for how many grains those are [-].
    limit : int
        More ways than this are not listed [-].

    Returns
    -------
    list of tuple of int
        Grains of each pattern in the order given [-]; the fullest first.

    Raises
    ------
    OutOfRange
        A single grain is more than the pan takes.
    NoSolution
        There are more ways than the limit: `some_loads` finds those that matter.

    Notes
    -----
    All maximal whole-number loads of a knapsack with bounds: any melt is one of them with grains left out.

    References
    ----------
    P. C. Gilmore, R. E. Gomory, Operations Research 9 (1961) 849 (cutting patterns), from memory.

    Examples
    --------
    >>> pair = {"wide": Pattern(0.17, "sorbitol"), "slim": Pattern(0.07, "sorbitol")}
    >>> full_loads(pair, Pan(0.40, 0.0), {"wide": 2, "slim": 6})
    [(2, 0), (1, 3), (0, 5)]
    """
    names = list(patterns)
    takes = [patterns[name].mass_kg * (1 + pan.over_pour) for name in names]
    room = pan.holds_kg - pan.test_pieces_kg + _EPSILON_KG
    for name, each in zip(names, takes, strict=True):
        if each > room:
            whole = {"melt": Amount(pan.melt_kg(patterns[name].mass_kg), "mass"), "pan": Amount(pan.holds_kg, "mass")}
            raise OutOfRange(
                "pan_kg",
                joined(f"one {name} alone", Note("takes a melt of {melt} and the pan holds {pan}.", whole)),
                "Take a larger pan or a smaller grain.",
            )
    found: list[Load] = []
    limits = [
        ([names.index(name) for name in sorted(of) if name in patterns], sets)
        for of, sets in [*((frozenset([name]), most[name]) for name in names), *tools]
    ]

    def free(load: list[int], at: int) -> int:
        """How many grains of that pattern tools are left for."""
        return min(sets - sum(load[i] for i in of if i < len(load)) for of, sets in limits if at in of)

    def fill(load: list[int], left: float) -> None:
        at = len(load)
        if at == len(names):
            if any(takes[i] <= left and free(load, i) > 0 for i in range(at)):
                return
            if len(found) >= limit:
                raise NoSolution(
                    "patterns", f"there are more than {limit} ways to fill a melt.", "Choose some of them."
                )
            found.append(tuple(load))
            return
        for n in range(min(free(load, at), int(left / takes[at])), -1, -1):
            fill([*load, n], left - n * takes[at])

    fill([], room)
    return [load for load in found if any(load)]


def least_melts(names: Sequence[str], loads: Sequence[Load], wanted: Mapping[str, int], exact: bool = False) -> int:
    """Count the melts that grains of a formula take at least.

    Parameters
    ----------
    names : sequence of str
        Its patterns [-].
    loads : sequence of tuple of int
        The full loads of a melt, in the order of the patterns [-].
    wanted : mapping of str to int
        Grains of each pattern [-].
    exact : bool
        Whether melts are whole; else shares of them are added up and rounded, which may be one too few.

    Returns
    -------
    int
        Melts [-].

    Notes
    -----
    The least number of loads that cover the grains wanted.

    References
    ----------
    P. C. Gilmore, R. E. Gomory 1961, from memory.

    Examples
    --------
    >>> least_melts(("wide", "slim"), [(2, 0), (1, 3), (0, 5)], {"wide": 3, "slim": 4}, exact=True)
    3
    """
    need = np.array([wanted.get(name, 0) for name in names], dtype=float)
    if not need.any():
        return 0
    if len(names) == 1:
        return -(-int(need[0]) // max(load[0] for load in loads))
    from scipy.optimize import linprog

    grains = -np.array(loads, dtype=float).T
    found = linprog(np.ones(len(loads)), grains, -need, integrality=np.full(len(loads), int(exact)))
    return int(np.ceil(found.fun - 1e-6))


def some_loads(
    patterns: Mapping[str, Pattern],
    pan: Pan,
    most: Mapping[str, int],
    tools: Sequence[tuple[frozenset[str], int]],
    wanted: Sequence[Mapping[str, int]],
) -> list[Load]:
    """List the full loads that matter where there are too many: those that shares of melts are best made of.

    Parameters
    ----------
    patterns : mapping of str to Pattern
        The formula's grains by name [-].
    pan : Pan
        The pan [-].
    most : mapping of str to int
        The most of each pattern in a melt [-].
    tools : sequence of (frozenset of str, int)
        Patterns that are cast with the same tools, and for how many grains those are [-].
    wanted : sequence of mapping of str to int
        Grains of each pattern, such as those up to a day [-].

    Returns
    -------
    list of tuple of int
        Grains of each pattern in the order given [-].

    Notes
    -----
    For each of `wanted`, loads are added as long as one of them would lower the least number of melts, counted in
    shares: the best of all loads by the worth of its grains, a knapsack. With whole melts a load that is not listed may
    do better, so that a plan of these alone needs a bound from elsewhere.

    References
    ----------
    P. C. Gilmore, R. E. Gomory 1961 (column generation), from memory.

    Examples
    --------
    >>> pair = {"wide": Pattern(0.17, "sorbitol"), "slim": Pattern(0.07, "sorbitol")}
    >>> some_loads(pair, Pan(0.40, 0.0), {"wide": 2, "slim": 6}, [], [{"wide": 3, "slim": 9}])
    [(2, 0), (0, 5), (1, 3)]
    """
    from scipy.optimize import LinearConstraint, linprog, milp

    names = list(patterns)
    takes = np.array([patterns[name].mass_kg * (1 + pan.over_pour) for name in names])
    together = [([name in of for name in names], sets) for of, sets in tools]
    rows = np.array([takes, *(of for of, _ in together)], dtype=float)
    limits = LinearConstraint(
        rows, -np.inf, [pan.holds_kg - pan.test_pieces_kg + _EPSILON_KG, *(n for _, n in together)]
    )
    highest = np.array([most[name] for name in names], dtype=float)

    def best(worth: Floats) -> Load:
        found = milp(-worth, constraints=limits, bounds=(0, highest), integrality=np.ones(len(names)))
        return tuple(round(float(n)) for n in found.x)

    loads = [best(np.where(np.arange(len(names)) == i, 1.0, 1e-6)) for i in range(len(names))]
    for grains in wanted:
        need = np.array([grains.get(name, 0) for name in names], dtype=float)
        for _ in range(4 * len(names)):
            shares = linprog(np.ones(len(loads)), -np.array(loads, dtype=float).T, -need)
            worth = -np.asarray(shares.ineqlin.marginals)
            load = best(worth + 1e-6 * takes)
            if load in loads or float(worth @ np.array(load)) <= 1 + 1e-6:
                break
            loads.append(load)
    return list(dict.fromkeys(loads))
