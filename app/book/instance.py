"""One Grainbook on one book: locks of the operating system, which a crash cannot leave behind.

One is on a file beside the book, one on a file called by the book's own number on its disk, so that a second name of
the same file is no second book. Both also tell where the running one answers, so that a second start can lead there.
"""

import json
from pathlib import Path
from types import TracebackType
from typing import IO, Self

import platformdirs

from app import system
from app.book import bookfile
from app.errors import Trouble
from app.troubles import as_trouble

LOCKS = Path(platformdirs.user_cache_dir("grainbook", appauthor=False)) / "open"


class InUse(Trouble):
    """Another Grainbook has the book open.

    `address` tells where it answers, where that is known, `run` its name, `book` the path that it was opened by.
    """

    def __init__(self, book: Path, address: str, run: str = "", opened_as: str = "") -> None:
        where = f" at {address}" if address else ""
        super().__init__(
            f"Grainbook has this book open already{where}: {book}. Nothing was changed. Use that one or stop it first.",
            kind="in use",
        )
        self.book, self.address, self.run = Path(opened_as or book), address, run


def lock_of(book: Path) -> Path:
    """The file that is locked while the book is in use."""
    return book.with_name(f"{book.name}.lock")


def lock_of_file(book: Path) -> Path | None:
    """The lock of the file itself, whatever it is called (a hard link is another name); nothing without a file.

    It is in a folder of the person's own, which no other name of the book leads away from.
    """
    found = bookfile.identity(book)
    return LOCKS / f"{found[0]:x}-{found[1]:x}.lock" if found else None


class Instance:
    """The right to a book, held from `with` to its end."""

    def __init__(self, book: Path) -> None:
        self.book = book
        self._held: dict[Path, IO[str]] = {}

    def __enter__(self) -> Self:
        """Take the book.

        Raises
        ------
        InUse
            Another Grainbook has it, by this name or another one.
        Trouble
            The folder cannot be written.
        """
        with as_trouble():
            self.book.parent.mkdir(parents=True, exist_ok=True)
            self._take(lock_of(self.book))
        try:
            self.follow()
        except InUse:
            self._let_go()
            raise
        self.tell("")
        return self

    def __exit__(
        self, _kind: type[BaseException] | None, _error: BaseException | None, _t: TracebackType | None
    ) -> None:
        if self._held:
            self.tell("")
            self._let_go()

    def follow(self) -> None:
        """Hold the file that stands in the book's place now: it was made, or another one took its place.

        Raises
        ------
        InUse
            Another Grainbook has it by another name.
        """
        lock = lock_of_file(self.book)
        if lock is None or lock in self._held:
            return
        try:
            lock.parent.mkdir(parents=True, exist_ok=True)
            self._take(lock)
        except OSError:  # no folder of one's own: the lock beside the book stands
            return
        for old in set(self._held) - {lock, lock_of(self.book)}:
            self._drop(old)

    def tell(self, address: str, run: str = "") -> None:
        """Write down where this one answers, and the name of this run; a full disk is no reason to stop."""
        assert self._held, "only the one that has the book tells"
        for file in self._held.values():
            try:
                file.seek(0)
                file.truncate()
                file.write(json.dumps({"address": address, "run": run, "book": str(self.book.absolute())}))
                file.flush()
            except OSError:
                pass

    def _take(self, lock: Path) -> None:
        while True:
            file = lock.open("a+", encoding="utf-8")
            try:
                system.lock(file)
            except BlockingIOError:
                told = _told_in(file)
                file.close()
                raise InUse(self.book, *told) from None
            except OSError:  # a folder on a network that knows no locks: better without than not at all
                pass
            if system.stands_at(file, lock):  # else another one took it away as it ended
                self._held[lock] = file
                return
            file.close()

    def _let_go(self) -> None:
        for lock in list(self._held):
            self._drop(lock)

    def _drop(self, lock: Path) -> None:
        file = self._held.pop(lock)
        if lock != lock_of(self.book):
            system.remove_open(file, lock)
        file.close()


def _told_in(file: IO[str]) -> tuple[str, str, str]:
    try:
        file.seek(0)
        told = json.load(file)
        return str(told["address"]), str(told["run"]), str(told["book"])
    except (OSError, ValueError, KeyError, TypeError):
        return "", "", ""
