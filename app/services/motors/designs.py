"""Designs: a motor of grains not yet cast, put together from a pattern, and what it would do."""

from sqlmodel import Session

from app.errors import Refused
from app.models import Case, GrainPattern, Nozzle
from app.models.motor import DesignIn
from app.services.book import repository, workshop
from app.services.hardware import inventory, shapes, throats
from app.services.hardware.throats import Known
from app.services.learning.prediction_record import PredictionRecord
from app.services.motors import clearance, motor_setup, prediction
from app.services.motors.motor_setup import Setup
from app.services.stock import formulas
from app.units import Quantity, show


def predict(session: Session, data: DesignIn) -> PredictionRecord:
    """What grains of a pattern, as designed, would do in a case and nozzle.

    Raises
    ------
    Refused
        They do not fit, the throat is wider than the exit, or the motor cannot work.
    """
    return prediction.predict(session, setup_of(session, data))


def setup_of(session: Session, data: DesignIn) -> Setup:
    """Grains of a pattern, as designed, put together with a case and a nozzle.

    Raises
    ------
    Refused
        They do not fit, or the throat is wider than the exit.
    """
    formula = formulas.get(session, data.formula_id)
    pattern = repository.get(session, GrainPattern, data.pattern_id, "grain pattern")
    case = repository.get(session, Case, data.case_id, "case")
    nozzle = repository.get(session, Nozzle, data.nozzle_id, "nozzle") if data.nozzle_id is not None else None
    house, known = workshop.get(session), Known()  # a throat in mind will be measured when it is there
    if data.throat_d is not None:
        throat = data.throat_d
    elif nozzle is not None:
        now = inventory.throat_now(session, nozzle)
        throat, known = Quantity(now, show(now, "length", house.units)), throats.as_last_measured(session, nozzle)
    else:
        raise Refused("Choose a nozzle, or type the throat you have in mind.", field="throat_d")
    exit_d = nozzle.exit_d_m if nozzle is not None else throat.si * motor_setup.USUAL_EXPANSION**0.5
    clearance.throat_inside_exit(throat, exit_d, house.units)
    clearance.fits_case(session, case, [(pattern.name, pattern, pattern.outer_d_m)], field="pattern_id")
    clearance.fits_length(case, [pattern.length_m] * data.count, house, field="count")
    mass = shapes.volume(pattern) * formulas.ideal_density(formula) * data.density.si
    grain = motor_setup.burning(
        pattern, pattern, mass, clearance.tube_od(session, pattern), clearance.tube_mass(session, pattern)
    )
    return Setup(
        formula=formula,
        grains=[grain] * data.count,
        case=case,
        nozzle=nozzle,
        throat_d=throat.si,
        exit_d=exit_d,
        elevation=data.field_elevation.si,
        temperature=data.grain_temperature.si,
        as_designed=True,
        throat_known=known,
    )
