"""The second place for copies on the settings page and on Today: chosen, asked about, told of; no passphrase kept."""

import json
import re
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from sqlmodel import select

from app.book import elsewhere, elsewhere_standing, encryption
from app.book.elsewhere_thread import ElsewhereThread
from app.db import reading, writing
from app.models import Change, Draft, OnceToken, Workshop
from app.models.elsewhere import ENCRYPTED, READABLE
from tests import build
from tests.behind import app_of, book_of, engine_of
from tests.browse import Page, opened, refused, saved, send

SETTINGS = "/workshop/settings"
PASSPHRASE = "kelp sandbar twine gannet"


@pytest.fixture(autouse=True)
def _anew(client: TestClient) -> None:
    """A book that was put under a kept app has no second place yet."""
    elsewhere_standing.file_of(book_of(client)).unlink(missing_ok=True)
    app_of(client).state.elsewhere = ElsewhereThread(book_of(client))


@pytest.fixture
def stick(tmp_path: Path) -> Path:
    stick = tmp_path / "STICK"
    stick.mkdir()
    return stick


def choose(client: TestClient, typed: dict[str, str]) -> None:
    """Choose a place on the book's own disk, and answer the question about it."""
    form = Page(send(client, SETTINGS, typed, "place").text).forms["place"]
    again = {name: text for name, text in typed.items() if name in ("passphrase", "again")}
    answer = client.post(
        form.action, data=form.answered(f"Use {typed['folder']} all the same") | again, follow_redirects=False
    )
    assert answer.status_code == 303, answer.text


def house(client: TestClient) -> Workshop:
    with reading(engine_of(client)) as session:
        return session.exec(select(Workshop)).one()


def test_a_place_is_chosen_and_copied_to_at_once(client: TestClient, stick: Path) -> None:
    choose(client, {"folder": str(stick), "form": READABLE})
    assert house(client).elsewhere_folder == str(stick)
    page = opened(client, SETTINGS)
    assert re.search(
        r"The last copy elsewhere is of today, \d\d:\d\d. All that was saved is in it.", page.texts["elsewhere"]
    )
    (home,) = stick.iterdir()
    assert f"The copies are in {home}" in page.texts["elsewhere"]
    assert len(elsewhere.copies_in(home)) == 1
    assert page.forms["place"].fields["folder"] == str(stick)


def test_a_folder_on_the_same_disk_is_asked_about_and_the_answer_is_kept(client: TestClient, stick: Path) -> None:
    page = refused(client, SETTINGS, {"folder": str(stick), "form": READABLE}, "place")
    assert "same disk as the book" in page.fault("folder", "place")
    assert list(stick.iterdir()) == []
    choose(client, {"folder": str(stick), "form": READABLE})
    saved(client, SETTINGS, {}, "place")  # saved once more: not asked again


@pytest.mark.parametrize(
    ("typed", "field", "words"),
    [
        ({"folder": "STICK"}, "folder", "whole path"),
        ({"folder": "/nowhere/at/all"}, "folder", "There is no folder"),
        ({"folder": "/nowhere", "form": ENCRYPTED}, "passphrase", "Give a passphrase"),
        ({"folder": "/nowhere", "form": ENCRYPTED, "passphrase": PASSPHRASE}, "again", "do not agree"),
        (
            {"folder": "/nowhere", "form": ENCRYPTED, "passphrase": "kelp", "again": "kelp"},
            "passphrase",
            "12 letters or longer. Whoever finds the drive",
        ),
        ({"folder": "/nowhere", "form": READABLE, "passphrase": PASSPHRASE}, "form", "for encrypted copies"),
    ],
)
def test_what_is_wrong_is_told_beside_its_field(
    client: TestClient, typed: dict[str, str], field: str, words: str
) -> None:
    answer = send(client, SETTINGS, typed, "place")
    assert answer.status_code == 422
    assert PASSPHRASE not in answer.text
    page = Page(answer.text)
    assert words in page.fault(field, "place")
    assert page.forms["place"].fields["folder"] == typed["folder"]
    assert house(client).elsewhere_folder == ""


