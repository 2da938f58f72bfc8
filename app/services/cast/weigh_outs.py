"""Weighing out: what really goes into the pan, from which bag, against the target."""

from dataclasses import dataclass
from typing import Literal

from sqlmodel import Session, col, select

from app import clock
from app.calc.propellant.ingredients import INGREDIENTS
from app.errors import Asked, Refused
from app.models import Batch, BatchPart, Supply, WeighOut, Workshop
from app.models.batch import BagWeighOutIn, SwapIn, VoidIn, WeighOutIn
from app.services.book import first_minute, repository, workshop
from app.services.cast import casting, gate, targets
from app.services.cast.targets import EMPTY_KG
from app.services.stock import batches, supplies
from app.units import exact, show

SLIPPED = 0.1
"""How near to what is wanted an amount comes, its decimal sign moved, for that to be the question [-]; Grainbook's own
choice."""

SLIPS = (0.1, 10.0, 0.01, 100.0, 0.001, 1000.0)
"""What a slipped decimal sign, or kilograms for grams, does to a number [-]."""


@dataclass(frozen=True)
class Draw:
    """One weighed amount and where it came from."""

    weigh_out: WeighOut
    source: str


@dataclass(frozen=True)
class PartNow:
    """A part of the recipe as it stands: target, what was weighed, and how that compares."""

    part: BatchPart
    name: str
    draws: list[Draw]
    weighed_kg: float
    state: Literal["open", "in", "near", "out"]
    words: str
    far: bool
    bags: list[tuple[Supply, float]]


def of_batch(session: Session, batch: Batch) -> list[PartNow]:
    """The parts of a batch's recipe with what was weighed for each."""
    shop, bags = workshop.get(session), supplies.filled(session)
    of_it = col(WeighOut.batch_part_id).in_([part.pk for part in batch.parts])
    rows = session.exec(select(WeighOut).where(of_it).order_by(col(WeighOut.id))).all()
    return [
        _part_now(session, part, shop, [row for row in rows if row.batch_part_id == part.pk], bags)
        for part in batch.parts
    ]


def _part_now(
    session: Session, part: BatchPart, shop: Workshop, rows: list[WeighOut], bags: list[tuple[Supply, float]]
) -> PartNow:
    called = targets.name(session, part)
    draws = []
    for row in rows:
        bag = session.get(Supply, row.supply_id) if row.supply_id is not None else None
        draws.append(Draw(row, bag.mark if bag else called))
    weighed = sum(draw.weigh_out.mass_kg for draw in draws if draw.weigh_out.voided_at is None)
    state, words = targets.compare(part.target_kg, weighed, shop)
    far = state != "open" and targets.far(part.target_kg, weighed, shop)
    own = [(bag, left) for bag, left in bags if bag.ingredient == part.ingredient]
    return PartNow(part, called, draws, weighed, state, words, far, own)


def form_of(session: Session, part_id: int) -> type[WeighOutIn]:
    """The form that a part is weighed out with: an ingredient needs a bag, a leftover is its own."""
    part = repository.get(session, BatchPart, part_id, "part of the recipe")
    return BagWeighOutIn if part.ingredient is not None else WeighOutIn


def weigh_out(
    session: Session, batch: Batch, part_id: int, data: WeighOutIn, person: str = "", version: int | None = None
) -> WeighOut:
    """Book a weighed amount out of a bag, or out of the leftover that the part names.

    Raises
    ------
    Refused
        The session is not open or of an earlier day, the part or bag is another one's, the bag does not hold that
        much, or it leaves the part far off its target and was not said to be right.
    Conflict
        The part was weighed in another tab since the page was opened.
    """
    gate.weighing(session, casting.the_open(session, batch))
    part = _part(session, batch, part_id)
    repository.claim(part, version)
    row = WeighOut(batch_part_id=part.pk, mass_kg=data.mass.si, mass_typed=data.mass.typed, person=person)
    if part.ingredient is None:
        _from_leftover(session, part, row)
    else:
        _from_bag(session, part, row, data.supply_id)
    if not data.sure_of("mass"):
        _likely(session, batch, part, data, row)
    session.add(row)
    session.flush()
    return row


def _likely(session: Session, batch: Batch, part: BatchPart, data: WeighOutIn, row: WeighOut) -> None:
    """Ask once about an amount that leaves its part far off the target, either way: a slip, or another bowl.

    The rest of a bag is no slip, however little it is.
    """
    house = workshop.get(session)
    weighed = batches.weighed(session, batch)
    wanted, total = part.target_kg - weighed[part.pk], weighed[part.pk] + data.mass.si
    if not targets.far(part.target_kg, total, house):
        return
    if total < part.target_kg and row.supply_id is not None:
        left = supplies.remaining(session)[row.supply_id] - data.mass.si
        if left <= max(house.weigh_tolerance_share * data.mass.si, house.scale_resolution_kg) + EMPTY_KG:
            return
    still = targets.words(max(wanted, 0.0), house)
    meant = slips(house, wanted, data.mass.si)
    called = targets.name(session, part).lower()
    others = [
        targets.name(session, other).lower()
        for other in batch.parts
        if other is not part and not targets.far(other.target_kg, weighed[other.pk] + data.mass.si, house)
    ]
    if meant:
        asks = f"Did you mean {meant[0]}? {still} are still wanted."
    elif others:
        asks = (
            f"{data.mass.typed} is what is still wanted of {others[0]}; of {called} it is {still}. Swapped? If this "
            f"bowl holds {others[0]}, book it there."
        )
    elif wanted <= 0:
        asks = f"Of {called} nothing is wanted any more. Is {data.mass.typed} to be booked on top of what is there?"
    else:
        side = "more" if data.mass.si > wanted else "less"
        asks = f"{data.mass.typed} is far {side} than the {still} of {called} still wanted. Is the number whole?"
    keep = "{typed}, and more follows" if total < part.target_kg else "{typed}, as typed"
    raise Asked(asks, "mass", meant, keep=keep)


