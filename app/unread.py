"""What is done where a page stumbles over a row that cannot be read: the row is left out, and the page drawn anew."""

import threading

from sqlalchemy import Engine
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app import faults, logbook, web
from app.access.middleware import HEADERS, LOOKS
from app.book import left_out
from app.errors import Trouble
from app.stored_shapes import shapes
from app.troubles import trouble_of

AFTER_S = 5.0
"""How long after the start the book is looked through."""

NOT_SAVED = (
    "The book has a value that cannot be read, so this was not saved. It is left out from now on, with what hangs on "
    "it; every page names it. Open the page again to see how it stands without, then send again what still holds."
)


class Unread:
    """Round the app: a page that fails is drawn a second time, if something in the book had to be left out."""

    def __init__(self, app: ASGIApp, engine: Engine) -> None:
        self.app, self.engine = app, engine

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Ask the app; where it fails before it answers, look through the book, and ask once more."""
        begun = False

        async def watched(message: Message) -> None:
            nonlocal begun
            begun = True
            await send(message)

        try:
            await self.app(scope, receive, watched)
        except Exception as error:
            if begun or scope["type"] != "http" or not await run_in_threadpool(found, self.engine, error):
                raise
            request = Request(scope, receive)
            logbook.fault(web.doing(request), error)
            if scope["method"] in LOOKS:
                await self.app(scope, receive, send)
                return
            answer = faults.said(request, Trouble(NOT_SAVED, status=409))
            answer.headers.update({**HEADERS, "Cache-Control": "no-store"})
            await answer(scope, receive, send)


def later(engine: Engine) -> threading.Timer:
    """Look through the book once it is open: what no page stumbles over is told too.

    By SQL alone, which leaves the program free for pages; whether stored figures have their shape their pages find out.
    """

    def look() -> None:
        try:
            left_out.of(engine).look({})
        except Exception as error:  # what stands in the way is told where it stands in somebody's way
            logbook.fault("looking through the values of the book", error)

    timer = threading.Timer(AFTER_S, look)
    timer.daemon = True
    timer.start()
    return timer


def found(engine: Engine, error: Exception) -> bool:
    """Whether a failure may have come of a row that cannot be read, and something else is left out from now on."""
    return trouble_of(error) is None and left_out.of(engine).look(shapes())
