"""Every bad file of a logger, through the page that it is sent by: told with its line, and nothing stored half."""

import asyncio
import tracemalloc
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from fastapi.testclient import TestClient
from sqlmodel import select
from starlette.types import Message

from app.models import Curve, CurveFile, Firing
from app.services.book import stored_files
from app.services.firings import curves
from tests.behind import app_of
from tests.browse import Page, opened, refused
from tests.calc.record.workbooks import Rows, ods, xlsx
from tests.pages.firings.test_curves import burn, fired, post, predicted_and_fired
from tests.pages.motors.test_builds import book, count

Change = Callable[[list[str]], list[str]]


def values(rows: list[str], change: Callable[[float, float], float]) -> list[str]:
    """The file with each force changed; its head stays."""
    parted = [row.split(";") for row in rows[1:]]
    return [rows[0], *(f"{t};{change(float(t), float(f)):.3f}" for t, f in parted)]


REFUSED_AT_ONCE: dict[str, tuple[bytes, str]] = {
    "empty": (b"", "The file is empty"),
    "blank lines": (b"\n \r\n\n", "The file is empty"),
    "zip": (b"PK\x03\x04" + b"x" * 99, "a zip archive"),
    "picture": (b"\xff\xd8\xff\xe0" + b"x" * 99, "a picture"),
    "drawing": (b"\x89PNG\r\n\x1a\n" + b"x" * 99, "a picture"),
    "document": (b"%PDF-1.7\n" + b"1 0 obj\n" * 20, "a PDF"),
    "installer": (b"MZ\x90\0\x03" + b"\0" * 99, "a program"),
    "empty sheet": (xlsx({"Log": []}), "Every sheet of this workbook is empty"),
    "program": (b"\x7fELF\x02\x01\x01\0" + b"x" * 99, "a program"),
    "formulas": (
        xlsx({"Log": [[float(i), float(i)] for i in range(40)]}, values=False),
        "formulas without their values",
    ),
    "password": (ods({"Log": [[1.0, 2.0]]}, locked=True), "has a password"),
    "bytes": (b"0,1\n1,2\n2," + bytes(range(14, 27)) * 9, "Line 3 holds bytes that are not text"),
    "letter": (b"Dear club,\nit went well.\n", "No lines of numbers"),
}

REFUSED_WHEN_READ: dict[str, tuple[Change, str]] = {
    "zeros": (lambda rows: values(rows, lambda _t, _f: 0.0), "Every reading from line 2 to line 2001 is the same"),
    "too few": (lambda rows: rows[:9], "only 8 lines of numbers"),
    "grams taken for newtons": (
        lambda rows: values(rows, lambda _t, f: f * 1000 / 9.80665),
        "class Q. Is it in grams?",
    ),
    "nothing but noise": (
        lambda rows: values(rows, lambda t, _f: float(np.random.default_rng(int(t * 1000)).normal())),
        "ever rises out of its noise",
    ),
}

READ_AND_SAID: dict[str, tuple[Change, str]] = {
    "falling time": (lambda rows: [*rows[:900], rows[800], *rows[900:]], "Out of order and left out: line 901."),
    "repeated time": (lambda rows: [*rows[:900], rows[899], *rows[900:]], "1 line repeats the time"),
    "NaN": (lambda rows: [*rows[:700], "1.398;nan", *rows[701:]], "Inside the burn no sample stands in line 701"),
    "infinite": (lambda rows: [*rows[:700], "1.398;inf", *rows[701:]], "Inside the burn no sample stands in line 701"),
    "text": (lambda rows: [*rows[:700], "stopped;stopped", *rows[700:]], "1 line: line 701 (“stopped;stopped”)"),
    "text, unfolded": (lambda rows: [*rows[:700], "stopped", *rows[700:]], '<td class="wrap">stopped</td>'),
    "a cell missing": (lambda rows: [*rows[:700], "1.398", *rows[701:]], "1 line: line 701 (“1.398”)"),
    "a restart": (
        lambda rows: [*rows[:200], "ready", *rows[1:]],
        "The clock began again in line 202: these are 2 records",
    ),
    "a table below": (
        lambda rows: [*rows, "", "Peak;Impulse", "700;980"],
        "Another table than the record, left out: line 2004",
    ),
}
"""Impulse stays within a sample of the trapezoid's 980 N·s, whatever stands between the samples."""

TOLD: dict[str, tuple[Change, str]] = {
    "samples that do not fit": (
        lambda rows: [*rows[:900], *(row.replace(".", "'") for row in rows[900:960]), *rows[960:]],
        "60 lines that begin with a number were passed over",
    ),
    "a gap": (lambda rows: rows[:700] + rows[760:], "Samples are missing before line 701"),
    "a gap, drawn": (lambda rows: rows[:700] + rows[760:], "Nothing was logged"),
    "a saturated cell": (lambda rows: values(rows, lambda _t, f: min(f, 600.0)), "stood at its end: from line"),
    "the end cut off": (lambda rows: rows[:900], "ends while the motor still burns"),
    "several motors": (
        lambda rows: values(rows, lambda t, f: f + float(np.interp(t, [3.62, 3.65, 3.82, 3.85], [0, 400, 400, 0]))),
        "This record holds 2 burns: 1.0",
    ),
}


