"""The start icon, as each of the three systems reads it; a stand-in names the system and the desktop.

Sources: Desktop Entry Specification 1.5 (freedesktop.org), keys and quoting of Exec; a batch file's per cent signs and
code pages are from memory.
"""

import re
import shlex
import subprocess
import sys
from configparser import ConfigParser
from pathlib import Path

import pytest

from app import shortcut
from app.__main__ import main
from app.settings import PACKAGE

AWKWARD = 'my "own" $book\\100% `x`.sqlite3'


@pytest.fixture
def desktop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A home with a desktop, and a program that was installed in it."""
    folder, programs = tmp_path / "Desktop", tmp_path / "bin"
    folder.mkdir()
    programs.mkdir()
    for name in ("python", "grainbook", "grainbook.exe"):
        (programs / name).write_text('#!/bin/sh\nprintf "%s\\n" "$@"\n')
        (programs / name).chmod(0o700)
    monkeypatch.setattr(sys, "executable", str(programs / "python"))
    monkeypatch.setattr("platformdirs.user_desktop_path", lambda: folder)
    monkeypatch.setattr("platformdirs.user_data_path", lambda: tmp_path / "share")
    monkeypatch.setenv("GRAINBOOK_HOME", str(tmp_path / "home"))
    return folder


def words_of(exec_value: str) -> list[str]:
    """The arguments of an Exec key: the string's own escapes first, then quoting, then field codes."""
    text = exec_value.replace("\\\\", "\\")
    quoted = re.findall(r'"((?:[^"\\]|\\.)*)"', text)
    assert " ".join(f'"{one}"' for one in quoted) == text, "each argument is quoted in whole"
    assert not re.search(r"(?<!\\)[`$]", text)
    return [re.sub(r"\\(.)", r"\1", one).replace("%%", "%") for one in quoted]


@pytest.mark.promise("An icon on the desktop opens the book", figure="Linux, Windows, macOS")
def test_linux_gets_a_desktop_entry_by_the_specification(desktop: Path, tmp_path: Path) -> None:
    book = tmp_path / AWKWARD
    said = shortcut.put(book, "linux")
    assert "Allow launching" in said
    files = [*desktop.iterdir(), *(tmp_path / "share" / "applications").iterdir()]
    assert len(files) == 2
    for file in files:
        assert re.fullmatch(r"[a-z0-9-]+\.desktop", file.name)
        assert file.stat().st_mode & 0o100, "a desktop starts only what may be run"
        entry = ConfigParser(interpolation=None, comment_prefixes="#", delimiters="=")
        entry.optionxform = str  # type: ignore[assignment,method-assign] # keys have capitals
        entry.read(file, encoding="utf-8")
        assert entry.sections() == ["Desktop Entry"]
        keys = entry["Desktop Entry"]
        assert (keys["Type"], keys["Terminal"]) == ("Application", "true")
        assert Path(keys["Icon"]).read_text(encoding="utf-8").startswith("<svg")
        words = words_of(keys["Exec"])
        assert words[-3:] == [str(tmp_path / "bin" / "grainbook"), "--book", str(book)]
        assert "=" not in words[0]
        told = subprocess.run(words, capture_output=True, text=True, check=True)  # as a desktop would run it
        assert told.stdout == f"--book\n{book}\n"
    assert shortcut.remove(book, "linux").startswith("Removed: ")
    assert not any(file.exists() for file in files)


def test_windows_gets_a_batch_file(desktop: Path, tmp_path: Path) -> None:
    shortcut.put(tmp_path / "Jörgs 100 % book.sqlite3", "windows")
    (file,) = desktop.iterdir()
    assert file.name == "Grainbook Jörgs 100 % book.cmd"
    content = file.read_bytes()
    assert content.startswith(b"@echo off\r\n"), "no mark of bytes before it: the command prompt would read it"
    assert content.count(b"\n") == content.count(b"\r\n")
    lines = content.decode("utf-8").splitlines()
    assert lines.index("chcp 65001 >nul") < next(i for i, line in enumerate(lines) if "Jörg" in line)
    program, book = str(tmp_path / "bin" / "grainbook.exe"), str(tmp_path / "Jörgs 100 %% book.sqlite3")
    assert f'"{program}" "--book" "{book}"' in lines
    shortcut.remove(tmp_path / "Jörgs 100 % book.sqlite3", "windows")
    assert not file.exists()


def test_macos_gets_a_script_that_runs(desktop: Path, tmp_path: Path) -> None:
    book = tmp_path / AWKWARD.replace("\\", "")
    shortcut.put(book, "macos")
    (file,) = desktop.iterdir()
    assert file.suffix == ".command"
    assert shlex.split(file.read_text(encoding="utf-8").splitlines()[-1])[1] == str(PACKAGE.parent)
    told = subprocess.run([str(file)], capture_output=True, text=True, check=True)
    assert told.stdout == f"--book\n{book}\n"


def test_the_command_puts_it_there_and_takes_it_away(
    desktop: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.system.name", lambda: "windows")
    assert main(["shortcut", "--demo"]) == 0
    (file,) = desktop.iterdir()
    assert '"--demo"' in file.read_text(encoding="utf-8")
    assert "“Grainbook demo” is on the desktop" in capsys.readouterr().out
    assert main(["shortcut", "--demo"]) == 0  # once more: the same file
    assert main(["shortcut", "--remove", "--demo"]) == 0
    assert not [*desktop.iterdir()]
    assert main(["shortcut", "--remove", "--demo"]) == 0
    assert "There was no icon." in capsys.readouterr().out
    (desktop / "Grainbook.cmd").write_text("echo mine", encoding="utf-8")
    assert main(["shortcut"]) == 1  # never over what is not ours
    assert "Nothing was written." in capsys.readouterr().err
    assert main(["shortcut", "--remove"]) == 0
    assert (desktop / "Grainbook.cmd").read_text(encoding="utf-8") == "echo mine"
    desktop.rename(tmp_path / "Elsewhere")
    assert main(["shortcut"]) == 1
    assert "There is no desktop" in capsys.readouterr().err


def test_without_an_installed_command_the_module_is_run_and_without_a_desktop_the_menu_has_it(
    desktop: Path, tmp_path: Path
) -> None:
    (tmp_path / "bin" / "grainbook").unlink()
    desktop.rmdir()
    shortcut.put(tmp_path / "home" / "book.sqlite3", "linux")
    (file,) = (tmp_path / "share" / "applications").iterdir()
    entry = file.read_text(encoding="utf-8")
    assert '"-m" "app"' in entry
    assert f"Path={PACKAGE.parent}" in entry
