"""A scene that many tests begin with is made through the services once in a process, and played back from then on.

A cast batch or a motor takes hundreds of questions and sums; its rows take a hundredth of the time. So what the making
writes is kept, statement by statement, and written again where the same scene is asked for: into a book whose record
ends at the same link, so that it holds the same rows, by a clock that shows the same second. Guards and record run on
what is played back as on what was made. A test that alters the program (`monkeypatch`) has its scenes made.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import wraps
from typing import Any, ParamSpec, TypeVar, cast

from sqlalchemy import Connection, event, func, select
from sqlmodel import Session

from app import clock
from app.book import chain
from app.models import ActInHand
from app.models.base import Row

P = ParamSpec("P")
T = TypeVar("T", bound=Row | list[Any])

PLAIN = (str, int, float, bool, type(None), date)
LOOKS = ("SELECT", "PRAGMA")


@dataclass
class Scene:
    """What making a scene wrote, and the rows that it gave back."""

    written: list[tuple[str, Any]] = field(default_factory=list)
    rows: list[tuple[type[Row], int]] = field(default_factory=list)
    many: bool = False

    def play(self, session: Session) -> Any:
        """Write it once more; gives the rows of this session."""
        connection = session.connection()
        for statement, parameters in self.written:
            many = bool(parameters) and isinstance(parameters[0], tuple)
            connection.exec_driver_sql(statement, list(parameters) if many else tuple(parameters))
        found = [session.get_one(kind, key) for kind, key in self.rows]
        return found if self.many else found[0]


_scenes: dict[object, Scene] = {}
_made_always = False


@contextmanager
def made_always(yes: bool) -> Iterator[None]:
    """Whether scenes are made even where they could be played back."""
    global _made_always
    before, _made_always = _made_always, yes
    try:
        yield
    finally:
        _made_always = before


def once(make: Callable[P, T]) -> Callable[P, T]:
    """A function `make(session, ...)` that makes a scene through the services, played back where it can be."""

    @wraps(make)
    def scene(*given: P.args, **more: P.kwargs) -> T:
        session = cast("Session", given[0])
        at = _second()
        key = None if _made_always else _key(session, make.__name__, given[1:], more, at)
        if key is None:
            return make(*given, **more)
        with clock.turned_to(at):
            if key in _scenes:
                return cast("T", _scenes[key].play(session))
            with _watched(session.connection()) as found:
                made = make(*given, **more)
                session.flush()
            rows: list[Row] = made if isinstance(made, list) else [made]
            found.rows, found.many = [(type(one), one.pk) for one in rows], isinstance(made, list)
            _scenes[key] = found
            return made

    return scene


def _second() -> datetime:
    """The moment, to the second where the clock runs."""
    shown = clock.now()
    return shown if clock.now() == shown else shown.replace(microsecond=0)


def _key(session: Session, name: str, given: tuple[Any, ...], more: dict[str, Any], at: datetime) -> object:
    """What tells a scene from all others; nothing where it cannot be told."""
    arguments = [*given, *more.values()]
    if session.new or session.dirty or session.deleted or not all(isinstance(one, PLAIN) for one in arguments):
        return None
    plain = chain.plain(session.connection())
    head = chain.head(plain)
    if head is None or chain.unlinked(plain) or session.scalar(select(func.count()).select_from(ActInHand)):
        return None
    return name, repr(given), repr(sorted(more.items())), head.link, at


@contextmanager
def _watched(connection: Connection) -> Iterator[Scene]:
    found = Scene()

    def note(_connection: Any, _cursor: Any, statement: str, parameters: Any, *_more: Any) -> None:
        if not statement.lstrip().startswith(LOOKS):
            found.written.append((statement, parameters))

    event.listen(connection, "before_cursor_execute", note)
    try:
        yield found
    finally:
        event.remove(connection, "before_cursor_execute", note)
