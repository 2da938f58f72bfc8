"""What the gas does on its way along the cores, by conservation alone."""

from app.calc.base.constants import within
from app.calc.motor.isentropic import area_ratio, ratio_of_heats


def mach_in_port(port_to_throat: float, k: float) -> float:
    """Give the Mach number of the gas that leaves a core for a choked throat.

    Parameters
    ----------
    port_to_throat : float
        Area of the core over that of the throat, from 1.001 to 1e4 [-].
    k : float
        Ratio of specific heats [-].

    Returns
    -------
    float
        Mach number, below 1 [-].

    Raises
    ------
    OutOfRange
        A core no wider than the throat, or k outside 1.005 to 1.7.

    Notes
    -----
    Isentropic from the end of the core to the throat.

    References
    ----------
    NACA Report 1135 (1953), eq. 80, on its subsonic side.

    Examples
    --------
    >>> round(mach_in_port(2.0351, 1.4), 3)
    0.3
    """
    within("port_to_throat", port_to_throat, 1.001, 1e4, "Give the area of the core over that of the throat.")
    ratio_of_heats(k)
    from scipy.optimize import brentq  # here: it takes time to load, and the start needs it not

    return float(brentq(lambda mach: float(area_ratio(mach, k)) - port_to_throat, 1e-6, 1.0))


def head_excess(port_to_throat: float, k: float) -> float:
    """Give how much higher the pressure stands at the closed end of a core than at its open end.

    Parameters
    ----------
    port_to_throat : float
        Area of the core over that of the throat [-].
    k : float
        Ratio of specific heats [-].

    Returns
    -------
    float
        Pressure at the closed end over that at the open end, less one: k times Mach number squared [-].

    Raises
    ------
    OutOfRange
        As `mach_in_port`.

    Notes
    -----
    Momentum alone, in a core of one width into which gas enters at right angles: p1 = p2 + rho v2**2. It is greatest as
    the motor lights and fades as the core widens. The march of a motor holds one pressure and has none of it; nor is
    what the gas may strip from the wall in it.

    References
    ----------
    Conservation of momentum; Sutton & Biblarz, Rocket Propulsion Elements, on flow with addition of mass.

    Examples
    --------
    >>> [round(head_excess(ratio, 1.137), 3) for ratio in (1.5, 3.0, 6.0)]
    [0.221, 0.047, 0.011]
    """
    return k * mach_in_port(port_to_throat, k) ** 2
