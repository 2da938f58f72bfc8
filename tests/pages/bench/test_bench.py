"""The bench view, through a browser without script: one step a screen, each act one press."""

import re
from collections.abc import Iterator

import pytest
from fastapi.testclient import TestClient
from httpx2 import Response
from sqlmodel import Session, select

from app import clock
from app.db import writing
from app.models import CastStep
from app.models.cast import CloseIn, OpenSessionIn
from app.services.cast import casting, checklists
from app.services.stock import batches
from tests import build
from tests.behind import engine_of
from tests.browse import Page, opened, saved
from tests.moment import wall

EVENING = wall("2026-11-25T18:00")
MELT = "Next: Melt the sorbitol and stir until it is clear."


@pytest.fixture
def bench(client: TestClient) -> str:
    """An evening open at the bench, nothing weighed: its address."""
    with writing(engine_of(client)) as session:
        cast = build.opened_session(session, build.batch(session, 2, planned_for="2026-11-25"))
        session.commit()
        return f"/bench/{cast.pk}"


@pytest.fixture
def pouring(client: TestClient) -> Iterator[str]:
    """The same, weighed out at six in the evening."""
    with clock.turned_to(EVENING), writing(engine_of(client)) as session:
        lot = build.weighed_batch(session, 2, planned_for="2026-11-25")
        evening = casting.the_open(session, lot).cast_session_id
        session.commit()
    with clock.turned_to(EVENING, runs=True):
        yield f"/bench/{evening}"


def form_of(page: Page, kind: str) -> str:
    return next(key for key in page.forms if key.startswith(f"{kind}-"))


def sent(client: TestClient, url: str, kind: str, **typed: str) -> Response:
    """Open the bench, type into the form of this kind and press its button."""
    page = opened(client, url)
    form = page.forms[form_of(page, kind)]
    return client.post(form.action, data={**form.fields, **typed})


def targets_of(client: TestClient) -> list[str]:
    with writing(engine_of(client)) as session:
        return [f"{part.target_kg * 1000:.1f}" for part in batches.by_code(session, "2611P").parts]


def front(answer: Response) -> str:
    found = re.search(r'data-front="([^"]+)"', answer.text)
    assert found is not None
    return found[1]


def told(answer: Response) -> str:
    return Page(answer.text).texts["notice"].strip()


def test_the_bench_is_the_open_evening(client: TestClient, bench: str) -> None:
    assert front(client.get("/bench", follow_redirects=False)) == front(client.get(bench))
    page = client.get(bench).text
    assert page.count("autofocus") == 1
    assert 'inputmode="decimal"' in page


def test_without_an_open_evening_the_way_to_one_is_shown(client: TestClient) -> None:
    page = client.get("/bench").text
    assert "No evening is open" in page
    assert client.get("/bench/7").status_code == 404


def test_bowl_by_bowl_the_last_one_goes_on_to_the_pan(client: TestClient, bench: str) -> None:
    nitrate, sorbitol, sucrose = targets_of(client)
    assert "Sorbitol. " not in client.get(bench).text
    answer = sent(client, bench, "bowl", mass=nitrate)
    assert told(answer) == f"Potassium nitrate {nitrate} g: good. Next: Sorbitol."
    sent(client, bench, "bowl", mass=sorbitol)
    answer = sent(client, bench, "bowl", mass=sucrose)
    assert (
        told(answer) == f"Sucrose {sucrose} g: good. All weighed. Next: Melt the sorbitol and stir until it is clear."
    )
    assert re.search(r"<button[^>]*autofocus>Melted</button>", answer.text)


def test_the_first_press_books_nothing_that_is_off_and_keeps_what_was_typed(client: TestClient, bench: str) -> None:
    nitrate, _, sucrose = targets_of(client)
    answer = sent(client, bench, "bowl", mass="100")
    assert answer.status_code == 422
    page = Page(answer.text)
    form = page.forms[form_of(page, "bowl")]
    assert form.fields["mass"] == "100"
    assert f"{float(nitrate) - 100:.1f} g under" in answer.text
    assert 'role="alert"' in answer.text
    assert set(form.answers) == {"A first scoop, more comes"}
    answer = client.post(form.action, data=form.answered("A first scoop, more comes"))
    assert told(answer) == f"Potassium nitrate 100.0 g: {float(nitrate) - 100:.1f} g under. Next: Sorbitol."
    answer = sent(client, bench, "bowl", mass=sucrose)  # the sorbitol is in front
    assert "This looks like the sucrose" in answer.text
    way = re.search(r'href="\?show=(bowl-\d+)&amp;read=([^"]+)">Sucrose', answer.text)
    assert way is not None
    other = client.get(f"{bench}?show={way[1]}&read={way[2]}")
    assert front(other) == way[1]
    assert f'value="{sucrose}"' in other.text


