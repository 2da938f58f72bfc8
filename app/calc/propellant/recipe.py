"""Recipes: how many grams of each ingredient to weigh out, remelts counted, and in what order they melt."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from app.calc.base.constants import positive
from app.calc.base.errors import BlendError, GeometryError, OutOfRange
from app.calc.base.notes import Amount, Note
from app.calc.propellant.blend import (
    FRACTION_TOLERANCE,
    blend_warnings,
    check_blend,
    oxygen_balance,
    theoretical_density,
)
from app.calc.propellant.ingredients import INGREDIENTS, Ingredient, lookup

__all__ = [
    "INGREDIENTS",
    "Ingredient",
    "MeltStep",
    "ScaledRecipe",
    "batch_mass",
    "blend_warnings",
    "check_blend",
    "lookup",
    "oxygen_balance",
    "scale",
    "theoretical_density",
    "to_melt_order",
]


@dataclass(frozen=True)
class ScaledRecipe:
    """What to weigh out for a batch.

    Attributes
    ----------
    masses : dict of str to float
        Fresh ingredient by key [kg], each a whole number of steps of the scale.
    fresh_mass, remelt_mass, total_mass : float
        Sum of the fresh ingredients, the remelt added, and both [kg].
    target : dict of str to float
        Share of each ingredient asked for [-].
    realised : dict of str to float
        Share of each ingredient in the whole melt, remelt counted [-].
    deviation : float
        Largest difference between the two [-].
    """

    masses: dict[str, float]
    fresh_mass: float
    remelt_mass: float
    total_mass: float
    target: dict[str, float]
    realised: dict[str, float]
    deviation: float


def scale(
    parts: Mapping[str, float],
    mass: float,
    resolution: float,
    remelts: Iterable[tuple[Mapping[str, float], float]] = (),
    limit: float = 0.15,
) -> ScaledRecipe:
    """Scale a formula to a batch in whole steps of the scale; with leftovers taken in, the whole melt meets it.

    Parameters
    ----------
    parts : mapping of str to float
        Mass fraction of each ingredient [-].
    mass : float
        Batch wanted, remelt included [kg].
    resolution : float
        Smallest step of the scale [kg].
    remelts : iterable of (mapping of str to float, float)
        Composition [-] and mass [kg] of each leftover.
    limit : float
        Largest share of remelt in the batch [-].

    Returns
    -------
    ScaledRecipe
        Fresh masses [kg], which with the remelt sum to the batch rounded to the scale; the shares realised [-] are
        those of the whole melt.

    Raises
    ------
    BlendError
        If a remelt brings more of an ingredient than the batch needs, or as `check_blend`.
    OutOfRange
        If the mass or the resolution is not positive, an ingredient falls below one step of the scale, or the remelt
        is more than the limit.

    Notes
    -----
    Rounded by largest remainder, so that the sum is exact and no ingredient is off by a whole step. A remelt is taken
    to be what its own formula says: losses of water on heating are not counted.

    References
    ----------
    Largest remainder (Hamilton's) method of apportionment. About 15 % of remelt: common practice, no source.

    Examples
    --------
    >>> recipe = scale({"KNO3": 0.65, "sorbitol": 0.28, "sucrose": 0.07}, mass=0.400, resolution=0.001)
    >>> [round(1000 * m) for m in recipe.masses.values()]
    [260, 112, 28]
    >>> blend = {"potassium_nitrate": 0.65, "sorbitol": 0.35}
    >>> leftover = {"potassium_nitrate": 0.60, "sorbitol": 0.40}
    >>> recipe = scale(blend, 0.400, 0.001, [(leftover, 0.040)])
    >>> [round(1000 * m) for m in recipe.masses.values()]
    [236, 124]
    """
    blend = check_blend(parts)
    positive("mass", mass, "Give a mass above zero.")
    positive("resolution", resolution, "Give a mass above zero.")
    if not (math.isfinite(limit) and 0 <= limit <= 1):
        raise OutOfRange("limit", f"a remelt limit of {limit} is not a share.", "Give a number from 0 to 1.")
    brought: dict[str, float] = {}
    remelt = 0.0
    for composition, amount in remelts:
        if not math.isfinite(amount) or amount < 0:
            fault = Note("a remelt of {amount} is not possible.", {"amount": Amount(amount, "mass")})
            raise OutOfRange("remelts", fault, "Give its mass.")
        remelt += amount
        for key, fraction in check_blend(composition).items():
            brought[key] = brought.get(key, 0.0) + fraction * amount
    if remelt > limit * mass * (1 + FRACTION_TOLERANCE):
        raise OutOfRange(
            "remelts",
            Note(
                f"{{remelt}} of remelt is {100 * remelt / mass:.1f} % of the batch; the limit is {100 * limit:.0f} %.",
                {"remelt": Amount(remelt, "mass")},
            ),
            Note(
                "Use at most {most}, or make a batch of {batch} or more." if limit else "Use at most {most}.",
                {"most": Amount(limit * mass, "mass"), "batch": Amount(remelt / (limit or 1), "mass", 0)},
            ),
        )
    for key, amount in brought.items():
        need = blend.get(key, 0.0) * mass
        if amount > need + resolution / 2:
            name = INGREDIENTS[key].name.lower()
            way = (
                Note(
                    "Use at most {most} of it, or make a batch of {batch} or more.",
                    {"most": Amount(remelt * need / amount, "mass"), "batch": Amount(amount / blend[key], "mass", 0)},
                )
                if need
                else "Keep it for a batch whose formula has it."
            )
            raise BlendError(
                "remelts",
                Note(
                    f"the remelt brings {{amount}} of {name}; the batch needs {{need}}.",
                    {"amount": Amount(amount, "mass"), "need": Amount(need, "mass")},
                ),
                way,
            )
    wanted = {key: max(fraction * mass - brought.get(key, 0.0), 0.0) for key, fraction in blend.items()}
    return _weigh_out(blend, wanted, brought, round((mass - remelt) / resolution), resolution)


def _weigh_out(
    blend: dict[str, float], wanted: dict[str, float], brought: dict[str, float], steps: int, resolution: float
) -> ScaledRecipe:
    exact = {key: amount / resolution for key, amount in wanted.items()}
    # Rounding away float dust first keeps 28.000000000000004 from counting as a remainder.
    counts = {key: math.floor(round(amount, 6)) for key, amount in exact.items()}
    short = steps - sum(counts.values())
    by_remainder = sorted(exact, key=lambda key: counts[key] - exact[key])
    for key in by_remainder[:short]:
        counts[key] += 1
    for key, count in counts.items():
        if count == 0 and exact[key] > 0 and key not in brought:
            raise OutOfRange(
                "resolution",
                Note(
                    f"{INGREDIENTS[key].name} comes to {{wanted}}, less than one step of the scale ({{step}}).",
                    {"wanted": Amount(wanted[key], "mass", 3), "step": Amount(resolution, "mass", 3)},
                ),
                "Use a finer scale or a larger batch.",
            )
    masses = {key: count * resolution for key, count in counts.items()}
    fresh = sum(counts.values()) * resolution
    remelt = math.fsum(brought.values())
    total = fresh + remelt
    keys = [*blend, *(key for key in brought if key not in blend)]
    realised = {key: (masses.get(key, 0.0) + brought.get(key, 0.0)) / total for key in keys}
    deviation = max(abs(realised[key] - blend.get(key, 0.0)) for key in keys)
    return ScaledRecipe(masses, fresh, remelt, total, blend, realised, deviation)


def batch_mass(
    grains: Iterable[tuple[float, int]], density: float, over_pour: float = 0.05, test_pieces: float = 0.0
) -> float:
    """Mass of melt for the grains wanted.

    Parameters
    ----------
    grains : iterable of (float, int)
        Volume of one grain [m³] and how many of it [-].
    density : float
        Density expected of the cast [kg/m³].
    over_pour : float
        Share added for what stays in the pot, the spout and the trimmings [-].
    test_pieces : float
        Mass for test pieces [kg].

    Returns
    -------
    float
        Mass to melt [kg].

    Raises
    ------
    GeometryError
        If there is no grain, or a volume or count is not positive.
    OutOfRange
        If the density is not positive, the over-pour is outside 0-100 %, or the test pieces are negative.

    Notes
    -----
    The over-pour is put on the grains, not on the test pieces.

    References
    ----------
    Conservation of mass; the default of 5 % is an assumption, no source.

    Examples
    --------
    >>> round(batch_mass([(96.5e-6, 4)], density=1750.0, over_pour=0.10, test_pieces=0.010), 4)
    0.7531
    """
    positive("density", density, "Give a density above zero.")
    if not (math.isfinite(over_pour) and 0 <= over_pour <= 1):
        raise OutOfRange("over_pour", f"an over-pour of {over_pour} is odd.", "Give a share from 0 to 1.")
    if not math.isfinite(test_pieces) or test_pieces < 0:
        fault = Note("a mass of {pieces} is not possible.", {"pieces": Amount(test_pieces, "mass")})
        raise OutOfRange("test_pieces", fault, "Give 0 or more.")
    wanted = list(grains)
    if not wanted:
        raise GeometryError("grains", "no grain is asked for.", "Choose a grain pattern and how many.")
    for volume, count in wanted:
        if not (math.isfinite(volume) and volume > 0 and count > 0):
            fault = Note(f"{count} grains of {{volume}} cannot be cast.", {"volume": Amount(volume, "volume")})
            raise GeometryError("grains", fault, "Check pattern and count.")
    return math.fsum(volume * count for volume, count in wanted) * density * (1 + over_pour) + test_pieces


@dataclass(frozen=True)
class MeltStep:
    """One thing to put in the pot: which, how much of the batch [-], and how it is said."""

    key: str
    share: float
    words: str


def to_melt_order(parts: Mapping[str, float]) -> tuple[MeltStep, ...]:
    """Put a formula in the order of the pot: sugar alcohol, other sugars, oxidiser in thirds.

    Parameters
    ----------
    parts : mapping of str to float
        Mass fraction of each ingredient [-].

    Returns
    -------
    tuple of MeltStep
        Steps in order; their shares of the batch [-] sum to one.

    Raises
    ------
    BlendError
        As `check_blend`.

    Notes
    -----
    Among sugars of one kind the larger share goes first. A sugar that melts above the first one is dissolved in it, at
    the heat of the melt. An order of work, not an instruction for safe work.

    References
    ----------
    Common practice, no source. Ranges of melting: `ingredients`.

    Examples
    --------
    >>> order = to_melt_order({"potassium_nitrate": 0.65, "sucrose": 0.07, "sorbitol": 0.28})
    >>> [step.key for step in order]
    ['sorbitol', 'sucrose', 'potassium_nitrate', 'potassium_nitrate', 'potassium_nitrate']
    """
    blend = check_blend(parts)
    sugars = [key for key in blend if INGREDIENTS[key].kind == "sugar"]
    sugars.sort(key=lambda key: (not INGREDIENTS[key].sugar_alcohol, -blend[key]))
    steps = [MeltStep(key, blend[key], _into_the_pot(key, sugars[0])) for key in sugars]
    third = blend["potassium_nitrate"] / 3
    steps += [
        MeltStep("potassium_nitrate", third, f"Stir in the {place} third of the potassium nitrate")
        for place in ("first", "second", "last")
    ]
    return tuple(steps)


def _into_the_pot(key: str, first: str) -> str:
    """What is done with a sugar: the first is melted; one that melts higher than that is dissolved in it."""
    name, melted = INGREDIENTS[key].name.lower(), INGREDIENTS[first]
    if INGREDIENTS[key].melting[0] <= melted.melting[1]:
        return f"Melt the {name}"
    return f"Dissolve the {name} in the melted {melted.name.lower()} without more heat"
