"""The grain just weighed: its section to scale, the bubble of what is missing, its place among the lots."""

import math
from dataclasses import replace
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st
from markupsafe import Markup

from app.drawings.grain_section import bubble_diameter, grain_section
from app.drawings.lot_strip import Lot, Lots, ThisGrain, lot_strip
from app.drawings.sheet import FORMS
from tests.drawings.scenes import GRAIN, SCENES


def parse(drawing: Markup) -> ElementTree.Element:
    return ElementTree.fromstring(str(drawing))


def em(text: str) -> float:
    return float(text.removesuffix("em"))


def described(drawing: Markup) -> str:
    return parse(drawing).findtext("svg/desc") or ""


@given(st.floats(1e-9, 1e-2), st.floats(0.0, 0.999))
def test_the_bubble_holds_what_is_missing(volume: float, share: float) -> None:
    """The volume of a sphere is 4/3 π r³ (Archimedes, On the Sphere and Cylinder)."""
    radius = bubble_diameter(volume, share) / 2
    assert 4 / 3 * math.pi * radius**3 == pytest.approx(volume * (1 - share), rel=1e-9)


def test_a_grain_denser_than_ideal_lacks_nothing() -> None:
    assert bubble_diameter(1e-4, 1.002) == 0
    assert "Nothing is missing." in described(SCENES["grain: slender, nothing missing"])


@pytest.mark.parametrize("scene", [GRAIN, replace(GRAIN, share=0.6), replace(GRAIN, length_m=0.3, outer_d_m=0.08)])
def test_bubble_and_ring_are_drawn_at_the_scale_of_the_section(scene: object) -> None:
    assert isinstance(scene, type(GRAIN))
    forms = parse(grain_section(scene)).findall("svg")
    assert len(forms) == len(FORMS)
    for form in forms:
        (section,) = [e for e in form.iter("rect") if e.attrib["class"] == "hatched grain"]
        circles = {e.attrib["class"]: 2 * em(e.attrib["r"]) for e in form.iter("circle")}
        scale = em(section.attrib["width"]) / scene.length_m
        assert em(section.attrib["height"]) == pytest.approx(scene.outer_d_m * scale, rel=1e-3)
        assert circles["bubble"] == pytest.approx(scene.bubble_d_m * scale, rel=0.01)
        assert circles["allowed"] == pytest.approx(scene.allowed_d_m * scale, rel=0.01)


def test_the_section_says_which_faces_are_inhibited_and_marks_as_many() -> None:
    for ends, outer, bars in ((2, True, 0), (2, False, 2), (1, False, 3), (0, False, 4), (0, True, 2)):
        drawn = grain_section(replace(GRAIN, burning_ends=ends, burns_outer=outer))
        form = parse(drawn).findall("svg")[0]
        assert sum(e.attrib["class"] == "inhibited" for e in form.iter("rect")) == bars
    assert "Inhibited: both ends and the outer face." in described(grain_section(replace(GRAIN, burning_ends=0)))
    assert "No face is inhibited." in described(grain_section(replace(GRAIN, burns_outer=True)))


def test_a_bubble_above_the_limit_is_told_so() -> None:
    assert "No larger than the largest allowed (limit Ø 21)." in described(SCENES["grain: good"])
    assert "Larger than the largest allowed (limit Ø 21)." in described(SCENES["grain: voids, askew"])


def test_a_core_off_centre_stands_where_it_was_measured() -> None:
    form = parse(SCENES["grain: voids, askew"]).findall("svg")[0]
    (core,) = [e.attrib["d"] for e in form.iter("path") if e.attrib["class"] == "core"]
    section = next(e for e in form.iter("rect") if e.attrib["class"] == "hatched grain")
    scale = em(section.attrib["width"]) / 0.0762 * 10
    start = float(core.removeprefix("M0,").partition("L")[0])
    end = float(core.partition("L")[2].partition(",")[2].partition("V")[0])
    assert start == pytest.approx((0.001 - 0.01905 / 2) * scale, abs=0.05)
    assert end == pytest.approx((-0.002 - 0.01905 / 2) * scale, abs=0.05)


def test_the_strip_tells_this_grain_its_lot_the_earlier_ones_and_the_limit() -> None:
    words = described(SCENES["lot: a grain"])
    assert words.startswith("2611R-03: 96.3 ± 0.3 % of ideal density. 2611R: 95.8, 96.6 %. 2611Q: 95.9,")
    assert "Before: 34 grains, 92.5 to" in words
    assert words.endswith("Limit: 95 %.")
    assert "2611R: no other grain yet." in described(SCENES["lot: the first"])


def test_grains_lie_along_the_strip_by_their_share_and_none_is_lost() -> None:
    shares = (0.93, 0.95, 0.97)
    form = parse(lot_strip(Lots(Lot("P", shares), None, (), (0.5, 0.6), 0.95))).findall("svg")[0]
    places = [float(e.attrib["x"].removesuffix("%")) for e in form.iter("svg") if e.find("svg/path") is not None]
    assert len(places) == 3
    assert places[1] - places[0] == pytest.approx(places[2] - places[1], abs=0.03)
    limit = next(e for e in form.iter("line") if e.attrib["class"] == "limit")
    assert float(limit.attrib["x1"].removesuffix("%")) == pytest.approx(places[1], abs=0.02)
    assert any(text.text == "◀ 2" for text in form.iter("text"))


def test_a_rejected_grain_is_in_the_picture() -> None:
    form = parse(lot_strip(Lots(Lot("P", ()), ThisGrain("P-01", 0.6), (), (0.96,), 0.95))).findall("svg")[0]
    (place,) = [e.attrib["x"] for e in form.iter("svg") if e.find("svg/path") is not None]
    assert 0 < float(place.removesuffix("%")) < 40
