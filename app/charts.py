"""Charts drawn by the server as inline SVG: they need no script and print as lines, not as pixels.

Each chart is a `<figure>` with a title, its figures in words for who cannot see it, and the numbers in a
table that folds out. Values come in the units to be shown; this module converts nothing. `app.pens`
holds the pens.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from markupsafe import Markup
from numpy.typing import ArrayLike

from app.pens import (
    LEFT,
    LETTER,
    NARROW,
    PLOT,
    SPAN,
    Axis,
    Numbers,
    Scale,
    cut,
    empty_figure,
    figure,
    finite,
    foot,
    grid,
    line,
    number_table,
    numbers,
    polyline,
    rule_at,
    scale_for,
    stretched,
    tag,
    text_at,
)

__all__ = ["Axis", "Band", "Dash", "Panel", "Rule", "Series", "line_chart"]

Dash = Literal["solid", "dashed", "dotted", "dash-dot"]

DASHES: tuple[Dash, ...] = ("solid", "dashed", "dotted", "dash-dot")
MOST_ROWS = 40
FEW = 15


# --- What a page hands in ------------------------------------------------------------------------


@dataclass(frozen=True)
class Series:
    """One line: equally long x and y. A value that is not finite leaves a gap. `dash` defaults by order.

    A `faint` one stands behind the others to compare with: thin, in no table.
    """

    name: str
    x: ArrayLike
    y: ArrayLike
    dash: Dash | None = None
    faint: bool = False

    def css(self, order: int) -> str:
        """How it is drawn as the one of an order among its panel's."""
        ink = "faint" if self.faint else f"ink-{order % 4 + 1}"
        return f"line {ink} {self.dash or DASHES[order % len(DASHES)]}"


@dataclass(frozen=True)
class Band:
    """A range along x, such as the middle 90 % of sampled motors, of the series at a place among its panel's."""

    name: str
    x: ArrayLike
    lower: ArrayLike
    upper: ArrayLike
    of: int = 0

    @property
    def css(self) -> str:
        """How it is drawn."""
        return f"band ink-{self.of % 4 + 1}"


@dataclass(frozen=True)
class Rule:
    """A level to compare with; always kept in sight. A limit, such as a rated pressure, stands out, a mark does not."""

    label: str
    value: float
    limit: bool = True

    @property
    def css(self) -> str:
        """How it is drawn."""
        return "" if self.limit else "centre"


@dataclass(frozen=True)
class Panel:
    """One plot with its own upright axis. Panels of one chart share the axis along the bottom.

    `also` are ranges of further series; without `legend` the names stand in another panel.
    """

    y: Axis
    series: Sequence[Series] = ()
    band: Band | None = None
    rules: Sequence[Rule] = ()
    also: Sequence[Band] = ()
    height: float = PLOT
    legend: bool = True

    @property
    def bands(self) -> list[Band]:
        """All ranges."""
        return [*([self.band] if self.band else []), *self.also]


# --- Lines over a shared axis --------------------------------------------------------------------


def line_chart(title: str, x: Axis, *panels: Panel) -> Markup:
    """One or two plots (or more) above each other over one x axis: curves, ranges, levels to compare with.

    It is as wide as its place. Titles on one page should differ: the figure's id comes from the title. Raises
    ValueError when x and y of a series differ in length.
    """
    sets = [_columns(panel) for panel in panels]
    every_x = [v for columns in sets for xs, ys, _ in columns for v in _ends(xs[np.isfinite(ys)])]
    if not finite(every_x):
        return empty_figure(title, "There are no numbers to draw yet.")
    across = scale_for(x, every_x, 0.0, SPAN, snug=True)
    drawing: list[str] = []
    words: list[str] = []
    shown: list[_Column] = []
    top = 0.0
    for number, (panel, columns) in enumerate(zip(panels, sets, strict=True), start=1):
        values = [v for _, ys, _ in columns for v in _ends(ys)] + [r.value for r in panel.rules]
        legend, top = _legend(panel, top)
        up = scale_for(panel.y, values, top + panel.height, top)
        lowest = number == len(panels)
        drawing.append(_panel(panel, across, up, x, legend, lowest))
        words += _in_words(panel, x, across, up)
        faint = {s.name for s in panel.series if s.faint}
        label = f"{panel.y.label}: " if len(panels) > 1 else ""
        shown += [
            _Column(xs, ys, f"{label}{name}, {panel.y.unit}".rstrip(", "), up)
            for xs, ys, name in columns
            if name not in faint
        ]
        top += panel.height + (36 if lowest else 20)
    drawing.append(text_at(x.heading, "100%", top + 6, "axis-name end"))
    return figure(title, "lines", drawing, top + 16, " ".join(words), _number_tables(title, x, across, shown))


