"""Paper at the bench: what the sheet to print shows, and what was written on it entered afterwards."""

from sqlmodel import Session

from app.errors import Refused
from app.models import Batch, CastStep, ChecklistEdition, ChecklistItem, TemperatureReading
from app.models.cast import StepIn
from app.models.runsheet import PaperIn, PaperReadingIn, PaperStepIn
from app.services.book import moments, repository
from app.services.cast import casting, checklists, editions, runsheets, steps


def steps_to_print(session: Session, batch: Batch) -> list[CastStep]:
    """The steps of a batch's session, or those that a session opened now would have."""
    melt = casting.melt(session, batch)
    return list(melt.steps) if melt is not None else runsheets.lay_out(session, batch)


def checklist_to_print(session: Session, batch: Batch) -> list[ChecklistItem]:
    """The lines of the checklist in use, or of the one that is being answered for the batch."""
    begun = checklists.current(session, batch)
    edition = checklists.edition_of(session, begun) if begun else editions.now_used(session, ChecklistEdition)
    return list(edition.lines)


def enter(session: Session, batch: Batch, data: PaperIn) -> int:
    """Enter what was written on paper: times of steps, steps left out, readings of the pan; tells how many.

    Raises
    ------
    Refused
        The session is not open, nothing is filled in, or a time does not fit; beside the field that is wrong.
    """
    melt = casting.the_open(session, batch)
    person = casting.person(melt.evening)
    entered = 0
    for number, line in enumerate(data.steps):
        if line.at or line.skipped:
            _step(session, batch, number, line, person)
            entered += 1
    for number, reading in enumerate(data.readings):
        _reading(session, melt.pk, number, reading)
        entered += 1
    if not entered:
        raise Refused("Nothing is filled in yet. Write at least one time, or leave the page.")
    steps.note(session, melt, f"Entered afterwards, {entered} {'line' if entered == 1 else 'lines'}: {data.why}")
    session.flush()
    return entered


def _step(session: Session, batch: Batch, number: int, line: PaperStepIn, person: str) -> None:
    melt = casting.the_open(session, batch)
    if line.at and line.skipped:
        raise Refused("Either it was done at that time or it was skipped; empty one.", field=f"steps.{number}.at")
    try:
        if line.skipped:
            steps.record(session, melt, line.step_id, StepIn(act="skip", why=line.skipped), person)
            return
        step = repository.get(session, CastStep, line.step_id, "step")
        if step.melt_id != melt.pk:
            raise Refused("That step belongs to another melt.")
        repository.claim(step, None)
        steps.put_time(session, melt, step, moments.parse(line.at), person)
    except Refused as refused:
        place = "skipped" if line.skipped else "at"
        raise Refused(refused.message, field=f"steps.{number}.{place}") from None


def _reading(session: Session, melt_id: int, number: int, line: PaperReadingIn) -> None:
    try:
        read_at = moments.parse(line.at)
    except Refused as refused:
        raise Refused(refused.message, field=f"readings.{number}.at") from None
    session.add(
        TemperatureReading(
            melt_id=melt_id,
            read_at=read_at,
            temperature_k=line.temperature.si,
            temperature_typed=line.temperature.typed,
        )
    )
