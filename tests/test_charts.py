"""Charts: what is drawn, said and tabled agrees with the numbers handed in.

Exact properties stand in for outside sources here (an axis is a straight line, a maximum is a maximum); the
control limits come from the NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.
"""

import math
import re
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from markupsafe import Markup

from app.charts import Band, Panel, Rule, Series, line_chart
from app.pens import MOST_POINTS, Axis, scale_for, thin, ticks, written
from app.point_charts import Interval, Point, individuals_chart, interval_chart

TIME, PRESSURE = Axis("Time", "s", decimals=2), Axis("Chamber pressure", "MPa", from_zero=True, decimals=2)
NIST = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
finite = st.floats(-1e6, 1e6)


def parse(chart: Markup) -> ElementTree.Element:
    return ElementTree.fromstring(str(chart))


def text_of(element: ElementTree.Element | None) -> str:
    assert element is not None
    return "".join(element.itertext())


def points(path: ElementTree.Element) -> np.ndarray:
    return np.array(re.findall(r"(-?[\d.]+),(-?[\d.]+)", path.attrib["d"]), dtype=float)


def paths(root: ElementTree.Element, css: str) -> list[ElementTree.Element]:
    return [p for p in root.iter("path") if css in p.get("class", "").split()]


def hump(n: int = 5000) -> tuple[np.ndarray, np.ndarray]:
    t = np.linspace(0, 2.5, n)
    return t, 6 * np.sin(np.pi * t / 2.5)


def every_chart() -> list[Markup]:
    t, p = hump()
    return [
        line_chart(
            "Pressure",
            TIME,
            Panel(
                PRESSURE,
                [Series("a", t, p), Series("b", t, p / 2)],
                Band("range", t, p * 0.9, p * 1.1),
                [Rule("Rated", 8)],
            ),
            Panel(Axis("Thrust", "N"), [Series("F", t, p * 80)]),
        ),
        individuals_chart(
            "Impulse", Axis("Impulse", "N·s"), [Point(f"26K{i}", v) for i, v in enumerate(NIST)], 50.81, 45.8, 55.8
        ),
        interval_chart(
            "Density",
            Axis("Of ideal", "%"),
            [Interval("2611P", 95, 94, 96, 8), Interval("2611Q", 93, None, None, 1)],
            [Rule("Look", 95)],
        ),
    ]


@pytest.mark.parametrize("chart", every_chart(), ids=["lines", "individuals", "intervals"])
def test_structure_names_and_policy(chart: Markup) -> None:
    root = parse(chart)
    svg = root.find(".//svg")
    assert svg is not None
    ids = {e.attrib["id"] for e in root.iter() if "id" in e.attrib}
    assert set(svg.attrib["aria-labelledby"].split()) <= ids
    assert svg.attrib["role"] == "img"
    assert "viewBox" not in svg.attrib, "what is scaled as a whole shrinks its letters with it"
    assert text_of(svg.find("title"))
    assert text_of(svg.find("desc"))
    assert root.find("details/summary") is not None
    assert root.findall(".//tbody/tr")
    for element in root.iter():  # the content policy allows neither inline styles nor handlers
        assert element.tag not in {"style", "script"}
        assert not [name for name in element.attrib if name == "style" or name.startswith("on")]


@pytest.mark.parametrize("chart", every_chart(), ids=["lines", "individuals", "intervals"])
def test_every_class_has_a_rule_in_the_stylesheets(chart: Markup) -> None:
    sheets = "".join(p.read_text() for p in (Path(__file__).parents[1] / "static" / "css").glob("*.css"))
    used = {css for e in parse(chart).iter() for css in e.get("class", "").split()}
    known = set(re.findall(r"\.([a-z][\w-]*)", sheets))
    assert used - known <= {"legend", "panel", "start"}  # names for scripts and tests, or the default look


def test_texts_are_escaped() -> None:
    bad = '<script>alert("1")</script>&'
    charts = [
        line_chart(
            bad,
            Axis(bad, bad),
            Panel(
                Axis(bad, bad),
                [Series(bad, [0, 1], [1, 2]), Series(bad, [0, 1], [1, 2])],
                Band(bad, [0, 1], [0, 1], [2, 3]),
                [Rule(bad, 1)],
            ),
        ),
        individuals_chart(bad, Axis(bad, bad), [Point(bad, 1), Point(bad, 2)]),
        interval_chart(bad, Axis(bad, bad), [Interval(bad, 1, 0, 2, 3)], [Rule(bad, 1)]),
        line_chart(bad, TIME),
    ]
    for chart in charts:
        assert "<script" not in chart
        assert bad in text_of(parse(chart))


def test_series_differ_by_dash_as_well_as_colour() -> None:
    lines = paths(
        parse(line_chart("x", TIME, Panel(PRESSURE, [Series(str(i), [0, 1], [i, 1]) for i in range(4)]))), "line"
    )
    looks = [line.attrib["class"].split() for line in lines]
    assert len({look[1] for look in looks}) == len({look[2] for look in looks}) == 4


