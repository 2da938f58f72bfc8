"""A firing's curve, walked without script: sent, looked at, read, set beside the prediction, taken over."""

import hashlib
import re
from collections.abc import Iterator
from dataclasses import replace

import httpx2
import numpy as np
import pytest
from fastapi.testclient import TestClient
from sqlmodel import select

from app.book import filestore
from app.models import Curve, CurveFile, Firing, MotorBuild, OnceToken
from app.services.book import stored_files
from app.services.firings import curves, firing_fits
from tests import build
from tests.browse import Page, opened, refused, saved, send
from tests.pages.motors.test_builds import book, count


def fired(client: TestClient, result: str = "good") -> str:
    """The address of the curve page of a static test of a motor that nothing was predicted of."""
    with book(client) as session:
        motor = build.bare_motor(session, build.ready_grains(session))  # 0.69 kg: 145 s of what `burn` gives
        return f"/firings/{build.bare_firing(session, motor, result).pk}/curve"


def predicted_and_fired(client: TestClient) -> str:
    """The same of a motor with its prediction."""
    with book(client) as session:
        return f"/firings/{build.firing(session).pk}/curve"


def burn(peak: float = 700.0, rate: int = 500, pressure: bool = False) -> bytes:
    """A logger's file of a trapezoid of 1.6 s: for exact checks only."""
    t = np.arange(rate * 4) / rate
    force = np.interp(t, [0, 1, 1.1, 2.3, 2.6, 4], [0, 0, peak, peak, 0, 0])
    # A real cell never says the same twice: a pattern far below anything that is checked.
    force = force + 0.01 * ((np.arange(t.size) * 7) % 11 - 5)
    rows = [f"{a:.4f};{f:.3f}" + (f";{f / 200:.5f}" if pressure else "") for a, f in zip(t, force, strict=True)]
    head = "Time (s);Thrust (N)" + (";Pressure (MPa)" if pressure else "")
    return "\n".join([head, *rows]).encode()


def post(client: TestClient, url: str, raw: bytes, name: str = "burn.csv", once: str = "") -> httpx2.Response:
    form = opened(client, url).forms["form"]
    data = {"once": once or form.fields["once"]}
    return client.post(form.action, data=data, files={"file": (name, raw, "text/csv")}, follow_redirects=False)


def sent(client: TestClient, url: str, raw: bytes) -> str:
    """The address of the reading page of a file that must be taken."""
    answer = post(client, url, raw)
    assert answer.status_code == 303, Page(answer.text).texts.get("main")
    return str(answer.headers["location"])


def test_from_file_to_the_firings_measured_figures(client: TestClient) -> None:
    url = predicted_and_fired(client)
    assert "Read its thrust curve" in client.get(url.removesuffix("/curve")).text
    raw = burn(pressure=True)
    reading = sent(client, url, raw)
    page = opened(client, reading)
    guessed = {"delimiter": "semicolon", "time_column": "1", "force_column": "2", "pressure_column": "3"}
    assert {k: page.forms["form"].fields[k] for k in guessed} == guessed
    text = client.get(reading).text
    for words in ("Read this way, it gives J", "column 2: Thrust (N)", "Time (s)", "The record", "0.0020"):
        assert words in text, words
    assert "not read yet" in client.get(url.removesuffix("/curve")).text
    assert count(client, Curve) == 0
    assert saved(client, reading) == url
    shown = client.get(url).text
    # 700 N × (1.2 + 0.4 / 2) s, less what came before 5 % of the peak
    for words in (
        "Read and kept",
        "980",
        "1.58",
        "above 10 % of the peak",
        "Thrust coefficient",
        "c*",
        "Nine in ten",
        hashlib.sha256(raw).hexdigest()[:32],
    ):
        assert words in shown, words
    assert saved(client, url, form_id="take-over") == url.removesuffix("/curve")
    with book(client) as session:
        firing = session.exec(select(Firing)).one()
        curve = session.exec(select(Curve)).one()
        assert firing.measured_impulse_ns == pytest.approx(curve.total_impulse_ns, rel=1e-4)
        assert firing.measured_burn_time_s == pytest.approx(1.58, abs=1e-3)
        assert firing.measured_peak_pressure_pa == pytest.approx(3.6e6, rel=1e-3)
        assert firing.measured_impulse_typed == "979.91 N·s"
        assert stored_files.read(session, session.exec(select(CurveFile)).one()) == raw
    firing_page = client.get(url.removesuffix("/curve")).text
    assert "Burned as J" in firing_page
    assert "as the measured figures" not in firing_page
    assert client.get(f"{reading}/file").content == raw
    edit = url.replace("/curve", "/edit")
    assert saved(client, edit, {"words": "As planned."}) == url.removesuffix("/curve")
    with book(client) as session:
        assert session.exec(select(Firing)).one().measured_impulse_typed == "979.91 N·s"


