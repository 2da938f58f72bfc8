"""The picture of what was learned: each range as the book began with it, and what firings made of it, on one scale."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from app.drawings.row_plots import Fired, Level, Span, fired_row, scale_head, shrunk_row, span_of
from app.services.learning.learning_pages import Line
from app.services.learning.prediction_record import Factor, LearnedFactors

NINE_IN_TEN = 1.645
"""Standard deviations either way that hold nine in ten of a normal distribution."""

AS_SET = Level(1.0, "centre")


@dataclass(frozen=True)
class Shrunk:
    """The three cells of a row: burn rate, c* and nozzle."""

    rate: Markup
    c_star: Markup
    nozzle: Markup


@dataclass(frozen=True)
class Shrinking:
    """The head of the three columns, and the rows by what they are called."""

    head: Markup
    rows: dict[str, Shrunk]


def shrinking(rows: Sequence[tuple[str, LearnedFactors]]) -> Shrinking:
    """Every factor of every row on one scale of factors on the book's default."""
    every = [f for _, taught in rows for f in (taught.rate, taught.c_star, taught.nozzle)]
    ends = [end for f in every for end in (*_ends(f.factor, f.spread), *_ends(1.0, f.default_spread))]
    span = span_of(ends, keep=[*(f.factor for f in every), 1.0], least=0.1)
    return Shrinking(
        scale_head(span, [AS_SET]),
        {
            name: Shrunk(*(_cell(name, f, span) for f in (taught.rate, taught.c_star, taught.nozzle)))
            for name, taught in rows
        },
    )


def _ends(middle: float, spread: float) -> tuple[float, float]:
    return middle * (1 - NINE_IN_TEN * spread), middle * (1 + NINE_IN_TEN * spread)


def _cell(name: str, factor: Factor, span: Span) -> Markup:
    now, before = _ends(factor.factor, factor.spread), _ends(1.0, factor.default_spread)
    words = (
        f"{name}: factor {factor.factor:.3f}, nine in ten from {now[0]:.2f} to {now[1]:.2f}; "
        f"by default from {before[0]:.2f} to {before[1]:.2f}"
    )
    return shrunk_row(span, factor.factor, now, before, words)


def own_says(lines: Iterable[Line]) -> dict[int, list[Markup]]:
    """What each firing says by itself as a bar of nine in ten with its ×, by the firing's identity, on one scale."""
    told = list(lines)
    says = [say for line in told for say in line.says]
    span = span_of([v for s in says for v in (s.low, s.high)], keep=[*(s.factor for s in says), 1.0], least=0.1)
    return {
        line.shot.firing_id: [
            fired_row(span, [Fired(s.factor, s.low, s.high)], f"{line.shot.motor_code} {s.what}", [AS_SET])
            for s in line.says
        ]
        for line in told
    }
