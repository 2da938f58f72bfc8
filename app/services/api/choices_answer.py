"""A search for motors as the compute API gives it: every design with its figures and its reasons."""

from math import isfinite
from typing import Literal

from app.calc.motor.uncertainty import Marks
from app.calc.season.choosing import RULE, Choices, Standing
from app.calc.season.nothing_possible import why_not
from app.calc.season.ranged import Ranged
from app.calc.season.refusals import refusals
from app.models import api_choices as given
from app.models.api_motor import MarksOut
from app.services.api.compute import sentences
from app.units import say


def answer(found: Choices) -> given.ChoicesOut:
    """A search as the interface gives it."""
    house, rank = found.designs.hardware, {index: place for place, index in enumerate(found.best, 1)}
    designs = [_design(found, i, rank.get(i)) for i in range(len(found.designs))]
    count = {what: sum(one.standing == what for one in designs) for what in ("possible", "refused", "not ranged")}
    why = why_not(found)
    first = found.ranged[found.best[0]] if found.best else next(iter(found.ranged.values()), None)
    assumed = [] if first is None else [*first.run.assumptions, *first.range.assumptions]
    if first is not None and first.flights is not None:
        assumed += [*first.flights.assumptions]
    return given.ChoicesOut(
        designs=designs,
        best=list(found.best),
        possible=count["possible"],
        refused=count["refused"],
        not_ranged=count["not ranged"],
        why_not=None if why is None else say(why),
        rule=RULE,
        limits=[given.CaseLimitOut(case=c.name, limit_pa=c.limit, limit_words=c.limit_words) for c in house.cases],
        left_out=sentences(found.designs.left_out),
        notes=list(dict.fromkeys(formula.law.note for formula in house.formulas if formula.law.note)),
        assumptions=sentences(assumed),
    )


_STANDING: dict[Standing, Literal["possible", "refused", "not ranged"]] = {
    Standing.POSSIBLE: "possible",
    Standing.NOT_RANGED: "not ranged",
}


def _design(found: Choices, index: int, rank: int | None) -> given.DesignOut:
    d, e, one = found.designs, found.expected, found.ranged.get(index)
    house, stack = d.hardware, d.stacks[d.stack[index]]
    case = house.cases[d.case[index]]
    peak = one.run.peak_pressure if one is not None else _number(e.peak_pressure[index])
    return given.DesignOut(
        case=case.name,
        nozzle=house.nozzles[d.nozzle[index]].name,
        throat_d_m=float(d.throat_d[index]),
        drilled_by_m=float(d.drilled[index]),
        formula=house.formulas[d.formula[index]].name,
        grains=[given.OfGrainOut(pattern=house.patterns[p].name, count=n) for p, n in stack.parts],
        standing=_STANDING.get(found.standing(index), "refused"),
        rank=rank,
        propellant_mass_kg=float(d.propellant_mass[index]),
        port_to_throat=_number(d.port_to_throat[index]),
        slenderness=float(d.slenderness[index]),
        peak_pressure_pa=peak,
        of_limit=None if peak is None else peak / case.limit,
        total_impulse_n_s=one.run.total_impulse if one is not None else _number(e.total_impulse[index]),
        burn_time_s=one.run.burn_time if one is not None else _number(e.burn_time[index]),
        mean_thrust_n=one.run.mean_thrust if one is not None else _number(e.mean_thrust[index]),
        liftoff_mass_kg=_number(e.liftoff_mass[index]),
        thrust_to_weight=_number(e.thrust_to_weight[index]),
        rail_exit_speed_m_s=_of_flight(one, "rail_exit_speed", e.rail_exit_speed[index]),
        apogee_m=_of_flight(one, "apogee", e.apogee[index]),
        coast_time_s=_of_flight(one, "coast_time", e.coast_time[index]),
        delay_s=one.delay if one is not None else None,
        ranges=None if one is None else _ranges(one),
        reasons=[
            given.ReasonOut(kind=r.kind, words=say(r.words), change=None if r.change is None else say(r.change))
            for r in refusals(found, index)
        ],
    )


def _number(value: float) -> float | None:
    return float(value) if isfinite(value) else None


def _of_flight(one: Ranged | None, name: str, expected: float) -> float | None:
    if one is not None and one.flight is not None:
        return float(getattr(one.flight, name))
    return _number(expected)


def _ranges(one: Ranged) -> given.RangesOut:
    flown, drawn = one.flights, one.range

    def marks(of: Marks | None) -> MarksOut | None:
        return None if of is None or not isfinite(of.mid) else MarksOut(low=of.low, mid=of.mid, high=of.high)

    def sure(of: Marks) -> MarksOut:
        return MarksOut(low=of.low, mid=of.mid, high=of.high)

    return given.RangesOut(
        peak_pressure_pa=sure(drawn.peak_pressure),
        total_impulse_n_s=sure(drawn.total_impulse),
        burn_time_s=sure(drawn.burn_time),
        highest_m=marks(flown.highest if flown else None),
        rail_exit_speed_m_s=marks(flown.rail_exit_speed if flown else None),
        coast_time_s=marks(flown.coast_time if flown else None),
        landing_distance_m=marks(flown.landing_distance if flown else None),
        above_ceiling=flown.above_ceiling if flown else None,
        outside_field=flown.outside_field if flown else None,
    )