def _ends(values: Numbers) -> list[float]:
    """The least and the greatest of the finite ones; nothing where there are none."""
    known = values[np.isfinite(values)]
    return [float(known.min()), float(known.max())] if len(known) else []


@dataclass(frozen=True)
class _Column:
    """A column of the tables below a chart: its values over x, its head, and the scale that writes them."""

    x: Numbers
    y: Numbers
    head: str
    up: Scale


def _columns(panel: Panel) -> list[tuple[Numbers, Numbers, str]]:
    """Everything of a panel that has a value at each x: x, values, heading."""
    columns = []
    for s in panel.series:
        xs = numbers(s.x, s.name)
        columns.append((xs, numbers(s.y, s.name, len(xs)), s.name))
    for band in panel.bands:
        xs = numbers(band.x, band.name)
        columns.append((xs, numbers(band.lower, band.name, len(xs)), f"{band.name}, lower"))
        columns.append((xs, numbers(band.upper, band.name, len(xs)), f"{band.name}, upper"))
    return columns


def _lone(series: Series) -> bool:
    """Whether no two neighbours of a series stand together, so that it is drawn as dots alone."""
    good = np.isfinite(numbers(series.x, series.name)) & np.isfinite(numbers(series.y, series.name))
    return bool(good.any() and not (good[1:] & good[:-1]).any())


def _legend(panel: Panel, top: float) -> tuple[list[str], float]:
    """The upright axis's name and, where there is more than one thing, a sample and name of each."""
    parts: list[str] = [text_at(panel.y.heading, -LEFT, top + 15, "axis-name")]
    x, y = (len(panel.y.heading) + 3) * LETTER * 1.1 - LEFT, top + 15
    samples = [(s.name, f"dots ink-{i % 4 + 1}" if _lone(s) else s.css(i)) for i, s in enumerate(panel.series)]
    samples += [(band.name, band.css) for band in panel.bands]
    for name, css in samples if len(samples) > 1 and panel.legend else []:
        name = cut(name, 60)
        wide = 44 + len(name) * LETTER
        if x + wide > NARROW:
            x, y = 0.0, y + 20
        if css.startswith("band"):
            parts.append(tag("rect", x=x, y=y - 10, width=32.0, height=11.0, class_=css))
        elif css.startswith("dots"):
            parts.append(tag("path", d=f"M{x + 8:.2f},{y - 4:.2f}h0M{x + 24:.2f},{y - 4:.2f}h0", class_=css))
        else:
            parts.append(line(x, y - 4, x + 32, y - 4, css))
        parts.append(text_at(name, x + 38, y, "legend"))
        x += wide + 14
    return parts, y + 14


