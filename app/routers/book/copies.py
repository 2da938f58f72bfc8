"""The book to take away: a copy of it, and everything in it as a zip.

Both are work, and asked for by a form: were they made by opening an address, any page that links to it could keep the
disk busy.
"""

from collections.abc import Callable
from pathlib import Path

from fastapi import Request
from fastapi.responses import FileResponse, Response
from starlette.background import BackgroundTask

from app import clock, downloads
from app.page import Page
from app.routing import late_router
from app.web import Book, Typed, render

router = late_router("/workshop")


class TakeAwayPage(Page, template="book/take_away.html", section="workshop"):
    """The buttons that the two files are asked for with."""


@router.get("/copy")
@router.get("/everything")
def ask(request: Request, session: Book) -> Response:
    """What the two files are, and the buttons: the addresses that once sent them."""
    return render(request, session, TakeAwayPage())


@router.post("/copy")
def copy(request: Request, _typed: Typed) -> Response:
    """A proved copy of the book with its files in it, to be kept elsewhere."""
    return _sent(request, downloads.copy, "sqlite3", "application/vnd.sqlite3")


@router.post("/everything")
def everything(request: Request, _typed: Typed) -> Response:
    """The whole book as JSON, CSV and files."""
    return _sent(request, downloads.everything, "zip", "application/zip")


def _sent(request: Request, make: Callable[[Path], Path], ending: str, kind: str) -> Response:
    book: Path = request.app.state.settings.book
    made = make(book)
    return FileResponse(
        made,
        media_type=kind,
        filename=f"{book.stem}-{clock.today()}.{ending}",
        background=BackgroundTask(made.unlink, missing_ok=True),
    )
