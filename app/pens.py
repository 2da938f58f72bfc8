"""The pens and scales that charts are drawn with: round ticks, thinning, SVG elements, the figure around them.

A chart is as wide as its place. Along it places are thousandths of its field, written as per cent; curves are stretched
to it; heights and words keep their size in px. Colours, dashes and type come from
static/css/chart.css through classes; nothing is styled inline.
"""

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from markupsafe import Markup, escape
from numpy.typing import ArrayLike, NDArray

Numbers = NDArray[np.float64]

MOST_POINTS = 400
SPAN = 1000.0
"""The width of a chart's field in its own units."""
PLOT = 220.0
"""How high a field is [px]."""
LEFT = 62.0
"""The room for labels at the left of a field, as static/css/chart.css has it [px]."""
LETTER = 7.0  # rough width of a letter at the chart's type size; only for spacing [px]
NARROW, USUAL = 360.0, 620.0  # a field on a phone, and beside another one on a laptop; only for spacing [px]


@dataclass(frozen=True)
class Axis:
    """What an axis measures.

    `decimals` fixes how values are written in words and tables; without it they follow from the span.
    `from_zero` keeps zero in sight, so that heights may be compared; `span` keeps a low and a high in sight, so that
    charts beside each other share their ends.
    """

    label: str
    unit: str = ""
    from_zero: bool = False
    decimals: int | None = None
    span: tuple[float, float] | None = None

    @property
    def heading(self) -> str:
        """Label and unit, as at the head of a column."""
        return f"{self.label}, {self.unit}" if self.unit else self.label


# --- Numbers -------------------------------------------------------------------------------------


def ticks(low: float, high: float, about: int = 5) -> list[float]:
    """Round values between low and high, 1, 2 or 5 times a power of ten apart, roughly `about` of them.

    >>> ticks(0, 6.9)
    [0.0, 2.0, 4.0, 6.0]
    """
    step = _step(low, high, about)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    digits = max(0, -math.floor(math.log10(step)))
    return [round(k * step, digits) + 0.0 for k in range(first, last + 1)]


def _step(low: float, high: float, about: int) -> float:
    raw = (high - low) / about
    power = 10.0 ** math.floor(math.log10(raw))
    return next(m * power for m in (1, 2, 5, 10) if m * power >= raw * (1 - 1e-9))


