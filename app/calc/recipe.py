"""Recipes: what shares make a blend, how many grams to weigh out, and in what order they melt."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from app.calc.errors import BlendError, GeometryError, OutOfRange
from app.calc.ingredients import ATOMIC_MASS, INGREDIENTS, Ingredient, lookup

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
    "scale_with_remelt",
    "theoretical_density",
    "to_melt_order",
]

FRACTION_TOLERANCE = 1e-6
"""How far the fractions of a blend may sum away from one [-]."""

NITRATE_LIMITS = (0.50, 0.80)
"""Share of potassium nitrate outside which a blend is refused [-]; a choice of Grainbook, no source."""

NITRATE_USUAL = (0.58, 0.75)
"""Share of potassium nitrate outside which the calculations are marked as doubtful [-]; likewise."""


def check_blend(parts: Mapping[str, float]) -> dict[str, float]:
    """Check a blend and return it by ingredient key.

    Parameters
    ----------
    parts : mapping of str to float
        Mass fraction of each ingredient [-]; a fraction of zero is dropped.

    Returns
    -------
    dict of str to float
        Mass fraction by key [-], summing to one exactly as floats allow, oxidiser first.

    Raises
    ------
    BlendError
        For an ingredient outside the family, one named twice, a negative fraction, a sum away from one
        by more than 1e-6, no sugar or no oxidiser, or a nitrate share outside 50-80 %.

    Notes
    -----
    Shares outside 58-75 % nitrate pass, but see `blend_warnings`.

    References
    ----------
    Limits are Grainbook's own (source: none; the usual blend is 65/35, common practice).

    Examples
    --------
    >>> check_blend({"sorbitol": 0.35, "KNO3": 0.65})
    {'potassium_nitrate': 0.65, 'sorbitol': 0.35}
    """
    blend: dict[str, float] = {}
    for name, fraction in parts.items():
        key = lookup(name).key
        if not math.isfinite(fraction) or fraction < 0:
            raise BlendError(name, f"a share of {fraction} is not possible.", "Give a number from 0 to 1.")
        if key in blend:
            raise BlendError(name, f"{INGREDIENTS[key].name} is named twice.", "Add the two shares up.")
        blend[key] = float(fraction)
    blend = {key: fraction for key, fraction in blend.items() if fraction > 0}
    total = math.fsum(blend.values())
    if abs(total - 1) > FRACTION_TOLERANCE:
        raise BlendError("parts", f"the shares sum to {100 * total:.4f} %, not 100 %.", "Change one so that they do.")
    nitrate = sum(f for key, f in blend.items() if INGREDIENTS[key].kind == "oxidiser")
    if nitrate == 0:
        raise BlendError("parts", "there is no oxidiser.", "Add potassium nitrate, 58 to 75 %.")
    if nitrate >= 1 - FRACTION_TOLERANCE:
        raise BlendError("parts", "there is no sugar.", "Add at least one sugar or sugar alcohol.")
    low, high = NITRATE_LIMITS
    if not low - FRACTION_TOLERANCE <= nitrate <= high + FRACTION_TOLERANCE:
        raise BlendError(
            "potassium_nitrate",
            f"{100 * nitrate:.2f} % nitrate is outside {100 * low:.0f}-{100 * high:.0f} %, where nothing "
            "here is known to hold.",
            "The usual share is 65 %.",
        )
    ordered = sorted(blend, key=lambda key: INGREDIENTS[key].kind != "oxidiser")
    return {key: blend[key] / total for key in ordered}


def blend_warnings(parts: Mapping[str, float]) -> tuple[str, ...]:
    """Say what is doubtful about a blend that is not refused.

    Parameters
    ----------
    parts : mapping of str to float
        Mass fraction of each ingredient [-].

    Returns
    -------
    tuple of str
        One sentence for each doubt, empty when there is none [text].

    Raises
    ------
    BlendError
        As `check_blend`.

    Notes
    -----
    A warning never changes a number.

    References
    ----------
    Grainbook's own limits: 58-75 % nitrate.

    Examples
    --------
    >>> blend_warnings({"potassium_nitrate": 0.65, "sucrose": 0.35})
    ()
    """
    nitrate = check_blend(parts)["potassium_nitrate"]
    low, high = NITRATE_USUAL
    if low - FRACTION_TOLERANCE <= nitrate <= high + FRACTION_TOLERANCE:
        return ()
    return (
        f"{100 * nitrate:.1f} % potassium nitrate is outside {100 * low:.0f}-{100 * high:.0f} %: "
        "burn rates and equilibrium are not checked there.",
    )


def theoretical_density(parts: Mapping[str, float]) -> float:
    """Density of the blend without any void: one over the sum of share over density.

    Parameters
    ----------
    parts : mapping of str to float
        Mass fraction of each ingredient [-].

    Returns
    -------
    float
        Density [kg/m³].

    Raises
    ------
    BlendError
        As `check_blend`.

    Notes
    -----
    Of the crystals at room temperature; a cast sugar is partly glass, a percent or so lighter.

    References
    ----------
    Volumes add; crystal densities by the source of each `Ingredient`.

    Examples
    --------
    >>> round(theoretical_density({"potassium_nitrate": 0.65, "sorbitol": 0.35}))
    1841
    """
    return 1 / math.fsum(f / INGREDIENTS[key].density for key, f in check_blend(parts).items())


def oxygen_balance(parts: Mapping[str, float], to: Literal["K2O", "none"] = "K2O") -> float:
    """Oxygen left over when carbon burns to CO2 and hydrogen to H2O, per mass of blend.

    Parameters
    ----------
    parts : mapping of str to float
        Mass fraction of each ingredient [-]; a single ingredient alone is taken too.
    to : str
        'K2O': potassium takes half an oxygen atom each (K2CO3 gives the same balance, being K2O + CO2);
        'none': potassium takes none.

    Returns
    -------
    float
        Oxygen balance as a mass fraction [-]; negative when oxygen is short.

    Raises
    ------
    BlendError
        As `check_blend`, except that one ingredient alone is allowed; or for another convention.

    Notes
    -----
    A count of atoms; it says nothing of how the blend burns.

    References
    ----------
    Usual definition, e.g. J. Akhavan, The Chemistry of Explosives (from memory).

    Examples
    --------
    >>> round(100 * oxygen_balance({"potassium_nitrate": 1.0}), 1)
    39.6
    >>> round(100 * oxygen_balance({"sucrose": 1.0}), 1)
    -112.2
    """
    if to not in ("K2O", "none"):
        raise BlendError("to", f"'{to}' is no convention of the oxygen balance.", "Use 'K2O' or 'none'.")
    blend = {lookup(n).key: f for n, f in parts.items()} if len(parts) == 1 else check_blend(parts)
    if abs(math.fsum(blend.values()) - 1) > FRACTION_TOLERANCE:
        raise BlendError("parts", "the shares do not sum to 100 %.", "Change one so that they do.")
    need = {"C": 2.0, "H": 0.5, "K": 0.5 if to == "K2O" else 0.0, "O": -1.0, "N": 0.0}
    oxygen = 0.0
    for key, fraction in blend.items():
        item = INGREDIENTS[key]
        atoms = -sum(need[atom] * count for atom, count in item.elements.items())
        oxygen += fraction * atoms * ATOMIC_MASS["O"] / 1000 / item.molar_mass
    return oxygen


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
    resolution : float
        Step of the scale [kg].
    """

    masses: dict[str, float]
    fresh_mass: float
    remelt_mass: float
    total_mass: float
    target: dict[str, float]
    realised: dict[str, float]
    deviation: float
    resolution: float


