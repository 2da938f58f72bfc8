"""What is drawn to scale: every length is the number it was handed, at one scale in all of a drawing."""

import math
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from itertools import pairwise
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from markupsafe import Markup

from app.calc.grain.geometry import Grain, remaining_volume
from app.drawings.burn_stages import BurningGrain, burn_stages
from app.drawings.field_plan import FieldPlan, field_plan
from app.drawings.grain_views import grain_views
from app.drawings.motor_section import motor_section
from app.drawings.rocket_outline import rocket_outline
from app.drawings.season_line import Happening, season_line
from app.drawings.shelf_boxes import ShelfBox, ShelfRow, shelf_boxes
from app.drawings.small_motor import SCALE
from app.drawings.to_scale import FORMS, UNITS, Point, circle, hatch, rectangle
from app.drawings.wall_plan import WALL_FORMS, height
from tests.drawings.plans import (
    BURNING,
    FIELD,
    GULL,
    HEIGHTS,
    MOTOR,
    NOZZLE,
    PLANS,
    PLOVER,
    ROCKET,
    STAGES,
    WALL,
    WALL_CURES,
)
from tests.drawings.scenes import GRAIN

Box = tuple[float, float, float, float]


def forms(drawing: Markup) -> list[ElementTree.Element]:
    found = ElementTree.fromstring(str(drawing)).findall("svg")
    assert len(found) == len(FORMS)
    return found


def described(drawing: Markup) -> str:
    return forms(drawing)[0].findtext("desc") or ""


def shapes(form: ElementTree.Element, *css: str) -> list[list[list[Point]]]:
    """The rings of every shape of a class [em], in their order."""
    found = []
    for path in form.iter("path"):
        if set(css) <= set(path.attrib.get("class", "").split()):
            rings = [re.findall(r"(-?[\d.]+),(-?[\d.]+)", part) for part in path.attrib["d"].split("M")[1:]]
            found.append([[(float(x) / UNITS, float(y) / UNITS) for x, y in ring] for ring in rings])
    return found


def box(ring: list[Point]) -> Box:
    """Left, top, right and bottom."""
    xs, ys = [x for x, _ in ring], [y for _, y in ring]
    return min(xs), min(ys), max(xs), max(ys)


def wide(ring: list[Point]) -> float:
    return box(ring)[2] - box(ring)[0]


def high(ring: list[Point]) -> float:
    return box(ring)[3] - box(ring)[1]


def area(ring: list[Point]) -> float:
    """Of a polygon, by the shoelace formula (Meister, 1769)."""
    around = [*ring, ring[0]]
    return abs(sum(x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in pairwise(around))) / 2


# --- Hatching ------------------------------------------------------------------------------------


@settings(max_examples=25)
@given(st.floats(1, 20), st.floats(1, 20), st.floats(0.05, 0.2))
def test_hatching_covers_its_shape_evenly(long: float, tall: float, gap: float) -> None:
    """Strokes times their distance are the area (Cavalieri's principle), also round a hole."""
    for rings in ([rectangle(0.3, 0.7, 0.3 + long, 0.7 + tall)], [circle(30, 30, 10), circle(30, 31, 4)]):
        inked = sum(math.dist(a, b) for a, b in hatch(rings, gap)) * gap
        whole = area(rings[0]) - sum(area(hole) for hole in rings[1:])
        assert inked == pytest.approx(
            whole, rel=0.25 * gap / 0.05, abs=2 * gap * (long + tall) if len(rings) == 1 else 12
        )