# --- Ticks and axes


@pytest.mark.parametrize(
    ("low", "high", "expected"),
    [
        (0, 10, [0, 2, 4, 6, 8, 10]),
        (0, 6.9, [0, 2, 4, 6]),
        (0, 0.35, [0, 0.1, 0.2, 0.3]),
        (-1, 1, [-1, -0.5, 0, 0.5, 1]),
        (1200, 1700, [1200, 1300, 1400, 1500, 1600, 1700]),
    ],
)
def test_ticks_are_round(low: float, high: float, expected: list[float]) -> None:
    assert ticks(low, high) == expected


@given(finite, st.floats(1e-3, 1e6))
def test_ticks_lie_inside_and_are_evenly_spaced(low: float, span: float) -> None:
    found = np.array(ticks(low, low + span))
    assert 2 <= len(found) <= 7
    assert found.min() >= low - 1e-8 * span
    assert found.max() <= low + span * (1 + 1e-8)
    steps = np.diff(found)
    np.testing.assert_allclose(steps, steps[0], rtol=1e-5)
    mantissa = steps[0] / 10 ** math.floor(math.log10(steps[0]) + 1e-4)
    assert min(abs(mantissa - m) for m in (1, 2, 5)) < 1e-3


@given(st.lists(finite, min_size=1, max_size=30))
def test_an_axis_holds_its_values(values: list[float]) -> None:
    scale = scale_for(Axis("a"), values, 220, 0)
    at = scale.at(values)
    assert ((at >= -1e-6) & (at <= 220 + 1e-6)).all()


def test_axis_from_zero_shows_zero() -> None:
    assert scale_for(Axis("a", from_zero=True), [5, 6], 0, 1).low == 0
    assert scale_for(Axis("a"), [5, 6], 0, 1).low == 5


def test_written_numbers() -> None:
    assert written(12345.678, 1) == "12\u202f345.7"
    assert written(-0.5, 2) == "−0.50"
    assert written(-0.0001, 2) == "0.00"
    assert written(math.nan, 2) == "–"


# --- Thinning


@given(st.lists(finite, min_size=1, max_size=3000), st.integers(4, 500))
def test_thinning_keeps_ends_and_extremes(values: list[float], most: int) -> None:
    kept = thin(values, most)
    y = np.array(values)
    assert len(kept) <= max(most, 4)
    assert (np.diff(kept) > 0).all()
    assert {0, len(y) - 1} <= set(kept.tolist())
    assert y[kept].max() == y.max()
    assert y[kept].min() == y.min()


def test_a_single_spike_is_drawn_where_it_was() -> None:
    t = np.linspace(0, 1, 100_001)
    y = np.ones_like(t)
    y[31_415] = 9.0
    root = parse(line_chart("Spike", TIME, Panel(PRESSURE, [Series("p", t, y)])))
    drawn = points(paths(root, "line")[0])
    assert len(drawn) <= MOST_POINTS
    scale = [float(v) for v in next(g for g in root.iter("g")).attrib["data-scale"].split()]
    peak = drawn[drawn[:, 1].argmin()]
    x = scale[0] + (peak[0] - scale[2]) / (scale[3] - scale[2]) * (scale[1] - scale[0])
    height = scale[5] + (peak[1] - scale[7]) / (scale[8] - scale[7]) * (scale[6] - scale[5])
    assert x == pytest.approx(t[31_415], abs=1e-4)
    assert height == pytest.approx(9.0, abs=1e-3)
    rows = [[text_of(c) for c in row] for row in root.findall(".//tbody/tr")]
    assert ["0.31", "9.00"] in rows
    assert len(rows) <= 42
    assert "highest 9.00 MPa at 0.31 s" in text_of(root.find(".//desc"))


# --- Gaps and little data


@pytest.mark.parametrize("y", [[], [math.nan, math.nan], [math.inf, -math.inf]])
def test_nothing_to_draw_says_so(y: list[float]) -> None:
    x = list(range(len(y)))
    charts = [
        line_chart("T", TIME, Panel(PRESSURE, [Series("p", x, y)], rules=[Rule("Rated", 7)])),
        individuals_chart("T", PRESSURE, [Point("a", v) for v in y], 1.0),
        interval_chart("T", PRESSURE, [Interval("a", v, None, None, 1) for v in y]),
    ]
    for chart in charts:
        assert "no numbers to draw" in chart
        assert parse(chart).find(".//svg") is None


def test_a_gap_breaks_the_line_and_stays_a_gap() -> None:
    t, p = hump(2000)
    p[500:600] = math.nan
    root = parse(line_chart("Gap", TIME, Panel(PRESSURE, [Series("p", t, p)])))
    (line,) = paths(root, "line")
    assert line.attrib["d"].count("M") == 2
    assert "nan" not in str(ElementTree.tostring(root))
    x = points(line)[:, 0]
    assert np.diff(x).max() > 30


