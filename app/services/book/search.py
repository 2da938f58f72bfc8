"""Words, codes and dates looked up in the whole book: full-text search (SQLite's FTS5) over `search_kinds`.

The index stands in memory, made when somebody first searches and anew when the record of changes has gone on since:
whatever writes to the book, another program too, writes to that record. So nothing of it is in the file, and a search
never tells what is not so any more. In: a session and what was typed. Out: what is found by kind, with a line of each.
"""

import re
import sqlite3
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from threading import Lock
from weakref import WeakKeyDictionary

from sqlalchemy import Engine, text
from sqlmodel import Session

from app import clock
from app.services.book.search_dates import read, tokens
from app.services.book.search_kinds import KINDS, Kind

SHOWN = 6
"""So many of each kind are shown at first, the best first."""

MOST = 200
"""So many of one kind are shown at most."""

NAMES = frozenset(kind.name for kind in KINDS)

LONGEST = 200
"""So much of what is typed is looked at [letters]."""

_WORD = re.compile(r"[^\W_]+")


@dataclass(frozen=True)
class Line:
    """What was written of a thing, or happened to it, and when."""

    words: str
    moment: date | None


@dataclass(frozen=True)
class Thing:
    """What can be found: a bag, a grain, a note."""

    kind: Kind
    title: str
    href: str
    lines: list[Line] = field(default_factory=list)


@dataclass(frozen=True)
class Hit:
    """A thing that was found, and the line that tells why: its day, and its words in parts, those looked for marked."""

    thing: Thing
    when: str
    parts: list[tuple[str, bool]]


@dataclass(frozen=True)
class Group:
    """What was found of one kind, the best of it, and how many there are."""

    kind: Kind
    hits: list[Hit]
    count: int


@dataclass(frozen=True)
class _Wanted:
    """What was typed, read: the question to the index, its words as they are folded, and the dates meant."""

    match: str
    words: list[str]
    days: set[str]


def search(session: Session, typed: str, kind: str = "") -> list[Group]:
    """What has all of the words, codes and dates that were typed, by kind; of one kind only if one is named.

    A word is found by its beginning, a code by its parts; a thing that is called just so comes first, then the newest.
    """
    wanted = _wanted(typed[:LONGEST])
    if not wanted.match:
        return []
    found: dict[str, list[Thing]] = {}
    for thing in _index(session).look_up(wanted.match):
        found.setdefault(thing.kind.name, []).append(thing)
    called = _folded(typed).strip()
    groups = []
    for one in KINDS:
        things = found.get(one.name, [])
        if not things or kind not in ("", one.name):
            continue
        things.sort(key=lambda thing: _folded(thing.title) != called)
        shown = things[: MOST if kind else SHOWN]
        groups.append(Group(one, [_hit(thing, wanted) for thing in shown], len(things)))
    return sorted(groups, key=lambda group: _folded(group.hits[0].thing.title) != called)


def _wanted(typed: str) -> _Wanted:
    asked, words, days = [], [], set[str]()
    for part, meant in read(typed):
        if meant:
            days.update(meant)
            asked.append("(" + " OR ".join([*(f'days : "{token}"' for token in meant), _phrase(part)]) + ")")
            continue
        for chunk in part.split():
            if _WORD.search(chunk):
                asked.append(_phrase(chunk) + " *")
                words += [_folded(word) for word in _WORD.findall(chunk)]
    return _Wanted(" AND ".join(asked), words, days)


def _phrase(chunk: str) -> str:
    """The words of a text one behind the other, as the index asks for them: 2611P-04 is "2611P 04"."""
    return '"' + " ".join(_WORD.findall(chunk)) + '"'


def _folded(words: str) -> str:
    """Words without capitals and accents, as the index compares them."""
    apart = unicodedata.normalize("NFKD", words.casefold())
    return "".join(letter for letter in apart if not unicodedata.combining(letter))


# --- The line that tells why ---------------------------------------------------------------------


def _hit(thing: Thing, wanted: _Wanted) -> Hit:
    """A thing with that line of it which has the most of what was looked for."""

    begun = [re.compile(rf"(?<![^\W_]){re.escape(word)}") for word in wanted.words]

    def worth(line: Line) -> int:
        of_day = bool(line.moment and wanted.days.intersection(tokens(line.moment)))
        folded = _folded(line.words)
        return 2 * of_day + sum(1 for one in begun if one.search(folded))

    line = max(thing.lines, key=worth, default=Line("", None))
    return Hit(
        thing, clock.day(line.moment) if line.moment else "", list(_marked(_cut(line.words, wanted.words), wanted))
    )


