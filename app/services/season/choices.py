"""The motors for a wish: looked for, shown as they were found, one kept with its reason."""

from dataclasses import dataclass

from sqlmodel import Session

from app.errors import Conflict
from app.models import Case, Formula, GrainPattern, MotorChoice, Nozzle, Wish
from app.models.season_choice import KeepMotorIn
from app.services.book import repository
from app.services.grains import shelf
from app.services.season import kept_answers, kept_choices, motor_answer, motor_search, overview, searches
from app.services.season.motor_answer import Chosen, MotorAnswer
from app.services.season.motor_search import Search
from app.services.season.planned_for import Planned
from app.services.season.searches import Running

AT_ONCE_S = 2.0
"""A search that is over by then is shown by the press that began it [s]."""


@dataclass(frozen=True)
class Made:
    """A possible motor with the rows it is made of."""

    place: int
    found: Chosen
    case: Case
    nozzle: Nozzle
    formula: Formula
    inside: list[tuple[GrainPattern, int]]

    @property
    def grains_words(self) -> str:
        """Its grains in words."""
        return " and ".join(f"{count} {pattern.name}" for pattern, count in self.inside)


@dataclass(frozen=True)
class Shown:
    """How a search for a wish's motors stands: its answer, or how far it is, or neither where nobody began it."""

    search: Search
    key: str
    answer: MotorAnswer | None
    made: list[Made]
    running: Running | None
    busy: bool
    """Whether it is at work."""
    fresh: bool
    """Whether the answer is not in the book yet."""
    cut_off: bool
    """Whether it was begun and the program was closed before it ended."""


def standing(session: Session, wish: Wish, planned: Planned, shelf_only: bool = False) -> Shown:
    """How the search for a wish's motors stands; of what lies on the shelf alone if that is asked.

    Raises
    ------
    Refused
        A rocket or field that nothing can fly from.
    """
    search = search_of(session, wish, planned, shelf_only)
    key = kept_answers.key_of("choices", search.inputs)
    kept, running = kept_answers.by_key(session, key), searches.of(search)
    busy = running is not None and not running.over.is_set()
    fresh = not busy and running is not None and running.found is not None and running.found != kept
    if busy:
        kept = None  # it is looked at anew
    elif fresh and running is not None:
        kept = running.found
    answer = motor_answer.read(kept) if kept is not None else None
    made = [made_of(session, place, one) for place, one in enumerate(answer.best)] if answer is not None else []
    cut_off = answer is None and running is None and kept_answers.begun(session, key)
    return Shown(search, key, answer, made, running, busy, fresh, cut_off)


def search_of(session: Session, wish: Wish, planned: Planned, shelf_only: bool = False) -> Search:
    """The search for a wish's motors."""
    if not shelf_only:
        return motor_search.for_wish(session, wish, planned)
    return motor_search.from_shelf(session, wish, overview.usable(shelf.standing(session)), planned)


def look(session: Session, wish: Wish, planned: Planned, shelf_only: bool = False) -> None:
    """Begin the search for a wish's motors, unless its answer is known; a short one is waited for.

    The book keeps that it was begun, so that a search cut off with the program is told of.
    """
    search = search_of(session, wish, planned, shelf_only)
    kept = kept_answers.find(session, "choices", search.inputs)
    if kept is None or kept["not_seen"] or kept["stopped"]:
        kept_answers.begin(session, "choices", search.inputs)
        searches.begin(search, AT_ONCE_S)


def stop(session: Session, wish: Wish, planned: Planned, shelf_only: bool = False) -> None:
    """Ask the search for a wish's motors to end with what it has."""
    searches.stop(search_of(session, wish, planned, shelf_only))


def keep_answer(session: Session, shown: Shown) -> None:
    """Write an answer into the book, so that it opens at once."""
    running = shown.running
    if running is not None and running.found is not None:
        kept_answers.keep(session, "choices", shown.search.inputs, running.found)


def made_of(session: Session, place: int, one: Chosen) -> Made:
    """A possible motor with its rows."""
    return Made(
        place,
        one,
        repository.get(session, Case, one.case_id, "case"),
        repository.get(session, Nozzle, one.nozzle_id, "nozzle"),
        repository.get(session, Formula, one.formula_id, "formula"),
        [(repository.get(session, GrainPattern, pattern, "grain pattern"), count) for pattern, count in one.grains],
    )


def keep(session: Session, wish: Wish, data: KeepMotorIn) -> MotorChoice:
    """Keep a motor of an answer for its wish, with the reason and what the page showed of it.

    Raises
    ------
    Conflict
        The answer is in the book no more.
    Refused
        As `kept_choices.choose`.
    """
    kept = kept_answers.by_key(session, data.answer)
    if kept is None or data.place >= len(kept["best"]):
        raise Conflict(
            "What the workshop has was changed since these motors were looked for, and the answer is in the book no "
            "more. Look for motors again; your reason is kept here."
        )
    one = motor_answer.read(kept).best[data.place]
    return kept_choices.choose(
        session,
        wish,
        case_id=one.case_id,
        nozzle_id=one.nozzle_id,
        throat_d_m=one.throat_d_m,
        formula_id=one.formula_id,
        grains=one.grains,
        figures=one.figures.as_json(),
        drill_id=one.drill_id,
        why=data.why,
    )
