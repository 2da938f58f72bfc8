"""The application: only assembled here."""

import gc
from contextlib import asynccontextmanager
from typing import Any

from anyio import to_thread
from fastapi import FastAPI, Request
from fastapi.exception_handlers import request_validation_exception_handler
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, PlainTextResponse, Response
from fastapi.staticfiles import StaticFiles
from sqlalchemy.exc import DBAPIError
from starlette.exceptions import HTTPException
from starlette.routing import Match

from app import faults, first_run, units, unread, web
from app.access import lan, middleware
from app.access.door import Door
from app.book import missing
from app.book.backup_thread import BackupThread
from app.book.checkpoints import Checkpoints
from app.book.elsewhere_thread import ElsewhereThread
from app.book.notices import Notices
from app.book.watch import Watch
from app.calc.base.notes import Note
from app.db import migrate, open_engine, reading
from app.errors import BookError
from app.routers import ROUTERS
from app.settings import Settings, resource

WORKERS = 8
"""Requests worked on at once: more would only wait for each other, keep more memory and take all connections."""

ROUNDS = (5_000, 10, 50)
"""New objects before the collector looks at the young ones, then looks before it goes through older ones, and all: a
long page makes thousands, and with the interpreter's own 700 every thirtieth page waited for a round over all."""


def serving(settings: Settings) -> FastAPI:
    """The app for a process that serves nothing else.

    What stands for the whole run (modules, tables, routes: some hundred thousand objects) is taken out of the garbage
    collector's rounds; each full round over it would hold up a page by a quarter of a second.
    """
    app = create_app(settings)
    gc.collect()
    gc.freeze()
    gc.set_threshold(*ROUNDS)
    return app


def create_app(settings: Settings) -> FastAPI:
    """The app on one book: the book is created or migrated, and filled with its first rows."""
    missing.look(settings.book)
    migrate(settings.book)
    watch = Watch(settings.book)
    engine = open_engine(settings.book, watch)
    try:
        first_run.prepare(engine)
    except Exception as error:
        if not unread.found(engine, error):
            raise
        first_run.prepare(engine)  # without what cannot be read
    backups, elsewhere = BackupThread(settings.book), ElsewhereThread(settings.book)
    checkpoints = Checkpoints(watch)

    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> Any:
        to_thread.current_default_thread_limiter().total_tokens = WORKERS
        if settings.copies:
            checkpoints.start()
            backups.start()
            elsewhere.start()
            later = unread.later(engine)
        yield
        if settings.copies:
            later.cancel()
            elsewhere.stop()
            backups.stop()
            checkpoints.stop()
        engine.dispose()

    app = FastAPI(title="Grainbook", openapi_url=None, docs_url=None, redoc_url=None, lifespan=lifespan)
    app.state.engine = engine
    app.state.settings = settings
    app.state.backup_thread = backups
    app.state.elsewhere = elsewhere
    app.state.door = Door(settings.book)
    app.state.checkpoints = checkpoints
    app.state.notices = Notices(settings.book)
    app.state.lan = lan.of_settings(settings) if settings.lan else None
    app.mount("/static", StaticFiles(directory=resource("static")), name="static")
    for router in ROUTERS:
        app.router.routes += router.routes  # as they are: `include_router` works every route out, once more
    app.add_exception_handler(BookError, _book_error)
    app.add_exception_handler(HTTPException, _http_error)
    app.add_exception_handler(RequestValidationError, _address_error)
    faults.install(app)
    app.add_middleware(middleware.Gate, engine=engine, door=app.state.door, lan=app.state.lan)
    app.add_middleware(unread.Unread, engine=engine)
    return app


def _error_page(request: Request, status: int, message: str | Note, page: str = "") -> Response:
    if request.state.device is None:  # a device that is not paired sees nothing of the book's pages
        return PlainTextResponse(units.say(message), status_code=status)
    shown = web.ErrorPage(code=status, message=message, page=page)
    try:
        with reading(request.app.state.engine) as session:
            return web.render(request, session, shown, status)
    except DBAPIError:  # the book does not answer either
        return web.bare(request, shown, status)


def _book_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, BookError)
    return _error_page(request, error.status, error.message)


def _http_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    words = {
        404: "There is no such page in this book.",
        405: "This address only takes what a form sends; opened by itself, it shows nothing."
        if request.method == "GET"
        else "This address does not take that kind of request.",
    }
    said = words.get(error.status_code, str(error.detail))
    if request.url.path.startswith("/api/"):
        said = said.replace("page in this book", "address in the compute API")
        return JSONResponse({"detail": said}, status_code=error.status_code, headers=error.headers)
    return _error_page(request, error.status_code, said, _page_above(request) if error.status_code == 405 else "")


def _page_above(request: Request) -> str:
    """The nearest page above an address that only saves: where its form stands. Nothing where there is none."""
    path = request.url.path
    while (path := path.rsplit("/", 1)[0]) and path != "/":
        scope = {"type": "http", "method": "GET", "path": path, "headers": []}
        if any(route.matches(scope)[0] is Match.FULL for route in request.app.routes):
            return path
    return ""


async def _address_error(request: Request, error: Exception) -> Response:
    """An address with a part that cannot be (`/review?from=soon`); the compute API explains itself in JSON."""
    assert isinstance(error, RequestValidationError)
    if request.url.path.startswith("/api/"):
        return await request_validation_exception_handler(request, error)
    place = str(error.errors()[0]["loc"][-1])
    return _error_page(request, 404, f"This address does not fit: “{place}” is missing or not of the right kind.")
