"""What a drawing to scale is made of: shapes, hatching, dimension lines, and words that keep apart.

All places are in em from the left and the top of a sheet of a least width, which stands in the middle of its line.
Hatching is strokes and no pattern, so that each part of a drawing has its own distance.

>>> paper = Paper(40.0)
>>> paper.add(solid([(5, 2), (15, 2), (15, 4), (5, 4)], "grain", gap=0.4))
>>> paper.along(5, 15, 5.0, "55.0", edge=4.0)
True
>>> paper.drawn(6.0).height
6.0
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import groupby, pairwise

from markupsafe import Markup

from app.drawings.sheet import Drawn, at, em, put, room
from app.pens import tag

FORMS = {"broad": 60.0, "wide": 40.0, "mid": 20.0, "slim": 10.0}
"""The least width that each form of a drawing to scale is shown at [em], as static/css/drawings.css has it."""

UNITS = 1000
"""Of a shape's path to the em."""

LINE = 1.25
"""From one line of words to the next [em]."""

Point = tuple[float, float]
Spot = tuple[float, float, str]
"""Where words may stand: along, the middle of their line, and which part of them stands there ("", middle, end)."""

# --- Shapes --------------------------------------------------------------------------------------


def outline(rings: Iterable[Sequence[Point]], css: str, closed: bool = True) -> Markup:
    """A shape by its corners, in one or more rings, an inner one being a hole; a `Paper` gives it its size."""
    end = "Z" if closed else ""
    d = "".join(["M" + "L".join([f"{_fine(x)},{_fine(y)}" for x, y in ring]) + end for ring in rings])
    return tag("path", d=d, class_=css, fill_rule="evenodd" if closed and d.count("M") > 1 else None)


def _fine(place: float) -> int:
    return round(place * UNITS)


def strokes(ends: Iterable[Sequence[Point]], css: str) -> Markup:
    """Lines in one path, each by its points."""
    return outline(ends, css, closed=False)


def sized(parts: Iterable[Markup]) -> list[Markup]:
    """Parts in their order, the shapes among them at the size of the letters round them."""
    found = []
    for shapes, run in groupby(parts, lambda part: part.startswith("<path")):
        if shapes:
            box = {"width": "1em", "height": "1em", "viewBox": f"0 0 {UNITS} {UNITS}", "overflow": "visible"}
            found.append(tag("svg", *run, **box))
        else:
            found += run
    return found


def solid(
    corners: Sequence[Point], css: str, gap: float | None = None, holes: Sequence[Sequence[Point]] = ()
) -> Markup:
    """A shape that is cut through: its outline, hatched at a distance [em] where one is told."""
    rings = [corners, *holes]
    under = [strokes(hatch(rings, gap), "hatch")] if gap is not None else []
    return Markup("").join([*under, outline(rings, f"cut {css}")])


def hatch(rings: Sequence[Sequence[Point]], gap: float) -> list[tuple[Point, Point]]:
    """The strokes of hatching at 45°, so far apart [em], within rings of corners; an inner ring is a hole.

    >>> [(round(a[0], 6), round(b[1], 6)) for a, b in hatch([[(0, 0), (2, 0), (2, 2), (0, 2)]], 2**0.5)]
    [(0.0, 0.0)]
    """
    step = gap * math.sqrt(2)
    last = math.ceil(max(x + y for ring in rings for x, y in ring) / step)
    across: dict[int, list[float]] = {}
    for (x1, y1), (x2, y2) in (edge for ring in rings for edge in pairwise([*ring, ring[0]])):
        start, end = (x1 + y1) / step, (x2 + y2) / step
        for number in range(math.floor(min(start, end)) + 1, min(math.floor(max(start, end)) + 1, last)):
            across.setdefault(number, []).append(x1 + (x2 - x1) * (number - start) / (end - start))
    found = []
    for number, places in sorted(across.items()):
        level, pairs = number * step, iter(sorted(places))
        found += [((a, level - a), (b, level - b)) for a, b in zip(pairs, pairs, strict=True)]
    return found


def hatch_gap(share: float) -> float:
    """How far apart a grain of a share of ideal density is hatched [em]: closer for a denser one.

    >>> [round(hatch_gap(share), 2) for share in (0.90, 0.94, 0.98)]
    [0.7, 0.46, 0.22]
    """
    return min(max(0.7 - (share - 0.90) * 6, 0.2), 0.9)


