"""What a motor is expected to do: from the book's rows to the calculation, and to a record that is kept."""

from dataclasses import replace

import numpy as np
from sqlmodel import Session

from app.calc.base.atmosphere import atmosphere
from app.calc.base.constants import Floats
from app.calc.base.errors import CalcError
from app.calc.base.notes import Note, joined, strong_first
from app.calc.case.casing import CaseMargin
from app.calc.case.closure import Retention
from app.calc.motor.own_pressure import at_its_own_pressure
from app.calc.motor.simulation import Motor, MotorRun, simulate
from app.calc.motor.spread import Spread
from app.calc.motor.uncertainty import Marks, MotorRange, predict_range
from app.calc.propellant.burn_rate import BurnLaw
from app.calc.propellant.thermochem import BlendState
from app.errors import Refused
from app.models import Formula, Workshop
from app.services.book import workshop
from app.services.hardware import closures, throats
from app.services.learning import learning
from app.services.learning.prediction_record import (
    BeforeLearning,
    CaseInput,
    Curve,
    Driver,
    GrainInput,
    Holding,
    Inputs,
    LearnedFactors,
    PredictionRecord,
    Range,
    Wall,
)
from app.services.motors.assumptions import assumptions_of, throat_words
from app.services.motors.motor_setup import AS_DESIGNED, USUAL_HALF_ANGLE, Setup
from app.services.stock import blends, formulas

SAMPLES = 512
"""Motors sampled for a range. Sampling noise of the 5 and 95 % marks is then about a tenth of the range."""

SAMPLES_BEFORE = 128
"""Motors sampled for the range before any firing, which is told beside it only."""

SEED = 20
POINTS = 160
"""Points of a stored curve: enough to draw and to fly."""

_FIELDS = {
    "throat_d": ("throat_d", "Throat"),
    "exit_d": ("throat_d", "Exit"),
    "grains": ("grain_ids", "Grains"),
    "case_inner_d": ("case_id", "Case"),
    "chamber_length": ("case_id", "Case"),
    "free_volume_extra": ("case_id", "Case"),
    "initial_temperature": ("grain_temperature", "Grain temperature"),
    "temperature": ("grain_temperature", "Grain temperature"),
    "igniter_pressure": ("throat_d", "Ignition"),
    "motor": ("throat_d", "Motor"),
    "total_impulse": ("grain_ids", "Total impulse"),
    "altitude": ("field_elevation", "Elevation"),
}
"""Where a fault of the calculation belongs on the forms, and what its subject is called."""


# --- What goes in ------------------------------------------------------------------------------


# --- Predicting --------------------------------------------------------------------------------


def predict(session: Session, setup: Setup, samples: int = SAMPLES, seed: int = SEED) -> PredictionRecord:
    """What a motor is expected to do, with its range and all it stands on.

    Raises
    ------
    Refused
        The motor cannot work or cannot be computed; beside the field at fault.
    """
    house = workshop.get(session)
    try:
        taught = learning.factors(session, setup.formula, setup.case)
        motor, state = motor_of(session, setup, taught)
        run = simulate(motor, house.least_port_to_throat)
        made = _recorded(setup, house, state, motor, taught, run, samples, seed)
        return made.model_copy(update={"untaught": _before(session, setup)}) if taught.used else made
    except CalcError as error:
        raise refusal(error, setup) from error


def refusal(error: CalcError, setup: Setup) -> Refused:
    """A fault of the calculation as a form says it, beside the field it belongs to."""
    place, subject = _FIELDS.get(error.field, (None, error.field.replace("_", " ").capitalize()))
    if setup.as_designed and place == "grain_ids":
        place = "pattern_id"
    return Refused(joined(f"{subject}:", error.words), field=place)


def motor_of(session: Session, setup: Setup, taught: LearnedFactors | None) -> tuple[Motor, BlendState]:
    """A motor as the calculations take it, with the state of its blend; `taught` is what firings taught, or nothing.

    Raises
    ------
    CalcError
        It cannot be put together or marched, or its blend has no state or no burn law.
    """
    house, growth = workshop.get(session), throats.growth(session, setup.nozzle).per_firing

    def make(state: BlendState) -> Motor:
        return _motor(setup, house, state, growth, taught)

    return at_its_own_pressure(make, blends.states(session, setup.formula))


def _motor(setup: Setup, house: Workshop, state: BlendState, growth: float, taught: LearnedFactors | None) -> Motor:
    law, c_star, nozzle = as_taught(setup.formula, house, taught)
    propellant = blends.propellant(setup.formula.blend, state, law)
    return Motor(
        grains=tuple(one.grain for one in setup.grains),
        propellant=propellant,
        throat_d=setup.throat_d,
        exit_d=setup.exit_d,
        case_inner_d=setup.case.inner_d_m,
        chamber_length=setup.case.chamber_length_m,
        ambient_pressure=atmosphere(setup.elevation).pressure,
        c_star_efficiency=c_star,
        nozzle_efficiency=nozzle,
        half_angle=_half_angle(setup),
        throat_growth=growth,
        free_volume_extra=-sum(one.tube_m3 for one in setup.grains),
        igniter_pressure=house.igniter_pressure_pa,
        initial_temperature=setup.temperature,
    )


