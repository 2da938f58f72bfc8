"""A geometry that is in the list of geometries, and nowhere else, is weighed, predicted, recorded and drawn."""

from math import pi, sqrt

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session, select

from app.calc.base.errors import GeometryError
from app.calc.grain.cores import Core, polygon_core
from app.calc.grain.geometries import GEOMETRIES, HOLLOW_CYLINDER, Geometry
from app.errors import Refused
from app.models import GrainPattern, Prediction
from app.models.core_offset import CoreOffsetIn
from app.services.learning import prediction_record
from app.services.motors import core_offset
from tests import build
from tests.browse import opened
from tests.calc.grain.shapes import star_core
from tests.pages.motors.test_builds import book

D, CORE, LENGTH = 0.04445, 0.01905, 0.0762
"""Sizes of the grains that `tests.build` makes [m]."""

SIDE = CORE / sqrt(2)
VOLUME = (pi / 4 * D**2 - SIDE**2) * LENGTH


@pytest.fixture(autouse=True)
def _square(monkeypatch: pytest.MonkeyPatch) -> None:
    """What the book has as hollow cylinders has a square core, whose diameter is of the circle through its corners."""

    def corners(core_d: float) -> list[tuple[float, float]]:
        r = core_d / 2
        return [(r, 0), (0, r), (-r, 0), (0, -r)]

    square = Geometry("square core", port=lambda core_d: core_d**2 / 2, core=lambda d: polygon_core(corners(d)))
    monkeypatch.setitem(GEOMETRIES, HOLLOW_CYLINDER.name, square)


def test_every_pattern_of_the_book_has_a_geometry_of_the_list(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.undo()
    assert GrainPattern(name="44", outer_d_m=D, core_d_m=CORE, length_m=LENGTH).geometry in GEOMETRIES
    assert len(GEOMETRIES) == 1 or "geometry" in GrainPattern.model_fields, "a pattern must keep which one it is of"


def test_its_volume_stands_on_the_patterns_page_and_judges_its_grains(client: TestClient) -> None:
    """By hand: (π/4·44.45² − 13.47²)·76.2 = 104.4 cm³; a ring of the same sizes would have 96.5."""
    with book(client) as session:
        lot = build.cast(session)
        grain = build.grain(session, lot, 0.9)
        assert grain.density_kg_m3 == pytest.approx(grain.mass_kg / VOLUME, rel=1e-12)
        assert grain.density_share == pytest.approx(0.9, abs=1e-3)
    assert "104.4 cm³" in client.get("/workshop/patterns/1").text


def test_a_motor_of_them_is_predicted_recorded_and_drawn(client: TestClient) -> None:
    """The burning surface at the start by hand: four sides and two ends of each of four grains, over the throat."""
    with book(client) as session:
        motor = build.motor_build(session)
        record = prediction_record.from_row(session.exec(select(Prediction)).one())
        area = 4 * (4 * SIDE * LENGTH + 2 * (pi / 4 * D**2 - SIDE**2))
        assert record.kn_start == pytest.approx(area / (pi / 4 * 0.0127**2), rel=0.01)
        assert {one.geometry for one in record.inputs.grains} == {"square core"}
        assert {one.core_d_m for one in record.inputs.grains} == {CORE}
        assert record.propellant_mass == pytest.approx(sum(one.mass_kg for one in record.inputs.grains))
        code = motor.code
    assert "<svg" in client.get(f"/motors/{code}").text
    design = opened(client, "/motors/design").forms["design"].fields
    drawn = client.get("/motors/design", params=design)
    assert drawn.status_code == 200
    assert "<svg" in drawn.text
    assert "keeps its shape and sizes in every draw" in drawn.text


def test_a_size_that_a_geometry_needs_or_that_it_cannot_have_is_refused_beside_its_field(
    session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    def star(core_d: float, waist_d_m: float) -> Core:
        if waist_d_m >= core_d:
            raise GeometryError("waist_d", "is not less than the diameter of the points.", "Measure both again.")
        return star_core(5, core_d, waist_d_m)

    made = Geometry("star", port=lambda core_d, waist_d_m: 0.0, core=star, own=("waist_d_m",))
    monkeypatch.setitem(GEOMETRIES, HOLLOW_CYLINDER.name, made)
    for waist_d, words in ((None, "A star has one"), (2 * CORE, "not less than the diameter of the points")):
        monkeypatch.setattr(GrainPattern, "waist_d_m", waist_d, raising=False)
        with pytest.raises(Refused, match=words) as refused:
            build.pattern(session)
        assert refused.value.field == "waist_d"


def test_a_core_off_the_axis_is_refused_where_it_is_not_round(client: TestClient) -> None:
    with book(client) as session:
        design = build.design_in(session)
        asked = CoreOffsetIn.model_validate({**dict(design), "offset_fore": "0 mm", "offset_aft": "2 mm"})
        with pytest.raises(Refused, match="round cores only; this is a square core"):
            core_offset.compare(session, asked)
