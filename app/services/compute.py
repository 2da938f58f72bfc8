"""The compute API's verbs: the calculations that the pages use, on numbers instead of rows. Nothing is stored."""

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from math import isnan

import numpy as np
from pydantic import BaseModel

from app.calc import casing, graincheck, recipe, thermochem, uncertainty
from app.calc.atmosphere import atmosphere
from app.calc.burnrate import power_law
from app.calc.cores import polygon_core
from app.calc.coring import askew, coring_fault
from app.calc.errors import CalcError
from app.calc.grain import AnyGrain, Grain
from app.calc.motor import Motor, MotorRun, simulate
from app.calc.section import burn_back, prism
from app.calc.thermochem import BlendState
from app.models import api
from app.services import blends

Loc = tuple[str | int, ...]

_UNIT = re.compile(r"_(kg_m3|kg_mol|m3|m_s|kg|pa|rad|per_k|k|m)$")

_OTHER_NAMES = {
    "limit": "remelt_limit",
    "a_mm_s": "rate_at_1_mpa_m_s",
    "n": "exponent",
    "temperature": "initial_temperature_k",
    "motor": "throat_d_m",
    "total_impulse": "grains",
    "ingredient": "parts",
    "core": "core_outline_m",
    "corners": "core_outline_m",
    "offset_a": "core_offset_m",
    "offset_b": "core_offset_aft_m",
}
"""Arguments of calculations whose fault belongs to a field of another name."""


class Misfit(Exception):
    """An input that a calculation refuses: where it stands in the request, and what to do about it."""

    def __init__(self, loc: Loc, message: str, kind: str = "value_error") -> None:
        super().__init__(message)
        self.loc = loc
        self.message = message
        self.kind = kind


@contextmanager
def _placed(model: BaseModel, *loc: str | int) -> Iterator[None]:
    """Put a calculation's fault beside the field of the request that it means."""
    try:
        yield
    except CalcError as error:
        kind = re.sub(r"(?<=[a-z])(?=[A-Z])", "_", type(error).__name__).lower()
        raise Misfit((*loc, *_field(model, error.field)), f"{error.fault} {error.remedy}".strip(), kind) from error


def _field(model: BaseModel, argument: str) -> Loc:
    """The field of a request that answers to a calculation's argument."""
    wanted = _OTHER_NAMES.get(argument, argument)
    for name in type(model).model_fields:
        if name == wanted or _UNIT.sub("", name) == wanted:
            return (name,)
    parts = getattr(model, "parts", None) or {}
    if argument in parts:
        return ("parts", argument)
    return ("parts",) if parts else ()


def _blend(model: BaseModel, parts: Mapping[str, float], *loc: str | int) -> dict[str, float]:
    """A blend by ingredient keys, each ingredient's refusal beside its own name."""
    for name in parts:
        try:
            recipe.lookup(name)
        except CalcError as error:
            raise Misfit((*loc, "parts", name), f"{error.fault} {error.remedy}".strip(), "blend_error") from error
    with _placed(model, *loc):
        return recipe.check_blend(parts)


# --- Recipe, grain, blend, case ----------------------------------------------------------------


def scale(data: api.RecipeScaleIn) -> api.RecipeScaleOut:
    """Scale a formula to a batch.

    Raises
    ------
    Misfit
        An input that cannot be, with its place in the request.
    """
    blend = _blend(data, data.parts)
    remelts = [(_blend(r, r.parts, "remelts", i), r.mass_kg) for i, r in enumerate(data.remelts)]
    with _placed(data):
        scaled = recipe.scale_with_remelt(blend, data.mass_kg, data.resolution_kg, remelts, data.remelt_limit)
        return api.RecipeScaleOut(
            masses_kg=scaled.masses,
            fresh_mass_kg=scaled.fresh_mass,
            remelt_mass_kg=scaled.remelt_mass,
            total_mass_kg=scaled.total_mass,
            target=scaled.target,
            realised=scaled.realised,
            deviation=scaled.deviation,
            ideal_density_kg_m3=recipe.theoretical_density(blend),
            oxygen_balance=recipe.oxygen_balance(blend),
            melt_order=[
                api.MeltStepOut(ingredient=step.key, share=step.share, words=step.words)
                for step in recipe.to_melt_order(blend)
            ],
            notes=list(recipe.blend_warnings(blend)),
        )


