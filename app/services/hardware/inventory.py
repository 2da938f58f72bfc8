"""What is cast in, cored with and burned in: patterns, tubes, rods, cases, nozzles."""

from typing import TypeVar

from sqlmodel import Session, col, select

from app import clock
from app.calc.case import casing
from app.errors import Faults, Refused
from app.models import Case, CastingTube, CoringRod, Firing, GrainPattern, MotorBuild, Nozzle, NozzleMeasure
from app.models.hardware import CaseIn, CastingTubeIn, CoringRodIn, GrainPatternIn, NozzleIn, NozzleMeasureIn
from app.services.book import repository, workshop
from app.services.hardware import closures, shapes
from app.units import Quantity, exact, show

MATERIALS = {key: material.name for key, material in casing.MATERIALS.items()}
MATERIALS[casing.OTHER] = "Other (type its yield strength)"

FIT = 0.0005
"""How far a grain may differ from its tube's bore, or a core from its rod, without a word [m]."""


H = TypeVar("H", GrainPattern, CastingTube, CoringRod, Case, Nozzle)


def _in_use(session: Session, table: type[H], retired: bool) -> list[H]:
    return list(session.exec(select(table).where(col(table.retired) == retired).order_by(col(table.name))))


def patterns(session: Session, retired: bool = False) -> list[GrainPattern]:
    """The grain patterns in use, by name; or the retired ones."""
    return _in_use(session, GrainPattern, retired)


def tubes(session: Session, retired: bool = False) -> list[CastingTube]:
    """The casting tubes in use, by name; or the retired ones."""
    return _in_use(session, CastingTube, retired)


def rods(session: Session, retired: bool = False) -> list[CoringRod]:
    """The coring rods in use, by name; or the retired ones."""
    return _in_use(session, CoringRod, retired)


def cases(session: Session, retired: bool = False) -> list[Case]:
    """The cases in use, by name; or the retired ones."""
    return _in_use(session, Case, retired)


def nozzles(session: Session, retired: bool = False) -> list[Nozzle]:
    """The nozzles in use, by name; or the retired ones."""
    return _in_use(session, Nozzle, retired)


# --- Tubes and rods ------------------------------------------------------------------------------


def save_tube(
    session: Session, data: CastingTubeIn, row: CastingTube | None = None, version: int | None = None
) -> CastingTube:
    """Enter a casting tube, or change one."""
    faults = Faults()
    repository.possible(faults, data)
    with faults.one():
        repository.refuse_same(session, CastingTube, "name", data.name, but=row)
    faults.tell()
    return repository.store(session, CastingTube, data, row, version)


def save_rod(
    session: Session, data: CoringRodIn, row: CoringRod | None = None, version: int | None = None
) -> CoringRod:
    """Enter a coring rod, or change one."""
    repository.refuse_same(session, CoringRod, "name", data.name, but=row)
    return repository.store(session, CoringRod, data, row, version)


# --- Grain patterns --------------------------------------------------------------------------------


def save_pattern(
    session: Session, data: GrainPatternIn, row: GrainPattern | None = None, version: int | None = None
) -> GrainPattern:
    """Enter a grain pattern, or change one.

    Raises
    ------
    Refused
        The core does not fit in the grain, or the grain not in its tube, or the rod is thicker than the core; or a
        diameter is neither typed nor given by tube or rod.
    """
    faults = Faults()
    with faults.one():
        repository.refuse_same(session, GrainPattern, "name", data.name, but=row)
    if data.burning_ends == 0 and data.burns_outer:
        faults.add(
            "burning_ends",
            "A grain whose outer surface burns has no tube that could close its end faces: say how many of them burn.",
        )
    outer, core = data.outer_d, data.core_d
    with faults.one():
        outer, core = _diameters(session, data)
    if outer is not None and core is not None:
        data = data.model_copy(update={"outer_d": outer, "core_d": core})
        repository.possible(faults, data)
        _fits(session, faults, data, outer, core)
    faults.tell()
    saved = repository.store(session, GrainPattern, data, row, version)
    shapes.check(saved)
    return saved


