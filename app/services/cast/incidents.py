"""Incidents and near misses: told in two taps, written out later, never erased.

An incident makes the whole checklist due again (`app.book.gate_rule`); a near miss does not, so that telling one costs
nothing. What was learned proposes a line for the checklist, which a person writes into its next edition.
"""

from sqlmodel import Session, col, select

from app import clock
from app.errors import Refused
from app.models import Batch, ChecklistEdition, Incident
from app.models.base import build, change
from app.models.batch import VoidIn
from app.models.incident import IncidentIn, TapIn, WrittenIn
from app.services.book import audit_reasons, first_minute, moments, repository
from app.services.cast import casting, editions

DUE_AGAIN = "The whole checklist is due again before anything new is heated."
"""What an incident does to the evening."""

KEPT = {
    "incident": f"Kept, with this moment; it is written out later. {DUE_AGAIN}",
    "near miss": "Kept, with this moment; it is written out later.",
}
"""What is said when one was tapped, by its kind."""


# --- Finding -------------------------------------------------------------------------------------


def every(session: Session, page: int = 1) -> repository.Page[Incident]:
    """A page of all of them, newest first, voided ones too."""
    query = select(Incident).order_by(col(Incident.happened_at).desc(), col(Incident.id).desc())
    return repository.page(session, query, page)


def of_batch(session: Session, batch: Batch) -> list[Incident]:
    """What was told at a melt, in the order it came, voided ones too."""
    return list(session.exec(select(Incident).where(Incident.batch_id == batch.pk).order_by(col(Incident.id))))


def not_written(session: Session) -> list[Incident]:
    """Those that wait to be written out, oldest first."""
    waiting = select(Incident).where(col(Incident.written_at).is_(None), col(Incident.voided_at).is_(None))
    return list(session.exec(waiting.order_by(col(Incident.id))))


def stands_in_list(session: Session, incident: Incident) -> bool:
    """Whether the line that it proposes stands in the checklist that is used now."""
    newest = editions.newest_of(session, ChecklistEdition)
    wanted = _plain(incident.line)
    return bool(wanted) and newest is not None and any(_plain(line.words) == wanted for line in newest.lines)


def _plain(words: str) -> str:
    return " ".join(words.lower().split()).rstrip(".")


# --- Telling -------------------------------------------------------------------------------------


def tap(session: Session, batch: Batch, data: TapIn, person: str) -> Incident:
    """Keep what happened at a melt with this moment, whether its evening is open or not."""
    kind, _, sort = data.what.partition(":")
    cast = casting.find(session, batch)
    row = Incident(
        cast_session_id=None if cast is None else cast.pk,
        batch_id=batch.pk,
        happened_at=clock.now(),
        kind=kind,
        sort=sort,
        person=person,
    )
    session.add(row)
    session.flush()
    return row


def tell(session: Session, data: IncidentIn, person: str) -> Incident:
    """Keep one that is told afterwards, written out as it is; it belongs to no evening.

    Raises
    ------
    Refused
        Its moment is still to come, or never was.
    """
    at = moments.of_wall(data.happened_at, "happened_at")
    if at > clock.now() + moments.AHEAD:
        raise Refused("That is still to come. Look at the day and the hour again.", field="happened_at")
    row = build(Incident, data, person=person, written_at=clock.now())
    row.happened_at = at
    session.add(row)
    session.flush()
    return row


def write_out(session: Session, row: Incident, data: WrittenIn, version: int | None = None) -> None:
    """Write one out, or write it anew with a reason; what stood before is kept in the record.

    Raises
    ------
    Conflict
        It was changed since the page was opened.
    Refused
        It was voided, or it was written out before and no reason is given.
    """
    if row.voided_at is not None:
        raise Refused(f"This was voided: {row.voided_why}")
    repository.claim(row, version)
    if row.written_at is not None and len(str(getattr(data, "why", ""))) < audit_reasons.WHY_LEAST:
        raise Refused("Say in a few words why it is written anew; what stood before is kept with it.", field="why")
    change(row, data)
    row.written_at = row.written_at or clock.now()
    session.flush()


def void(session: Session, row: Incident, data: VoidIn, version: int | None = None) -> None:
    """Void one that was tapped by mistake; it stays readable with the reason.

    Raises
    ------
    Conflict
        It was changed since the page was opened.
    Refused
        It was voided already, or the button of the first minute came after it.
    """
    first_minute.strike(session, row, data, version, called="voided")
