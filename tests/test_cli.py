"""The command as a person starts it: a real process, a real port, a real file."""

import json
import os
import re
import signal
import socket
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import pytest

from app import clock
from app.__main__ import _listen, main
from app.book import backups, instance
from app.logbook import log_of
from tests.entering import ONE_TIME, asked, entered

ADDRESS = re.compile(r"http://127\.0\.0\.1:\d+/")


def _start(home: Path, *arguments: str) -> "subprocess.Popen[str]":
    return subprocess.Popen(
        [sys.executable, "-m", "app", "--no-browser", *arguments],
        env={**os.environ, "GRAINBOOK_HOME": str(home), "PYTHONUNBUFFERED": "1"},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )


@contextmanager
def running(home: Path, *arguments: str) -> Iterator[str]:
    """A book that is open; gives the address it answers at."""
    with _start(home, *arguments) as process:
        try:
            assert process.stdout is not None
            line = process.stdout.readline()
            found = ADDRESS.search(line)
            assert found, line
            while not (one_time := ONE_TIME.search(line)):
                line = process.stdout.readline()
                assert line
            status, _, text = asked(found[0], entered(one_time[0]))
            assert status == 200
            assert "<title>Today" in text
            yield found[0]
        finally:
            process.send_signal(signal.SIGINT)
            process.communicate(timeout=60)


@pytest.mark.promise("Taken port, second start, no browser: each is told", figure="real processes")
def test_serves_an_empty_book_on_loopback_and_leads_a_second_start_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    home = tmp_path / "new folder"
    monkeypatch.setenv("GRAINBOOK_HOME", str(home))
    opened: list[str] = []
    monkeypatch.setattr("webbrowser.open", opened.append)
    with clock.turned_to(datetime.now(UTC), runs=True), running(home) as address:  # the program's own clock
        book = home / "book.sqlite3"
        assert book.exists()
        assert main([]) == 0
        assert [one.partition("enter/")[0] for one in opened] == [address]
        assert asked(address, entered(opened[0]))[0] == 200  # a second start lets its browser in
        assert address in capsys.readouterr().err
        assert main(["--no-browser"]) == 1  # nothing to show and nothing started

        assert main(["backup", str(tmp_path / "copy.sqlite3")]) == 0  # a copy is taken while it is open
        before = (tmp_path / "copy.sqlite3").read_bytes()
        capsys.readouterr()
        assert main(["restore", str(tmp_path / "copy.sqlite3")]) == 1  # but nothing takes its place
        said = capsys.readouterr().err
        assert "open already" in said
        assert said.count("\n") == 1
        assert (tmp_path / "copy.sqlite3").read_bytes() == before
    assert len(backups.copies(book)) == 1  # the start's own copy
    assert "The book was opened." in log_of(book).read_text()
    assert json.loads(instance.lock_of(book).read_text()) == {"address": "", "run": "", "book": str(book)}
    assert main(["restore", str(tmp_path / "copy.sqlite3")]) == 0  # closed: it does


KILLED = """
import os, sys, signal
from pathlib import Path
from app.book.instance import Instance
with Instance(Path(sys.argv[1])) as instance:
    instance.tell("http://127.0.0.1:8765/")
    print("has it", flush=True)
    sys.stdin.readline()
    os.kill(os.getpid(), signal.SIGKILL if hasattr(signal, "SIGKILL") else signal.SIGTERM)
"""


