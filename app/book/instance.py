"""One Grainbook on one book: a lock of the operating system on a file beside it, which a crash cannot leave behind.

The file also tells where the running one answers, so that a second start can lead there.
"""

import json
from pathlib import Path
from types import TracebackType
from typing import IO, Self

from app import system
from app.errors import Trouble
from app.troubles import as_trouble


class InUse(Trouble):
    """Another Grainbook has the book open; `address` tells where it answers, where that is known, `run` its name."""

    def __init__(self, book: Path, address: str, run: str = "") -> None:
        where = f" at {address}" if address else ""
        super().__init__(
            f"Grainbook has this book open already{where}: {book}. Nothing was changed. Use that one or stop it first.",
            kind="in use",
        )
        self.book, self.address, self.run = book, address, run


def lock_of(book: Path) -> Path:
    """The file that is locked while the book is in use."""
    return book.with_name(f"{book.name}.lock")


class Instance:
    """The right to a book, held from `with` to its end."""

    def __init__(self, book: Path) -> None:
        self.book = book
        self._file: IO[str] | None = None

    def __enter__(self) -> Self:
        """Take the book.

        Raises
        ------
        InUse
            Another Grainbook has it.
        Trouble
            The folder cannot be written.
        """
        with as_trouble():
            self.book.parent.mkdir(parents=True, exist_ok=True)
            file = lock_of(self.book).open("a+", encoding="utf-8")
        try:
            system.lock(file)
        except BlockingIOError:
            address, run = _told_in(file)
            file.close()
            raise InUse(self.book, address, run) from None
        except OSError:  # a folder on a network that knows no locks: better without than not at all
            pass
        self._file = file
        self.tell("")
        return self

    def __exit__(
        self, _kind: type[BaseException] | None, _error: BaseException | None, _t: TracebackType | None
    ) -> None:
        if self._file is not None:
            self.tell("")
            self._file.close()
            self._file = None

    def tell(self, address: str, run: str = "") -> None:
        """Write down where this one answers, and the name of this run; a full disk is no reason to stop."""
        assert self._file is not None, "only the one that has the book tells"
        try:
            self._file.seek(0)
            self._file.truncate()
            self._file.write(json.dumps({"address": address, "run": run}))
            self._file.flush()
        except OSError:
            pass


def _told_in(file: IO[str]) -> tuple[str, str]:
    try:
        file.seek(0)
        told = json.load(file)
        return str(told["address"]), str(told["run"])
    except (OSError, ValueError, KeyError, TypeError):
        return "", ""