def _panel(panel: Panel, across: Scale, up: Scale, x: Axis, legend: Sequence[str], lowest: bool) -> Markup:
    """One panel; the lowest has the labels of the axis that all share."""
    parts: list[str] = [*legend, *grid(up), *foot(across, up.start, labels=lowest)]
    curves: list[str] = []
    for band in panel.bands:
        xs, low, high = (numbers(v, band.name) for v in (band.x, band.lower, band.upper))
        good = np.isfinite(xs) & np.isfinite(low) & np.isfinite(high)
        xs, low, high = across.at(xs[good]), up.at(low[good]), up.at(high[good])
        if len(xs):
            there, back = polyline(xs, low), polyline(xs[::-1], high[::-1])
            d = f"{there}L{back[1:]}Z"
            curves.append(tag("path", d=d, class_=band.css, data_name=band.name, data_unit=panel.y.unit))
    for i, s in sorted(enumerate(panel.series), key=lambda pair: not pair[1].faint):  # faint ones below the others
        xs, ys = across.at(numbers(s.x, s.name)), up.at(numbers(s.y, s.name))
        if d := polyline(xs, ys):
            curves.append(tag("path", d=d, class_=s.css(i), data_name=s.name, data_unit=panel.y.unit))
        if dots := _dots(xs, ys):
            curves.append(tag("path", d=dots, class_=f"dots ink-{i % 4 + 1}"))
    parts.append(stretched(curves, up.end, up.start))
    for rule in panel.rules:
        parts += rule_at(f"{rule.label}, {up.plain(rule.value)} {panel.y.unit}".strip(), rule.value, up, rule.css)
    scale = " ".join(f"{v:.10g}" for v in (*across, *up))
    return tag("g", *parts, class_="panel", data_scale=scale, data_name=x.label, data_unit=x.unit)


def _dots(xs: Numbers, ys: Numbers) -> str:
    """A dot on each of a few readings, and on any that stands alone between gaps."""
    good = np.isfinite(xs) & np.isfinite(ys)
    if good.sum() > FEW:
        good &= ~(np.r_[False, good[:-1]] | np.r_[good[1:], False])
    return "".join(f"M{x:.2f},{y:.2f}h0" for x, y in zip(xs[good], ys[good], strict=True))


def _in_words(panel: Panel, x: Axis, across: Scale, up: Scale) -> list[str]:
    words = []
    for s in panel.series:
        xs, ys = numbers(s.x, s.name), numbers(s.y, s.name)
        good = np.isfinite(xs) & np.isfinite(ys)
        xs, ys = xs[good], ys[good]
        if not len(ys):
            words.append(f"{s.name}: no numbers.")
            continue
        top, low = int(ys.argmax()), int(ys.argmin())
        words.append(
            f"{s.name}: highest {up.write(ys[top])} {panel.y.unit} at {across.write(xs[top])} {x.unit}, "
            f"lowest {up.write(ys[low])} {panel.y.unit} at {across.write(xs[low])} {x.unit}."
        )
    for band in panel.bands:
        ends = [finite(numbers(v, "").tolist()) for v in (band.lower, band.upper)]
        if all(ends):
            words.append(
                f"{band.name}: lowest {up.write(min(ends[0]))}, highest {up.write(max(ends[1]))} {panel.y.unit}."
            )
    words += [f"{rule.label}: {up.plain(rule.value)} {panel.y.unit}." for rule in panel.rules]
    return [re.sub(r" +(?=[.,])", "", sentence) for sentence in words]


def _number_tables(title: str, x: Axis, across: Scale, columns: Sequence[_Column]) -> list[str]:
    """Tables of all panels: columns over the same x share one; about forty rows, peaks among them."""
    tables: list[str] = []
    left = list(columns)
    while left:
        xs = left[0].x
        same = [c for c in left if np.array_equal(c.x, xs, equal_nan=True)]
        left = [c for c in left if not any(c is s for s in same)]
        rows = set(np.linspace(0, len(xs) - 1, min(len(xs), MOST_ROWS)).astype(int).tolist())
        for column in same:
            if np.isfinite(column.y).any():
                rows |= {int(np.nanargmax(column.y)), int(np.nanargmin(column.y))}
        cells = [[across.write(xs[i]), *(c.up.write(c.y[i]) for c in same)] for i in sorted(rows)]
        names = ", ".join(column.head for column in same)
        heads = [x.heading, *(column.head for column in same)]
        tables.append(number_table(f"{title}: numbers of {names}", heads, cells, words=()))
    return tables