# --- Grain ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "grain", [GRAIN, replace(GRAIN, outer_d_m=0.054, share=0.8), replace(GRAIN, length_m=0.3, outer_d_m=0.08)]
)
def test_a_grain_its_end_and_its_bubble_have_one_scale(grain: object) -> None:
    """The bubble is the sphere of the missing volume: (6 V (1 - share) / pi)^(1/3)."""
    assert isinstance(grain, type(GRAIN))
    for form in forms(grain_views(grain)):
        upper, lower, end = shapes(form, "cut", "grain")
        scale = wide(upper[0]) / grain.length_m
        across = box(lower[0])[3] - box(upper[0])[1]
        assert across == pytest.approx(grain.outer_d_m * scale, abs=0.003)
        assert box(lower[0])[1] - box(upper[0])[3] == pytest.approx(grain.core_d_m * scale, abs=0.003)
        assert [wide(ring) for ring in end] == pytest.approx(
            [grain.outer_d_m * scale, grain.core_d_m * scale], abs=0.003
        )
        bubble = next(e for e in form.iter("circle") if e.attrib["class"] == "bubble")
        true = (6 * grain.volume_m3 * (1 - grain.share) / math.pi) ** (1 / 3)
        assert 2 * float(bubble.attrib["r"].removesuffix("em")) == pytest.approx(true * scale, abs=0.003)


def test_a_core_off_centre_stands_off_in_both_views() -> None:
    grain = replace(GRAIN, offset_a_m=0.001, offset_b_m=-0.002)
    for form in forms(grain_views(grain)):
        upper, lower, end = shapes(form, "cut", "grain")
        scale, (_, top, _, foot) = wide(upper[0]) / grain.length_m, box(end[0])
        thin, thick = high(lower[0]), high(upper[0])  # at their thickest each
        assert thick - thin == pytest.approx((grain.offset_a_m + grain.offset_b_m) * scale, abs=0.01)
        assert (box(end[1])[1] + box(end[1])[3] - top - foot) / 2 == pytest.approx(0.001 * scale, abs=0.003)
        (hidden,) = shapes(form, "hidden")
        assert (box(hidden[0])[1] + box(hidden[0])[3] - top - foot) / 2 == pytest.approx(-0.002 * scale, abs=0.003)


# --- Motor ---------------------------------------------------------------------------------------


def test_a_motor_is_drawn_to_one_scale() -> None:
    for form in forms(motor_section(MOTOR)):
        grains = [rings[0] for rings in shapes(form, "cut", "grain")]
        assert len(grains) == 6
        scale = wide(grains[0]) / 0.055
        upper, lower = (rings[0] for rings in shapes(form, "cut", "case"))
        assert box(lower)[3] - box(upper)[1] == pytest.approx(0.0381 * scale, abs=0.02)
        assert box(lower)[1] - box(upper)[3] == pytest.approx(0.0353 * scale, abs=0.02)
        assert box(grains[3])[1] - box(grains[0])[3] == pytest.approx(0.010 * scale, abs=0.02)
        assert box(grains[1])[0] - box(grains[0])[2] == pytest.approx(0.002 * scale, abs=0.02)
        closure, *_ = shapes(form, "unsized")
        assert box(grains[0])[0] - box(closure[0])[2] == pytest.approx(0.011 * scale, abs=0.02), "what is left free"
        cones = [rings[0] for rings in shapes(form, "inside", "dashed")]
        throat, leaving = (abs(cones[1][i][1] - cones[0][i][1]) for i in (0, 1))
        assert throat == pytest.approx(NOZZLE.throat_d_m * scale, abs=0.02)
        assert leaving / throat == pytest.approx(19.0 / 8.03, rel=0.04)


def test_a_denser_grain_is_hatched_closer_and_a_half_angle_that_is_known_is_drawn() -> None:
    form = forms(motor_section(replace(MOTOR, nozzle=replace(NOZZLE, half_angle_rad=0.35))))[0]
    strokes = [len(rings) for rings in shapes(form, "hatch")]
    assert strokes[:3] == sorted(strokes[:3])
    assert strokes[0] < 0.7 * strokes[2]
    assert not shapes(form, "inside", "dashed")
    (x1, y1), (x2, y2) = shapes(form, "inside")[0][0]
    assert math.atan2(abs(y2 - y1), x2 - x1) == pytest.approx(0.35, abs=0.01)


