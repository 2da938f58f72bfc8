"""The picture of all lots: a row each, with its grains' densities, what its motors delivered, and the mark of it."""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from app import clock
from app.drawings.row_plots import Fired, Level, Span, fired_row, grains_row, result_mark, scale_head, span_of
from app.services.review.flown_well import FlownWell
from app.services.review.lot_rows import LotRow

USUAL = (80.0, 110.0)
"""What the scale of what was delivered holds at least [% of predicted]."""


@dataclass(frozen=True)
class DrawnRow:
    """A lot's row: the lot, and its cells as they are drawn."""

    row: LotRow
    densities: Markup | None
    delivered: Markup | None
    mark: Markup
    day: str
    """When it was cast; without the year where that is the year of the row above."""
    formula: str
    """The name of its formula; with the version where there is more than one among these lots."""

    @property
    def words(self) -> str:
        """What came of it, in a few words."""
        return self.row.words


@dataclass(frozen=True)
class Drawn:
    """The rows of a page of lots, and the heads of both scales."""

    densities_head: Markup
    delivered_head: Markup
    rows: Sequence[DrawnRow]
    accept: str
    """The workshop's own limit, as it is drawn [% of ideal]."""


def draw(rows: Sequence[LotRow], flown: FlownWell, accept_share: float, by_date: bool) -> Drawn:
    """Every row on the same two scales, with the line that parts the lots where there is one.

    `by_date` tells that the rows are in order of date, so that a year need not be told in each.
    """
    accept, parting = 100 * accept_share, flown.cut if flown.told else None
    levels = [Level(accept, "limit", numbered=True)]
    good = None
    if parting:
        level = parting.level
        levels.append(Level(level, "parting", f"{level:g} and {'more' if parting.upward else 'less'}"))
    span = span_of((100 * dot.share for row in rows for dot in row.dots), keep=[level.value for level in levels])
    if parting:
        good = (parting.level, span.high) if parting.upward else (span.low, parting.level)
    shots = [_fired(row) for row in rows]
    made = {(row.line.formula.name, row.line.formula.edition) for row in rows}
    alone = {name: sum(other == name for other, _ in made) == 1 for name, _ in made}
    known = [v for motors in shots for m in motors for v in (m.value, m.low, m.high) if v is not None]
    across = span_of(known, keep=USUAL)
    one = [Level(100.0, "centre")]
    return Drawn(
        scale_head(span, levels),
        scale_head(across, one),
        [
            DrawnRow(
                row,
                _densities(row, span, levels, good),
                _delivered(motors, row, across, one),
                result_mark(row.kind),
                _day(row, before if by_date else None),
                row.line.formula.name if alone[row.line.formula.name] else row.line.formula.label,
            )
            for row, motors, before in zip(rows, shots, [None, *rows], strict=False)
        ],
        f"{accept:g}",
    )


def _densities(row: LotRow, span: Span, levels: list[Level], good: tuple[float, float] | None) -> Markup:
    """The cell of a lot's grains; only the ground where none was weighed."""
    density = row.line.counts.density
    words = "no grain weighed"
    if density is not None:
        shelf = sum(dot.on_shelf for dot in row.dots)
        words = (
            f"{row.line.batch.code}: mean density {100 * density.mean:.1f} % of ideal, "
            f"{100 * density.low:.1f} to {100 * density.high:.1f}, {density.n} weighed, "
            f"{shelf} on the shelf"
        )
    grains = [(100 * dot.share, dot.on_shelf) for dot in row.dots]
    return grains_row(span, grains, 100 * density.mean if density else None, words, levels, good)


def _day(row: LotRow, before: LotRow | None) -> str:
    words, year = clock.day(row.line.cast_on), row.line.cast_on.year
    return words.removesuffix(f" {year}") if before is not None and before.line.cast_on.year == year else words


def _fired(row: LotRow) -> list[Fired]:
    def percent(share: float | None) -> float | None:
        return None if share is None else 100 * share

    return [Fired(percent(s.firing.ratio), percent(s.low), percent(s.high)) for s in row.shots]


def _delivered(motors: list[Fired], row: LotRow, across: Span, one: list[Level]) -> Markup:
    """The cell of what a lot's motors delivered."""
    told = []
    for motor, shot in zip(motors, row.shots, strict=True):
        name = shot.firing.motor_code
        if motor.value is None:
            told.append(f"{name}: impulse not measured")
            continue
        said = f"{name} delivered {motor.value:.0f} % of what was predicted"
        if motor.low is not None and motor.high is not None:
            said += f", {'outside' if motor.outside else 'inside'} its range of {motor.low:.0f} to {motor.high:.0f} %"
        told.append(said)
    return fired_row(across, motors, "; ".join(told) or row.words, one, "not logged" if motors else "")