def check_grain(data: api.GrainCheckIn) -> api.GrainCheckOut:
    """Judge a grain by its density.

    Raises
    ------
    Misfit
        An input that cannot be, with its place in the request.
    """
    if (data.parts is None) == (data.ideal_density_kg_m3 is None):
        raise Misfit(("ideal_density_kg_m3",), "Give either the blend's parts or its ideal density.")
    if data.parts is not None:
        ideal = recipe.theoretical_density(_blend(data, data.parts))
    else:
        assert data.ideal_density_kg_m3 is not None
        ideal = data.ideal_density_kg_m3
    with _placed(data):
        found = graincheck.check_grain(
            mass=data.mass_kg,
            outer_d=data.outer_d_m,
            core_d=data.core_d_m,
            length=data.length_m,
            ideal_density=ideal,
            accept_share=data.accept_share,
            reject_share=data.reject_share,
            mass_resolution=data.mass_resolution_kg,
            length_resolution=data.length_resolution_m,
            tube_tare=data.tube_tare_kg,
        )
    return api.GrainCheckOut(
        mass_kg=found.mass,
        volume_m3=found.volume,
        density_kg_m3=found.density,
        ideal_density_kg_m3=found.ideal_density,
        share=found.share,
        share_uncertainty=found.share_uncertainty,
        density_uncertainty_kg_m3=found.density_uncertainty,
        missing_mass_kg=found.missing_mass,
        void_volume_m3=found.void_volume,
        verdict=found.verdict,
        reasons=list(found.reasons),
    )


def blend_state(data: api.BlendStateIn) -> api.BlendStateOut:
    """Burn a blend to equilibrium.

    Raises
    ------
    Misfit
        An input that cannot be, with its place in the request.
    """
    blend = _blend(data, data.parts)
    with _placed(data):
        state = thermochem.blend_state(blend, data.pressure_pa)
        return api.BlendStateOut(
            temperature_k=state.temperature,
            pressure_pa=state.pressure,
            gas_molar_mass_kg_mol=state.gas_molar_mass,
            system_molar_mass_kg_mol=state.system_molar_mass,
            condensed_fraction=state.condensed_fraction,
            gamma_frozen=state.gamma_frozen,
            gamma_effective=state.gamma_effective,
            c_star_m_s=state.c_star,
            c_star_equilibrium_m_s=state.c_star_equilibrium,
            ideal_isp_s=state.ideal_isp,
            ideal_density_kg_m3=recipe.theoretical_density(blend),
            oxygen_balance=recipe.oxygen_balance(blend),
            condensed=state.condensed,
            gas=state.gas,
            balance_error=state.balance_error,
            notes=list(state.notes),
        )


def check_case(data: api.CaseCheckIn) -> api.CaseCheckOut:
    """Compare a peak pressure with a case's rating, proof test and wall.

    Raises
    ------
    Misfit
        An input that cannot be, with its place in the request.
    """
    with _placed(data):
        found = casing.case_margin(
            data.peak_pressure_pa,
            data.inner_d_m,
            data.outer_d_m,
            data.material,
            rated_pressure=data.rated_pressure_pa,
            proof_pressure=data.proof_pressure_pa,
            yield_strength=data.yield_strength_pa,
            wall_temperature=data.wall_temperature_k,
            factor=data.factor,
        )
    return api.CaseCheckOut(
        peak_pressure_pa=found.peak_pressure,
        bore_stress_pa=found.bore_stress,
        thin_stress_pa=found.thin_stress,
        yield_strength_pa=found.yield_strength,
        factor=found.factor,
        yield_pressure_pa=found.yield_pressure,
        burst_pressure_pa=None if isnan(found.burst) else found.burst,
        design_pressure_pa=found.design_pressure,
        limit_pa=found.limit,
        limit_words=found.limit_words,
        margin=found.margin,
        of_rated=found.of_rated,
        of_proof=found.of_proof,
        notes=list(found.notes),
    )


# --- Motor -------------------------------------------------------------------------------------


def _grain(g: api.GrainIn, *loc: str | int) -> AnyGrain:
    """A grain of a request: in closed form where its core is round and straight, else by its table."""
    if g.core_outline_m is not None:
        if g.core_d_m or g.core_offset_m or g.core_offset_aft_m is not None or not g.burns_core:
            raise Misfit((*loc, "core_outline_m"), "An outline stands for a burning core of its own: core_d_m is 0.")
        with _placed(g, *loc):
            section = burn_back(g.outer_d_m, polygon_core([(x, y) for x, y in g.core_outline_m]), g.burns_outer)
            return prism(section, g.length_m, g.mass_kg, int(g.burns_end_a) + int(g.burns_end_b))
    askew_core = g.core_offset_aft_m is not None
    with _placed(g, *loc):
        grain = Grain(
            outer_d=g.outer_d_m,
            core_d=g.core_d_m,
            length=g.length_m,
            mass=g.mass_kg,
            burns_core=g.burns_core,
            burns_end_a=g.burns_end_a,
            burns_end_b=g.burns_end_b,
            burns_outer=g.burns_outer,
            core_offset=0.0 if askew_core else g.core_offset_m,
        )
        if g.core_offset_aft_m is None:
            return grain
        return askew(grain, coring_fault(grain, g.core_offset_m, g.core_offset_aft_m))