def test_looking_again_keeps_nothing_and_shows_what_was_typed(client: TestClient) -> None:
    reading = sent(client, predicted_and_fired(client), burn())
    answer = send(client, reading, {"look": "on", "force_unit": "kgf", "end": "2,2 s"})
    assert answer.status_code == 200
    page = Page(answer.text)
    assert page.forms["form"].fields["force_unit"] == "kgf"
    assert page.forms["form"].fields["end"] == "2,2 s"
    assert "Is it in newtons?" in answer.text
    assert count(client, Curve) == 0
    answer = send(client, reading, {"look": "on", "force_column": ""})
    assert answer.status_code == 200, "it is asked"
    assert "What are the numbers?" in answer.text
    assert "Choose one" in refused(client, reading, {"force_column": ""}).fault("force_column")


def test_reading_it_otherwise_keeps_both_and_opens_as_it_was_read(client: TestClient) -> None:
    url = fired(client)
    reading = sent(client, url, burn())
    saved(client, reading)
    saved(client, reading, {"end": "2 s"})
    assert opened(client, reading).forms["form"].fields["end"] == "2 s"
    text = client.get(url).text
    assert "Read before (1)" in text
    assert count(client, Curve) == 2


def test_raw_counts_are_read_by_known_masses(client: TestClient) -> None:
    t = np.arange(800) / 200
    counts = np.round(np.interp(t, [0, 1, 1.1, 2.3, 2.6, 4], [8000, 8000, 708_000, 708_000, 8000, 8000]))
    counts = counts.astype(int) + np.arange(800) % 3
    raw = "\n".join(f"{1000 * a:.0f}\t{c}" for a, c in zip(t, counts, strict=True)).encode()
    reading = sent(client, fired(client), raw)
    page = opened(client, reading)  # what the file does not say is asked
    assert [page.forms["form"].fields[name] for name in ("force_unit", "time_unit")] == ["", ""]
    asked = page.texts["question-meaning"]
    assert "Counts of the converter, times in milliseconds" in asked
    assert "A burn of 1.58 s" in asked
    form = page.forms["form"]
    assert "Choose one" in refused(client, reading, {}).fault("force_unit")
    masses = {"force_unit": "counts", "time_unit": "ms"}
    answer = client.post(form.action, data={**form.fields, **masses}, follow_redirects=False)
    assert "two known masses" in Page(answer.text).texts["form-points-error"]
    assert "Not saved." in answer.text
    looked = client.post(form.action, data={**form.fields, **masses, "look": "on"}).text
    assert "Not possible so." in looked
    assert "Not saved." not in looked
    assert answer.text.index("Read it by these masses") < answer.text.index("How it is read"), "where it is asked for"
    for i, (mass, reading_then) in enumerate((("0 g", "8000"), ("20 kg", "208000"), ("10 kg", "108010"))):
        masses |= {f"points.{i}.mass": mass, f"points.{i}.reading": reading_then}
    answer = client.post(form.action, data={**form.fields, **masses}, follow_redirects=False)
    assert answer.status_code == 303, answer.text
    with book(client) as session:
        curve = session.exec(select(Curve)).one()
        # 700,000 counts at 20 kg × 9.80665 m/s² for 200,000 counts
        assert curve.peak_thrust_n == pytest.approx(70 * 9.80665, rel=1e-4)
    text = client.get(answer.headers["location"]).text
    assert "Calibration: 0.000980" in text
    assert "Calibration by 3 masses" in text


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (b"", "is empty"),
        (b"PK\x03\x04" + b"x" * 50, "zip archive"),
        (b"\x89PNG\r\n\x1a\n" + b"x" * 50, "a picture"),
        (b"Dear club,\nit went well.\n", "No lines of numbers"),
        (b"\x00\x01\x02" * 50, "not text"),
    ],
)
def test_what_is_no_logger_s_file_is_refused_beside_the_field_and_not_kept(
    client: TestClient, raw: bytes, words: str
) -> None:
    url = fired(client)
    with book(client) as session:
        tokens = len(session.exec(select(OnceToken)).all())
    answer = post(client, url, raw)
    assert answer.status_code == 422
    assert words in Page(answer.text).fault("file")
    assert count(client, CurveFile) == 0
    with book(client) as session:
        assert len(session.exec(select(OnceToken)).all()) == tokens


