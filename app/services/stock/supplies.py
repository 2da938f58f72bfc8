"""Bags: what was bought, what is left, where it went."""

from dataclasses import dataclass

from sqlalchemy import func
from sqlmodel import Session, col, select

from app import clock
from app.calc.propellant.recipe import INGREDIENTS, lookup
from app.errors import Faults, Refused
from app.models import Batch, BatchPart, Supply, SupplyCorrection, WeighOut
from app.models.supply import CorrectionIn, SupplyIn
from app.services.book import repository, workshop
from app.units import show

EMPTY = 1e-6
"""A bag with less than this is empty [kg]: a milligram, finer than any bench scale."""


def ingredient_names() -> list[str]:
    """What the ingredients of the family are called."""
    return [item.name for item in INGREDIENTS.values()]


def ingredient_name(key: str) -> str:
    """What an ingredient is called; one that is not known keeps its key."""
    return INGREDIENTS[key].name if key in INGREDIENTS else key


def save(session: Session, data: SupplyIn, row: Supply | None = None, version: int | None = None) -> Supply:
    """Enter a bag, or change one.

    Raises
    ------
    BlendError
        The ingredient is outside the potassium-nitrate/sugar family; the message says why.
    Refused
        The day lies ahead, the mark is taken, or more was weighed out than the bag would then have held.
    """
    ingredient = lookup(data.ingredient).key
    faults = Faults()
    if data.received_on > clock.today():
        faults.add("received_on", "This day is still to come; enter the bag when it is there.")
    same = session.exec(
        select(Supply).where(Supply.ingredient == ingredient, func.lower(Supply.mark) == data.mark.lower())
    ).first()
    if same is not None and same is not row:
        name = INGREDIENTS[ingredient].name.lower()
        faults.add("mark", f"There is a bag of {name} marked “{same.mark}” already; write another mark on it.")
    faults.tell()
    if row is not None:
        _keep_draws_possible(session, row, data, ingredient)
    return repository.store(session, Supply, data.model_copy(update={"ingredient": ingredient}), row, version)


def _keep_draws_possible(session: Session, row: Supply, data: SupplyIn, ingredient: str) -> None:
    taken = drawn(session).get(row.pk, 0.0)
    if taken > 0 and ingredient != row.ingredient:
        raise Refused(
            f"{show(taken, 'mass', workshop.get(session).units)} of this bag went into batches as "
            f"{INGREDIENTS[row.ingredient].name.lower()}. If the bag holds something else, those batches do too: "
            "note it there, and enter a new bag.",
            field="ingredient",
        )
    left = remaining(session).get(row.pk, 0.0) + data.mass.si - row.mass_kg
    if left < -EMPTY:
        units = workshop.get(session).units
        raise Refused(
            f"{show(row.mass_kg - remaining(session)[row.pk], 'mass', units)} is booked out of this bag; it held at "
            "least that.",
            field="mass",
        )


def drawn(session: Session) -> dict[int, float]:
    """Mass weighed out of each bag, by the bag's identity [kg]; what was struck out does not count."""
    found = select(WeighOut.supply_id, func.sum(WeighOut.mass_kg)).where(
        col(WeighOut.supply_id).is_not(None), col(WeighOut.voided_at).is_(None)
    )
    return {bag: total for bag, total in session.exec(found.group_by(col(WeighOut.supply_id))) if bag is not None}


def remaining(session: Session) -> dict[int, float]:
    """What the book says is left in each bag, by the bag's identity [kg]."""
    return {bag.pk: left for bag, left in _left(session)}


def _left(session: Session) -> list[tuple[Supply, float]]:
    """Every bag, the one received first on top, with what is left in it [kg]."""
    taken = drawn(session)
    grouped = select(SupplyCorrection.supply_id, func.sum(SupplyCorrection.delta_kg)).group_by(
        col(SupplyCorrection.supply_id)
    )
    corrected = dict(session.exec(grouped).all())
    every = session.exec(select(Supply).order_by(col(Supply.received_on), col(Supply.id)))
    return [(bag, bag.mass_kg + corrected.get(bag.pk, 0.0) - taken.get(bag.pk, 0.0)) for bag in every]


def on_shelf(session: Session) -> dict[str, float]:
    """What is left of each ingredient over all bags, by ingredient key [kg]."""
    total: dict[str, float] = {}
    for bag, left in _left(session):
        total[bag.ingredient] = total.get(bag.ingredient, 0.0) + max(left, 0.0)
    return total


def bags(session: Session, ingredient: str) -> list[Supply]:
    """The bags of an ingredient that still hold something, oldest first."""
    return [bag for bag, _ in filled(session) if bag.ingredient == ingredient]


def filled(session: Session) -> list[tuple[Supply, float]]:
    """The bags that still hold something, oldest first, and how much [kg]."""
    return [(bag, left) for bag, left in _left(session) if left > EMPTY]


@dataclass(frozen=True)
class Stock:
    """A bag with what is left of it [kg] and what it cost [per kg]."""

    bag: Supply
    name: str
    left: float
    cost_per_kg: float | None

    @property
    def empty(self) -> bool:
        """Whether nothing is left in it."""
        return self.left <= EMPTY


def stock(session: Session) -> list[Stock]:
    """All bags, by ingredient and age, the empty ones last."""
    left = remaining(session)
    listed = [_stock(bag, left[bag.pk]) for bag in session.exec(select(Supply))]
    return sorted(listed, key=lambda s: (s.empty, s.name, s.bag.received_on, s.bag.pk))


def stock_of(session: Session, bag: Supply) -> Stock:
    """One bag with what is left of it."""
    return _stock(bag, remaining(session)[bag.pk])


def _stock(bag: Supply, left: float) -> Stock:
    name = ingredient_name(bag.ingredient)
    return Stock(bag, name, left, None if bag.cost is None else bag.cost / bag.mass_kg)


def draws(session: Session, bag: Supply) -> list[tuple[WeighOut, Batch]]:
    """What was weighed out of a bag and for which batch, newest first; struck-out amounts too."""
    found = (
        select(WeighOut, Batch)
        .join(BatchPart, col(WeighOut.batch_part_id) == BatchPart.id)
        .join(Batch, col(BatchPart.batch_id) == Batch.id)
        .where(WeighOut.supply_id == bag.pk)
        .order_by(col(WeighOut.id).desc())
    )
    return [(weighed, batch) for weighed, batch in session.exec(found)]


def corrections(session: Session, bag: Supply) -> list[SupplyCorrection]:
    """The corrections made to a bag, newest first."""
    found = select(SupplyCorrection).where(SupplyCorrection.supply_id == bag.pk)
    return list(session.exec(found.order_by(col(SupplyCorrection.id).desc())))


def correct(session: Session, bag: Supply, data: CorrectionIn) -> SupplyCorrection:
    """Write down what a bag really holds; the difference stays in the book with its reason.

    Raises
    ------
    Refused
        The bag holds what the book says, so there is nothing to correct.
    """
    delta = data.found.si - remaining(session)[bag.pk]
    if abs(delta) <= EMPTY:
        raise Refused("That is what the book says already; there is nothing to correct.", field="found")
    correction = SupplyCorrection(supply_id=bag.pk, delta_kg=delta, found_typed=data.found.typed, reason=data.reason)
    session.add(correction)
    session.flush()
    return correction
