"""Searches for motors as they run: one at a time, with their progress and a way to stop them (`book.under_way`).

What a search came to is taken by the page that asks next, and kept (`kept_answers`).
"""

from typing import Any

from app.calc.season.choosing import choose
from app.services.book.under_way import Tell, Work, Works
from app.services.season import kept_answers, motor_answer
from app.services.season.motor_search import Search

MOST = 12
"""Searches remembered, the last ones: what they came to is in the book by then."""

Running = Work[dict[str, Any]]
"""A search that was begun: how far it is, what it came to, or why it came to nothing."""

_searches: Works[dict[str, Any]] = Works("search", MOST)


def begin(search: Search, wait_s: float = 0.0) -> Running:
    """Begin a search, or find the one that was begun with the same numbers and not stopped; wait for it so long."""

    def run(tell: Tell) -> dict[str, Any]:
        return motor_answer.answer(choose(search.hardware, search.launch, search.effort, tell), search)

    return _searches.begin(_key(search), run, wait_s)


def of(search: Search) -> Running | None:
    """The search that was begun with the same numbers."""
    return _searches.of(_key(search))


def stop(search: Search) -> None:
    """Ask a search to end with what it has."""
    _searches.stop(_key(search))


def _key(search: Search) -> str:
    return kept_answers.key_of("choices", search.inputs)
