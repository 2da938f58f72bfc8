"""A grain in the hand, to the notes of its evening in two actions: scan or type, one press."""

import re
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient

from app import clock
from app.db import writing
from app.models.cast import NoteIn, StepIn, TemperatureIn
from app.services.cast import casting, pan, steps
from tests import build
from tests.behind import engine_of


@pytest.fixture
def serial(client: TestClient) -> str:
    """A grain of an evening whose pan was read, whose coring was late, and of which something was written."""
    with writing(engine_of(client)) as session:
        start = clock.now() - timedelta(hours=4)
        with clock.turned_to(start) as turn:
            lot = build.cast(session, 1, until="oxidiser:1")
            pan.record_temperature(session, lot, TemperatureIn.model_validate({"temperature": "115 °C"}))
            cast = casting.the_open(session, lot)
            for step in cast.steps:
                if step.done_at is None and step.key in ("oxidiser:2", "oxidiser:3", "pour"):
                    steps.record(session, cast, step.pk, StepIn(act="done"), "Ada")
            turn(start + timedelta(minutes=10))
            core = next(step for step in cast.steps if step.key == "core")
            steps.record(session, cast, core.pk, StepIn(act="done"), "Ada")
            casting.write_note(session, lot, NoteIn(words="Stiffer than usual."))
            further = build.batch(session, planned_for=lot.planned_for)
            build.joined(session, further, cast.evening)
            casting.write_note(session, further, NoteIn(words="Of another melt."))
            made = build.grain(session, lot).serial
        session.commit()
        return made


def _words(page: str) -> str:
    section = re.search(r'<section class="in-hand".*?</section>', page, re.S)
    assert section, page
    return " ".join(re.sub(r"<[^>]+>", " ", section[0]).split())


@pytest.mark.parametrize("typed", ["{0}", "http://127.0.0.1:8765/shelf/{0}", " {0} ", "{1}", "{2}"])
def test_one_press_leads_from_what_was_typed_or_scanned_to_the_notes(
    client: TestClient, serial: str, typed: str
) -> None:
    code = typed.format(serial, serial.lower(), serial.replace("-0", ""))
    page = client.get("/find", params={"q": code})
    assert page.status_code == 200
    said = _words(page.text)
    answer = page.text[: page.text.index('class="in-hand"')]
    assert f"Grain {serial}</h1>" in answer
    assert "96.0 % of ideal density" in answer
    mass = re.search(r"± [\d.]+ %, ([\d.]+ g)", answer)
    assert mass
    assert page.text.partition("Cure and bag")[0].count(mass[1]) == 1, "its numbers stand once"
    assert "pan at 115 °C" in said
    assert "never above the limit" in said
    assert "Set the cores" in said
    assert "! 7 min late" in said, "10 minutes after the pour, where the sheet says 3"
    assert f"{serial[:5]} Stiffer than usual." in said, "of several melts it is said which one a note is of"
    assert "Of another melt." not in said
    assert "Looks not looked at" in said


def test_the_field_stands_at_the_head_of_the_pages(client: TestClient, serial: str) -> None:
    for path in ("/", "/shelf", f"/shelf/{serial}", f"/cast/{serial[:5]}", f"/cast/{serial[:5]}/grains"):
        assert re.search(r'<form class="find[^"]*"[^>]*action="/find"', client.get(path).text), path


def test_an_unknown_serial_keeps_what_was_typed_and_offers_the_nearest(client: TestClient, serial: str) -> None:
    wrong = serial[:-1] + "7"
    page = client.get("/find", params={"q": wrong})
    assert page.status_code == 404
    assert f'value="{wrong}"' in page.text
    assert f'href="/shelf/{serial}"' in page.text
    assert f"There is no “{wrong}” in this book. Which one is it?" in page.text


def test_a_part_of_a_serial_is_asked_about_and_never_guessed(client: TestClient, serial: str) -> None:
    for part, found in ((serial[-2:], 200), (serial[2:5], 404)):
        page = client.get("/find", params={"q": part}, follow_redirects=False)
        assert page.status_code == found, "the second stands inside a word: the nearest serials are offered"
        assert f'href="/shelf/{serial}"' in page.text


def test_nothing_typed_and_a_code_of_something_else_are_told(client: TestClient, serial: str) -> None:
    assert "Type a serial, a word or a date" in client.get("/find").text
    page = client.get("/find", params={"q": "https://example.org/x?y=<b>"})
    assert page.status_code == 404
    assert "not the label of a grain" in page.text
    assert "<b>" not in page.text


def test_the_same_field_finds_words_lots_and_dates_by_kind(client: TestClient, serial: str) -> None:
    page = client.get("/find", params={"q": "stiffer usual"})
    assert page.status_code == 200
    (found,) = re.findall(r'<section class="found (\w+)"', page.text)
    assert found == "note"
    assert "<mark>Stiffer</mark> than <mark>usual</mark>." in page.text
    assert f'href="/cast/{serial[:5]}#notes"' in page.text
    kinds = re.findall(r'<section class="found (\w+)"', client.get("/find", params={"q": serial[:5]}).text)
    assert {"batch", "evening", "grain", "note"} <= set(kinds)
    only = client.get("/find", params={"q": serial[:5], "of": "grain"}).text
    assert re.findall(r'<section class="found (\w+)"', only) == ["grain"]
    day = clock.day(clock.now() - timedelta(hours=4))
    for typed in (day, day[-8:], f"{clock.today():%Y-%m-%d}", f"{day} {serial[:5]}"):
        assert '<section class="found note"' in client.get("/find", params={"q": typed}).text, typed
    assert client.get("/find", params={"q": "1 Jan 1999"}).status_code == 404