def test_a_slipped_sign_is_answered_by_one_press(client: TestClient, bench: str) -> None:
    nitrate = targets_of(client)[0]
    page = Page(sent(client, bench, "bowl", mass=f"{float(nitrate) / 10:.2f}").text)
    form = page.forms[form_of(page, "bowl")]
    words = next(words for words in form.answers if words.startswith("It is "))
    assert told(client.post(form.action, data=form.answered(words))).startswith(f"Potassium nitrate {nitrate} g: good")


@pytest.mark.parametrize(
    ("mass", "words"), [("", "Type a mass"), ("abc", "number"), ("-5", "more than 0 g"), ("20 kg", "By the book")]
)
def test_bad_readings_are_told_at_the_field(client: TestClient, bench: str, mass: str, words: str) -> None:
    answer = sent(client, bench, "bowl", mass=mass, book="whole")
    assert answer.status_code == 422
    page = Page(answer.text)
    assert words in page.fault("mass", form_of(page, "bowl"))
    assert page.forms[form_of(page, "bowl")].fields["mass"] == mass


def test_each_step_is_one_press_and_the_next_act_is_named(client: TestClient, pouring: str) -> None:
    said = []
    for _ in range(40):
        page = client.get(pouring)
        button = re.search(r'<button name="act"[^>]*>([^<]+)</button>', page.text)
        if button is None:
            break
        answer = sent(client, pouring, "done", act="done")
        said.append(button[1])
        if said[-1] == "Poured":
            assert told(answer) == "Poured. Next: Set the coring rods, straight and down to the stop."
            assert ">3:00<" not in answer.text  # the script counts; without it the time stands there
            assert "at 18:03" in answer.text
    assert said == ["All weighed", "Melted", "Melted", *["Stirred in"] * 3, "Poured", "Cores set"]
    assert "Compact the first time." in client.get(pouring).text
    assert "Do it now" in client.get(pouring).text


def test_who_heats_it_and_where_is_said_by_the_press_or_asked(client: TestClient, pouring: str) -> None:
    """Person and place were asked only when a melt joined: hours may lie between that and its first heating."""
    sent(client, pouring, "done", act="done")
    page = opened(client, pouring)
    assert "Not Ada, Shed?" in page.texts["main"]
    form = page.forms[form_of(page, "done")]
    assert [text for name, text in form.fields.items() if name.startswith("sure.hands")] == ["yes"]
    silent = {name: text for name, text in form.fields.items() if not name.startswith("sure.")}
    answer = client.post(form.action, data={**silent, "act": "done"})
    assert (answer.status_code, "Who heats 2611P, and where?" in answer.text) == (422, True)
    assert "data-do" not in answer.text  # no pedal answers it
    page = Page(answer.text)
    assert client.post(form.action, data=page.forms[form_of(page, "done")].answered("Ada, Shed")).status_code == 200
    with Session(engine_of(client)) as session:
        heated = session.exec(select(CastStep).where(CastStep.key == "melt:sorbitol")).one()
        assert (heated.person, heated.done_at is not None) == ("Ada", True)


def test_somebody_else_takes_the_whole_list_before_the_first_heating(client: TestClient, pouring: str) -> None:
    sent(client, pouring, "done", act="done")
    saved(client, "/plan/2611P/checklist", form_id="start")  # open, and nothing of it is heated: it takes one
    with writing(engine_of(client)) as session:
        lot = batches.by_code(session, "2611P")
        checklists.void_unused(session, lot, "To be signed by Bob.")
        whole = build.checklist(session, lot, "Bob", place="Yard")
        casting.open_session(session, lot, OpenSessionIn(checklist_id=whole.pk))
        session.commit()
    assert "Not Bob, Yard?" in opened(client, pouring).texts["main"]
    sent(client, pouring, "done", act="done")
    assert "needs no further checklist" in client.post("/plan/2611P/checklist/start").text


