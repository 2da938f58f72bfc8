"""From the book to what a season's plan is made from: plain JSON that is kept with the plan, and read by `casting`.

Grains go by kind: a pattern of a formula. Built motors that wait for their flight count as their grains. Of an
ingredient that is on its way, no more is planned with than is there, until the last delivery has come; of any other,
what lacks is bought in time.
"""

from collections import Counter
from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from math import ceil
from typing import Any

from sqlmodel import Session, col, select

from app import clock
from app.calc.propellant.recipe import theoretical_density
from app.errors import Refused
from app.models import Batch, CoringRod, Delivery, Formula, Grain, GrainPattern, RunSheet, Season
from app.services.book import workshop
from app.services.cast import editions, needs
from app.services.grains import shelf, waste
from app.services.hardware import shapes
from app.services.season import evenings, overview, wishes
from app.services.season.overview import USABLE, Kind, Line, Overview
from app.services.stock import batches

Inputs = dict[str, Any]

DAY_S = 86400.0

BOUGHT_KG = 1e4
"""Once the last delivery has come, further bags can be bought [kg]."""

SAME_EVENING_H = 3.0
"""A rod that is free again after less serves the next melt of the evening [h]; Grainbook's own choice."""


def names(session: Session, kinds: Iterable[Kind]) -> dict[Kind, str]:
    """What each kind of grain is called: its pattern, and its formula where the pattern is cast of several."""
    listed = sorted(set(kinds))
    patterns = Counter(pattern for _, pattern in listed)
    found = {}
    for formula_id, pattern_id in listed:
        pattern = session.get_one(GrainPattern, pattern_id).name
        several = f" of {session.get_one(Formula, formula_id).label}" if patterns[pattern_id] > 1 else ""
        found[formula_id, pattern_id] = pattern + several
    return found


def of(session: Session, season: Season, seen: Overview | None = None) -> Inputs:
    """All that goes into a season's plan, as the book stands now.

    Raises
    ------
    Refused
        Nothing is wanted, no motor is chosen for anything, or the pan's capacity is not stated.
    """
    seen = seen or overview.of(session, season)
    lines = [line for line in seen.lines if line.motor and line.left and line.wish.by_on >= clock.today()]
    if not lines:
        raise Refused(_nothing(seen))
    shop = workshop.get(session)
    if shop.pan_capacity_kg is None:
        raise Refused(
            "How much does your pan hold safely, with room to stir and for a melt that foams? Type it once; it is kept "
            "in the settings.",
            field="pan_capacity",
        )
    called = names(session, (kind for line in lines if line.motor for kind in line.motor.kinds))
    there = evenings.evenings(session, season)
    promised = _promised(session, called)
    lying = _lying(session, called)
    kinds = {name: _kind(session, kind, shop.expected_density_share) for kind, name in called.items()}
    return {
        "today": clock.today().isoformat(),
        "flights": [_flight(line, called) for line in lines],
        "kinds": kinds,
        "shelf": lying,
        "bench": {
            "pan_kg": shop.pan_capacity_kg,
            "over_pour": shop.over_pour_share,
            "test_pieces_kg": shop.test_pieces_kg,
            "tools": _tools(session, called),
            "melts_per_evening": season.melts_per_evening,
            "cure_days": ceil(shop.cure_s / DAY_S),
            "rod_held_h": _rod_held(session),
            "most_held_kg": shop.hold_limit_kg,
            "held_besides_kg": _besides(session, lying, kinds),
            "remelt_limit": shop.remelt_limit_share,
        },
        "evenings": [
            {"on": one.on.isoformat(), "melts": one.melts, "cure_days": ceil(one.cure_s / DAY_S)} for one in there
        ],
        "rejects": {name: _record(session, kind) for kind, name in called.items()},
        "confidence": season.confidence_share,
        "promised": promised,
        "spare": _spare(lines, called) if season.spare_sets else {},
        **_supplies(session, called),
    }


def _nothing(seen: Overview) -> str:
    if not any(line.left for line in seen.lines):
        return "Nothing is wanted that was not flown. Write on the list what you want to fly."
    if seen.without_motor:
        return f"Choose a motor for {seen.without_motor[0].name} first: its grains follow from it."
    return "Every day on the list is past. Give a wish another day."