def as_taught(formula: Formula, house: Workshop, taught: LearnedFactors | None) -> tuple[BurnLaw, float, float]:
    """A formula's burn law, and c* and nozzle efficiency [-], with what firings taught in them.

    Raises
    ------
    Refused
        Firings say more than a motor can.
    CalcError
        The formula has no burn law.
    """
    law = replace(formulas.burn_law(formula), sigma_p=house.rate_per_kelvin_share)
    c_star, nozzle = house.c_star_efficiency_share, house.nozzle_efficiency_share
    if taught is None:
        return law, c_star, nozzle
    return (
        replace(law, rates=tuple(taught.rate.factor * rate for rate in law.rates)),
        _believable("c*", c_star * taught.c_star.factor, 1.1),
        _believable("nozzle", nozzle * taught.nozzle.factor, 1.05),
    )


def _believable(what: str, efficiency: float, most: float) -> float:
    """A learned efficiency [-], or a refusal where the firings say more than a motor can."""
    if efficiency > most:
        raise Refused(
            f"What firings taught makes the {what} efficiency {efficiency:.0%}, which cannot be. Look under Review, "
            "What the firings taught: leave out the firing that is wrong, or pause learning for this formula."
        )
    return efficiency


def _half_angle(setup: Setup) -> float:
    known = setup.nozzle.divergence_rad if setup.nozzle is not None else None
    return USUAL_HALF_ANGLE if known is None else known


def _recorded(
    setup: Setup,
    house: Workshop,
    state: BlendState,
    motor: Motor,
    taught: LearnedFactors,
    run: MotorRun,
    samples: int,
    seed: int,
) -> PredictionRecord:
    """Put what was computed into the record."""
    case = setup.case
    margin = closures.margin(case, run.peak_pressure)
    sampled = _range(motor, setup, taught, samples, seed, margin.limit)

    return PredictionRecord(
        inputs=_inputs(setup, state, motor, taught, samples, seed),
        designation=run.designation,
        impulse_class=run.impulse_class,
        classes=sampled.classes,
        total_impulse=_ranged(run.total_impulse, sampled.total_impulse),
        burn_time=_ranged(run.burn_time, sampled.burn_time),
        action_time=_ranged(run.action_time, sampled.action_time),
        mean_thrust=_ranged(run.mean_thrust, sampled.mean_thrust),
        peak_thrust=_ranged(run.peak_thrust, sampled.peak_thrust),
        peak_pressure=_ranged(run.peak_pressure, sampled.peak_pressure),
        mean_pressure=_ranged(run.mean_pressure, sampled.mean_pressure),
        specific_impulse=_ranged(run.specific_impulse, sampled.specific_impulse),
        kn_start=run.kn_start,
        kn_peak=run.kn_peak,
        port_to_throat=run.port_to_throat,
        slenderness=run.slenderness,
        peak_mass_flux=run.peak_mass_flux,
        propellant_mass=run.propellant_mass,
        wall=_wall(margin, closures.retention(case)),
        over_limit=sampled.over_limit or 0.0,
        drivers=[Driver(name=d.name, low_pa=d.peak_pressure[0], high_pa=d.peak_pressure[1]) for d in sampled.drivers],
        curve=_curve(run, sampled),
        warnings=_warnings(setup, run, state, sampled),
        assumptions=[*assumptions_of(setup, house, state, run, motor.throat_growth, taught), *sampled.assumptions],
    )


def _warnings(setup: Setup, run: MotorRun, state: BlendState, sampled: MotorRange) -> list[Note | str]:
    """What a reader must know of it, dangers first."""
    worn = [throat_words(setup.throat_known)] if setup.throat_known.firings else []
    return list(strong_first([*run.flags, *sampled.cautions, *setup.remarks, *filter(None, worn), *state.notes]))


def _range(
    motor: Motor, setup: Setup, taught: LearnedFactors, samples: int, seed: int, limit: float | None
) -> MotorRange:
    """A motor's range with the spreads that firings have left."""
    spread = replace(spread_of(taught), throat_d=setup.throat_known.spread)
    return predict_range(
        motor, spread, samples, seed, limit, correlation=np.array(taught.correlation), seen=taught.rate.moved or 0.0
    )


def spread_of(taught: LearnedFactors) -> Spread:
    """How far each input is trusted where so much was learned; of the throat, as measured today."""
    return Spread(burn_rate=taught.rate.spread, c_star=taught.c_star.spread, nozzle=taught.nozzle.spread)