def test_no_file_at_all(client: TestClient) -> None:
    url = fired(client)
    form = opened(client, url).forms["form"]
    for files in ({"file": ("", b"")}, {"other": ("a.csv", b"1")}):
        answer = client.post(form.action, data={"once": "x"}, files=files, follow_redirects=False)
        assert answer.status_code == 422
        assert Page(answer.text).fault("file") in ("Fill this in.", "Choose the file that the logger wrote.")
    assert count(client, CurveFile) == 0


def test_a_file_over_the_limit_is_answered_and_not_kept(client: TestClient) -> None:
    url = fired(client)
    form = opened(client, url).forms["form"]

    def endless() -> Iterator[bytes]:
        for _ in range(20):
            yield b"0" * 1000

    answer = client.post(
        form.action,
        content=endless(),
        headers={"content-length": str(500 * 1024**2), "content-type": "multipart/form-data; boundary=x"},
    )
    assert answer.status_code == 413
    assert "larger than 256 MB" in Page(answer.text).fault("file")
    with book(client) as session, pytest.raises(Exception, match="larger than"):
        replace(curves.STAND, limit=100).take_in(session, session.exec(select(Firing)).one(), "x.csv", b"0" * 101)
    assert count(client, CurveFile) == 0


def test_grams_taken_for_newtons_are_told(client: TestClient) -> None:
    reading = sent(client, predicted_and_fired(client), burn(peak=700 * 1000 / 9.80665))
    text = client.get(reading).text
    assert re.search(r"class Q\. Is it in grams\?", Page(text).fault("force_unit"))
    saved_at = client.post(
        reading, data={**Page(text).forms["form"].fields, "force_unit": "gf"}, follow_redirects=False
    )
    assert saved_at.status_code == 303


def test_a_double_click_sends_one_file_and_the_same_file_again_is_the_same(client: TestClient) -> None:
    url = fired(client)
    once = opened(client, url).forms["form"].fields["once"]
    first, second = (post(client, url, burn(), once=once) for _ in range(2))
    again = post(client, url, burn(), name="../../etc/passwd")
    assert first.headers["location"] == second.headers["location"] == again.headers["location"]
    assert count(client, CurveFile) == 1


def test_a_name_is_only_words(client: TestClient) -> None:
    url = fired(client)
    answer = post(client, url, burn(), name='../<b>"x".csv')
    assert "<b>" not in client.get(answer.headers["location"]).text.split("<main")[1]
    got = client.get(f"{answer.headers['location']}/file")
    assert got.headers["content-disposition"].startswith("attachment; filename*=UTF-8''")
    assert "/" not in got.headers["content-disposition"].partition("''")[2]


def test_a_file_not_read_is_thrown_away_and_one_that_was_stays(client: TestClient) -> None:
    url = fired(client)
    reading = sent(client, url, burn())
    number = reading.rsplit("/", 1)[1]
    assert saved(client, url, form_id=f"throw-{number}") == url
    assert count(client, CurveFile) == 0
    reading = sent(client, url, burn())
    saved(client, reading)
    answer = client.post(f"{reading}/throw-away", data={"once": "another"}, follow_redirects=False)
    assert answer.status_code == 422
    assert count(client, CurveFile) == 1