def _flight(line: Line, called: Mapping[Kind, str]) -> Inputs:
    assert line.motor is not None
    return {
        "wish_id": line.wish.pk,
        "name": line.name,
        "count": line.left,
        "wished": line.wish.count,
        "grains": {called[kind]: count for kind, count in line.motor.kinds.items()},
        "by": line.wish.by_on.isoformat(),
        "test": line.wish.kind == "test",
        "first": line.wish.comes_first,
        "priority": wishes.ORDER[line.wish.matters] + 1,
    }


def _kind(session: Session, kind: Kind, density_share: float) -> Inputs:
    formula, pattern = session.get_one(Formula, kind[0]), session.get_one(GrainPattern, kind[1])
    mass = shapes.volume(pattern) * theoretical_density(formula.blend) * density_share
    return {"formula": formula.label, "mass_kg": mass, "formula_id": kind[0], "pattern_id": kind[1]}


def _lying(session: Session, called: Mapping[Kind, str]) -> list[Inputs]:
    """Good grains on the shelf by the day they are ready, and those in motors that wait for their flight."""
    found: Counter[tuple[str, str]] = Counter()
    for grain in shelf.standing(session):
        name = called.get((grain.formula_id, grain.pattern_id))
        if name and grain.state in USABLE:
            found[name, clock.local(grain.cured_at).date().isoformat()] += 1
    for (_, inside), motors in overview.built(session).items():
        for kind, count in inside:
            if kind in called:
                found[called[kind], clock.today().isoformat()] += motors * count
    return [{"pattern": name, "count": count, "ready": day} for (name, day), count in sorted(found.items())]


def _besides(session: Session, lying: Iterable[Inputs], kinds: Mapping[str, Inputs]) -> float:
    """What is held that the plan does not fly [kg]: held and rejected grains, other kinds, leftovers, scrap."""
    counted = sum(one["count"] * kinds[one["pattern"]]["mass_kg"] for one in lying)
    return float(max(waste.held(session).kg - counted, 0.0))


def _promised(session: Session, called: Mapping[Kind, str]) -> list[Inputs]:
    """Melts that are planned or cast and whose grains are not all decided on, by their day."""
    weighed: Counter[tuple[str, Kind]] = Counter()
    undecided: Counter[tuple[str, Kind]] = Counter()
    for grain in shelf.standing(session):
        kind = grain.formula_id, grain.pattern_id
        undecided[grain.lot, kind] += grain.state == "weighed"
    counted = select(Batch.code, Batch.formula_id, Grain.pattern_id).join(Grain, col(Grain.batch_id) == col(Batch.id))
    for code, formula_id, pattern_id in session.exec(counted):
        weighed[code, (formula_id, pattern_id)] += 1
    found = []
    recent = clock.today() - timedelta(days=60)
    for batch in session.exec(select(Batch).where(Batch.state != "dropped").order_by(col(Batch.planned_for))):
        if batch.state == "cast" and batch.planned_for < recent:
            continue
        grains: dict[str, int] = {}
        for item in batch.items:
            kind = batch.formula_id, item.pattern_id
            if kind not in called:
                continue
            none_yet = not any(weighed[batch.code, (batch.formula_id, one.pattern_id)] for one in batch.items)
            coming = max(item.count - weighed[batch.code, kind], 0) if batch.state != "cast" or none_yet else 0
            if coming + undecided[batch.code, kind]:
                grains[called[kind]] = coming + undecided[batch.code, kind]
        on = batch.planned_for if batch.state == "cast" else max(batch.planned_for, clock.today())
        if grains or (batch.state != "cast" and batch.planned_for >= clock.today()):
            formula = batches.formula_of(session, batch).label
            found.append({"on": on.isoformat(), "code": batch.code, "formula": formula, "grains": grains})
    return found


