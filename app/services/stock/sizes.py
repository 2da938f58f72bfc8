"""The sizes that things are sold in, with their prices: from earlier bags, and as they were written down."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isclose

from sqlmodel import Session, col, select

from app.errors import Refused
from app.models import PackSize, Supply
from app.models.buying import PackSizeIn
from app.models.money import Money
from app.services.book import repository, workshop
from app.services.stock import things
from app.services.stock.things import Thing
from app.units import editable

ONE_PERCENT = 0.01
"""Bags whose masses lie nearer than this are of one size."""


@dataclass(frozen=True)
class Size:
    """A size that something is sold in [kg, or pieces], how it is called, what a pack costs and where it is from."""

    amount: float
    name: str
    price: Money | None
    seller: str
    from_bag: str


def listed(session: Session) -> list[PackSize]:
    """Every size that was written down."""
    return list(session.exec(select(PackSize).order_by(col(PackSize.ingredient), col(PackSize.id))))


def of(session: Session, thing: Thing) -> list[Size]:
    """The sizes that a thing is sold in, the smallest first; what is no longer sold is left out."""
    rows = [
        row for row in listed(session) if (row.ingredient, row.consumable_id) == (thing.ingredient, thing.consumable_id)
    ]
    found = [_written(session, row) for row in rows if row.sold]
    if thing.ingredient is not None:
        told = [row.mass_kg for row in rows if row.mass_kg is not None]
        found += _of_bags(session, thing.ingredient, told)
    return sorted(found, key=lambda size: size.amount)


def _written(session: Session, row: PackSize) -> Size:
    price = None if row.price is None else Money(row.price, row.currency or workshop.get(session).currency)
    amount = row.mass_kg if row.mass_kg is not None else float(row.count or 0)
    return Size(amount, row.name, price, row.seller, "")


def _of_bags(session: Session, ingredient: str, told: Sequence[float]) -> list[Size]:
    """One size for each mass that bags came in, at the price of the newest of them that has one."""
    bags = session.exec(
        select(Supply)
        .where(Supply.ingredient == ingredient)
        .order_by(col(Supply.received_on).desc(), col(Supply.id).desc())
    ).all()
    found: list[tuple[Supply, Supply | None]] = []
    for bag in bags:
        same = next((i for i, (one, _) in enumerate(found) if _alike(one.mass_kg, bag.mass_kg)), None)
        if same is None:
            found.append((bag, bag if bag.cost is not None else None))
        elif found[same][1] is None and bag.cost is not None:
            found[same] = (found[same][0], bag)
    return [
        Size(bag.mass_kg, bag.mass_typed, price_of(session, priced) if priced else None, "", bag.mark)
        for bag, priced in found
        if not any(_alike(bag.mass_kg, mass) for mass in told)
    ]


def _alike(one: float, other: float) -> bool:
    return isclose(one, other, rel_tol=ONE_PERCENT)


def price_of(session: Session, bag: Supply) -> Money | None:
    """What a bag cost; one that was typed without a currency is in the workshop's."""
    return None if bag.cost is None else Money(bag.cost, bag.currency or workshop.get(session).currency)


def per_kg(session: Session, ingredient: str) -> Money | None:
    """What a kilogram costs by the newest bag with a price, else by a size that is sold; None where none is known."""
    bags = session.exec(
        select(Supply)
        .where(Supply.ingredient == ingredient, col(Supply.cost).is_not(None))
        .order_by(col(Supply.received_on).desc(), col(Supply.id).desc())
    ).first()
    if bags is not None and (price := price_of(session, bags)) is not None:
        return Money(price.amount / bags.mass_kg, price.currency)
    priced = [size for size in of(session, Thing(ingredient, None)) if size.price is not None]
    if not priced or priced[-1].price is None:
        return None
    return Money(priced[-1].price.amount / priced[-1].amount, priced[-1].price.currency)


def save(session: Session, data: PackSizeIn, row: PackSize | None = None, version: int | None = None) -> PackSize:
    """Write down a size, or change one.

    Raises
    ------
    Refused
        The thing or the amount cannot be read, or the size is there already.
    Conflict
        It was changed since the page was opened.
    """
    thing = things.read(session, data.thing)
    amount = things.amount(session, thing, data.amount)
    for other in listed(session):
        same_thing = (other.ingredient, other.consumable_id) == (thing.ingredient, thing.consumable_id)
        same = other.count == amount.count if amount.mass is None else _alike(other.mass_kg or 0.0, amount.mass.si)
        if other is not row and same_thing and same:
            raise Refused(f"{thing.name} in this size is written down already ({other.name}).", field="amount")
    if row is None:
        row = PackSize()
        session.add(row)
    else:
        repository.claim(row, version)
    row.ingredient, row.consumable_id = thing.ingredient, thing.consumable_id
    row.mass_kg, row.mass_typed = (amount.mass.si, amount.mass.typed) if amount.mass else (None, None)
    row.count, row.seller, row.sold = amount.count, data.seller, data.sold
    row.price, row.currency = (data.price.amount, data.price.currency) if data.price else (None, "")
    session.flush()
    return row


def texts(session: Session, row: PackSize) -> dict[str, str]:
    """What stands in the form of a size."""
    typed = row.mass_typed or editable(row.mass_kg, "mass", workshop.get(session).units)
    return {
        "thing": things.of_row(session, row.ingredient, row.consumable_id).key,
        "amount": typed if row.mass_kg is not None else str(row.count),
    }
