"""Numbers typed into forms as people write them: what can mean two things, or can hardly be, is asked, not stored."""

from collections.abc import Iterator
from datetime import date
from typing import get_args

import pytest
from fastapi.testclient import TestClient
from pydantic import BaseModel
from sqlmodel import select

import app.main  # noqa: F401 - brings every form of the program
from app.db import reading
from app.forms import from_texts
from app.models import LaunchField, Rocket, Supply, Workshop
from app.models.altimeter import TrackIn
from app.models.base import FormIn, as_form, measure_of
from app.models.batch import AirIn, PlanIn
from app.models.firing import FiringIn
from app.models.flight import FlightIn
from app.models.formula import FormulaIn
from app.models.hardware import CaseIn, NozzleIn
from app.models.motor import BuildIn
from app.models.place import LaunchFieldIn as FieldIn
from app.models.supply import SupplyIn
from app.models.workshop import WorkshopIn
from app.units import METRIC
from tests.behind import engine_of
from tests.browse import Page, refused, saved, send
from tests.pages.test_bad_input import chosen

ROCKET = "/workshop/rockets/new"
FIELD = "/workshop/fields/new"
GULL = {"name": "Gull", "mass": "7 kg", "diameter": "102 mm"}


def _rockets(client: TestClient) -> list[Rocket]:
    with reading(engine_of(client)) as session:
        return list(session.exec(select(Rocket)))


def _fields(client: TestClient) -> list[LaunchField]:
    with reading(engine_of(client)) as session:
        return list(session.exec(select(LaunchField)))


def _workshop(client: TestClient) -> Workshop:
    with reading(engine_of(client)) as session:
        found = session.get(Workshop, 1)
    assert found is not None
    return found


def test_a_height_with_a_comma_is_refused_with_both_readings(client: TestClient) -> None:
    """It was stored as 2.5 ft."""
    page = refused(client, FIELD, {"name": "Pasture", "elevation": "2,500 ft"})
    assert page.fault("elevation") == "“2,500 ft” can mean 2.5 ft or 2500 ft. Choose one."
    assert _fields(client) == []
    form = page.forms["form"]
    assert list(form.answers) == ["2.5 ft", "2500 ft"]
    answer = client.post(form.action, data=form.answered("2500 ft"), follow_redirects=False)
    assert answer.status_code == 303
    assert [f.elevation_m for f in _fields(client)] == [pytest.approx(762.0)]  # 2500 ft of 0.3048 m, exact


def test_a_chosen_reading_stands_in_the_field_if_something_else_is_wrong(client: TestClient) -> None:
    page = refused(client, FIELD, {"name": "", "elevation": "2,500 ft", "ceiling": "1,200"})
    form = page.forms["form"]
    assert list(form.answers) == ["2.5 ft", "2500 ft", "1.2 m", "1200 m"]
    page = Page(client.post(form.action, data=form.answered("2500 ft")).text)
    form = page.forms["form"]
    assert form.fields["elevation"] == "2500 ft"
    assert list(form.answers) == ["1.2 m", "1200 m"]
    assert "Fill this in" in page.fault("name")
    sent = {**form.answered("1200 m"), "name": "Pasture"}
    assert client.post(form.action, data=sent, follow_redirects=False).status_code == 303
    assert [f.ceiling_m for f in _fields(client)] == [1200.0]


def test_a_bare_number_of_a_rocket_is_asked_about(client: TestClient) -> None:
    """12 was stored as 12 g."""
    page = refused(client, ROCKET, {**GULL, "mass": "12"})
    assert page.fault("mass") == "“12 g” is unusual here; from 100 g to 60 kg is usual. Which did you mean?"
    assert _rockets(client) == []
    form = page.forms["form"]
    assert list(form.answers) == ["12 kg", "12 lb", "12 oz", "12 g, as typed"]
    assert client.post(form.action, data=form.answered("12 kg"), follow_redirects=False).status_code == 303
    assert [r.mass_kg for r in _rockets(client)] == [12.0]


