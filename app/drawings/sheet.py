"""The sheet a drawing is made on: lengths in em and per cent, the room that words take, and the frame round it."""

import zlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from markupsafe import Markup

from app.pens import Place, line, tag, text_at

FORMS = {"wide": 40.0, "mid": 20.0, "small": 14.0, "slim": 10.0}
"""The least width that each form of a drawing is shown at [em], as static/css/drawings.css has it."""

_WIDTHS = (
    ("ijlIJ'|", 0.31),
    (".,:; !\N{NO-BREAK SPACE}", 0.36),
    ("frt()[]-/·", 0.42),
    ("csz", 0.56),
    ("mwMW%@—…", 1.0),
    ("CDGHNOQUØ≈+<>=±×&▲▼✓", 0.84),
    ("ABEFKLPRSTVXYZ", 0.7),
)
"""Widths of letters in DejaVu Sans, the broadest of the faces that `--sans` may come to [em]; all others 0.65."""
_WIDTH = {letter: width for letters, width in reversed(_WIDTHS) for letter in letters}

BOLD = 1.12
CAP = 0.36
"""From the middle of a line of words to its baseline [em]."""


def em(length: float) -> str:
    """A length in letters' sizes."""
    return f"{length:.3f}".rstrip("0").rstrip(".") + "em"


def pc(share: float) -> str:
    """A place along the drawing, of its width, 0 to 1."""
    return f"{share * 100:.2f}".rstrip("0").rstrip(".") + "%"


def room(words: str, bold: bool = False) -> float:
    """The width of words in a broad face, rather too much than too little [em]."""
    wide = sum(_WIDTH.get(letter, 0.65) for letter in words)
    return wide * (BOLD if bold else 1.0)


def clipped(words: str, most: float, bold: bool = False) -> str:
    """Words shortened to a width [em], with dots where something is missing."""
    if room(words, bold) <= most:
        return words
    while words and room(words + "…", bold) > most:
        words = words[:-1]
    return words.rstrip() + "…" if words else ""


@dataclass
class Lane:
    """What is taken along one line of a drawing [em], so that no words stand on each other or on a mark."""

    width: float
    taken: list[tuple[float, float]] = field(default_factory=list)

    def take(self, start: float, end: float) -> None:
        """Keep a stretch for something."""
        self.taken.append((start, end))

    def free(self, start: float, end: float) -> bool:
        """Whether nothing stands there, and it lies on the sheet."""
        return start >= -1e-9 and end <= self.width + 1e-9 and all(end <= a or start >= b for a, b in self.taken)

    def beside(self, at: float, wide: float, gap: float, left_only: bool = False) -> tuple[float, str] | None:
        """Where words of a width go beside a mark, and which of their ends stands there; nothing without room."""
        places = [(at + gap, at + gap, ""), (at - gap - wide, at - gap, "end")]
        for start, place, css in places[left_only:]:
            if self.free(start, start + wide):
                self.take(start, start + wide)
                return place, css
        return None

    def centred(self, at: float, wide: float) -> bool:
        """Whether words of a width could be put with their middle there; then they are."""
        if not self.free(at - wide / 2, at + wide / 2):
            return False
        self.take(at - wide / 2, at + wide / 2)
        return True


@dataclass(frozen=True)
class Drawn:
    """What a form of a drawing consists of, and its height [em]."""

    parts: Sequence[Markup]
    height: float


def drawing(
    kind: str,
    title: str,
    words: str,
    form: Callable[[str, float], Drawn],
    forms: Mapping[str, float] = FORMS,
    role: str = "img",
) -> Markup:
    """A drawing as wide as its place, in its forms; `form` makes the one of a name for a width [em].

    One with links in it is a `group`: of an image nobody hears what is inside.
    """
    made = []
    for name, width in forms.items():
        drawn = form(name, width)
        made.append(_svg(title, words, drawn, role, class_=f"form {name}", width="100%"))
    return tag("div", *made, class_=f"drawing {kind}")


def picture(kind: str, title: str, words: str, drawn: Drawn, width: float) -> Markup:
    """A drawing of a width of its own [em], to scale."""
    return tag("div", _svg(title, words, drawn, width=em(width)), class_=f"drawing own-width {kind}")


def _svg(title: str, words: str, drawn: Drawn, role: str = "img", **attributes: str) -> Markup:
    inner = Markup("").join(drawn.parts)
    hatch = f"hatch-{zlib.crc32((inner + attributes.get('class_', '')).encode()):08x}"
    if "#hatch" in inner:
        inner = Markup(_hatch(hatch) + inner.replace("#hatch", f"#{hatch}"))  # noqa: S704 - made of escaped parts
    return tag("svg", tag("title", title), tag("desc", words), inner, role=role, height=em(drawn.height), **attributes)


def _hatch(key: str) -> Markup:
    pattern = tag(
        "pattern",
        line(0.0, 0.0, 0.0, em(0.4), "hatching"),
        id=key,
        patternUnits="userSpaceOnUse",
        patternTransform="rotate(45)",
        width=em(0.32),
        height=em(0.4),
    )
    return tag("defs", pattern)


# --- What stands on it ---------------------------------------------------------------------------


def put(words: str, x: Place, middle: float, css: str) -> Markup:
    """Words with the middle of their line at a height [em]."""
    return text_at(words, x, em(middle + CAP), css)


def box(x: Place, y: Place, width: Place, height: Place, css: str, **more: object) -> Markup:
    """A rectangle."""
    return tag("rect", x=x, y=y, width=width, height=height, class_=css, **more)


def hatched(x: Place, y: Place, width: Place, height: Place, css: str = "hatched") -> Markup:
    """A hatched rectangle."""
    return box(x, y, width, height, css, fill="url(#hatch)")


def at(x: Place, y: Place, *children: str) -> Markup:
    """A group whose own nought lies at a place."""
    return tag("svg", *children, x=x, y=y, overflow="visible")


def scaled(d: str, css: str, side: float = 1.0) -> Markup:
    """A shape drawn in a box of 20 × 20 round nought, as large as a number of em."""
    shape = tag("path", d=d, class_=css)
    return tag(
        "svg",
        shape,
        x=em(-side / 2),
        y=em(-side / 2),
        width=em(side),
        height=em(side),
        viewBox="-10 -10 20 20",
        overflow="visible",
    )


def dimension(start: float, end: float, level: float, upright: bool = False) -> list[Markup]:
    """A dimension line with its arrowheads, along or upright [em]."""
    if upright:
        heads = [at(em(level), em(y), scaled(d, "head", 0.5)) for y, d in ((start, _UP), (end, _DOWN))]
        return [line(em(level), em(start), em(level), em(end), "thin"), *heads]
    heads = [at(em(x), em(level), scaled(d, "head", 0.5)) for x, d in ((start, _WEST), (end, _EAST))]
    return [line(em(start), em(level), em(end), em(level), "thin"), *heads]


_UP, _DOWN = "M0,0L-3,9H3Z", "M0,0L-3,-9H3Z"
_WEST, _EAST = "M0,0L9,-3V3Z", "M0,0L-9,-3V3Z"


def trace(points: Sequence[tuple[float, float]], css: str) -> list[Markup]:
    """A curve through points: along in shares of the width, down in em."""
    return [line(pc(x1), em(y1), pc(x2), em(y2), css) for (x1, y1), (x2, y2) in pairwise(points)]