def _fits(session: Session, faults: Faults, data: GrainPatternIn, outer: Quantity, core: Quantity) -> None:
    """Whether a grain fits its tube and its rod."""
    units = workshop.get(session).units
    if data.casting_tube_id is not None:
        tube = repository.get(session, CastingTube, data.casting_tube_id, "casting tube")
        if outer.si > tube.inner_d_m + FIT:
            faults.add(
                "outer_d",
                f"The grain ({outer.typed}) does not fit in {tube.name}, which is "
                f"{show(tube.inner_d_m, 'length', units)} inside.",
            )
        if data.burns_outer:
            faults.add(
                "burns_outer", f"Cast in {tube.name} the outer surface cannot burn: take the tube off, or the tick."
            )
        if tube.length_m is not None and data.length.si > tube.length_m + FIT:
            faults.add(
                "length",
                f"The grain ({data.length.typed}) is longer than {tube.name}, which is cut to "
                f"{show(tube.length_m, 'length', units)}.",
            )
    if data.coring_rod_id is not None:
        rod = repository.get(session, CoringRod, data.coring_rod_id, "coring rod")
        if rod.diameter_m > core.si + FIT:
            faults.add(
                "core_d",
                f"{rod.name} ({show(rod.diameter_m, 'length', units)}) leaves a wider core than "
                f"{core.typed}; correct the core or choose another rod.",
            )


def _diameters(session: Session, data: GrainPatternIn) -> tuple[Quantity, Quantity]:
    """Outer and core diameter as typed, or as the tube and the rod give them."""
    units, outer, core, faults = workshop.get(session).units, data.outer_d, data.core_d, Faults()
    if outer is None and data.casting_tube_id is not None:
        tube = repository.get(session, CastingTube, data.casting_tube_id, "casting tube")
        outer = Quantity(tube.inner_d_m, exact(tube.inner_d_m, "length", units))
    if core is None and data.coring_rod_id is not None:
        rod = repository.get(session, CoringRod, data.coring_rod_id, "coring rod")
        core = Quantity(rod.diameter_m, exact(rod.diameter_m, "length", units))
    if outer is None:
        faults.add("outer_d", "Type it, or choose the casting tube whose inside it is.")
    if core is None:
        faults.add("core_d", "Type it, or choose the coring rod that leaves it.")
    faults.tell()
    assert outer is not None
    assert core is not None
    return outer, core


def tube_of(session: Session, pattern: GrainPattern) -> CastingTube | None:
    """The casting tube that stays on grains of a pattern, if it has one."""
    return session.get(CastingTube, pattern.casting_tube_id) if pattern.casting_tube_id else None


def doubts(session: Session, pattern: GrainPattern) -> list[str]:
    """What is odd about a pattern, though not impossible, in words."""
    units = workshop.get(session).units
    said = []
    tube = tube_of(session, pattern)
    if tube is not None and abs(pattern.outer_d_m - tube.inner_d_m) > FIT:
        said.append(
            f"{tube.name} is {show(tube.inner_d_m, 'length', units)} inside, the grain is written as "
            f"{show(pattern.outer_d_m, 'length', units)}: a cast grain fills its tube."
        )
    rod = session.get(CoringRod, pattern.coring_rod_id) if pattern.coring_rod_id else None
    if rod is not None and abs(pattern.core_d_m - rod.diameter_m) > FIT:
        said.append(
            f"{rod.name} is {show(rod.diameter_m, 'length', units)} thick, the core is written as "
            f"{show(pattern.core_d_m, 'length', units)}: the rod leaves the core."
        )
    if pattern.core_d_m < 0.2 * pattern.outer_d_m:
        said.append("The core is narrower than a fifth of the grain: gas leaves it fast, and the rod bends easily.")
    if pattern.burning_ends == 0:
        said.append("No end face burns: the burning surface grows until the grain is gone, and the pressure with it.")
    return said


# --- Cases -------------------------------------------------------------------------------------------


def save_case(session: Session, data: CaseIn, row: Case | None = None, version: int | None = None) -> Case:
    """Enter a case, or change one.

    Raises
    ------
    Refused
        The wall has no thickness, the material is not known or too hot, a proof test has no date or lies ahead, or
        the closures are told by halves.
    """
    faults = Faults()
    repository.possible(faults, data)
    if data.material not in MATERIALS:
        faults.add("material", "Choose one of the materials in the list, or “other” with its yield strength.")
    elif data.material == casing.OTHER and data.yield_strength is None:
        faults.add(
            "yield_strength",
            "Type the yield strength of this material; the book does not know it. Take the least value of its "
            "standard or data sheet.",
        )
    if data.proof_pressure is not None and data.proof_on is None:
        faults.add("proof_on", "Type the day of the proof test.")
    if data.proof_on is not None and data.proof_pressure is None:
        faults.add("proof_pressure", "Type the pressure of the proof test, or leave its day empty.")
    if data.proof_on is not None and data.proof_on > clock.today():
        faults.add("proof_on", "This day is still to come; a proof test counts when it is done.")
    with faults.one():
        closures.told_whole(data)
    with faults.one():
        repository.refuse_same(session, Case, "name", data.name, but=row)
    if not faults.found:
        with faults.one():
            closures.check(data)
    faults.tell()
    return repository.store(session, Case, data, row, version)