def thin(y: ArrayLike, most: int = MOST_POINTS) -> NDArray[np.intp]:
    """Indices to draw: at most `most` of them, with the ends and the least and greatest of each stretch.

    For drawing only. Every peak stays; values that are not finite are the caller's to split off.
    """
    values = np.asarray(y, dtype=float)
    if len(values) <= most:
        return np.arange(len(values))
    edges = np.linspace(0, len(values), (most - 2) // 2 + 1).astype(int)
    keep = {0, len(values) - 1}
    for start, end in pairwise(edges):
        stretch = values[start:end]
        keep |= {int(start + stretch.argmin()), int(start + stretch.argmax())}
    return np.array(sorted(keep), dtype=np.intp)


def numbers(values: ArrayLike, name: str, length: int | None = None) -> Numbers:
    """One-dimensional floats; raises ValueError when there are not `length` of them."""
    array = np.array(values, dtype=float).ravel()
    if length is not None and len(array) != length:
        raise ValueError(f"{name}: {len(array)} values beside {length} x values")
    return array


def finite(values: Iterable[float | None]) -> list[float]:
    """Those of the values that are known and finite."""
    return [float(v) for v in values if v is not None and math.isfinite(v)]


def written(value: float, decimals: int) -> str:
    """A value as people read it: thin spaces between thousands, a true minus, a dash for nothing."""
    if not math.isfinite(value):
        return "–"
    if abs(value) >= 1e9:
        return f"{value:.3g}"
    text = f"{value:,.{decimals}f}"
    if abs(value) > 999:
        text = text.replace(",", "\u202f")
    if value < 0:
        return text.replace("-", "−") if re.search("[1-9]", text) else text.lstrip("-")
    return text


class Scale(NamedTuple):
    """From values to the drawing: low..high lands on start..end."""

    low: float
    high: float
    start: float
    end: float
    decimals: int

    def at(self, value: ArrayLike) -> Numbers:
        """Where values lie in the drawing."""
        share = (np.asarray(value, dtype=float) - self.low) / (self.high - self.low)
        return np.asarray(self.start + share * (self.end - self.start))

    def ticks(self, about: int) -> list[tuple[float, str]]:
        """Places and labels of round values."""
        digits = max(0, -math.floor(math.log10(_step(self.low, self.high, about)) + 1e-9))
        return [(float(self.at(t)), written(t, digits)) for t in ticks(self.low, self.high, about)]

    def plain(self, value: float) -> str:
        """A given level, such as a limit: without the zeros that nobody set."""
        text = written(value, self.decimals)
        return text.rstrip("0").rstrip(".") if "." in text else text

    def write(self, value: float) -> str:
        """A value with the decimals this axis deserves."""
        return written(value, self.decimals)


def scale_for(axis: Axis, values: Iterable[float | None], start: float, end: float, snug: bool = False) -> Scale:
    """An axis around the finite ones of the values; `snug` ends at the data, else at round values."""
    seen = finite(values) + ([0.0] if axis.from_zero else []) + finite(axis.span or ())
    low, high = (min(seen), max(seen)) if seen else (0.0, 1.0)
    if high - low <= 1e-9 * max(abs(low), abs(high)):
        pad = abs(high) * 0.05 or 1.0
        low, high, snug = low - pad, high + pad, False
    decimals = max(0, 2 - math.floor(math.log10(high - low)))
    if not snug:
        step = _step(low, high, 5)
        low, high = math.floor(low / step + 1e-9) * step, math.ceil(high / step - 1e-9) * step
    return Scale(low, high, start, end, decimals if axis.decimals is None else axis.decimals)


# --- Elements ------------------------------------------------------------------------------------


def tag(name: str, *children: str, **attributes: object) -> Markup:
    """An element. Text is escaped here and nowhere else; `class_` and `data_x` name class and data-x."""
    pairs = "".join([_pair(key, value) for key, value in attributes.items() if value is not None])
    inner = "".join([child if type(child) is Markup else escape(child) for child in children])
    return Markup(f"<{name}{pairs}>{inner}</{name}>")  # noqa: S704 - every part was escaped above


@lru_cache(maxsize=4096, typed=True)
def _pair(key: str, value: object) -> str:
    """An attribute as it is written: a page has thousands, of a few hundred kinds."""
    return f' {key.rstrip("_").replace("_", "-")}="{escape(_short(value))}"'


def _short(value: object) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".") if isinstance(value, float) else str(value)


Place = float | str
"""Where something stands in a drawing: a number of its viewBox, or a length with its unit, such as 2em or 43%."""


def along(x: float) -> str:
    """A place along a field, as a length of its drawing."""
    return f"{x * 100 / SPAN:.3f}".rstrip("0").rstrip(".") + "%"


def stretched(paths: Sequence[str], top: float, bottom: float) -> Markup:
    """Curves of a field from top to bottom [px], their x in units of the field, drawn as wide as there is room."""
    return tag(
        "svg",
        *paths,
        y=top,
        width="100%",
        height=bottom - top,
        viewBox=f"0 {top:g} {SPAN:g} {bottom - top:g}",
        preserveAspectRatio="none",
        class_="field",
    )


def text_at(words: str, x: Place, y: Place, css: str, aside: float | None = None) -> Markup:
    """Words with their baseline at y, some px aside of x."""
    return tag("text", words, x=x, y=y, dx=aside, class_=css)


def line(x1: Place, y1: Place, x2: Place, y2: Place, css: str) -> Markup:
    """A straight line."""
    return tag("line", x1=x1, y1=y1, x2=x2, y2=y2, class_=css)


def point(x: float, y: float, words: str, css: str) -> Markup:
    """A point of a field that the script can read out: a disc, or a diamond where it stands outside the limits."""
    shape: dict[str, object] = {"class_": f"point {css}".strip(), "data_words": words, "data_at": f"{x:.2f} {y:.2f}"}
    if css == "out":
        return tag("svg", tag("path", d="M0,-7l7,7l-7,7l-7,-7Z", **shape), x=along(x), y=y, overflow="visible")
    return tag("circle", cx=along(x), cy=y, r=5.0, **shape)


def cut(words: str, most: int) -> str:
    """Words shortened to at most `most` letters."""
    return words if len(words) <= most else words[: most - 1].rstrip() + "…"


