"""What is bought, by one key for forms: an ingredient or a consumable; and amounts of it as they are typed."""

from dataclasses import dataclass

from sqlmodel import Session, col, select

from app.calc.propellant.ingredients import INGREDIENTS
from app.errors import Refused
from app.models import Consumable
from app.services.book import repository, workshop
from app.services.stock import supplies
from app.units import Quantity, UnitError, parse

MOST_KG, MOST_PIECES = 1000.0, 100_000


@dataclass(frozen=True)
class Thing:
    """An ingredient by its key, or a consumable."""

    ingredient: str | None
    consumable: Consumable | None

    @property
    def key(self) -> str:
        """How a form names it."""
        return f"ingredient-{self.ingredient}" if self.ingredient else f"consumable-{self.consumable_id}"

    @property
    def consumable_id(self) -> int | None:
        """The identity of a consumable."""
        return self.consumable.pk if self.consumable else None

    @property
    def name(self) -> str:
        """What it is called."""
        return self.consumable.name if self.consumable else supplies.ingredient_name(self.ingredient or "")


@dataclass(frozen=True)
class Amount:
    """How much of a thing: a mass with its text, or a number of pieces."""

    mass: Quantity | None = None
    count: int | None = None


def consumables(session: Session, retired: bool = False) -> list[Consumable]:
    """The consumables in use, by name; or the retired ones."""
    return list(session.exec(select(Consumable).where(Consumable.retired == retired).order_by(col(Consumable.name))))


def choices(session: Session) -> list[tuple[str, str]]:
    """Every thing that can be bought, with its name."""
    every = [Thing(key, None) for key in INGREDIENTS] + [Thing(None, row) for row in consumables(session)]
    return [(thing.key, thing.name) for thing in every]


def of_row(session: Session, ingredient: str | None, consumable_id: int | None) -> Thing:
    """The thing that a row of a size or a delivery is about."""
    return Thing(ingredient, session.get_one(Consumable, consumable_id) if consumable_id else None)


def read(session: Session, key: str) -> Thing:
    """The thing that a form named.

    Raises
    ------
    Refused
        There is no such thing.
    """
    kind, _, which = key.partition("-")
    if kind == "ingredient" and which in INGREDIENTS:
        return Thing(which, None)
    if kind == "consumable" and which.isdecimal():
        return Thing(None, repository.get(session, Consumable, int(which), "consumable"))
    raise Refused("Choose what it is.", field="thing")


def amount(session: Session, thing: Thing, text: str) -> Amount:
    """How much of a thing is typed: a mass of an ingredient, pieces of a consumable.

    Raises
    ------
    Refused
        It cannot be read, or can hardly be; beside the field `amount`.
    """
    if thing.consumable is not None:
        digits = text.split()[0] if text.split() else ""
        if not digits.isdecimal() or not 1 <= int(digits) <= MOST_PIECES:
            raise Refused("Type a whole number of pieces, such as 10.", field="amount")
        return Amount(count=int(digits))
    try:
        mass = parse(text, "mass", workshop.get(session).units)
    except UnitError as error:
        raise Refused(str(error), field="amount") from None
    if not 0 < mass.si <= MOST_KG:
        raise Refused("This must be above 0 and at most 1000 kg.", field="amount")
    return Amount(mass=mass)