def test_what_is_meant_as_typed_is_kept_and_not_asked_again(client: TestClient) -> None:
    page = refused(client, ROCKET, {**GULL, "name": "", "mass": "12 g"})
    form = page.forms["form"]
    answer = client.post(form.action, data=form.answered("12 g, as typed"))
    again = Page(answer.text)
    assert again.fault("mass") == ""
    assert "Fill this in" in again.fault("name")
    form = again.forms["form"]
    assert client.post(form.action, data={**form.fields, "name": "Gnat"}, follow_redirects=False).status_code == 303
    (row,) = _rockets(client)
    assert row.mass_kg == 0.012
    url = f"/workshop/rockets/{row.pk}"
    saved(client, url, {"note": "A quarter of a gull."})  # an edit of another field asks nothing
    asked = refused(client, url, {"mass": "13 g"})  # another number is another question
    assert "unusual" in asked.fault("mass")


def test_an_answer_holds_for_its_text_alone(client: TestClient) -> None:
    form = refused(client, ROCKET, {**GULL, "mass": "12 g"}).forms["form"]
    sent = {**form.answered("12 g, as typed"), "name": ""}
    form = Page(client.post(form.action, data=sent).text).forms["form"]
    page = Page(client.post(form.action, data={**form.fields, "name": "Gnat", "mass": "14 g"}).text)
    assert "unusual" in page.fault("mass")
    assert _rockets(client) == []


def test_enter_in_a_field_presses_none_of_the_answers(client: TestClient) -> None:
    """The first button of a form is what Enter presses: it must not be an answer."""
    answer = send(client, ROCKET, {**GULL, "mass": "12"})
    form = answer.text[answer.text.index('<form method="post" action="/workshop/rockets/new"') :]
    assert 'name="meant' not in form[: form.index("</button>")]


@pytest.mark.parametrize(
    ("typed", "kg"),
    [
        ("1,234.5 g", 1.2345),
        ("1.234,5 g", 1.2345),
        ("16 lb 4 oz", 16.25 * 0.45359237),
        ("5 pounds", 2.26796185),
        ("７．２６ kg", 7.26),
        ("½ kg", 0.5),
        ("1½ lb", 0.680388555),
        ("7\u202f260 g", 7.26),
    ],
)
def test_what_people_write_is_stored(client: TestClient, typed: str, kg: float) -> None:
    saved(client, ROCKET, {**GULL, "mass": typed})
    assert [r.mass_kg for r in _rockets(client)] == [pytest.approx(kg, rel=1e-11)]


@pytest.mark.parametrize(
    ("typed", "readings"),
    [("2,268 g", ["2.268 g", "2268 g"]), ("1,234 g", ["1.234 g", "1234 g"]), ("2,268", ["2.268 g", "2268 g"])],
)
def test_a_mass_with_a_comma_is_not_stored(client: TestClient, typed: str, readings: list[str]) -> None:
    page = refused(client, ROCKET, {**GULL, "mass": typed})
    assert list(page.forms["form"].answers) == readings
    assert _rockets(client) == []


def test_a_bare_number_of_a_plain_field_is_asked_about_too(client: TestClient) -> None:
    page = refused(client, ROCKET, {**GULL, "drag_coefficient": "1,025"})
    assert list(page.forms["form"].answers) == ["1.025", "1025"]
    saved(client, ROCKET, {**GULL, "drag_coefficient": "0,525"})
    assert [r.drag_coefficient for r in _rockets(client)] == [0.525]


# --- A unit chosen in the same save -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("choice", "name", "typed", "column", "si"),
    # Inch, ounce, psi by NIST SP 811 (2008), appendix B.8.
    [
        ({"length_unit": "in"}, "ruler_resolution", "0.01", "ruler_resolution_m", 0.000254),
        ({"length_unit": "in"}, "grain_gap", "1/16", "grain_gap_m", 0.0015875),
        ({"mass_unit": "oz"}, "scale_resolution", "0.01", "scale_resolution_kg", 0.00028349523125),
        ({"mass_unit": "oz"}, "test_pieces", "1", "test_pieces_kg", 0.028349523125),
        ({"pressure_unit": "psi"}, "igniter_pressure", "75", "igniter_pressure_pa", 75 * 6894.757293168),
        ({"temperature_unit": "°F"}, "pan_low", "212", "pan_low_k", 373.15),
        ({"temperature_unit": "°F"}, "rate_per_kelvin", "0.2", "rate_per_kelvin_share", 0.0036),
        ({"system": "US"}, "ruler_resolution", "0.01", "ruler_resolution_m", 0.000254),
        ({"system": "US"}, "scale_resolution", "0.01", "scale_resolution_kg", 0.00028349523125),
        ({"system": "US", "length_unit": "mm"}, "igniter_pressure", "75", "igniter_pressure_pa", 75 * 6894.757293168),
    ],
)
def test_a_bare_number_is_in_the_unit_chosen_in_the_same_save(
    client: TestClient, choice: dict[str, str], name: str, typed: str, column: str, si: float
) -> None:
    """The caliper's 0.01 became 0.01 mm in the save that chose inches."""
    saved(client, "/workshop/settings", {**choice, name: typed, "why": "a new caliper"})
    assert getattr(_workshop(client), column) == pytest.approx(si, rel=1e-9)


