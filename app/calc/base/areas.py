"""Areas that every calculation shares."""

from math import pi


def ring_area(outer_d: float, inner_d: float = 0.0) -> float:
    """Give the area between two circles about one axis, or of one circle.

    Parameters
    ----------
    outer_d, inner_d : float
        Diameters [m].

    Returns
    -------
    float
        Area [m2].

    References
    ----------
    Plane geometry.

    Examples
    --------
    >>> round(ring_area(0.04445, 0.01905), 7)
    0.0012668
    """
    return pi / 4 * (outer_d**2 - inner_d**2)
