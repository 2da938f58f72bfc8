"""Paper at the bench: what the sheets to print show, the checklist on one and each melt of the evening on its own."""

from dataclasses import dataclass

from sqlmodel import Session, col, select

from app.models import Batch, CastStep, ChecklistEdition, ChecklistItem, Formula
from app.services.cast import casting, checklists, editions, entering, needs, runsheets, steps, weigh_outs
from app.services.cast.needs import Wanted
from app.services.cast.weigh_outs import PartNow
from app.services.stock import batches


@dataclass(frozen=True)
class Line:
    """A step as the sheet has it: in the bench's words, with its amount [kg] and its usual time after the pour [s]."""

    step: CastStep
    words: str
    amount_kg: float | None
    usual_s: float | None


@dataclass(frozen=True)
class MeltSheet:
    """The sheet of one melt, in the order in which things are done."""

    number: int
    batch: Batch
    formula: Formula
    again: list[ChecklistItem]
    """The lines of the checklist that are marked again before this melt; none where the whole list opens it."""
    bowls: list[PartNow]
    lines: list[Line]
    grains: list[Wanted]
    serials: list[tuple[str, str]]
    """Each grain's serial and pattern."""


def sheets(session: Session, batch: Batch, *, alone: bool = False) -> list[MeltSheet]:
    """The sheets of a batch's evening: its melts in their order, then what is planned for the same day and waits.

    `alone` gives the sheet of that batch and no other.
    """
    found = [_sheet(session, number, lot) for number, lot in enumerate(lots(session, batch), start=1)]
    return [sheet for sheet in found if sheet.batch.pk == batch.pk] if alone else found


def lots(session: Session, batch: Batch) -> list[Batch]:
    """The batches of an evening: those at the pan in the order of their melts, then those that wait for that day."""
    melt = casting.melt(session, batch)
    evening = melt.evening if melt is not None else casting.open_evening(session)
    at_pan = entering.lots(session, evening) if evening is not None else []
    if batch not in at_pan and all(lot.planned_for != batch.planned_for for lot in at_pan):
        at_pan = []  # the evening that is open is another day's
    if melt is not None and melt.evening.closed_at is not None:
        return at_pan
    waiting = select(Batch).where(Batch.planned_for == batch.planned_for, Batch.state == "planned")
    found = [*at_pan, *session.exec(waiting.order_by(col(Batch.id)))]
    return found if batch in found else [*found, batch]


def _sheet(session: Session, number: int, batch: Batch) -> MeltSheet:
    melt = casting.melt(session, batch)
    listed = list(melt.steps) if melt is not None else runsheets.lay_out(session, batch)
    several = max((step.set_number for step in listed), default=0) > 1
    wanted = needs.wanted(session, batch)
    grains = [want.pattern.name for want in wanted for _ in range(want.count)]
    again = editions.now_used(session, ChecklistEdition).lines if number > 1 else []
    return MeltSheet(
        number=number,
        batch=batch,
        formula=batches.formula_of(session, batch),
        again=[item for item in again if item.again],
        bowls=weigh_outs.of_batch(session, batch),
        lines=[
            Line(
                step,
                f"Set {step.set_number}: {step.words}" if several and step.set_number else step.words,
                steps.amount(step, batch),
                runsheets.usual_s(listed, step),
            )
            for step in listed
        ],
        grains=wanted,
        serials=[(f"{batch.code}-{i:02d}", name) for i, name in enumerate(grains, start=1)],
    )


def checklist_to_print(session: Session, batch: Batch) -> list[ChecklistItem]:
    """The lines of the checklist in use, or of the one that is being answered for the batch."""
    begun = checklists.current(session, batch)
    edition = checklists.edition_of(session, begun) if begun else editions.now_used(session, ChecklistEdition)
    return list(edition.lines)