def ringed(x: float, y: float, radii: Iterable[float], css: str) -> Markup:
    """Circles round a place as one shape, an inner one being a hole: a disc, or a grain from its end."""
    d = ""
    for radius in radii:
        r, across = _fine(radius), 2 * _fine(radius)
        d += f"M{_fine(x) - r},{_fine(y)}a{r},{r} 0 1,0 {across},0a{r},{r} 0 1,0 -{across},0Z"
    return tag("path", d=d, class_=css, fill_rule="evenodd" if d.count("M") > 1 else None)


def circle(x: float, y: float, radius: float, corners: int = 72) -> list[Point]:
    """The corners of a ring that is seen as a circle."""
    turns = [2 * math.pi * i / corners for i in range(corners)]
    return [(x + radius * math.cos(turn), y + radius * math.sin(turn)) for turn in turns]


def rectangle(left: float, top: float, right: float, bottom: float) -> list[Point]:
    """The corners of a rectangle."""
    return [(left, top), (right, top), (right, bottom), (left, bottom)]


def arrow(start: Point, end: Point, css: str = "pointer", head: float = 0.45) -> Markup:
    """A line with an arrowhead at its end [em]."""
    (x1, y1), (x2, y2) = start, end
    long = math.hypot(x2 - x1, y2 - y1) or 1.0
    along, across = ((x2 - x1) / long, (y2 - y1) / long), (-(y2 - y1) / long, (x2 - x1) / long)
    neck = (x2 - head * along[0], y2 - head * along[1])
    wings = [(neck[0] + side * head * 0.34 * across[0], neck[1] + side * head * 0.34 * across[1]) for side in (-1, 1)]
    return strokes([(start, neck)], css) + outline([[end, *wings]], f"tip {css}")


# --- Words ---------------------------------------------------------------------------------------


def together(items: Iterable[str]) -> str:
    """Short things said in one line, none of which is broken inside."""
    return "\N{NO-BREAK SPACE}· ".join(item.replace(" ", "\N{NO-BREAK SPACE}") for item in items if item)


def folded(words: str, width: float, bold: bool = False) -> list[str]:
    """Words in lines of a width [em]."""
    lines: list[str] = []
    wider = [
        word if room(word, bold) <= width else word.replace("\N{NO-BREAK SPACE}", " ") for word in words.split(" ")
    ]
    for word in " ".join(wider).split(" "):
        if lines and room(f"{lines[-1]} {word}", bold) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


