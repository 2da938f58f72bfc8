"""Burn laws as published, and the law that a blend goes by: its own, or the nearest one borrowed."""

import math
from collections.abc import Mapping
from dataclasses import replace

from app.calc.base.constants import positive, within
from app.calc.base.errors import BlendError, OutOfRange
from app.calc.propellant.burn_rate import SIGMA_P, BurnLaw

BLEND = 0.04
"""Half the width of the blend at a joint between bands [-], in ln P: this book's own choice."""


_STRANDS = "R. Nakka, 'KN-Dextrose & KN-Sorbitol Burn rate Experimentation' (from memory)"


_SUCROSE_SOURCE = "R. Nakka, burn rate of 65/35 KN-sucrose (from memory; its tested range is assumed)"


# band edges [MPa], then (a, n) of each band for P in MPa and r in mm/s
_BANDS: dict[str, tuple[tuple[float, ...], tuple[tuple[float, float], ...], str]] = {
    "sorbitol": (
        (0.103, 0.807, 1.503, 3.792, 7.033, 10.67),
        ((10.708, 0.625), (8.763, -0.314), (7.852, -0.013), (3.907, 0.535), (9.653, 0.064)),
        _STRANDS,
    ),
    "dextrose": (
        (0.103, 0.779, 2.572, 5.930, 8.502, 11.20),
        ((8.875, 0.619), (7.553, -0.009), (3.841, 0.688), (17.20, -0.148), (4.775, 0.442)),
        _STRANDS,
    ),
    "sucrose": ((0.103, 10.3), ((8.26, 0.319),), _SUCROSE_SOURCE),
}


# which published law stands nearest to a sugar that has none: alcohols, single and double sugars
_NEAREST = {
    "sorbitol": "sorbitol",
    "mannitol": "sorbitol",
    "xylitol": "sorbitol",
    "erythritol": "sorbitol",
    "maltitol": "sorbitol",
    "isomalt": "sorbitol",
    "dextrose": "dextrose",
    "fructose": "dextrose",
    "sucrose": "sucrose",
    "lactose": "sucrose",
    "maltose": "sucrose",
}


_NITRATE = "potassium_nitrate"


_PUBLISHED_NITRATE = 0.65


_SAME_BLEND = 0.005  # a published blend weighed out to half a per cent is still that blend


def _si(a: float, n: float, pressure: float) -> float:
    """Rate [m/s] at a pressure [Pa] from a law for MPa and mm/s: the one place where these are converted."""
    return float(a * (pressure / 1e6) ** n * 1e-3)


def power_law(
    a_mm_s: float, n: float, p_min: float, p_max: float, source: str = "own", sigma_p: float = SIGMA_P
) -> BurnLaw:
    """Make a law r = a P**n from the two numbers that people write down.

    Parameters
    ----------
    a_mm_s : float
        Rate at 1 MPa [mm/s].
    n : float
        Exponent [-].
    p_min, p_max : float
        Range it was measured over [Pa].
    source : str
        Where it comes from.
    sigma_p : float
        Temperature sensitivity [1/K].

    Returns
    -------
    BurnLaw
        Rates [m/s] over pressure [Pa].

    Raises
    ------
    OutOfRange
        A number is not positive, n is 1 or more, or below -1, or the range is empty.

    Notes
    -----
    Between p_min and p_max; carried on and marked beyond.

    References
    ----------
    Saint-Robert's or Vieille's law; Sutton & Biblarz, Rocket Propulsion Elements.

    Examples
    --------
    >>> round(float(power_law(8.26, 0.319, 1e5, 1e7).rate(2e6)) * 1e3, 3)
    10.304
    """
    positive("a_mm_s", a_mm_s, "Give the rate that the law has at the pressure it is written for.")
    within("n", n, -1.0, 0.999, "An exponent of 1 or more gives no steady motor.")
    positive("p_min", p_min, "Give the lowest tested pressure.")
    if not p_max > p_min:
        raise OutOfRange("p_max", "must be above p_min.", "Give the range that was tested.")
    rates = (_si(a_mm_s, n, p_min), _si(a_mm_s, n, p_max))
    name = f"power law of exponent {n:g}"
    return BurnLaw(name, (p_min, p_max), rates, source, sigma_p=sigma_p)


