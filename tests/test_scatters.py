"""Small multiples: every mark is drawn, told and written down; kinds differ by shape; all share one upright axis."""

import re
from typing import Any
from xml.etree import ElementTree

import pytest

from app.charts import MOST_ROWS, Rule
from app.pens import Axis
from app.scatters import READ_OUT, Fired, Legend, Multiple, multiples

Y = Axis("Measured over predicted", decimals=2)
LEGEND = Legend("burned well", "did not", rules=[Rule("as predicted", 1.0, limit=False)])


def _multiple(key: str, *fired: Fired, unit: str = "%", **more: Any) -> Multiple:
    return Multiple(key, f"{key} & so", Axis(key, unit, decimals=1), fired, f"{key} says something.", **more)


def _set(*charts: Multiple, **more: Any) -> str:
    made = str(multiples("A & B", Y, more.pop("legend", LEGEND), charts, **more))
    ElementTree.fromstring(made)  # well formed
    return made


def _places(made: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in re.findall(r'data-at="([-\d.]+) ([-\d.]+)"', made)]


def test_each_mark_is_read_out_and_a_row_and_kinds_differ_by_shape() -> None:
    made = _set(
        _multiple("density", Fired("M1", 95.0, 0.98), Fired("M2", 96.0, 1.01), Fired("M3", 94.0, 0.85, apart=True))
    )
    assert made.count('class="fired"') == 5, "three marks, and two in the key"
    assert made.count('class="apart"') == 2, "one mark, and one in the key"
    assert 'data-words="M3, did not: density 94.0 %, Measured over predicted 0.85"' in made
    assert [re.sub("<[^>]+>", " ", row).split() for row in re.findall("<tr>(.*?)</tr>", made)][1:] == [
        ["M1", "burned", "well", "95.0", "0.98"],
        ["M2", "burned", "well", "96.0", "1.01"],
        ["M3", "did", "not", "94.0", "0.85"],
    ]
    assert "density says something." in made
    assert "as predicted" in made


def test_marks_stand_where_their_values_are_and_all_charts_share_the_upright_axis() -> None:
    made = _set(
        _multiple("one", *(Fired(n, x, y) for n, x, y in (("a", 94.0, 0.8), ("b", 95.0, 0.9), ("c", 96.0, 1.0)))),
        _multiple("two", Fired("d", 3.0, 0.9)),
    )
    (x1, y1), (x2, y2), (x3, y3), (_, y4) = _places(made)
    assert x1 < x2 < x3
    assert y1 > y2 > y3, "up is more"
    assert x2 - x1 == pytest.approx(x3 - x2, abs=0.02)
    assert y1 - y2 == pytest.approx(y2 - y3, abs=0.02)
    assert y4 == y2, "0.9 lies at one height in every chart"
    heights = [re.findall(r'class="tick end">([^<]+)<', svg) for svg in re.findall("<svg.*?</svg>", made)]
    assert len({tuple(h) for h in heights if h}) == 1


def test_a_shared_lower_axis_has_the_same_ends() -> None:
    charts = [_multiple("one", Fired("a", 1.0, 1.0), Fired("b", 9.0, 1.1)), _multiple("two", Fired("c", 9.0, 0.9))]
    places = _places(_set(*charts, shared=True))
    assert places[1][0] == places[2][0]
    apart = _places(_set(*charts))
    assert apart[1][0] != apart[2][0]


def test_a_range_is_a_bar_and_a_column() -> None:
    legend = Legend("inside", "outside", "nine in ten")
    made = _set(_multiple("impulse", Fired("a", 1.0, 1.02, 0.9, 1.1)), legend=legend)
    assert made.count('class="expected"') == 2, "the bar, and one in the key"
    assert "range 0.90 to 1.10" in made
    assert '<td class="num">0.90 to 1.10</td>' in made


def test_a_finding_stands_out_from_none() -> None:
    made = _set(_multiple("one", Fired("a", 1.0, 1.0), note="goes together", strong=True))
    assert '<span class="finding">goes together</span>' in made
    assert 'class="muted"' in _set(_multiple("one", Fired("a", 1.0, 1.0), note="no more than chance"))


def test_many_are_dots_and_the_table_is_a_pick() -> None:
    n = READ_OUT * 4
    made = _set(_multiple("all", *(Fired(str(i), 90 + i / n, 1.0) for i in range(n))))
    assert "data-words" not in made
    dots = re.search(r'<path d="([^"]*)" class="dots many ink-1"', made)
    assert dots
    assert 100 < dots[1].count("M") <= n
    assert made.count("<tr>") == MOST_ROWS + 1
    assert f"{MOST_ROWS} of {n}" in made
