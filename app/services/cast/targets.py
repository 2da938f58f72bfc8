"""How what was weighed stands to its target: in tolerance, off, far off, or in another part's line."""

from itertools import combinations
from typing import Literal

from sqlmodel import Session

from app.calc.propellant.ingredients import INGREDIENTS
from app.models import Batch, BatchPart, Leftover, Workshop
from app.services.book import repository, workshop
from app.services.stock import batches
from app.units import decimals_for, show

EMPTY_KG = 1e-9

FAR = 0.1
"""Off its target by more than this share of it, an amount is asked about [-]; Grainbook's own choice."""

FEW_STEPS = 3
"""Nothing is far off that is only so many steps of the scale from its target."""


def name(session: Session, part: BatchPart) -> str:
    """What a part is called at the bench."""
    if part.ingredient is not None:
        return INGREDIENTS[part.ingredient].name
    return f"Leftover {repository.get(session, Leftover, part.leftover_id or 0, 'leftover').mark}"


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


def words(mass_kg: float, shop: Workshop) -> str:
    """A mass to the scale's step."""
    return show(mass_kg, "mass", shop.units, places(shop))


def far(target_kg: float, weighed_kg: float, shop: Workshop) -> bool:
    """Whether an amount is so far off its target, either way, that somebody must say what was meant."""
    room = max(FAR, shop.weigh_tolerance_share) * target_kg
    return abs(weighed_kg - target_kg) > max(room, FEW_STEPS * shop.scale_resolution_kg) + EMPTY_KG


def off(session: Session, batch: Batch) -> list[tuple[BatchPart, float]]:
    """The parts of a batch that something was weighed for, far off the target, with what was weighed [kg]."""
    shop, weighed = workshop.get(session), batches.weighed(session, batch)
    return [
        (part, weighed[part.pk])
        for part in batch.parts
        if weighed[part.pk] > EMPTY_KG and far(part.target_kg, weighed[part.pk], shop)
    ]


def off_words(session: Session, batch: Batch) -> list[str]:
    """What is far off, in words: “26.0 g of sorbitol, 102.0 g wanted”."""
    shop = workshop.get(session)
    return [
        f"{words(weighed, shop)} of {name(session, part).lower()}, {words(part.target_kg, shop)} wanted"
        for part, weighed in off(session, batch)
    ]


def swapped(session: Session, batch: Batch) -> list[tuple[BatchPart, BatchPart]]:
    """Pairs of parts whose amounts fit each other's targets and are far off their own, each pair both ways round."""
    shop = workshop.get(session)
    found = []
    for (one, first), (other, second) in combinations(off(session, batch), 2):
        if not far(other.target_kg, first, shop) and not far(one.target_kg, second, shop):
            found += [(one, other), (other, one)]
    return found