@dataclass
class Paper:
    """A sheet of a width [em]: what is drawn on it, its words, and what they keep clear of."""

    width: float
    ink: list[Markup] = field(default_factory=list)
    words: list[Markup] = field(default_factory=list)
    taken: list[tuple[float, float, float, float]] = field(default_factory=list)
    notes: list[tuple[str, str]] = field(default_factory=list)

    def add(self, *parts: Markup) -> None:
        """Draw something, below all words."""
        self.ink.extend(parts)

    def keep(self, left: float, top: float, right: float, bottom: float) -> None:
        """Let no words stand there."""
        self.taken.append((left, top, right, bottom))

    def free(self, left: float, top: float, right: float, bottom: float) -> bool:
        """Whether nothing stands there, and it lies on the sheet."""
        inside = left >= -1e-9 and right <= self.width + 1e-9
        return inside and all(right <= a or left >= c or bottom <= b or top >= d for a, b, c, d in self.taken)

    def write(self, words: str, *spots: Spot, css: str = "") -> bool:
        """Put words at the first spot that is free; whether one was, or there are none."""
        if not words:
            return True
        wide = room(words, bold="strong" in css or "limit-name" in css)
        for x, middle, part in spots:
            left = x - {"": 0.0, "middle": wide / 2, "end": wide}[part]
            if self.free(left - 0.1, middle - 0.5, left + wide + 0.1, middle + 0.5):
                self.keep(left - 0.1, middle - 0.5, left + wide + 0.1, middle + 0.5)
                self.words.append(put(words, em(x), middle, f"{css} {part}".strip()))
                return True
        return False

    def note(self, *lines: str, css: str = "") -> None:
        """Say something below the drawing."""
        self.notes += [(words, css) for words in lines if words]

    def along(self, start: float, end: float, level: float, words: str, edge: float | None = None) -> bool:
        """A dimension line along, its words in it or else beside it; whether they had room.

        From `edge` its two ends are led to it.
        """
        sign = 1 if level > (edge or 0.0) else -1
        if edge is not None:
            self.ink.append(strokes([[(x, edge), (x, level + 0.3 * sign)] for x in (start, end)], "thin"))
        short = end - start < 1.4
        reach = 1.1 if short else 0.0
        wide, middle = room(words), (start + end) / 2
        aside: list[Spot] = [(end + 0.3 + reach, level, ""), (start - 0.3 - reach, level, "end")]
        if short:  # arrowheads would meet: they point at it from outside
            self.add(
                arrow((start - 1.0, level), (start, level), "thin"), arrow((end + 1.0, level), (end, level), "thin")
            )
        elif words and end - start >= wide + 1.5 and self.write(words, (middle, level, "middle")):
            self.add(arrow((middle - wide / 2 - 0.15, level), (start, level), "thin"))
            self.add(arrow((middle + wide / 2 + 0.15, level), (end, level), "thin"))
            self.keep(start, level - 0.3, end, level + 0.3)
            return True
        else:
            self.add(arrow((middle, level), (start, level), "thin"), arrow((middle, level), (end, level), "thin"))
            self.keep(start, level - 0.3, end, level + 0.3)
        return self.write(words, *aside)

    def upright(self, top: float, bottom: float, x: float, words: str, *spots: Spot, edge: float | None = None) -> bool:
        """An upright dimension line, its words at the first of the spots that is free; whether one was."""
        sign = 1 if x > (edge or 0.0) else -1
        if edge is not None:
            self.add(strokes([[(edge, y), (x + 0.3 * sign, y)] for y in (top, bottom)], "thin"))
        if bottom - top < 1.4:
            self.add(arrow((x, top - 0.8), (x, top), "thin"), arrow((x, bottom + 0.8), (x, bottom), "thin"))
        else:
            middle = (x, (top + bottom) / 2)
            self.add(arrow(middle, (x, top), "thin"), arrow(middle, (x, bottom), "thin"))
        self.keep(x - 0.2, top, x + 0.2, bottom)
        return self.write(words, *spots)

    def centre_line(self, start: Point, end: Point) -> None:
        """The line of an axis."""
        self.add(strokes([[start, end]], "centre-line"))

    def drawn(self, height: float, flush: bool = False) -> Drawn:
        """The sheet with its notes below it, in the middle of its line, or flush with its left end."""
        notes, level = [], height
        x, part = (0.0, "") if flush else (self.width / 2, "middle")
        for words, css in self.notes:
            for text in folded(words, self.width, "strong" in css):
                notes.append(put(text, em(x), level + 0.6, f"{css} {part}".strip()))
                level += LINE
        sheet = at("0" if flush else em(-self.width / 2), "0", *sized(self.ink), *self.words, *notes)
        whole = sheet if flush else at("50%", "0", sheet)
        return Drawn([whole], level)


# --- Pieces in rows ------------------------------------------------------------------------------


@dataclass(frozen=True)
class Piece:
    """A part of a drawing with its own nought at its left and top, and its size [em]."""

    width: float
    height: float
    parts: Sequence[Markup]


def in_rows(pieces: Sequence[Piece], width: float, gap: float = 1.6, level: float = 0.5, flush: bool = False) -> Drawn:
    """Pieces from left to right, as many as a row has room for, in its middle or `flush` with its left end; by `level`
    0 they hang from its top.
    """
    rows: list[list[Piece]] = [[]]
    for piece in pieces:
        if rows[-1] and sum(p.width + gap for p in rows[-1]) + piece.width > width + 1e-6:
            rows.append([])
        rows[-1].append(piece)
    parts, top = [], 0.0
    for row in rows:
        left = 0.0 if flush else -(sum(p.width for p in row) + gap * (len(row) - 1)) / 2
        high = max((p.height for p in row), default=0.0)
        for piece in row:
            parts.append(
                at(
                    "0" if flush else "50%",
                    em(top + (high - piece.height) * level),
                    at(em(left), "0", *sized(piece.parts)),
                )
            )
            left += piece.width + gap
        top += high + 0.8
    return Drawn(parts, max(top - 0.8, 0.0))
