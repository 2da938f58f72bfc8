"""Motors laid out as arrays: what the march reads, and the geometry of all their grains at once."""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from app.calc.base.constants import Floats
from app.calc.grain.geometry import cross_section
from app.calc.grain.tabulated_grain import ShapedGrain
from app.calc.propellant.burn_rate import BurnLaw

_NO_KINK = 1e3  # ln P of a kink that no motor reaches, for laws with fewer than the widest


@dataclass(frozen=True)
class Arrays:
    """Motors as arrays: (M,) per motor, (M, G) per grain, (M, K) per kink of the burn law; SI throughout.

    Alike grains of a motor stand as one: sizes are those of each, `count` is how many, `mass` is of all of them. Where
    a motor has fewer kinds than another, the rest is padded with zero mass, count and length. `rate_scale` multiplies
    the burn rate (temperature, extra burning area); `law_*` describe ln r as a line plus a kink at each joint. `shape`
    is -1 for a hollow cylinder, else the number in `shapes` of a grain that stands in a table.
    """

    outer_r: Floats
    core_r: Floats
    offset: Floats
    length: Floats
    mass: Floats
    count: Floats
    ends: Floats
    burns_core: Floats
    burns_outer: Floats
    chamber_volume: Floats
    throat_d: Floats
    throat_growth: Floats
    exit_d: Floats
    c_star: Floats
    gamma: Floats
    flow_function: Floats
    nozzle_efficiency: Floats
    ambient: Floats
    igniter: Floats
    rate_scale: Floats
    law_origin: Floats
    law_level: Floats
    law_slope: Floats
    law_knots: Floats
    law_bends: Floats
    shape: Floats
    shapes: tuple[ShapedGrain, ...]

    def __len__(self) -> int:
        return len(self.throat_d)

    def rows(self, index: Any) -> "Arrays":
        """Pick motors by slice or index array."""
        picked = {f.name: getattr(self, f.name)[index] for f in fields(self) if f.name != "shapes"}
        return Arrays(**picked, shapes=self.shapes)

    def repeat(self, n: int) -> "Arrays":
        """Repeat each motor n times."""
        return self.rows(np.repeat(np.arange(len(self)), n))

    def changed(self, **values: Any) -> "Arrays":
        """Copy with some arrays replaced."""
        return replace(self, **values)


def law_arrays(laws: Sequence[BurnLaw]) -> dict[str, Floats]:
    """Describe burn laws as a line and its kinks.

    Parameters
    ----------
    laws : sequence of BurnLaw
        One for each motor.

    Returns
    -------
    dict of str to ndarray
        The `law_*` fields of `Arrays` [ln Pa], [ln(m/s)], [-], shapes (M,) and (M, K).

    Notes
    -----
    Laws with fewer kinks than the widest are padded with kinks that no motor reaches.

    References
    ----------
    `burn_rate`.

    Examples
    --------
    >>> from app.calc.propellant.burn_laws import published_law
    >>> law_arrays([published_law("sorbitol"), published_law("sucrose")])["law_bends"].shape
    (2, 8)
    """
    width = max(len(law.pressures) for law in laws) - 2
    knots = np.full((len(laws), width), _NO_KINK)
    bends = np.zeros((len(laws), width))
    for row, law in enumerate(laws):
        count = len(law.pressures) - 2
        knots[row, :count] = law.log_points[0][1:-1]
        bends[row, :count] = np.diff(law.exponents)
    return {
        "law_origin": np.array([law.log_points[0][0] for law in laws]),
        "law_level": np.array([law.log_points[1][0] for law in laws]),
        "law_slope": np.array([law.exponents[0] for law in laws]),
        "law_knots": knots,
        "law_bends": bends,
    }