def _motor(data: api.MotorIn) -> tuple[Motor, BlendState]:
    blend = _blend(data, data.parts)
    law = None
    if data.burn_law is not None:
        own = data.burn_law
        with _placed(own, "burn_law"):
            law = power_law(
                1e3 * own.rate_at_1_mpa_m_s, own.exponent, own.p_min_pa, own.p_max_pa, sigma_p=own.sigma_p_per_k
            )
    grains = [_grain(g, "grains", i) for i, g in enumerate(data.grains)]
    ambient = data.ambient_pressure_pa
    if data.elevation_m is not None:
        if "ambient_pressure_pa" in data.model_fields_set:
            raise Misfit(("elevation_m",), "Give either the field's elevation or its air pressure.")
        ambient = atmosphere(data.elevation_m).pressure
    with _placed(data):
        state = thermochem.blend_state(blend, blends.USUAL_PRESSURE)
        motor = Motor(
            grains=tuple(grains),
            propellant=blends.propellant(blend, state, law),
            throat_d=data.throat_d_m,
            exit_d=data.exit_d_m,
            case_inner_d=data.case_inner_d_m,
            chamber_length=data.chamber_length_m,
            ambient_pressure=ambient,
            c_star_efficiency=data.c_star_efficiency,
            nozzle_efficiency=data.nozzle_efficiency,
            half_angle=data.half_angle_rad,
            throat_growth=data.throat_growth_m,
            free_volume_extra=data.free_volume_extra_m3,
            igniter_pressure=data.igniter_pressure_pa,
            initial_temperature=data.initial_temperature_k,
            extra_area=data.extra_area,
        )
    return motor, state


def run_motor(data: api.MotorRunIn) -> api.MotorRunOut:
    """March a motor from ignition to tail-off.

    Raises
    ------
    Misfit
        An input that cannot be, with its place in the request.
    """
    motor, state = _motor(data)
    with _placed(data):
        run = simulate(motor)
    return api.MotorRunOut(
        designation=run.designation,
        impulse_class=run.impulse_class,
        total_impulse_n_s=run.total_impulse,
        burn_time_s=run.burn_time,
        action_time_s=run.action_time,
        mean_thrust_n=run.mean_thrust,
        peak_thrust_n=run.peak_thrust,
        peak_pressure_pa=run.peak_pressure,
        mean_pressure_pa=run.mean_pressure,
        specific_impulse_s=run.specific_impulse,
        propellant_mass_kg=run.propellant_mass,
        kn_start=run.kn_start,
        kn_peak=run.kn_peak,
        port_to_throat=run.port_to_throat,
        peak_mass_flux_kg_m2_s=run.peak_mass_flux,
        time_outside_law_s=run.time_outside_law,
        burnt_out_at_s=run.burnt_out_at,
        mass_balance=run.mass_balance,
        burn_law=motor.propellant.law.name,
        law_borrowed=motor.propellant.law.borrowed,
        flags=[*run.flags, *state.notes],
        assumptions=list(run.assumptions),
        curve=_curve(run, data.curve_points) if data.curve_points else None,
    )


def _curve(run: MotorRun, points: int) -> api.CurveOut:
    """At most so many samples: evenly picked, so closer together in time where the march was."""
    kept = np.unique(np.linspace(0, run.time.size - 1, min(points, run.time.size)).astype(int))
    return api.CurveOut(
        time_s=run.time[kept].tolist(),
        depth_m=run.depth[kept].tolist(),
        pressure_pa=run.pressure[kept].tolist(),
        thrust_n=run.thrust[kept].tolist(),
        kn=run.kn[kept].tolist(),
        mass_flow_kg_s=run.mass_flow[kept].tolist(),
    )


def motor_range(data: api.MotorRangeIn) -> api.MotorRangeOut:
    """Predict a motor as ranges.

    Raises
    ------
    Misfit
        An input that cannot be, with its place in the request.
    """
    motor, _ = _motor(data)
    stated = {_UNIT.sub("", name): value for name, value in data.spread.model_dump(exclude_none=True).items()}
    spread = replace(uncertainty.default_spread(motor), **stated)
    with _placed(data):
        found = uncertainty.predict_range(motor, spread, data.samples, data.seed, data.pressure_limit_pa)

    def marks(of: uncertainty.Marks) -> api.MarksOut:
        return api.MarksOut(low=of.low, mid=of.mid, high=of.high)

    return api.MotorRangeOut(
        peak_pressure_pa=marks(found.peak_pressure),
        mean_pressure_pa=marks(found.mean_pressure),
        total_impulse_n_s=marks(found.total_impulse),
        burn_time_s=marks(found.burn_time),
        action_time_s=marks(found.action_time),
        mean_thrust_n=marks(found.mean_thrust),
        peak_thrust_n=marks(found.peak_thrust),
        specific_impulse_s=marks(found.specific_impulse),
        classes=found.classes,
        over_limit=found.over_limit,
        drivers=[
            api.DriverOut(
                input=d.key,
                name=d.name,
                peak_pressure_low_pa=d.peak_pressure[0],
                peak_pressure_high_pa=d.peak_pressure[1],
                total_impulse_low_n_s=d.total_impulse[0],
                total_impulse_high_n_s=d.total_impulse[1],
            )
            for d in found.drivers
        ],
        samples=found.samples,
        seed=found.seed,
        assumptions=[*simulate(motor).assumptions, *found.assumptions],
    )
