"""The help pages: what each part of the book is for, and how its numbers are made."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app.services.cast import cautions
from app.web import Book, render

router = APIRouter()


@router.get("/help")
def show(request: Request, session: Book) -> Response:
    """The help page."""
    return render(request, session, "book/help.html", section="help", cautions=cautions)
