"""The end, half requests and clients that go away: real processes, whose times are short."""

import re
import signal
import socket
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager, suppress
from pathlib import Path
from typing import Any

import pytest

from app import logbook, serving
from app.logbook import log_of
from app.services.today import today
from tests.behind import copied_with_files, let_in
from tests.reliability.nursery import Child, needs_fork, program

pytestmark = [pytest.mark.reliability, needs_fork]


def impatient(sleeps: float, last_s: float, *words: str | Path) -> int:
    """The program as these words start it, with short times and a first page that takes as long as told."""
    serving.PATIENCE = serving.Patience(head_s=1.0, body_s=1.0, end_s=1.5, last_s=last_s, unfinished=20)
    if sleeps:
        slow = today.day

        def slowly(*given: Any, **more: Any) -> Any:
            time.sleep(sleeps)
            return slow(*given, **more)

        today.day = slowly
    return program(*words)


class Running:
    """The program, open on a book of its own, and what it wrote on the terminal."""

    def __init__(self, book: Path, sleeps: float, last_s: float) -> None:
        self.book = book
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        words = ("--book", book, "--port", str(self.port), "--no-browser")
        self.process = Child(impatient, sleeps, last_s, *words, GRAINBOOK_HOME=str(book.parent))
        for line in self.process.terminal:
            if "Stop with Ctrl+C" in line:
                break
        else:
            raise AssertionError("it did not open")
        self.cookie = "; ".join(f"{name}={value}" for name, value in let_in(book).items())

    def head(self, method: str, path: str, *more: str) -> bytes:
        """The head of a request of a browser that was let in."""
        lines = [f"{method} {path} HTTP/1.1", f"Host: 127.0.0.1:{self.port}", f"Cookie: {self.cookie}", *more]
        return "\r\n".join([*lines, "", ""]).encode()

    def sent(self, text: bytes) -> socket.socket:
        """A connection on which that was sent."""
        connection = socket.create_connection(("127.0.0.1", self.port), timeout=20)
        connection.sendall(text)
        return connection

    def asked(self, path: str) -> int:
        """The status of a page, over a connection of its own."""
        with self.sent(self.head("GET", path, "Connection: close")) as connection:
            return int(answer_of(connection)[9:12])

    def upload(self, more: bytes = b"") -> bytes:
        """The head of an upload that is begun and not ended."""
        kind = "Content-Type: multipart/form-data; boundary=x"
        head = self.head("POST", "/firings/1/curve", kind, "Content-Length: 2000000")
        return head + b'--x\r\nContent-Disposition: form-data; name="file"; filename="a.csv"\r\n\r\n' + more

    def stopped(self, how: int = signal.SIGTERM) -> tuple[float, str, int | None]:
        """How long the end took [s], what stood on the terminal, and the exit code."""
        begun = time.monotonic()
        said, code = self.process.ended(how)
        return time.monotonic() - begun, said, code

    def quiet(self, said: str) -> None:
        """No traceback and no fault, on the terminal or in the log."""
        log = log_of(self.book).read_text(encoding="utf-8")
        for text in (said, log):
            assert not re.search(r"Traceback|Error|Exception|WARNING|ERROR", text), text


def answer_of(connection: socket.socket) -> bytes:
    """All that comes on a connection until its other end closes it."""
    parts = []
    with suppress(ConnectionError):
        while part := connection.recv(65536):
            parts.append(part)
    return b"".join(parts)


@pytest.fixture
def run(demo_book: Path, tmp_path: Path) -> Iterator[Callable[..., Running]]:
    """Start the program on a copy of the demonstration book."""
    with ExitStack() as stack:

        @contextmanager
        def started(sleeps: float, last_s: float) -> Iterator[Running]:
            book = tmp_path / "book.sqlite3"
            copied_with_files(demo_book, book)
            running = Running(book, sleeps, last_s)
            try:
                yield running
            finally:
                running.process.kill()

        yield lambda sleeps=0.0, last_s=20.0: stack.enter_context(started(sleeps, last_s))


