"""A flight's altimeter, walked without script: sent, looked at, read, its apogee beside the prediction."""

import re
from collections.abc import Callable

import httpx2
import numpy as np
import pytest
from fastapi.testclient import TestClient
from sqlmodel import select

from app.calc.base.atmosphere import atmosphere
from app.models import AltimeterFile, AltimeterTrack, Firing
from app.services.book import stored_files
from tests import build
from tests.browse import Page, opened, refused, saved, send
from tests.calc.record.test_track import APOGEE, AT, LANDING, flown
from tests.pages.firings.test_firings import fired
from tests.pages.motors.test_builds import book, count

FLIGHT = {"kind": "flight", "rocket_id": "1", "launch_field_id": "1"}


def flight(client: TestClient, **typed: str) -> str:
    """The address of the altimeter of a flight written down."""
    return fired(client, **FLIGHT, **typed) + "/altimeter"


def bare(client: TestClient) -> str:
    """The same of a bare motor that nothing was predicted of."""
    with book(client) as session:
        built = build.bare_motor(session, build.ready_grains(session, 1))
        firing = build.bare_firing(session, built)
        firing.kind = "flight"
        return f"/firings/{firing.pk}/altimeter"


def text(unit: str = "m", delimiter: str = ";", head: bool = True, spike: bool = False) -> bytes:
    """The flight in closed form as a logger with decimal commas writes it."""
    t, h = flown()
    if spike:
        h[np.abs(t - t[h.argmax()] - 0.4) < 0.12] -= 60.0
    if unit == "hPa":
        values = [atmosphere(12.0 + float(x)).pressure / 100 for x in h]
    else:
        values = list(h / {"m": 1.0, "ft": 0.3048}[unit] + 412.5)
    rows = [f"{1000 * a:.0f}{delimiter}{v:.3f}".replace(".", ",") for a, v in zip(t, values, strict=True)]
    title = "Pressure (hPa)" if unit == "hPa" else f"Altitude ({unit})"
    return "\n".join([f"Time (ms){delimiter}{title}"] * head + rows).encode()


def post(client: TestClient, url: str, raw: bytes, name: str = "flight.csv") -> httpx2.Response:
    form = opened(client, url).forms["form"]
    files = {"file": (name, raw, "text/csv")}
    return client.post(form.action, data={"once": form.fields["once"]}, files=files, follow_redirects=False)


def sent(client: TestClient, url: str, raw: bytes) -> str:
    """The address of the reading page of a file that must be taken."""
    answer = post(client, url, raw)
    assert answer.status_code == 303, Page(answer.text).texts.get("main")
    return str(answer.headers["location"])


def test_from_file_to_the_flights_altitude(client: TestClient) -> None:
    url = flight(client)
    assert "Did an altimeter fly?" in client.get(url.removesuffix("/altimeter")).text
    raw = text(spike=True)
    reading = sent(client, url, raw)
    fields = opened(client, reading).forms["form"].fields
    guessed = {
        "delimiter": "semicolon",
        "decimal": ",",
        "first_line": "2",
        "time_column": "1",
        "time_unit": "ms",
        "height_column": "2",
        "height_unit": "m",
    }
    assert {k: fields[k] for k in guessed} == guessed
    assert f"Read this way, it gives {APOGEE:.0f} m" in client.get(reading).text
    assert count(client, AltimeterTrack) == 0
    assert saved(client, reading) == url
    shown = client.get(url).text
    for words in (
        "the flight had no altitude",
        f"{APOGEE:.1f} m",
        f"{AT:.1f} s",
        "22.0 m/s",
        "6.0 m/s",
        f"{LANDING:.1f} s",
        "(drogue)",
        "(main)",
        "Spikes, left out:",
        "Height of the flight",
        "Of predicted",
        "this apogee",
    ):
        assert words in shown, words
    with book(client) as session:
        firing = session.exec(select(Firing)).one()
        assert firing.altitude_m == pytest.approx(APOGEE, abs=0.06)
        assert firing.altitude_typed == f"{APOGEE:.1f} m"
        track = session.exec(select(AltimeterTrack)).one()
        assert track.first_descent_m_s == pytest.approx(22.0, abs=0.01)
        assert stored_files.read(session, session.exec(select(AltimeterFile)).one()) == raw
    page = client.get(url.removesuffix("/altimeter")).text
    assert "The altimeter" in page
    assert "Height of the flight" in page
    assert client.get(f"{reading}/file").content == raw