@pytest.mark.parametrize("fault", REFUSED_AT_ONCE)
def test_what_is_no_record_is_refused_and_nothing_is_kept(client: TestClient, fault: str) -> None:
    raw, words = REFUSED_AT_ONCE[fault]
    answer = post(client, fired(client), raw, "burn.csv")
    assert answer.status_code == 422
    assert words in Page(answer.text).fault("file")
    assert count(client, CurveFile) == 0
    assert count(client, Curve) == 0


@pytest.mark.parametrize("fault", REFUSED_WHEN_READ)
def test_what_cannot_be_read_says_where_and_keeps_the_file_whole_and_no_curve(client: TestClient, fault: str) -> None:
    change, words = REFUSED_WHEN_READ[fault]
    url = fired(client)
    raw = "\n".join(change(burn().decode().splitlines())).encode()
    reading = str(post(client, url, raw).headers["location"])
    shown = client.get(reading)
    assert shown.status_code == (200 if fault == "grams taken for newtons" else 422), "a question is no fault"
    assert words in shown.text
    form = Page(shown.text).forms["form"]
    kept = client.post(form.action, data=form.fields, follow_redirects=False)
    assert kept.status_code == 422
    assert words in kept.text
    assert count(client, Curve) == 0
    with book(client) as session:
        assert stored_files.read(session, session.exec(select(CurveFile)).one()) == raw
        assert session.exec(select(Firing)).one().measured_impulse_ns is None
    thrown = opened(client, url).forms[f"throw-{reading.rsplit('/', 1)[1]}"]
    assert client.post(thrown.action, data=thrown.fields, follow_redirects=False).status_code == 303
    assert count(client, CurveFile) == 0


@pytest.mark.parametrize("fault", READ_AND_SAID)
def test_what_stands_between_samples_is_passed_over_and_said(client: TestClient, fault: str) -> None:
    change, words = READ_AND_SAID[fault]
    raw = "\n".join(change(burn().decode().splitlines())).encode()
    url = str(post(client, fired(client), raw).headers["location"])
    shown = client.get(url).text
    assert words in shown
    form = Page(shown).forms["form"]
    assert client.post(form.action, data=form.fields, follow_redirects=False).status_code == 303
    with book(client) as session:
        assert session.exec(select(Curve)).one().total_impulse_ns == pytest.approx(980.0, rel=0.003)


def test_a_sheet_of_a_workbook_is_chosen_like_a_column(client: TestClient) -> None:
    rows = [[float(cell) for cell in line.split(";")] for line in burn().decode().splitlines()[1:]]
    table: Rows = [["Time (s)", "Thrust (N)"], *rows]
    half: Rows = [table[0], *([t, 0.5 * f] for t, f in rows)]
    raw = xlsx({"Notes": [["fine day"]], "Log": table, "Half": half})
    url = str(post(client, fired(client), raw, "burn.xlsx").headers["location"])
    form = opened(client, url).forms["form"]
    assert form.choices["sheet"] == {"", "Notes", "Log", "Half"}
    assert form.fields["sheet"] == "Log"
    for sheet in ("Log", "Half"):
        assert client.post(url, data={**form.fields, "sheet": sheet}, follow_redirects=False).status_code == 303
        form = opened(client, url).forms["form"]
        assert form.fields["sheet"] == sheet
    with book(client) as session:
        assert [curve.total_impulse_ns for curve in session.exec(select(Curve))] == pytest.approx([980, 490], rel=0.003)


@pytest.mark.parametrize("fault", TOLD)
def test_what_can_be_read_is_told_with_its_line_before_it_is_kept(client: TestClient, fault: str) -> None:
    change, words = TOLD[fault]
    raw = "\n".join(change(burn().decode().splitlines())).encode()
    reading = str(post(client, fired(client), raw).headers["location"])
    shown = client.get(reading)
    assert shown.status_code == 200
    assert "Look at this first" in shown.text or "Choose below" in shown.text
    assert words in shown.text
    assert count(client, Curve) == 0


def test_another_record_of_a_file_that_was_begun_again_is_chosen(client: TestClient) -> None:
    """The second record holds half the thrust; the first has most in it and is read until the other is chosen."""
    rows = burn().decode().splitlines()
    raw = "\n".join([*rows, "rst cause:2", *values(rows, lambda _t, f: 0.5 * f)[1:]]).encode()
    url = str(post(client, fired(client), raw).headers["location"])
    form = opened(client, url).forms["form"]
    assert form.choices["choose.record"] == {"record=1", "record=2"}
    answer = client.post(url, data={**form.fields, "choose.record": "record=2", "look": "on"})
    form = Page(answer.text).forms["form"]
    assert form.fields["record"] == "2"
    assert client.post(url, data=form.fields, follow_redirects=False).status_code == 303
    with book(client) as session:
        assert session.exec(select(Curve)).one().total_impulse_ns == pytest.approx(490.0, rel=0.003)


