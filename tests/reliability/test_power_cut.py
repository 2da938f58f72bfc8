"""The power goes: the log is cut off or torn anywhere, and the book opens as it stood after some whole commit."""

import contextlib
import random
import shutil
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from sqlalchemy import Engine, text

from app.db import open_engine, reading, writing
from app.models import Batch
from app.models.batch import WeighOutIn
from app.models.cast import NoteIn
from app.services.cast import casting, weigh_outs
from tests import build

pytestmark = pytest.mark.reliability

COMMITS = 60
CUTS, MANY_CUTS = 120, 2000


@dataclass(frozen=True)
class Left:
    """A book whose last acts stand only in its log: both files, and the log's length after each commit."""

    book: bytes
    log: bytes
    lengths: list[int]

    def laid(self, folder: Path, log: bytes) -> Path:
        """The two files as a power cut left them, the log as given."""
        book = folder / "cut.sqlite3"
        for end in ("", "-wal", "-shm"):
            book.with_name(book.name + end).unlink(missing_ok=True)
        book.write_bytes(self.book)
        book.with_name(book.name + "-wal").write_bytes(log)
        return book


@pytest.fixture(scope="module")
def left(empty_book: Path, tmp_path_factory: pytest.TempPathFactory) -> Left:
    """Commits of two rows each, written by the services, and none of them moved from the log to the book yet."""
    book = tmp_path_factory.mktemp("cut") / "book.sqlite3"
    shutil.copyfile(empty_book, book)
    engine = open_engine(book)
    with writing(engine) as session:
        lot = build.weighed_batch(session, 2)
        code, part = lot.pk, lot.parts[0].pk
        bag = build.supply(session, lot.parts[0].ingredient or "", "900 kg").pk
        session.commit()
    engine.dispose()  # the last connection moves the log into the book
    before, log, lengths = book.read_bytes(), book.with_name(book.name + "-wal"), []
    engine = open_engine(book)
    for number in range(COMMITS):
        with writing(engine) as session:
            lot = session.get_one(Batch, code)
            mass = WeighOutIn.model_validate({"supply_id": bag, "mass": f"{1 + number} g"})
            weigh_outs.weigh_out(session, lot, part, mass.answering(None))
            casting.write_note(session, lot, NoteIn(words=f"{number} " + "stirred " * (number % 40)))
            session.commit()
        lengths.append(log.stat().st_size)
    left = Left(before, log.read_bytes(), lengths)
    assert book.read_bytes() == before, "the log was moved meanwhile"
    engine.dispose()
    return left


@contextlib.contextmanager
def _opened(book: Path) -> Iterator[Engine]:
    engine = open_engine(book)
    try:
        yield engine
    finally:
        engine.dispose()


def _commits(book: Path) -> int:
    """How many of the commits stand in a book; fails unless they are the first ones, whole, in a sound file."""
    with _opened(book) as engine, reading(engine) as session:
        amounts = [
            round(1000 * kg)
            for (kg,) in session.execute(
                text("SELECT mass_kg FROM weigh_out WHERE supply_id = (SELECT max(id) FROM supply) ORDER BY id")
            )
        ]
        notes = [
            int(words.split()[0]) for (words,) in session.execute(text("SELECT words FROM session_note ORDER BY id"))
        ]
        assert notes == list(range(len(notes)))
        assert amounts == [1 + n for n in notes], "half a commit"
        assert session.execute(text("PRAGMA integrity_check")).all() == [("ok",)]
        assert session.execute(text("PRAGMA foreign_key_check")).all() == []
        return len(notes)


def test_each_commit_is_on_the_disk_before_it_is_told(tmp_path: Path, empty_book: Path) -> None:
    """In WAL mode only FULL syncs the log at each commit (SQLite documentation, PRAGMA synchronous)."""
    book = tmp_path / "book.sqlite3"
    shutil.copyfile(empty_book, book)
    with _opened(book) as engine:
        for session in (writing(engine), reading(engine)):
            with session as s:
                asked = [s.execute(text(f"PRAGMA {p}")).scalar() for p in ("journal_mode", "synchronous")]
                assert asked == ["wal", 2]
                assert s.execute(text("PRAGMA foreign_keys")).scalar() == 1


@pytest.mark.promise(
    "Power cut: a log cut or torn anywhere opens as after the last whole commit",
    figure="150 cuts, 120 torn sectors, 30 half-taken logs; each commit is synced (WAL, FULL)",
)
def test_a_log_cut_anywhere_leaves_the_commits_before_the_cut(
    left: Left, tmp_path: Path, pytestconfig: pytest.Config
) -> None:
    seed = random.SystemRandom().randrange(2**32)
    print(f"seed {seed}")
    chance = random.Random(seed)
    around = [length + off for length in chance.sample(left.lengths, 10) for off in (-1, 0, 1)]
    cuts = around + [chance.randrange(len(left.log) + 1) for _ in range(_many(pytestconfig))]
    for cut in cuts:
        whole = sum(length <= cut for length in left.lengths)
        assert _commits(left.laid(tmp_path, left.log[:cut])) == whole, (seed, cut)


def test_a_log_with_a_torn_sector_leaves_the_commits_before_it(
    left: Left, tmp_path: Path, pytestconfig: pytest.Config
) -> None:
    """What was being written when the power went holds anything: noise, zeros, or an old sector."""
    seed = random.SystemRandom().randrange(2**32)
    print(f"seed {seed}")
    chance = random.Random(seed)
    for _ in range(_many(pytestconfig)):
        cut = chance.randrange(len(left.log) - 512)
        rubbish = chance.choice([chance.randbytes(512), bytes(512)])
        if left.log[cut : cut + 512] == rubbish:
            continue
        torn = left.log[:cut] + rubbish + left.log[cut + 512 :]
        first = next(i for i in range(cut, cut + 512) if torn[i] != left.log[i])
        whole = sum(length <= first for length in left.lengths)
        assert _commits(left.laid(tmp_path, torn)) == whole, (seed, cut)


def test_a_book_half_way_through_taking_in_its_log_loses_nothing(
    left: Left, tmp_path: Path, pytestconfig: pytest.Config
) -> None:
    """The log is emptied only once its pages are in the book for good; until then any of them may be old or new."""
    seed = random.SystemRandom().randrange(2**32)
    print(f"seed {seed}")
    chance = random.Random(seed)
    with contextlib.closing(sqlite3.connect(left.laid(tmp_path, left.log))) as book:
        book.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    after, page = (tmp_path / "cut.sqlite3").read_bytes(), 4096
    for _ in range(_many(pytestconfig) // 4):
        mixed = b"".join(
            (left.book if chance.random() < 0.5 and i < len(left.book) else after)[i : i + page]
            for i in range(0, len(after), page)
        )
        assert _commits(Left(mixed, left.log, []).laid(tmp_path, left.log)) == COMMITS, seed


def _many(pytestconfig: pytest.Config) -> int:
    return MANY_CUTS if pytestconfig.getoption("--long") else CUTS