def test_a_paired_device_chooses_no_folder_of_the_computer(
    client: TestClient, stick: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.routers.book.workshop.device", lambda _request: "Tablet")
    answer = send(client, SETTINGS, {"folder": str(stick), "form": READABLE}, "place")
    assert answer.status_code == 422
    assert "choose it there" in answer.text
    assert list(stick.iterdir()) == []


def test_a_place_is_given_up_by_an_empty_field(client: TestClient, stick: Path) -> None:
    choose(client, {"folder": str(stick), "form": READABLE})
    saved(client, SETTINGS, {"folder": ""}, "place")
    assert house(client).elsewhere_folder == ""
    assert "The last copy elsewhere" not in opened(client, SETTINGS).texts["elsewhere"]
    assert list(stick.rglob("*.sqlite3"))  # what is there stays


def test_settings_changed_in_another_tab_are_not_overwritten(client: TestClient, stick: Path) -> None:
    form = opened(client, SETTINGS).forms["place"]
    choose(client, {"folder": str(stick), "form": READABLE})
    answer = client.post(form.action, data=form.fields | {"folder": ""}, follow_redirects=False)
    assert answer.status_code == 409
    assert house(client).elsewhere_folder == str(stick)


@pytest.mark.promise("A passphrase typed in a form is in no row of the book and in no page", figure="every table")
def test_the_passphrase_is_in_no_row_and_no_page(client: TestClient, stick: Path) -> None:
    choose(client, {"folder": str(stick), "form": ENCRYPTED, "passphrase": PASSPHRASE, "again": PASSPHRASE})
    assert house(client).elsewhere_key.startswith("age1")
    page = client.get(SETTINGS).text
    assert PASSPHRASE not in page
    assert 'type="password"' in page
    assert "BEGIN AGE ENCRYPTED FILE" in page  # the key, to print
    with reading(engine_of(client)) as session:
        kept = [row.model_dump_json() for table in (Change, OnceToken, Draft) for row in session.exec(select(table))]
    assert kept
    assert PASSPHRASE not in json.dumps(kept)
    for file in book_of(client).parent.glob(f"{book_of(client).stem}*"):
        if file.is_file():
            assert PASSPHRASE.encode() not in file.read_bytes(), file
    (home,) = stick.iterdir()
    (copy,) = elsewhere.copies_in(home)
    assert copy.key == encryption.name_of(house(client).elsewhere_key)


def test_a_form_sent_again_with_something_else_shows_no_passphrase(client: TestClient, stick: Path) -> None:
    choose(client, {"folder": str(stick), "form": READABLE})
    form = opened(client, SETTINGS).forms["place"]
    secret = {"form": ENCRYPTED, "passphrase": PASSPHRASE, "again": PASSPHRASE}
    assert client.post(form.action, data=form.fields | secret, follow_redirects=False).status_code == 303
    other = {"passphrase": PASSPHRASE + "s", "again": PASSPHRASE + "s"}
    answer = client.post(form.action, data=form.fields | secret | other, follow_redirects=False)
    assert answer.status_code != 303
    assert PASSPHRASE not in answer.text


def test_the_passphrase_stays_where_it_is_left_empty(client: TestClient, stick: Path) -> None:
    choose(client, {"folder": str(stick), "form": ENCRYPTED, "passphrase": PASSPHRASE, "again": PASSPHRASE})
    key = house(client).elsewhere_key
    saved(client, SETTINGS, {}, "place")
    assert house(client).elsewhere_key == key
    saved(client, SETTINGS, {"form": READABLE}, "place")
    assert house(client).elsewhere_key == ""


def test_copy_there_now(client: TestClient, stick: Path) -> None:
    choose(client, {"folder": str(stick), "form": READABLE})
    saved(
        client,
        "/workshop/supplies/new",
        {"ingredient": "KNO3", "mark": "Sack A", "mass": "10 kg", "received_on": "2026-11-01"},
    )
    assert "1 save since then: not in it" in opened(client, SETTINGS).texts["elsewhere"]
    saved(client, SETTINGS, {}, "copy-now")
    assert "All that was saved is in it" in opened(client, SETTINGS).texts["elsewhere"]


# --- Today -----------------------------------------------------------------------------------------------


def test_today_says_that_a_copy_on_the_same_disk_is_no_backup_once_something_was_cast(client: TestClient) -> None:
    assert "that is no backup" not in client.get("/").text
    with writing(engine_of(client)) as session:
        build.cast(session, 1)
        session.commit()
    assert "that is no backup" in client.get("/").text


def test_today_tells_how_old_the_last_copy_elsewhere_is(client: TestClient, stick: Path, tmp_path: Path) -> None:
    choose(client, {"folder": str(stick), "form": READABLE})
    page = client.get("/").text
    assert "The last copy elsewhere is of today" in page
    assert "lies on this computer alone" not in page
    stick.rename(tmp_path / "in the pocket")
    saved(client, SETTINGS, {}, "copy-now")
    assert "The second place was not there since" in client.get("/").text