def published_law(sugar: str) -> BurnLaw:
    """Give the published law of a 65/35 blend: as printed inside its bands, blended at their joints.

    Parameters
    ----------
    sugar : str
        'sorbitol', 'dextrose' or 'sucrose' [-].

    Returns
    -------
    BurnLaw
        Rates [m/s] over pressure [Pa].

    Raises
    ------
    BlendError
        No law of that name is on record.

    Notes
    -----
    Tested from 0.103 to 10.67 MPa (sorbitol) and 11.20 MPa (dextrose). The module's docstring has the rule and
    what it moves.

    References
    ----------
    R. Nakka, 'KN-Dextrose & KN-Sorbitol Burn rate Experimentation' (from memory).

    Examples
    --------
    >>> law = published_law("sorbitol")
    >>> round(float(law.rate(5e6)) * 1e3, 4), round(3.907 * 5**0.535, 4)
    (9.2426, 9.2426)
    """
    if sugar not in _BANDS:
        raise BlendError("sugar", f"no published law for '{sugar}'.", f"Choose one of {', '.join(_BANDS)}.")
    edges, bands, source = _BANDS[sugar]
    pressures, rates = [edges[0]], [_si(*bands[0], edges[0] * 1e6)]
    for joint, left, right in zip(edges[1:-1], bands, bands[1:], strict=False):
        for band, side in ((left, math.exp(-BLEND)), (right, math.exp(BLEND))):
            pressures.append(joint * side)
            rates.append(_si(*band, joint * side * 1e6))
    pressures.append(edges[-1])
    rates.append(_si(*bands[-1], edges[-1] * 1e6))
    name, joints = f"65/35 potassium nitrate/{sugar}", tuple(1e6 * edge for edge in edges[1:-1])
    return BurnLaw(name, tuple(1e6 * p for p in pressures), tuple(rates), source, joints=joints)


def law_for_blend(parts: Mapping[str, float]) -> BurnLaw:
    """Choose the law for a blend: its own if published, else the nearest one, said to be borrowed.

    Parameters
    ----------
    parts : mapping of str to float
        Mass fraction [-] by ingredient, such as 'potassium_nitrate', 'sorbitol', 'sucrose', 'dextrose'.

    Returns
    -------
    BurnLaw
        With `borrowed` and `note` set where the blend is not one of the three 65/35 pairs.

    Raises
    ------
    BlendError
        No sugar in it, no nitrate in it, or none of its sugars has a law or a near relative.

    Notes
    -----
    The sugar with the largest fraction decides. A sugar without a law takes that of its kind: sugar alcohols
    sorbitol's, single sugars dextrose's, double sugars sucrose's. A borrowed law is a guess: prediction widens it.

    References
    ----------
    As `published_law`; the choice of the nearest is common practice, no source.

    Examples
    --------
    >>> law = law_for_blend({"potassium_nitrate": 0.65, "sorbitol": 0.28, "sucrose": 0.07})
    >>> law.borrowed, law.note.split(":")[0]
    (True, 'Borrowed')
    """
    for key, share in parts.items():
        within(key, share, 0.0, 1.0, "Give a mass fraction between 0 and 1.")
    nitrate = parts.get(_NITRATE, 0.0)
    sugars = {key: share for key, share in parts.items() if key != _NITRATE and share > 0}
    if nitrate <= 0 or not sugars:
        raise BlendError("parts", "a blend needs potassium nitrate and a sugar.", "Complete the formula.")
    known = {key: share for key, share in sugars.items() if key in _NEAREST}
    if not known:
        raise BlendError(
            "parts", f"no burn law is known near {', '.join(sugars)}.", "Measure one and enter it as a power law."
        )
    chief = max(known, key=lambda key: known[key])
    law = published_law(_NEAREST[chief])
    pair = len(sugars) == 1 and chief in _BANDS
    if pair and abs(nitrate - _PUBLISHED_NITRATE) <= _SAME_BLEND:
        return law
    mix = "/".join(f"{100 * share:.3g}" for share in (nitrate, *sugars.values()))
    names = "/".join(key.replace("_", " ") for key in (_NITRATE, *sugars))
    note = f"Borrowed: no law is published for {mix} {names}; the law of {law.name} stands in for it."
    return replace(law, borrowed=True, note=note)
