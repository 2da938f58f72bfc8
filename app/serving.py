"""How long the server waits: for what a client sends, for places, and at the end.

uvicorn waits without end for a request whose head or body does not come, and at the end for whoever still sends one.
Here each wait has its end; what is cut had not come whole, so nothing of it was saved.
"""

import asyncio
import logging
import os
import socket
import threading
import time
from dataclasses import dataclass
from typing import Any

import h11
from starlette.requests import ClientDisconnect
from uvicorn import Config
from uvicorn.protocols.http.h11_impl import H11Protocol

from app.access import doorway
from app.access.middleware import HEADERS


@dataclass(frozen=True)
class Patience:
    """The times and the places."""

    head_s: float = 15.0
    """From a connection, or the first byte of a further request, until its head is whole."""
    body_s: float = 30.0
    """Without a byte of a body that has begun."""
    end_s: float = 5.0
    """At the end, for requests that came whole and are being worked on."""
    last_s: float = 20.0
    """At the end, for everything: a calculation in a thread cannot be broken off."""
    unfinished: int = 100
    """Connections that may owe their request; from there on the one that owes it longest goes for a new one."""


PATIENCE = Patience()
NOT_WHOLE = "Nothing more came of this for {:g} s, so it was given up. Nothing of it was saved; send it again."
STOPPED = "Grainbook is being stopped, and this had not come whole. Nothing of it was saved."


class Http(H11Protocol):
    """HTTP as uvicorn speaks it, which gives a connection up that does not send its request."""

    waits: str = ""
    """For the "head" or the "body" of a request; "" while nothing is owed."""
    since: float = 0.0
    _end: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override] # as uvicorn has it
        """A new connection owes a head; too many that owe something make room for it."""
        super().connection_made(transport)
        self._wait("head", PATIENCE.head_s)
        owing = [one for one in self.connections if isinstance(one, Http) and one.waits and one is not self]
        if len(owing) >= PATIENCE.unfinished:
            min(owing, key=lambda one: (one.waits == "body", one.since)).give_up("")

    def data_received(self, data: bytes) -> None:
        """A head has its time as a whole, a body from byte to byte."""
        super().data_received(data)
        if self.transport.is_closing():
            self._wait("", 0.0)
        elif self.conn.their_state is h11.SEND_BODY:
            self._wait("body", PATIENCE.body_s)
        elif self.conn.their_state is not h11.IDLE:
            self._wait("", 0.0)
        elif self.waits != "head":
            self._wait("head", PATIENCE.head_s)

    def connection_lost(self, exc: Exception | None) -> None:
        """Nothing is owed any more."""
        self._wait("", 0.0)
        super().connection_lost(exc)

    def shutdown(self) -> None:
        """At the end, what has not come whole is not waited for."""
        if self.waits:
            self.give_up(STOPPED)
        else:
            super().shutdown()

    def _wait(self, what: str, seconds: float) -> None:
        if self._end is not None:
            self._end.cancel()
        if what != self.waits:
            self.waits, self.since = what, time.monotonic()
        self._end = self.loop.call_later(seconds, self.give_up, NOT_WHOLE.format(seconds)) if what else None

    def give_up(self, words: str) -> None:
        """Close the connection; who has sent a head is told why, where nothing was answered yet."""
        told = self.waits == "body" and words and not self.cycle.response_started
        self._wait("", 0.0)
        if told:
            self._tell(503 if words == STOPPED else 408, words)
        if self.cycle is not None and not self.cycle.response_complete:
            self.cycle.disconnected = True  # whoever reads the body is told that no more comes, and answers nobody
            self.cycle.message_event.set()
        self.transport.close()

    def _tell(self, status: int, words: str) -> None:
        head = {
            **HEADERS,
            "Content-Type": "text/plain; charset=utf-8",
            "Cache-Control": "no-store",
            "Connection": "close",
        }
        response = h11.Response(status_code=status, headers=list(head.items()))
        for event in (response, h11.Data(data=words.encode()), h11.EndOfMessage()):
            self.transport.write(self.conn.send(event) or b"")


class Server(doorway.Server):
    """The server, which says what it waits for at the end, and ends."""

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Finish what came whole, for a time; then end all the same. Every save is in the book whole, or not at all."""
        at_work = sum(_at_work(one) for one in self.server_state.connections)
        if at_work:
            what = "a request that is" if at_work == 1 else f"{at_work} requests that are"
            words = f"Stopping: waiting up to {PATIENCE.end_s:g} s for {what} being worked on."
            print(f"{words} Ctrl+C once more stops at once.", flush=True)
        begun = time.monotonic()
        await super().shutdown(sockets)
        if self.server_state.tasks:  # broken off, but for what they have in a thread: the process would wait for that
            last = threading.Timer(max(PATIENCE.last_s - (time.monotonic() - begun), 0.0), _end)
            last.daemon = True
            last.start()
        self._captured_signals.clear()  # it has come to its end: raised once more, the signal would cut the rest off


def _at_work(connection: Any) -> bool:
    cycle = getattr(connection, "cycle", None)
    return cycle is not None and not cycle.response_complete and not connection.waits


def _end() -> None:
    print("Stopped; what was still being worked on was left undone. Every save is whole.", flush=True)
    os._exit(0)


class _Quiet(logging.Filter):
    """A client that went away, and what was broken off at the end, is no fault to be shown on the terminal."""

    def filter(self, record: logging.LogRecord) -> bool:
        error = record.exc_info[1] if record.exc_info else None
        return not isinstance(error, asyncio.CancelledError | ClientDisconnect) and "Cancel %s" not in str(record.msg)


def server(app: Any, tls: Any = None) -> Server:
    """A server of the app, at the network too where that is given.

    What a proxy says of a client is never believed, whatever the environment asks for.
    """
    logging.getLogger("python_multipart").setLevel(logging.CRITICAL)  # it writes a line for each odd byte of a form
    logging.getLogger("uvicorn.error").addFilter(_Quiet())
    config = Config(
        app,
        http=Http,
        log_level="error",
        access_log=False,
        proxy_headers=False,
        timeout_graceful_shutdown=PATIENCE.end_s,  # type: ignore[arg-type] # it is handed to asyncio, which takes parts
    )
    return Server(config, tls)