@pytest.mark.promise(
    "The end comes in time whatever hangs, and no save is half", figure="SIGTERM and Ctrl+C, ≤ 5 s + 15 s"
)
@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGINT])
def test_the_end_does_not_wait_for_an_upload_that_hangs(run: Callable[..., Running], how: int) -> None:
    book = run()
    with book.sent(book.upload()) as hangs, book.sent(b"GET / HT") as half, book.sent(b"") as silent:
        assert book.asked("/cast") == 200
        took, said, code = book.stopped(how)
        assert b" 503 " in answer_of(hangs)[:20]
        assert answer_of(half) == answer_of(silent) == b""
    assert took < 4, said
    assert code == 0, said
    assert "The book was closed." in log_of(book.book).read_text(encoding="utf-8")
    book.quiet(said)


def test_what_is_being_worked_on_is_finished_and_told_of(run: Callable[..., Running]) -> None:
    book = run(sleeps=1.0)
    with book.sent(book.head("GET", "/")) as working:
        time.sleep(0.4)
        took, said, code = book.stopped()
        assert b" 200 " in answer_of(working)[:20]
    assert "waiting up to 1.5 s for a request that is being worked on" in said
    assert took < 5
    assert code == 0
    book.quiet(said)


def test_a_calculation_without_end_is_left_undone(run: Callable[..., Running]) -> None:
    book = run(sleeps=40.0, last_s=3.0)
    with book.sent(book.head("GET", "/")):
        time.sleep(0.4)
        took, said, code = book.stopped()
    assert took < 8, said
    assert code == 0
    assert "Every save is whole" in said
    assert "Traceback" not in said


@pytest.mark.promise(
    "Requests half sent are cut in time, and leave places for others", figure="head, body; 300 at once"
)
def test_a_request_half_sent_is_cut(run: Callable[..., Running]) -> None:
    book = run()
    begun = time.monotonic()
    with (
        book.sent(b"") as silent,
        book.sent(b"GET / HTTP/1.1\r\nHost:") as head,
        book.sent(book.upload()) as body,
        book.sent(book.head("GET", "/cast") + b"GET /ca") as second,
    ):
        drips = 0
        with suppress(OSError):  # one byte after the other does not keep a head open
            while time.monotonic() - begun < 10:
                head.sendall(b"x")
                drips += 1
                time.sleep(0.2)
        assert drips < 15
        assert answer_of(silent) == b""
        told = answer_of(body)
        assert b" 408 " in told[:20]
        assert b"Nothing of it was saved" in told
        assert b"content-security-policy" in told.lower()
        assert answer_of(second).count(b"HTTP/1.1 ") == 1
    assert time.monotonic() - begun < 8
    assert book.asked("/") == 200
    book.quiet(book.stopped()[1])


def test_saves_under_way_at_the_end_are_whole_or_not_at_all(run: Callable[..., Running]) -> None:
    book, told = run(), list[str]()

    def save(hand: int) -> None:
        kind = "Content-Type: application/x-www-form-urlencoded"
        with suppress(OSError, ValueError):
            for number in range(1000):
                name = f"Rod-{hand}-{number}"
                form = f"once={name}&name={name}&diameter=19+mm".encode()
                head = book.head(
                    "POST", "/workshop/rods/new", kind, f"Content-Length: {len(form)}", "Connection: close"
                )
                with book.sent(head + form) as connection:
                    if int(answer_of(connection)[9:12]) == 303:
                        told.append(name)

    hands = [threading.Thread(target=save, args=(hand,)) for hand in range(4)]
    for hand in hands:
        hand.start()
    until = time.monotonic() + 20
    while len(told) < 8 and time.monotonic() < until:
        time.sleep(0.05)
    took, said, _ = book.stopped()
    for hand in hands:
        hand.join(30)
    with closing(sqlite3.connect(book.book)) as now:
        rods = {name for (name,) in now.execute("SELECT name FROM coring_rod WHERE name LIKE 'Rod-%'")}
        tokens = {token for (token,) in now.execute("SELECT token FROM once_token WHERE token LIKE 'Rod-%'")}
        assert now.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert len(told) >= 8
    assert set(told) <= rods
    assert rods == tokens
    assert took < 5
    book.quiet(said)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no disk that is always full")
