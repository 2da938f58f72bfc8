"""The compute API's motors: grains and conditions from a request, marched alone or drawn many times."""

from dataclasses import replace

import numpy as np

from app.calc.base.atmosphere import atmosphere
from app.calc.grain.core_offset import askew, core_offset_fault
from app.calc.grain.cores import polygon_core
from app.calc.grain.geometry import AnyGrain, Grain
from app.calc.grain.section import burn_back, prism
from app.calc.motor import uncertainty
from app.calc.motor.own_pressure import at_its_own_pressure
from app.calc.motor.simulation import Motor, MotorRun, simulate
from app.calc.propellant.burn_laws import power_law
from app.calc.propellant.burn_rate import BurnLaw
from app.calc.propellant.thermochem import BlendState
from app.models import api_motor as api
from app.services.api.compute import UNIT, Misfit, placed, read_blend, sentences
from app.services.stock import blends


def grain_of(g: api.GrainIn, *loc: str | int) -> AnyGrain:
    """A grain of a request: in closed form where its core is round and straight, else by its table."""
    if g.core_outline_m is not None:
        if g.core_d_m or g.core_offset_m or g.core_offset_aft_m is not None or not g.burns_core:
            raise Misfit((*loc, "core_outline_m"), "An outline stands for a burning core of its own: core_d_m is 0.")
        with placed(g, *loc):
            section = burn_back(g.outer_d_m, polygon_core([(x, y) for x, y in g.core_outline_m]), g.burns_outer)
            return prism(section, g.length_m, g.mass_kg, int(g.burns_end_a) + int(g.burns_end_b))
    askew_core = g.core_offset_aft_m is not None
    with placed(g, *loc):
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
        return askew(grain, core_offset_fault(grain, g.core_offset_m, g.core_offset_aft_m))


def law_of(own: api.BurnLawIn, *loc: str | int) -> BurnLaw:
    """An own burn law of a request.

    Raises
    ------
    Misfit
        One that cannot be; beside its field.
    """
    with placed(own, *loc, "burn_law"):
        return power_law(
            1e3 * own.rate_at_1_mpa_m_s, own.exponent, own.p_min_pa, own.p_max_pa, sigma_p=own.sigma_p_per_k
        )


def _motor(data: api.MotorIn) -> tuple[Motor, BlendState]:
    blend = read_blend(data, data.parts)
    law = law_of(data.burn_law) if data.burn_law is not None else None
    grains = [grain_of(g, "grains", i) for i, g in enumerate(data.grains)]
    ambient = data.ambient_pressure_pa
    if data.elevation_m is not None:
        if "ambient_pressure_pa" in data.model_fields_set:
            raise Misfit(("elevation_m",), "Give either the field's elevation or its air pressure.")
        ambient = atmosphere(data.elevation_m).pressure

    def make(state: BlendState) -> Motor:
        return Motor(
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

    with placed(data):
        return at_its_own_pressure(make, blends.states_of(blend))


def run_motor(data: api.MotorRunIn) -> api.MotorRunOut:
    """March a motor from ignition to tail-off.

    Raises
    ------
    Misfit
        An input that cannot be, with its place in the request.
    """
    motor, state = _motor(data)
    with placed(data):
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
        flags=sentences([*run.flags, *state.notes]),
        assumptions=sentences(run.assumptions),
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
    stated = {UNIT.sub("", name): value for name, value in data.spread.model_dump(exclude_none=True).items()}
    spread = replace(uncertainty.default_spread(motor), **stated)
    with placed(data):
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
        assumptions=sentences([*simulate(motor).assumptions, *found.assumptions]),
    )
