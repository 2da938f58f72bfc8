"""Two sides of many things on one axis: each motor as a mark, and under it how well the mean of its side is known.

A row is a cell of a table, as wide as its column, so that the rows of all things stand under each other. The axis
counts from the middle of all marks of a row in their usual scatter, which things in kelvin, days and per cent share.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from app.drawings.sheet import CAP, at, em, pc, scaled
from app.pens import line, tag, text_at, written

REACH = 3.2
"""How far the axis goes either way, in scatters; what lies beyond is an arrow at its edge."""

ROW, LANES = 2.25, (0.7, 1.6)
"""Height of a row, and where its two sides stand in it [em]."""

TICKS = (-2, -1, 0, 1, 2)

DISC, DIAMOND = "M-8,0A8,8 0 1,1 8,0A8,8 0 1,1 -8,0Z", "M0,-9L9,0L0,9L-9,0Z"
BEYOND = {-1: "M6,-8L-6,0L6,8", 1: "M-6,-8L6,0L-6,8"}


@dataclass(frozen=True)
class Side:
    """One side of a row, in scatters from the middle: its motors, their mean and the ends of its interval."""

    marks: Sequence[float]
    mean: float | None = None
    low: float | None = None
    high: float | None = None


def _place(scatters: float) -> str:
    return pc((min(max(scatters, -REACH), REACH) + REACH) / (2 * REACH))


def two_sides(above: Side, below: Side, words: str) -> Markup:
    """A row: one side above as discs, the other below as hollow diamonds; `words` say what it shows.

    A mean is an upright stroke, its interval a line with ends.
    """
    parts = [line(_place(t), "0", _place(t), em(ROW), "grid" if t else "middle-of-all") for t in TICKS]
    for side, level, shape, css in ((above, LANES[0], DISC, "above"), (below, LANES[1], DIAMOND, "below")):
        if side.low is not None and side.high is not None:
            parts.append(line(_place(side.low), em(level), _place(side.high), em(level), f"interval {css}"))
            for end in (end for end in (side.low, side.high) if abs(end) <= REACH):
                parts.append(line(_place(end), em(level - 0.2), _place(end), em(level + 0.2), f"interval {css}"))
        for value in side.marks:
            beyond = (value > REACH) - (value < -REACH)
            mark = scaled(BEYOND[beyond] if beyond else shape, f"beyond {css}" if beyond else f"mark {css}", 0.55)
            parts.append(at(_place(value), em(level), mark))
        if side.mean is not None:
            parts.append(line(_place(side.mean), em(level - 0.42), _place(side.mean), em(level + 0.42), f"mean {css}"))
    return tag("svg", tag("title", words), *parts, class_="two-sides", role="img", aria_label=words, height=em(ROW))


def two_sides_head() -> Markup:
    """The head of a column of rows: its axis in numbers."""
    labels = [text_at(written(t, 0) if t else "middle of all", _place(t), em(0.5 + CAP), "tick middle") for t in TICKS]
    return tag("svg", *labels, class_="two-sides head", aria_hidden="true", height=em(1.2))
