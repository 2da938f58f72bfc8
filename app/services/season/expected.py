"""What a motor of grains not yet cast would do for a wish: as the motor's and the flight's own pages work it out."""

from collections.abc import Sequence

from sqlmodel import Session

from app.models import Case, GrainPattern, LaunchField, Nozzle, Wish
from app.models.flight import FlightIn
from app.services.book import repository, workshop
from app.services.flight import flights
from app.services.hardware import shapes
from app.services.hardware.throats import Known
from app.services.learning.prediction_record import PredictionRecord, Range
from app.services.motors import clearance, motor_setup, prediction
from app.services.motors.motor_setup import Setup
from app.services.season.figures import Figures, Span
from app.services.stock import formulas


def of_motor(
    session: Session,
    wish: Wish,
    *,
    case_id: int,
    nozzle_id: int,
    throat_d_m: float,
    formula_id: int,
    grains: Sequence[tuple[int, int]],
) -> Figures:
    """The figures of a motor in the wish's rocket on its field, in still air; of a test the motor's alone.

    Parameters
    ----------
    grains
        Patterns with how many of each, from the closure to the nozzle.

    Raises
    ------
    Refused
        The motor cannot work, or does not lift the rocket off the rail.
    """
    place = session.get(LaunchField, wish.launch_field_id) if wish.launch_field_id else None
    setup = _setup(session, case_id, nozzle_id, throat_d_m, formula_id, grains, place.elevation_m if place else 0.0)
    found = prediction.predict(session, setup)
    limit = found.wall.limit_pa
    peak = _span(found.peak_pressure)
    motor = Figures(
        peak_share=(peak[0] / limit, peak[1] / limit, peak[2] / limit),
        impulse_ns=_span(found.total_impulse),
        tested=_tested(found),
    )
    if wish.rocket_id is None or wish.launch_field_id is None:
        return motor
    flown = flights.estimate(session, found, FlightIn(rocket_id=wish.rocket_id, launch_field_id=wish.launch_field_id))
    off = flown.range.rail_exit_speed
    return Figures(
        peak_share=motor.peak_share,
        impulse_ns=motor.impulse_ns,
        height_m=_span(flown.highest),
        exit_m_s=(off.low, flown.flight.rail_exit_speed, off.high),
        tested=motor.tested,
    )


def _setup(
    session: Session,
    case_id: int,
    nozzle_id: int,
    throat_d_m: float,
    formula_id: int,
    grains: Sequence[tuple[int, int]],
    elevation_m: float,
) -> Setup:
    formula, shop = formulas.get(session, formula_id), workshop.get(session)
    case = repository.get(session, Case, case_id, "case")
    nozzle = repository.get(session, Nozzle, nozzle_id, "nozzle")
    density = formulas.ideal_density(formula) * shop.expected_density_share
    inside = []
    for pattern_id, count in grains:
        pattern = repository.get(session, GrainPattern, pattern_id, "grain pattern")
        tube = clearance.tube_od(session, pattern), clearance.tube_mass(session, pattern)
        inside += [motor_setup.burning(pattern, pattern, shapes.volume(pattern) * density, *tube)] * count
    return Setup(
        formula=formula,
        grains=inside,
        case=case,
        nozzle=nozzle,
        throat_d=throat_d_m,
        exit_d=max(nozzle.exit_d_m, throat_d_m),
        elevation=elevation_m,
        temperature=motor_setup.ROOM,
        as_designed=True,
        throat_known=Known(),
    )


def _span(found: Range) -> Span:
    low = found.mid if found.low is None else found.low
    return low, found.mid, found.mid if found.high is None else found.high


def _tested(found: PredictionRecord) -> int:
    taught = found.inputs.taught
    return len(taught.firing_ids) if taught else 0