def test_what_was_not_touched_keeps_its_meaning_when_the_units_change(client: TestClient) -> None:
    before = _workshop(client)
    saved(client, "/workshop/settings", {"system": "US", "why": "moved"})
    after = _workshop(client)
    for column in ("ruler_resolution_m", "scale_resolution_kg", "pan_low_k", "igniter_pressure_pa", "grain_gap_m"):
        assert getattr(after, column) == pytest.approx(getattr(before, column), rel=1e-9), column


def test_a_unit_that_is_none_is_pointed_at(client: TestClient) -> None:
    form = Page(client.get("/workshop/settings").text).forms["form"]
    answer = client.post(form.action, data={**form.fields, "length_unit": "ell", "ruler_resolution": "0.01"})
    assert Page(answer.text).fault("length_unit") == "Choose one of the list."


@pytest.mark.parametrize(("unit", "metres"), [("ft", 640.08), ("m", 2100.0), ("hPa", 2100.0)])
def test_the_pads_level_is_in_the_files_own_unit(unit: str, metres: float) -> None:
    texts = {
        "delimiter": "comma",
        "decimal": ".",
        "first_line": "2",
        "time_column": "1",
        "time_unit": "s",
        "height_column": "2",
        "height_unit": unit,
        "pad": "2100",
    }
    data = from_texts(TrackIn, texts.items(), "form", "/", {}).check(METRIC)
    assert isinstance(data, TrackIn)
    assert data.pad is not None
    assert data.pad.si == pytest.approx(metres)


# --- Everywhere a number is typed -------------------------------------------------------------------


def _forms(of: type[FormIn] = FormIn) -> Iterator[type[FormIn]]:
    for model in of.__subclasses__():
        yield from (model, *_forms(model))


def _numbers() -> Iterator[tuple[type[FormIn], str]]:
    """Each field of each form of the program that takes a number with decimals, in rows of lists too."""
    for model in {f"{model.__module__}.{model.__name__}": model for model in _forms()}.values():
        if not model.__module__.startswith("app."):
            continue
        for name, info in model.model_fields.items():
            inner = [a for a in get_args(info.annotation) if isinstance(a, type) and issubclass(a, BaseModel)]
            fields = [(f"{name}.0.{row}", inner[0], row) for row in inner[0].model_fields] if inner else []
            for full, of, last in fields or [(name, model, name)]:
                plain = float in (of.model_fields[last].annotation, *get_args(of.model_fields[last].annotation))
                if plain or measure_of(of, last) is not None:
                    yield model, full


NUMBERS = [pytest.param(model, name, id=f"{model.__name__}.{name}") for model, name in _numbers()]


def test_the_walk_over_all_forms_meets_them() -> None:
    met = {(model.__name__, name) for model, name in _numbers()}
    assert len(met) > 90
    assert met >= {
        ("ReadIn", "points.0.mass"),
        ("ReadIn", "points.0.reading"),
        ("ReadIn", "sample_rate"),
        ("TrackIn", "pad"),
        ("FlightIn", "wind"),
        ("FiringIn", "wind"),
        ("WorkshopIn", "pan_limit"),
        ("WeighOutIn", "mass"),
        ("GrainIn", "gross"),
        ("RocketIn", "drag_points.0.mach"),
    }


