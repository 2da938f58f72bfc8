"""Drag of a rocket: one coefficient, or a table over the Mach number, on a stated area."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite, pi

import numpy as np

from app.calc.base.constants import Floats, positive
from app.calc.base.errors import CalcError, GeometryError, OutOfRange
from app.calc.base.notes import Amount, Note

LARGEST = 5.0
FASTEST = 10.0


@dataclass(frozen=True)
class Drag:
    """Drag coefficient and the area it is based on.

    Attributes
    ----------
    coefficient : float
        At all speeds, where there is no table [-].
    area : float
        What the coefficient is based on [m²].
    basis : str
        That area in words.
    mach, table : ndarray, shape (n,)
        Mach numbers and coefficients [-]; empty without a table.
    """

    coefficient: float
    area: float
    basis: str
    mach: Floats
    table: Floats

    @property
    def tabled(self) -> bool:
        """Whether the coefficient follows the Mach number."""
        return len(self.mach) > 0

    def at(self, mach: Floats) -> Floats:
        """Coefficient at Mach numbers [-]: straight between the rows, the first and last row's beyond them."""
        if not self.tabled:
            return np.full_like(mach, self.coefficient)
        found: Floats = np.interp(mach, self.mach, self.table)
        return found


def drag_of(
    diameter: float,
    coefficient: float,
    table: Sequence[tuple[float, float]] = (),
    reference_diameter: float | None = None,
    reference_area: float | None = None,
) -> Drag:
    """Check a drag coefficient and put it together with the area it is based on.

    Parameters
    ----------
    diameter : float
        Largest body diameter [m]; its circle is the area unless another is given.
    coefficient : float
        Drag coefficient [-].
    table : sequence of (float, float)
        Mach number and coefficient, Mach rising [-]; used instead of the one coefficient where given.
    reference_diameter : float, optional
        Diameter whose circle the coefficient is based on [m].
    reference_area : float, optional
        Area the coefficient is based on [m²]; not together with a reference diameter.

    Returns
    -------
    Drag
        Area [m²] and coefficients [-].

    Raises
    ------
    GeometryError
        No such diameter, or two bases at once.
    OutOfRange
        A coefficient that no body has.
    CalcError
        A table whose Mach numbers do not rise.

    Notes
    -----
    Interpolation is straight between rows; beyond the first and the last row their coefficients hold.

    References
    ----------
    Definition: D = 1/2 rho v² C_D A.

    Examples
    --------
    >>> drag = drag_of(0.1, 0.5, table=[(0.3, 0.45), (0.9, 0.6)])
    >>> drag.at(np.array([0.0, 0.6, 2.0])).round(3).tolist()
    [0.45, 0.525, 0.6]
    """
    if not (isfinite(diameter) and diameter > 0):
        raise GeometryError(
            "diameter",
            Note("{size} is not possible.", {"size": Amount(diameter, "length")}),
            "Give the body's diameter.",
        )
    if not (isfinite(coefficient) and 0 <= coefficient <= LARGEST):
        raise OutOfRange("drag_coefficient", f"{coefficient} is odd.", "Usual values lie from 0.3 to 0.8.")
    if reference_diameter is not None and reference_area is not None:
        raise GeometryError("reference_area", "the coefficient has two bases.", "Give a diameter or an area.")
    area, basis = pi / 4 * diameter**2, "body cross-section"
    if reference_diameter is not None:
        positive("reference_diameter", reference_diameter, "Give the diameter the coefficient is based on.")
        area, basis = pi / 4 * reference_diameter**2, "circle of the reference diameter given"
    if reference_area is not None:
        positive("reference_area", reference_area, "Give the area the coefficient is based on.")
        area, basis = reference_area, "area given with it"
    return Drag(coefficient, area, basis, *_checked(table))


def _checked(table: Sequence[tuple[float, float]]) -> tuple[Floats, Floats]:
    mach = np.array([row[0] for row in table], dtype=float)
    found = np.array([row[1] for row in table], dtype=float)
    if not (np.isfinite(mach).all() and np.isfinite(found).all()):
        raise CalcError("drag_table", "a row is not a number.", "Fill in both numbers of each row.")
    if (np.diff(mach) <= 0).any():
        raise CalcError("drag_table", "the Mach numbers do not rise.", "Put the rows in order, each Mach once.")
    if (mach < 0).any() or (mach > FASTEST).any():
        raise OutOfRange("drag_table", f"Mach must lie from 0 to {FASTEST:g}.", "Check the rows.")
    if (found <= 0).any() or (found > LARGEST).any():
        raise OutOfRange("drag_table", f"coefficients lie above 0, up to {LARGEST:g}.", "Check the rows.")
    return mach, found
