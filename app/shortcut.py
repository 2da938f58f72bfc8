"""A start icon on the desktop, for whom a terminal is foreign: what is written for each system, and taken away again.

Linux: a desktop entry by the Desktop Entry Specification 1.5 (freedesktop.org), on the desktop and in the menu of
programs. Windows: a batch file. macOS: a shell script that Finder opens in Terminal. Each opens the window in which the
program runs; closing it closes the book, of which every save is on disk by then.
"""

import shlex
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import platformdirs

from app import system
from app.errors import Trouble
from app.settings import PACKAGE, book_path, own_folder, resource

OURS = "Made by: grainbook shortcut"
"""Stands in each file, so that no other one is written over or taken away."""

STAY = '"$@" || { echo "Press Enter to close this window."; read -r _; }'
"""Runs what follows; where it fails, the window stays for its words to be read."""


@dataclass(frozen=True)
class Icon:
    """One file: where it stands and what is in it."""

    file: Path
    content: str


def put(book: Path, platform: str = "") -> str:
    """Put the icon on the desktop; gives what is said of it.

    Raises
    ------
    Trouble
        There is no desktop, or a file of that name that is not ours; nothing was written.
    """
    platform = platform or system.name()
    icons = list(icons_of(book, platform))
    for icon in icons:
        if icon.file.exists() and not _is_ours(icon.file):
            raise Trouble(f"{icon.file} is there already and is not of this program. Nothing was written. Rename it.")
    for icon in icons:
        icon.file.parent.mkdir(parents=True, exist_ok=True)
        icon.file.write_bytes(icon.content.encode())
        icon.file.chmod(0o700)
    files = " and ".join(str(icon.file) for icon in icons)
    return f"{_WORDS[platform].format(name=_name(book))} Written: {files}. To remove it: grainbook shortcut --remove"


def remove(book: Path, platform: str = "") -> str:
    """Take the icon away; the book stays. Gives what is said of it."""
    found = [icon.file for icon in icons_of(book, platform or system.name()) if _is_ours(icon.file)]
    for file in found:
        file.unlink()
    return f"Removed: {' and '.join(map(str, found))}. The book is as it was." if found else "There was no icon."


_WORDS = {
    "linux": "“{name}” is on the desktop and among the programs. If a press on it asks, choose “Allow launching”.",
    "windows": "“{name}” is on the desktop: a double click opens the book.",
    "macos": "“{name}” is on the desktop: a double click opens the book. If macOS refuses the first time, open it by "
    "“Open” in its right-click menu.",
}


def icons_of(book: Path, platform: str) -> Iterator[Icon]:
    """The files of a system: `linux`, `windows` or `macos`.

    Raises
    ------
    Trouble
        There is no folder of the desktop, and no other place.
    """
    name, desktop = _name(book), platformdirs.user_desktop_path()
    command = [*_program(platform), *_arguments(book)]
    if platform == "linux":
        menu = platformdirs.user_data_path() / "applications"
        folders = [desktop, menu] if desktop.is_dir() and desktop != Path.home() else [menu]
        yield from (Icon(folder / f"{_slug(name)}.desktop", desktop_entry(name, command)) for folder in folders)
        return
    if not desktop.is_dir():
        raise Trouble(f"There is no desktop at {desktop}. Nothing was written.")
    if platform == "windows":
        yield Icon(desktop / f"{name}.cmd", batch_file(name, command))
    else:
        yield Icon(desktop / f"{name}.command", shell_script(command))


def desktop_entry(name: str, command: Sequence[str]) -> str:
    """A desktop entry that runs a command in a terminal window.

    References
    ----------
    Desktop Entry Specification 1.5, freedesktop.org: "Basic format of the file", "The Exec key".
    """
    picture = resource("static") / "img" / "grainbook.svg"
    lines = [
        f"# {OURS}",
        "[Desktop Entry]",
        "Version=1.5",
        "Type=Application",
        f"Name={_value(name)}",
        "Comment=Plan, cast, weigh, predict and review home-cast sugar motor grains",
        f"Exec={_value(' '.join(_argument(word) for word in ('/bin/sh', '-c', STAY, 'grainbook', *command)))}",
        f"Path={_value(str(PACKAGE.parent))}",
        f"Icon={_value(str(picture))}",
        "Terminal=true",
        "Categories=Education;Science;",
    ]
    return "\n".join(lines) + "\n"


def _argument(word: str) -> str:
    """An argument of the Exec key, quoted; a per cent sign would begin a field code."""
    escaped = "".join(f"\\{sign}" if sign in '"`$\\' else sign for sign in word)
    return f'"{escaped}"'.replace("%", "%%")


def _value(text: str) -> str:
    """A value of the type string."""
    return text.replace("\\", "\\\\").replace("\n", "\\n")


def batch_file(name: str, command: Sequence[str]) -> str:
    """A batch file that runs a command and stays open where it fails; its letters are UTF-8."""
    words = " ".join(f'"{word}"' for word in command).replace("%", "%%")
    folder = str(PACKAGE.parent).replace("%", "%%")
    lines = [
        "@echo off",
        f"rem {OURS}",
        "chcp 65001 >nul",
        f"title {name}",
        f'cd /d "{folder}"',
        words,
        "if errorlevel 1 pause",
    ]
    return "\r\n".join(lines) + "\r\n"


def shell_script(command: Sequence[str]) -> str:
    """A script that Finder opens in Terminal, whose window stays when it ends."""
    return f"#!/bin/sh\n# {OURS}\ncd {shlex.quote(str(PACKAGE.parent))} && exec {shlex.join(command)}\n"


def _program(platform: str) -> list[str]:
    """How the program is started: by its own command where it was installed, else as a module of this Python."""
    python = Path(sys.executable)  # of the virtual environment: its link is not followed
    installed = python.with_name("grainbook.exe" if platform == "windows" else "grainbook")
    return [str(installed)] if installed.is_file() else [str(python), "-m", "app"]


def _arguments(book: Path) -> list[str]:
    if book == book_path(demo=True):
        return ["--demo"]
    return [] if book == own_folder() / "book.sqlite3" else ["--book", str(book.absolute())]


def _name(book: Path) -> str:
    if book == book_path():
        return "Grainbook"
    return "Grainbook demo" if book == book_path(demo=True) else f"Grainbook {book.stem}"


def _slug(name: str) -> str:
    return "".join(sign if sign.isascii() and sign.isalnum() else "-" for sign in name.lower())


def _is_ours(file: Path) -> bool:
    try:
        return OURS in file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        return False
