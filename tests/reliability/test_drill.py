"""The drill of the help: the laptop dies on the evening of a cast, and a new one goes on from the copy elsewhere.

With real processes: the program, killed, its folder gone; a new folder, one command as a person types it, and on.
"""

import http.client
import os
import shutil
import socket
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from urllib.parse import urlencode

import pytest

from app.book import elsewhere
from app.db import open_engine, writing
from app.models.elsewhere import ENCRYPTED, READABLE
from app.settings import PACKAGE
from tests import build, moment
from tests.browse import Page
from tests.reliability.nursery import needs_fork
from tests.reliability.servers import Opened

pytestmark = [pytest.mark.reliability, needs_fork]

PASSPHRASE = "kelp sandbar twine gannet"
BEFORE, AFTER = 12, 7
"""Readings of the pan that are acknowledged before the last copy elsewhere, and after it."""


class Hand:
    """A person's browser, without script."""

    def __init__(self, book: Path) -> None:
        self.program = Opened(book, free_port())
        self.connection = http.client.HTTPConnection("127.0.0.1", self.program.port, timeout=60)

    def kill(self) -> None:
        """Kill the program without warning."""
        self.program.child.kill()
        self.connection.close()

    def get(self, url: str) -> str:
        """A page."""
        self.connection.request("GET", url, headers={"Cookie": self.program.cookie})
        answer = self.connection.getresponse()
        page = answer.read().decode()
        assert answer.status == 200, page
        return page

    def save(self, url: str, form: str, typed: dict[str, str]) -> None:
        """A form that must be acknowledged; a question about its folder is answered."""
        found = Page(self.get(url)).forms[form]
        sent = found.fields | typed
        status, page = self._post(found.action, sent)
        if status == 422 and "same disk" in page:
            again = Page(page).forms[form]
            status, page = self._post(found.action, sent | again.answered(f"Use {typed['folder']} all the same"))
        assert status == 303, Page(page).texts.get("main", page)

    def _post(self, url: str, fields: dict[str, str]) -> tuple[int, str]:
        head = {"Content-Type": "application/x-www-form-urlencoded", "Cookie": self.program.cookie}
        self.connection.request("POST", url, urlencode(fields), head)
        answer = self.connection.getresponse()
        return answer.status, answer.read().decode()


def free_port() -> int:
    """A port that nobody answers at."""
    with closing(socket.socket()) as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture
def evening(tmp_path: Path, empty_book: Path) -> tuple[Path, str]:
    """A book with a session open at the pan, and the code of its batch."""
    book = tmp_path / "old laptop" / "book.sqlite3"
    book.parent.mkdir()
    book.write_bytes(empty_book.read_bytes())
    engine = open_engine(book)
    with writing(engine) as session:
        code = build.cast(session, 1).code
        session.commit()
    engine.dispose()
    return book, code


@pytest.fixture
def stick(tmp_path: Path) -> Iterator[Path]:
    """A drive of its own where this machine has one."""
    memory = Path("/dev/shm")
    folder = (memory if memory.is_dir() else tmp_path) / f"grainbook-drill-{os.urandom(6).hex()}"
    folder.mkdir()
    yield folder
    shutil.rmtree(folder)


def notes(book: Path) -> list[str]:
    with closing(sqlite3.connect(book)) as connection:
        return [words for (words,) in connection.execute("SELECT words FROM session_note ORDER BY id")]


@pytest.mark.promise(
    "A laptop dies on the evening of a cast: a new one goes on from the copy elsewhere, nothing from before it is lost",
    figure="12 saves before the copy kept, 7 after it told and lost; readable and encrypted",
)
@pytest.mark.parametrize(
    "passphrase", [pytest.param("", id="readable", marks=pytest.mark.long), pytest.param(PASSPHRASE, id="encrypted")]
)
def test_a_laptop_dies_and_a_new_one_goes_on(
    evening: tuple[Path, str], stick: Path, tmp_path: Path, passphrase: str
) -> None:
    book, code = evening
    page, settings = f"/cast/{code}", "/workshop/settings"
    hand = Hand(book)
    form = {"form": ENCRYPTED, "passphrase": passphrase, "again": passphrase} if passphrase else {"form": READABLE}
    hand.save(settings, "place", {"folder": str(stick)} | form)
    for number in range(BEFORE):
        hand.save(page, "note-form", {"words": f"before {number}"})
    hand.save(settings, "copy-now", {})
    assert "All that was saved is in it." in hand.get("/")
    for number in range(AFTER):
        hand.save(page, "note-form", {"words": f"after {number}"})
    assert f"{AFTER} saves since then: not in it." in hand.get("/")  # what the old laptop told before it died
    assert len(notes(book)) == BEFORE + AFTER

    hand.kill()
    shutil.rmtree(book.parent)

    new_book = tmp_path / "new laptop" / "book.sqlite3"
    died = time.monotonic()
    restore = subprocess.run(
        [sys.executable, "-m", "tests.moment", "restore", str(stick), "--book", str(new_book)],
        input=passphrase + "\n",
        capture_output=True,
        text=True,
        timeout=120,
        cwd=PACKAGE.parent,
        env={**os.environ, **moment.environment()},
    )
    assert restore.returncode == 0, restore.stderr
    assert "The last save in it is of " in restore.stdout
    restored = time.monotonic()
    hand = Hand(new_book)
    today = hand.get("/")
    opened = time.monotonic()
    print(
        f"{'encrypted' if passphrase else 'readable'}: restored in {restored - died:.1f} s, open after another "
        f"{opened - restored:.1f} s; {BEFORE} of {BEFORE} saves from before the copy kept, {AFTER} after it lost"
    )
    try:
        assert [words for words in notes(new_book) if words.startswith("before")] == [
            f"before {n}" for n in range(BEFORE)
        ]
        assert [words for words in notes(new_book) if words.startswith("after")] == []
        assert code in today  # the session stands open as it did
        hand.save(page, "temperature-form", {"temperature": "118", "unit": "°C"})  # hot hands are not locked out
        hand.save(page, "note-form", {"words": "on the new laptop"})
        hand.save(settings, "copy-now", {})
        assert "All that was saved is in it." in hand.get("/")
        (home,) = stick.iterdir()
        assert len(elsewhere.copies_in(home)) >= 3
    finally:
        hand.kill()
