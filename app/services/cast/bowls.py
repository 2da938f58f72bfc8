"""Weighing out at the bench, one bowl at a time: what the scale reads, a verdict in a word, several scoops and a tare.

A reading within tolerance is booked at once. Anything else is booked only when it was said what it is: so a wrong bowl,
a slipped decimal sign and a first scoop are told apart before they stand in the book.
"""

from dataclasses import dataclass
from typing import Literal

from sqlmodel import Session

from app.errors import Asked, Refused
from app.models import Batch, BatchPart, Melt, Workshop
from app.models.batch import BagBowlIn, BowlIn
from app.models.cast import StepIn
from app.services.book import repository, workshop
from app.services.cast import steps, targets, weigh_outs
from app.services.cast.targets import EMPTY_KG
from app.services.cast.weigh_outs import PartNow
from app.units import Quantity, exact


class Verdict(Asked):
    """What is odd about a reading, in a word and a sentence; nothing is booked until it is answered."""

    def __init__(
        self,
        kind: Literal["over", "under", "other", "which"],
        head: str,
        todo: str,
        answers: list[tuple[str, str]],
        slips: list[str] | None = None,
        other: PartNow | None = None,
    ) -> None:
        super().__init__(f"{head}. {todo}", "book", answers, keep=None)
        self.kind, self.head, self.todo = kind, head, todo
        self.other_id, self.other = (other.part.pk, other.name.lower()) if other else (0, "")
        """The bowl that the reading fits, where it fits another one."""
        self.slips = slips or []
        """What the number may have been meant as."""


@dataclass(frozen=True)
class Booked:
    """What a reading was booked as, and whether it was the last one of the weighing out."""

    words: str
    all_weighed: bool


def form_of(session: Session, part_id: int) -> type[BowlIn]:
    """The form that a bowl is weighed with: an ingredient needs a bag, a leftover is its own."""
    part = repository.get(session, BatchPart, part_id, "part of the recipe")
    return BagBowlIn if part.ingredient is not None else BowlIn


def book(
    session: Session, melt: Melt, batch: Batch, part_id: int, data: BowlIn, person: str = "", version: int | None = None
) -> Booked:
    """Book what the scale reads with a bowl on it; the last bowl settles the weighing out in the same act.

    Raises
    ------
    Verdict
        The reading is not within tolerance, and nobody has said what it is.
    Refused, Conflict
        As `weigh_outs.weigh_out`; or the bowl already holds that.
    """
    parts = weigh_outs.of_batch(session, batch)
    now = next((part for part in parts if part.part.pk == part_id), None)
    if now is None:
        raise Refused(f"That is not a part of {batch.code}.")
    shop = workshop.get(session)
    mass = _meant(shop, parts, now, data)
    if mass <= EMPTY_KG:
        raise Refused(
            f"{targets.words(now.weighed_kg, shop)} of {now.name.lower()} is booked already: this adds nothing.", "mass"
        )
    as_read = abs(mass - data.mass.si) <= EMPTY_KG
    amount = data.mass if as_read else Quantity(mass, exact(mass, "mass", shop.units))
    row = data.model_copy(update={"mass": amount}).answering(None)
    weigh_outs.weigh_out(session, batch, part_id, row, person, version)
    total = now.weighed_kg + mass
    words = f"{now.name} {targets.words(total, shop)}: {_word(shop, now.part.target_kg, total)}"
    return Booked(words, _settled(session, melt, batch, person))


def _fits(shop: Workshop, target_kg: float, mass_kg: float) -> bool:
    return targets.compare(target_kg, mass_kg, shop)[0] == "in"


def _word(shop: Workshop, target_kg: float, mass_kg: float) -> str:
    """A verdict in a word: good, 3.0 g over, 2.6 g under."""
    if _fits(shop, target_kg, mass_kg):
        return "good"
    return f"{targets.words(abs(mass_kg - target_kg), shop)} {'over' if mass_kg > target_kg else 'under'}"


def _meant(shop: Workshop, parts: list[PartNow], now: PartNow, data: BowlIn) -> float:
    """The mass that a reading adds to its bowl [kg].

    Where scoops were booked before, a reading that brings the bowl into its tolerance in one way only is taken so: as
    one more scoop on a scale set to nought, or as the whole bowl.
    """
    read, held, target = data.mass.si, now.weighed_kg, now.part.target_kg
    if data.book:
        return read if data.book == "scoop" else read - held
    if now.state == "in" and _fits(shop, target, read):
        return 0.0  # the same bowl, read once more
    as_scoop, as_whole = _fits(shop, target, held + read), read > held and _fits(shop, target, read)
    if held <= EMPTY_KG:
        if as_whole:
            return read
        raise _first(shop, parts, now, read)
    if as_scoop != as_whole:
        return read if as_scoop else read - held
    raise _further(shop, now, read)


def _first(shop: Workshop, parts: list[PartNow], now: PartNow, read: float) -> Verdict:
    """The verdict on a bowl that nothing is in yet."""
    target = now.part.target_kg
    under = read < target
    slips = weigh_outs.slips(shop, target, read) if targets.far(target, read, shop) else []
    other = next((p for p in parts if p is not now and p.state == "open" and _fits(shop, p.part.target_kg, read)), None)
    if other is not None:
        head = f"This looks like the {other.name.lower()}"
        answer = ("scoop", f"{now.name}, more comes") if under else ("whole", f"{now.name}: keep it")
        return Verdict("other", head, "Look at the label.", [answer], [], other)
    head = _word(shop, target, read)
    if under:
        return Verdict("under", head, "Add it and read again.", [("scoop", "A first scoop, more comes")], slips)
    return Verdict("over", head, "Take it out and read again.", [("whole", "Keep it as it is")], slips)


def _further(shop: Workshop, now: PartNow, read: float) -> Verdict:
    """The verdict on a reading after scoops were booked."""
    target, held = now.part.target_kg, now.weighed_kg
    total = held + read
    slips = weigh_outs.slips(shop, target - held, read) if targets.far(target, total, shop) else []
    if read > held:
        answers = [
            ("scoop", f"Scoop: {targets.words(total, shop)} in all"),
            ("whole", f"Bowl: {targets.words(read, shop)}"),
        ]
        todo = f"{targets.words(held, shop)} was in it before."
        return Verdict("which", "One more scoop, or the whole bowl?", todo, answers, slips)
    if total < target:
        todo = "Add it, set the scale to nought before it, and read again."
        return Verdict("under", _word(shop, target, total), todo, [("scoop", "A scoop, more comes")], slips)
    return Verdict(
        "over", _word(shop, target, total), "Take it out and read again.", [("scoop", "Keep it as it is")], slips
    )


def _settled(session: Session, melt: Melt, batch: Batch, person: str) -> bool:
    """Settle the weighing out once every bowl is done and none is so far off that somebody must say what was meant."""
    if any(part.state in ("open", "near") for part in weigh_outs.of_batch(session, batch)):
        return False
    weighing = next((s for s in melt.steps if s.key == "weigh"), None)
    if weighing is None or steps.settled(weighing) or targets.off(session, batch):
        return False
    steps.record(session, melt, weighing.pk, StepIn(act="done"), person)
    return True