@pytest.mark.parametrize(("model", "name"), NUMBERS)
def test_no_field_takes_a_comma_and_three_digits_for_one_thing(model: type[FormIn], name: str) -> None:
    form = from_texts(model, [*chosen(model, name), (name, "2,500")], "form", "/", {})
    assert form.check(METRIC) is None
    assert "can mean" in form.errors[name]
    assert [one.text.split(" ")[0] for one in form.answers(name)] == ["2.5", "2500"]


@pytest.mark.parametrize(
    ("model", "name", "typed", "answers"),
    [
        (FiringIn, "humidity", "0.65", ["0.65 %", "65 %"]),
        (AirIn, "humidity", "0,5", ["0,5 %", "50 %"]),
        (FormulaIn, "parts.0.percent", "0.65", ["0.65 %", "65 %"]),
        (PlanIn, "over_pour", "0.05", ["0.05 %", "5 %"]),
        (PlanIn, "expected_density", "0.95", ["95 %"]),
        (SupplyIn, "mass", "25", ["25 kg", "25 oz", "25 lb", "25 g, as typed"]),
        (CaseIn, "inner_d", "1.9", ["1.9 cm", "1.9 in"]),
        (CaseIn, "rated_pressure", "1500", ["1500 kPa", "1500 psi"]),
        (NozzleIn, "throat_d", "0.5", ["0.5 cm", "0.5 in", "0.5 mm, as typed"]),
        (FlightIn, "wind", "30", ["30 km/h", "30 mph", "30 ft/s", "30 m/s, as typed"]),
        (FiringIn, "air_temperature", "68", ["68 °F"]),
        (FiringIn, "air_pressure", "29.92", ["29.92 inHg"]),
        (BuildIn, "grain_temperature", "70", ["70 °F"]),
    ],
)
def test_what_can_hardly_be_is_asked_with_what_would_fit(
    model: type[FormIn], name: str, typed: str, answers: list[str]
) -> None:
    form = from_texts(model, [(name, typed)], "form", "/", {})
    assert form.check(METRIC) is None
    assert [one.words for one in form.answers(name)] == answers


@pytest.mark.parametrize(
    ("model", "name", "typed"),
    [
        (WorkshopIn, "weigh_tolerance", "0.5"),  # half a percent is usual there, and 50 % is not
        (FiringIn, "humidity", "65"),
        (FiringIn, "humidity", "0.65 %"),
        (FormulaIn, "parts.0.percent", "65"),
        (WorkshopIn, "test_pieces", "0"),
        (FieldIn, "elevation", "0"),
    ],
)
def test_what_is_clear_is_not_asked_about(model: type[FormIn], name: str, typed: str) -> None:
    form = from_texts(model, [(name, typed)], "form", "/", {})
    form.check(METRIC)
    asked = form.errors.get(name, "")
    assert asked == "" or (typed == "0.65 %" and "unusual" in asked)


def test_a_peak_by_a_gauge_has_the_airs_pressure_added() -> None:
    form = from_texts(FiringIn, [("measured_peak_pressure", "1000 psig")], "form", "/", {})
    form.check(METRIC)
    assert "measured_peak_pressure" not in form.errors
    measure = measure_of(FiringIn, "measured_peak_pressure")
    assert measure is not None
    # psi by NIST SP 811, B.8; standard atmosphere 101 325 Pa, ISO 2533:1975
    assert measure.read("1000 psig", METRIC).si == pytest.approx(6894757.293168 + 101325)
    rated = measure_of(CaseIn, "rated_pressure")  # counts from the air's, as the page of a prediction says
    assert rated is not None
    assert rated.read("1000 psig", METRIC).si == pytest.approx(6894757.293168)


def test_an_older_text_that_says_two_things_is_shown_as_what_is_in_the_book() -> None:
    """Books before this took 1,234 g for 1.234 g; the edit form must not read it as anything else."""
    row = Supply(ingredient="sorbitol", mark="a", received_on=date(2026, 1, 2), mass_kg=0.001234, mass_typed="1,234 g")
    assert as_form(row, SupplyIn, METRIC)["mass"] == "1.234 g"
    row.mass_kg, row.mass_typed = 0.0123, "12,3 g"
    assert as_form(row, SupplyIn, METRIC)["mass"] == "12,3 g"