def test_a_kill_leaves_no_lock_behind(tmp_path: Path) -> None:
    book = tmp_path / "book.sqlite3"
    with subprocess.Popen(
        [sys.executable, "-c", KILLED, book], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == "has it\n"
        with pytest.raises(instance.InUse) as told, instance.Instance(book):
            pass
        assert told.value.address == "http://127.0.0.1:8765/"
        other.communicate("now\n")
    with instance.Instance(book):
        pass


def test_takes_the_next_port_when_one_is_taken() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with _listen("127.0.0.1", port) as listener:
            assert listener.getsockname()[1] != port


def test_a_port_that_was_asked_for_and_is_taken_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        book = tmp_path / "book.sqlite3"
        assert main(["--book", str(book), "--port", str(port), "--no-browser"]) == 1
    assert capsys.readouterr().err == (
        f"Port {port} is taken by another program. The book was not opened and is as it was. Give another --port, or "
        "leave it out and a free one is found.\n"
    )
    assert not book.exists()


def test_without_a_browser_the_address_is_told(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from app.__main__ import _show

    monkeypatch.setenv("BROWSER", "/nowhere/no-such-browser")
    monkeypatch.setenv("PATH", "/nowhere")
    monkeypatch.delenv("DISPLAY", raising=False)
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)
    monkeypatch.setattr("webbrowser._tryorder", None)
    monkeypatch.setattr("webbrowser._browsers", {})
    _show("http://127.0.0.1:8765/")
    assert "No browser could be opened here" in capsys.readouterr().out


def test_where_prints_the_paths(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("GRAINBOOK_HOME", str(tmp_path))
    assert main(["where"]) == 0
    *places, sqlite = capsys.readouterr().out.splitlines()
    assert [line.split()[-1] for line in places] == [
        str(tmp_path / "book.sqlite3"),
        str(tmp_path / "book-files"),
        str(tmp_path / "book-copies"),
        str(tmp_path / "book.log"),
    ]
    assert sqlite.startswith(f"SQLite: {sqlite3.sqlite_version}.")
    assert main(["where", "--demo"]) == 0
    assert str(tmp_path / "demo.sqlite3") in capsys.readouterr().out


def test_migrate_creates_the_book(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["migrate", "--book", str(tmp_path / "a" / "b.sqlite3")]) == 0
    assert (tmp_path / "a" / "b.sqlite3").exists()


def test_a_copy_is_not_written_over_another_file_unasked(tmp_path: Path, empty_book: Path) -> None:
    target = tmp_path / "copy.sqlite3"
    target.write_text("mine")
    assert main(["backup", "--book", str(empty_book), str(target)]) == 1
    assert target.read_text() == "mine"
    assert main(["backup", "--book", str(empty_book), str(target), "--replace"]) == 0
    with sqlite3.connect(target) as connection:
        assert connection.execute("SELECT count(*) FROM workshop").fetchone() == (1,)
    connection.close()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["backup", "{tmp}/none/copy.sqlite3"], "There is no folder"),
        (["backup", "{tmp}"], "is a folder"),
        (["backup", "{book}", "--replace"], "That is the book itself"),
        (["backup", "{tmp}/c.sqlite3", "--book", "{tmp}/none.sqlite3"], "There is no book at"),
        (["restore", "{tmp}/none.sqlite3"], "There is no file"),
        (["restore", "{book}"], "is the book itself"),
    ],
)
def test_a_refusal_is_one_sentence_of_what_and_what_now(
    tmp_path: Path, empty_book: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], words: str
) -> None:
    book = tmp_path / "book.sqlite3"
    book.write_bytes(empty_book.read_bytes())
    given = [word.format(tmp=tmp_path, book=book) for word in arguments]
    assert main([*given, *([] if "--book" in given else ["--book", str(book)])]) == 1
    said = capsys.readouterr()
    assert words in said.err
    assert "Traceback" not in said.err
    assert book.read_bytes() == empty_book.read_bytes()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["backup"], "Backup needs a FILE."),
        (["restore"], "Restore needs a FILE."),
        (["where", "file"], "Where takes no FILE."),
        (["paint"], "“paint” is no command of Grainbook. The commands are serve, where, backup,"),
        (["demo"], "Did you mean --demo?"),
        (["--port", "99999"], "“99999” is no port: give a number from 1 to 65535, or leave it out."),
        (["--port", "9 000"], "“9 000” is no port"),
        (["backup", "one", "two"], "two"),
    ],
)
def test_a_command_that_is_none_is_explained_in_one_line(
    arguments: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as stopped:
        main(arguments)
    assert stopped.value.code == 2
    said = capsys.readouterr().err
    assert words in said
    assert said.endswith("What can be typed: grainbook --help\n")
    assert said.count("\n") == 1


def test_a_folder_named_as_the_book_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--book", str(tmp_path), "--no-browser"]) == 1
    assert capsys.readouterr().err.startswith(f"{tmp_path} is a folder. Nothing was done. Name a file in it")


@pytest.mark.parametrize("command", ["backup", "export"])
def test_a_folder_that_can_only_be_read_is_named(
    command: str, tmp_path: Path, empty_book: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of the folder that the copy goes to; the book's own has nothing to do with it."""
    monkeypatch.setattr(os, "access", lambda folder, _: folder != tmp_path.resolve())
    assert main([command, str(tmp_path / "copy"), "--book", str(empty_book)]) == 1
    assert f"The folder {tmp_path.resolve()} can only be read. The book is as it was." in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []
