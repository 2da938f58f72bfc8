"""The checklist gate attacked: whatever is sent, edited, restored or done to the clock, nothing is cast without one."""

import re
import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from httpx2 import Response
from sqlmodel import Session, select

from app import clock
from app.book import backups
from app.db import writing
from app.main import create_app
from app.models import CastSession, Checklist, OnceToken, SessionOpening, WeighOut
from app.models.batch import WeighOutIn
from app.models.cast import CloseIn, OpenSessionIn, StepIn
from app.services.cast import casting, checklists, gate, steps, weigh_outs
from app.services.stock import batches
from app.settings import Settings
from tests import build
from tests.behind import app_of, book_of, browser_of, engine_of
from tests.browse import Page, Person, opened, saved
from tests.moment import wall
from tests.routes import every

pytestmark = pytest.mark.reliability

MORNING = wall("2026-11-25T09:00")
LOT, OTHER = "2611P", "2611Q"
PAGE = f"/plan/{LOT}/checklist"
Turn = Callable[[datetime], None]


@pytest.fixture
def turn() -> Iterator[Turn]:
    with clock.turned_to(MORNING) as turn:
        yield turn


@pytest.fixture(autouse=True)
def book(client: TestClient, turn: Turn) -> None:
    """Two planned batches, with what they need on the shelf."""
    with writing(engine_of(client)) as session:
        for _ in (LOT, OTHER):
            build.stock(session, build.batch(session, 2, planned_for="2026-11-25"))
        session.commit()


def signed(client: TestClient, code: str = LOT) -> int:
    """A checklist gone through and signed on its page; gives its identity."""
    with writing(engine_of(client)) as session:
        batch = batches.by_code(session, code)
        made = checklists.current(session, batch) or checklists.start(session, batch)
        lines = checklists.lines(session, made)
        assert len(lines) >= 15
        for line in lines:
            checklists.answer(session, made, line.item.pk, build.done(line.item))
        key = made.pk
        session.commit()
    saved(client, f"/plan/{code}/checklist/{key}/sign", {"person": "Ada", "place": "Shed"}, "sign")
    return key


def knock(client: TestClient, checklist: int | str, code: str = LOT, **more: str) -> Response:
    """Ask at the gate, past every page."""
    return client.post(f"/cast/{code}/open", data={"checklist_id": str(checklist), **more}, follow_redirects=False)


def shut(client: TestClient) -> bool:
    """Whether no session is open, and nothing more was cast than openings allow."""
    with Session(engine_of(client)) as session:
        casts = session.exec(select(CastSession)).all()
        return all(cast.closed_at is not None for cast in casts)


def refused(client: TestClient, answer: Response, words: str) -> None:
    """The gate stayed shut and said why."""
    assert answer.status_code == 422, answer.status_code
    assert re.search(words, " ".join(Page(answer.text).texts["main"].split())), Page(answer.text).texts["main"]
    assert shut(client)


def close(client: TestClient) -> None:
    saved(client, f"/cast/{LOT}", {"test_pieces": "0 g"}, "test-pieces-form")
    saved(client, f"/cast/{LOT}", {"why": "it rains"}, "close-form")
    assert shut(client)


# --- By address ------------------------------------------------------------------------------------


@pytest.mark.parametrize("checklist", ["", "1", "0", "-1", "999", "9" * 40, "1.0", "x", "1 OR 1=1", "null", "１"])
def test_no_made_up_checklist_opens(client: TestClient, checklist: str) -> None:
    assert knock(client, checklist).status_code == 422
    assert shut(client)


@pytest.mark.promise(
    "No open session without a valid checklist",
    figure="addresses, tabs, replays, clock, 14 edits of the file, 7 forged lists, editions, 4 ways back from copies",
)
def test_no_page_of_the_program_opens_a_session_but_the_gate(client: TestClient) -> None:
    """Every address that takes a post, asked for the batch and its checklist without the gate."""
    checklist = signed(client)
    app = client.app
    assert isinstance(app, FastAPI)
    posts = [path for path in _posts(app) if not path.endswith("/open")]
    assert len(posts) > 40
    for path in posts:
        url = re.sub(r"\{(\w+)(:\w+)?\}", lambda m: LOT if m[1] == "code" else "1", path)
        sent = {
            "checklist_id": str(checklist),
            "act": "done",
            "temperature": "230 F",
            "words": "hot",
            "mass": "1 g",
            "mark": "cup",
            "test_pieces": "1 g",
            "why": "because",
            "moulds": "2",
            "supply_id": "1",
        }
        if path != "/plan/{code}/checklist/anew":
            client.post(url, data=sent, follow_redirects=False)
        assert shut(client), path
    with Session(engine_of(client)) as session:
        assert session.exec(select(WeighOut)).all() == []
        assert session.exec(select(SessionOpening)).all() == []


def _posts(app: FastAPI) -> list[str]:
    """The addresses that take a post."""
    return sorted({path for method, path in every(app) if method == "POST"})


def test_the_compute_api_knows_no_session(client: TestClient) -> None:
    assert not [path for path in _posts(app_of(client)) if path.startswith("/api/") and "cast" in path]
    assert client.post("/api/cast/2611P/open", json={"checklist_id": 1}).status_code in (404, 405)
    assert client.put(f"/cast/{LOT}/open").status_code == 405
    assert client.get(f"/cast/{LOT}/open").status_code in (404, 405)
    assert shut(client)


def test_an_unsigned_checklist_does_not_open(client: TestClient) -> None:
    saved(client, PAGE, form_id="start")
    refused(client, knock(client, 1), "not complete")
    refused(client, client.post(f"{PAGE}/1/sign", data={"person": "Ada", "place": "Shed"}), "no answer yet")
    refused(client, knock(client, 1), "not complete")


def test_another_batchs_checklist_does_not_open(client: TestClient) -> None:
    refused(client, knock(client, signed(client, OTHER)), "made for another batch")
    assert client.post(f"{PAGE}/1/sign", data={"person": "Ada", "place": "Shed"}).status_code in (404, 422)


# --- Stale tabs and replays --------------------------------------------------------------------------


def test_a_tab_left_open_while_the_checklist_was_voided_does_not_open(client: TestClient) -> None:
    signed(client)
    stale = opened(client, PAGE).forms["open"]
    saved(client, PAGE, {"why": "the fan broke"}, "anew")
    refused(client, client.post(stale.action, data=stale.fields, follow_redirects=False), "was voided")


def test_a_tab_left_open_over_noon_does_not_open(client: TestClient, turn: Turn) -> None:
    signed(client)
    stale = opened(client, PAGE).forms["open"]
    turn(MORNING + timedelta(hours=4, seconds=1))
    refused(client, client.post(stale.action, data=stale.fields, follow_redirects=False), "held until 13:00")


def test_a_tab_left_open_while_the_plan_was_changed_does_not_open(client: TestClient) -> None:
    signed(client)
    stale = opened(client, PAGE).forms["open"]
    saved(client, f"/plan/{LOT}/edit", {"items.0.count": "3"})
    refused(client, client.post(stale.action, data=stale.fields, follow_redirects=False), "was voided")


@pytest.mark.parametrize(("token", "words"), [("", "without the mark"), ("another", "opened a session already")])
def test_a_replayed_opening_does_not_reopen_a_closed_session(
    client: TestClient, token: str, words: str, turn: Turn
) -> None:
    signed(client)
    form = opened(client, PAGE).forms["open"]
    assert client.post(form.action, data=form.fields, follow_redirects=False).status_code == 303
    turn(MORNING + timedelta(minutes=5))
    close(client)
    again = client.post(form.action, data=form.fields, follow_redirects=False)  # the browser's resend
    assert again.status_code == 303
    assert "not saved a second time" in client.get(again.headers["location"]).text
    assert shut(client)
    refused(client, knock(client, form.fields["checklist_id"], once=token), words)


def test_work_of_a_closed_session_is_refused(client: TestClient, turn: Turn) -> None:
    """Every form of the open session's page, sent once more from a tab that was left open."""
    signed(client)
    saved(client, PAGE, form_id="open")
    stale = opened(client, f"/cast/{LOT}").forms
    turn(MORNING + timedelta(minutes=5))
    close(client)
    typed = {
        "mass": "1 g",
        "temperature": "230",
        "words": "hot",
        "mark": "cup",
        "test_pieces": "1 g",
        "why": "because",
        "act": "done",
        "moulds": "2",
        "at": "09:01",
    }
    ours = {key: form for key, form in stale.items() if form.action.startswith(f"/cast/{LOT}/")}
    assert len(ours) > 8
    for key, form in ours.items():
        answer = client.post(form.action, data={**form.fields, **typed}, follow_redirects=False)
        assert answer.status_code in (409, 422), key
        assert shut(client), key


# --- The clock -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("hours", "words"),
    [
        (4.01, "held until"),
        (15.0, "another day|held until"),
        (24.0, "another day"),
        (24 * 365, "another day"),
        (-0.5, "later than this machine's clock"),
        (-9.5, "later than this machine's clock"),
    ],
)
def test_a_clock_set_on_or_back_opens_nothing(client: TestClient, turn: Turn, hours: float, words: str) -> None:
    checklist = signed(client)
    turn(MORNING + timedelta(hours=hours))
    refused(client, knock(client, checklist), words)


def test_a_clock_set_back_does_not_make_an_expired_checklist_good(client: TestClient, turn: Turn) -> None:
    """Anything saved after it expired gives the clock away, also once the program was started again."""
    checklist = signed(client)
    turn(MORNING + timedelta(hours=6))
    saved(client, "/workshop/rods/new", {"name": "Rod 19", "diameter": "19 mm"})
    turn(MORNING + timedelta(hours=1))
    refused(client, knock(client, checklist), "clock was moved since the checklist was signed")
    saved(client, PAGE, {"why": "the clock was wrong"}, "anew")
    signed(client)  # the way out that the words name
    saved(client, PAGE, form_id="open")


def test_a_checklist_signed_ahead_of_its_day_does_not_open_on_it(client: TestClient, turn: Turn) -> None:
    """Signed with the clock set to tomorrow, to go through it once only."""
    tomorrow = MORNING + timedelta(days=1)
    turn(tomorrow)
    checklist = signed(client)
    turn(MORNING + timedelta(minutes=5))
    refused(client, knock(client, checklist), "later than this machine's clock")
    saved(client, "/workshop/rods/new", {"name": "Rod 19", "diameter": "19 mm"})
    turn(tomorrow + timedelta(hours=1))
    refused(client, knock(client, checklist), "clock was moved since")


def test_a_clock_wrong_before_the_signing_locks_nobody_out(client: TestClient, turn: Turn) -> None:
    """A flat battery: something was saved in 2040 before the clock was put right."""
    turn(MORNING + timedelta(days=5000))
    saved(client, "/workshop/rods/new", {"name": "Rod 19", "diameter": "19 mm"})
    turn(MORNING)
    assert knock(client, signed(client)).status_code == 303


def test_a_clock_set_back_while_the_program_runs_is_seen(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing was saved meanwhile: the machine's steady clock tells."""
    with writing(engine_of(client)) as session:
        lot = batches.by_code(session, LOT)
        monkeypatch.setattr(clock, "_source", clock._machine)
        made = build.checklist(session, lot)
        assert gate.why_not(session, lot, made) is None
        steady = time.monotonic()
        monkeypatch.setattr(time, "monotonic", lambda: steady + 5 * 3600)
        assert clock.set_back() > timedelta(hours=4.9)
        assert "clock was set back since Grainbook was started" in (gate.why_not(session, lot, made) or "")
        session.rollback()


def test_yesterdays_session_takes_no_hot_work(client: TestClient, turn: Turn) -> None:
    """Left open, or come back with a copy of the book: cores are pulled and told, nothing is weighed out or heated."""
    with writing(engine_of(client)) as session:
        lot = build.weighed_batch(session, batch=batches.by_code(session, LOT))
        cast = casting.the_open(session, lot)
        for step in cast.steps[:2]:
            steps.record(session, cast, step.pk, StepIn(act="done"), "Ada")
        session.commit()
    turn(MORNING + timedelta(days=1))
    page = opened(client, f"/cast/{LOT}")
    hot = next(key for key in page.forms if key.startswith("done-"))
    part = next(key for key in page.forms if key.startswith("weigh-"))
    for key, typed in ((hot, {"act": "done"}), (part, {"mass": "1 g"})):
        answer = client.post(page.forms[key].action, data={**page.forms[key].fields, **typed}, follow_redirects=False)
        assert answer.status_code == 422
        assert "its checklist was for that day" in " ".join(answer.text.split())
    saved(client, f"/cast/{LOT}", {"words": "The pan went cold."}, "note-form")
    saved(client, f"/cast/{LOT}", {"test_pieces": "0 g"}, "test-pieces-form")
    saved(client, f"/cast/{LOT}", {"why": "rain since yesterday"}, "close-form")
    signed(client)
    saved(client, PAGE, form_id="open")
    saved(client, f"/cast/{LOT}", {"mass": "1 g", "sure.likely.mass": "1 g"}, part)


def test_a_pour_that_ends_after_midnight_is_told_all_the_same(session: Session, turn: Turn) -> None:
    turn(MORNING + timedelta(hours=13))  # 22:00
    lot = build.weighed_batch(session, 2)
    cast = casting.the_open(session, lot)
    for step in cast.steps[:2]:  # on the heat before midnight
        steps.record(session, cast, step.pk, StepIn(act="done"), "Ada")
    turn(MORNING + timedelta(hours=15, minutes=40))  # 00:40
    for step in cast.steps[2 : next(i for i, s in enumerate(cast.steps) if s.key == "pour") + 1]:
        steps.record(session, cast, step.pk, StepIn(act="done"), "Ada")
    assert casting.poured_at(session, lot) == clock.now()


# --- An edited file and a restored copy ------------------------------------------------------------


STAMP = "2026-11-25 08:59:00.000000"


@pytest.mark.parametrize(
    "edit",
    [
        "INSERT INTO cast_session (created_at, version, closed_at) VALUES ('{at}', 1, NULL)",
        "REPLACE INTO cast_session (id, created_at, version, closed_at) VALUES (1, '{at}', 1, NULL)",
        "UPDATE cast_session SET closed_at = NULL",
        "UPDATE cast_session SET closed_at = '2020-01-01 00:00:00.000000'",
        "UPDATE session_opening SET opened_at = '2030-01-01 00:00:00.000000'",
        "REPLACE INTO session_opening (id, created_at, version, cast_session_id, checklist_id, person, opened_at)"
        " SELECT 7, created_at, 1, cast_session_id, checklist_id, 'Eve', '2026-11-25 09:00:00' FROM session_opening",
        "INSERT INTO session_opening (created_at, version, cast_session_id, checklist_id, person, opened_at)"
        " VALUES ('{at}', 1, 1, 2, 'Eve', '{at}')",
        "UPDATE checklist SET voided_at = NULL",
        "UPDATE checklist SET completed_at = '{at}', person = 'Eve'",
        "INSERT INTO checklist (created_at, version, batch_id, checklist_edition_id, person, completed_at)"
        " VALUES ('{at}', 1, 1, 1, 'Eve', '{at}')",
        "UPDATE checklist SET batch_id = 1",
        "DELETE FROM checklist_item",
        "UPDATE melt SET batch_id = 2",
        "INSERT INTO weigh_out (created_at, version, batch_part_id, supply_id, mass_kg, mass_typed, person)"
        " SELECT '{at}', 1, p.id, s.id, 0.001, '1 g', 'Eve' FROM batch_part p JOIN supply s USING (ingredient)",
    ],
)
def test_an_edited_row_opens_nothing(client: TestClient, turn: Turn, edit: str) -> None:
    """One closed session and its used checklist, one half-answered checklist; then the file is edited."""
    signed(client)
    saved(client, PAGE, form_id="open")
    turn(MORNING + timedelta(minutes=5))
    close(client)
    saved(client, f"/plan/{OTHER}/checklist", form_id="start")
    engine_of(client).dispose()
    with closing(sqlite3.connect(book_of(client), isolation_level=None)) as file:
        statements = f"{edit.format(at='2026-11-25 14:00:00.000000')}; UPDATE cast_session SET closed_at = NULL"
        with pytest.raises(sqlite3.IntegrityError):
            file.executescript(statements)
        assert file.execute("SELECT count(*) FROM cast_session WHERE closed_at IS NULL").fetchone() == (0,)
    assert shut(client)
    for checklist in (1, 2):
        assert knock(client, checklist).status_code == 422
        assert knock(client, checklist, OTHER).status_code == 422
    assert shut(client)


@pytest.mark.parametrize("never_opened", [True, False])
def test_a_session_opened_by_an_edit_past_the_guards_is_shut_at_the_next_start(
    client: TestClient, tmp_path: Path, turn: Turn, never_opened: bool
) -> None:
    """Somebody took the triggers off first, or wrote the file with another program altogether."""
    if not never_opened:
        signed(client)
        saved(client, PAGE, form_id="open")
        turn(MORNING + timedelta(minutes=5))
        close(client)
    book = _copy(client, tmp_path)
    with closing(sqlite3.connect(book, isolation_level=None)) as file:
        file.execute("BEGIN")  # each trigger would be a transaction of its own
        for (name,) in file.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            file.execute(f'DROP TRIGGER "{name}"')
        if never_opened:
            file.execute(f"INSERT INTO cast_session (created_at, version) VALUES ('{STAMP}', 1)")
            file.execute(
                "INSERT INTO melt (created_at, version, cast_session_id, batch_id, number)"
                f" VALUES ('{STAMP}', 1, 1, 1, 1)"
            )
        else:
            file.execute("UPDATE cast_session SET closed_at = NULL")
        file.execute("COMMIT")
    with started(book) as (again, app):
        with Session(engine_of(app)) as session:
            (cast,) = session.exec(select(CastSession)).all()
            assert cast.closed_at is not None
        assert "stood open in the file without a valid checklist" in again.get(f"/cast/{LOT}").text
        assert knock(again, signed(again)).status_code == 303  # a proper one opens it


def test_a_session_opened_by_an_edit_while_the_program_runs_takes_no_work(client: TestClient, turn: Turn) -> None:
    signed(client)
    saved(client, PAGE, form_id="open")
    stale = opened(client, f"/cast/{LOT}").forms["note-form"]
    turn(MORNING + timedelta(minutes=5))
    close(client)
    with closing(sqlite3.connect(book_of(client), isolation_level=None)) as file:
        file.execute("DROP TRIGGER guard_session_reopening")
        file.execute("UPDATE cast_session SET closed_at = NULL")
    assert client.get("/").status_code == 200
    answer = client.post(stale.action, data={**stale.fields, "words": "hot"}, follow_redirects=False)
    assert answer.status_code == 422
    assert "no valid checklist opened it" in " ".join(Page(answer.text).texts["main"].split())


def _copy(client: TestClient, folder: Path) -> Path:
    """A copy of the book's file, as a backup made now."""
    book = folder / "copy.sqlite3"
    backups.copy(book_of(client), book, sealed=False)
    return book


class started:  # noqa: N801
    """The program started on a file."""

    def __init__(self, book: Path) -> None:
        self.app = create_app(Settings(book=book))
        self.client = browser_of(self.app, Person)

    def __enter__(self) -> tuple[TestClient, FastAPI]:
        self.client.__enter__()
        return self.client, self.app

    def __exit__(self, *error: object) -> None:
        self.client.__exit__(None, None, None)
        engine_of(self.app).dispose()


def test_a_copy_from_before_the_checklist_asks_for_one(client: TestClient, tmp_path: Path) -> None:
    before = _copy(client, tmp_path)
    checklist = signed(client)
    with started(before) as (again, _):
        refused(again, knock(again, checklist), "no checklist")


def test_a_copy_with_a_signed_checklist_does_not_open_on_another_day(
    client: TestClient, tmp_path: Path, turn: Turn
) -> None:
    """Copied while the checklist was good and not used, put back when it is not; it is void from then on."""
    checklist = signed(client)
    before = _copy(client, tmp_path)
    turn(MORNING + timedelta(days=3))
    with started(before) as (again, _):
        refused(again, knock(again, checklist), "was voided")
        turn(MORNING + timedelta(hours=1))  # not even when the clock is set back after it
        refused(again, knock(again, checklist), "was voided")


def test_a_copy_with_an_open_session_takes_no_hot_work_on_another_day(
    client: TestClient, tmp_path: Path, turn: Turn
) -> None:
    """Copied while the session was open, closed since in the book that it replaces."""
    with writing(engine_of(client)) as session:
        lot = batches.by_code(session, LOT)
        build.opened_session(session, lot)
        session.commit()
    before = _copy(client, tmp_path)
    turn(MORNING + timedelta(days=1))
    with started(before) as (_, app), writing(engine_of(app)) as session:
        lot = batches.by_code(session, LOT)
        cast = casting.the_open(session, lot)
        bag = session.exec(select(WeighOut)).all()
        assert bag == []
        typed = WeighOutIn.model_validate({"supply_id": 1, "mass": "1 g"})
        with pytest.raises(Exception, match="checklist was for that day"):
            weigh_outs.weigh_out(session, lot, lot.parts[0].pk, typed)
        with pytest.raises(Exception, match="checklist was for that day"):
            steps.record(session, cast, cast.steps[0].pk, StepIn(act="done"), "Ada")


# --- Two tabs ----------------------------------------------------------------------------------------


def test_a_session_open_already_is_not_opened_by_a_second_checklist(client: TestClient) -> None:
    """Two tabs at the same moment: tests/reliability/test_two_hands.py."""
    signed(client)
    tabs = [opened(client, PAGE).forms["open"] for _ in "ab"]
    answers = [client.post(tab.action, data=tab.fields, follow_redirects=False) for tab in tabs]
    assert [answer.status_code for answer in answers] == [303, 422]
    assert "open already" in " ".join(answers[1].text.split())
    with Session(engine_of(client)) as session:
        assert len(session.exec(select(SessionOpening)).all()) == 1


def test_the_gate_believes_the_book_of_saved_forms(client: TestClient) -> None:
    """What the clock is judged by is written by every form: a token with its moment."""
    signed(client)
    with Session(engine_of(client)) as session:
        (token,) = session.exec(select(OnceToken)).all()
        assert token.spent_at == MORNING
        checklist = session.exec(select(Checklist)).one()
        assert gate.why_not(session, batches.by_code(session, LOT), checklist) is None


def test_services_alone_are_no_way_round(session: Session, turn: Turn) -> None:
    """The same gate for whoever calls the services: used up, then closed, it stays shut."""
    lot = build.batch(session, 2)
    cast = build.opened_session(session, lot)
    checklist = cast.openings[-1].checklist_id
    turn(MORNING + timedelta(minutes=1))
    lot.test_pieces_kg, lot.test_pieces_typed = 0.0, "0 g"
    casting.close(session, lot, CloseIn(why="it rains"))
    with pytest.raises(Exception, match="opened a session already"):
        casting.open_session(session, lot, OpenSessionIn(checklist_id=checklist))
