"""What a page says when something outside of the book's rules fails: the disk, the file, or the program itself.

Such a page is drawn without the book, which may be what is broken, in the frame of all pages; what was typed stands in
it, ready to be sent again.
"""

import sqlite3

from fastapi import FastAPI, Request
from fastapi.responses import JSONResponse, PlainTextResponse, Response
from sqlalchemy.exc import DBAPIError
from starlette.requests import ClientDisconnect

from app import logbook, web
from app.access import middleware
from app.calc.base.notes import Note
from app.errors import Trouble
from app.forms import words_of
from app.page import Page
from app.troubles import trouble_of

_HIDDEN = ("once", "version")


class TroublePage(Page, template="trouble.html"):
    """What stands in the way, and what was typed, to be sent again."""

    message: str | Note
    typed: list[tuple[str, str, str, bool]]
    """Name, label and text of each field, and whether nobody sees it."""
    files: bool
    """Whether a file was sent too, which is not kept."""


def install(app: FastAPI) -> None:
    """Let these answers stand for what no page and no service has caught."""
    for kind in (Trouble, DBAPIError, sqlite3.Error, OSError):
        app.add_exception_handler(kind, _trouble)
    app.add_exception_handler(ClientDisconnect, _gone)
    app.add_exception_handler(Exception, _own_fault)


async def _trouble(request: Request, error: Exception) -> Response:
    trouble = trouble_of(error)
    if trouble is None:
        raise error
    logbook.fault(web.doing(request), error)
    return said(request, trouble)


def said(request: Request, trouble: Trouble) -> Response:
    """The page that says what stands in the way, with what was typed."""
    path = request.url.path
    if getattr(request.state, "device", None) is None:  # who is not let in yet sees nothing of the book's pages
        return PlainTextResponse(trouble.message, status_code=trouble.status)
    if path == "/timers" or path.startswith("/api/"):
        return JSONResponse({"detail": trouble.message}, status_code=trouble.status)
    form = getattr(request, "_form", None) or request.scope.get("typed")  # what was read of the form before it failed
    sent = form.multi_items() if form else []
    texts = [(name, text) for name, text in sent if isinstance(text, str)]
    typed = [(name, words_of(name), text, name in _HIDDEN) for name, text in texts]
    page = TroublePage(message=trouble.message, typed=typed, files=len(texts) < len(sent))
    return web.whole_region(request, web.bare(request, page, trouble.status))


def _gone(_request: Request, _error: Exception) -> Response:
    """Whoever sent this went away before it had come whole: nobody reads the answer, and nothing failed."""
    return Response(status_code=400)


def _own_fault(request: Request, error: Exception) -> Response:
    """A fault of the program itself: told plainly, without the page frame that may be what is broken."""
    logbook.fault(web.doing(request), error)
    return PlainTextResponse(
        "Grainbook made a mistake, and this was not saved. What was saved before is in the book as it was. Go back "
        "(what you typed in a longer form is kept) and try again; the log beside the book says where it went wrong "
        "(grainbook where tells its place).",
        status_code=500,
        headers=middleware.HEADERS,
    )
