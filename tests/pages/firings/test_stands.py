"""A stand's reading: chosen once, proposed for its next file of that shape, never taken for a file of another."""

import json

import pytest
from fastapi.testclient import TestClient
from sqlmodel import select

from app.models import Curve, CurveFile, StandReading
from app.services.book import stored_files
from tests import build
from tests.browse import Page, opened, saved
from tests.calc.record.workbooks import Rows, xlsx
from tests.pages.firings.test_curves import burn, fired, post, sent
from tests.pages.motors.test_builds import book, count


def another(client: TestClient) -> str:
    """The curve page of another motor's firing."""
    with book(client) as session:
        motor = build.bare_motor(session, build.ready_grains(session))
        return f"/firings/{build.bare_firing(session, motor).pk}/curve"


def bare(peak: float = 700.0) -> bytes:
    """The file without what heads its columns."""
    return b"\n".join(burn(peak).splitlines()[1:])


def test_what_was_chosen_for_a_stand_is_proposed_for_its_next_file_with_one_press(client: TestClient) -> None:
    """Kilograms, told once: 70 × 9.80665 N. The second file opens with them, says so, and one press keeps it."""
    first = sent(client, fired(client), bare(70.0))
    saved(
        client, first, {"force_unit": "kgf", "time_unit": "s", "of_stand": "Shed", "stand": "presses", "start": "0.2 s"}
    )
    assert count(client, StandReading) == 1
    second = sent(client, another(client), bare(35.0))
    page = opened(client, second)
    shown = client.get(second).text
    assert "Read as on 25 Nov" in shown
    assert "stand “Shed”" in shown
    fields = page.forms["form"].fields
    assert {name: fields[name] for name in ("force_unit", "stand", "of_stand", "start")} == {
        "force_unit": "kgf",
        "stand": "presses",
        "of_stand": "Shed",
        "start": "",
    }
    assert count(client, Curve) == 1, "it is shown, not kept"
    saved(client, second)
    with book(client) as session:
        a, b = session.exec(select(Curve)).all()
        assert b.peak_thrust_n == pytest.approx(35 * 9.80665, rel=0.01)
        assert a.peak_thrust_n == pytest.approx(70 * 9.80665, rel=0.01)
    assert count(client, StandReading) == 1, "nothing new was chosen"
    as_guessed = opened(client, f"{second}?as=0").forms["form"].fields
    assert as_guessed["stand"] != "presses", "it can be read another way"


def test_a_file_of_another_shape_says_what_differs_and_is_not_read_so(client: TestClient) -> None:
    saved(client, sent(client, fired(client), burn()), {"of_stand": "Shed", "stand": "lifts"})
    raw = burn().replace(b"Thrust (N)", b"Thrust (kgf)")
    reading = sent(client, another(client), raw)
    text = client.get(reading).text
    assert "column 2 is headed “Thrust (kgf)”, not “Thrust (N)”" in text
    fields = opened(client, reading).forms["form"].fields
    assert (fields["force_unit"], fields["stand"]) == ("kgf", "level")
    with_pressure = sent(client, another(client), burn(pressure=True))
    assert "it has 3 columns, not 2" in client.get(with_pressure).text
    saved(client, with_pressure, {"of_stand": ""})
    assert count(client, StandReading) == 1, "a stand without a name is not remembered"


def test_two_stands_of_one_shape_are_both_offered_and_the_newest_choice_of_each(client: TestClient) -> None:
    for name, unit, peak in (("Shed", "kgf", 60.0), ("Field", "gf", 6e4), ("shed", "lbf", 140.0)):
        told = {"force_unit": unit, "time_unit": "s", "of_stand": name}
        saved(client, sent(client, another(client), bare(peak)), told)
    reading = sent(client, another(client), bare(1234.0))
    assert opened(client, reading).forms["form"].fields["force_unit"] == "lbf"
    text = client.get(reading).text
    with book(client) as session:
        rows = session.exec(select(StandReading)).all()
        assert [(row.stand, row.texts["force_unit"]) for row in rows] == [
            ("Shed", "kgf"),
            ("Field", "gf"),
            ("shed", "lbf"),
        ]
        field = next(row.pk for row in rows if row.stand == "Field")
    assert "reading remembered" in client.get("/find?q=Field").text
    assert f"?as={field}" in text
    assert opened(client, f"{reading}?as={field}").forms["form"].fields["force_unit"] == "gf"


def test_the_original_its_hash_and_every_reading_of_it_stay(client: TestClient) -> None:
    url = fired(client)
    raw = burn()
    reading = sent(client, url, raw)
    for unit in ("N", "kgf", "N"):
        saved(client, reading, {"force_unit": unit, "sure.impulse.force_unit": unit})
    with book(client) as session:
        curves = session.exec(select(Curve)).all()
        assert [json.loads(curve.reading_json)["force_unit"] for curve in curves] == ["N", "kgf", "N"]
        assert {curve.curve_file_id for curve in curves} == {session.exec(select(CurveFile)).one().pk}
        assert stored_files.read(session, session.exec(select(CurveFile)).one()) == raw
    text = client.get(url).text
    assert "Read before (2)" in text
    assert "Read it another way" in text
    assert "column 1 in s, force: column 2 in kgf" in text, "what was chosen before"


def test_another_sheet_of_other_columns_is_guessed_again_before_it_is_kept(client: TestClient) -> None:
    rows = [[float(cell) for cell in line.split(";")] for line in burn().decode().splitlines()[1:]]
    log: Rows = [["Time (s)", "Thrust (N)"], *rows]
    swapped: Rows = [
        ["Load (kg)", "n", "Time (ms)"],
        *([f / 10, float(i), 1e3 * t] for i, (t, f) in enumerate(rows[:-5])),
    ]
    url = str(post(client, fired(client), xlsx({"Log": log, "Raw": swapped}), "a.xlsx").headers["location"])
    form = opened(client, url).forms["form"]
    assert (form.fields["sheet"], form.fields["force_column"]) == ("Log", "2")
    answer = client.post(url, data={**form.fields, "sheet": "Raw"}, follow_redirects=False)
    assert answer.status_code == 200
    assert "The sheet “Raw” has other columns" in answer.text
    fields = Page(answer.text).forms["form"].fields
    assert (fields["force_column"], fields["time_column"], fields["force_unit"]) == ("1", "3", "kgf")
    assert count(client, Curve) == 0
    assert client.post(url, data=fields, follow_redirects=False).status_code == 303