def test_a_motor_is_told_in_words() -> None:
    assert described(PLANS["motor"]) == (
        "Case, outer diameter Ø 38.1, room for grains 180.0. Grains from the closure: 25L1-04, 94.3 %, 55.0 long; "
        "25L1-05, 96.8 %, 55.0 long; 25L1-06, 97.3 %, 55.0 long. Core Ø 10.0. Left free: 11.0. Throat Ø 8.03, "
        "exit Ø 19.0. Port 1.55 × throat, below 2. Dashed: size not in the book; closer hatching: denser grain."
    )
    for name in ("motor", "motor: many grains"):  # and nothing of it is lost in a narrow place
        for form in forms(PLANS[name]):
            said = " ".join("".join(e.itertext()) for e in form.iter("text")).replace("\N{NO-BREAK SPACE}", " ")
            for words in (
                "25L1-04",
                "Ø 8.03",
                "Ø 19.0",
                "Ø 38.1",
                "Ø 10.0",
                "55.0",
                "free",
                "room",
                "Port 1.55 × throat",
            ):
                assert words in said, (name, form.attrib["class"], words)


def test_a_motor_of_a_list_has_the_scale_of_the_list_and_shows_what_is_to_cast() -> None:
    found = ElementTree.fromstring(str(PLANS["motor: small"]))
    grains = shapes(found, "cut", "grain")
    assert [wide(rings[0]) for rings in grains] == pytest.approx([0.055 * SCALE] * 6, abs=0.02)
    assert (len(shapes(found, "cut", "ready")), len(shapes(found, "cut", "to-cast"))) == (4, 2)


# --- Burn ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("grain", [BURNING, replace(BURNING, burns_outer=True), replace(BURNING, burns_end_b=False)])
def test_what_is_left_of_a_grain_is_what_the_calculation_has_left(grain: BurningGrain) -> None:
    """Volume of the drawn solid of revolution against the regression that predictions are made with."""
    burns = (grain.burns_core, grain.burns_end_a, grain.burns_end_b, grain.burns_outer)
    known = Grain(grain.outer_d_m, grain.core_d_m, grain.length_m, 0.08, *burns)
    depths = [known.web * share for share in (0.0, 0.25, 0.5, 0.75)]
    stages = [replace(STAGES[0], depth_m=depth) for depth in depths]
    form = forms(burn_stages([grain], stages))[0]
    drawn = [rings[0] for rings in shapes(form, "cut", "grain")]
    scale = wide(drawn[0]) / grain.length_m
    for upper, lower, left in zip(drawn[::2], drawn[1::2], remaining_volume(known, depths), strict=True):
        outer, core = box(lower)[3] - box(upper)[1], box(lower)[1] - box(upper)[3]
        assert math.pi / 4 * (outer**2 - core**2) * wide(upper) / scale**3 == pytest.approx(left, rel=0.01)


def test_bars_of_kn_have_one_scale_and_what_is_gone_is_not_drawn() -> None:
    form = forms(PLANS["burn"])[0]
    bars = [wide(rings[0]) for rings in shapes(form, "bar")]
    assert np.array(bars) / bars[2] == pytest.approx(np.array([182, 205, 220, 214]) / 220, abs=0.002)
    ended = forms(PLANS["burn: to its end"])[0]
    assert len(shapes(ended, "cut", "grain")) == 2 * (len(STAGES) - 1), "at 75 % of this web both faces have met"


# --- Rocket --------------------------------------------------------------------------------------


def test_a_rocket_its_places_and_its_parachutes_have_one_scale() -> None:
    for form in forms(rocket_outline(ROCKET)):
        (body,), (motor,) = (shapes(form, "cut", name)[0] for name in ("body", "motor"))
        nose = shapes(form, "unsized")[0][0]
        scale = (box(body)[2] - box(nose)[0]) / 1.32
        assert high(body) == pytest.approx(0.066 * scale, abs=0.01)
        assert (wide(motor), high(motor)) == pytest.approx((0.26 * scale, 0.0381 * scale), abs=0.01)
        assert box(motor)[2] == pytest.approx(box(body)[2], abs=0.01)
        chutes = [wide(rings[0]) for rings in shapes(form, "cut", "chute")]
        assert chutes == pytest.approx([1.2 * scale, 0.3 * scale], abs=0.01)
        tips = [rings[0][0][0] for rings in shapes(form, "tip") if rings[0][0][1] < box(body)[1]]
        told = sorted((x - box(nose)[0]) / scale for x in tips)
        assert told == pytest.approx([0.812, 0.9, 0.98], abs=0.02 / scale)
    assert "From the tip: centre of mass 812, middle of the rail guides 900, centre of pressure 980." in described(
        PLANS["rocket"]
    )


