"""A launch as it is given: motor, rocket and pad, checked and laid out in arrays for `flight`."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from app.calc.base.atmosphere import ALTITUDES, air_column, warmer_than_standard
from app.calc.base.constants import STANDARD_GRAVITY, Floats, positive, within
from app.calc.base.errors import CalcError, OutOfRange
from app.calc.flight.ascent import Air, Batch, Curve, Push
from app.calc.flight.drag import drag_of
from app.calc.flight.recovery import Recovery, checked_recovery
from app.calc.flight.wind import wind_at

MAX_TILT = math.radians(20)
"""Largest tilt of the rail from vertical [rad]."""

HARDEST = 1000.0
"""Largest thrust over weight that is flown [-]; more is a slip of a unit."""

_LAYERS = 512


LONGEST_BURN, STRONGEST_THRUST = 600.0, 1e6
"""Beyond these a curve is a slip [s], [N]: 25 times the largest impulse class in a second."""


@dataclass(frozen=True)
class Motor:
    """What pushes.

    Attributes
    ----------
    time, thrust : array_like, shape (n,)
        Thrust curve, taken as straight between its points [s], [N].
    propellant_mass : float
        What burns [kg].
    impulse_scale, time_scale : array_like
        Of each flight, on the curve's impulse and on its duration [-].
    """

    time: ArrayLike
    thrust: ArrayLike
    propellant_mass: float
    impulse_scale: ArrayLike = 1.0
    time_scale: ArrayLike = 1.0


@dataclass(frozen=True)
class Rocket:
    """What is pushed.

    Attributes
    ----------
    dry_mass : array_like
        Everything but the propellant, with the empty motor [kg]; one, or one of each flight.
    diameter : float
        Largest body diameter [m].
    drag_coefficient : float
        On the reference area [-].
    drag_table : sequence of (float, float)
        Mach and coefficient [-]; used instead where given.
    reference_diameter, reference_area : float or None
        Basis of the coefficient [m], [m²]; the body's cross-section if neither is given.
    recovery : Recovery
        What opens, and when.
    drag_scale : array_like
        Of each flight, on the coefficient [-].
    """

    dry_mass: ArrayLike
    diameter: float
    drag_coefficient: float
    drag_table: Sequence[tuple[float, float]] = ()
    reference_diameter: float | None = None
    reference_area: float | None = None
    recovery: Recovery = field(default_factory=Recovery)
    drag_scale: ArrayLike = 1.0


@dataclass(frozen=True)
class Pad:
    """Where and when it is pushed.

    Attributes
    ----------
    rail_length : float
        Travel until the last guide leaves the rail [m].
    tilt : array_like
        Of the rail from vertical [rad]; with the wind where above zero, into it where below.
    elevation : float
        Of the field above sea level [m].
    temperature : float or None
        Air at the field [K]; standard if not given.
    wind : array_like
        Measured [m/s].
    wind_height : float
        Height of that measurement above the ground [m].
    turning : array_like
        Share of its turning into the wind off the rail, at once: 1 wholly, 0 along its path [-].
    """

    rail_length: float
    tilt: ArrayLike = 0.0
    elevation: float = 0.0
    temperature: float | None = None
    wind: ArrayLike = 0.0
    wind_height: float = 2.0
    turning: ArrayLike = 1.0


def batch_of(motor: Motor, rocket: Rocket, pad: Pad) -> tuple[Batch, Recovery]:
    """Check what is given and lay it out in arrays.

    Parameters
    ----------
    motor, rocket, pad : Motor, Rocket, Pad
        As their attributes say [SI].

    Returns
    -------
    tuple of Batch and Recovery
        Arrays of shape (N,) [SI], and what opens.

    Raises
    ------
    OutOfRange, GeometryError, CalcError
        If an input is impossible; each names the field.

    Notes
    -----
    Numbers given once hold for all flights.

    Examples
    --------
    >>> batch, _ = batch_of(Motor([0, 2], [400, 400], 0.7), Rocket([6.5, 7.0], 0.1, 0.5), Pad(2.0))
    >>> len(batch)
    2
    """
    t, force = _checked_curve(motor.time, motor.thrust)
    within("time", float(t[-1]), 0, LONGEST_BURN, "Check the times of the curve.")
    within("thrust", float(force.max()), 0, STRONGEST_THRUST, "Check the thrusts of the curve.")
    positive("propellant_mass", motor.propellant_mass, "Give a number above zero.")
    positive("rail_length", pad.rail_length, "Give a number above zero.")
    recovery = checked_recovery(rocket.recovery)
    drag = drag_of(
        rocket.diameter, rocket.drag_coefficient, rocket.drag_table, rocket.reference_diameter, rocket.reference_area
    )
    given = {
        "dry_mass": rocket.dry_mass,
        "drag_scale": rocket.drag_scale,
        "impulse_scale": motor.impulse_scale,
        "time_scale": motor.time_scale,
        "tilt": pad.tilt,
        "wind": pad.wind,
        "turning": pad.turning,
    }
    arrays = {name: np.atleast_1d(np.asarray(values, dtype=float)) for name, values in given.items()}
    length = max(len(values) for values in arrays.values())
    for name, values in arrays.items():
        if values.ndim != 1 or len(values) not in (1, length):
            raise CalcError(name, f"holds {values.size} numbers for {length} flights.", "Give one for each.")
        arrays[name] = np.broadcast_to(values, (length,)).astype(float)
        if name == "turning":
            for end in (values.min(), values.max()):
                within(name, float(end), 0, 1, "Give a share.")
        elif name not in ("tilt", "wind"):
            for end in (values.min(), values.max()):
                positive(name, float(end), "Give a number above zero.")
    if not (np.abs(arrays["tilt"]) <= MAX_TILT).all():
        worst = math.degrees(float(arrays["tilt"][int(np.abs(np.nan_to_num(arrays["tilt"], nan=9.0)).argmax())]))
        raise OutOfRange("tilt", f"{worst:.1f}° is too far from vertical.", "Use 20° or less.")
    wind_at(0.0, arrays["wind"], pad.wind_height)
    if pad.temperature is not None:
        warmer_than_standard(pad.temperature, pad.elevation)
    done = np.concatenate(([0.0], np.cumsum(np.diff(t) * (force[1:] + force[:-1]) / 2)))
    if done[-1] <= 0:
        raise OutOfRange("thrust", "there is no thrust in the curve.", "Give a curve of a motor that burns.")
    hardest = float((force.max() * arrays["impulse_scale"] / arrays["time_scale"] / arrays["dry_mass"]).max())
    if hardest > HARDEST * STANDARD_GRAVITY:
        raise OutOfRange(
            "thrust",
            f"it is {hardest / STANDARD_GRAVITY:.0f} times the rocket's weight, which nothing stands.",
            "Check thrust and mass.",
        )
    curve = Curve(t, force, done, arrays["impulse_scale"], arrays["time_scale"])
    spread = np.full(length, 1.0)
    batch = Batch(
        curve=curve,
        air=air_over(curve, motor.propellant_mass * spread, arrays["dry_mass"], arrays["wind"], pad),
        drag=drag,
        drag_scale=arrays["drag_scale"],
        propellant=motor.propellant_mass * spread,
        dry=arrays["dry_mass"],
        rail=pad.rail_length * spread,
        tilt=arrays["tilt"],
        turning=arrays["turning"],
    )
    return batch, recovery


def air_over(curve: Push, propellant: Floats, dry: Floats, wind: Floats, pad: Pad) -> Air:
    """The air from below the field to as high as any of the rockets would fly without it.

    Parameters
    ----------
    curve : Push
        What pushes each flight.
    propellant, dry : ndarray
        Of each flight [kg], shape (N,).
    wind : ndarray
        Measured, of each flight [m/s], shape (N,).
    pad : Pad
        Elevation [m], temperature [K], height of the wind's measurement [m].

    Returns
    -------
    Air
        A table over height [SI], and the wind.

    Notes
    -----
    As high as the rocket equation and a throw upwards reach; no higher than the standard's air.

    References
    ----------
    U.S. Standard Atmosphere, 1976: `atmosphere`.

    Examples
    --------
    >>> motor, rocket, pad = Motor([0, 2], [400, 400], 0.7), Rocket(6.5, 0.1, 0.5), Pad(2.0)
    >>> batch, _ = batch_of(motor, rocket, pad)
    >>> air_over(batch.curve, batch.propellant, batch.dry, np.zeros(1), pad).density[0].round(3).item()
    1.225
    """
    warmer = 0.0 if pad.temperature is None else warmer_than_standard(pad.temperature, pad.elevation)
    fastest = curve.total / propellant * np.log1p(propellant / dry)
    reach = float((fastest * curve.end + fastest**2 / (2 * STANDARD_GRAVITY)).max()) + 2 * pad.rail_length
    height = np.linspace(0.0, min(reach, ALTITUDES[1] - pad.elevation), _LAYERS)
    return Air(height, *air_column(pad.elevation + height, warmer), wind, pad.wind_height)


def _checked_curve(time: ArrayLike, thrust: ArrayLike) -> tuple[Floats, Floats]:
    t, force = np.asarray(time, dtype=float), np.asarray(thrust, dtype=float)
    if t.ndim != 1 or t.shape != force.shape or len(t) < 2:
        raise CalcError("time", "times and thrusts do not pair up.", "Give one thrust for each of two or more times.")
    if not (np.isfinite(t).all() and np.isfinite(force).all()):
        raise CalcError("thrust", "the curve has gaps.", "Remove the points without a number.")
    if t[0] < 0 or (np.diff(t) <= 0).any():
        raise CalcError("time", "times do not rise from zero.", "Sort the points and start at ignition.")
    if (force < 0).any():
        raise OutOfRange("thrust", "thrust falls below zero.", "Zero the curve first.")
    return t, force
