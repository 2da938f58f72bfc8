"""Charts of single values: of a series against its limits, and of groups with their intervals."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup

from app.charts import Rule
from app.pens import (
    LEFT,
    LETTER,
    PLOT,
    SPAN,
    USUAL,
    Axis,
    along,
    cut,
    empty_figure,
    figure,
    foot,
    grid,
    line,
    number_table,
    point,
    polyline,
    rule_at,
    scale_for,
    stretched,
    tag,
    text_at,
)

ROOM, ROOM_STEP = 3, 28.0
"""The room for names at the left of a field: at least so many steps of so many px, as static/css/chart.css has them."""


@dataclass(frozen=True)
class Point:
    """One value of an individuals chart, in order of time."""

    label: str
    value: float


@dataclass(frozen=True)
class Interval:
    """One row of an interval chart. Without low and high (a single firing) only the value is drawn; n may be absent."""

    label: str
    mid: float
    low: float | None
    high: float | None
    n: int | None = None


def individuals_chart(
    title: str,
    y: Axis,
    points: Sequence[Point],
    centre: float | None = None,
    lower: float | None = None,
    upper: float | None = None,
    plot: float = PLOT,
) -> Markup:
    """Single values in order, with the centre line and control limits that the caller computed; `plot` px high.

    A point outside the limits is drawn as a diamond and named in the words.
    """
    shown = [p for p in points if math.isfinite(p.value)]
    if not shown:
        return empty_figure(title, "There are no numbers to draw yet.")
    levels = [(name, v) for name, v in (("upper limit", upper), ("centre", centre), ("lower limit", lower))]
    known = [(name, v) for name, v in levels if v is not None and math.isfinite(v)]
    top = 28.0
    up = scale_for(y, [p.value for p in shown] + [v for _, v in known], top + plot, top)
    room = 110 / USUAL if known else 0  # for the names of the levels, beside the points
    apart = SPAN * (1 - room) / len(shown)
    xs = [apart * (i + 0.5) for i in range(len(shown))]
    ys = [float(up.at(p.value)) for p in shown]
    drawing: list[str] = [text_at(y.heading, -LEFT, 15.0, "axis-name"), *grid(up)]
    thread = tag("path", d=polyline(np.array(xs), np.array(ys)), class_="thread")
    drawing.append(stretched([thread], up.end, up.start))
    for name, v in known:
        drawing += rule_at(f"{name} {up.write(v)}", v, up, "centre" if name == "centre" else "limit")
    outside = [(lower is not None and p.value < lower) or (upper is not None and p.value > upper) for p in shown]
    every = math.ceil((max(len(cut(p.label, 12)) for p in shown) + 2) * LETTER * SPAN / USUAL / apart)
    for i, p in enumerate(shown):
        words = f"{p.label}: {up.write(p.value)} {y.unit}".strip() + (", outside the limits" if outside[i] else "")
        drawing.append(point(xs[i], ys[i], words, "out" if outside[i] else ""))
        if i % every == 0:
            drawing.append(
                text_at(
                    cut(p.label, 12), along(xs[i]), top + plot + 18, f"tick middle{' spare' if i // every % 2 else ''}"
                )
            )
    said = [
        f"{len(shown)} values in order of time, from {up.write(min(p.value for p in shown))} to "
        f"{up.write(max(p.value for p in shown))} {y.unit}.".replace(" .", ".")
    ]
    said += [f"{name.capitalize()} {up.write(v)}." for name, v in known]
    if lower is not None or upper is not None:
        out = [p.label for p, is_out in zip(shown, outside, strict=True) if is_out]
        said.append(f"Outside the limits: {', '.join(out) or 'none'}.")
    rows = [(p.label, up.write(p.value), "outside" if o else "") for p, o in zip(shown, outside, strict=True)]
    table = number_table(f"{title}: numbers", ("Item", y.heading, "Limits"), rows, words=(0, 2))
    return figure(title, "points", drawing, top + plot + 28, " ".join(said), [table])


def interval_chart(title: str, x: Axis, rows: Sequence[Interval], rules: Sequence[Rule] = ()) -> Markup:
    """One row per item: a mid value with its low and high, and the count it rests on.

    Few firings mean wide ranges, and a single one has none: its mark is hollow and the row says so.
    """
    shown = [r for r in rows if math.isfinite(r.mid)]
    if not shown:
        return empty_figure(title, "There are no numbers to draw yet.")
    counted = {r.label: "" if r.n is None else f" (n {r.n})" for r in shown}
    letters = min(30, max(len(r.label) + len(counted[r.label]) for r in shown))
    room = max(ROOM, math.ceil((letters + 2) * LETTER / ROOM_STEP))
    values = [v for r in shown for v in (r.low, r.mid, r.high)] + [rule.value for rule in rules]
    across = scale_for(x, values, 0.0, SPAN * 0.96)
    known = [rule for rule in rules if math.isfinite(rule.value)]
    top, tall = 10.0 + 18 * len(known), 34.0
    bottom = top + tall * len(shown)
    drawing: list[str] = []
    for at, _ in across.ticks(7):
        drawing.append(line(along(at), top, along(at), bottom, "grid"))
    drawing += [
        *foot(across, bottom, 7),
        line(0.0, top, 0.0, bottom, "frame"),
        line(0.0, bottom, "100%", bottom, "frame"),
    ]
    for i, rule in enumerate(known):
        at, y = float(across.at(rule.value)), 14.0 + 18 * i
        side = "end" if at > SPAN / 2 else "start"
        words = f"{rule.label}, {across.plain(rule.value)} {x.unit}".strip()
        drawing += [
            line(along(at), y - 10, along(at), bottom, f"rule {rule.css}".strip()),
            text_at(words, along(at), y, f"rule-name {side} {rule.css}".strip(), -6.0 if side == "end" else 6.0),
        ]
    said, table = [], []
    for i, r in enumerate(shown):
        y = top + tall * (i + 0.5)
        ends = _finite_ends(r)
        span = f"{across.write(ends[0])} to {across.write(ends[1])}" if ends else "no range"
        count = "" if r.n is None else f", n {r.n}"
        words = f"{r.label}: {across.write(r.mid)} {x.unit}".strip() + f", {span}{count}"
        name = f"{cut(r.label, 30 - len(counted[r.label]))}{counted[r.label]}"
        drawing.append(text_at(name, -10.0, y + 4.5, "end"))
        if ends:
            low, high = (float(across.at(v)) for v in ends)
            d = f"M{low:.2f},{y - 6:.2f}v12m0,-6H{high:.2f}m0,-6v12"
            drawing.append(stretched([tag("path", d=d, class_="interval")], y - tall / 2, y + tall / 2))
        drawing.append(point(float(across.at(r.mid)), y, words, "" if ends else "lone"))
        said.append(words + ".")
        low_high = [across.write(v) for v in ends or (math.nan, math.nan)]
        table.append((r.label, *low_high, across.write(r.mid), "–" if r.n is None else str(r.n)))
    said += [f"{rule.label}: {across.plain(rule.value)} {x.unit}.".replace(" .", ".") for rule in known]
    drawing.append(text_at(x.heading, "100%", bottom + 38, "axis-name end"))
    heads = ("Item", f"Low, {x.unit}".rstrip(", "), f"High, {x.unit}".rstrip(", "), x.heading, "n")
    numbers_below = number_table(f"{title}: numbers", heads, table)
    return figure(title, "rows", drawing, bottom + 48, " ".join(said), [numbers_below], f"room-{room}")


def _finite_ends(row: Interval) -> tuple[float, float] | None:
    if row.low is None or row.high is None or not (math.isfinite(row.low) and math.isfinite(row.high)):
        return None
    return row.low, row.high
