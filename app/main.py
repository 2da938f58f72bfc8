"""The application: only assembled here."""

from collections.abc import Awaitable, Callable
from contextlib import asynccontextmanager
from typing import Any
from urllib.parse import urlsplit

from fastapi import FastAPI, Request
from fastapi.exception_handlers import request_validation_exception_handler
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, PlainTextResponse, Response
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException
from starlette.middleware.trustedhost import TrustedHostMiddleware

from app import web
from app.db import migrate, open_engine, reading
from app.errors import BookError
from app.routers import ROUTERS
from app.services import first_run
from app.settings import Settings, resource

LOCAL_HOSTS = ["localhost", "127.0.0.1", "[::1]"]
POLICY = (
    "default-src 'self'; img-src 'self' data:; base-uri 'none'; form-action 'self'; frame-ancestors 'none'; "
    "object-src 'none'"
)


def create_app(settings: Settings) -> FastAPI:
    """The app on one book: the book is created or migrated, and filled with its first rows."""
    migrate(settings.book)
    engine = open_engine(settings.book)
    first_run.prepare(engine)

    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> Any:
        yield
        engine.dispose()

    app = FastAPI(title="Grainbook", openapi_url=None, docs_url=None, redoc_url=None, lifespan=lifespan)
    app.state.engine = engine
    app.state.settings = settings
    app.mount("/static", StaticFiles(directory=resource("static")), name="static")
    for router in ROUTERS:
        app.include_router(router)
    app.add_exception_handler(BookError, _book_error)
    app.add_exception_handler(HTTPException, _http_error)
    app.add_exception_handler(RequestValidationError, _address_error)
    app.add_exception_handler(Exception, _own_fault)
    app.middleware("http")(_guard)
    app.add_middleware(TrustedHostMiddleware, allowed_hosts=LOCAL_HOSTS)
    return app


async def _guard(request: Request, call_next: Callable[[Request], Awaitable[Response]]) -> Response:
    """No post from another site, no framing, no script but our own."""
    origin = request.headers.get("origin")
    if request.method not in ("GET", "HEAD") and origin is not None and origin != "null":
        if urlsplit(origin).netloc != request.headers.get("host"):
            return PlainTextResponse("This request came from another site and was refused.", status_code=403)
    elif request.method not in ("GET", "HEAD") and origin == "null":
        return PlainTextResponse("This request came from an unknown place and was refused.", status_code=403)
    response = await call_next(request)
    response.headers["Content-Security-Policy"] = POLICY
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Referrer-Policy"] = "same-origin"
    if not request.url.path.startswith("/static/"):
        response.headers["Cache-Control"] = "no-store"
    return response


def _error_page(request: Request, status: int, message: str) -> Response:
    with reading(request.app.state.engine) as session:
        return web.render(request, session, "error.html", status=status, code=status, message=message)


def _book_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, BookError)
    return _error_page(request, error.status, error.message)


def _http_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    words = {
        404: "There is no such page in this book.",
        405: "This address does not take that kind of request.",
    }
    said = words.get(error.status_code, str(error.detail))
    if request.url.path.startswith("/api/"):
        said = said.replace("page in this book", "address in the compute API")
        return JSONResponse({"detail": said}, status_code=error.status_code, headers=error.headers)
    return _error_page(request, error.status_code, said)


async def _address_error(request: Request, error: Exception) -> Response:
    """An address with a part that cannot be (`/review?from=soon`); the compute API explains itself in JSON."""
    assert isinstance(error, RequestValidationError)
    if request.url.path.startswith("/api/"):
        return await request_validation_exception_handler(request, error)
    place = str(error.errors()[0]["loc"][-1])
    return _error_page(request, 404, f"This address does not fit: “{place}” is missing or not of the right kind.")


def _own_fault(_request: Request, _error: Exception) -> Response:
    """A fault of the program itself: told plainly, without the page frame that may be what is broken."""
    return PlainTextResponse(
        "Grainbook made a mistake, and this was not saved. What was saved before is in the book as it was. Go back "
        "(what you typed in a longer form is kept) and try again; the terminal that Grainbook runs in says more.",
        status_code=500,
    )
