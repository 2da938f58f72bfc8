"""Isentropic flow of an ideal gas with constant ratio of specific heats k, from rest through a throat."""

from math import sqrt

import numpy as np
from numpy.typing import ArrayLike

from app.calc.base.constants import R_UNIVERSAL, Floats, finite_array, positive, within
from app.calc.base.errors import OutOfRange

_K_REMEDY = "Take k from the blend's state; these gases lie near 1.04 to 1.25."


def ratio_of_heats(k: float) -> float:
    """Pass a ratio of specific heats that a gas can have.

    Parameters
    ----------
    k : float
        Ratio of specific heats [-].

    Returns
    -------
    float
        The same [-].

    Raises
    ------
    OutOfRange
        k outside 1.005 to 1.7.

    Notes
    -----
    Near 1 the formulas lose their digits; 5/3 is a gas of single atoms.

    References
    ----------
    Kinetic theory of gases.

    Examples
    --------
    >>> ratio_of_heats(1.13)
    1.13
    """
    return within("gamma", k, 1.005, 1.7, _K_REMEDY)


def flow_function(k: float) -> float:
    """Give Gamma, the constant of choked flow: c* = sqrt(R T) / Gamma.

    Parameters
    ----------
    k : float
        Ratio of specific heats [-].

    Returns
    -------
    float
        sqrt(k) (2/(k+1))**((k+1)/(2(k-1))) [-].

    Raises
    ------
    OutOfRange
        k outside 1.005 to 1.7.

    Notes
    -----
    Ideal gas, isentropic.

    References
    ----------
    Sutton & Biblarz, Rocket Propulsion Elements, eq. for c*.

    Examples
    --------
    >>> round(flow_function(1.4), 4)
    0.6847
    """
    ratio_of_heats(k)
    return float(sqrt(k) * (2 / (k + 1)) ** ((k + 1) / (2 * (k - 1))))


def characteristic_velocity(k: float, temperature: float, molar_mass: float) -> float:
    """Give c* of a gas from its state in the chamber.

    Parameters
    ----------
    k : float
        Ratio of specific heats [-].
    temperature : float
        Chamber temperature [K].
    molar_mass : float
        Of the whole system, condensed part included [kg/mol].

    Returns
    -------
    float
        c* [m/s].

    Raises
    ------
    OutOfRange
        A value that is not positive, or k outside 1.005 to 1.7.

    Notes
    -----
    Ideal gas, frozen.

    References
    ----------
    Sutton & Biblarz, Rocket Propulsion Elements.

    Examples
    --------
    >>> round(characteristic_velocity(1.137, 1600.0, 0.0399))
    908
    """
    positive("temperature", temperature, "Give the chamber temperature in kelvin.")
    positive("molar_mass", molar_mass, "Give it in kg/mol, for example 0.0399.")
    return sqrt(R_UNIVERSAL / molar_mass * temperature) / flow_function(k)


def critical_pressure_ratio(k: float) -> float:
    """Give the ratio of throat to chamber pressure when the throat is choked.

    Parameters
    ----------
    k : float
        Ratio of specific heats [-].

    Returns
    -------
    float
        (2/(k+1))**(k/(k-1)) [-].

    Raises
    ------
    OutOfRange
        k outside 1.005 to 1.7.

    Notes
    -----
    A throat is choked while ambient pressure is below this share of the chamber's.

    References
    ----------
    NACA Report 1135 (1953), eq. 44 for M = 1.

    Examples
    --------
    >>> round(critical_pressure_ratio(1.4), 4)
    0.5283
    """
    ratio_of_heats(k)
    return float((2 / (k + 1)) ** (k / (k - 1)))


def pressure_ratio(mach: ArrayLike, k: float) -> Floats:
    """Give static over stagnation pressure at a Mach number.

    Parameters
    ----------
    mach : array_like
        Mach number [-], any shape.
    k : float
        Ratio of specific heats [-].

    Returns
    -------
    ndarray
        p/p0 [-], same shape.

    Raises
    ------
    OutOfRange
        k outside 1.005 to 1.7.

    Notes
    -----
    Isentropic flow of an ideal gas.

    References
    ----------
    NACA Report 1135 (1953), eq. 44.

    Examples
    --------
    >>> round(float(pressure_ratio(2.0, 1.4)), 4)
    0.1278
    """
    ratio_of_heats(k)
    M = finite_array("mach", mach)
    return np.asarray((1 + (k - 1) / 2 * M**2) ** (-k / (k - 1)))


def area_ratio(mach: ArrayLike, k: float) -> Floats:
    """Give the area over the throat's area where the flow has a Mach number.

    Parameters
    ----------
    mach : array_like
        Mach number above zero [-], any shape.
    k : float
        Ratio of specific heats [-].

    Returns
    -------
    ndarray
        A/A* [-], same shape.

    Raises
    ------
    OutOfRange
        k outside 1.005 to 1.7, or a Mach number that is not positive.

    Notes
    -----
    Isentropic flow of an ideal gas.

    References
    ----------
    NACA Report 1135 (1953), eq. 80.

    Examples
    --------
    >>> round(float(area_ratio(2.0, 1.4)), 4)
    1.6875
    """
    ratio_of_heats(k)
    M = finite_array("mach", mach)
    if (M <= 0).any():
        raise OutOfRange("mach", "must be above zero.", "Gas at rest passes no throat.")
    return np.asarray((2 / (k + 1) * (1 + (k - 1) / 2 * M**2)) ** ((k + 1) / (2 * (k - 1))) / M)


