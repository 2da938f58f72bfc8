"""The form of the next grain on the scale: what is proposed in it, and a grain put into it by its serial."""

from typing import Any

from sqlmodel import Session

from app.errors import Refused
from app.forms import Choice, Form
from app.models import Batch, CastingTube, GrainPattern
from app.services.book import repository
from app.services.grains import grains, weighing
from app.services.grains.grains import GrainView
from app.services.hardware import inventory
from app.web import choose


def pattern_choices(session: Session, batch: Batch) -> list[Choice]:
    """The patterns of the plan first, then the others."""
    planned = [item.pattern_id for item in batch.items]
    found = inventory.patterns(session) + [p for p in inventory.patterns(session, True) if p.pk in planned]
    return choose(sorted(found, key=lambda p: planned.index(p.pk) if p.pk in planned else len(planned)))


def proposal(session: Session, batch: Batch, weighed: list[GrainView]) -> dict[str, Any]:
    """What most likely comes next: the next number, the first pattern not complete, in its tube or out of it.

    As the last one was; the first one in its tube if the book knows what that weighs, for the tube stays on the grain
    and one forgotten makes a grain look denser than it is.
    """
    counts: dict[int, int] = {}
    for view in weighed:
        counts[view.pattern.pk] = counts.get(view.pattern.pk, 0) + 1
    open_items = [item for item in batch.items if counts.get(item.pattern_id, 0) < item.count]
    item = open_items[0] if open_items else batch.items[-1]
    last = max(weighed, key=lambda v: v.grain.weighed_at, default=None)
    tube = inventory.tube_of(session, repository.get(session, GrainPattern, item.pattern_id, "grain pattern"))
    known = tube is not None and bool(tube.tare_kg)
    return {
        "pattern_id": item.pattern_id,
        "number": grains.next_number(session, batch),
        "in_tube": last.grain.tare_kg > 0 if last is not None else known,
    }


def tubes(session: Session, patterns: list[GrainPattern]) -> list[tuple[GrainPattern, CastingTube]]:
    """The patterns whose tube has a mass in the book, with that tube."""
    found = [(pattern, inventory.tube_of(session, pattern)) for pattern in patterns]
    return [(pattern, tube) for pattern, tube in found if tube is not None and tube.tare_kg]


def put_on(form: Form, batch: Batch, text: str, again: str, weighed: list[GrainView]) -> None:
    """Put a grain on the scale that was typed, scanned or touched; one of another lot is refused in words."""
    try:
        number = weighing.number_of(batch, text)
    except Refused as error:
        form.refuse("number", error.message)
        return
    form.values["number"] = [str(number)]
    form.values["again"] = [again]
    found = next((v for v in weighed if v.grain.number == number), None)
    if found is not None:
        form.values["pattern_id"] = [str(found.pattern.pk)]
        form.values["in_tube"] = ["on"] if found.grain.tare_kg > 0 else []