def test_an_altitude_written_down_stays_until_it_is_replaced(client: TestClient) -> None:
    url = flight(client, altitude="500 m")
    saved(client, sent(client, url, text()))
    with book(client) as session:
        assert session.exec(select(Firing)).one().altitude_m == 500
    assert "the apogee would replace it" in client.get(url).text
    assert saved(client, url, form_id="use-apogee") == url
    with book(client) as session:
        assert session.exec(select(Firing)).one().altitude_m == pytest.approx(APOGEE, abs=0.06)


@pytest.mark.parametrize("unit", ["ft", "hPa"])
def test_feet_and_air_pressure_give_the_same_flight(client: TestClient, unit: str) -> None:
    url = bare(client)
    reading = sent(client, url, text(unit))
    assert opened(client, reading).forms["form"].fields["height_unit"] == unit
    saved(client, reading)
    with book(client) as session:
        assert session.exec(select(AltimeterTrack)).one().apogee_m == pytest.approx(APOGEE, abs=0.3)
    assert ("U.S. Standard Atmosphere 1976" in client.get(url).text) == (unit == "hPa")


def test_looking_again_keeps_nothing_and_a_told_pad_is_taken(client: TestClient) -> None:
    url = bare(client)
    reading = sent(client, url, text(head=False))
    answer = send(client, reading, {"look": "on", "pad": "412,5 m"})
    assert answer.status_code == 200
    page = Page(answer.text)
    assert page.forms["form"].fields["pad"] == "412,5 m"
    assert count(client, AltimeterTrack) == 0
    assert send(client, reading, {"look": "on", "height_column": "1"}).status_code == 422
    saved(client, reading, {"pad": "410 m"})
    with book(client) as session:
        assert session.exec(select(AltimeterTrack)).one().apogee_m == pytest.approx(APOGEE + 2.5, abs=0.01)
    assert opened(client, reading).forms["form"].fields["pad"] == "410 m"
    saved(client, reading, {"pad": ""})
    assert "Read before (1)" in client.get(url).text


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (b"", "is empty"),
        (b"PK\x03\x04" + b"x" * 50, "zip archive"),
        (b"\x89PNG\r\n\x1a\n" + b"x" * 50, "a picture"),
        (b"A fine flight.\nFound it.\n", "No lines of numbers"),
    ],
)
def test_what_is_no_file_of_numbers_is_refused_and_not_kept(client: TestClient, raw: bytes, words: str) -> None:
    answer = post(client, bare(client), raw)
    assert answer.status_code == 422
    assert words in Page(answer.text).fault("file")
    assert count(client, AltimeterFile) == 0


