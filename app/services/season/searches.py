"""Searches for motors as they run: each in a thread of its own, one at a time, with its progress and a way to stop it.

A search reads nothing of the book once it is begun, and writes nothing; what it came to is taken by the page that
asks next, and kept (`kept_answers`).
"""

import threading
from collections import OrderedDict
from dataclasses import dataclass, field
from typing import Any

from app import logbook
from app.calc.base.errors import CalcError
from app.calc.base.notes import Note
from app.calc.season.choosing import Progress, choose
from app.services.season import kept_answers, motor_answer
from app.services.season.motor_search import Search

MOST = 12
"""Searches remembered, the last ones: what they came to is in the book by then."""

_running = threading.Lock()
_all: "OrderedDict[str, Running]" = OrderedDict()
_all_lock = threading.Lock()


@dataclass
class Running:
    """A search that was begun: how far it is, what it came to, or why it came to nothing."""

    key: str
    search: Search
    progress: Progress = field(default_factory=lambda: Progress("waiting for its turn", 0, 1))
    stopped: bool = False
    found: dict[str, Any] | None = None
    fault: Note | str = ""
    over: threading.Event = field(default_factory=threading.Event)

    def tell(self, progress: Progress) -> bool:
        """Take the progress; whether to go on."""
        self.progress = progress
        return not self.stopped

    def run(self) -> None:
        """Do it."""
        try:
            with _running:
                found = choose(self.search.hardware, self.search.launch, self.search.effort, self.tell)
                self.found = motor_answer.answer(found, self.search)
        except CalcError as error:
            self.fault = error.sentence
        except Exception as error:  # nobody waits for this thread: what it met is told where its answer is looked for
            logbook.fault("searching for motors", error)
            self.fault = "The search failed; the log tells how. What is in the book is as it was."
        finally:
            self.over.set()


def begin(search: Search, wait_s: float = 0.0) -> Running:
    """Begin a search, or find the one that was begun with the same numbers and not stopped; wait for it so long."""
    key = kept_answers.key_of("choices", search.inputs)
    with _all_lock:
        one = _all.get(key)
        if one is None or one.stopped or one.fault:
            one = _all[key] = Running(key, search)
            threading.Thread(target=one.run, name="search for motors", daemon=True).start()
        _all.move_to_end(key)
        while len(_all) > MOST:
            _all.popitem(last=False)[1].stopped = True
    one.over.wait(wait_s)
    return one


def of(search: Search) -> Running | None:
    """The search that was begun with the same numbers."""
    with _all_lock:
        return _all.get(kept_answers.key_of("choices", search.inputs))


def stop(search: Search) -> None:
    """Ask a search to end with what it has."""
    running = of(search)
    if running is not None:
        running.stopped = True
