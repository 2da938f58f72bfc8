"""What it costs: a grain, a motor, a flight, a newton-second, the season, a reject and a remelt.

Prices are those of the newest bags, in the currency they were typed in; nothing is exchanged. A sum that would mix two
currencies, or lacks a price, is left out, and what it lacks is named.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from sqlmodel import Session, col, func, select

from app.models import Consumable, Formula, Grain, GrainPattern
from app.models.money import Money
from app.services.book import workshop
from app.services.hardware import shapes
from app.services.season.overview import Line, Motor, Overview
from app.services.stock import formulas, sizes, supplies, things
from app.services.stock.things import Thing


@dataclass
class Sum:
    """An amount that grows part by part; `lacks` names what has no price, `mixed` tells of a second currency."""

    amount: float = 0.0
    currency: str | None = None
    lacks: list[str] = field(default_factory=list)
    mixed: bool = False

    def add(self, name: str, price: Money | None, times: float) -> None:
        """Add so many of something at a price."""
        if times <= 0:
            return
        if price is None:
            self.lacks.append(name)
            return
        if self.currency not in (None, price.currency):
            self.mixed = True
        self.currency = price.currency if self.currency is None else self.currency
        self.amount += price.amount * times

    @property
    def money(self) -> Money | None:
        """The sum, where it is one."""
        if self.lacks or self.mixed or self.currency is None:
            return None
        return Money(self.amount, self.currency)


@dataclass(frozen=True)
class Cost:
    """What one firing of a wish costs: propellant, what is used besides, both, per newton-second, and what lacks."""

    line: Line
    grain: list[tuple[GrainPattern, Money | None]]
    propellant: Money | None
    besides: Money | None
    each: Money | None
    per_ns: Money | None
    lacks: tuple[str, ...]


@dataclass(frozen=True)
class Costs:
    """The costs of a season, and what a reject and a remelt come to."""

    of_lines: list[Cost]
    total: Money | None
    to_come: Money | None
    """Of what is still to be fired."""
    reject_share: float
    rejects: int
    decided: int
    reject: Money | None
    """What the dearest grain costs that is rejected and not melted again."""
    remelt: Money | None
    """What melting the same grain again saves: its own mass, not the over-pour that stayed in its pan."""
    spoiled: Money | None
    """What the grains still to cast that will be rejected cost, by the record, if they are thrown away."""
    lacks: tuple[str, ...]
    mixed: bool
    """Whether prices are in several currencies."""

    @property
    def any(self) -> bool:
        """Whether anything has a cost."""
        return any(one.each or one.propellant for one in self.of_lines)


def of(session: Session, seen: Overview) -> Costs:
    """What the wishes of a season cost, as far as prices are in the book."""
    rejected, decided = reject_record(session)
    prices = Prices(session)
    found = [prices.of_line(line) for line in seen.lines if line.motor is not None]
    total, to_come, spoiled = Sum(), Sum(), Sum()
    share = rejected / decided if decided else 0.0
    for one in found:
        total.add(one.line.name, one.each, one.line.wish.count)
        to_come.add(one.line.name, one.each, one.line.left)
        spoiled.add(one.line.name, one.propellant, one.line.to_cast * share / (1 - share) if share < 1 else 0.0)
    grains = [money for one in found for _, money in one.grain if money is not None]
    dearest = max(grains, key=lambda money: money.amount, default=None)
    lacks = dict.fromkeys(name for one in found for name in one.lacks)
    return Costs(
        of_lines=found,
        total=total.money,
        to_come=to_come.money,
        reject_share=share,
        rejects=rejected,
        decided=decided,
        reject=dearest,
        remelt=None if dearest is None else Money(dearest.amount / (1 + prices.over_pour), dearest.currency),
        spoiled=spoiled.money,
        lacks=tuple(lacks),
        mixed=total.mixed or prices.mixed,
    )


def reject_record(session: Session) -> tuple[int, int]:
    """How many grains were rejected, of how many that were decided on."""
    decisions = dict(
        session.exec(
            select(Grain.decision, func.count(col(Grain.id)))
            .where(col(Grain.decision).in_(["accept", "reject"]))
            .group_by(col(Grain.decision))
        ).all()
    )
    return decisions.get("reject", 0), sum(decisions.values())


class Prices:
    """Prices looked up once for a page."""

    def __init__(self, session: Session) -> None:
        self._session = session
        shop = workshop.get(session)
        self.over_pour, self._density = shop.over_pour_share, shop.expected_density_share
        self._per_kg: dict[str, Money | None] = {}
        self._consumables = things.consumables(session)
        self.mixed = False

    def per_kg(self, ingredient: str) -> Money | None:
        """What a kilogram of an ingredient costs."""
        if ingredient not in self._per_kg:
            self._per_kg[ingredient] = sizes.per_kg(self._session, ingredient)
        return self._per_kg[ingredient]

    def per_piece(self, thing: Consumable) -> Money | None:
        """What one of a consumable costs, in the largest pack that has a price."""
        priced = [one for one in sizes.of(self._session, Thing(None, thing)) if one.price is not None]
        if not priced or priced[-1].price is None:
            return None
        return Money(priced[-1].price.amount / priced[-1].amount, priced[-1].price.currency)

    def grain_kg(self, formula: Formula, pattern: GrainPattern) -> float:
        """What a grain is expected to weigh [kg]."""
        return shapes.volume(pattern) * formulas.ideal_density(formula) * self._density

    def grain(self, formula: Formula, pattern: GrainPattern) -> Sum:
        """What a grain's ingredients cost, with what stays in the pan."""
        found, mass = Sum(), self.grain_kg(formula, pattern) * (1 + self.over_pour)
        for ingredient, share in formula.blend.items():
            found.add(supplies.ingredient_name(ingredient), self.per_kg(ingredient), mass * share)
        return found

    def uses(self, motor: Motor, flight: bool) -> Iterable[tuple[Consumable, float]]:
        """How many of each consumable a firing of a motor uses, but for those that go by melts and evenings."""
        for thing in self._consumables:
            if thing.case_id not in (None, motor.case.pk):
                continue
            count: float = 0
            if thing.used_by == "grain":
                count = sum(n for pattern, n in motor.inside if fits_tube(thing, pattern))
            else:
                count = int(thing.used_by == "motor" or (thing.used_by == "flight" and flight))
            if count:
                yield thing, thing.per_use * count

    def of_line(self, line: Line) -> Cost:
        """What one firing of a wish costs."""
        motor = line.motor
        assert motor is not None
        propellant, besides, each = Sum(), Sum(), Sum()
        grains: list[tuple[GrainPattern, Money | None]] = []
        for pattern, count in motor.inside:
            one = self.grain(motor.formula, pattern)
            self.mixed |= one.mixed
            grains.append((pattern, one.money))
            propellant.add(", ".join(one.lacks) or pattern.name, one.money, count)
        for thing, times in self.uses(motor, line.wish.kind == "flight"):
            besides.add(thing.name, self.per_piece(thing), times)
        each.add(", ".join(propellant.lacks), propellant.money, 1)
        if besides.currency is not None or besides.lacks:
            each.add(", ".join(besides.lacks), besides.money, 1)
        self.mixed |= each.mixed
        impulse = motor.expected.impulse_ns
        money = each.money
        return Cost(
            line=line,
            grain=grains,
            propellant=propellant.money,
            besides=besides.money,
            each=money,
            per_ns=Money(money.amount / impulse[1], money.currency) if money and impulse else None,
            lacks=tuple(_flat([*propellant.lacks, *besides.lacks])),
        )


def fits_tube(thing: Consumable, pattern: GrainPattern) -> bool:
    """Whether grains of a pattern use a consumable: any does, unless it is a casting tube of other patterns."""
    return thing.casting_tube_id in (None, pattern.casting_tube_id)


def _flat(names: Sequence[str]) -> list[str]:
    return [part for name in names for part in name.split(", ") if part]
