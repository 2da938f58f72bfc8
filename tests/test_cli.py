"""The command as a person starts it: a real process, a real port, a real file."""

import os
import re
import socket
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest

from app.__main__ import _listen, main


def _start(home: Path, *arguments: str) -> "subprocess.Popen[str]":
    return subprocess.Popen(
        [sys.executable, "-m", "app", "--no-browser", *arguments],
        env={**os.environ, "GRAINBOOK_HOME": str(home), "PYTHONUNBUFFERED": "1"},
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
    )  # fmt: skip


def test_serves_an_empty_book_on_loopback(tmp_path: Path) -> None:
    with _start(tmp_path / "new folder") as process:
        try:
            assert process.stdout is not None
            line = process.stdout.readline()
            found = re.search(r"http://127\.0\.0\.1:\d+/", line)
            assert found, line
            with urllib.request.urlopen(found[0], timeout=20) as reply:
                assert "Grainbook" in reply.read().decode()
        finally:
            process.terminate()
    assert (tmp_path / "new folder" / "book.sqlite3").exists()


def test_takes_the_next_port_when_one_is_taken() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with _listen("127.0.0.1", port) as listener:
            assert listener.getsockname()[1] != port


def test_where_prints_the_books_path(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("GRAINBOOK_HOME", str(tmp_path))
    assert main(["where"]) == 0
    assert capsys.readouterr().out.strip() == str(tmp_path / "book.sqlite3")
    assert main(["where", "--demo"]) == 0
    assert capsys.readouterr().out.strip() == str(tmp_path / "demo.sqlite3")


def test_migrate_creates_the_book(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["migrate", "--book", str(tmp_path / "a" / "b.sqlite3")]) == 0
    assert (tmp_path / "a" / "b.sqlite3").exists()
