"""The checklist gate attacked by clocks, editions, copies and forged books, and hot hands that are never locked out.

Each attack was seen to get through before the rule was one; tests/reliability/test_gate.py tries addresses and tabs.
"""

import json
import sqlite3
import zipfile
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import timedelta
from hashlib import sha256
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session, select

from app import clock, commands
from app.book import backups, export, missing
from app.db import writing
from app.models import CastSession, Checklist, ChecklistEdition, WeighOut
from app.models.cast import StepIn
from app.models.checklist import EditionIn
from app.services.book import workshop
from app.services.cast import casting, checklists, editions, steps
from app.services.stock import batches
from tests import build, moment
from tests.behind import book_of, engine_of
from tests.browse import Page, opened, saved
from tests.moment import wall
from tests.reliability.test_gate import LOT, MORNING, PAGE, Turn, close, knock, refused, shut, signed, started

pytestmark = pytest.mark.reliability

AHEAD = wall("2029-06-01T09:00")
CAST = f"/cast/{LOT}"


@pytest.fixture
def turn() -> Iterator[Turn]:
    with clock.turned_to(MORNING) as turn:
        yield turn


@pytest.fixture(autouse=True)
def book(client: TestClient, turn: Turn) -> None:
    """A planned batch, with what it needs on the shelf."""
    with writing(engine_of(client)) as session:
        build.stock(session, build.batch(session, 2, planned_for="2026-11-25"))
        session.commit()


def melted(client: TestClient, until: str = "oxidiser:1") -> None:
    """The batch's session, opened now, weighed out and ticked up to a step."""
    with writing(engine_of(client)) as session:
        lot = build.weighed_batch(session, batch=batches.by_code(session, LOT))
        cast = casting.the_open(session, lot)
        for step in cast.steps[: next(i for i, s in enumerate(cast.steps) if s.key == until) + 1]:
            steps.record(session, cast, step.pk, StepIn(act="done"), "Ada")
        session.commit()


def weighed(client: TestClient) -> None:
    """The batch's session, opened now, all but the last part weighed out and nothing heated."""
    with writing(engine_of(client)) as session:
        lot = batches.by_code(session, LOT)
        build.opened_session(session, lot)
        build.weighed_out(session, lot, but_last=1)
        session.commit()


def left(client: TestClient, folder: Path) -> Path:
    """The book as it stands, as a file that no other program has open."""
    book = folder / "here.sqlite3"
    backups.copy(book_of(client), book, sealed=False)
    return book


def _post(client: TestClient, form_id: str, typed: dict[str, str]) -> tuple[int, str]:
    form = opened(client, CAST).forms[form_id]
    answer = client.post(form.action, data={**form.fields, **typed}, follow_redirects=False)
    return answer.status_code, "" if answer.status_code == 303 else " ".join(Page(answer.text).texts["main"].split())


def weigh(client: TestClient) -> tuple[int, str]:
    """Weigh out a little more of the first part."""
    form_id = next(key for key in opened(client, CAST).forms if key.startswith("weigh-"))
    return _post(client, form_id, {"mass": "1 g", "sure.likely.mass": "1 g"})


def tick(client: TestClient, **typed: str) -> tuple[int, str]:
    """Tick the step that comes next."""
    form_id = next(key for key in opened(client, CAST).forms if key.startswith("done-"))
    return _post(client, form_id, {"act": "done", **typed})


def nothing_new(client: TestClient, words: str) -> None:
    """Neither weighed out nor heated, with the words; said at the top of the page and on Today as well."""
    for status, said in (weigh(client), tick(client)):
        assert (status, words in said) == (422, True), said
    for path in (CAST, "/", "/cast"):
        assert words in " ".join(Page(client.get(path).text).texts["main"].split()), path


def goes_on(client: TestClient, *, question: bool = False) -> None:
    """What is under way takes readings, notes and each step that is left, until it is closed."""
    saved(client, CAST, {"temperature": "118 C"}, "temperature-form")
    saved(client, CAST, {"words": "Smooth."}, "note-form")
    ticked = 0
    while any(key.startswith("done-") for key in opened(client, CAST).forms):
        status, said = tick(client)
        if question and not ticked and status == 422:
            assert "Did the pan stay hot since?" in said
            status, said = tick(client, meant="The pan stayed hot.")
        assert status == 303, said
        ticked += 1
    assert ticked >= 7
    saved(client, CAST, {"test_pieces": "10 g"}, "test-pieces-form")
    saved(client, CAST, {"why": "all told"}, "close-form")
    assert shut(client)


