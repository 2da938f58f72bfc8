"""Pictures in the cells of a table: on one scale, told in words, and different by shape."""

import re
from xml.etree import ElementTree

import pytest

from app.drawings.row_plots import (
    CROSS,
    DIAMOND,
    RESULTS,
    Fired,
    Level,
    Span,
    fired_row,
    grains_row,
    mean_row,
    result_mark,
    scale_head,
    shrunk_row,
    span_of,
)

SPAN = Span(90.0, 100.0)


def _well_formed(made: str) -> str:
    ElementTree.fromstring(made)
    return made


def test_what_lies_far_off_is_an_arrow_with_its_number_and_does_not_stretch_the_scale() -> None:
    densities = [95.1, 95.6, 96.0, 96.2, 96.4, 84.0]
    span = span_of(densities, keep=[95.0])
    assert 93 < span.low < 95
    assert span_of([1.0], keep=[]).low < 1.0 < span_of([1.0]).high
    assert span_of([]) == Span(0.0, 1.0)
    made = _well_formed(str(grains_row(span, [(d, False) for d in densities], 94.2, "six grains")))
    assert made.count("<circle") == 5
    assert 'class="beyond"' in made
    assert ">84<" in made


def test_a_lot_s_grains_stand_where_they_are_and_those_on_the_shelf_are_filled() -> None:
    made = _well_formed(str(grains_row(SPAN, [(92.0, True), (97.0, False)], 94.5, "words", [Level(95.0, "limit")])))
    assert re.findall(r'<circle cx="([^"]+)" cy="50%" r="4" class="([^"]+)"', made) == [
        ("20%", "dot shelf"),
        ("70%", "dot"),
    ]
    assert re.findall(r'x1="([^"]+)"[^>]* class="(limit|mean)"', made) == [("50%", "limit"), ("45%", "mean")]
    assert 'role="img"' in made
    assert "<title>words</title>" in made


def test_a_motor_outside_its_range_is_a_cross_in_a_diamond() -> None:
    inside, outside = Fired(99.0, 95.0, 99.5), Fired(91.0, 95.0, 99.5)
    assert (inside.outside, outside.outside, Fired(91.0, None, None).outside) == (False, True, False)
    drawn = [_well_formed(str(fired_row(SPAN, [one], "words"))) for one in (inside, outside)]
    assert [CROSS in one for one in drawn] == [True, True]
    assert [DIAMOND in one for one in drawn] == [False, True]
    assert all('x="50%" width="45%"' in one for one in drawn), "the range, 95 to 99.5 of 90 to 100"
    unknown = str(fired_row(SPAN, [Fired(None, 95.0, 99.0)], "words", unknown="not logged"))
    assert "not logged" in unknown
    assert CROSS not in unknown


def test_two_motors_of_one_lot_stand_below_each_other() -> None:
    made = str(fired_row(SPAN, [Fired(95.0, 93.0, 97.0), Fired(96.0, 93.0, 97.0)], "words"))
    heights = re.findall(r'<svg x="[^"]+" y="([^"]+)"', made)
    assert heights == ["25%", "75%"]


def test_the_head_numbers_the_scale_and_its_named_lines() -> None:
    made = _well_formed(
        str(scale_head(SPAN, [Level(95.5, "parting", "95.5 and more"), Level(95.0, "limit", "", True)]))
    )
    assert "95.5 and more" in made
    assert re.search(r'class="limit-name middle">95<', made)
    assert re.findall(r'class="tick middle">([^<]+)<', made) == ["92", "94", "96", "98"]
    fine = re.findall(r'class="tick middle">([^<]+)<', str(scale_head(Span(0.78, 1.02))))
    assert fine == ["0.80", "0.85", "0.90", "0.95", "1.00"]


def test_a_range_that_shrank_lies_in_the_one_before() -> None:
    made = _well_formed(str(shrunk_row(Span(0.0, 2.0), 1.1, (1.0, 1.2), (0.5, 1.5), "words")))
    assert re.findall(r'<rect x="([^"]+)" width="([^"]+)"[^>]*class="([^"]+)"', made) == [
        ("25%", "50%", "before"),
        ("50%", "10%", "expected"),
    ]
    assert 'cx="55%"' in made


def test_a_mean_stands_with_its_ends_where_they_are_known() -> None:
    made = _well_formed(str(mean_row(Span(0.0, 2.0), [0.9, 1.1], 1.0, (0.5, 1.5), "words")))
    assert made.count(CROSS) == 2
    assert 'x1="25%" x2="75%"' in made
    assert 'class="known"' not in str(mean_row(Span(0.0, 2.0), [0.9], 0.9, None, "words"))


@pytest.mark.parametrize("kind", RESULTS)
def test_every_outcome_has_a_shape_of_its_own(kind: str) -> None:
    _well_formed(str(result_mark(kind)))
    dotted = {"none"}  # a ring as well, dotted by its class
    others = [d for other, d in RESULTS.items() if other != kind and other not in dotted]
    assert RESULTS[kind] not in others
