"""What would have to be changed of a motor or a rocket for a figure to become another: closed forms."""

from math import sqrt

from app.calc.base.constants import STANDARD_GRAVITY
from app.calc.propellant.burn_rate import BurnLaw


def throat_for(law: BurnLaw, peak: float, limit: float, throat_d: float) -> float:
    """Give the throat at which a motor's peak pressure is a limit.

    Parameters
    ----------
    law : BurnLaw
        Of the propellant.
    peak : float
        With the throat as it is [Pa].
    limit : float
        To be reached [Pa].
    throat_d : float
        As it is [m].

    Returns
    -------
    float
        Throat diameter [m].

    Raises
    ------
    CalcError
        A pressure that is not above zero.

    Notes
    -----
    Steady burning: P/r(P) times the throat's area is what the grains give, whatever the throat. It falls as the throat
    widens, for every n is below 1.

    References
    ----------
    Sutton & Biblarz, Rocket Propulsion Elements: steady chamber pressure.

    Examples
    --------
    >>> from app.calc.propellant.burn_laws import power_law
    >>> law = power_law(8.0, 0.5, 1e5, 1e7)
    >>> round(throat_for(law, 8e6, 2e6, 0.010), 4)
    0.0141
    """
    as_it_is, wanted = (pressure / float(law.rate(pressure)) for pressure in (peak, limit))
    return throat_d * sqrt(as_it_is / wanted)


def mass_for(speed: float, wanted: float, rail: float, mass: float) -> float:
    """Give the liftoff mass at which a rocket leaves its rail at a speed.

    Parameters
    ----------
    speed, wanted : float
        As it is, and as it should be [m/s].
    rail : float
        Length [m].
    mass : float
        At liftoff, as it is [kg].

    Returns
    -------
    float
        [kg]

    Notes
    -----
    The same mean push over the rail: v**2 = 2 L (F/m - g), upright, without drag.

    References
    ----------
    Newton's second law.

    Examples
    --------
    >>> round(mass_for(12.0, 13.0, 2.0, 5.0), 2)
    4.4
    """
    push = mass * (speed**2 / (2 * rail) + STANDARD_GRAVITY)
    return push / (wanted**2 / (2 * rail) + STANDARD_GRAVITY)
