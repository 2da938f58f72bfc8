"""Where this run keeps its book and how it serves; read once, at the start."""

import os
from dataclasses import dataclass
from pathlib import Path

import platformdirs

PACKAGE = Path(__file__).resolve().parent


def resource(name: str) -> Path:
    """A folder shipped with the program: inside the package when installed, beside it in a checkout."""
    inside = PACKAGE / name
    return inside if inside.is_dir() else PACKAGE.parent / name


@dataclass(frozen=True)
class Settings:
    """One run of the program."""

    book: Path
    demo: bool = False
    host: str = "127.0.0.1"
    port: int = 8765
    copies: bool = False
    """Whether the book is copied, and its log moved into it, while it is open; the command line says so, a test of one
    page does without.
    """
    lan: str | None = None
    """The address to answer the network at, `0.0.0.0` for all of this machine's; None: this machine alone."""
    plain: bool = False
    """Whether the network is answered without encryption."""


def data_folder() -> Path:
    """The folder that holds the person's book; `GRAINBOOK_HOME` overrides it."""
    override = os.environ.get("GRAINBOOK_HOME")
    return Path(override) if override else own_folder()


def own_folder() -> Path:
    """The data folder that is the program's own: nothing of the person's lies in it."""
    return Path(platformdirs.user_data_dir("grainbook", appauthor=False))


def book_path(demo: bool = False) -> Path:
    """The file of the person's book, or of the separate demonstration book."""
    return data_folder() / ("demo.sqlite3" if demo else "book.sqlite3")


def typed(command: str, file: Path | str, book: Path) -> str:
    """A command, on a file if it takes one, as it is typed for a book that may stand anywhere."""
    words = ["grainbook", command, *([_quoted(file)] if file else [])]
    if book == book_path(demo=True):
        words.append("--demo")
    elif book != book_path():
        words += ["--book", _quoted(book)]
    return " ".join(words)


def _quoted(path: Path | str) -> str:
    return f'"{path}"' if " " in str(path) else str(path)