def scale(parts: Mapping[str, float], mass: float, resolution: float) -> ScaledRecipe:
    """Scale a formula to a batch in whole steps of the scale.

    Parameters
    ----------
    parts : mapping of str to float
        Mass fraction of each ingredient [-].
    mass : float
        Batch wanted [kg].
    resolution : float
        Smallest step of the scale [kg].

    Returns
    -------
    ScaledRecipe
        Masses [kg] summing to the batch rounded to the scale, and the shares realised [-].

    Raises
    ------
    BlendError
        As `check_blend`.
    OutOfRange
        If the mass or the resolution is not positive, or an ingredient falls below one step of the scale.

    Notes
    -----
    Rounded by largest remainder, so that the sum is exact and no ingredient is off by a whole step.

    References
    ----------
    Largest remainder (Hamilton's) method of apportionment.

    Examples
    --------
    >>> recipe = scale({"KNO3": 0.65, "sorbitol": 0.28, "sucrose": 0.07}, mass=0.400, resolution=0.001)
    >>> [round(1000 * m) for m in recipe.masses.values()]
    [260, 112, 28]
    """
    blend = check_blend(parts)
    _positive("mass", mass, "kg")
    _positive("resolution", resolution, "kg")
    wanted = {key: fraction * mass for key, fraction in blend.items()}
    return _weigh_out(blend, wanted, {}, round(mass / resolution), resolution)


