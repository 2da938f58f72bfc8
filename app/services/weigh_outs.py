"""Weighing out: what really goes into the pan, from which bag, against the target."""

from dataclasses import dataclass
from typing import Literal

from sqlmodel import Session, col, select

from app import clock
from app.calc.ingredients import INGREDIENTS
from app.errors import Asked, Refused
from app.models import Batch, BatchPart, Leftover, Supply, WeighOut, Workshop
from app.models.batch import BagWeighOutIn, VoidIn, WeighOutIn
from app.services import batches, casting, gate, rows, slips, supplies, workshop
from app.units import decimals_for, exact, show

EMPTY_KG = 1e-9

SLIPPED = 0.1
"""How near to what is wanted an amount comes, its decimal sign moved, to be asked about [-]; Grainbook's own choice."""


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
    bags: list[tuple[Supply, float]]


def of_batch(session: Session, batch: Batch) -> list[PartNow]:
    """The parts of a batch's recipe with what was weighed for each."""
    shop = workshop.get(session)
    left = supplies.remaining(session)
    return [_part_now(session, part, shop, left) for part in batch.parts]


def _part_now(session: Session, part: BatchPart, shop: Workshop, left: dict[int, float]) -> PartNow:
    called = name(session, part)
    query = select(WeighOut).where(WeighOut.batch_part_id == part.pk).order_by(col(WeighOut.id))
    draws = []
    for row in session.exec(query):
        bag = session.get(Supply, row.supply_id) if row.supply_id is not None else None
        draws.append(Draw(row, bag.mark if bag else called))
    weighed = sum(draw.weigh_out.mass_kg for draw in draws if draw.weigh_out.voided_at is None)
    state, words = compare(part.target_kg, weighed, shop)
    bags = supplies.bags(session, part.ingredient) if part.ingredient else []
    return PartNow(part, called, draws, weighed, state, words, [(bag, left[bag.pk]) for bag in bags])


def form_of(session: Session, part_id: int) -> type[WeighOutIn]:
    """The form that a part is weighed out with: an ingredient needs a bag, a leftover is its own."""
    part = rows.get(session, BatchPart, part_id, "part of the recipe")
    return BagWeighOutIn if part.ingredient is not None else WeighOutIn


def name(session: Session, part: BatchPart) -> str:
    """What a part is called at the bench."""
    if part.ingredient is not None:
        return INGREDIENTS[part.ingredient].name
    return f"Leftover {rows.get(session, Leftover, part.leftover_id or 0, 'leftover').mark}"


def places(shop: Workshop) -> int:
    """How many decimals a mass needs to show one step of the workshop's scale, counted as `show` counts them."""
    return decimals_for(shop.scale_resolution_kg, "mass", shop.units)


def compare(target_kg: float, weighed_kg: float, shop: Workshop) -> tuple[Literal["open", "in", "near", "out"], str]:
    """Compare a weighed mass with its target, in words.

    Parameters
    ----------
    target_kg, weighed_kg
        Masses [kg].

    Returns
    -------
    state
        'open' nothing weighed, 'in' within tolerance (never finer than the scale's step), 'near' less than it
        should be, so that more can be added, 'out' more than it should be.
    """
    if weighed_kg <= EMPTY_KG:
        return "open", "not weighed yet"
    difference = weighed_kg - target_kg
    tolerance = max(shop.weigh_tolerance_share * target_kg, shop.scale_resolution_kg)
    if abs(difference) <= tolerance + EMPTY_KG:
        return "in", f"in tolerance ({_signed(difference, shop)})"
    share = f"{abs(difference) / target_kg * 100:.1f} %"
    side = "over" if difference > 0 else "under"
    return "out" if difference > 0 else "near", f"{_signed(difference, shop)}: {side} by {share}"


def _signed(mass_kg: float, shop: Workshop) -> str:
    text = show(abs(mass_kg), "mass", shop.units, places(shop))
    if not any(digit in text for digit in "123456789"):
        return text
    return f"{'+' if mass_kg > 0 else '−'}{text}"


def weigh_out(
    session: Session, batch: Batch, part_id: int, data: WeighOutIn, person: str = "", version: int | None = None
) -> WeighOut:
    """Book a weighed amount out of a bag, or out of the leftover that the part names.

    Raises
    ------
    Refused
        The session is not open or of an earlier day, the part or bag is another one's, the bag does not hold that
        much, or the amount is what is wanted with its decimal sign slipped and was not said to be right.
    Conflict
        The part was weighed in another tab since the page was opened.
    """
    gate.still_holds(session, casting.the_open(session, batch), clock.now())
    part = _part(session, batch, part_id)
    rows.claim(part, version)
    row = WeighOut(batch_part_id=part.pk, mass_kg=data.mass.si, mass_typed=data.mass.typed, person=person)
    if part.ingredient is None:
        _from_leftover(session, part, row)
    else:
        _from_bag(session, part, row, data.supply_id)
    if not data.sure_of("mass"):
        _likely(session, batch, part, data)
    session.add(row)
    session.flush()
    return row


def _likely(session: Session, batch: Batch, part: BatchPart, data: WeighOutIn) -> None:
    """Ask once about an amount that is ten, a hundred or a thousand times what is still wanted."""
    wanted = part.target_kg - batches.weighed(session, batch)[part.pk]
    for slip in (0.1, 0.01, 0.001):
        if wanted > 0 and abs(data.mass.si * slip / wanted - 1) <= SLIPPED:
            house = workshop.get(session)
            still = show(wanted, "mass", house.units, places(house))
            meant = exact(data.mass.si * slip, "mass", house.units)
            raise Asked(f"Did you mean {meant}? {still} are still wanted.", "mass", [meant])


def _part(session: Session, batch: Batch, part_id: int) -> BatchPart:
    part = rows.get(session, BatchPart, part_id, "part of the recipe")
    if part.batch_id != batch.pk:
        raise Refused(f"That is not a part of {batch.code}.")
    return part


def _from_bag(session: Session, part: BatchPart, row: WeighOut, supply_id: int | None) -> None:
    wanted = name(session, part).lower()
    if supply_id is None:
        raise Refused(f"Choose the bag that the {wanted} came from.", field="supply_id")
    bag = rows.get(session, Supply, supply_id, "bag")
    if bag.ingredient != part.ingredient:
        raise Refused(
            f"“{bag.mark}” holds {INGREDIENTS[bag.ingredient].name.lower()}, not {wanted}.", field="supply_id"
        )
    _holds(session, supplies.remaining(session)[bag.pk], row.mass_kg, f"“{bag.mark}”")
    row.supply_id = bag.pk


def _from_leftover(session: Session, part: BatchPart, row: WeighOut) -> None:
    assert part.leftover_id is not None, "a part has one source"
    _holds(session, batches.leftovers_left(session)[part.leftover_id], row.mass_kg, name(session, part))
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
    row = rows.get(session, WeighOut, weigh_out_id, "weighed amount")
    part = _part(session, batch, row.batch_part_id)
    if row.voided_at is not None:
        raise Refused(f"This amount was struck out already ({row.voided_why}).")
    slips.honest(row, data)
    rows.claim(row, version)
    part.version += 1
    row.voided_at, row.voided_why = clock.now(), data.why
    session.flush()
    return row
