"""The compute API's search for motors: hardware and a wish from a request, every design in the answer."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from typing import Protocol

import numpy as np
from pydantic import BaseModel

from app.calc.base.atmosphere import atmosphere
from app.calc.base.errors import CalcError
from app.calc.case import casing
from app.calc.flight.launch import Motor as Push
from app.calc.flight.launch import Pad, Rocket, batch_of
from app.calc.flight.recovery import Parachute, Recovery
from app.calc.motor.impulse import CLASS_LIMITS
from app.calc.motor.nozzle import critical_pressure_ratio
from app.calc.motor.spread import CHANCE, Spread, rate_spread
from app.calc.propellant.burn_laws import law_for_blend
from app.calc.propellant.recipe import theoretical_density
from app.calc.season.choosing import Effort, choose
from app.calc.season.hardware import Case, Day, Formula, Hardware, Nozzle, Pattern
from app.calc.season.launch import Launch, edges_along, nearest_edge
from app.models import api
from app.models import api_choices as given
from app.models.api_flight import ParachuteIn
from app.services.api.choices_answer import answer
from app.services.api.compute import UNIT, Misfit, held_by, placed, read_blend
from app.services.api.compute_motor import grain_of, law_of
from app.services.stock import blends


class _Named(Protocol):
    """What has a name of its own."""

    name: str


NO_AIR = 1e9
"""Where a wish has one end only: no rocket flies there [m]."""


def motor_choices(data: given.ChoicesIn) -> given.ChoicesOut:
    """Look at every motor that the hardware of a request allows.

    Raises
    ------
    Misfit
        An input that cannot be, with its place in the request.
    """
    if (data.rocket is None) != (data.field is None):
        missing = "field" if data.field is None else "rocket"
        raise Misfit((missing,), "A rocket and a field belong together: give both, or neither for a static test.")
    launch = _launch(data)
    hardware = _hardware(data)
    effort = Effort(data.wanted, data.most_ranged, data.samples, data.flights, data.seed)
    with placed(data):
        found = choose(hardware, launch, effort)
    return answer(found)


# --- What goes in --------------------------------------------------------------------------------


def _hardware(data: given.ChoicesIn) -> Hardware:
    _named(data.formulas, "formulas")
    _named(data.grains, "grains")
    _named(data.nozzles, "nozzles")
    _named(data.cases, "cases")
    formulas = [_formula(data, one, i) for i, one in enumerate(data.formulas)]
    hardware = Hardware(
        cases=tuple(_case(one, i) for i, one in enumerate(data.cases)),
        nozzles=tuple(_nozzle(data, one, i) for i, one in enumerate(data.nozzles)),
        patterns=tuple(_pattern(formulas, one, i) for i, one in enumerate(data.grains)),
        formulas=tuple(formulas),
        drills=tuple(data.drills_m),
        day=_day(data, formulas),
        drilled_spread=_throat_spread(data),
        least_port=data.least_port_to_throat,
        most_grains=data.most_grains,
        most_designs=20_000,
    )
    for i, nozzle in enumerate(hardware.nozzles):
        if nozzle.exit_d < nozzle.throat_d:
            raise Misfit(("nozzles", i, "exit_d_m"), "The exit is narrower than the throat. Check which is which.")
    return hardware


def _named(things: Sequence[_Named], where: str) -> None:
    """Refuse a name that stands twice: answers mean things by their names."""
    seen: set[str] = set()
    for i, thing in enumerate(things):
        if thing.name in seen:
            raise Misfit((where, i, "name"), f"“{thing.name}” stands here twice. Give each its own name.")
        seen.add(thing.name)


def _day(data: given.ChoicesIn, formulas: list[Formula]) -> Day:
    ambient = data.ambient_pressure_pa
    if data.field is not None:
        if "ambient_pressure_pa" in data.model_fields_set:
            raise Misfit(("ambient_pressure_pa",), "The field's elevation gives its air pressure; leave this out.")
        ambient = atmosphere(data.field.elevation_m).pressure
    for formula in formulas:
        choking = max(ambient / critical_pressure_ratio(float(g)) for g in formula.over_pressure[2])
        if not choking < data.igniter_pressure_pa < 5e7:
            raise Misfit(
                ("igniter_pressure_pa",),
                f"must choke the throat: above {choking / 1e6:.2f} MPa here, and below 50 MPa. Usual is 0.5 MPa.",
                "out_of_range",
            )
    return Day(ambient, data.initial_temperature_k, data.igniter_pressure_pa, data.gap_m, data.extra_area)


def _throat_spread(data: given.ChoicesIn) -> float:
    return data.spread.throat_d_m if data.spread.throat_d_m is not None else Spread().throat_d


def _formula(data: given.ChoicesIn, one: given.FormulaIn, i: int) -> Formula:
    blend = read_blend(one, one.parts, "formulas", i)
    law = law_of(one.burn_law, "formulas", i) if one.burn_law is not None else None
    with placed(one, "formulas", i):
        law = law or law_for_blend(blend)
        states = blends.states_of(blend)
        made = Formula(
            name=one.name,
            states=tuple(states),
            ideal_density=theoretical_density(blend),
            law=law,
            c_star_efficiency=one.c_star_efficiency,
            nozzle_efficiency=one.nozzle_efficiency,
            spread=replace(Spread(), burn_rate=np.hypot(rate_spread(law), CHANCE).item()),
            fired=one.fired,
        )
        for state in states:
            made.propellant(state)  # refuses a state that no propellant has
    stated = {
        **data.spread.model_dump(exclude_none=True),
        **(one.spread.model_dump(exclude_none=True) if one.spread else {}),
    }
    spread = replace(made.spread, **{UNIT.sub("", name): value for name, value in stated.items()})
    if not any(vars(spread).values()):
        raise Misfit(("spread",), "Every spread is zero. Give at least one: a motor is held to its range.")
    return replace(made, spread=spread)


def _pattern(formulas: list[Formula], one: given.PatternIn, i: int) -> Pattern:
    grain = grain_of(one, "grains", i)
    of = None
    if one.formula is not None:
        of = next((place for place, formula in enumerate(formulas) if formula.name == one.formula), None)
        if of is None:
            raise Misfit(("grains", i, "formula"), f"There is no formula “{one.formula}” among those given.")
    if one.tube_outer_d_m is not None and one.tube_outer_d_m < one.outer_d_m:
        raise Misfit(("grains", i, "tube_outer_d_m"), "The tube is narrower than the grain in it. Measure both again.")
    density = formulas[of or 0].ideal_density if formulas else grain.density
    share = grain.mass / (grain.volume * density)
    if not 0.2 <= share <= 1.1:
        raise Misfit(
            ("grains", i, "mass_kg"),
            f"makes {share:.0%} of the formula's ideal density. Check mass and sizes.",
            "out_of_range",
        )
    return Pattern(
        name=one.name,
        grain=grain,
        share=share,
        tube_d=one.tube_outer_d_m or 0.0,
        tube_mass=one.tube_mass_kg,
        formulas=None if of is None else frozenset({of}),
        most=one.count,
    )


def _nozzle(data: given.ChoicesIn, one: given.NozzleIn, i: int) -> Nozzle:
    with placed(one, "nozzles", i):
        return Nozzle(
            one.name, one.throat_d_m, one.exit_d_m, one.half_angle_rad, one.throat_growth_m, _throat_spread(data)
        )


def _case(one: given.CaseIn, i: int) -> Case:
    limit = casing.limit_of(one.rated_pressure_pa, one.proof_pressure_pa)
    if limit is None:
        limit = _by_formula(one, i)
    return Case(
        one.name,
        one.case_inner_d_m,
        one.chamber_length_m,
        limit[0],
        limit[1],
        one.empty_mass_kg,
        one.free_volume_extra_m3,
    )


def _by_formula(one: given.CaseIn, i: int) -> tuple[float, str]:
    """What a case is held to by its wall and closures."""
    if one.outer_d_m is None or one.material is None:
        missing = "outer_d_m" if one.outer_d_m is None else "material"
        raise Misfit(
            ("cases", i, missing),
            "Without a rating and a proof test a formula has to do: give outer diameter and material.",
        )
    checked = api.CaseCheckIn(
        peak_pressure_pa=1e6,
        inner_d_m=one.case_inner_d_m,
        outer_d_m=one.outer_d_m,
        material=one.material,
        yield_strength_pa=one.yield_strength_pa,
        wall_temperature_k=one.wall_temperature_k,
        factor=one.factor,
        ring=one.ring,
        bolts=one.bolts,
    )
    try:
        held = held_by(checked)
        with placed(checked):
            margin = casing.case_margin(
                1e6,
                one.case_inner_d_m,
                one.outer_d_m,
                one.material,
                yield_strength=one.yield_strength_pa,
                wall_temperature=one.wall_temperature_k,
                factor=one.factor,
                closure_pressure=held.weakest.pressure if held else None,
            )
    except Misfit as error:
        loc = tuple("case_inner_d_m" if name == "inner_d_m" else name for name in error.loc)
        raise Misfit(("cases", i, *loc), error.message, error.kind) from error
    return margin.limit, margin.limit_words


@contextmanager
def _placed_in(rocket: BaseModel, field: BaseModel) -> Iterator[None]:
    """Put a fault of a flight beside the field of the rocket or of the launch field that it means."""
    try:
        with placed(rocket, "rocket"):
            yield
    except Misfit as error:
        if error.loc != ("rocket",):
            raise
        cause = error.__cause__
        assert isinstance(cause, CalcError)
        with placed(field, "field"):
            raise cause from error


def _launch(data: given.ChoicesIn) -> Launch | None:
    rocket, field = data.rocket, data.field
    if rocket is None or field is None:
        return None

    def chute(one: ParachuteIn | None) -> Parachute | None:
        return None if one is None else Parachute(one.diameter_m, one.drag_coefficient)

    airframe = Rocket(
        rocket.dry_mass_kg,
        rocket.diameter_m,
        rocket.drag_coefficient,
        [(row.mach, row.coefficient) for row in rocket.drag_table],
        rocket.reference_diameter_m,
        rocket.reference_area_m2,
        Recovery(chute(rocket.main), chute(rocket.drogue), rocket.main_height_m, rocket.after_apogee_s),
    )
    pad = Pad(
        rocket.rail_length_m,
        rocket.tilt_rad,
        field.elevation_m,
        field.temperature_k,
        field.wind_m_s,
        field.wind_height_m,
        rocket.turning,
    )
    with _placed_in(rocket, field):
        batch_of(Push([0.0, 1.0], [1e-6, 1e-6], 1.0), airframe, pad)
    if field.gust_m_s is not None and field.gust_m_s < field.wind_m_s:
        raise Misfit(("field", "gust_m_s"), "A gust is at least as strong as the mean wind.")
    for letter in field.distances_m:
        if letter not in CLASS_LIMITS:
            raise Misfit(("field", "distances_m", letter), f"“{letter}” is no impulse class. Give letters A to O.")
    edges = nearest = None
    if field.outline_m is not None:
        corners = [(x, y) for x, y in field.outline_m]
        with placed(field, "field"):
            edges, nearest = edges_along(corners, field.wind_to_rad), nearest_edge(corners)
    return Launch(
        rocket=airframe,
        pad=pad,
        gust=field.gust_m_s,
        ceiling=field.ceiling_m,
        edges=edges,
        nearest_edge=nearest,
        distances=field.distances_m,
        delays=None if rocket.delays_s is None else tuple(rocket.delays_s),
        least_speed=rocket.least_rail_speed_m_s,
        largest_angle=rocket.largest_angle_rad,
        wish=_wish(data),
    )


def _wish(data: given.ChoicesIn) -> tuple[float, float] | None:
    low, high = data.wish_low_m, data.wish_high_m
    if low is None and high is None:
        return None
    if low is not None and high is not None and low > high:
        raise Misfit(("wish_high_m",), "The highest height wished lies below the lowest. Turn them round.")
    return low or 0.0, NO_AIR if high is None else high
