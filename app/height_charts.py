"""Motors for a wish in one picture: how high each would fly against how much of the case's limit its pressure takes.

A possible motor is a filled disc on pale bars, its ranges of nine in ten; one that is not is a ring, one that nobody
drew many times is a small square. Limits are long dashes, the heights wished a pale band.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from markupsafe import Markup

from app.pens import LEFT, SPAN, Axis, Scale, along, figure, foot, grid, line, number_table, scale_for, tag, text_at

PLOT = 330.0
TOP = 26.0
FOOT = 44.0

APART = 15.0
"""Between the numbers at the right [px]."""

HIGHEST = 1.6
"""Over the highest limit: motors above it, that are not possible, are counted and not drawn."""


@dataclass(frozen=True)
class Ranged:
    """A motor that is possible: its name, share of the limit [%] and height, each low, expected and high."""

    name: str
    share: tuple[float, float, float]
    height: tuple[float, float, float]


@dataclass(frozen=True)
class Other:
    """A motor that is not, and why; or one that was not ranged, with no reason."""

    share: float
    height: float
    why: str = ""


@dataclass(frozen=True)
class Wanted:
    """Heights wished, and the field's ceiling, each with its words."""

    low: float
    high: float
    words: str
    ceiling: float | None = None
    ceiling_words: str = ""


@dataclass(frozen=True)
class AtThroat:
    """One motor at a throat of its nozzle: share of the limit [%], height, and the throat in words."""

    share: float
    height: float
    words: str


def height_chart(
    title: str,
    height: Axis,
    motors: Sequence[Ranged],
    others: Sequence[Other],
    wanted: Wanted,
    words: str,
    drilled: Sequence[AtThroat] = (),
) -> Markup:
    """All motors of a search; the first five possible ones bear numbers at the right. `drilled` is one of them, from
    the throat as it is to the widest that its nozzle can be drilled to: a line through all.
    """
    limits = [wanted.low, wanted.high, *([wanted.ceiling] if wanted.ceiling is not None else [])]
    top = max([HIGHEST * max(limits), *(one.height[2] for one in motors)])
    others, higher = [one for one in others if one.height <= top], sum(one.height > top for one in others)
    words += f" {higher} that fly higher still are not drawn." if higher else ""
    ups = [v for one in motors for v in one.height] + [one.height for one in others] + limits
    shares = [v for one in motors for v in one.share] + [one.share for one in others] + [0.0, 104.0]
    up = scale_for(height, ups, TOP + PLOT, TOP)
    across = scale_for(Axis("Peak pressure", "%", decimals=0), [min(v, 160.0) for v in shares], 0.0, SPAN)
    high, low = float(up.at(wanted.high)), float(up.at(wanted.low))
    parts: list[str] = [
        tag("rect", x=0, y=high, width="100%", height=max(low - high, 2.0), class_="wished"),
        *grid(up),
        *foot(across, TOP + PLOT),
        text_at(height.heading, -LEFT + 4, 12.0, "axis-name"),
        text_at("peak pressure, % of what the case is held to", "100%", TOP + PLOT + 38, "axis-name end"),
        *_others(others, across, up),
        *_drilled([one for one in drilled if one.height <= top and one.share <= across.high], across, up),
        *_motors(motors, across, up),
        text_at(wanted.words, "100%", min(high + 15, TOP + PLOT - 4), "rule-name limit end", -6.0),
    ]
    full = float(across.at(100.0))
    parts += [
        line(along(full), TOP, along(full), TOP + PLOT, "rule"),
        text_at("the case's limit", along(full), TOP + PLOT - 6, "rule-name end", -5.0),
    ]
    if wanted.ceiling is not None:
        at = float(up.at(wanted.ceiling))
        parts += [line(0.0, at, "100%", at, "rule"), text_at(wanted.ceiling_words, 6.0, at - 6, "rule-name")]
    rows = [
        [
            str(i),
            one.name,
            up.write(one.height[1]),
            f"{up.write(one.height[0])} to {up.write(one.height[2])}",
            across.write(one.share[1]),
            across.write(one.share[2]),
        ]
        for i, one in enumerate(motors, 1)
    ]
    heads = ["Place", "Motor", height.heading, "Nine in ten", "Peak, %", "at most, %"]
    table = number_table(f"{title}: numbers", heads, rows, words=(0, 1))
    return figure(title, "points", parts, TOP + PLOT + FOOT, words, [table], "heights")


def _drilled(drilled: Sequence[AtThroat], across: Scale, up: Scale) -> list[Markup]:
    """A line through one motor's throats, its two ends by their size."""
    if len(drilled) < 2:
        return []
    places = [(float(across.at(one.share)), float(up.at(one.height))) for one in drilled]
    found = [line(along(a), b, along(c), d, "drilled") for (a, b), (c, d) in pairwise(places)]
    for (x, y), one in ((places[0], drilled[0]), (places[-1], drilled[-1])):
        found.append(text_at(one.words, along(x), y + 18, "throat-name middle"))
    return found


def _others(others: Sequence[Other], across: Scale, up: Scale) -> list[Markup]:
    found = []
    for one in others:
        if not math.isfinite(one.height) or one.share > across.high:
            continue
        x, y = along(float(across.at(one.share))), float(up.at(one.height))
        if one.why:
            found.append(tag("circle", cx=x, cy=y, r=3.5, class_="cannot"))
        else:
            found.append(
                tag("svg", tag("rect", x=-3, y=-3, width=6, height=6, class_="unranged"), x=x, y=y, overflow="visible")
            )
    return found


def _motors(motors: Sequence[Ranged], across: Scale, up: Scale) -> list[Markup]:
    """Bars below, discs above them, numbers of the first five at the right with a thread to each."""
    bars, discs = [], []
    for i, one in reversed(list(enumerate(motors, 1))):
        x, y = float(across.at(one.share[1])), float(up.at(one.height[1]))
        left, right = (float(across.at(min(v, across.high))) for v in (one.share[0], one.share[2]))
        ends = [float(up.at(v)) for v in (one.height[0], one.height[2])]
        css = "expected" if i <= 5 else "expected slim"
        bars += [line(along(x), ends[0], along(x), ends[1], css), line(along(left), y, along(right), y, css)]
        told = f"{i}: {one.name}; {up.write(one.height[1])}, {across.write(one.share[1])} %"
        at = f"{x:.2f} {y:.2f}"
        discs.append(
            tag("circle", cx=along(x), cy=y, r=6.0 if i <= 5 else 4.0, class_="point", data_words=told, data_at=at)
        )
    threads = []
    marks = sorted((float(up.at(one.height[1])), i, one) for i, one in enumerate(motors[:5], 1))
    above = TOP - APART
    for n, (y, i, one) in enumerate(marks):
        room = TOP + PLOT - APART * (len(marks) - 1 - n)
        above = min(max(y, above + APART), room)
        threads += [
            line(along(float(across.at(one.share[1]))), y, "100%", above, "thread"),
            text_at(str(i), "100%", above + 4.5, "number", 6.0),
        ]
    return [*bars, *threads, *discs]