def slips(house: Workshop, wanted_kg: float, mass_kg: float) -> list[str]:
    """What an amount may have been meant as: what is wanted, with its decimal sign moved or kilograms for grams."""
    likely = [slip for slip in SLIPS if wanted_kg > 0 and abs(mass_kg * slip / wanted_kg - 1) <= SLIPPED]
    return [exact(mass_kg * slip, "mass", house.units) for slip in likely]


def _part(session: Session, batch: Batch, part_id: int) -> BatchPart:
    part = repository.get(session, BatchPart, part_id, "part of the recipe")
    if part.batch_id != batch.pk:
        raise Refused(f"That is not a part of {batch.code}.")
    return part


def _from_bag(session: Session, part: BatchPart, row: WeighOut, supply_id: int | None) -> None:
    wanted = targets.name(session, part).lower()
    if supply_id is None:
        raise Refused(f"Choose the bag that the {wanted} came from.", field="supply_id")
    bag = repository.get(session, Supply, supply_id, "bag")
    if bag.ingredient != part.ingredient:
        raise Refused(
            f"“{bag.mark}” holds {INGREDIENTS[bag.ingredient].name.lower()}, not {wanted}.", field="supply_id"
        )
    _holds(session, supplies.remaining(session)[bag.pk], row.mass_kg, f"“{bag.mark}”")
    row.supply_id = bag.pk


def _from_leftover(session: Session, part: BatchPart, row: WeighOut) -> None:
    assert part.leftover_id is not None, "a part has one source"
    _holds(session, batches.leftovers_left(session)[part.leftover_id], row.mass_kg, targets.name(session, part))
    row.leftover_id = part.leftover_id


def _holds(session: Session, left_kg: float, mass_kg: float, what: str) -> None:
    if mass_kg > left_kg + EMPTY_KG:
        shop = workshop.get(session)
        raise Refused(
            f"By the book {what} holds {show(left_kg, 'mass', shop.units)}. Check the number; if the bag really "
            "holds more, correct it under Supplies, or book the rest from another bag.",
            field="mass",
        )


def strike_out(session: Session, batch: Batch, weigh_out_id: int, data: VoidIn, version: int | None = None) -> WeighOut:
    """Strike out a weighed amount: it stays readable with the reason, and goes back to the bag.

    Raises
    ------
    Refused
        The session is not open, the amount is of another batch, or struck out already.
    Conflict
        It was changed since the page was opened.
    """
    casting.the_open(session, batch)
    row = repository.get(session, WeighOut, weigh_out_id, "weighed amount")
    part = _part(session, batch, row.batch_part_id)
    first_minute.strike(session, row, data, version)
    part.version += 1
    session.flush()
    return row


def swap_over(
    session: Session, batch: Batch, part_id: int, data: SwapIn, person: str = "", version: int | None = None
) -> None:
    """Book what was weighed for two parts the other way round: the bowls were right, the lines were not.

    What was booked is struck out and stays readable; each part is booked anew from its own bag.

    Raises
    ------
    Refused
        The session is not open or of an earlier day, the two do not fit each other's targets, or a bag holds less.
    Conflict
        The part was weighed in another tab since the page was opened.
    """
    gate.weighing(session, casting.the_open(session, batch))
    one, other = _part(session, batch, part_id), _part(session, batch, data.other_id)
    repository.claim(one, version)
    if (one, other) not in targets.swapped(session, batch):
        raise Refused("These two amounts do not fit each other's targets any more. Look at what is booked now.")
    other.version += 1
    held = {part.pk: _counting(session, part) for part in (one, other)}
    for row in (*held[one.pk], *held[other.pk]):
        row.version += 1
        row.voided_at, row.voided_why = clock.now(), "Booked into each other's line."
    session.flush()
    for part, came in ((one, held[other.pk]), (other, held[one.pk])):
        source = held[part.pk][0]
        for row in came:
            anew = WeighOut(batch_part_id=part.pk, mass_kg=row.mass_kg, mass_typed=row.mass_typed, person=person)
            if part.ingredient is None:
                _from_leftover(session, part, anew)
            else:
                _from_bag(session, part, anew, source.supply_id)
            session.add(anew)
            session.flush()


def _counting(session: Session, part: BatchPart) -> list[WeighOut]:
    query = select(WeighOut).where(WeighOut.batch_part_id == part.pk, col(WeighOut.voided_at).is_(None))
    return list(session.exec(query.order_by(col(WeighOut.id))))
