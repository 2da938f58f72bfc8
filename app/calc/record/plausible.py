"""How believable a reading of a record is before anything was predicted: by its specific impulse and its burn time."""

import math

from app.calc.base.constants import STANDARD_GRAVITY, positive

LEAST_ISP = 40.0
"""Specific impulse below which a motor of this family did not burn whole, or was read in a wrong unit [s]: a choice."""

IDEAL_ISP = 165.0
"""Ideal specific impulse where a blend's own is not known [s]: of 65/35 sorbitol at 68 atm, rounded up."""

OVER = 1.03
"""Times the ideal above which nothing can be [-]: what scales and masses are off by."""

BURNS = (0.05, 60.0)
"""Burn times that a motor of this family can have [s]: a choice. Units of time are farther apart than most burns."""

_USUAL, _SPREAD = 0.72, 0.3  # of the ideal that small motors of this family usually give, and its spread by ratio
_LASTS, _BURN_SPREAD = 1.5, 1.4  # usual burn time [s] and its spread by ratio, as a logarithm
_CANNOT = 1e3  # far below all that can be
_AS_PREDICTED = 0.2  # spread about a prediction, as a logarithm


def can_be(specific_impulse: float, ideal: float | None = None) -> bool:
    """Tell whether a motor of this family can have given a specific impulse.

    Parameters
    ----------
    specific_impulse : float
        As it comes out of a record [s].
    ideal : float, optional
        Of the blend [s]; without it, of a usual one.

    Returns
    -------
    bool
        Whether it lies from 40 s to 3 % above the ideal.

    Notes
    -----
    40 s: a choice. 3 %: what scales and weighed masses may be off by.

    References
    ----------
    No nozzle gives more than the ideal expansion of its gas: Sutton & Biblarz (from memory).

    Examples
    --------
    >>> can_be(120.0, 160.0), can_be(12.0, 160.0), can_be(170.0, 160.0)
    (True, False, False)
    """
    return LEAST_ISP <= specific_impulse <= OVER * (ideal or IDEAL_ISP)


def likelihood(
    impulse: float | None,
    mass: float,
    ideal: float | None = None,
    burn_time: float | None = None,
    predicted: float | None = None,
) -> float:
    """Weigh how likely a reading of a record is, to compare it with another one.

    Parameters
    ----------
    impulse : float or None
        Total impulse as read [N s]; None where the scale is not known.
    mass : float
        Of the propellant [kg].
    ideal : float, optional
        Specific impulse of the blend without loss [s].
    burn_time : float, optional
        As read [s]; only where the unit of time is open too.
    predicted : float, optional
        Impulse that was predicted [N s].

    Returns
    -------
    float
        A logarithm, higher is likelier [-].

    Raises
    ------
    OutOfRange
        An impulse, mass or burn time that is not above zero.

    Notes
    -----
    Distances by ratio from 0.72 of the ideal, from a burn of 1.5 s and from the prediction, squared over their spreads.
    A specific impulse that cannot be stands below an unknown scale, and a burn time that cannot be below both.

    References
    ----------
    Normal distributions of logarithms; their middles and spreads: a choice, from what small motors of this family give
    (from memory).

    Examples
    --------
    >>> likelihood(600.0, 0.5) > likelihood(600.0 * 4.448, 0.5), likelihood(600.0, 0.5) > likelihood(600.0 / 9.807, 0.5)
    (True, True)
    """
    score = 0.0
    if burn_time is not None:
        longer = math.log(positive("burn_time", burn_time, "Read it otherwise.") / _LASTS)
        score -= 0.5 * (longer / _BURN_SPREAD) ** 2 + (0.0 if BURNS[0] <= burn_time <= BURNS[1] else 5 * _CANNOT)
    if impulse is None:
        return score - 0.5 * _CANNOT
    best = ideal or IDEAL_ISP
    isp = positive("impulse", impulse, "Read it otherwise.") / (
        STANDARD_GRAVITY * positive("mass", mass, "Weigh the grains.")
    )
    score -= 0.5 * (math.log(isp / (_USUAL * best)) / _SPREAD) ** 2 + (0.0 if can_be(isp, ideal) else _CANNOT)
    if predicted:
        score -= 0.5 * (math.log(impulse / predicted) / _AS_PREDICTED) ** 2
    return score