# --- Field ---------------------------------------------------------------------------------------


def test_a_field_lies_by_its_bearing_with_north_up_and_east_right() -> None:
    for bearing, ratio in ((0.0, 500 / 900), (math.pi / 2, 900 / 500)):
        for form in forms(field_plan(replace(FIELD, axis_rad=bearing, along_m=()))):
            edge = shapes(form, "field")[0][0]
            assert wide(edge) / high(edge) == pytest.approx(ratio, abs=0.01)
            ring = shapes(form, "hidden")[0][0]
            assert wide(ring) / max(wide(edge), high(edge)) == pytest.approx(122 / 900, abs=0.002)
    slanted = FieldPlan(length_m=900, width_m=500, axis_rad=math.pi / 4)
    assert max(slanted.corners, key=lambda corner: corner[0] + corner[1]) == pytest.approx(
        (495, 141.4), abs=0.1
    ) or max(slanted.corners, key=lambda corner: corner[0] + corner[1]) == pytest.approx((141.4, 495), abs=0.1)


@pytest.mark.parametrize(("bearing", "to"), [(0.0, (0, -100)), (math.pi / 2, (-100, 0)), (1.5 * math.pi, (100, 0))])
def test_flights_come_down_where_the_wind_blows_to(bearing: float, to: Point) -> None:
    """A wind from the north (bearing 0) carries to the south, as meteorology names it."""
    field = replace(FIELD, wind_from_rad=bearing, along_m=(100.0,), across_m=())
    assert field.landings[0] == pytest.approx(to, abs=1e-6)


def test_a_landing_outside_has_a_shape_of_its_own_and_is_counted() -> None:
    field = FieldPlan("Dune", radius_m=300, along_m=(120.0, 299.0, 301.0, 500.0), wind_from_rad=0.0)
    assert [field.inside(*place) for place in field.landings] == [True, True, False, False]
    form = forms(field_plan(field))[0]
    crosses = [e for e in form.iter("path") if e.attrib["class"] == "landing out"]
    assert (len(crosses), len(shapes(form, "landing", "across"))) == (2, 2)
    assert "landings of 4 drawn flights, 2 of them outside the field." in described(field_plan(field)).lower()


def test_the_ceiling_and_the_range_stand_at_their_heights() -> None:
    for form in forms(field_plan(FIELD, HEIGHTS)):
        axis = shapes(form, "outline")[0][0]
        foot = box(axis)[3]
        (ceiling,), (bar,) = shapes(form, "ceiling")[0], shapes(form, "range")[0]
        scale = (foot - ceiling[0][1]) / 900
        assert (foot - box(bar)[3], foot - box(bar)[1]) == pytest.approx((460 * scale, 596 * scale), abs=0.01)
    assert "Height 533 m, 460 to 596. Ceiling 900 m. Flown flew 604, 610." in described(PLANS["field"])


# --- Shelf ---------------------------------------------------------------------------------------


def test_grains_on_the_shelf_have_one_scale_and_show_their_state_by_shape() -> None:
    curing = replace(GULL, state="curing", cured=0.25)
    row = ShelfRow("27A2", (GULL, PLOVER, curing, replace(GULL, state="to cast"), replace(GULL, state="held")))
    for form in forms(shelf_boxes([ShelfBox("Tin", (row,))])):
        ends = [e.attrib["d"] for e in form.iter("path") if "end-on" in e.attrib["class"]]
        grains = [[2 * float(radius) / UNITS for radius in re.findall(r"a([\d.]+),", d)[::2]] for d in ends]
        sizes = [outer for outer, _ in grains]
        assert sizes[1] / sizes[0] == pytest.approx(25.5 / 33.5, abs=0.005)
        assert grains[0][1] / sizes[0] == pytest.approx(10 / 33.5, abs=0.01)
        assert (len(shapes(form, "end-on", "ready")), len(shapes(form, "end-on", "dashed"))) == (2, 2)
        ((sector,),) = shapes(form, "part-cured")
        ring = math.pi / 4 * (sizes[2] ** 2 - grains[2][1] ** 2)
        assert area(sector) / ring == pytest.approx(0.25, abs=0.01)
    words = described(shelf_boxes([ShelfBox("Tin", (row,)), ShelfBox("Jar", ())]))
    assert words == "Tin: 27A2, 2 ready, 1 curing, 1 to cast, 1 held. Jar: nothing."