@pytest.mark.parametrize(
    ("change", "name", "words"),
    [
        (lambda rows: [r.split(";")[0] + ";0" for r in rows], "height_column", "from line 2 to line"),
        (lambda rows: rows[:70], "height_column", "ever rises"),
        (lambda rows: rows[:9], "file", "only 8 lines"),
        (lambda rows: [r.replace(",", "0,") for r in rows], "height_unit", ""),
    ],
)
def test_a_bad_file_says_where_and_keeps_no_result(
    client: TestClient, change: Callable[[list[str]], list[str]], name: str, words: str
) -> None:
    url = bare(client)
    reading = sent(client, url, "\n".join(change(text().decode().splitlines())).encode())
    form = opened_or_refused(client, reading).forms["form"]
    typed = {**form.fields, "height_unit": "Pa"} if name == "height_unit" else form.fields
    answer = client.post(form.action, data=typed, follow_redirects=False)
    assert answer.status_code == 422
    page = Page(answer.text)
    assert words in (page.fault(name) if name and name != "file" else answer.text)
    assert count(client, AltimeterTrack) == 0
    with book(client) as session:
        assert session.exec(select(Firing)).one().altitude_m is None


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda rows: [*rows[:300], rows[200], *rows[300:]], "Out of order and left out: line 301."),
        (lambda rows: [*rows[:300], rows[299], *rows[300:]], "1 line repeats the time"),
        (lambda rows: [*rows[:300], "main out", *rows[300:]], "line 301 (“main out”)"),
        (lambda rows: [*rows[:300], rows[300].split(";")[0] + ";nan", *rows[301:]], "line 301 (“"),
    ],
)
def test_what_stands_between_readings_is_passed_over_and_said(
    client: TestClient, change: Callable[[list[str]], list[str]], words: str
) -> None:
    url = bare(client)
    whole = sent(client, url, text())
    reading = sent(client, url, "\n".join(change(text().decode().splitlines())).encode())
    assert words in client.get(reading).text
    for one in (whole, reading):
        form = opened(client, one).forms["form"]
        assert client.post(form.action, data=form.fields, follow_redirects=False).status_code == 303
    with book(client) as session:
        clean, dressed = session.exec(select(AltimeterTrack)).all()
        assert dressed.apogee_m == pytest.approx(clean.apogee_m, abs=0.1)


def opened_or_refused(client: TestClient, url: str) -> Page:
    answer = client.get(url)
    assert answer.status_code in (200, 422)
    return Page(answer.text)


def test_gaps_and_a_record_that_ends_in_the_air_are_told_with_their_line(client: TestClient) -> None:
    lines = text().decode().splitlines()
    reading = sent(client, bare(client), "\n".join([*lines[:200], *lines[260:500]]).encode())
    shown = client.get(reading).text
    assert "missing before line 201 (3.05 s)" in shown
    assert "ends in the air" in shown


def test_only_a_flight_has_an_altimeter(client: TestClient) -> None:
    url = fired(client) + "/altimeter"
    assert "was no flight" in client.get(url).text
    answer = client.post(url, data={"once": "x"}, files={"file": ("a.csv", text())}, follow_redirects=False)
    assert answer.status_code == 422
    assert "altimeter" not in client.get(url.removesuffix("/altimeter")).text.split("<main")[1].casefold()
    assert count(client, AltimeterFile) == 0


def test_what_has_a_track_did_fly(client: TestClient) -> None:
    url = flight(client)
    saved(client, sent(client, url, text()))
    edit = url.replace("/altimeter", "/edit")
    why = {"why": "A slip.", "altitude": ""}
    assert "so it flew" in refused(client, edit, {**why, "kind": "static", "rocket_id": ""}).fault("kind")
    assert "so it flew" in refused(client, edit, {**why, "result": "no_light"}).fault("result")


def test_a_file_not_read_is_thrown_away_and_one_that_was_stays(client: TestClient) -> None:
    url = bare(client)
    reading = sent(client, url, text())
    assert "not read yet" in client.get(url.removesuffix("/altimeter")).text
    number = reading.rsplit("/", 1)[1]
    assert saved(client, url, form_id=f"throw-{number}") == url
    assert count(client, AltimeterFile) == 0
    reading = sent(client, url, text())
    saved(client, reading)
    assert client.post(f"{reading}/throw-away", data={"once": "y"}, follow_redirects=False).status_code == 422
    assert count(client, AltimeterFile) == 1


def test_too_large_a_file_is_answered(client: TestClient) -> None:
    url = bare(client)
    head = {"content-length": str(500 * 1024**2), "content-type": "multipart/form-data; boundary=x"}
    answer = client.post(url, content=iter([b"0" * 1000]), headers=head)
    assert answer.status_code == 413
    assert "larger than 32 MB" in Page(answer.text).fault("file")


def test_addresses_that_are_not(client: TestClient) -> None:
    url = bare(client)
    for address in ("/firings/99/altimeter", f"{url}/99", f"{url}/99/file", f"{url}/x"):
        assert client.get(address).status_code == 404, address
    assert refused(client, sent(client, url, text()), {"first_line": "0"}).fault("first_line")
    assert re.search("column 2: Altitude", client.get(f"{url}/1").text)