def supersonic_mach(ratio: ArrayLike, k: ArrayLike) -> Floats:
    """Give the Mach number at an area ratio on the supersonic side.

    Parameters
    ----------
    ratio : array_like
        A/A*, at least 1 [-]; shapes broadcast.
    k : array_like
        Ratio of specific heats [-].

    Returns
    -------
    ndarray
        Mach number [-].

    Raises
    ------
    OutOfRange
        A ratio below 1, where no supersonic flow exists.

    Notes
    -----
    Newton's method on ln(A/A*); the result gives the ratio back within 1e-10.

    References
    ----------
    NACA Report 1135 (1953), eq. 80, inverted.

    Examples
    --------
    >>> round(float(supersonic_mach(4.2346, 1.4)), 3)
    3.0
    """
    eps = finite_array("area_ratio", ratio)
    if (eps < 1).any():
        raise OutOfRange("area_ratio", "is below 1: the exit is narrower than the throat.", "Swap or re-measure.")
    gamma = np.asarray(k, dtype=np.float64)
    shape = np.broadcast(eps, gamma).shape
    if eps.size == gamma.size == 1:
        eps, gamma = eps.reshape(())[()], gamma.reshape(())[()]  # numbers are quicker than arrays of one
    power = (gamma + 1) / (2 * (gamma - 1))
    goal = np.log(eps)
    near = np.sqrt(goal * (gamma + 1) / 2)  # ln(A/A*) in powers of M - 1, turned round
    mach = 1 + near + near * near * (1 / 6 + 2 / 3 * (gamma - 1) / (gamma + 1))
    goal = goal - power * np.log(2 / (gamma + 1))
    for _ in range(60):
        square = mach * mach
        swell = 1 + (gamma - 1) / 2 * square
        gap = power * np.log(swell) - np.log(mach) - goal
        slope = (square - 1) / (mach * swell)
        mach = np.maximum(mach - gap / np.maximum(slope, 1e-9), 1.0)
        if np.abs(gap).max() < 1e-12:
            break
    return np.asarray(mach).reshape(shape)


def exit_pressure_ratio(ratio: ArrayLike, k: ArrayLike) -> Floats:
    """Give exit over chamber pressure for an area ratio, flow attached.

    Parameters
    ----------
    ratio : array_like
        Exit over throat area, at least 1 [-].
    k : array_like
        Ratio of specific heats [-].

    Returns
    -------
    ndarray
        pe/pc [-].

    Raises
    ------
    OutOfRange
        A ratio below 1.

    Notes
    -----
    Full, supersonic flow.

    References
    ----------
    NACA Report 1135 (1953), eqs. 44 and 80.

    Examples
    --------
    >>> round(float(exit_pressure_ratio(4.2346, 1.4)), 5)
    0.02722
    """
    gamma = np.asarray(k, dtype=np.float64)
    mach = supersonic_mach(ratio, gamma)
    return np.asarray(np.exp(-gamma / (gamma - 1) * np.log1p((gamma - 1) / 2 * mach * mach)))


def area_ratio_at_pressure(ratio: ArrayLike, k: ArrayLike) -> Floats:
    """Give the area ratio at which the flow has expanded to a share of chamber pressure.

    Parameters
    ----------
    ratio : array_like
        p/pc, above 0 and at most the critical ratio [-].
    k : array_like
        Ratio of specific heats [-].

    Returns
    -------
    ndarray
        A/A* [-]; 1 where the ratio is critical or above (the flow leaves at the throat).

    Raises
    ------
    OutOfRange
        A ratio that is not above zero.

    Notes
    -----
    Isentropic flow of an ideal gas.

    References
    ----------
    Sutton & Biblarz, Rocket Propulsion Elements, eq. for the nozzle area ratio.

    Examples
    --------
    >>> round(float(area_ratio_at_pressure(0.02722, 1.4)), 3)
    4.235
    """
    pr = finite_array("pressure_ratio", ratio)
    if (pr <= 0).any():
        raise OutOfRange("pressure_ratio", "must be above zero.", "No nozzle expands to nothing.")
    gamma = np.asarray(k, dtype=np.float64)[()]
    cooled = (gamma - 1) / gamma * np.log(pr)  # ln(T/T0)
    square = np.maximum(np.expm1(-cooled) * 2 / (gamma - 1), 1.0)
    swell = 2 / (gamma + 1) * (1 + (gamma - 1) / 2 * square)
    return np.asarray(np.exp((gamma + 1) / (2 * (gamma - 1)) * np.log(swell)) / np.sqrt(square))
