"""Blends: which shares are taken, how dense the blend is without voids, how much oxygen it is short of."""

import math
from collections.abc import Mapping
from typing import Literal

from app.calc.base.errors import BlendError
from app.calc.propellant.ingredients import ATOMIC_MASS, INGREDIENTS, lookup

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
