"""What is behind a test's browser, each with its type: the state of an app says nothing of what it holds."""

import asyncio
import shutil
from collections.abc import MutableMapping
from pathlib import Path
from typing import Any, TypeVar, overload
from urllib.parse import unquote

from fastapi import FastAPI
from fastapi.testclient import TestClient
from httpx2 import BaseTransport, ByteStream, Request, Response
from sqlalchemy import Engine, event

from app.access.door import Door
from app.access.lan import Lan
from app.book import filestore
from app.book.backup_thread import BackupThread
from app.settings import Settings

Site = TestClient | FastAPI
Kind = TypeVar("Kind", bound=TestClient)


def app_of(site: Site) -> FastAPI:
    """The app that a browser without script asks."""
    app = site.app if isinstance(site, TestClient) else site
    assert isinstance(app, FastAPI)
    return app


def engine_of(site: Site) -> Engine:
    """The open book."""
    engine = app_of(site).state.engine
    assert isinstance(engine, Engine)
    return engine


def book_of(site: Site) -> Path:
    """The book's file."""
    settings = app_of(site).state.settings
    assert isinstance(settings, Settings)
    return settings.book


def backups_of(site: Site) -> BackupThread:
    """What takes the book's copies."""
    thread = app_of(site).state.backup_thread
    assert isinstance(thread, BackupThread)
    return thread


def door_of(site: Site) -> Door:
    """What lets browsers of this computer in."""
    door = app_of(site).state.door
    assert isinstance(door, Door)
    return door


def lan_of(site: Site) -> Lan:
    """What lets other devices in, of an app that does."""
    lan = app_of(site).state.lan
    assert isinstance(lan, Lan)
    return lan


def let_in(book: Path) -> dict[str, str]:
    """The cookie of a browser of this computer that was let in to a book."""
    door = Door(book)
    return {door.cookie_name: door.cookie()}


@overload
def browser_of(app: FastAPI, **more: Any) -> TestClient: ...
@overload
def browser_of(app: FastAPI, kind: type[Kind], **more: Any) -> Kind: ...
def browser_of(app: FastAPI, kind: type[TestClient] = TestClient, **more: Any) -> TestClient:
    """A browser without script on this computer, let in to the book of an app."""
    client = kind(app, **{"base_url": "http://localhost", "cookies": let_in(book_of(app)), **more})
    client._transport = AtOnce(client)
    return client


class AtOnce(BaseTransport):
    """Asks the app of a client in one call to its loop: the client's own way takes ten, for answers read in parts."""

    def __init__(self, client: TestClient) -> None:
        self.client = client
        self.usual: Any = client._transport

    def handle_request(self, request: Request) -> Response:
        """The whole answer to a request; what the app raises is raised here, if the client is to be told."""
        start: MutableMapping[str, Any] = {}
        body: list[bytes] = []
        try:
            with self.client._portal_factory() as portal:
                portal.call(self._asked, request, start, body)
        except Exception:
            if self.usual.raise_server_exceptions:
                raise
        stream = ByteStream(b"" if request.method == "HEAD" else b"".join(body))
        return Response(start.get("status", 500), headers=start.get("headers"), stream=stream, request=request)

    async def _asked(self, request: Request, start: MutableMapping[str, Any], body: list[bytes]) -> None:
        url, waiting, ended = request.url, [request.read()], asyncio.Event()
        scope = {
            "type": "http",
            "http_version": "1.1",
            "method": request.method,
            "path": unquote(url.path),
            "raw_path": url.raw_path.partition(b"?")[0],
            "root_path": "",
            "scheme": url.scheme,
            "query_string": url.query,
            "headers": [(name.lower(), text) for name, text in request.headers.raw],
            "client": self.usual.client,
            "server": [url.raw_host.decode("ascii"), url.port or {"http": 80, "https": 443}[url.scheme]],
            "state": self.client.app_state.copy(),
        }

        async def receive() -> MutableMapping[str, Any]:
            if waiting:
                return {"type": "http.request", "body": waiting.pop()}
            await ended.wait()
            return {"type": "http.disconnect"}

        async def send(message: MutableMapping[str, Any]) -> None:
            if message["type"] == "http.response.start":
                assert not start, "an answer starts once"
                start.update(message)
            else:
                assert start, "an answer starts before its body"
                assert not ended.is_set(), "nothing follows the end of an answer"
                body.append(bytes(message.get("body", b"")))
                if not message.get("more_body", False):
                    ended.set()

        await self.client.app(scope, receive, send)


def renew(engine: Engine, book: Path, empty: Path) -> None:
    """Put an empty book under an engine that is kept: a new engine would compile every statement again."""
    engine.dispose()
    for end in ("-wal", "-shm"):
        book.with_name(book.name + end).unlink(missing_ok=True)
    book.write_bytes(empty.read_bytes())


def copied_with_files(book: Path, target: Path) -> Path:
    """A closed book and the folder of its files under another name; gives the new book."""
    shutil.copyfile(book, target)
    if (files := filestore.folder_of(book)).is_dir():
        shutil.copytree(files, filestore.folder_of(target))
    return target


def unsynced(engine: Engine) -> Engine:
    """An engine whose saves do not wait for the disk: power cuts and kills have tests and servers of their own."""
    event.listen(engine, "connect", lambda connection, _record: connection.execute("PRAGMA synchronous=OFF"))
    return engine