def test_a_motor_that_did_not_light_has_no_curve(client: TestClient) -> None:
    url = fired(client, result="no_light")
    assert "did not light" in client.get(url).text
    answer = client.post(url, data={"once": "x"}, files={"file": ("a.csv", burn())}, follow_redirects=False)
    assert answer.status_code == 422
    assert count(client, CurveFile) == 0


def test_addresses_that_are_not(client: TestClient) -> None:
    url = fired(client)
    for address in ("/firings/99/curve", f"{url}/99", f"{url}/99/file", f"{url}/x"):
        assert client.get(address).status_code in (404, 422), address
    with book(client) as session:
        assert session.exec(select(MotorBuild)).one()
    assert refused(client, sent(client, url, burn()), {"first_line": "0"}).fault("first_line")


@pytest.mark.parametrize("how", ["missing", "altered"])
def test_a_curve_whose_file_is_lost_keeps_its_figures_and_says_so(client: TestClient, how: str) -> None:
    url = fired(client)
    reading = sent(client, url, burn(pressure=True))
    assert saved(client, reading) == url
    with book(client) as session:
        row = session.exec(select(CurveFile)).one()
        file = filestore.place(stored_files.folder(session), row.sha256)
        file.chmod(0o600)
        if how == "missing":
            file.unlink()
        else:
            file.write_bytes(bytes(row.size_bytes))
    words = {"missing": "The file burn.csv is missing", "altered": "The file burn.csv was altered"}[how]
    page = client.get(url)
    assert page.status_code == 200
    assert words in page.text
    assert "Total impulse" in page.text
    assert "The file as it came" not in page.text
    assert "Burned as J" in client.get(url.removesuffix("/curve")).text
    for lost in (reading, f"{reading}/file"):
        answer = client.get(lost)
        assert answer.status_code == 404
        assert words in answer.text
        assert "grainbook check" in answer.text
    with book(client) as session:
        firing = session.exec(select(Firing)).one()
        fit = firing_fits.renew(session, firing)
        assert fit is not None
        assert "its figures count" in fit.fit_json
    resent = sent(client, url, burn(pressure=True))
    assert resent == reading
    assert client.get(reading).status_code == 200, "the same file sent again is put back"


def test_what_could_mean_two_things_is_asked_before_it_is_saved(client: TestClient) -> None:
    url = fired(client)
    rows = burn().decode().splitlines()
    for i, row in enumerate(rows[1:], 1):
        time, force = row.split(";")
        rows[i] = f"{time};{float(force) + (60 if float(time) >= 1.002 else 0) + (900 if i == 800 else 0):.3f}"
    reading = sent(client, url, "\n".join(rows).encode())
    shown = client.get(reading)
    assert shown.status_code == 200
    page = Page(shown.text)
    for words in (
        "60.0 N higher after the burn",
        "How the zero may have gone",
        "One stray sample in the burn: 1.598 s",
        "to",
    ):
        assert words in shown.text, words
    assert 'name="leave_out"' in shown.text
    assert {"zero_way=line", "zero_way=lit"} <= page.forms["form"].choices["choose.zero_way"]
    refused_ = client.post(page.forms["form"].action, data=page.forms["form"].fields, follow_redirects=False)
    assert refused_.status_code == 422
    assert "Choose how it went" in Page(refused_.text).fault("zero_way")
    assert count(client, Curve) == 0
    assert saved(client, reading, {"zero_way": "lit", "leave_out": "on"}) == url
    with book(client) as session:
        curve = session.exec(select(Curve)).one()
        assert curve.total_impulse_ns == pytest.approx(980, rel=2e-3)
        assert curve.peak_thrust_n == pytest.approx(700, rel=2e-3)
    text = client.get(url).text
    assert "nine in ten" in text
    assert "By that the class is" not in text
    assert opened(client, reading).forms["form"].fields["zero_way"] == "lit"
