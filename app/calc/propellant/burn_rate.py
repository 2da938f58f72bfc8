"""How fast a grain's surface regresses at a given pressure and temperature.

The published laws come in pressure bands, r = a P**n with P in MPa and r in mm/s, and neighbouring bands do
not quite meet. One rule makes each law continuous, and it holds everywhere in the book:

    Inside a band the law stands as printed. Only within 4 % of a joint between bands (`BLEND`, in ln P) it is
    blended: there ln r goes straight in ln P from the one printed line to the other.

So a law is a row of points (P, r) joined by straight lines on log-log paper: a printed line, a short blend, the
next printed line. Outside the tested range the end line is carried on and the pressure counts as out of range;
whoever uses it says so.

Every line must rise more slowly than pressure itself (n < 1). Then P/r rises with P throughout, and a motor
has exactly one pressure at which it is steady, negative exponents included. Where bands are left with a step
between them, a motor can have several such pressures; the rule above removes them. The width is so chosen that
no blend is steeper than 0.8 (it is 0.67), where pressure answers a change of the burning area fivefold: the widest
step needs 3.0 % for that.

How far the blends depart from what is printed. Pressure follows from P/r, so a departure of the rate is larger
there by about 1/(1 - n), n being the blend's. Outside these stretches both are zero.

    joint, MPa       blended, MPa    1/(1 - n)   rate             pressure
    sorbitol 0.807   0.775-0.840     1.20        -1.9, +0.0 %     -2.3, +0.0 %
    sorbitol 1.503   1.444-1.564     1.00        -0.0, +1.3 %     -0.0, +1.3 %
    sorbitol 3.792   3.643-3.947     3.00        -0.5, +2.8 %     -1.6, +7.2 %
    sorbitol 7.033   6.757-7.320     1.14        -1.6, +0.0 %     -1.9, +0.0 %
    dextrose 0.779   0.748-0.811     1.33        -1.5, +0.0 %     -2.0, +0.0 %
    dextrose 2.572   2.471-2.677     1.13        -0.0, +2.3 %     -0.0, +2.6 %
    dextrose 5.930   5.697-6.172     1.69        -2.2, +0.0 %     -3.7, +0.0 %
    dextrose 8.502   8.169-8.849     0.92        -0.0, +2.1 %     -0.0, +2.0 %

The first figure is the largest departure below what the bands print, the second above. The 7.2 % is the step
itself: just below 3.792 MPa the printed bands have two steady pressures so far apart for one motor, of which
the law as blended has one.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from app.calc.base.constants import ROOM_TEMPERATURE, Floats, finite_array, positive, within
from app.calc.base.errors import BlendError, CalcError, OutOfRange

SIGMA_P = 0.003
"""Assumed temperature sensitivity of the rate at constant pressure [1/K]; none is published for these blends.
The one public statement is that chamber pressure varies by 30 % from Swedish winter to Spanish summer (DARE, TU
Delft, seen; no temperatures given). Read as a ratio of 1.3 over 45 K (-10 to 35 C, an assumption), pressure grows by
ln 1.3 / 45 = 0.0058 per K, and the rate by (1 - n) of that: 0.0027 where n is 0.535 (KNO3/sorbitol, 3.8 to 7.0 MPa),
0.0058 where n is about 0 (1.5 to 3.8 MPa). Solid propellants in general lie at 0.001-0.009 (Sutton & Biblarz, quoted
second hand), 0.003 in the middle of their logarithms. A spread of 0.4 (`spread.Spread`) holds 0.0016 to 0.0058."""

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


@dataclass(frozen=True)
class BurnLaw:
    """A burn-rate law: points joined by straight lines in log-log.

    Attributes
    ----------
    name : str
        What to call it.
    pressures : tuple of float
        Pressures of the points, rising [Pa].
    rates : tuple of float
        Rates at them at the reference temperature [m/s].
    source : str
        Where it comes from.
    note : str
        What a reader must know, for example whose law was borrowed.
    borrowed : bool
        True if it was measured on another blend.
    sigma_p : float
        Temperature sensitivity of the rate at constant pressure [1/K].
    reference_temperature : float
        Temperature that the rates refer to [K].
    joints : tuple of float
        Pressures at which bands meet and are blended [Pa].

    Raises
    ------
    OutOfRange, CalcError
        Points that do not rise, or a line as steep as n = 1.

    Notes
    -----
    Valid between the first and the last pressure; beyond them the end line is carried on.

    References
    ----------
    G. P. Sutton, O. Biblarz, Rocket Propulsion Elements, chapter on solid propellant fundamentals.
    """

    name: str
    pressures: tuple[float, ...]
    rates: tuple[float, ...]
    source: str
    note: str = ""
    borrowed: bool = False
    sigma_p: float = SIGMA_P
    reference_temperature: float = ROOM_TEMPERATURE
    joints: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        for pressure, rate in zip(self.pressures, self.rates, strict=True):
            positive("pressures", pressure, "Give pressures in pascal.")
            positive("rates", rate, "Give rates in metres per second.")
        if len(self.pressures) < 2 or any(np.diff(self.pressures) <= 0):
            raise CalcError("pressures", "need at least two values that rise.", "Sort the points by pressure.")
        if max(self.exponents) >= 1:
            raise OutOfRange(
                "exponent",
                f"n = {max(self.exponents):.3f}: the rate would rise as fast as pressure or faster.",
                "No motor is steady with n of 1 or more; measure the law again or take a published one.",
            )
        within("sigma_p", self.sigma_p, -0.02, 0.02, "Solid propellants lie near 0.001 to 0.009 per kelvin.")
        positive("reference_temperature", self.reference_temperature, "Give it in kelvin.")

    @property
    def p_min(self) -> float:
        """Lowest tested pressure [Pa]."""
        return self.pressures[0]

    @property
    def p_max(self) -> float:
        """Highest tested pressure [Pa]."""
        return self.pressures[-1]

    @cached_property
    def log_points(self) -> tuple[Floats, Floats]:
        """Natural logarithms of the points' pressures [ln Pa] and rates [ln(m/s)]."""
        return np.log(self.pressures), np.log(self.rates)

    @cached_property
    def exponents(self) -> tuple[float, ...]:
        """Slope n of each line [-], one fewer than points."""
        log_p, log_r = self.log_points
        return tuple((np.diff(log_r) / np.diff(log_p)).tolist())

    def temperature_factor(self, temperature: float) -> float:
        """Tell how much faster the propellant burns at its own temperature than at the reference.

        Parameters
        ----------
        temperature : float
            Of the grain before firing [K].

        Returns
        -------
        float
            exp(sigma_p (T - T_ref)) [-].

        Raises
        ------
        OutOfRange
            Below 220 K or above 340 K.

        Notes
        -----
        sigma_p is an assumption until it has been measured.

        References
        ----------
        Sutton & Biblarz, Rocket Propulsion Elements: r = a P**n exp(sigma_p dT).

        Examples
        --------
        >>> round(published_law("sucrose").temperature_factor(303.15), 4)
        1.0305
        """
        within("temperature", temperature, 220.0, 340.0, "Give the grain's temperature before firing.", "temperature")
        return float(np.exp(self.sigma_p * (temperature - self.reference_temperature)))

    def rate(self, pressure: ArrayLike, temperature: float | None = None) -> Floats:
        """Give the rate of regression.

        Parameters
        ----------
        pressure : array_like
            Chamber pressure [Pa], any shape.
        temperature : float, optional
            Of the grain before firing [K]; the reference temperature if left out.

        Returns
        -------
        ndarray
            Rate [m/s], same shape.

        Raises
        ------
        CalcError
            A pressure is zero, negative or not a number.

        Notes
        -----
        Outside `p_min`..`p_max` the end line is carried on; ask `in_range`.

        References
        ----------
        The law's own `source`.

        Examples
        --------
        >>> law = published_law("sucrose")
        >>> round(float(law.rate(1e6)) * 1e3, 2)
        8.26
        """
        p = finite_array("pressure", pressure)
        if (p <= 0).any():
            raise OutOfRange("pressure", "must be above zero.", "Give absolute pressure in pascal.")
        log_p, log_r = self.log_points
        y = np.log(p)
        inner = np.interp(y, log_p, log_r)
        below = np.minimum(y - log_p[0], 0.0) * self.exponents[0]
        above = np.maximum(y - log_p[-1], 0.0) * self.exponents[-1]
        factor = 1.0 if temperature is None else self.temperature_factor(temperature)
        return np.asarray(np.exp(inner + below + above) * factor, dtype=np.float64)

    def in_range(self, pressure: ArrayLike) -> NDArray[np.bool_]:
        """Tell which pressures lie inside the tested range.

        Parameters
        ----------
        pressure : array_like
            Chamber pressure [Pa], any shape.

        Returns
        -------
        ndarray of bool
            True inside [-], same shape.

        Raises
        ------
        CalcError
            A pressure is not a number.

        Notes
        -----
        Both ends count as inside.

        References
        ----------
        The law's own `source`.

        Examples
        --------
        >>> published_law("sorbitol").in_range([5e4, 5e6]).tolist()
        [False, True]
        """
        p = finite_array("pressure", pressure)
        return (p >= self.p_min) & (p <= self.p_max)


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
