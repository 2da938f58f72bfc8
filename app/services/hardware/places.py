"""Rockets and fields: what is flown, and where."""

from dataclasses import dataclass
from math import cos, radians, sin

from sqlalchemy import select as select_core
from sqlmodel import Session, col, select

from app.calc.flight.recovery import Parachute, Recovery
from app.errors import Faults
from app.models import Case, DragPoint, Firing, LaunchField, MotorBuild, Prediction, Rocket
from app.models.firing import WINDS
from app.models.place import LaunchFieldIn, RocketIn
from app.services.book import repository

BEARINGS = {point: radians(45 * i) for i, point in enumerate(WINDS)}
"""Where the wind comes from, as a bearing from north [rad]."""


@dataclass(frozen=True)
class Flown:
    """Flights of a rocket or from a field: how many, the known heights [m], and the newest one's motor and case."""

    count: int
    heights_m: list[float]
    motor_code: str
    case: Case | None
    impulse_class: str


def flown(session: Session, where: Rocket | LaunchField) -> Flown:
    """The flights of a rocket, or all from a field; a motor that did not light did not fly."""
    column = Firing.rocket_id if isinstance(where, Rocket) else Firing.launch_field_id
    query = (
        select_core(col(Firing.altitude_m), col(MotorBuild.code), Case, col(Prediction.designation))
        .join(MotorBuild, col(Firing.motor_build_id) == MotorBuild.id)
        .join(Case, col(MotorBuild.case_id) == Case.id)
        .outerjoin(Prediction, col(Prediction.motor_build_id) == MotorBuild.id)
        .where(col(column) == where.pk, col(Firing.kind) == "flight", col(Firing.result) != "no_light")
        .order_by(col(Firing.fired_at).desc(), col(Prediction.id).desc())
    )
    rows = session.execute(query).all()
    each = {code: height for height, code, _, _ in reversed(rows)}
    _, code, case, designation = rows[0] if rows else (None, "", None, None)
    heights = [height for height in each.values() if height is not None]
    return Flown(len(each), heights, code, case, (designation or "")[:1])


def rockets(session: Session, retired: bool = False) -> list[Rocket]:
    """The rockets in use, by name; or the retired ones."""
    return list(session.exec(select(Rocket).where(col(Rocket.retired) == retired).order_by(Rocket.name)))


def fields(session: Session, retired: bool = False) -> list[LaunchField]:
    """The fields in use, by name; or the retired ones."""
    found = select(LaunchField).where(col(LaunchField.retired) == retired).order_by(LaunchField.name)
    return list(session.exec(found))


# --- Rockets -----------------------------------------------------------------------------------


def save_rocket(session: Session, data: RocketIn, row: Rocket | None = None, version: int | None = None) -> Rocket:
    """Enter a rocket, or change one.

    Raises
    ------
    Refused
        Two bases of the drag coefficient, a drag table out of order, or parachutes that do not go together.
    """
    faults = Faults()
    repository.possible(faults, data)
    for i, (before, after) in enumerate(zip(data.drag_points, data.drag_points[1:], strict=False), start=1):
        if after.mach <= before.mach:
            faults.add(
                f"drag_points.{i}.mach",
                f"Mach {after.mach:g} comes after {before.mach:g}: put the rows in rising order, each Mach once.",
            )
    _chutes(data, faults)
    with faults.one():
        repository.refuse_same(session, Rocket, "name", data.name, but=row)
    faults.tell()
    rocket = repository.store(session, Rocket, data.model_copy(update={"drag_points": []}), row, version)
    wanted = [(point.mach, point.coefficient) for point in data.drag_points]
    if wanted != drag_table(rocket):
        rocket.drag_points.clear()
        session.flush()
        rocket.drag_points = [DragPoint(rocket_id=rocket.pk, mach=m, coefficient=c) for m, c in wanted]
        session.flush()
    return rocket


def _chutes(data: RocketIn, faults: Faults) -> None:
    for name, size, drag in (("main", data.main_d, data.main_cd), ("drogue", data.drogue_d, data.drogue_cd)):
        if size is not None and drag is None:
            faults.add(f"{name}_cd", "Type the parachute's drag coefficient; a flat round one often has 0.75.")
        if drag is not None and size is None:
            faults.add(f"{name}_d", "Type the parachute's diameter, or empty its coefficient.")
    if data.main_altitude is not None and data.main_d is None:
        faults.add("main_altitude", "No main parachute is given that could open there.")
    if data.main_d is not None and data.drogue_d is not None and data.main_altitude is None:
        faults.add(
            "main_altitude", "With a drogue, type the height at which the main parachute opens; else both open at once."
        )


def drag_table(rocket: Rocket) -> list[tuple[float, float]]:
    """Mach numbers and coefficients of a rocket; empty where it has one coefficient."""
    return [(point.mach, point.coefficient) for point in rocket.drag_points]


def recovery(rocket: Rocket, delay: float | None) -> Recovery:
    """What opens and when, with the motor's ejection delay [s] if its charge does it."""

    def chute(diameter: float | None, drag: float | None) -> Parachute | None:
        return Parachute(diameter, drag) if diameter is not None and drag is not None else None

    return Recovery(
        main=chute(rocket.main_d_m, rocket.main_cd),
        drogue=chute(rocket.drogue_d_m, rocket.drogue_cd),
        main_height=rocket.main_altitude_m,
        after_apogee=rocket.opening_delay_s or 0.0,
        delay=delay,
    )


# --- Fields ------------------------------------------------------------------------------------


def save_field(
    session: Session, data: LaunchFieldIn, row: LaunchField | None = None, version: int | None = None
) -> LaunchField:
    """Enter a field, or change one.

    Raises
    ------
    Refused
        A radius and a rectangle at once, or half a rectangle.
    """
    faults = Faults()
    repository.possible(faults, data)
    if (data.length is None) != (data.width is None):
        faults.add("width" if data.width is None else "length", "A rectangle needs both its sides.")
    if data.long_axis is not None and data.length is None:
        faults.add("long_axis", "A bearing belongs to a length and a width.")
    with faults.one():
        repository.refuse_same(session, LaunchField, "name", data.name, but=row)
    faults.tell()
    return repository.store(session, LaunchField, data, row, version)


def edge(field: LaunchField, wind_from: str | None) -> tuple[float, str] | None:
    """How far it is from the pad to the field's edge along the wind [m], and how that was found; None without a size.

    In a rectangle it is the nearest edge, unless its bearing and the wind's direction are known.
    """
    if field.radius_m is not None:
        return field.radius_m, "the field's radius"
    if field.length_m is None or field.width_m is None:
        return None
    half_length, half_width = field.length_m / 2, field.width_m / 2
    if field.long_axis_rad is None or wind_from is None:
        return min(half_length, half_width), "the nearest edge, for wind and field have no direction in common"
    off = BEARINGS[wind_from] - field.long_axis_rad
    along, across = abs(cos(off)), abs(sin(off))
    reach = [half / share for half, share in ((half_length, along), (half_width, across)) if share > 1e-9]
    return min(reach), "the field's edge along the wind"
