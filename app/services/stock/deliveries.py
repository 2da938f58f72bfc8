"""What is on its way: deliveries with the day they come, until they are bags or counted in."""

from sqlmodel import Session, col, select

from app import clock
from app.errors import Faults, Refused
from app.models import Delivery
from app.models.batch import VoidIn
from app.models.buying import ArrivedIn, DeliveryIn
from app.models.supply import SupplyIn
from app.services.book import repository, workshop
from app.services.stock import consumables, supplies, things
from app.units import Quantity, editable


def coming(session: Session) -> list[Delivery]:
    """What has not come yet, by the day it is due."""
    found = select(Delivery).where(col(Delivery.arrived_on).is_(None), col(Delivery.voided_at).is_(None))
    return list(session.exec(found.order_by(col(Delivery.due_on), col(Delivery.id))))


def arrived(session: Session) -> list[Delivery]:
    """What has come, the last first."""
    found = select(Delivery).where(col(Delivery.arrived_on).is_not(None))
    return list(session.exec(found.order_by(col(Delivery.arrived_on).desc(), col(Delivery.id).desc())))


def save(session: Session, data: DeliveryIn, row: Delivery | None = None, version: int | None = None) -> Delivery:
    """Write down what was ordered, or change it.

    Raises
    ------
    Refused
        The thing or the amount cannot be read, its day is past, or it has come already.
    Conflict
        It was changed since the page was opened.
    """
    faults = Faults()
    thing = things.read(session, data.thing)
    with faults.one():
        amount = things.amount(session, thing, data.amount)
    if data.due_on < clock.today() and (row is None or row.due_on != data.due_on):
        faults.add("due_on", "This day is past; enter what came as a bag.")
    faults.tell()
    if row is None:
        row = Delivery(due_on=data.due_on)
        session.add(row)
    else:
        _still_coming(row)
        repository.claim(row, version)
    row.ingredient, row.consumable_id = thing.ingredient, thing.consumable_id
    row.mass_kg, row.mass_typed = (amount.mass.si, amount.mass.typed) if amount.mass else (None, None)
    row.count, row.due_on, row.seller = amount.count, data.due_on, data.seller
    row.cost, row.currency = (data.cost.amount, data.cost.currency) if data.cost else (None, "")
    session.flush()
    return row


def arrive(session: Session, row: Delivery, data: ArrivedIn, version: int | None = None) -> None:
    """Take in what came: an ingredient as a bag of its own, pieces on top of those that are there.

    Raises
    ------
    Refused
        It has come already, the day lies ahead, or a bag has no mark or one that is taken.
    Conflict
        It was changed since the page was opened.
    """
    _still_coming(row)
    if data.arrived_on > clock.today():
        raise Refused("This day is still to come.", field="arrived_on")
    if row.ingredient is not None and row.mass_kg is not None:
        if not data.mark:
            raise Refused("A bag needs a mark; write one on if it has none.", field="mark")
        bag = SupplyIn.model_construct(
            ingredient=row.ingredient,
            mark=data.mark,
            received_on=data.arrived_on,
            mass=Quantity(row.mass_kg, row.mass_typed or ""),
            cost=None,
            note=f"From {row.seller}" if row.seller else "",
        )
        made = supplies.save(session, bag)
        made.cost, made.currency = row.cost, row.currency
        row.supply_id = made.pk
    elif row.consumable_id is not None:
        thing = things.of_row(session, None, row.consumable_id).consumable
        assert thing is not None
        there = consumables.left(session, thing)
        thing.in_hand, thing.counted_on = there + (row.count or 0), clock.today()
        thing.version += 1
    repository.claim(row, version)
    row.arrived_on = data.arrived_on
    session.flush()


def call_off(session: Session, row: Delivery, data: VoidIn, version: int | None = None) -> None:
    """Say that it will not come, and why; it stays readable, and calendars are told.

    Raises
    ------
    Refused
        It has come, or was called off before.
    Conflict
        It was changed since the page was opened.
    """
    _still_coming(row)
    repository.claim(row, version)
    row.voided_at, row.voided_why = clock.now(), data.why
    session.flush()


def _still_coming(row: Delivery) -> None:
    if row.arrived_on is not None:
        raise Refused("It has come already; change its bag instead.")
    if row.voided_at is not None:
        raise Refused("It was called off; write down another.")


def called_off(session: Session) -> list[Delivery]:
    """What will not come, the last first."""
    found = select(Delivery).where(col(Delivery.voided_at).is_not(None))
    return list(session.exec(found.order_by(col(Delivery.voided_at).desc())))


def texts(session: Session, row: Delivery) -> dict[str, str]:
    """What stands in the form of a delivery."""
    typed = row.mass_typed or editable(row.mass_kg, "mass", workshop.get(session).units)
    return {
        "thing": things.of_row(session, row.ingredient, row.consumable_id).key,
        "amount": typed if row.mass_kg is not None else str(row.count),
    }
