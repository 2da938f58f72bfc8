"""What is short for a season, by when, in the sizes it is sold in, and from which bags the rest is taken."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import ceil

from sqlmodel import Session, col, select

from app import clock
from app.calc.season.packs import Packs, cheapest
from app.models import Batch, Consumable, Formula, GrainPattern, Season
from app.models.money import Money
from app.services.book import repository, workshop
from app.services.cast import needs
from app.services.hardware import shapes
from app.services.season import casting, costs
from app.services.season.casting import Casting
from app.services.season.costs import Sum
from app.services.season.overview import Kind, Overview
from app.services.stock import batches, consumables, deliveries, formulas, sizes, supplies, things
from app.services.stock.sizes import Size
from app.services.stock.things import Thing

SMALL = 1e-6
"""Less than this is not short [kg]: a milligram, finer than any bench scale."""


@dataclass(frozen=True)
class Melt:
    """A melt to come: on which evening, where it is planned, of what, and how much it takes [kg]."""

    on: date | None
    formula: Formula
    grains: Counter[int]
    mass_kg: float


@dataclass(frozen=True)
class Buy:
    """So many packs of one size."""

    count: int
    size: Size


@dataclass(frozen=True)
class Row:
    """One thing: needed, there and coming [kg, or pieces], what is short by when, and what to buy for it.

    `bags` are the bags that it is taken from, oldest first, with how much of each [kg].
    """

    thing: Thing
    needed: float
    there: float
    coming: float
    short: float
    by: date | None
    buy: list[Buy]
    cost: Money | None
    bags: list[tuple[str, float]]

    @property
    def is_mass(self) -> bool:
        """Whether it goes by mass."""
        return self.thing.ingredient is not None


@dataclass(frozen=True)
class Shopping:
    """The list, what it comes to in one currency, and what has no price or no size."""

    rows: list[Row]
    total: Money | None
    lacks: tuple[str, ...]
    mixed: bool
    budget: Money | None
    over_budget: float

    @property
    def short(self) -> list[Row]:
        """What is to be bought."""
        return [row for row in self.rows if row.short > 0]


def melts_without_plan(session: Session, seen: Overview) -> list[Melt]:
    """The melts that the lacking grains would take at least, where no plan says on which evenings: pans as full as can
    be, with the workshop's share of rejects on top.
    """
    shop = workshop.get(session)
    rejected, decided = costs.reject_record(session)
    share = rejected / decided if decided else 0.0
    lacking = Counter(seen.lacking)
    lacking.subtract(_under_way(session))
    by_formula: dict[int, Counter[int]] = {}
    for (formula_of, pattern), count in lacking.items():
        if count > 0:
            by_formula.setdefault(formula_of, Counter())[pattern] += ceil(count / (1 - min(share, 0.9)))
    found = []
    for formula_id, grains in by_formula.items():
        formula = formulas.get(session, formula_id)
        bare = sum(_grain_kg(session, formula, pattern) * count for pattern, count in grains.items())
        mass = bare * (1 + shop.over_pour_share)
        pans = ceil(mass / max((shop.pan_capacity_kg or mass) - shop.test_pieces_kg, SMALL))
        found.append(Melt(None, formula, grains, mass + pans * shop.test_pieces_kg))
    return found


def melts_of_plan(session: Session, found: Casting) -> list[Melt]:
    """The melts of a plan that are to come and were not made into batches yet."""
    kinds = casting.kinds_of(found.row)
    melts = []
    for evening in found.ahead:
        if evening.batches:
            continue
        for melt in evening.melts:
            grains: Counter[int] = Counter()
            formula_id = 0
            for name, count in melt.grains.items():
                formula_id, pattern_id = kinds[name]
                grains[pattern_id] += count
            melts.append(Melt(evening.on, formulas.get(session, formula_id), grains, melt.mass_kg))
    return melts


def _under_way(session: Session) -> Counter[Kind]:
    """Grains of batches that are planned or being cast: their ingredients are promised already."""
    found: Counter[Kind] = Counter()
    for batch in session.exec(select(Batch).where(col(Batch.state).in_(batches.OPEN_STATES))):
        for item in batch.items:
            found[batch.formula_id, item.pattern_id] += item.count
    return found


def _grain_kg(session: Session, formula: Formula, pattern_id: int) -> float:
    pattern = repository.get(session, GrainPattern, pattern_id, "grain pattern")
    density = formulas.ideal_density(formula) * workshop.get(session).expected_density_share
    return shapes.volume(pattern) * density


def of(session: Session, season: Season, seen: Overview, melts: Sequence[Melt]) -> Shopping:
    """The shopping list of a season, for these melts and all that is still to be fired."""
    promised, _ = needs.stock(session).promised()
    rows = [
        row for row in [*_ingredients(session, melts, promised), *_consumables(session, seen, melts)] if row.needed > 0
    ]
    total, lacks = Sum(), []
    for row in rows:
        if row.short > 0:
            if row.cost is None:
                lacks.append(row.thing.name)
            else:
                total.add(row.thing.name, row.cost, 1)
    budget = None if season.budget is None else Money(season.budget, season.budget_currency)
    money = total.money
    known = budget is not None and money is not None and budget.currency in ("", money.currency)
    over = money.amount - budget.amount if known and money and budget else 0.0
    return Shopping(rows, money, tuple(lacks), total.mixed, budget, max(over, 0.0))


def _ingredients(session: Session, melts: Sequence[Melt], promised: dict[str, float]) -> list[Row]:
    wanted: dict[str, float] = {}
    by_day: dict[str, list[tuple[date, float]]] = {}
    for melt in melts:
        for ingredient, share in melt.formula.blend.items():
            wanted[ingredient] = wanted.get(ingredient, 0.0) + melt.mass_kg * share
            by_day.setdefault(ingredient, []).append((melt.on or clock.today(), melt.mass_kg * share))
    there, coming = supplies.on_shelf(session), _coming(session)
    found = []
    for ingredient, needed in wanted.items():
        thing = Thing(ingredient, None)
        free = there.get(ingredient, 0.0) - promised.get(ingredient, 0.0)
        expected = coming.get(thing.key, [])
        by, short = _first_short(sorted(by_day[ingredient], key=lambda pair: pair[0]), free, expected)
        bags = _from_bags(session, ingredient, needed, promised.get(ingredient, 0.0))
        total = promised.get(ingredient, 0.0) + needed
        found.append(_row(session, thing, total, there.get(ingredient, 0.0), expected, short, by, bags))
    return found


def _first_short(
    wanted: Sequence[tuple[date, float]], free: float, coming: Sequence[tuple[date, float]]
) -> tuple[date | None, float]:
    """The first day on which it does not reach, and how much is short in the end that does not come in time."""
    taken, first = 0.0, None
    worst = 0.0
    for day, mass in wanted:
        taken += mass
        have = free + sum(amount for due, amount in coming if due <= day)
        if taken - have > SMALL:
            first = first or day
            worst = max(worst, taken - have)
    return first, worst


def _from_bags(session: Session, ingredient: str, needed: float, promised: float) -> list[tuple[str, float]]:
    """The bags it is taken from, oldest first, behind what planned batches take."""
    left, found, skip = supplies.remaining(session), [], promised
    for bag in supplies.bags(session, ingredient):
        free = left[bag.pk]
        passed = min(free, skip)
        skip -= passed
        taken = min(free - passed, needed)
        if taken > SMALL:
            found.append((bag.mark, taken))
            needed -= taken
    return found


def _coming(session: Session) -> dict[str, list[tuple[date, float]]]:
    found: dict[str, list[tuple[date, float]]] = {}
    for row in deliveries.coming(session):
        thing = things.of_row(session, row.ingredient, row.consumable_id)
        amount = row.mass_kg if row.mass_kg is not None else float(row.count or 0)
        found.setdefault(thing.key, []).append((row.due_on, amount))
    return found


def _consumables(session: Session, seen: Overview, melts: Sequence[Melt]) -> list[Row]:
    coming, found = _coming(session), []
    for row in things.consumables(session):
        thing = Thing(None, row)
        needed = row.per_use * _times(session, row, seen, melts)
        there, expected = consumables.left(session, row), coming.get(thing.key, [])
        short = ceil(max(needed - there - sum(amount for _, amount in expected), 0.0) - SMALL)
        by = min((line.wish.by_on for line in seen.lines if line.left), default=None)
        if row.used_by in ("grain", "melt", "evening"):
            by = min((melt.on for melt in melts if melt.on), default=None)
        found.append(_row(session, thing, needed, there, expected, short, by if short else None, []))
    return found


def _times(session: Session, row: Consumable, seen: Overview, melts: Sequence[Melt]) -> int:
    """How often it will be used, by all that is still to be cast and fired."""
    if row.used_by == "grain":
        patterns = Counter[int]()
        for melt in melts:
            patterns += melt.grains
        known = repository.by_id(session, GrainPattern, patterns)
        return sum(count for pattern, count in patterns.items() if costs.fits_tube(row, known[pattern]))
    if row.used_by == "melt":
        return len(melts)
    if row.used_by == "evening":
        return len({melt.on for melt in melts})
    return sum(
        line.left
        for line in seen.lines
        if line.motor is not None
        and row.case_id in (None, line.motor.case.pk)
        and (row.used_by == "motor" or line.wish.kind == "flight")
    )


def _row(
    session: Session,
    thing: Thing,
    needed: float,
    there: float,
    coming: Sequence[tuple[date, float]],
    short: float,
    by: date | None,
    bags: list[tuple[str, float]],
) -> Row:
    sold = sizes.of(session, thing) if short > 0 else []
    buy: list[Buy] = []
    cost = None
    if sold:
        one_currency = len({size.price.currency for size in sold if size.price}) == 1
        prices = [size.price.amount if size.price and one_currency else None for size in sold]
        packs: Packs = cheapest(short, [size.amount for size in sold], prices)
        buy = [Buy(count, size) for count, size in zip(packs.counts, sold, strict=True) if count]
        spent = Sum()
        for one in buy:
            spent.add(one.size.name, one.size.price, one.count)
        cost = spent.money
    return Row(thing, needed, there, sum(amount for _, amount in coming), short, by, buy, cost, bags)
