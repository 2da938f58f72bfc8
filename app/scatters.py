"""A chart of pairs: one mark for each thing, its one value across and its other value up."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup

from app.charts import MOST_ROWS, Rule
from app.pens import (
    LEFT,
    LETTER,
    PLOT,
    SPAN,
    USUAL,
    Axis,
    Scale,
    empty_figure,
    figure,
    foot,
    grid,
    number_table,
    point,
    rule_at,
    scale_for,
    stretched,
    tag,
    text_at,
)

READ_OUT = 150
"""Marks up to which each can be read out; more are drawn as dots."""

MARKS = ("", "out", "lone")
"""Disc, diamond and ring, in the order of the clouds."""


@dataclass(frozen=True)
class Cloud:
    """Marks of one kind: what each stands for, and its two values."""

    name: str
    labels: list[str]
    x: list[float]
    y: list[float]


def scatter_chart(
    title: str, x: Axis, y: Axis, clouds: Sequence[Cloud], said: str, rules: Sequence[Rule] = (), plot: float = PLOT
) -> Markup:
    """Pairs of values in up to three clouds that differ by shape as well as colour; `said` is what they say in words.

    The field is `plot` px high. Raises ValueError for more clouds than there are marks, or values that do not pair.
    """
    shown = [cloud for cloud in clouds if len(cloud.x)]
    if len(clouds) > len(MARKS):
        raise ValueError(f"{len(clouds)} clouds, {len(MARKS)} marks")
    if not shown:
        return empty_figure(title, "There are no numbers to draw yet.")
    top = 28.0
    room = max((len(rule.label) * LETTER + 14 for rule in rules), default=0.0) / USUAL  # for their names
    across = scale_for(x, [v for c in shown for v in c.x], 0.0, SPAN * (1 - room))
    up = scale_for(y, [v for c in shown for v in c.y] + [r.value for r in rules], top + plot, top)
    drawing: list[str] = [*_names(y, clouds), *grid(up)]
    drawing += foot(across, up.start)
    for rule in rules:
        drawing += rule_at(rule.label, rule.value, up, "centre")
    many = sum(len(c.x) for c in shown) > READ_OUT
    for i, cloud in enumerate(clouds):
        xs, ys = across.at(cloud.x), up.at(cloud.y)
        if many:
            places = dict.fromkeys(zip(np.round(xs).tolist(), np.round(ys).tolist(), strict=True))
            d = "".join(f"M{a:g},{b:g}h0" for a, b in places)
            drawing.append(stretched([tag("path", d=d, class_=f"dots many ink-{i + 1}")], up.end, up.start))
        else:
            drawing += [
                point(float(a), float(b), words, MARKS[i])
                for a, b, words in zip(xs, ys, _words(cloud, x, y, across, up), strict=True)
            ]
    drawing.append(text_at(x.heading, "100%", top + plot + 38, "axis-name end"))
    return figure(title, "points", drawing, top + plot + 48, said, [_table(title, x, y, shown, across, up)])


def _words(cloud: Cloud, x: Axis, y: Axis, across: Scale, up: Scale) -> list[str]:
    """What each mark is read out as."""
    made = []
    for label, a, b in zip(cloud.labels, cloud.x, cloud.y, strict=True):
        values = (f"{x.label} {across.write(a)} {x.unit}".strip(), f"{y.label} {up.write(b)} {y.unit}".strip())
        made.append(f"{label}, {cloud.name}: {', '.join(values)}")
    return made


def _names(y: Axis, clouds: Sequence[Cloud]) -> list[str]:
    """The upright axis's name and, where there is more than one cloud, a mark and the name of each."""
    parts: list[str] = [text_at(y.heading, -LEFT, 15.0, "axis-name")]
    at = (len(y.heading) + 4) * LETTER * 1.1 - LEFT
    for i, cloud in enumerate(clouds if len(clouds) > 1 else ()):
        css = f"point {MARKS[i]}".strip()
        shape = {"d": f"M{at:.2f},4l6,6l-6,6l-6,-6Z"} if MARKS[i] == "out" else {}
        parts.append(tag("path", class_=css, **shape) if shape else tag("circle", cx=at, cy=10.0, r=5.0, class_=css))
        words = f"{cloud.name} ({len(cloud.x)})"
        parts.append(text_at(words, at + 11, 15.0, "legend"))
        at += 34 + len(words) * LETTER
    return parts


def _table(title: str, x: Axis, y: Axis, clouds: Sequence[Cloud], across: Scale, up: Scale) -> Markup:
    pairs = [(cloud, i) for cloud in clouds for i in range(len(cloud.x))]
    every = len(pairs)
    caption = f"{title}: numbers" + (f" of {MOST_ROWS} of {every}, evenly picked" if every > MOST_ROWS else "")
    picked = [pairs[i] for i in np.linspace(0, every - 1, min(every, MOST_ROWS)).astype(int)]
    rows = [(cloud.labels[i], cloud.name, across.write(cloud.x[i]), up.write(cloud.y[i])) for cloud, i in picked]
    return number_table(caption, ("Item", "", x.heading, y.heading), rows, words=(0, 1))
