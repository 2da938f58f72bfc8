"""A motor in pictures: cut along its axis, and its burn in steps, from what a prediction keeps of it."""

from dataclasses import replace
from functools import lru_cache
from typing import Literal

from markupsafe import Markup

from app.drawings.burn_stages import BurningGrain, Stage, burn_stages
from app.drawings.motor_cut import CutGrain, CutNozzle, MotorCut
from app.drawings.motor_section import motor_section
from app.drawings.small_motor import small_motor
from app.models import Workshop
from app.services.learning.prediction_record import GrainInput, PredictionRecord
from app.services.motors import burn
from app.services.motors.builds import Built
from app.services.motors.motor_setup import AS_DESIGNED, USUAL_HALF_ANGLE
from app.units import UnitSystem, number, show

# A stored prediction is never rewritten, so its pictures stay: each is drawn once while the book is open.
_section = lru_cache(maxsize=128)(motor_section)
_stages = lru_cache(maxsize=128)(burn_stages)
_small = lru_cache(maxsize=256)(small_motor)

IN_LIST = 26.0
"""A motor of the list is drawn at [em/m]: a long one does not push the other columns together."""


def section(predicted: PredictionRecord, house: Workshop) -> Markup:
    """The motor to scale, its port over the throat told where the gas leaves the last core."""
    inputs, units = predicted.inputs, house.units
    ratio = predicted.port_to_throat

    def long(si: float, decimals: int = 1) -> str:
        return number(si, "length", units, decimals)

    cores = {round(one.core_d_m, 6) for one in inputs.grains}
    cut = MotorCut(
        inner_d_m=inputs.case.inner_d_m,
        outer_d_m=inputs.case.outer_d_m,
        room_m=inputs.case.chamber_length_m,
        grains=tuple(_grain(one, inputs.ideal_density_kg_m3, units) for one in inputs.grains),
        nozzle=CutNozzle(
            inputs.throat_d_m,
            inputs.exit_d_m,
            inputs.half_angle_rad if abs(inputs.half_angle_rad - USUAL_HALF_ANGLE) > 1e-9 else None,
            throat_words=f"Ø {long(inputs.throat_d_m, 2)}",
            exit_words=f"Ø {long(inputs.exit_d_m)}",
        ),
        gap_m=house.grain_gap_m,
        outer_words=f"Ø {long(inputs.case.outer_d_m)}",
        room_words=show(inputs.case.chamber_length_m, "length", units, 1),
        core_words=f"Ø {long(cores.pop())}" if len(cores) == 1 else "",
        port_words=_port_words(predicted, house.least_port_to_throat),
        port_doubt=ratio is not None and ratio < house.least_port_to_throat,
    )
    return _section(replace(cut, free_words=long(max(cut.free_m, 0.0))))


def _grain(one: GrainInput, ideal: float, units: UnitSystem) -> CutGrain:
    share = one.mass_kg / (burn.volume_of(one) * ideal)
    designed = one.serial == AS_DESIGNED
    return CutGrain(
        one.outer_d_m,
        one.core_d_m,
        one.length_m,
        "" if designed else one.serial,
        share,
        "" if designed else f"{share * 100:.1f} %",
        number(one.length_m, "length", units, 1),
        state="to cast" if designed else "",
    )


def _port_words(predicted: PredictionRecord, mark: float) -> str:
    """The port over the throat, the workshop's mark where it lies below, and what momentum makes of it."""
    ratio, excess = predicted.port_to_throat, burn.front_excess(predicted)
    if ratio is None:
        return ""
    below = f", below {mark:g}" if ratio < mark else ""
    pushed = f": +{100 * excess:.0f} % at the front" if excess is not None else ""
    return f"Port {ratio:.2f} × throat{below}{pushed}"


def burning(predicted: PredictionRecord, house: Workshop) -> Markup | None:
    """The burn at shares of the web, with surface and Kn; nothing for grains whose shape a prediction does not keep."""
    steps = burn.steps(predicted)
    if not steps:
        return None
    stages = [
        Stage(step.web_share, step.depth_m, step.kn, f"Kn {step.kn:.0f}", show(step.surface_m2, "area", house.units, 0))
        for step in steps
    ]
    grains = [
        BurningGrain(
            one.outer_d_m,
            one.core_d_m,
            one.length_m,
            burns_end_a=one.burning_ends >= 1,
            burns_end_b=one.burning_ends == 2,
            burns_outer=one.burns_outer,
        )
        for one in predicted.inputs.grains
    ]
    return _stages(tuple(grains), tuple(stages), house.grain_gap_m, "The burn in four steps of the web")


def in_list(built: Built, gap_m: float) -> Markup:
    """A built motor without words, all of a list at one scale; its grains are filled while they are in it."""
    inside: Literal["ready", ""] = "ready" if built.state == "ready" else ""
    cut = MotorCut(
        inner_d_m=built.case.inner_d_m,
        outer_d_m=built.case.outer_d_m,
        room_m=built.case.chamber_length_m,
        grains=tuple(
            CutGrain(v.grain.outer_d_m, v.grain.core_d_m, v.grain.length_m, state=inside) for v in built.grains
        ),
        nozzle=CutNozzle(built.build.throat_d_m, built.build.exit_d_m, built.nozzle.divergence_rad),
        gap_m=gap_m,
    )
    return _small(cut, f"{built.build.code} cut along its axis", "", IN_LIST)