def _cut(words: str, wanted: list[str], most: int = 140) -> str:
    """A long text, cut to where the first of what was looked for stands."""
    if len(words) <= most:
        return words
    starts = (at.start() for at in _WORD.finditer(words) if any(_folded(at[0]).startswith(one) for one in wanted))
    start = max(next(starts, 0) - most // 3, 0)
    start = words.find(" ", start) + 1 if start else 0
    end = start + most
    return ("… " if start else "") + words[start:end].rstrip() + (" …" if end < len(words) else "")


def _marked(words: str, wanted: _Wanted) -> Iterator[tuple[str, bool]]:
    last = 0
    for found in _WORD.finditer(words):
        if any(_folded(found[0]).startswith(one) for one in wanted.words):
            yield from ([(words[last : found.start()], False)] if found.start() > last else [])
            yield found[0], True
            last = found.end()
    if last < len(words):
        yield words[last:], False


# --- The index -----------------------------------------------------------------------------------


class _Index:
    """The book's words as they stood at one link of its record."""

    def __init__(self, stand: object, things: list[Thing]) -> None:
        self.stand = stand
        self._things = things
        self._lock = Lock()
        self._db = sqlite3.connect(":memory:", check_same_thread=False)
        self._db.execute(
            "CREATE VIRTUAL TABLE words USING fts5 "
            "(title, written, days, content='', tokenize=\"unicode61 remove_diacritics 2\")"
        )
        self._db.executemany("INSERT INTO words (rowid, title, written, days) VALUES (?, ?, ?, ?)", self._rows())

    def _rows(self) -> Iterator[tuple[int, str, str, str]]:
        for number, thing in enumerate(self._things):
            days = {line.moment for line in thing.lines if line.moment}
            found = " ".join(token for day in days for token in tokens(day))
            yield number, thing.title, "\n".join(line.words for line in thing.lines), found

    def look_up(self, match: str) -> Iterator[Thing]:
        """What fits, the newest of each kind first."""
        with self._lock:
            rows = self._db.execute(
                "SELECT rowid FROM words WHERE words MATCH ? ORDER BY rowid DESC", (match,)
            ).fetchall()
        return (self._things[number] for (number,) in rows)


_kept: WeakKeyDictionary[Engine, _Index] = WeakKeyDictionary()


def _index(session: Session) -> _Index:
    """The index of a book as it stands now."""
    engine = session.get_bind()
    assert isinstance(engine, Engine)
    stand, kept = _stand(session), _kept.get(engine)
    if kept is None or kept.stand != stand:
        kept = _kept[engine] = _Index(stand, [*_things(session)])
    return kept


def _stand(session: Session) -> tuple[object, ...]:
    """What is another after each change of the book: the record's last change and link, and what is left out."""
    asked = (
        "SELECT id, at, table_name, row_id, column_name, after, "
        "(SELECT link FROM change_link ORDER BY change_id DESC LIMIT 1), (SELECT count(*) FROM sqlite_temp_master) "
        "FROM change ORDER BY id DESC LIMIT 1"
    )
    return tuple(session.execute(text(asked)).first() or ())


def _things(session: Session) -> Iterator[Thing]:
    for kind in KINDS:
        made = {
            number: Thing(kind, str(title), kind.address.format(place))
            for number, place, title in session.execute(text(kind.things))
            if place is not None and title is not None
        }
        for line in kind.lines:
            for number, moment, words in session.execute(text(line)):
                if number in made and (moment or words):
                    made[number].lines.append(Line(" ".join(str(words or "").split()).strip(" :,"), _day(moment)))
        yield from made.values()


def _day(moment: object) -> date | None:
    """The bench's day of a moment as the file has it."""
    if not isinstance(moment, str) or not moment:
        return None
    try:
        if len(moment) == len("2026-11-25"):
            return date.fromisoformat(moment)
        return clock.local(datetime.fromisoformat(moment).replace(tzinfo=UTC)).date()
    except (ValueError, OverflowError):  # written by another program
        return None
