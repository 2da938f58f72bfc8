"""What a motor is computed from: its grains, case, nozzle and conditions, before anything is."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import radians

from app.calc.base.areas import ring_area
from app.calc.grain.geometry import AnyGrain
from app.models import Case, Formula, GrainPattern, Nozzle
from app.services.hardware import shapes
from app.services.hardware.shapes import Sized
from app.services.hardware.throats import Known

ROOM = 293.15
"""Grain temperature where nothing else is said [K]: 20 °C."""


USUAL_EXPANSION = 8.0
"""Exit over throat area of a nozzle not chosen yet [-]: near the best at sea level and 5 MPa."""


USUAL_HALF_ANGLE = radians(15)
"""Divergence where the nozzle's is not in the book [rad]: common practice, no source."""


AS_DESIGNED = "as designed"
"""What stands for the serial of a grain that is not cast yet."""


@dataclass(frozen=True)
class Burning:
    """A grain as the calculation sees it, its core [m]; volume [m3] and mass [kg] of the tube it sits in."""

    grain: AnyGrain
    geometry: str
    core_d: float
    tube_m3: float = 0.0
    tube_kg: float = 0.0


@dataclass(frozen=True)
class Setup:
    """Everything a prediction is made of; lengths in m, elevation in m, temperature in K."""

    formula: Formula
    grains: Sequence[Burning]
    case: Case
    nozzle: Nozzle | None
    throat_d: float
    exit_d: float
    elevation: float
    temperature: float
    serials: Sequence[str] = ()
    remarks: Sequence[str] = ()
    as_designed: bool = False
    throat_known: Known = field(default_factory=Known)


def burning(pattern: GrainPattern, sizes: Sized, mass: float, tube_od: float = 0.0, tube_mass: float = 0.0) -> Burning:
    """A grain of a pattern with its own mass [kg] and sizes; outer diameter and mass of its tube, or 0."""
    tube = max(ring_area(tube_od, sizes.outer_d_m), 0.0) * sizes.length_m
    return Burning(
        shapes.grain(pattern, sizes, mass), shapes.geometry_of(pattern).name, sizes.core_d_m, tube, tube_mass
    )