def reopened(client: TestClient) -> None:
    """The way out that the words name: close it, a new checklist, and new work is taken."""
    if not shut(client):
        close(client)
    signed(client)
    form = opened(client, PAGE).forms["open"]
    answer = client.post(form.action, data=form.fields, follow_redirects=False)
    if answer.status_code == 422:  # it was closed later than the clock reads
        form = Page(answer.text).forms["open"]
        sent = form.answered("The clock is right now: reopen it")
        answer = client.post(form.action, data=sent, follow_redirects=False)
    assert answer.status_code == 303
    assert weigh(client)[0] == 303


# --- The clock ---------------------------------------------------------------------------------------------


def test_a_session_opened_while_the_clock_stood_ahead_takes_nothing_new(client: TestClient, turn: Turn) -> None:
    turn(AHEAD)
    weighed(client)
    turn(MORNING)
    nothing_new(client, "later than this machine's clock reads")
    saved(client, CAST, {"words": "The clock was wrong."}, "note-form")
    reopened(client)


def test_it_is_closed_with_words_at_the_next_start(client: TestClient, tmp_path: Path, turn: Turn) -> None:
    turn(AHEAD)
    weighed(client)
    turn(MORNING)
    with started(left(client, tmp_path)) as (again, _):
        assert shut(again)
        assert "later than this machine's clock reads" in " ".join(opened(again, CAST).texts["main"].split())
        reopened(again)


def test_a_melt_is_poured_and_finished_whatever_the_clock_does(client: TestClient, tmp_path: Path, turn: Turn) -> None:
    turn(AHEAD)
    melted(client)
    turn(MORNING)
    assert (weigh(client)[0], "goes on" in opened(client, CAST).texts["main"]) == (422, True)
    with started(left(client, tmp_path)) as (again, _):
        goes_on(again)


def test_a_clock_moved_while_the_session_is_open_is_seen(client: TestClient, turn: Turn) -> None:
    """It was tomorrow for a moment, and something was saved then: whether it is the list's day nobody knows."""
    signed(client)
    saved(client, PAGE, form_id="open")
    turn(MORNING + timedelta(days=1))
    saved(client, "/workshop/rods/new", {"name": "Rod 19", "diameter": "19 mm"})
    turn(MORNING + timedelta(minutes=5))
    nothing_new(client, "clock was moved since the checklist was signed")
    reopened(client)


def test_a_limit_made_longer_afterwards_revives_no_list(client: TestClient, turn: Turn) -> None:
    checklist = signed(client)
    turn(MORNING + timedelta(hours=5))
    with writing(engine_of(client)) as session:
        workshop.get(session).checklist_valid_s = 12 * 3600.0
        session.commit()
    refused(client, knock(client, checklist), "The checklist held until")


def test_nor_yesterdays_session(client: TestClient, turn: Turn) -> None:
    turn(MORNING + timedelta(hours=10))
    weighed(client)
    turn(MORNING + timedelta(hours=23))
    assert weigh(client)[0] == 422
    with writing(engine_of(client)) as session:
        workshop.get(session).checklist_valid_s = 24 * 3600.0
        session.commit()
    nothing_new(client, "its checklist was for that day")


def test_lines_answered_yesterday_are_not_signed_today(client: TestClient, turn: Turn) -> None:
    turn(MORNING - timedelta(days=1))
    with writing(engine_of(client)) as session:
        made = checklists.start(session, batches.by_code(session, LOT))
        for line in checklists.lines(session, made):
            checklists.answer(session, made, line.item.pk, build.done(line.item))
        session.commit()
    turn(MORNING)
    form = opened(client, f"{PAGE}/1/sign").forms["sign"]
    answer = client.post(form.action, data={**form.fields, "person": "Ada", "place": "Shed"}, follow_redirects=False)
    assert answer.status_code == 422
    assert "answered on another day" in " ".join(answer.text.split())