def _ranged(mid: float, marks: Marks) -> Range:
    return Range(mid=mid, low=marks.low, high=marks.high)


def _before(session: Session, setup: Setup) -> BeforeLearning:
    """What a motor was expected to do before any firing had taught anything."""
    taught = learning.default_factors(session, setup.formula)
    motor, _ = motor_of(session, setup, taught)
    run = simulate(motor)
    found = _range(motor, setup, taught, SAMPLES_BEFORE, SEED, None)
    return BeforeLearning(
        total_impulse=_ranged(run.total_impulse, found.total_impulse),
        burn_time=_ranged(run.burn_time, found.burn_time),
        peak_pressure=_ranged(run.peak_pressure, found.peak_pressure),
    )


def _inputs(setup: Setup, state: BlendState, motor: Motor, taught: LearnedFactors, samples: int, seed: int) -> Inputs:
    case, law = setup.case, motor.propellant.law
    serials = list(setup.serials) or [AS_DESIGNED] * len(setup.grains)
    return Inputs(
        formula=setup.formula.label,
        blend=setup.formula.blend,
        ideal_density_kg_m3=motor.propellant.ideal_density,
        c_star_m_s=motor.propellant.c_star,
        gamma=motor.propellant.gamma,
        molar_mass_kg_mol=motor.propellant.molar_mass,
        flame_temperature_k=state.temperature,
        law=f"{law.name} ({law.source})",
        law_borrowed=law.borrowed,
        law_own=formulas.own_law(setup.formula) is not None,
        rate_per_kelvin=law.sigma_p,
        igniter_pressure_pa=motor.igniter_pressure,
        grains=[
            GrainInput(
                serial=serial,
                mass_kg=g.mass,
                length_m=g.length,
                geometry=one.geometry,
                core_d_m=one.core_d,
                outer_d_m=g.outer_d,
                burning_ends=g.burning_ends,
                burns_outer=g.burns_outer,
                tube_kg=one.tube_kg,
            )
            for serial, one in zip(serials, setup.grains, strict=True)
            for g in (one.grain,)
        ],
        case=CaseInput(
            name=case.name,
            material=case.material,
            inner_d_m=case.inner_d_m,
            outer_d_m=case.outer_d_m,
            chamber_length_m=case.chamber_length_m,
            rated_pressure_pa=case.rated_pressure_pa,
            proof_pressure_pa=case.proof_pressure_pa,
            wall_temperature_k=closures.wall_temperature(case),
        ),
        nozzle=setup.nozzle.name if setup.nozzle is not None else "a nozzle not chosen yet",
        throat_d_m=setup.throat_d,
        throat_growth_m=motor.throat_growth,
        exit_d_m=setup.exit_d,
        half_angle_rad=motor.half_angle,
        elevation_m=setup.elevation,
        ambient_pressure_pa=motor.ambient_pressure,
        grain_temperature_k=setup.temperature,
        c_star_efficiency=motor.c_star_efficiency,
        nozzle_efficiency=motor.nozzle_efficiency,
        samples=samples,
        seed=seed,
        taught=taught,
    )


def _wall(margin: CaseMargin, held: Retention | None) -> Wall:
    return Wall(
        stress_pa=margin.bore_stress,
        strength_pa=margin.yield_strength,
        factor=margin.factor,
        of_rated=margin.of_rated,
        of_proof=margin.of_proof,
        limit_pa=margin.limit,
        limit_words=margin.limit_words,
        notes=list(margin.notes),
        closures=[Holding(words=mode.words, pressure_pa=mode.pressure) for mode in (held.modes if held else ())],
    )


def _figures(values: Floats) -> list[float]:
    """Rounded to what a reader can tell apart."""
    return [float(f"{value:.6g}") for value in values]


def _curve(run: MotorRun, sampled: MotorRange) -> Curve:
    """The histories with fewer points, their peaks kept."""
    later = run.rising
    time, pressure, thrust = run.time[later], run.pressure[later], run.thrust[later]
    kept = set(np.linspace(0, len(time) - 1, min(POINTS, len(time))).astype(int).tolist())
    order = sorted(kept | {int(pressure.argmax()), int(thrust.argmax())})
    band = sampled.band
    return Curve(
        time_s=_figures(time[order]),
        pressure_pa=_figures(pressure[order]),
        thrust_n=_figures(thrust[order]),
        kn=_figures(run.kn[later][order]),
        band_time_s=_figures(band.time),
        pressure_low_pa=_figures(band.pressure_low),
        pressure_high_pa=_figures(band.pressure_high),
        thrust_low_n=_figures(band.thrust_low),
        thrust_high_n=_figures(band.thrust_high),
    )
