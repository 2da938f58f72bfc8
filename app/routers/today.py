"""The day's page."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.services import today
from app.web import Book, render

router = APIRouter()


@router.get("/")
def show(request: Request, session: Book) -> Response:
    """What runs, what is due, what is planned and what is short."""
    return render(request, session, "today/index.html", section="today", day=today.look(session))
