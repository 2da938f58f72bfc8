"""Scatter charts: every pair is drawn, told and written down; kinds differ by shape."""

import re
from typing import Any
from xml.etree import ElementTree

import pytest

from app.charts import MOST_ROWS, Rule
from app.pens import LETTER, SPAN, USUAL, Axis
from app.scatters import READ_OUT, Cloud, scatter_chart

X, Y = Axis("Density", "%", decimals=1), Axis("Measured over predicted", decimals=2)


def _chart(*clouds: Cloud, **more: Any) -> str:
    made = str(scatter_chart("A & B", X, Y, clouds, "Two things.", **more))
    ElementTree.fromstring(made)  # well formed
    return made


def test_each_pair_is_a_mark_that_is_read_out_and_a_row() -> None:
    made = _chart(Cloud("good", ["M1", "M2"], [95.0, 96.0], [0.98, 1.01]), Cloud("not", ["M3"], [94.0], [0.85]))
    assert made.count('class="point"') == 3, "two marks and one in the legend"
    assert made.count('class="point out"') == 2
    assert 'data-words="M3, not: Density 94.0 %, Measured over predicted 0.85"' in made
    assert "good (2)" in made
    assert [re.sub("<[^>]+>", " ", row).split() for row in re.findall("<tr>(.*?)</tr>", made)][1:] == [
        ["M1", "good", "95.0", "0.98"],
        ["M2", "good", "96.0", "1.01"],
        ["M3", "not", "94.0", "0.85"],
    ]
    assert "<desc" in made
    assert "Two things." in made


def test_marks_stand_where_their_values_are() -> None:
    made = _chart(Cloud("all", ["a", "b", "c"], [94.0, 95.0, 96.0], [0.8, 0.9, 1.0]))
    places = [tuple(map(float, at.split())) for at in re.findall(r'data-at="([^"]+)"', made)]
    (x1, y1), (x2, y2), (x3, y3) = places
    assert x1 < x2 < x3
    assert y1 > y2 > y3, "up is more"
    assert x2 - x1 == pytest.approx(x3 - x2, abs=0.02)
    assert y1 - y2 == pytest.approx(y2 - y3, abs=0.02)


def test_a_rule_is_always_in_sight() -> None:
    made = _chart(Cloud("all", ["a"], [94.0], [0.8]), rules=[Rule("as predicted", 1.0)])
    assert "as predicted" in made


def test_many_are_dots_and_the_table_is_a_pick() -> None:
    n = READ_OUT * 4
    made = _chart(Cloud("all", [str(i) for i in range(n)], [90 + i / n for i in range(n)], [1.0] * n))
    assert "data-words" not in made
    dots = re.search(r'<path d="([^"]*)" class="dots many ink-1"', made)
    assert dots
    assert 100 < dots[1].count("M") <= n
    assert made.count("<tr>") == MOST_ROWS + 1
    assert f"{MOST_ROWS} of {n}" in made


def test_nothing_is_said_to_be_nothing() -> None:
    assert "no numbers to draw" in str(scatter_chart("T", X, Y, [Cloud("all", [], [], [])], ""))


def test_more_kinds_than_marks_are_a_fault() -> None:
    with pytest.raises(ValueError, match="4 clouds"):
        _chart(*(Cloud(str(i), ["a"], [1.0], [1.0]) for i in range(4)))


def test_no_mark_lies_under_the_name_of_a_level() -> None:
    rule = Rule("as predicted", 1.0)
    made = _chart(Cloud("all", ["a", "b"], [94.0, 95.0], [1.0, 1.01]), rules=[rule])
    marks = [float(x) for x in re.findall(r'data-at="([\d.]+) ', made)]
    assert max(marks) / SPAN < 1 - len(rule.label) * LETTER / USUAL
