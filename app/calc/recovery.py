"""Coming down under a parachute: how fast, and how large it must be."""

import math

from app.calc.constants import STANDARD_GRAVITY, positive


def descent_speed(mass: float, drag_coefficient: float, area: float, density: float = 1.225) -> float:
    """Steady speed under a parachute, V = sqrt(2 W / (C_D rho A)).

    Parameters
    ----------
    mass : float
        What hangs from it [kg].
    drag_coefficient : float
        On the area below [-].
    area : float
        Of the parachute, the basis of the coefficient [m²].
    density : float
        Of the air [kg/m³].

    Returns
    -------
    float
        Speed [m/s].

    Raises
    ------
    OutOfRange
        If an input is not positive.

    Notes
    -----
    Once steady; a parachute that opens fast is loaded far above this.

    References
    ----------
    NASA Glenn Research Center, 'Velocity During Recovery' (published page).

    Examples
    --------
    >>> round(descent_speed(0.0623, 0.75, 0.1484, 1.22), 2)
    3.0
    """
    for field, value in (("mass", mass), ("drag_coefficient", drag_coefficient), ("area", area), ("density", density)):
        positive(field, value, "Give a number above zero.")
    return math.sqrt(2 * mass * STANDARD_GRAVITY / (drag_coefficient * density * area))


def parachute_diameter(mass: float, drag_coefficient: float, speed: float, density: float = 1.225) -> float:
    """Diameter of a flat round parachute for a wanted descent speed.

    Parameters
    ----------
    mass : float
        What hangs from it [kg].
    drag_coefficient : float
        On the flat circle's area [-].
    speed : float
        Wanted [m/s].
    density : float
        Of the air [kg/m³].

    Returns
    -------
    float
        Diameter, laid flat [m].

    Raises
    ------
    OutOfRange
        If an input is not positive.

    Notes
    -----
    No allowance for a spill hole.

    References
    ----------
    NASA Glenn Research Center, 'Velocity During Recovery' (published page).

    Examples
    --------
    >>> round(parachute_diameter(0.0623, 0.75, 3.0, 1.22), 3)
    0.435
    """
    for field, value in (
        ("mass", mass),
        ("drag_coefficient", drag_coefficient),
        ("speed", speed),
        ("density", density),
    ):
        positive(field, value, "Give a number above zero.")
    area = 2 * mass * STANDARD_GRAVITY / (drag_coefficient * density * speed**2)
    return math.sqrt(4 * area / math.pi)
