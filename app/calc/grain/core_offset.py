"""A core cast off centre or askew: where it breaks through first, and what that does to the burning area.

The grain is cut into slices along its length. Each is a round core off centre, in closed form.
"""

from dataclasses import dataclass
from math import pi

import numpy as np

from app.calc.base.constants import Floats, finite_array
from app.calc.base.errors import GeometryError
from app.calc.grain.geometry import Grain, cross_section
from app.calc.grain.tabulated_grain import ShapedGrain

SLICES = 256
"""Slices along the grain [-]."""


@dataclass(frozen=True)
class CoreOffsetFault:
    """What a core cast askew does, beside the same grain with its core on the axis.

    Attributes
    ----------
    depth : ndarray
        Depths from zero until the last is gone [m], shape (N,).
    burning_area, intended_area : ndarray
        As cast, and with the core on the axis [m2], shape (N,).
    volume : ndarray
        Propellant left [m3], shape (N,).
    wall_bared : ndarray
        Share of the wall beside the grain that the core's flame has reached [-], shape (N,).
    breakthrough : float
        Depth at which the core first reaches the wall [m]; the web if it never does before.
    sliver_volume : float
        Propellant left then [m3].
    intended_web : float
        Depth at which the grain would be gone with its core on the axis [m].
    """

    depth: Floats
    burning_area: Floats
    intended_area: Floats
    volume: Floats
    wall_bared: Floats
    breakthrough: float
    sliver_volume: float
    intended_web: float


def core_offset_fault(
    grain: Grain, offset_a: float, offset_b: float, samples: int = 241, slices: int = SLICES
) -> CoreOffsetFault:
    """Burn a grain whose core stands off the axis by different amounts at its two ends.

    Parameters
    ----------
    grain : Grain
        The grain as it should be; its own `core_offset` is left aside.
    offset_a, offset_b : float
        Of the core's axis at each end, in one plane: opposite signs where it crosses the grain's axis [m].
    samples : int
        Even depths to look at; more are added where the wall is reached [-].
    slices : int
        Along the grain [-].

    Returns
    -------
    CoreOffsetFault
        Areas [m2] and volume [m3] over depth [m], and when the wall is bared.

    Raises
    ------
    GeometryError
        A core that would break through the side, or that does not burn.

    Notes
    -----
    Each slice is a round core off centre, in closed form, and loses its length as the ends burn; the burning area
    is exactly minus the volume's slope. The tilt enters by the offsets alone: its cosine, over 0.999 below 2.5
    degrees, is taken as one. When the wall is reached depends on burn rate: `numpy.interp(breakthrough,
    run.depth, run.time)` of a `MotorRun` gives the time; `askew` makes the grain that such a motor is built of.

    References
    ----------
    Area common to two circles, plane geometry.

    Examples
    --------
    >>> fault = core_offset_fault(Grain(0.04445, 0.01905, 0.0762, 0.169), 0.0, 0.002)
    >>> round(fault.intended_web * 1e3, 2), round(fault.breakthrough * 1e3, 2)
    (12.7, 10.99)
    """
    R, r = grain.outer_d / 2, grain.core_d / 2
    for field, offset in (("offset_a", offset_a), ("offset_b", offset_b)):
        finite_array(field, [offset])
        if r + abs(offset) >= R:
            raise GeometryError(field, "the core would break through the side.", "Measure the thinnest wall there.")
    if not grain.burns_core:
        raise GeometryError("burns_core", "a core that does not burn cannot break through.", "Give a burning core.")
    dz = grain.length / slices
    middle = (np.arange(slices) + 0.5) * dz
    offset_at = np.abs(offset_a + (offset_b - offset_a) * middle / grain.length)
    far, near = ((R + sign * offset_at - r) / (1 + grain.burns_outer) for sign in (1, -1))
    gone = np.full(slices, np.inf)  # where the end faces have passed a slice's middle
    if grain.burns_end_a:
        gone = np.minimum(gone, middle)
    if grain.burns_end_b:
        gone = np.minimum(gone, grain.length - middle)
    last = float(np.minimum(far, gone + dz / 2).max())

    def burned_to(x: Floats, offsets: Floats) -> tuple[Floats, Floats, Floats]:
        """Volume [m3], burning area [m2] and share of wall reached at depths x (N,)."""
        front = x[:, None]
        sizes = cross_section(R - front * grain.burns_outer, r + front, offsets)
        area, edge, rim = (np.broadcast_to(size, (x.size, slices)) for size in sizes)
        low, high = front * grain.burns_end_a, grain.length - front * grain.burns_end_b
        left = np.clip(np.minimum(middle + dz / 2, high) - np.maximum(middle - dz / 2, low), 0.0, dz)
        sides = ((edge + rim * grain.burns_outer) * left).sum(axis=1)
        ends = np.zeros_like(x)
        rows = np.arange(x.size)
        for burns, place in ((grain.burns_end_a, low), (grain.burns_end_b, high)):
            if burns:
                at = np.clip((np.broadcast_to(place, front.shape)[:, 0] / dz).astype(int), 0, slices - 1)
                ends += np.where((high > low)[:, 0], area[rows, at], 0.0)
        there = np.maximum(left.sum(axis=1), 1e-300)
        bared = ((1 - rim / np.maximum(2 * pi * (R - front * grain.burns_outer), 1e-300)) * left).sum(axis=1) / there
        return (area * left).sum(axis=1), sides + ends, np.where(left.any(axis=1), bared, 1.0)

    reached = near[near < gone]
    breakthrough = min(float(reached.min()) if reached.size else last, last)
    after = breakthrough + (last - breakthrough) * np.linspace(0.0, 1.0, 65) ** 2  # the edge falls steeply there
    depth = np.unique(np.concatenate([np.linspace(0.0, last, samples), after]))
    volume, burning, bared = burned_to(depth, offset_at)
    _, intended, _ = burned_to(depth, np.zeros(slices))
    sliver, _, _ = burned_to(np.array([breakthrough]), offset_at)
    return CoreOffsetFault(
        depth=depth,
        burning_area=burning,
        intended_area=intended,
        volume=volume,
        wall_bared=bared,
        breakthrough=breakthrough,
        sliver_volume=float(sliver[0]),
        intended_web=min((R - r) / (1 + grain.burns_outer), grain.length / max(grain.burning_ends, 1e-9)),
    )


def askew(grain: Grain, fault: CoreOffsetFault) -> ShapedGrain:
    """Make the grain that a fault was worked out for, to march a motor with it.

    Parameters
    ----------
    grain : Grain
        As given to `core_offset_fault` [m], [kg].
    fault : CoreOffsetFault
        What came of it.

    Returns
    -------
    ShapedGrain
        Volume [m3] and burning area [m2] over depth [m].

    Notes
    -----
    As `core_offset_fault`.

    References
    ----------
    `core_offset_fault`.

    Examples
    --------
    >>> grain = Grain(0.04445, 0.01905, 0.0762, 0.169)
    >>> made = askew(grain, core_offset_fault(grain, 0.0, 0.002))
    >>> round(made.volume / grain.volume, 9), made.web > grain.web
    (1.0, True)
    """
    volumes = np.minimum.accumulate(fault.volume)
    volumes[-1] = 0.0
    return ShapedGrain(
        name="core off centre",
        outer_d=grain.outer_d,
        length=grain.length,
        mass=grain.mass,
        burning_ends=grain.burning_ends,
        depths=fault.depth,
        volumes=volumes,
        areas=fault.burning_area,
        breakthrough=fault.breakthrough,
        burns_outer=grain.burns_outer,
    )
