"""The press that begins to heat a melt: it says that person and place are those of the whole list."""

from fastapi import Request
from sqlmodel import Session

from app.forms import Form
from app.models import CastStep, Melt
from app.services.cast import hands
from app.web import named


def tell(request: Request, session: Session, melt: Melt, step: CastStep, form: Form) -> None:
    """Let the form of a melt's first heating say so; a device that is named for somebody else does not: it is asked."""
    if not hands.unchanged(session, melt, step) or "" in form.asked:
        return
    whole = hands.signer(session, melt)
    if whole is not None and named(request, session) in ("", whole.person):
        form.sure["", hands.about(melt)] = "yes"
