"""Another account of the same computer: what it may do with the book's files.

The rights are those of POSIX: chmod(2) and umask(2) say what the nine bits mean.
"""

import os
import stat
import subprocess
import sys
import time
from pathlib import Path

import pytest

from app.__main__ import main
from app.book import backups, rights
from app.logbook import log_of
from tests.test_cli import running

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="there the rights are those of the folder")


def modes(folder: Path) -> dict[str, str]:
    """The rights of all that lies in a folder, and of the folder itself."""
    found = {".": folder, **{str(path.relative_to(folder)): path for path in folder.rglob("*")}}
    return {name: f"{stat.S_IMODE(path.stat().st_mode):o}" for name, path in found.items()}


def loose(folder: Path) -> dict[str, str]:
    """Those that another account has a right to."""
    return {name: mode for name, mode in modes(folder).items() if not mode.endswith("00")}


@pytest.mark.promise(
    "No other account of the computer can read the book, its copies, its log or an export",
    figure="0600 and 0700, whatever the umask; earlier books are closed at the start",
)
def test_all_that_the_program_makes_is_for_its_own_account_alone(tmp_path: Path) -> None:
    home = tmp_path / "share" / "grainbook"
    before = os.umask(0o000)  # the loosest there is: what the program does not close stands open
    try:
        with running(home):
            assert {"book.sqlite3", "book.sqlite3-wal", "book.sqlite3-shm", "book.log"} <= set(modes(home))
            while not backups.copies(home / "book.sqlite3"):
                time.sleep(0.05)
            assert loose(tmp_path / "share") == {}
        book = home / "book.sqlite3"
        assert main(["backup", "--book", str(book), str(home / "mine.sqlite3")]) == 0
        assert main(["export", "--book", str(book), str(home / "mine.zip")]) == 0
        assert main(["import", "--book", str(home / "other" / "b.sqlite3"), str(home / "mine.zip")]) == 0
        assert main(["restore", "--book", str(book), str(home / "mine.sqlite3")]) == 0
        assert any(file.name.startswith("book-replaced-") for file in home.iterdir())
        assert loose(tmp_path / "share") == {}
        assert os.umask(0o000) == 0o000  # whoever calls a command keeps the umask
    finally:
        os.umask(before)


def test_a_book_of_before_is_closed_at_the_start_and_the_log_says_so_once(tmp_path: Path) -> None:
    home = tmp_path / "Documents"
    with running(home):
        pass
    book = home / "book.sqlite3"
    for path in home.rglob("*"):
        path.chmod(0o755 if path.is_dir() else 0o644)
    home.chmod(0o755)
    letter = home / "letter.txt"
    letter.write_text("mine")
    letter.chmod(0o644)
    for _ in range(2):
        with running(home):
            pass
    assert loose(home) == {".": "755", "letter.txt": "644"}  # what is the person's own is left alone
    assert log_of(book).read_text().count("Other accounts could read") == 1


def test_the_programs_own_folder_is_closed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    home = tmp_path / "grainbook"
    home.mkdir(mode=0o755)
    monkeypatch.setattr(rights, "own_folder", lambda: home)
    assert rights.tighten(home / "book.sqlite3") == 1
    assert modes(home) == {".": "700"}


def test_a_disk_that_knows_no_rights_is_no_trouble(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    book = tmp_path / "book.sqlite3"
    book.touch(0o644)

    def refused(_path: Path, _mode: int) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(Path, "chmod", refused)
    assert rights.tighten(book) == 0


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root can become another account")
def test_another_account_reads_nothing(tmp_path: Path) -> None:
    """A real other account, by its number: 65534 is the one that owns nothing (nobody)."""
    home = tmp_path / "home"
    with running(home):
        for path in (tmp_path, *tmp_path.parents):
            if path.stat().st_uid == os.geteuid() and path != Path("/"):
                path.chmod(path.stat().st_mode | 0o011)  # the way there stands open
        home.chmod(0o755)
        for name in ("book.sqlite3", "book.sqlite3-wal", "book.sqlite3-shm", "book.log", "book.sqlite3.lock"):
            look = subprocess.run(
                [sys.executable, "-c", "import os, sys; os.setuid(65534); open(sys.argv[1], 'rb')", home / name],
                capture_output=True,
                text=True,
            )
            assert "PermissionError" in look.stderr, name