# --- Season --------------------------------------------------------------------------------------


def lefts(form: ElementTree.Element, css: str) -> Iterator[tuple[float, float]]:
    """Start and width of the rectangles of a class, as shares of the width."""
    for rect in form.iter("rect"):
        if rect.attrib["class"] == css:
            yield float(rect.attrib["x"].removesuffix("%")), float(rect.attrib["width"].removesuffix("%"))


def test_a_season_lies_along_its_days() -> None:
    season = [
        Happening("melt", date(2027, 2, 18), "4 Gull", until=date(2027, 2, 25)),
        Happening("melt", date(2027, 3, 4), "4 Gull", until=date(2027, 3, 25), done=True),
        Happening("flight", date(2027, 5, 9), "Dunlin"),
    ]
    drawn = season_line(season, date(2027, 2, 8))
    for form in forms(drawn):
        (a, week), (b, three) = lefts(form, "cure")
        assert three == pytest.approx(3 * week, abs=0.03)
        assert b - a == pytest.approx(2 * week, abs=0.03)
        stripe = round(next(lefts(form, "stripe"))[1] / week * 7)
        assert stripe == (31 if form.attrib["class"] == "form slim" else 7), "March where weeks are too narrow"
        assert [e.attrib["class"] for e in form.iter("path")] == ["mark next", "mark done", "mark next"]
    assert described(drawn) == (
        "Today is 8 Feb 2027. 18 Feb: 4 Gull, cures until 25 Feb, planned. 4 Mar: 4 Gull, cures until 25 Mar, done. "
        "9 May: Dunlin, planned."
    )


def test_the_wall_has_each_day_at_its_place_and_shades_what_cures() -> None:
    """Three weeks: bars begin on the evening they are cast, 0.6 of that day, and go on from Monday of the next week to
    the end of their last day; marks are as many as happen; what is drawn is said.
    """
    drawn = ElementTree.fromstring(str(PLANS["wall"])).findall("svg")
    assert len(drawn) == len(WALL_FORMS)
    for form in drawn:
        bars = sorted(lefts(form, "cure"))
        day = next(lefts(form, "field-day"))[1]
        start = next(lefts(form, "field-day"))[0] - 6 * day  # the flight is on a Sunday
        begins = [(x - start) / day for x, _ in bars]
        lasts = [wide / day for _, wide in bars]
        assert begins == pytest.approx([0.0, 3.6, 5.6], abs=0.01)
        assert lasts == pytest.approx([3.0, 3.4, 1.4], abs=0.01)
        shown = [e.attrib["class"] for e in form.iter("path")]
        roomy = form.attrib["class"] in ("form broad", "form poster")
        assert shown.count("mark done") == 1
        assert shown.count("mark next") == (4 if roomy else 2)  # where it is narrow, one mark to a day
        assert "mark free" in shown
        words = " ".join(text.text or "" for text in form.iter("text"))
        for said in ("12 Plover 38", "Turnstone", "Dextrose", "Away over", "pan:", "cast"):
            assert said in words, (form.attrib["class"], said)
    assert drawn[0].findtext("desc") == (
        "3 weeks from 15 Feb 2027. 18 Feb: cast, 12 Plover 38 of Plain sorbitol v1, done. 18 Feb: cast, 27B1. "
        "25 Feb: delivery, 1000.0 g Dextrose (anhydrous). 25 Feb: static test, 2 tests of Marram. "
        "7 Mar: field day, 5 Turnstone with a name of some length."
    )
    assert height(WALL, WALL_CURES, 6.0) > height(WALL, WALL_CURES)