def wall(case: Case) -> casing.CaseMargin:
    """What a case bears by formula, looked at with its rating, its proof test or 1 MPa inside."""
    return closures.margin(case, case.rated_pressure_pa or case.proof_pressure_pa or 1e6)


def case_doubts(session: Session, case: Case) -> list[str]:
    """What is odd about a case's figures, in words."""
    units, by_formula, said = workshop.get(session).units, wall(case), []
    for name, pressure in (("rating", case.rated_pressure_pa), ("proof test", case.proof_pressure_pa)):
        if pressure is not None and pressure > by_formula.yield_pressure:
            said.append(
                f"The {name} of {show(pressure, 'pressure', units)} lies above "
                f"{show(by_formula.yield_pressure, 'pressure', units)}, where this wall begins to yield by formula: "
                "check the sizes, the material and the figure."
            )
    held = closures.retention(case)
    for name, pressure in (("rating", case.rated_pressure_pa), ("proof test", case.proof_pressure_pa)):
        if held is not None and pressure is not None and pressure > held.weakest.pressure:
            said.append(
                f"The {name} of {show(pressure, 'pressure', units)} lies above "
                f"{show(held.weakest.pressure, 'pressure', units)}, where the closures begin to give by formula "
                f"({held.weakest.words}): check the sizes and the figure."
            )
    if case.rated_pressure_pa is not None and (
        by_formula.design_pressure < case.rated_pressure_pa <= by_formula.yield_pressure
    ):
        said.append(
            f"The rating leaves less than the usual factor of {casing.FLIGHT_FACTOR:g} to the yield of the "
            f"{'closures' if by_formula.by_closure else 'wall'}; that factor would allow "
            f"{show(by_formula.design_pressure, 'pressure', units)}."
        )
    if case.rated_pressure_pa is None and case.proof_pressure_pa is None:
        said.append("There is no rating and no proof test: a formula knows nothing of scratches, threads, heat or age.")
    elif case.proof_pressure_pa is None:
        said.append("It was not proof-tested; your own water-pressure test outranks any rating and any formula.")
    return said


# --- Nozzles -----------------------------------------------------------------------------------------


def save_nozzle(session: Session, data: NozzleIn, row: Nozzle | None = None, version: int | None = None) -> Nozzle:
    """Enter a nozzle, or change one.

    Raises
    ------
    Refused
        The exit is narrower than the throat.
    """
    faults = Faults()
    repository.possible(faults, data)
    if not faults.found and row is not None and measures(session, row) and data.exit_d.si < throat_now(session, row):
        throat = show(throat_now(session, row), "length", workshop.get(session).units)
        faults.add("exit_d", f"The throat was last measured as {throat}; the exit cannot be narrower.")
    with faults.one():
        repository.refuse_same(session, Nozzle, "name", data.name, but=row)
    faults.tell()
    return repository.store(session, Nozzle, data, row, version)


def measures(session: Session, nozzle: Nozzle) -> list[NozzleMeasure]:
    """The throats measured that count, newest first."""
    found = select(NozzleMeasure).where(NozzleMeasure.nozzle_id == nozzle.pk, col(NozzleMeasure.voided_at).is_(None))
    return list(session.exec(found.order_by(col(NozzleMeasure.measured_on).desc(), col(NozzleMeasure.id).desc())))


def throat_now(session: Session, nozzle: Nozzle) -> float:
    """The throat's diameter as last measured, or as made [m]."""
    measured = measures(session, nozzle)
    return measured[0].throat_d_m if measured else nozzle.throat_d_m


def measure_nozzle(session: Session, nozzle: Nozzle, data: NozzleMeasureIn) -> NozzleMeasure:
    """Add a measured throat to a nozzle's history.

    Raises
    ------
    Refused
        The day is still to come, or the throat is wider than the exit.
    """
    if data.measured_on > clock.today():
        raise Refused("This day is still to come.", field="measured_on")
    if data.throat_d.si > nozzle.exit_d_m:
        units = workshop.get(session).units
        raise Refused(
            f"The throat ({data.throat_d.typed}) would be wider than the exit "
            f"({show(nozzle.exit_d_m, 'length', units)}); measure it again.",
            field="throat_d",
        )
    return repository.store(session, NozzleMeasure, data, nozzle_id=nozzle.pk)


def firings_of(session: Session, nozzle: Nozzle) -> list[tuple[Firing, MotorBuild]]:
    """The firings a nozzle was in, newest first, with their motors."""
    found = select(Firing, MotorBuild).join(MotorBuild, col(Firing.motor_build_id) == MotorBuild.id)
    found = found.where(MotorBuild.nozzle_id == nozzle.pk).order_by(col(Firing.fired_at).desc())
    return [(firing, build) for firing, build in session.exec(found)]
