"""Whether grains, case and nozzle go together, before anything is computed."""

from sqlmodel import Session

from app.errors import Refused
from app.models import Case, GrainPattern, Workshop
from app.services.book import workshop
from app.services.hardware import inventory
from app.units import Quantity, UnitSystem, show


def tube_od(session: Session, pattern: GrainPattern) -> float:
    """Outer diameter of the casting tube that stays on a grain, or 0 [m]."""
    tube = inventory.tube_of(session, pattern)
    return tube.outer_d_m if tube else 0.0


def tube_mass(session: Session, pattern: GrainPattern) -> float:
    """Mass of the casting tube that stays on a grain and flies with it; 0 where it has none or none weighed [kg]."""
    tube = inventory.tube_of(session, pattern)
    return tube.tare_kg or 0.0 if tube else 0.0


def width(session: Session, pattern: GrainPattern, outer_d: float) -> float:
    """How wide a grain of that outer diameter is in the tube that stays on it [m]."""
    return max(outer_d, tube_od(session, pattern))


def most(case: Case, length: float, house: Workshop) -> int:
    """How many grains of that length [m] go into a case with the gaps between them."""
    return int((case.chamber_length_m + house.grain_gap_m + 1e-9) / (length + house.grain_gap_m))


def fits_case(session: Session, case: Case, things: list[tuple[str, GrainPattern, float]], field: str) -> None:
    """Refuse grains (name, pattern, outer diameter [m]) that with their tubes are wider than the case.

    Raises
    ------
    Refused
        They are; beside `field`.
    """
    units = workshop.get(session).units
    for name, pattern, outer in things:
        tube = inventory.tube_of(session, pattern)
        wide = max(outer, tube.outer_d_m) if tube else outer
        if wide > case.inner_d_m:
            what = f"{name} in its tube ({tube.name})" if tube and wide > outer else name
            raise Refused(
                f"{what} is {show(wide, 'length', units)} wide; {case.name} is "
                f"{show(case.inner_d_m, 'length', units)} inside. Take another case or other grains.",
                field=field,
            )


def fits_length(case: Case, lengths: list[float], house: Workshop, field: str) -> None:
    """Refuse grains of these lengths [m] that with the gaps between them are longer than the case's room.

    Raises
    ------
    Refused
        They are; beside `field`.
    """
    need = sum(lengths) + (len(lengths) - 1) * house.grain_gap_m
    if need > case.chamber_length_m + 1e-9:
        gap, wanted, room = (show(si, "length", house.units) for si in (house.grain_gap_m, need, case.chamber_length_m))
        gaps = f" with gaps of {gap}" if len(lengths) > 1 and house.grain_gap_m else ""
        raise Refused(
            f"{len(lengths)} grain{'s' if len(lengths) > 1 else ''}{gaps} need {wanted}; {case.name} has room for "
            f"{room}. Leave one out or take a longer case.",
            field=field,
        )


def throat_inside_exit(throat: Quantity, exit_d: float, units: UnitSystem) -> None:
    """Refuse a throat that is wider than the nozzle's exit [m].

    Raises
    ------
    Refused
        It is; beside the throat.
    """
    if throat.si > exit_d:
        raise Refused(
            f"The throat ({throat.typed}) would be wider than the exit ({show(exit_d, 'length', units)}); "
            "measure it again or choose another nozzle.",
            field="throat_d",
        )
