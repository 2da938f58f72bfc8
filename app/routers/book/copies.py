"""The book to take away: a copy of it, and everything in it as a zip."""

from collections.abc import Callable
from pathlib import Path

from fastapi import Request
from fastapi.responses import FileResponse, Response
from starlette.background import BackgroundTask

from app import clock, downloads
from app.routing import late_router

router = late_router("/workshop")


@router.get("/copy")
def copy(request: Request) -> Response:
    """A proved copy of the book, to be kept elsewhere."""
    return _sent(request, downloads.copy, "sqlite3", "application/vnd.sqlite3")


@router.get("/everything")
def everything(request: Request) -> Response:
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