def test_the_second_device_is_told_what_happened(client: TestClient, pouring: str) -> None:
    page = opened(client, pouring)
    form = page.forms[form_of(page, "done")]
    other = opened(client, pouring).forms[form_of(page, "done")]
    client.post(form.action, data={**form.fields, "act": "done"})
    answer = client.post(other.action, data={**other.fields, "act": "done"})
    assert answer.status_code == 422
    assert "This step was ticked already, at 18:00." in answer.text
    assert 'role="alert"' in answer.text
    assert ">Melted</button>" in answer.text  # and the next act stands there


def test_too_hot_takes_the_screen_and_gives_it_back(client: TestClient, pouring: str) -> None:
    sent(client, pouring, "done", act="done")
    sent(client, pouring, "pan", temperature="112")
    answer = sent(client, pouring, "pan", temperature="127")
    assert front(answer) == "hot"
    for words in ("Pan too hot", "127 °C", "Heat off now. Add nothing.", "6 °C over the limit, 121 °C"):
        assert words in answer.text
    assert "data-do" not in answer.text  # no key settles a step now
    answer = sent(client, pouring, "pan", temperature="119")
    assert told(answer) == f"Pan 119 °C. {MELT}"
    assert "Heat off now" not in answer.text


def test_doubtful_degrees_are_asked(client: TestClient, pouring: str) -> None:
    sent(client, pouring, "done", act="done")
    page = opened(client, pouring)
    form = page.forms["pan-form"]
    answer = client.post(form.action, data={**form.fields, "temperature": "118", "unit": "°F"})
    assert "118 °F or 118 °C?" in answer.text
    assert "It was 118 °C" in answer.text
    answer = sent(client, pouring, "degrees", unit="°C")
    assert front(answer).startswith("step-")
    assert "in the band" in answer.text


def test_a_bad_reading_of_the_pan_is_told_at_the_field(client: TestClient, pouring: str) -> None:
    answer = sent(client, pouring, "pan", temperature="hot")
    assert answer.status_code == 422
    assert Page(answer.text).fault("temperature", "pan-form")


def test_a_note_and_another_set(client: TestClient, pouring: str) -> None:
    assert told(sent(client, pouring, "note", words="A little dark.")).startswith("The note is kept.")
    assert "A little dark." in client.get("/cast/2611P").text
    assert told(sent(client, pouring, "set", moulds="2 wide")).startswith("Set 2 is added.")
    answer = sent(client, pouring, "set", moulds="")
    assert answer.status_code == 422
    assert re.search(r'<details class="more" open>', answer.text)


def test_a_closed_evening_takes_nothing_and_says_so(client: TestClient, pouring: str) -> None:
    page = opened(client, pouring)
    form = page.forms[form_of(page, "done")]
    with writing(engine_of(client)) as session:
        batch = batches.by_code(session, "2611P")
        batch.test_pieces_kg = 0.0
        casting.close(session, batch, CloseIn(why="The lamp broke."))
        session.commit()
    answer = client.post(form.action, data={**form.fields, "act": "done"})
    assert answer.status_code == 422
    assert "is closed. Reopen it with a new checklist." in answer.text
    assert "This evening was closed" in client.get(pouring).text


def test_a_melt_of_another_evening_is_refused(client: TestClient, pouring: str) -> None:
    with writing(engine_of(client)) as session:
        build.batch(session, 2, planned_for="2026-11-25")
        session.commit()
    page = opened(client, pouring)
    fields = page.forms["set-form"].fields
    answer = client.post(f"{pouring}/2611Q/set", data={**fields, "moulds": "2 wide"})
    assert answer.status_code == 422
    assert "2611Q is no melt of this evening." in answer.text


def test_the_desk_view_leads_to_the_bench_and_back(client: TestClient, bench: str) -> None:
    assert f'href="{bench}">At the bench</a>' in client.get("/cast/2611P").text
    assert 'href="/cast/2611P"' in client.get(bench).text