def polyline(x: Numbers, y: Numbers) -> str:
    """Path data through already scaled points: one stroke per unbroken run."""
    good = np.flatnonzero(np.isfinite(x) & np.isfinite(y))
    if not len(good):
        return ""
    runs = np.split(good, np.flatnonzero(np.diff(good) > 1) + 1)
    strokes = []
    for run in runs:
        share = max(4, MOST_POINTS * len(run) // len(good))
        kept = run[thin(y[run], share)]
        points = np.column_stack((x[kept], y[kept])).ravel().tolist()
        strokes.append("M" + ("L%.2f,%.2f" * len(kept) % tuple(points))[1:])  # at once: half the time of one by one
    return "".join(strokes)


def figure(
    title: str,
    kind: str,
    drawing: Sequence[str],
    height: float,
    words: str,
    tables: Sequence[str],
    css: str | None = None,
) -> Markup:
    """The whole chart: title, drawing with its words, a line for the script to read out in, words and tables folded."""
    key = "chart-" + (re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-") or "untitled")
    svg = tag(
        "svg",
        tag("title", title, id=f"{key}-title"),
        tag("desc", words, id=f"{key}-words"),
        *drawing,
        width="100%",
        height=height,
        role="img",
        class_=css,
        data_kind=kind,
        aria_labelledby=f"{key}-title {key}-words",
    )
    frame = tag("div", svg, class_="scroll", tabindex=0, role="group", aria_label=f"Drawing: {title}")
    readout = tag("p", "", class_="readout", role="status", hidden="")
    said = tag("p", words) if words else ""
    numbers = tag("details", tag("summary", "In words and numbers"), said, *tables, class_="numbers")
    return tag("figure", tag("figcaption", title), frame, readout, numbers, class_="chart", id=key)


def empty_figure(title: str, words: str) -> Markup:
    """A chart that has nothing to show says so."""
    return tag("figure", tag("figcaption", title), tag("p", words, class_="empty"), class_="chart")


def _row(starts: Sequence[str], row: Sequence[str]) -> str:
    """A row, written without an element for each cell: a page with curves has a thousand."""
    return f"<tr>{''.join([f'{start}{escape(cell)}</td>' for start, cell in zip(starts, row, strict=True)])}</tr>"


def number_table(
    caption: str, heads: Sequence[str], rows: Iterable[Sequence[str]], words: Sequence[int] = (0,)
) -> Markup:
    """A table in its scrolling frame; the columns counted in `words` hold words, the others numbers."""

    css = [None if i in words else "num" for i in range(len(heads))]
    head = tag("tr", *(tag("th", name, scope="col", class_=kind) for name, kind in zip(heads, css, strict=True)))
    starts = [f'<td class="{kind}">' if kind else "<td>" for kind in css]
    body = Markup("".join([_row(starts, row) for row in rows]))  # noqa: S704 - every cell was escaped
    table = tag("table", tag("thead", head), tag("tbody", body))
    return tag("div", table, class_="scroll", tabindex=0, role="region", aria_label=caption)


def grid(up: Scale) -> list[str]:
    """Level lines with their labels, and the frame at the left and the foot."""
    parts: list[str] = []
    for at, label in up.ticks(5 if abs(up.start - up.end) > 100 else 3):
        parts += [line(0.0, at, "100%", at, "grid"), text_at(label, -8.0, at + 4.5, "tick end")]
    return [*parts, line(0.0, up.end, 0.0, up.start, "frame"), line(0.0, up.start, "100%", up.start, "frame")]


def foot(across: Scale, y: float, about: int = 8, labels: bool = True) -> list[str]:
    """Marks and labels of the axis along the foot of a field; with little room every other label gives way."""
    parts: list[str] = []
    for i, (at, label) in enumerate(across.ticks(about)):
        parts.append(line(along(at), y, along(at), y + 5, "frame"))
        if labels:
            parts.append(text_at(label, along(at), y + 18, "tick middle" + (" spare" if i % 2 else "")))
    return parts


def rule_at(label: str, value: float, up: Scale, css: str = "") -> list[str]:
    """A level line with its name above it, or below where it lies at the very top."""
    if not math.isfinite(value):
        return []
    at = float(up.at(value))
    below = at - up.end < 16  # no room above the line
    return [
        line(0.0, at, "100%", at, f"rule {css}".strip()),
        text_at(cut(label, 80), "100%", at + (15 if below else -6), f"rule-name end {css}".strip(), -4.0),
    ]
