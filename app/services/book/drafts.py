"""Keep and forget unsaved forms."""

from sqlmodel import Session, select

from app import clock
from app.models import Draft, OnceToken


def keep(session: Session, page: str, values_json: str, once: str = "") -> None:
    """Keep the texts of a page's form in place of what was kept before.

    Enter in a field sends the draft and the save at the same moment; a draft that comes in after its own
    save would stand in the next form, so one whose once-only token is spent is let go.
    """
    if once and session.get(OnceToken, once) is not None:
        return
    session.merge(Draft(page=page, values_json=values_json, updated_at=clock.now()))


def unsaved(session: Session) -> dict[str, Draft]:
    """The texts kept, by the page of their form: a handful, since each goes with its save."""
    return {draft.page: draft for draft in session.exec(select(Draft))}


def discard(session: Session, page: str) -> None:
    """Forget the texts of a page's form."""
    draft = session.get(Draft, page)
    if draft is not None:
        session.delete(draft)
