"""Who may come in: every request passes this gate before anything of the app sees it.

In this order: the host asked for must be this machine's own (a page of another name that resolves to this machine is
turned away: DNS rebinding), a request that could change something must come from the book's own pages, a client on
this machine must have been let in through the `door`, and one on the network must be a paired device. Any other gets
the static files, and the page that tells how to come in, and nothing else. What a proxy says of a client
(`X-Forwarded-For` and its kind) is never believed.
"""

import re

from fastapi.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from sqlalchemy import Engine
from sqlalchemy.exc import SQLAlchemyError
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.requests import cookie_parser
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.access import lan as network
from app.access.door import ENTER, Door
from app.access.lan import LOOPBACK_NAMES, Lan
from app.db import reading, writing
from app.services.book import devices

HEADERS = {
    "Content-Security-Policy": "default-src 'self'; img-src 'self' data:; base-uri 'none'; form-action 'self'; "
    "frame-ancestors 'none'; object-src 'none'",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
"""On every answer: no framing, no script but our own, nothing told to other sites."""

COOKIE = "grainbook_device"
TLS_COOKIE = f"__Host-{COOKIE}"
"""Over TLS: no page that came in plain can set or read a cookie of such a name (RFC 6265bis)."""

PAIR = "/pair"
CERTIFICATE = f"{PAIR}/authority.crt"
API = "/api/"
LOOKS = ("GET", "HEAD")
NOT_LET_IN = "This browser was not let in. The command `grainbook address` prints an address that lets it in."
NO_TOKEN = "A script needs a token: make one with `grainbook token`, and send it as `Authorization: Bearer TOKEN`."  # noqa: S105

TEXT_ROOM = 4 * 1024 * 1024
"""Most bytes of a request that is no upload; files of a form have limits of their own."""

STRANGER_ROOM = 10_000
"""Most bytes of a request of a device that is not paired."""


def host_of(text: str) -> str:
    """The name or address in a Host header, without its port; empty where it cannot be read."""
    match = re.fullmatch(r"(?:\[([0-9A-Fa-f:.]+)\]|([A-Za-z0-9._-]+))(?::[0-9]{1,5})?", text)
    return (match[1] or match[2]).lower().removesuffix(".") if match else ""


class Gate:
    """The gate as ASGI middleware; `lan` is None while the book is open to this machine alone."""

    def __init__(self, app: ASGIApp, engine: Engine, door: Door, lan: Lan | None = None) -> None:
        self.app, self.engine, self.door, self.lan = app, engine, door, lan

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Turn a request away, or let it on with `device` in its state: a paired device's name, "" on this machine."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            await send({"type": "websocket.close", "code": 1008})
            return

        async def closed(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers[name] = value
                if scope["scheme"] == "https":
                    _only_over_tls(message)
                if not scope["path"].startswith("/static/"):
                    headers.setdefault("Cache-Control", "no-store")
            await send(message)

        headers = Headers(scope=scope)
        here = self._is_this_machine(scope)
        refusal = self._foreign(scope, headers, here)
        name: str | None = ""
        if refusal is None and here and not await self._let_in(scope, headers):
            name, refusal = None, _for_others_here(scope)
        if refusal is None and not here:
            name = await run_in_threadpool(self._paired, headers, scope["scheme"] == "https")
            if name is None:
                refusal = _for_strangers(scope, headers, self.lan is not None and self.lan.authority is not None)
        if refusal is not None:
            await refusal(scope, receive, closed)
            return
        scope.setdefault("state", {})["device"] = name
        room = STRANGER_ROOM if name is None else TEXT_ROOM
        files = headers.get("content-type", "").startswith("multipart/form-data")
        if name is None or not files or scope["path"].startswith(API):
            receive = _at_most(room, receive)
        await self.app(scope, receive, closed)

    def _is_this_machine(self, scope: Scope) -> bool:
        """Whether the client is this machine; it is, if the book listens on the loopback address alone."""
        client = scope.get("client")
        return self.lan is None or (client is not None and network.address(client[0]).is_loopback)

    def _foreign(self, scope: Scope, headers: Headers, here: bool) -> Response | None:
        """Refuse what is meant for another host, comes from another site or from beyond the own network."""
        asked = headers.getlist("host")
        host = host_of(asked[0]) if len(asked) == 1 else ""
        if not (here and host in LOOPBACK_NAMES) and not (self.lan and self._is_own(host, scope)):
            return _told(400, "This host name is not one that this book answers to (invalid Host header).")
        client = scope.get("client")
        if not here and (client is None or network.address(client[0]).is_global):
            return _told(403, "This book is open to its own network only.")
        if not here and self.lan and scope["scheme"] != self.lan.scheme:
            return _told(403, f"This book answers its network by {self.lan.scheme} only.")
        if scope["method"] not in LOOKS:
            origin = headers.get("origin")
            if origin is not None and origin.lower() != f"{scope['scheme']}://{asked[0]}".lower():
                return _told(403, "This request came from another site and was refused.")
            if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
                return _told(403, "This request came from another site and was refused.")
        return None

    def _is_own(self, host: str, scope: Scope) -> bool:
        """Whether a host is a name of this machine, or the very address that the connection came in by."""
        assert self.lan is not None
        server = scope.get("server")
        return host in self.lan.names or (bool(host) and server is not None and host == server[0].lower())

    async def _let_in(self, scope: Scope, headers: Headers) -> bool:
        """Whether a browser of this machine has the cookie, or a script that asks for a calculation a token."""
        if any(self.door.knows(cookie) for cookie in _cookies(headers, self.door.cookie_name)):
            return True
        kind, _, token = headers.get("authorization", "").partition(" ")
        if kind.lower() != "bearer" or not scope["path"].startswith(API):
            return False
        return await run_in_threadpool(self.door.allows, token.strip())

    def _paired(self, headers: Headers, encrypted: bool) -> str | None:
        """The name of the paired device that asks, if it is one: a secret that went in plain is none over TLS."""
        tokens = _cookies(headers, TLS_COOKIE if encrypted else COOKIE)
        if len(tokens) != 1 or devices.was_encrypted(tokens[0]) != encrypted:
            return None
        with reading(self.engine) as session:
            device = devices.of_token(session, tokens[0])
            if device is None:
                return None
            name, identity, note = device.name, device.pk, devices.not_noted(device)
        if note:
            try:
                with writing(self.engine) as session:
                    devices.note_visit(session, identity)
                    session.commit()
            except SQLAlchemyError:  # a full or busy disk: the note is not worth turning the device away
                pass
        return name


def _cookies(headers: Headers, name: str) -> list[str]:
    """What a request brings by a name."""
    return [found[name] for text in headers.getlist("cookie") if name in (found := cookie_parser(text))]


def _for_others_here(scope: Scope) -> Response | None:
    """What a browser or script of this machine gets that was not let in: None lets it on to the page that tells how."""
    path, looks = scope["path"], scope["method"] in LOOKS
    if path.startswith(API):
        return JSONResponse({"detail": NO_TOKEN}, 401, {"WWW-Authenticate": "Bearer"})
    if looks and path.startswith(("/static/", f"{ENTER}/")):
        return None
    if scope["method"] not in ("GET", "POST"):
        return _told(403, NOT_LET_IN)
    scope.update(
        path=ENTER, raw_path=ENTER.encode(), query_string=b"", method="GET"
    )  # at the address that was asked for
    return None


def _only_over_tls(message: Message) -> None:
    """Let no cookie of an answer go back in plain."""
    message["headers"] = [
        (name, value + b"; Secure" if name == b"set-cookie" and b"; secure" not in value.lower() else value)
        for name, value in message["headers"]
    ]


def _for_strangers(scope: Scope, headers: Headers, certified: bool) -> Response | None:
    """What a device gets that is not paired: the pairing page, the authority's certificate and static files."""
    path, looks = scope["path"], scope["method"] in LOOKS
    if looks and certified and path == CERTIFICATE:
        return None
    if (looks and path.startswith("/static/")) or (path == PAIR and (looks or scope["method"] == "POST")):
        told = headers.get("content-length", "0")
        if not looks and (not told.isdecimal() or int(told[:9]) > STRANGER_ROOM):
            return _told(413, "This is more than a pairing code.")
        return None
    if looks and not path.startswith(API):
        return RedirectResponse(PAIR, status_code=303)
    words = "This device is not paired with the book. Open its first page in a browser and type the pairing code."
    return JSONResponse({"detail": words}, 403) if path.startswith(API) else _told(403, words)


def _told(status: int, words: str) -> Response:
    return PlainTextResponse(words, status_code=status)


def _at_most(room: int, receive: Receive) -> Receive:
    """A request's body, refused where it grows too large, whatever its head said of its length."""
    got = 0

    async def counted() -> Message:
        nonlocal got
        message = await receive()
        got += len(message.get("body", b""))
        if got > room:
            raise HTTPException(413, f"This is more than the {room:,} bytes that a form may have. Nothing was saved.")
        return message

    return counted
