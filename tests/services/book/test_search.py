"""The whole book searched: every word that a person wrote, every code and every day, and nothing that is not so."""

import re
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from sqlalchemy import Engine
from sqlalchemy import select as select_core
from sqlmodel import Session, SQLModel
from sqlmodel.sql.sqltypes import AutoString

from app.book import record
from app.db import open_engine, reading
from app.models.cast import NoteIn
from app.services.book import search, search_dates
from app.services.book.search import Group
from app.services.cast import casting
from tests import build
from tests.behind import copied_with_files

NOT_SEARCHED = {
    ("checklist_answer", "numbers_json"): "numbers that were answered, not words",
    ("grain", "verdict_why"): "what the program made of the numbers",
    ("cast_step", "words"): "lines of the run sheet, alike in each melt: found at the run sheet, the pour at its lot",
    ("prediction", "inputs_json"): "numbers",
    ("prediction", "result_json"): "numbers",
    ("curve", "reading_json"): "how a file was read",
    ("curve", "result_json"): "numbers",
    ("stand_reading", "heads_json"): "heads of a file, as the logger wrote them",
    ("stand_reading", "reading_json"): "how a file was read",
    ("altimeter_track", "reading_json"): "how a file was read",
    ("altimeter_track", "result_json"): "numbers",
    ("season_plan", "inputs_json"): "numbers",
    ("season_plan", "result_json"): "numbers",
    ("motor_choice", "figures_json"): "numbers",
    ("workshop", "hold_limit_source"): "a setting: it stands on the one page of settings, and on the shelf's",
}
"""What is written with a blank in it and is not looked through, with the reason."""


@pytest.fixture(scope="module")
def demo(demo_book: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Engine]:
    book = tmp_path_factory.mktemp("searched") / "book.sqlite3"
    copied_with_files(demo_book, book)
    engine = open_engine(book)
    yield engine
    engine.dispose()


def titles(groups: list[Group], kind: str) -> list[str]:
    return [hit.thing.title for group in groups if group.kind.name == kind for hit in group.hits]


@pytest.mark.promise("Every word a person wrote in the book is found", figure="each column of the record")
def test_every_word_that_was_written_is_found(demo: Engine) -> None:
    """A text of each column of each recorded table, as the file has it, against what the search knows."""
    missed, columns = [], 0
    with reading(demo) as session:
        known = {word for thing in search._things(session) for line in thing.lines for word in _words(line.words)}
        known |= {word for thing in search._things(session) for word in _words(thing.title)}
        for table in record.recorded():
            for column in SQLModel.metadata.tables[table.name].columns:
                if not isinstance(column.type, AutoString) or column.name.endswith("_typed"):
                    continue
                texts = [t for t in session.execute(select_core(column).distinct()).scalars() if t and " " in t]
                if not texts or (table.name, column.name) in NOT_SEARCHED:
                    continue
                columns += 1
                lost = {word for text in texts for word in _words(text)} - known
                missed += [(table.name, column.name, sorted(lost)[:5])] if lost else []
    assert columns > 20
    assert missed == []


def _words(text: str) -> set[str]:
    return {search._folded(word) for word in re.findall(r"[^\W_]+", text)}


@pytest.mark.parametrize("typed", ["crack", "the", "sorb", "MARRAM", "2611P", "26-0", "thrée", "quarry test", '"(*^'])
def test_what_is_found_is_what_a_plain_reading_of_all_words_finds(demo: Engine, typed: str) -> None:
    """Reference: every thing read word by word, without the index."""
    with reading(demo) as session:
        expected: dict[str, int] = {}
        for thing in search._things(session):
            told = [_in_order(part) for part in (thing.title, "\n".join(line.words for line in thing.lines))]
            if typed != '"(*^' and all(
                any(_begins(words, _in_order(chunk)) for words in told) for chunk in typed.split()
            ):
                expected[thing.kind.name] = expected.get(thing.kind.name, 0) + 1
        found = {group.kind.name: group.count for group in search.search(session, typed)}
    assert found == expected


def _in_order(text: str) -> list[str]:
    return [search._folded(word) for word in re.findall(r"[^\W_]+", text)]


def _begins(words: list[str], wanted: list[str]) -> bool:
    """Whether these words stand there in a row, the last one by its beginning."""
    *whole, last = wanted
    rows = (words[i : i + len(wanted)] for i in range(len(words) - len(whole)))
    return any(row[:-1] == whole and row[-1].startswith(last) for row in rows)


@pytest.mark.parametrize(
    ("typed", "found"),
    [
        ("2026-11-25", ["d20261125"]),
        ("2026-11", ["m202611"]),
        ("25 Nov 2026", ["d20261125"]),
        ("25. november 2026", ["d20261125"]),
        ("Nov 25, 2026", ["d20261125"]),
        ("Nov 2026", ["m202611"]),
        ("25 Nov", ["a1125"]),
        ("25.11.2026", ["d20261125"]),
        ("3/4/2026", ["d20260403", "d20260304"]),
        ("4/4/2026", ["d20260404"]),
        ("29 Feb 2028", ["d20280229"]),
        ("29 Feb", ["a0229"]),
    ],
)
def test_dates_are_read_as_people_write_them(typed: str, found: list[str]) -> None:
    assert list(search_dates.read(f"crack {typed}")) == [("crack ", []), (typed, found)]


@pytest.mark.parametrize(
    "typed", ["29 Feb 2027", "2026-13-01", "31/31/2026", "2611P-04", "1 maybe 2026", "2611-04", "26-031"]
)
def test_what_is_no_date_stays_words(typed: str) -> None:
    assert all(found == [] for _, found in search_dates.read(typed))


def test_a_date_finds_what_happened_then_and_says_what(session: Session) -> None:
    lot = build.cast(session, 1, planned_for="2026-11-25")
    grain = build.grain(session, lot)
    day = date.fromisoformat("2026-11-25")
    assert search_dates.tokens(day) == ["d20261125", "m202611", "a1125"]
    planned = search.search(session, "25 Nov 2026", "lot") + search.search(session, "25 Nov 2026", "batch")
    assert [hit.thing.title for group in planned for hit in group.hits] == [lot.code]
    assert "planned for" in "".join(words for group in planned for hit in group.hits for words, _ in hit.parts)
    weighed = f"{grain.weighed_at:%Y-%m-%d}"
    assert titles(search.search(session, f"{weighed} {lot.code}"), "grain") == [grain.serial]
    assert titles(search.search(session, "1 Jan 2001"), "grain") == []


def test_what_was_just_written_is_found_at_once_and_its_words_are_marked(session: Session) -> None:
    lot = build.cast(session, 1)
    assert search.search(session, "kettle") == []
    casting.write_note(session, lot, NoteIn(words="The Kettle was borrowed."))
    session.flush()
    (group,) = search.search(session, "kett borrowed")
    assert group.kind.name == "note"
    assert group.hits[0].parts == [
        ("The ", False),
        ("Kettle", True),
        (" was ", False),
        ("borrowed", True),
        (".", False),
    ]
    assert group.hits[0].thing.href == f"/cast/{lot.code}#notes"


def test_what_is_called_just_so_comes_first_then_the_newest(session: Session) -> None:
    lots = [build.cast(session, 1) for _ in range(3)]
    for lot in lots:
        casting.write_note(session, lot, NoteIn(words=f"As {lots[0].code}, a little stiffer."))
    session.flush()
    groups = search.search(session, lots[0].code)
    assert groups[0].hits[0].thing.title == lots[0].code
    assert titles(groups, "note") == [lots[0].code, lots[2].code, lots[1].code]
