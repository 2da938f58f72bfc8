"""From the book to a search for motors: what the workshop has, where a wish flies, and all of it in numbers."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from sqlmodel import Session

from app.calc.base.atmosphere import atmosphere
from app.calc.base.errors import CalcError
from app.calc.flight.launch import Pad
from app.calc.flight.launch import Rocket as Airframe
from app.calc.motor.impulse import CLASS_LIMITS
from app.calc.season import hardware as calc
from app.calc.season.choosing import Effort
from app.calc.season.launch import LEAST_RAIL_SPEED, Launch
from app.errors import Refused
from app.models import Case, Formula, GrainPattern, LaunchField, Nozzle, Rocket, Wish, Workshop
from app.services.book import calculation_key, repository, workshop
from app.services.flight import flights
from app.services.grains.shelf import Standing
from app.services.hardware import closures, distances, drills, inventory, places, shapes, throats
from app.services.learning import learning
from app.services.learning.learning import Evidence
from app.services.motors import clearance, motor_setup, prediction
from app.services.season.planned_for import Planned
from app.services.stock import blends, formulas

LOOSE = 0.15
"""A grain narrower than the bore by more than this share of it stands loose in it and is left out [-]: Grainbook's own
mark, no source."""

EFFORT = Effort()
"""How much is done for one search."""

SEARCHED_BY = ("app.calc.season.choosing", "app.services.season.motor_answer")


@dataclass(frozen=True)
class Search:
    """A search as it is begun: hardware, launch and effort, the identities of the book's rows at the places that it
    means, drills by their diameter, and what was left out for a reason of the book's; `inputs` are all of its numbers.
    """

    hardware: calc.Hardware
    launch: Launch | None
    effort: Effort
    case_ids: tuple[int, ...]
    nozzle_ids: tuple[int, ...]
    pattern_ids: tuple[int, ...]
    formula_ids: tuple[int, ...]
    drill_ids: dict[float, int]
    left_out: tuple[str, ...]
    inputs: dict[str, Any]


def for_wish(session: Session, wish: Wish, planned: Planned) -> Search:
    """The search for a wish's motors in a wind and with delays: of a static test, of its formula in its case.

    Raises
    ------
    Refused
        A rocket or field of the wish that nothing can fly from.
    """
    if wish.kind == "test":
        case = repository.get(session, Case, wish.case_id or 0, "case")
        formula = formulas.get(session, wish.formula_id or 0)
        return _made(session, [case], [formula], None, None)
    rocket = repository.get(session, Rocket, wish.rocket_id or 0, "rocket")
    field = repository.get(session, LaunchField, wish.launch_field_id or 0, "field")
    heights = (wish.height_low_m or 0.0, wish.height_high_m or 0.0)
    launch = launch_of(session, rocket, field, planned, heights)
    return _made(session, inventory.cases(session), formulas.current(session), launch, field)


def from_shelf(session: Session, wish: Wish, standing: Sequence[Standing], planned: Planned) -> Search:
    """The search among motors of grains that lie there: no more of a pattern and formula than there are.

    Raises
    ------
    Refused
        As `for_wish`.
    """
    rocket = repository.get(session, Rocket, wish.rocket_id or 0, "rocket")
    field = repository.get(session, LaunchField, wish.launch_field_id or 0, "field")
    launch = launch_of(session, rocket, field, planned, (wish.height_low_m or 0.0, wish.height_high_m or 0.0))
    found = repository.by_id(session, Formula, {grain.formula_id for grain in standing})
    there = [found[key] for key in sorted(found)]
    return _made(session, inventory.cases(session), there, launch, field, standing)


def launch_of(
    session: Session, rocket: Rocket, field: LaunchField, planned: Planned, heights: tuple[float, float]
) -> Launch:
    """A rocket on a field, wished to heights [m], and what is asked of a flight there."""
    house, edge = workshop.get(session), places.edge(field, None)
    known = {letter: found.single_m for letter in CLASS_LIMITS if (found := distances.least(session, letter))}
    return Launch(
        rocket=Airframe(
            rocket.mass_kg,
            rocket.diameter_m,
            rocket.drag_coefficient,
            places.drag_table(rocket),
            rocket.reference_d_m,
            rocket.reference_area_m2,
            places.recovery(rocket, None),
        ),
        pad=Pad(
            rocket.rail_length_m or flights.USUAL_RAIL_M,
            -(rocket.rail_tilt_rad or 0.0),
            field.elevation_m,
            None,
            planned.wind_m_s,
            flights.WIND_HEIGHT_M,
            flights.TURNING,
        ),
        ceiling=field.ceiling_m,
        edges=None if edge is None else (edge[0], edge[0]),
        nearest_edge=None if edge is None else edge[0],
        distances=known,
        delays=planned.delays_s,
        least_speed=LEAST_RAIL_SPEED,
        largest_angle=house.rail_angle_rad,
        wish=heights,
    )


def _made(
    session: Session,
    cases: Sequence[Case],
    of: Sequence[Formula],
    launch: Launch | None,
    field: LaunchField | None,
    standing: Sequence[Standing] | None = None,
) -> Search:
    house, left_out = workshop.get(session), list[str]()
    held = [_case(case) for case in cases]
    nozzles, tools = inventory.nozzles(session), drills.drills(session)
    known = [_nozzle(session, nozzle) for nozzle in nozzles]
    seen = learning.evidence(session)
    mixes = [made for formula in of for made in _formulas(session, house, formula, cases, seen, left_out)]
    if standing is None:
        rows = inventory.patterns(session)
        patterns = [_pattern(session, house, pattern, cases, left_out) for pattern in rows]
    else:
        rows, patterns = _lying(session, of, mixes, cases, standing, left_out)
    elevation = field.elevation_m if field is not None else _usual_elevation(session)
    hardware = calc.Hardware(
        cases=tuple(held),
        nozzles=tuple(known),
        patterns=tuple(patterns),
        formulas=tuple(mix for _, mix in mixes),
        drills=tuple(drill.diameter_m for drill in tools),
        day=calc.Day(atmosphere(elevation).pressure, motor_setup.ROOM, house.igniter_pressure_pa, house.grain_gap_m),
        least_port=house.least_port_to_throat,
    )
    effort = EFFORT
    return Search(
        hardware=hardware,
        launch=launch,
        effort=effort,
        case_ids=tuple(case.pk for case in cases),
        nozzle_ids=tuple(nozzle.pk for nozzle in nozzles),
        pattern_ids=tuple(pattern.pk for pattern in rows),
        formula_ids=tuple(formula.pk for formula, _ in mixes),
        drill_ids={drill.diameter_m: drill.pk for drill in tools},
        left_out=tuple(dict.fromkeys(left_out)),
        inputs=_inputs(hardware, launch, effort, [formula for formula, _ in mixes], left_out),
    )


def _usual_elevation(session: Session) -> float:
    fields = places.fields(session)
    return fields[0].elevation_m if fields else 0.0


def _case(case: Case) -> calc.Case:
    margin = closures.margin(case, 1e6)
    empty = case.empty_mass_kg
    if empty is None:
        empty = flights.rough_empty(case.inner_d_m, case.outer_d_m, case.chamber_length_m)
    return calc.Case(
        case.name, case.inner_d_m, case.chamber_length_m, margin.limit, margin.limit_words, empty_mass=empty
    )


def _nozzle(session: Session, nozzle: Nozzle) -> calc.Nozzle:
    half_angle = nozzle.divergence_rad if nozzle.divergence_rad is not None else motor_setup.USUAL_HALF_ANGLE
    return calc.Nozzle(
        nozzle.name,
        inventory.throat_now(session, nozzle),
        nozzle.exit_d_m,
        half_angle,
        throats.growth(session, nozzle).per_firing,
        throats.as_last_measured(session, nozzle).spread,
    )


def _formulas(
    session: Session, house: Workshop, formula: Formula, cases: Sequence[Case], seen: Evidence, left_out: list[str]
) -> list[tuple[Formula, calc.Formula]]:
    """A formula in each case, as firings have taught it there; none where it has no burn law or no state."""
    found = []
    for place, case in enumerate(cases):
        try:
            taught = learning.factors(session, formula, case, seen)
            law, c_star, nozzle = prediction.as_taught(formula, house, taught)
            states = tuple(blends.states(session, formula))
        except (CalcError, Refused) as error:
            left_out.append(f"{formula.label}: {error}")
            return []
        made = calc.Formula(
            name=formula.name,
            states=states,
            ideal_density=formulas.ideal_density(formula),
            law=law,
            c_star_efficiency=c_star,
            nozzle_efficiency=nozzle,
            spread=prediction.spread_of(taught),
            correlation=np.array(taught.correlation),
            seen=taught.rate.moved or 0.0,
            fired=len(taught.firing_ids),
            cases=frozenset({place}),
        )
        found.append((formula, made))
    return found


def _cases_for(
    session: Session, pattern: GrainPattern, outer_d: float, cases: Sequence[Case], left_out: list[str]
) -> frozenset[int]:
    wide = clearance.width(session, pattern, outer_d)
    loose = [case for case in cases if wide < (1 - LOOSE) * case.inner_d_m]
    left_out += [f"{pattern.name} stands loose in {case.name} and was not tried there." for case in loose]
    return frozenset(i for i, case in enumerate(cases) if case not in loose)


def _pattern(
    session: Session, house: Workshop, pattern: GrainPattern, cases: Sequence[Case], left_out: list[str]
) -> calc.Pattern:
    grain = shapes.grain(pattern, pattern, shapes.volume(pattern) * 1000.0)
    return calc.Pattern(
        pattern.name,
        grain,
        house.expected_density_share,
        clearance.tube_od(session, pattern),
        clearance.tube_mass(session, pattern),
        cases=_cases_for(session, pattern, pattern.outer_d_m, cases, left_out),
    )


def _lying(
    session: Session,
    of: Sequence[Formula],
    mixes: Sequence[tuple[Formula, calc.Formula]],
    cases: Sequence[Case],
    standing: Sequence[Standing],
    left_out: list[str],
) -> tuple[list[GrainPattern], list[calc.Pattern]]:
    """Each kind of grain that lies there: as many as there are, at their mean mass."""
    kinds: dict[tuple[int, int], list[Standing]] = {}
    for grain in standing:
        kinds.setdefault((grain.formula_id, grain.pattern_id), []).append(grain)
    rows = repository.by_id(session, GrainPattern, {pattern for _, pattern in kinds})
    label = {formula.pk: formula for formula in of}
    found, made = [], []
    for (formula_id, pattern_id), grains in sorted(kinds.items()):
        pattern, formula = rows[pattern_id], label[formula_id]
        mean = float(np.mean([grain.mass_kg for grain in grains]))
        volume = shapes.volume(pattern)
        share = mean / (volume * formulas.ideal_density(formula))
        if not 0.5 < share < 1.1:
            left_out.append(f"{pattern.name} of {formula.label}: masses that do not fit its sizes.")
            continue
        found.append(pattern)
        made.append(
            calc.Pattern(
                pattern.name,
                shapes.grain(pattern, pattern, mean),
                share,
                clearance.tube_od(session, pattern),
                clearance.tube_mass(session, pattern),
                formulas=frozenset(i for i, (row, _) in enumerate(mixes) if row.pk == formula_id),
                cases=_cases_for(session, pattern, pattern.outer_d_m, cases, left_out),
                most=len(grains),
            )
        )
    return found, made


def _inputs(
    hardware: calc.Hardware, launch: Launch | None, effort: Effort, of: Sequence[Formula], left_out: Sequence[str]
) -> dict[str, Any]:
    """All that goes into a search, as plain JSON, the calculation's own name among it."""
    return {
        "by": calculation_key.name(*SEARCHED_BY),
        "cases": [asdict(case) for case in hardware.cases],
        "nozzles": [asdict(nozzle) for nozzle in hardware.nozzles],
        "patterns": [_plain(asdict(pattern)) for pattern in hardware.patterns],
        "formulas": [
            {
                "name": mix.name,
                "id": row.pk,
                "blend": row.blend,
                "law": asdict(mix.law),
                "efficiencies": [mix.c_star_efficiency, mix.nozzle_efficiency],
                "spread": asdict(mix.spread),
                "correlation": None if mix.correlation is None else mix.correlation.tolist(),
                "seen": mix.seen,
                "fired": mix.fired,
                "cases": sorted(mix.cases or ()),
            }
            for row, mix in zip(of, hardware.formulas, strict=True)
        ],
        "drills": list(hardware.drills),
        "day": asdict(hardware.day),
        "rules": [hardware.least_port, hardware.most_grains],
        "launch": None if launch is None else _plain(asdict(launch)),
        "effort": asdict(effort),
        "left_out": list(left_out),
    }


def _plain(value: Any) -> Any:
    """As JSON has it."""
    if isinstance(value, dict):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(inner) for inner in value]
    if isinstance(value, frozenset):
        return sorted(value)
    if isinstance(value, np.ndarray):
        return value.tolist()
    return value