@pytest.mark.parametrize(("x", "y"), [([1], [115]), ([0, 1, 2], [0, 0, 0]), ([0, 1], [7, 7]), ([3, 3], [1, 2])])
def test_one_point_and_level_lines_are_drawn(x: list[float], y: list[float]) -> None:
    root = parse(line_chart("Few", TIME, Panel(Axis("Temperature", "°C"), [Series("melt", x, y)])))
    assert np.isfinite(points(paths(root, "line")[0])).all()
    assert paths(root, "dots")


def test_unequal_lengths_are_refused() -> None:
    with pytest.raises(ValueError, match="2 values beside 3 x values"):
        line_chart("x", TIME, Panel(PRESSURE, [Series("p", [0, 1, 2], [1, 2])]))


def test_a_level_far_above_the_curve_stays_in_sight() -> None:
    root = parse(line_chart("x", TIME, Panel(PRESSURE, [Series("p", [0, 1], [1, 2])], rules=[Rule("Rated", 40)])))
    (rule,) = [e for e in root.iter("line") if "rule" in e.attrib["class"]]
    assert 0 <= float(rule.attrib["y1"]) < points(paths(root, "line")[0])[:, 1].min()
    assert "Rated: 40 MPa." in text_of(root.find(".//desc"))


def test_columns_of_different_x_get_their_own_table() -> None:
    root = parse(
        line_chart("x", TIME, Panel(PRESSURE, [Series("a", [0, 1], [1, 2]), Series("b", [0, 2, 3], [1, 2, 3])]))
    )
    assert [len(t.findall(".//tbody/tr")) for t in root.iter("table")] == [2, 3]


# --- Lots


def test_individuals_name_what_lies_outside() -> None:
    values = [*NIST, 57.2]
    chart = individuals_chart(
        "Flow", Axis("Flow", decimals=2), [Point(f"n{i}", v) for i, v in enumerate(values)], 50.81, 45.8159, 55.8041
    )
    root = parse(chart)
    marks = [e for e in root.iter() if "point" in e.get("class", "").split()]
    assert len(marks) == 11
    assert [m.attrib["data-words"] for m in marks if "out" in m.attrib["class"]] == ["n10: 57.20, outside the limits"]
    words = text_of(root.find(".//desc"))
    assert "Upper limit 55.80. Centre 50.81. Lower limit 45.82." in words
    assert words.endswith("Outside the limits: n10.")


def test_a_single_firing_has_no_range() -> None:
    root = parse(
        interval_chart(
            "Density",
            Axis("Of ideal", "%", decimals=1),
            [Interval("2611P", 95.0, 94.0, 96.0, 8), Interval("2611Q", 93.0, None, None, 1)],
        )
    )
    assert len(paths(root, "interval")) == 1
    assert len([e for e in root.iter("circle") if "lone" in e.attrib["class"]]) == 1
    words = text_of(root.find(".//desc"))
    assert "2611P: 95.0 %, 94.0 to 96.0, n 8." in words
    assert "2611Q: 93.0 %, no range, n 1." in words


def test_a_row_that_rests_on_no_count_tells_none() -> None:
    root = parse(interval_chart("By itself", Axis("Factor", decimals=2), [Interval("M1", 1.0, 0.9, 1.1)]))
    assert "(n" not in text_of(root)
    assert "M1: 1.00, 0.90 to 1.10." in text_of(root.find(".//desc"))


def test_a_mark_does_not_look_like_a_limit() -> None:
    panel = Panel(PRESSURE, [Series("p", [0, 1], [1, 2])], rules=[Rule("Rated", 7), Rule("Measured", 2, limit=False)])
    root = parse(line_chart("x", TIME, panel))
    lines = [e.attrib["class"] for e in root.iter("line") if "rule" in e.attrib["class"]]
    assert lines == ["rule", "rule centre"]


def test_what_is_drawn_as_dots_has_dots_in_its_legend() -> None:
    gap = float("nan")
    panel = Panel(PRESSURE, [Series("Track", [0, 1, 2], [1, 2, 1]), Series("Spikes", [1, 1, 1], [5, gap, 6])])
    root = parse(line_chart("x", TIME, panel))
    assert len(paths(root, "ink-2")) == 3, "the line without strokes, its dots, and the dots of the legend"
    samples = [e for e in root.iter("line") if "ink" in e.attrib["class"]]
    assert [e.attrib["class"] for e in samples] == ["line ink-1 solid"]


def test_what_a_chart_shows_stands_in_words_above_its_numbers() -> None:
    root = parse(line_chart("x", TIME, Panel(PRESSURE, [Series("p", [0, 1], [1, 2])])))
    assert text_of(root.find(".//details/p")) == text_of(root.find(".//desc"))
