"""How a motor burns, from what was stored of it: surface and Kn along the web, and what the gas does in the cores."""

from dataclasses import dataclass

from app.calc.base.areas import ring_area
from app.calc.grain.geometries import HOLLOW_CYLINDER
from app.calc.grain.geometry import Grain, burning_area
from app.calc.motor.core_flow import head_excess
from app.services.learning.prediction_record import GrainInput, PredictionRecord

SHARES = (0.0, 0.25, 0.5, 0.75)
"""Shares of the web at which the burn is shown [-]."""


@dataclass(frozen=True)
class Step:
    """A moment of the burn: its share of the web [-], the depth burned [m], burning surface [m2] and Kn [-]."""

    web_share: float
    depth_m: float
    surface_m2: float
    kn: float


def steps(predicted: PredictionRecord) -> list[Step]:
    """The burn at shares of the thickest web; nothing for grains whose shape a prediction does not keep whole."""
    inputs = predicted.inputs
    if any(one.geometry != HOLLOW_CYLINDER.name for one in inputs.grains):
        return []
    grains = [_grain(one) for one in inputs.grains]
    web = max(grain.web for grain in grains)
    found = []
    for share in SHARES:
        surface = sum(float(burning_area(grain, share * web)) for grain in grains)
        throat = ring_area(inputs.throat_d_m + share * inputs.throat_growth_m)
        found.append(Step(share, share * web, surface, surface / throat))
    return found


def volume_of(one: GrainInput) -> float:
    """Propellant of a grain before it is lit [m3]."""
    return ring_area(one.outer_d_m, one.core_d_m) * one.length_m


def _grain(one: GrainInput) -> Grain:
    return Grain(
        one.outer_d_m,
        one.core_d_m,
        one.length_m,
        one.mass_kg,
        burns_end_a=one.burning_ends >= 1,
        burns_end_b=one.burning_ends == 2,
        burns_outer=one.burns_outer,
    )


def front_excess(predicted: PredictionRecord) -> float | None:
    """How much higher pressure stands at the front of the cores as the motor lights [-]; nothing where no core is."""
    ratio = predicted.port_to_throat
    return None if ratio is None or ratio < 1.001 else head_excess(ratio, predicted.inputs.gamma)
