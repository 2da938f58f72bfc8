"""Keep and forget unsaved forms."""

from sqlmodel import Session

from app import clock
from app.models import Draft


def keep(session: Session, page: str, values_json: str) -> None:
    """Keep the texts of a page's form in place of what was kept before."""
    session.merge(Draft(page=page, values_json=values_json, updated_at=clock.now()))


def discard(session: Session, page: str) -> None:
    """Forget the texts of a page's form."""
    draft = session.get(Draft, page)
    if draft is not None:
        session.delete(draft)