@pytest.fixture
def berlin() -> Iterator[None]:
    """Where clocks were set back on 25 October 2026, at 03:00 to 02:00 (Directive 2000/84/EC)."""
    moment.stand_in("Europe/Berlin")
    yield
    moment.stand_in(moment.ZONE)


@pytest.mark.usefixtures("berlin")
def test_the_day_of_a_clock_change_is_as_long_as_it_is(client: TestClient, turn: Turn) -> None:
    turn(wall("2026-10-25T00:10"))
    signed(client)
    saved(client, PAGE, form_id="open")
    turn(wall("2026-10-25T23:50"))  # 24 h 40 min later
    assert weigh(client)[0] == 303
    turn(wall("2026-10-26T00:10"))
    nothing_new(client, "its checklist was for that day")


# --- Midnight, and the morning after -------------------------------------------------------------------


def test_a_melt_heated_in_time_is_poured_after_midnight(client: TestClient, turn: Turn) -> None:
    turn(MORNING + timedelta(hours=10))  # 19:00, held until 23:00 and the day until 24:00
    melted(client, "oxidiser:1")
    turn(MORNING + timedelta(hours=15, minutes=20))
    assert weigh(client)[0] == 422
    goes_on(client)


def test_a_melt_not_begun_is_not_begun_after_midnight(client: TestClient, turn: Turn) -> None:
    turn(MORNING + timedelta(hours=10))
    melted(client, "weigh")
    turn(MORNING + timedelta(hours=15, minutes=20))
    nothing_new(client, "its checklist was for that day")


def test_it_is_asked_in_the_morning_whether_the_pan_stayed_hot(client: TestClient, turn: Turn) -> None:
    melted(client)
    turn(MORNING + timedelta(days=1))
    status, said = tick(client)
    assert status == 422
    assert "Did the pan stay hot since?" in said
    assert "is not heated again in this session" in said
    assert tick(client, meant="The pan stayed hot.")[0] == 303
    assert "Gone on with the melt" in client.get(CAST).text


def test_a_tick_that_could_not_be_set_again_is_not_taken_back(client: TestClient, turn: Turn) -> None:
    melted(client)
    turn(MORNING + timedelta(days=1))
    undo = next(key for key in opened(client, CAST).forms if key.startswith("undo-"))
    status, said = _post(client, undo, {"act": "undo"})
    assert status == 422
    assert "could not be ticked again" in said


# --- Editions ------------------------------------------------------------------------------------------------