def test_a_log_on_a_full_disk_is_silent_on_the_terminal(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(logbook, "log_of", lambda _book: Path("/dev/full"))
    logbook.begin(tmp_path / "book.sqlite3")
    logbook.note("The book was opened.")
    logbook.fault("saving", OSError(28, "No space left on device"))
    logbook.end()
    assert capsys.readouterr() == ("", "")


def test_a_body_that_comes_slowly_is_taken(run: Callable[..., Running]) -> None:
    """Two seconds of half a second each: the wait is from byte to byte."""
    book = run()
    form = b"once=slow&name=Rod&diameter=19+mm"
    kind = "Content-Type: application/x-www-form-urlencoded"
    head = book.head("POST", "/workshop/rods/new", kind, f"Content-Length: {len(form)}", "Connection: close")
    with book.sent(head) as slow:
        for place in range(0, len(form), 8):
            time.sleep(0.4)
            slow.sendall(form[place : place + 8])
        assert b" 303 " in answer_of(slow)[:20]
    book.quiet(book.stopped()[1])


def test_many_half_open_connections_leave_room_for_others(run: Callable[..., Running]) -> None:
    book = run()
    with ExitStack() as open_now:
        for number in range(300):
            begin = (b"", b"GET / HT", book.upload())[number % 3]
            with suppress(OSError):
                open_now.enter_context(book.sent(begin))
            if number % 50 == 49:
                begun = time.monotonic()
                assert book.asked("/cast") == 200
                assert time.monotonic() - begun < 3
        took, said, _ = book.stopped()
    assert took < 4
    book.quiet(said)


@pytest.mark.parametrize("reset", [False, True], ids=["closed", "reset"])
def test_an_upload_broken_off_leaves_no_traceback(run: Callable[..., Running], reset: bool) -> None:
    book = run()
    form = b"once=x&name=Ro"
    kind = "Content-Type: application/x-www-form-urlencoded"
    chunked = book.head(
        "POST", "/firings/1/pictures", "Content-Type: multipart/form-data; boundary=x", "Transfer-Encoding: chunked"
    )
    json = book.head("POST", "/api/v1/recipe/scale", "Content-Type: application/json", "Content-Length: 500")
    huge = book.head(
        "POST", "/firings/1/curve", "Content-Type: multipart/form-data; boundary=x", "Content-Length: 900000000"
    )
    begun = (
        book.upload(),
        book.upload(b"0,1\n" * 200_000),
        book.head("POST", "/workshop/rods/new", kind, "Content-Length: 90") + form,
        book.head("POST", "/drafts?page=/x", kind, "Content-Length: 90") + form,
        chunked + b"5\r\n--x\r\n\r\n",
        chunked + b"zz\r\n",
        json + b'{"a":',
        huge + b"x" * 100_000,
        b"GET / HTTP/1.1\r\nHos",
        b"\x16\x03\x01 no http at all\r\n\r\n",
        book.head("GET", "/review/firings.csv"),
        book.head("GET", "/static/vendor/htmx.min.js"),
    )
    for text in begun:
        connection = book.sent(text)
        if reset:  # closed with what is still to be read: the other end is told at once
            connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\x01\0\0\0\0\0\0\0")
        time.sleep(0.1)
        connection.close()
    assert book.asked("/") == 200
    _, said, _ = book.stopped()
    book.quiet(said)