def test_a_file_without_times_asks_how_fast_it_was_taken_with_what_each_rate_gives(client: TestClient) -> None:
    """980 N·s at 500 a second; at 1,000 it would be half of that, at 80 it would be 6,125."""
    rows = ["Thrust (N)", *(row.split(";")[1] for row in burn().decode().splitlines()[1:])]
    url = str(post(client, fired(client), "\n".join(rows).encode()).headers["location"])
    page = opened(client, url)
    asked = page.texts["question-rate"]
    assert "1000 samples a second" in asked
    assert "490 N·s in 0.79 s" in asked
    assert "choose.meaning" not in page.forms["form"].choices
    form = page.forms["form"]
    assert "Choose one" in refused(client, url, {}).fault("sample_rate")
    assert client.post(url, data={**form.fields, "sample_rate": "500"}, follow_redirects=False).status_code == 303
    with book(client) as session:
        assert session.exec(select(Curve)).one().total_impulse_ns == pytest.approx(980.0, rel=0.003)


@pytest.mark.parametrize(("begin", "end", "asks"), [("start 1203 ms", "end {} ms", False), ("1203", "{}", True)])
def test_a_line_of_values_between_two_moments_lasts_from_one_to_the_other(
    client: TestClient, begin: str, end: str, asks: bool
) -> None:
    """Where their unit is not said, each is offered as a way with what it gives."""
    values = [row.split(";")[1] for row in burn().decode().splitlines()[1:]]
    last = end.format(1203 + 2 * (len(values) - 1))
    url = str(post(client, fired(client), f"{begin}\n{':'.join(values)}\n{last}\n".encode()).headers["location"])
    form = opened(client, url).forms["form"]
    told = {"force_unit": "N"} | ({"lasted": f"{0.002 * (len(values) - 1):g} s"} if asks else {})
    if asks:
        assert f"{2 * (len(values) - 1)} milliseconds long" in opened(client, url).texts["question-rate"]
    assert client.post(url, data={**form.fields, **told}, follow_redirects=False).status_code == 303
    with book(client) as session:
        assert session.exec(select(Curve)).one().total_impulse_ns == pytest.approx(980.0, rel=0.003)


def test_a_unit_far_from_the_prediction_is_asked_for(client: TestClient) -> None:
    change = values(burn().decode().splitlines(), lambda _t, f: f / 9.80665)
    reading = str(post(client, predicted_and_fired(client), "\n".join(change).encode()).headers["location"])
    assert "Is it in kilograms?" in client.get(reading).text


def test_each_of_several_motors_is_read_by_its_times(client: TestClient) -> None:
    """A second trapezoid of 400 N, 0.2 s wide at half its height: 80 N·s."""
    change, _ = TOLD["several motors"]
    reading = str(
        post(client, fired(client), "\n".join(change(burn().decode().splitlines())).encode()).headers["location"]
    )
    form = opened(client, reading).forms["form"]
    typed = {**form.fields, "start": "3,4 s", "end": "4 s", "sure.impulse.force_unit": "N"}  # it was one of four grains
    assert client.post(reading, data=typed, follow_redirects=False).status_code == 303
    with book(client) as session:
        assert session.exec(select(Curve)).one().total_impulse_ns == pytest.approx(80.0, rel=0.01)


@pytest.mark.parametrize("told", [True, False])
def test_half_a_gigabyte_is_thrown_away_as_it_comes(client: TestClient, told: bool) -> None:
    """500 MB really sent by pieces, with their length told or not; never held, neither in memory nor in the book."""
    url = fired(client)
    piece, left = b"0" * 1_000_000, 500
    answer: list[Message] = []

    async def receive() -> Message:
        nonlocal left
        left -= 1
        return {"type": "http.request", "body": piece, "more_body": left > 0}

    async def send(message: Message) -> None:
        answer.append(message)

    head = [(b"host", b"localhost"), (b"content-type", b"multipart/form-data; boundary=x")]
    head += [(b"cookie", "; ".join(f"{name}={text}" for name, text in client.cookies.items()).encode())]
    head += [(b"content-length", b"500000000")] if told else []
    scope = {
        "type": "http",
        "method": "POST",
        "path": url,
        "raw_path": url.encode(),
        "query_string": b"",
        "headers": head,
        "scheme": "http",
        "server": ("localhost", 80),
        "client": ("127.0.0.1", 5000),
        "http_version": "1.1",
        "root_path": "",
        "state": {},
        "asgi": {"version": "3.0"},
    }
    tracemalloc.start()
    try:
        with ThreadPoolExecutor(1) as aside:  # a browser test leaves a running loop in the main thread
            aside.submit(asyncio.run, app_of(client)(scope, receive, send)).result()
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert left == 0, "a browser shows an answer only to what it could send to its end"
    assert answer[0]["status"] == 413
    shown = b"".join(message.get("body", b"") for message in answer).decode()
    assert f"larger than {curves.STAND.limit // 1024**2} MB" in Page(shown).fault("file")
    assert peak < 30_000_000
    assert count(client, CurveFile) == 0