def _newer(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        now = editions.now_used(session, ChecklistEdition)
        items = [line.model_dump(include={"heading", "words", "covers", "again"}) for line in now.lines]
        items[-1] |= {"words": f"Look up at the wiring {now.edition} times."}  # as many lines as before
        checklists.new_edition(session, EditionIn.model_validate({"items": items}), now.edition)
        session.commit()


def test_a_list_signed_before_its_newer_version_opens_nothing(client: TestClient) -> None:
    """The version is made in another tab, between signing and opening."""
    checklist = signed(client)
    stale = opened(client, PAGE).forms["open"]
    _newer(client)
    refused(client, client.post(stale.action, data=stale.fields, follow_redirects=False), "newer version")
    refused(client, knock(client, checklist), "newer version")
    assert "open" not in opened(client, PAGE).forms
    saved(client, PAGE, {"why": "newer list"}, "anew")
    signed(client)
    saved(client, PAGE, form_id="open")
    _newer(client)  # while it is open it stays good
    assert weigh(client)[0] == 303


def test_a_list_without_lines_is_not_signed(client: TestClient) -> None:
    """The program makes none; a file that was edited has one."""
    with writing(engine_of(client)) as session:
        session.add(ChecklistEdition(edition=9))
        session.flush()
        checklists.start(session, batches.by_code(session, LOT))
        session.commit()
    form = opened(client, f"{PAGE}/1/sign").forms["sign"]
    answer = client.post(form.action, data={**form.fields, "person": "Ada", "place": "Shed"}, follow_redirects=False)
    assert answer.status_code == 422
    assert "has no lines" in " ".join(answer.text.split())


# --- Forged files and zips -----------------------------------------------------------------------------------

FOREIGN = """UPDATE checklist_answer SET checklist_item_id = (
    SELECT n.id FROM checklist_item n JOIN checklist_item o ON o.position = n.position
    WHERE o.id = checklist_item_id AND n.checklist_edition_id <> o.checklist_edition_id)"""


def _edited(book: Path, *statements: str) -> None:
    with closing(sqlite3.connect(book, isolation_level=None)) as file:
        file.execute("BEGIN")  # each trigger would be a transaction of its own
        for (name,) in file.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            file.execute(f'DROP TRIGGER "{name}"')
        for statement in statements:
            assert file.execute(statement).rowcount > 0, statement
        file.execute("COMMIT")


FORGED: dict[str, tuple[str, ...]] = {
    "by lines of another version": (FOREIGN,),
    "with a line less": ("DELETE FROM checklist_answer WHERE id = (SELECT max(id) FROM checklist_answer)",),
    "of another batch": ("UPDATE checklist SET batch_id = (SELECT max(id) FROM batch)",),
    "not signed": ("UPDATE checklist SET completed_at = NULL",),
    "voided": ("UPDATE checklist SET voided_at = completed_at, voided_why = 'people came in'",),
    "signed after the opening": ("UPDATE checklist SET completed_at = '2026-11-25 23:00:00.000000'",),
    "signed long before": ("UPDATE checklist SET completed_at = '2026-11-23 09:00:00.000000'",),
    "at no time": ("UPDATE session_opening SET opened_at = ''",),
}


@pytest.mark.parametrize("how", [how for how in FORGED if how != "at no time"])
def test_an_open_session_whose_list_was_forged_is_shut_at_the_start(
    client: TestClient, tmp_path: Path, how: str
) -> None:
    _forge(client)
    book = left(client, tmp_path)
    _edited(book, *FORGED[how])
    with started(book) as (again, _):
        assert shut(again)
        assert "stood open in the file without a valid checklist" in again.get(CAST).text
        reopened(again)


def _forge(client: TestClient) -> None:
    """An open session, and an older edition of the list with as many lines."""
    _newer(client)
    with writing(engine_of(client)) as session:
        build.batch(session, 2)
        session.commit()
    weighed(client)


def test_such_a_session_takes_nothing_while_the_program_runs(client: TestClient) -> None:
    _forge(client)
    with closing(sqlite3.connect(book_of(client), isolation_level=None)) as file:
        file.execute("DROP TRIGGER guard_answer_update")
        assert file.execute(FOREIGN).rowcount >= 15
    nothing_new(client, "lines of another version")


def test_a_forged_zip_brings_in_no_open_session(client: TestClient, tmp_path: Path) -> None:
    """Rows of the zip are made so before they are hashed anew: it is sound by all that it tells of itself."""
    _forge(client)
    target, forged, book = (tmp_path / name for name in ("book.zip", "forged.zip", "new.sqlite3"))
    export.write(book_of(client), target)
    with zipfile.ZipFile(target) as source, zipfile.ZipFile(forged, "w") as out:
        content = {name: source.read(name) for name in source.namelist()}
        lines = content["tables/checklist_answer.jsonl"].splitlines()
        at = json.loads(lines[0]).index("checklist_item_id")
        count = len(lines) - 1
        rows = [json.loads(line) for line in lines]
        for row in rows[1:]:
            row[at] -= count  # the same line of the edition before
        changed = b"".join(json.dumps(row).encode() + b"\n" for row in rows)
        manifest = json.loads(content["manifest.json"])
        manifest["tables"]["checklist_answer"]["sha256"] = sha256(changed).hexdigest()
        content |= {"tables/checklist_answer.jsonl": changed, "manifest.json": json.dumps(manifest).encode()}
        for name, value in content.items():
            out.writestr(name, value)
    assert f"{LOT} was closed" in commands.take_in(book, forged)
    with started(book) as (again, _):
        assert shut(again)


def test_a_closed_session_is_not_opened_by_an_edit_that_knows_all_columns(
    client: TestClient, tmp_path: Path, turn: Turn
) -> None:
    """The order of what was saved tells that it was closed after its last opening, whatever its rows say."""
    weighed(client)
    turn(MORNING + timedelta(minutes=5))
    close(client)
    book = left(client, tmp_path)
    _edited(book, "UPDATE cast_session SET closed_at = NULL", "UPDATE batch SET state = 'casting'")
    with started(book) as (again, _):
        assert shut(again)


# --- Copies of the same day ------------------------------------------------------------------------------

Back = Callable[[Path, Path], Path]


def _restored(copy: Path, book: Path) -> Path:
    commands.restore(book, copy)
    return book


def _opened_itself(copy: Path, _book: Path) -> Path:
    return copy


def _laid_over(copy: Path, book: Path) -> Path:
    for end in ("-wal", "-shm"):
        book.with_name(book.name + end).unlink(missing_ok=True)
    book.write_bytes(copy.read_bytes())
    return book


def _as_a_zip(copy: Path, _book: Path) -> Path:
    target, again = copy.with_suffix(".zip"), copy.with_name("again.sqlite3")
    export.write(copy, target)
    commands.take_in(again, target)
    return again


def _behind_its_mark(copy: Path, book: Path) -> Path:
    """An older file without a seal in its place, as after a lost log: only the mark beside it tells."""
    missing.begin(book)
    plain = copy.with_name("plain.sqlite3")
    backups.copy(copy, plain, sealed=False)
    return _laid_over(plain, book)


WAYS = pytest.mark.parametrize("back", [_restored, _opened_itself, _laid_over, _as_a_zip])
AND_BEHIND = pytest.mark.parametrize("back", [_restored, _opened_itself, _laid_over, _as_a_zip, _behind_its_mark])


@AND_BEHIND
def test_a_copy_of_the_same_day_makes_no_used_list_good_again(
    client: TestClient, tmp_path: Path, turn: Turn, back: Back
) -> None:
    checklist, copy = signed(client), tmp_path / "copy.sqlite3"
    backups.copy(book_of(client), copy)
    saved(client, PAGE, form_id="open")
    turn(MORNING + timedelta(minutes=5))
    close(client)
    turn(MORNING + timedelta(minutes=10))
    with started(back(copy, left(client, tmp_path))) as (again, app):
        refused(again, knock(again, checklist), "was voided.*came back from a copy")
        with Session(engine_of(app)) as session:
            (row,) = session.exec(select(Checklist)).all()
        history = again.get("/workshop/changes").text
        assert row.voided_why is not None
        assert "Grainbook" in history
        reopened(again)


@AND_BEHIND
def test_a_copy_of_the_same_day_opens_no_closed_session(
    client: TestClient, tmp_path: Path, turn: Turn, back: Back
) -> None:
    weighed(client)
    copy = tmp_path / "copy.sqlite3"
    backups.copy(book_of(client), copy)
    turn(MORNING + timedelta(minutes=5))
    close(client)
    with started(back(copy, left(client, tmp_path))) as (again, _):
        assert shut(again)
        assert "came back from a copy" in " ".join(opened(again, CAST).texts["main"].split())
        reopened(again)


@pytest.mark.promise(
    "Hot hands are never locked out: a melt under way is finished, whatever clock or restore do",
    figure="clock to 2029 and back, midnight, 4 ways back from a copy",
)
@WAYS
def test_a_restored_book_finishes_the_evening(client: TestClient, tmp_path: Path, turn: Turn, back: Back) -> None:
    """A melt heated, one set of two poured; then the book is the one of a copy."""
    melted(client, "oxidiser:1")
    saved(client, CAST, {"moulds": "1 of the grains"}, "set-form")
    for _ in range(5):  # the pour, the cores and three compactions of the first set
        assert tick(client)[0] == 303
    copy = tmp_path / "copy.sqlite3"
    backups.copy(book_of(client), copy)
    turn(MORNING + timedelta(minutes=40))
    with started(back(copy, left(client, tmp_path))) as (again, app):
        assert weigh(again)[0] == 422
        page = " ".join(opened(again, CAST).texts["main"].split())
        assert "Nothing new is weighed out or heated here." in page
        assert "came back from a copy" in page
        goes_on(again)
        with Session(engine_of(app)) as session:
            cast = session.exec(select(CastSession)).one()
            assert all(step.done_at is not None for step in cast.melts[0].steps)
            amounts = len(session.exec(select(WeighOut)).all())
        saved(again, f"/cast/{LOT}/grains", {"gross": "170 g", "length": "76.2 mm"}, "next")
        assert amounts == 3
        reopened(again)
