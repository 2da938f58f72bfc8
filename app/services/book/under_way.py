"""Work that takes longer than a page waits: in a thread of its own, with its progress and a way to stop it.

Such work reads nothing of the book once it is begun, and writes nothing; what it came to is taken by the page that asks
next.
"""

import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Generic, Protocol, TypeVar

from app import logbook
from app.calc.base.errors import CalcError
from app.calc.base.notes import Note
from app.errors import BookError

T = TypeVar("T")


class Progress(Protocol):
    """How far it is: what is being done, how much of it is done, and of how much."""

    @property
    def doing(self) -> str:
        """What is being done."""

    @property
    def done(self) -> int:
        """How much of it."""

    @property
    def total(self) -> int:
        """Of how much."""


@dataclass(frozen=True)
class Step:
    """A plain `Progress`."""

    doing: str
    done: int
    total: int


Tell = Callable[[Progress], bool]
"""Told how far it is; answers whether to go on."""


@dataclass
class Work(Generic[T]):
    """One piece of work: how far it is, what it came to, or why it came to nothing."""

    key: str
    name: str
    do: Callable[[Tell], T]
    progress: Progress = field(default_factory=lambda: Step("waiting for its turn", 0, 1))
    stopped: bool = False
    found: T | None = None
    error: Exception | None = None
    over: threading.Event = field(default_factory=threading.Event)

    @property
    def fault(self) -> Note | str:
        """Why it came to nothing; empty where it did not."""
        if isinstance(self.error, CalcError):
            return self.error.sentence
        if isinstance(self.error, BookError):
            return self.error.message
        if self.error is None:
            return ""
        return f"The {self.name} failed; the log tells how. What is in the book is as it was."

    def tell(self, progress: Progress) -> bool:
        """Take the progress; whether to go on."""
        self.progress = progress
        return not self.stopped

    def run(self, turn: threading.Lock) -> None:
        """Do it, when its turn has come."""
        try:
            with turn:
                self.found = self.do(self.tell)
        except (CalcError, BookError) as error:
            self.error = error
        except Exception as error:  # nobody waits for this thread: what it met is told where its answer is looked for
            logbook.fault(f"a {self.name}", error)
            self.error = error
        finally:
            self.over.set()


class Works(Generic[T]):
    """Work of one kind: one piece at a time, the last `most` remembered."""

    def __init__(self, name: str, most: int) -> None:
        self.name, self.most = name, most
        self._turn, self._lock = threading.Lock(), threading.Lock()
        self._all: OrderedDict[str, Work[T]] = OrderedDict()

    def begin(self, key: str, do: Callable[[Tell], T], wait_s: float = 0.0) -> Work[T]:
        """Begin it, or find the one that was begun by this key and not stopped; wait for it so long."""
        with self._lock:
            one = self._all.get(key)
            if one is None or one.stopped or one.fault:
                one = self._all[key] = Work(key, self.name, do)
                threading.Thread(target=one.run, args=(self._turn,), name=self.name, daemon=True).start()
            self._all.move_to_end(key)
            while len(self._all) > self.most:
                self._all.popitem(last=False)[1].stopped = True
        one.over.wait(wait_s)
        return one

    def of(self, key: str) -> Work[T] | None:
        """The one that was begun by this key."""
        with self._lock:
            return self._all.get(key)

    def stop(self, key: str) -> None:
        """Ask it to end."""
        one = self.of(key)
        if one is not None:
            one.stopped = True