def _record(session: Session, kind: Kind) -> list[list[int]]:
    """Of each melt that had this pattern: grains rejected, and grains decided on."""
    found: dict[int, list[int]] = {}
    query = select(Grain.batch_id, Grain.decision).where(Grain.pattern_id == kind[1], col(Grain.decision).is_not(None))
    for batch_id, decision in session.exec(query):
        melt = found.setdefault(batch_id, [0, 0])
        melt[0] += decision == "reject"
        melt[1] += 1
    return sorted(found.values())


def _tools(session: Session, called: Mapping[Kind, str]) -> list[Inputs]:
    """Kinds that are cored with the same rod, and how many of it there are; without a number it does not limit."""
    found: dict[int, list[str]] = {}
    for (_, pattern_id), name in called.items():
        rod_id = session.get_one(GrainPattern, pattern_id).coring_rod_id
        if rod_id is not None:
            found.setdefault(rod_id, []).append(name)
    rods = {rod_id: session.get_one(CoringRod, rod_id).owned for rod_id in found}
    return [{"patterns": sorted(of), "sets": rods[rod_id]} for rod_id, of in found.items() if rods[rod_id]]


def _rod_held(session: Session) -> float:
    """How long a poured grain keeps its rod, by the run sheet [h]; nothing where the next melt has it again."""
    sheet = editions.newest_of(session, RunSheet)
    pull = next((line for line in sheet.lines if line.kind == "pull"), None) if sheet else None
    hours = (pull.after_s or 0.0) / 3600 if pull is not None else 0.0
    return hours if hours > SAME_EVENING_H else 0.0


def _spare(lines: Iterable[Line], called: Mapping[Kind, str]) -> dict[str, dict[str, int]]:
    """For each field day one set of each motor that is flown on it."""
    found: dict[str, dict[str, int]] = {}
    seen: set[tuple[date, frozenset[tuple[Kind, int]]]] = set()
    for line in lines:
        if line.wish.kind != "flight" or line.motor is None:
            continue
        inside = frozenset(line.motor.kinds.items())
        if (line.wish.by_on, inside) not in seen:
            seen.add((line.wish.by_on, inside))
            of_day = found.setdefault(line.wish.by_on.isoformat(), {})
            for kind, count in inside:
                of_day[called[kind]] = of_day.get(called[kind], 0) + count
    return found


def _supplies(session: Session, called: Mapping[Kind, str]) -> Inputs:
    """What is there and comes of each ingredient on its way, blends, and leftovers that save some of it."""
    coming = session.exec(
        select(Delivery).where(
            col(Delivery.ingredient).is_not(None), col(Delivery.arrived_on).is_(None), col(Delivery.voided_at).is_(None)
        )
    ).all()
    tomorrow = clock.today() + timedelta(days=1)
    stock = needs.stock(session)
    there, (asked, asked_leftovers) = stock.on_shelf, stock.promised()
    found = []
    for ingredient in sorted({delivery.ingredient or "" for delivery in coming}):
        mine = [delivery for delivery in coming if delivery.ingredient == ingredient]
        free = max(there.get(ingredient, 0.0) - asked.get(ingredient, 0.0), 0.0)
        found.append({"ingredient": ingredient, "kg": free, "on": clock.today().isoformat()})
        days = [max(delivery.due_on, tomorrow) for delivery in mine]
        found += [
            {"ingredient": ingredient, "kg": one.mass_kg or 0.0, "on": day.isoformat()}
            for one, day in zip(mine, days, strict=True)
        ]
        found.append({"ingredient": ingredient, "kg": BOUGHT_KG, "on": max(days).isoformat()})
    formulas = {formula_id: session.get_one(Formula, formula_id) for formula_id, _ in called}
    remelt: dict[str, float] = {}
    for leftover, left in batches.leftovers(session) if found else ():
        formula = formulas.get(session.get_one(Batch, leftover.batch_id).formula_id)
        if formula is not None:
            free = max(left - asked_leftovers.get(leftover.pk, 0.0), 0.0)
            remelt[formula.label] = remelt.get(formula.label, 0.0) + free
    return {
        "deliveries": found,
        "blends": {formula.label: formula.blend for formula in formulas.values()},
        "remelt_kg": remelt,
    }
