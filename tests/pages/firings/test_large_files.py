"""A file too large to be read while a page waits: how far its reading is, stopped, kept once it was looked at."""

import time
from collections.abc import Callable, Iterator
from threading import Event
from typing import Any

import pytest
from fastapi.testclient import TestClient

from app.models import Curve, StandReading
from app.services.book.under_way import Works
from app.services.firings import large_files, reading
from tests.browse import Page, opened, saved
from tests.pages.firings.test_curves import burn, fired, sent
from tests.pages.motors.test_builds import count


@pytest.fixture
def held(monkeypatch: pytest.MonkeyPatch) -> Iterator[Event]:
    """Every file is large, and half of it is read when the reading waits for the event."""
    go, read = Event(), reading.read_curve_and_samples

    def slow(text: bytes, data: Any, motor: Any, progress: Callable[[float], None]) -> Any:
        progress(0.5)
        go.wait(20)
        return read(text, data, motor, progress)

    monkeypatch.setattr(large_files, "FROM_BYTES", 1000)
    monkeypatch.setattr(large_files, "AT_ONCE_S", 0.0)
    monkeypatch.setattr(large_files, "_MB", 1000)
    monkeypatch.setattr(large_files, "_readings", Works("reading of the file", 2))
    monkeypatch.setattr(reading, "read_curve_and_samples", slow)
    yield go
    go.set()


def over(client: TestClient, url: str) -> str:
    """The page once the reading is over."""
    for _ in range(400):
        text = str(client.get(url).text)
        if 'id="under-way"' not in text:
            return text
        time.sleep(0.01)
    raise AssertionError("the reading does not end")


def test_a_large_file_tells_how_far_its_reading_is_and_is_kept_when_it_was_looked_at(
    client: TestClient, held: Event
) -> None:
    address = sent(client, fired(client), burn())
    answer = client.get(address, follow_redirects=False)
    assert answer.status_code == 303
    url = str(answer.headers["location"])
    for _ in range(200):
        text = client.get(url).text
        if "of the file read" in text:
            break
        time.sleep(0.01)
    assert "MB of the file read" in text
    assert f'hx-get="{url}"' in text
    assert "Look again" in text, "without script too"
    held.set()
    page = Page(over(client, url))
    assert "it gives J" in page.texts["main"]
    form = page.forms["form"]
    assert client.post(form.action, data=form.fields, follow_redirects=False).headers["location"].endswith("/curve")
    assert (count(client, Curve), count(client, StandReading)) == (1, 1)


def test_a_save_of_what_was_not_read_so_yet_shows_it_first(client: TestClient, held: Event) -> None:
    held.set()
    address = sent(client, fired(client), burn())
    form = Page(over(client, address)).forms["form"]
    answer = client.post(form.action, data={**form.fields, "end": "2 s"}, follow_redirects=False)
    assert "?reading=" in answer.headers["location"]
    assert count(client, Curve) == 0
    again = Page(over(client, answer.headers["location"])).forms["form"]
    assert again.fields["end"] == "2 s"
    client.post(again.action, data=again.fields, follow_redirects=False)
    assert count(client, Curve) == 1


def test_a_reading_that_is_stopped_keeps_nothing_and_can_be_begun_again(client: TestClient, held: Event) -> None:
    address = sent(client, fired(client), burn())
    url = str(client.get(address, follow_redirects=False).headers["location"])
    assert saved(client, url, form_id="stop") == url
    held.set()
    page = Page(over(client, url))
    assert "The reading was stopped; nothing was kept" in page.texts["main"]
    form = page.forms["form"]
    answer = client.post(form.action, data={**form.fields, "look": "on"}, follow_redirects=True)
    assert "it gives J" in Page(over(client, str(answer.url))).texts["main"]
    assert count(client, Curve) == 0
    assert opened(client, address).forms["form"].fields["force_unit"] == "N"


def test_a_reading_of_a_file_that_is_not_there_is_not_stopped(client: TestClient) -> None:
    """It was told as saved, and led to a page that is not found."""
    answer = client.post("/firings/1/altimeter/1/stop", data={"reading": "a"}, follow_redirects=False)
    assert answer.status_code == 404