def scale_with_remelt(
    parts: Mapping[str, float],
    mass: float,
    resolution: float,
    remelts: Iterable[tuple[Mapping[str, float], float]],
    limit: float = 0.15,
) -> ScaledRecipe:
    """Scale a formula to a batch that takes in leftovers, so that the whole melt meets the formula.

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
        Fresh masses [kg]; the shares realised [-] are those of the whole melt.

    Raises
    ------
    BlendError
        If a remelt brings more of an ingredient than the batch needs, or as `check_blend`.
    OutOfRange
        If the remelt is more than the limit, or as `scale`.

    Notes
    -----
    A remelt is taken to be what its own formula says: losses of water on heating are not counted.

    References
    ----------
    About 15 % of remelt: common practice, no source.

    Examples
    --------
    >>> blend = {"potassium_nitrate": 0.65, "sorbitol": 0.35}
    >>> leftover = {"potassium_nitrate": 0.60, "sorbitol": 0.40}
    >>> recipe = scale_with_remelt(blend, 0.400, 0.001, [(leftover, 0.040)])
    >>> [round(1000 * m) for m in recipe.masses.values()]
    [236, 124]
    """
    blend = check_blend(parts)
    _positive("mass", mass, "kg")
    _positive("resolution", resolution, "kg")
    if not (math.isfinite(limit) and 0 <= limit <= 1):
        raise OutOfRange("limit", f"a remelt limit of {limit} is not a share.", "Give a number from 0 to 1.")
    brought: dict[str, float] = {}
    remelt = 0.0
    for composition, amount in remelts:
        if not math.isfinite(amount) or amount < 0:
            raise OutOfRange("remelts", f"a remelt of {amount} kg is not possible.", "Give its mass.")
        remelt += amount
        for key, fraction in check_blend(composition).items():
            brought[key] = brought.get(key, 0.0) + fraction * amount
    if remelt > limit * mass * (1 + FRACTION_TOLERANCE):
        raise OutOfRange(
            "remelts",
            f"{1000 * remelt:.1f} g of remelt is {100 * remelt / mass:.1f} % of the batch; "
            f"the limit is {100 * limit:.0f} %.",
            f"Use at most {1000 * limit * mass:.1f} g"
            + (f", or make a batch of {1000 * remelt / limit:.0f} g or more." if limit else "."),
        )
    for key, amount in brought.items():
        need = blend.get(key, 0.0) * mass
        if amount > need + resolution / 2:
            name = INGREDIENTS[key].name.lower()
            way = (
                f"Use at most {1000 * remelt * need / amount:.1f} g of it, or make a batch of "
                f"{1000 * amount / blend[key]:.0f} g or more."
                if need
                else "Keep it for a batch whose formula has it."
            )
            raise BlendError(
                "remelts",
                f"the remelt brings {1000 * amount:.1f} g of {name}; the batch needs {1000 * need:.1f} g.",
                way,
            )
    wanted = {key: max(fraction * mass - brought.get(key, 0.0), 0.0) for key, fraction in blend.items()}
    return _weigh_out(blend, wanted, brought, round((mass - remelt) / resolution), resolution)


def _weigh_out(
    blend: dict[str, float],
    wanted: dict[str, float],
    brought: dict[str, float],
    steps: int,
    resolution: float,
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
                f"{INGREDIENTS[key].name} comes to {1000 * wanted[key]:.3f} g, less than one step of the "
                f"scale ({1000 * resolution:g} g).",
                "Use a finer scale or a larger batch.",
            )
    masses = {key: count * resolution for key, count in counts.items()}
    fresh = sum(counts.values()) * resolution
    remelt = math.fsum(brought.values())
    total = fresh + remelt
    keys = [*blend, *(key for key in brought if key not in blend)]
    realised = {key: (masses.get(key, 0.0) + brought.get(key, 0.0)) / total for key in keys}
    deviation = max(abs(realised[key] - blend.get(key, 0.0)) for key in keys)
    return ScaledRecipe(masses, fresh, remelt, total, blend, realised, deviation, resolution)


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
    _positive("density", density, "kg/m³")
    if not (math.isfinite(over_pour) and 0 <= over_pour <= 1):
        raise OutOfRange("over_pour", f"an over-pour of {over_pour} is odd.", "Give a share from 0 to 1.")
    if not math.isfinite(test_pieces) or test_pieces < 0:
        raise OutOfRange("test_pieces", f"a mass of {test_pieces} kg is not possible.", "Give 0 or more.")
    wanted = list(grains)
    if not wanted:
        raise GeometryError("grains", "no grain is asked for.", "Choose a grain pattern and how many.")
    for volume, count in wanted:
        if not (math.isfinite(volume) and volume > 0 and count > 0):
            raise GeometryError("grains", f"{count} grains of {volume} m³ cannot be cast.", "Check pattern and count.")
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
    Among sugars of one kind the larger share goes first. An order of work, not an instruction for safe work.

    References
    ----------
    Common practice, no source.

    Examples
    --------
    >>> order = to_melt_order({"potassium_nitrate": 0.65, "sucrose": 0.07, "sorbitol": 0.28})
    >>> [step.key for step in order]
    ['sorbitol', 'sucrose', 'potassium_nitrate', 'potassium_nitrate', 'potassium_nitrate']
    """
    blend = check_blend(parts)
    sugars = [key for key in blend if INGREDIENTS[key].kind == "sugar"]
    sugars.sort(key=lambda key: (not INGREDIENTS[key].sugar_alcohol, -blend[key]))
    steps = [MeltStep(key, blend[key], f"Melt the {INGREDIENTS[key].name.lower()}") for key in sugars]
    third = blend["potassium_nitrate"] / 3
    steps += [
        MeltStep("potassium_nitrate", third, f"Stir in the {place} third of the potassium nitrate")
        for place in ("first", "second", "last")
    ]
    return tuple(steps)


def _positive(field: str, value: float, unit: str) -> None:
    if not (math.isfinite(value) and value > 0):
        raise OutOfRange(field, f"{value} {unit} is not possible.", "Give a number above zero.")
