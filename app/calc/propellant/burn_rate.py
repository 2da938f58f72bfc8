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

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from app.calc.base.constants import ROOM_TEMPERATURE, Floats, finite_array, positive, within
from app.calc.base.errors import CalcError, OutOfRange

SIGMA_P = 0.003
"""Assumed temperature sensitivity of the rate at constant pressure [1/K]; none is published for these blends.
The one public statement is that chamber pressure varies by 30 % from Swedish winter to Spanish summer (DARE, TU
Delft, seen; no temperatures given). Read as a ratio of 1.3 over 45 K (-10 to 35 C, an assumption), pressure grows by
ln 1.3 / 45 = 0.0058 per K, and the rate by (1 - n) of that: 0.0027 where n is 0.535 (KNO3/sorbitol, 3.8 to 7.0 MPa),
0.0058 where n is about 0 (1.5 to 3.8 MPa). Solid propellants in general lie at 0.001-0.009 (Sutton & Biblarz, quoted
second hand), 0.003 in the middle of their logarithms. A spread of 0.4 (`spread.Spread`) holds 0.0016 to 0.0058."""


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
        >>> from app.calc.propellant.burn_laws import published_law
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
        >>> from app.calc.propellant.burn_laws import published_law
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
        >>> from app.calc.propellant.burn_laws import published_law
        >>> published_law("sorbitol").in_range([5e4, 5e6]).tolist()
        [False, True]
        """
        p = finite_array("pressure", pressure)
        return (p >= self.p_min) & (p <= self.p_max)
