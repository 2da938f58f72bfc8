"""Small multiples: like charts of pairs side by side, all on one upright axis, with one legend and one fold of numbers.

A thing is a mark: its one value across, its other value up, and a thick pale bar where it was expected, nine in ten.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from markupsafe import Markup

from app.charts import MOST_ROWS, Rule
from app.pens import SPAN, Axis, Scale, along, line, number_table, scale_for, stretched, tag, text_at

TOP, PLOT, FOOT = 8.0, 124.0, 24.0
"""Heights of one chart of the set [px], two rows of which fit the first screen of a laptop; along it places are
thousandths of its field, as those of `app.pens`."""

READ_OUT = 150
"""Marks up to which each can be read out; more are drawn as dots."""

SLIM = 40
"""Bars up to which they are broad."""

CROSS = "M-4.5,-4.5l9,9m-9,0l9,-9"
DIAMOND = "M0,-8.5l8.5,8.5l-8.5,8.5l-8.5,-8.5Z"


@dataclass(frozen=True)
class Fired:
    """One mark: what it stands for, its two values, the range it was expected in, and whether it stands apart.

    A mark that stands apart, such as one outside its range, is × in a diamond; the others are ×.
    """

    label: str
    x: float
    y: float
    low: float | None = None
    high: float | None = None
    apart: bool = False


@dataclass(frozen=True)
class Multiple:
    """One chart of a set: its name, what is across, its marks, what they say, and a word or two that stand above it."""

    key: str
    name: str
    x: Axis
    fired: Sequence[Fired]
    said: str
    note: str = ""
    strong: bool = False
    """Whether the note is a finding, and not that there is none."""


@dataclass(frozen=True)
class Legend:
    """What the marks of a set are called: `plain` and `apart`, and the bar where there is one."""

    plain: str
    apart: str
    bar: str = ""
    rules: Sequence[Rule] = field(default_factory=tuple)


def multiples(title: str, y: Axis, legend: Legend, charts: Sequence[Multiple], shared: bool = False) -> Markup:
    """A set of charts on one upright axis, as many beside each other as there is room; `shared`: on one lower axis too.

    Titles on one page should differ: the figure's id comes from the title.
    """
    every = [one for chart in charts for one in chart.fired]
    ends = [v for one in every for v in (one.y, one.low, one.high)] + [rule.value for rule in legend.rules]
    up = scale_for(y, ends, TOP + PLOT, TOP)
    drawn = [
        _chart(title, chart, y, legend, up, [one.x for one in (every if shared else chart.fired)], shared)
        for chart in charts
    ]
    tables = [_numbers(chart, y, legend, up) for chart in charts]
    key = "chart-" + re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")
    numbers = tag("details", tag("summary", "In words and numbers"), *tables, class_="numbers")
    readout = tag("p", "", class_="readout", role="status", hidden="")
    return tag(
        "figure",
        tag("figcaption", title, class_="visually-hidden"),
        _key(y, legend, every, charts[0].x.heading if shared and charts else ""),
        tag("div", *drawn, class_="multiples"),
        readout,
        numbers,
        class_="chart set",
        id=key,
    )


def _key(y: Axis, legend: Legend, every: Sequence[Fired], across: str) -> Markup:
    """The names of the axes in common, and a sample of each mark that is there."""
    cross = tag("path", d=CROSS, class_="fired")
    diamond = tag("path", d=DIAMOND, class_="apart")
    samples: list[tuple[Markup, str]] = [(cross, legend.plain)]
    if any(one.apart for one in every):
        samples.append((Markup("") + diamond + cross, legend.apart))
    if legend.bar:
        samples.append((line(0.0, -9.0, 0.0, 9.0, "expected"), legend.bar))
    for rule in legend.rules:
        samples.append((line(-10.0, 0.0, 10.0, 0.0, f"rule {rule.css}"), rule.label))
    parts: list[str] = [
        tag("strong", f"{y.heading} up, {across[:1].lower()}{across[1:]} across" if across else y.heading)
    ]
    for sample, words in samples:
        parts.append(tag("svg", sample, class_="sample", viewBox="-10 -10 20 20", aria_hidden="true"))
        parts.append(tag("span", words))
    return tag("p", *parts, class_="key")


def _chart(
    title: str, chart: Multiple, y: Axis, legend: Legend, up: Scale, xs: Sequence[float], shared: bool
) -> Markup:
    across = scale_for(chart.x, xs, 0.0, SPAN)
    parts: list[str] = []
    for at, label in up.ticks(4):
        parts += [line(0.0, at, "100%", at, "grid"), text_at(label, -6.0, at + 4.5, "tick end")]
    parts += [line(0.0, up.end, 0.0, up.start, "frame"), line(0.0, up.start, "100%", up.start, "frame")]
    for at, label in across.ticks(4):
        parts += [line(along(at), up.start, along(at), up.start + 4, "frame")]
        parts.append(text_at(label, along(at), up.start + 17, "tick middle"))
    for rule in legend.rules:
        at = float(up.at(rule.value))
        parts.append(line(0.0, at, "100%", at, f"rule {rule.css}".strip()))
    parts += _marks(chart, y, legend, across, up)
    svg = tag(
        "svg",
        tag("title", f"{chart.name}: {title}"),
        tag("desc", chart.said),
        *parts,
        width="100%",
        height=TOP + PLOT + FOOT,
        role="img",
        data_kind="points",
    )
    note = tag("span", chart.note, class_="finding" if chart.strong else "muted")
    name = chart.name if shared else f"{chart.name},\u00a0{chart.x.unit}" if chart.x.unit else chart.name
    head = tag("h2", name, " ", note, id=chart.key)
    frame = tag("div", svg, class_="scroll", tabindex=0, role="group", aria_label=f"Drawing: {chart.name}")
    return tag("div", head, frame)


def _marks(chart: Multiple, y: Axis, legend: Legend, across: Scale, up: Scale) -> list[Markup]:
    """Bars below, marks above them; few are read out one by one, many share a path."""
    xs, ys = across.at([one.x for one in chart.fired]), up.at([one.y for one in chart.fired])
    parts = []
    broad = "expected" if len(chart.fired) <= SLIM else "expected slim"
    for one, x in zip(chart.fired, xs, strict=True):
        if one.low is not None and one.high is not None:
            parts.append(line(along(x), float(up.at(one.low)), along(x), float(up.at(one.high)), broad))
    if len(chart.fired) > READ_OUT:
        for apart, css in ((False, "dots many ink-1"), (True, "dots many ink-2")):
            at = [(a, b) for a, b, one in zip(xs, ys, chart.fired, strict=True) if one.apart is apart]
            places = dict.fromkeys((round(float(a)), round(float(b))) for a, b in at)
            dots = tag("path", d="".join(f"M{a},{b}h0" for a, b in places), class_=css)
            parts.append(stretched([dots], 0.0, TOP + PLOT + FOOT))
        return parts
    for one, x, at in zip(chart.fired, xs, ys, strict=True):
        words = f"{one.label}, {legend.apart if one.apart else legend.plain}: {_values(one, chart, y, across, up)}"
        shapes = [tag("path", d=DIAMOND, class_="apart")] if one.apart else []
        shapes.append(tag("path", d=CROSS, class_="fired", data_words=words, data_at=f"{x:.2f} {at:.2f}"))
        parts.append(tag("svg", *shapes, x=along(x), y=float(at), overflow="visible"))
    return parts


def _values(one: Fired, chart: Multiple, y: Axis, across: Scale, up: Scale) -> str:
    said = f"{chart.x.label} {across.write(one.x)} {chart.x.unit}".strip() + f", {y.label} {up.write(one.y)} {y.unit}"
    if one.low is not None and one.high is not None:
        said += f", range {up.write(one.low)} to {up.write(one.high)}"
    return said.strip()


def _numbers(chart: Multiple, y: Axis, legend: Legend, up: Scale) -> Markup:
    """What a chart says in words, and its marks as rows; of very many an even pick."""
    across = scale_for(chart.x, [one.x for one in chart.fired], 0.0, SPAN)
    every = len(chart.fired)
    caption = f"{chart.name}: numbers" + (f" of {MOST_ROWS} of {every}, evenly picked" if every > MOST_ROWS else "")
    picked = [chart.fired[i] for i in np.linspace(0, every - 1, min(every, MOST_ROWS)).astype(int)] if every else []
    heads = ["Item", "", chart.x.heading, y.heading]
    ranged = any(one.low is not None for one in picked)
    rows = []
    for one in picked:
        row = [one.label, legend.apart if one.apart else legend.plain, across.write(one.x), up.write(one.y)]
        if ranged:
            known = one.low is not None and one.high is not None
            row.append(f"{up.write(one.low or 0.0)} to {up.write(one.high or 0.0)}" if known else "–")
        rows.append(row)
    table = number_table(caption, [*heads, "Range"] if ranged else heads, rows, words=(0, 1))
    return Markup("") + tag("p", tag("strong", chart.name), f". {chart.said}") + table
