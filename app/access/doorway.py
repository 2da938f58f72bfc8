"""The socket on the network: TLS there, plain http on this computer only, by what a connection begins with.

A record of TLS begins with the byte 22 when it is a handshake (RFC 8446, 5.1); a request of HTTP begins with a letter.
So one port serves both: whoever asks in plain over the network is led to `https`, and nothing of the book is answered.
"""

import asyncio
import re
import socket
import ssl
from typing import Any

import uvicorn

from app.access import lan as network

HANDSHAKE = b"\x16"
PATIENCE_S = 10.0
"""How long a connection may take to begin: more than any tablet needs, and the end of one that says nothing."""

AT_ONCE = 200
"""Connections that may be beginning at a time; more are closed at once."""

_ASKED = re.compile(
    rb"(GET|HEAD) (/[!-~]*) HTTP/1\.[01]\r\n(?:.*\r\n)*?host: *([A-Za-z0-9._:\[\]-]+)\r\n", re.IGNORECASE
)


class Doorway:
    """Takes connections at a listening socket and hands them to the server's protocol, as a server of asyncio does."""

    def __init__(self, listener: socket.socket, context: ssl.SSLContext, protocol: Any, *, plain_here: bool) -> None:
        self.listener, self.context, self.protocol, self.plain_here = listener, context, protocol, plain_here
        self._beginning: set[asyncio.Task[None]] = set()

    def open(self) -> None:
        """Begin to take connections, in the loop that runs."""
        self.listener.setblocking(False)
        self.loop = asyncio.get_running_loop()
        self._taking = self.loop.create_task(self._take())

    def close(self) -> None:
        """Take no more; those that were handed on are the server's to end."""
        for task in (self._taking, *self._beginning):
            task.cancel()
        self.listener.close()

    async def wait_closed(self) -> None:
        """Wait until nothing is beginning any more."""
        await asyncio.gather(self._taking, *self._beginning, return_exceptions=True)

    async def _take(self) -> None:
        while True:
            try:
                connection, peer = await self.loop.sock_accept(self.listener)
            except OSError:  # no room for another connection at the moment, or one that is gone already
                await asyncio.sleep(0.2)
                continue
            if len(self._beginning) >= AT_ONCE:
                connection.close()
                continue
            task = self.loop.create_task(self._begin(connection, peer[0]))
            self._beginning.add(task)
            task.add_done_callback(self._beginning.discard)

    async def _begin(self, connection: socket.socket, peer: str) -> None:
        connection.setblocking(False)
        here = self.plain_here and network.address(peer).is_loopback
        try:
            first = await asyncio.wait_for(self._first_byte(connection, here), PATIENCE_S)
            if first == HANDSHAKE:
                await self.loop.connect_accepted_socket(
                    self.protocol, connection, ssl=self.context, ssl_handshake_timeout=PATIENCE_S
                )
            elif here and first:
                await self.loop.connect_accepted_socket(self.protocol, connection)
            else:
                await asyncio.wait_for(self._lead_to_tls(connection), PATIENCE_S)
        except (OSError, TimeoutError):  # gone, silent, or a handshake that failed: the other end knows best why
            connection.close()

    async def _first_byte(self, connection: socket.socket, here: bool) -> bytes:
        """What a connection begins with, left where it is."""
        begun = asyncio.Event()
        try:
            self.loop.add_reader(connection, begun.set)
        except NotImplementedError:  # Windows' own loop cannot look: who asks decides
            return b"G" if here else HANDSHAKE
        try:
            await begun.wait()
        finally:
            self.loop.remove_reader(connection)
        return connection.recv(1, socket.MSG_PEEK)

    async def _lead_to_tls(self, connection: socket.socket) -> None:
        with connection:
            asked = _ASKED.match(await self.loop.sock_recv(connection, 8192))
            words = b"This address is encrypted: it begins with https.\n"
            status, where = b"403 Forbidden", b""
            if asked is not None:
                status, where = b"307 Temporary Redirect", b"Location: https://%b%b\r\n" % (asked[3], asked[2])
            head = b"Content-Type: text/plain\r\nContent-Length: %d\r\nCache-Control: no-store\r\nConnection: close\r\n"
            answer = b"HTTP/1.1 %b\r\n%b%b\r\n%b" % (status, where, head % len(words), words)
            await self.loop.sock_sendall(connection, answer)
            connection.shutdown(socket.SHUT_WR)
            await self.loop.sock_recv(connection, 8192)  # until the other end has read it, so that nothing is cut off


class Server(uvicorn.Server):
    """The server, which beside its plain sockets answers at one of the network in TLS."""

    def __init__(self, config: uvicorn.Config, tls: tuple[socket.socket, ssl.SSLContext] | None = None) -> None:
        super().__init__(config)
        self.tls = tls

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """As ever; then the doorway of the network, if there is one."""
        await super().startup(sockets)
        if self.tls is None or not self.started:
            return
        listener, context = self.tls

        def protocol() -> Any:
            return self.config.http_protocol_class(  # type: ignore[call-arg]
                config=self.config, server_state=self.server_state, app_state=self.lifespan.state
            )

        doorway = Doorway(listener, context, protocol, plain_here=not sockets)
        doorway.open()
        self.servers.append(doorway)  # type: ignore[arg-type] # what is asked of it at the end: close and wait_closed