def webs(a: Arrays) -> tuple[Floats, Floats]:
    """Give the depths at which each grain is gone and at which its core first reaches the outside.

    Parameters
    ----------
    a : Arrays
        Motors.

    Returns
    -------
    web, breakthrough : tuple of ndarray
        [m], shapes (M, G), of each kind of grain; zero for a padded one.

    Notes
    -----
    As `Grain.web` and `Grain.breakthrough`, over arrays; of a shaped grain, its table's.

    References
    ----------
    Plane geometry.

    Examples
    --------
    >>> from app.calc.motor.assembly import example, motor_arrays
    >>> webs(motor_arrays([example()]))[0].round(4).tolist()
    [[0.0127]]
    """
    sides = a.burns_core + a.burns_outer
    divisor, ends = np.maximum(sides, 1.0), np.maximum(a.ends, 1.0)
    radial = np.where(sides > 0, (a.outer_r + a.offset - a.core_r) / divisor, np.inf)
    near = np.where(sides > 0, (a.outer_r - a.offset - a.core_r) / divisor, np.inf)
    axial = np.where(a.ends > 0, a.length / ends, np.inf)
    web = np.where(a.mass > 0, np.minimum(radial, axial), 0.0)
    near = np.minimum(near, web)
    for number, shaped in enumerate(a.shapes):
        web = np.where(a.shape == number, shaped.web, web)
        near = np.where(a.shape == number, shaped.breakthrough, near)
    return web, near


def regressed(a: Arrays, web: Floats, x: Floats) -> tuple[Floats, Floats]:
    """Give what is left of one grain of each kind, and how much of it burns, after each face has moved by x.

    Parameters
    ----------
    a : Arrays
        Motors.
    web : ndarray
        From `webs` [m], (M, G).
    x : ndarray
        Depths burned [m], (N, M): motors last, as the march has them.

    Returns
    -------
    volume, burning_area : tuple of ndarray
        [m3], [m2], shape (G, N, M); nothing from the web on.

    Notes
    -----
    As `grain.remaining_volume` and `grain.burning_area`, over arrays.

    References
    ----------
    Plane geometry.

    Examples
    --------
    >>> from app.calc.motor.assembly import example, motor_arrays
    >>> a = motor_arrays([example()])
    >>> volume, area = regressed(a, webs(a)[0], np.array([[0.0]]))
    >>> round(float(volume[0, 0, 0]) * 1e6, 2), round(float(area[0, 0, 0]) * 1e4, 2)
    (96.53, 70.94)
    """

    def each(values: Floats) -> Floats:
        return values.T[:, None]

    ends, burns_core, burns_outer = each(a.ends), each(a.burns_core), each(a.burns_outer)
    area, port_edge, outer_edge = cross_section(
        each(a.outer_r) - x * burns_outer, each(a.core_r) + x * burns_core, each(a.offset)
    )
    left = (x < each(web)).astype(np.float64)
    length = left * (each(a.length) - x * ends)
    volume = area * length
    burning = (port_edge * burns_core + outer_edge * burns_outer) * length + area * (ends * left)
    for number, shaped in enumerate(a.shapes):
        rows, columns = np.nonzero(a.shape == number)
        if rows.size:
            volume[columns, :, rows] = shaped.remaining_volume(x[:, rows].T)
            burning[columns, :, rows] = shaped.burning_area(x[:, rows].T)
    return volume, burning


def choking_pressure(a: Arrays) -> Floats:
    """Give the chamber pressure above which the throat is choked.

    Parameters
    ----------
    a : Arrays
        Motors.

    Returns
    -------
    ndarray
        [Pa], shape (M,).

    Notes
    -----
    Zero in a vacuum.

    References
    ----------
    NACA Report 1135 (1953), eq. 44 for M = 1.

    Examples
    --------
    >>> from app.calc.motor.assembly import example, motor_arrays
    >>> round(float(choking_pressure(motor_arrays([example()]))[0]) / 1e6, 3)
    0.176
    """
    g = a.gamma
    return np.asarray(a.ambient * ((g + 1) / 2) ** (g / (g - 1)))
