"""A grain's place among its lot and earlier lots, by its share of ideal density."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from app.drawings.sheet import Drawn, Lane, at, box, clipped, drawing, em, pc, put, room, scaled
from app.pens import line, ticks

ROW = 1.6
"""Height of a row [em]."""

MOST_SPAN = 0.12
"""The least and greatest share drawn are no further apart; what lies lower is counted at the edge."""


@dataclass(frozen=True)
class Lot:
    """A lot by its name, with its grains' shares of ideal density [-]."""

    name: str
    shares: Sequence[float]


@dataclass(frozen=True)
class ThisGrain:
    """The grain at hand: its share of ideal density [-] and what that may be off by, either way [-]."""

    name: str
    share: float
    uncertainty: float = 0.0


@dataclass(frozen=True)
class Lots:
    """This lot's other grains, the grain at hand, earlier lots (a row each), all grains before them, and the limit."""

    own: Lot
    this: ThisGrain | None
    earlier: Sequence[Lot]
    before: Sequence[float]
    limit: float

    @property
    def rows(self) -> list[Lot]:
        """The lots that have a row, this one first."""
        return [self.own, *self.earlier]

    @property
    def span(self) -> tuple[float, float]:
        """Least and greatest share drawn."""
        this = self.this
        seen = [self.limit, *self.before, *(share for row in self.rows for share in row.shares)]
        seen += [this.share - this.uncertainty, this.share + this.uncertainty] if this else []
        high = max(seen)
        low = max(min(seen), min(high - MOST_SPAN, self.limit, this.share - this.uncertainty if this else high))
        pad = max((high - low) * 0.06, 0.003)
        return low - pad, high + pad


def lot_strip(lots: Lots, title: str = "Densities of this lot and earlier ones") -> Markup:
    """The grain at hand with its bar of uncertainty, rows of lots, all before them as ticks, the limit named."""

    def form(_name: str, width: float) -> Drawn:
        return _form(lots, width)

    return drawing("lot-strip", title, _in_words(lots), form)


def _percent(share: float) -> str:
    return f"{share * 100:.1f}"


def _in_words(lots: Lots) -> str:
    said, this, before = [], lots.this, lots.before
    if this:
        off = f" ± {_percent(this.uncertainty)}" if this.uncertainty else ""
        said.append(f"{this.name}: {_percent(this.share)}{off} % of ideal density.")
    for row in lots.rows:
        shares = ", ".join(_percent(share) for share in sorted(row.shares))
        said.append(f"{row.name}: {shares} %." if shares else f"{row.name}: no other grain yet.")
    if before:
        said.append(f"Before: {len(before)} grains, {_percent(min(before))} to {_percent(max(before))} %.")
    return " ".join([*said, f"Limit: {lots.limit * 100:g} %."])


# --- One form ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Across:
    """Where shares lie along the drawing."""

    low: float
    high: float
    left: float
    right: float

    def at(self, share: float) -> float:
        """As a share of the drawing's width."""
        place = (share - self.low) / (self.high - self.low)
        return self.left + min(max(place, 0.0), 1.0) * (self.right - self.left)


def _form(lots: Lots, width: float) -> Drawn:
    low, high = lots.span
    names = min(max(room(name, bold=True) for name in ["before", *(lot.name for lot in lots.rows)]), width * 0.4)
    lower = any(share < low for share in [*lots.before, *(share for lot in lots.rows for share in lot.shares)])
    counted = room("◀ 00") + 0.5 if lower else 0.3
    across = _Across(low, high, (names + counted + 0.4) / width, 1 - 0.5 / width)
    foot = ROW * (len(lots.rows) + bool(lots.before))
    limit = across.at(lots.limit)
    parts = [box(pc(limit), "0", pc(1 - limit), em(foot), "allowed-side")]
    parts.append(box("0", "0", "100%", em(ROW), "own"))
    for number, lot in enumerate(lots.rows):
        parts += _row(lot, across, ROW * (number + 0.5), names, width, first=number == 0)
    if lots.before:
        parts += _ticks(lots.before, across, ROW * (len(lots.rows) + 0.5), names, width)
    parts.append(line(pc(limit), "0", pc(limit), em(foot + 0.2), "limit"))
    if lots.this:
        parts += _this(lots.this, across, ROW * 0.5)
    parts += _foot(across, lots.limit, foot, width)
    return Drawn(parts, foot + 1.5)


def _row(lot: Lot, across: _Across, level: float, names: float, width: float, first: bool) -> Iterator[Markup]:
    yield put(clipped(lot.name, names, bold=first), "0", level, "strong" if first else "")
    yield line("0", em(level + ROW / 2), "100%", em(level + ROW / 2), "row-line")
    for share in lot.shares:
        if share >= across.low:
            dot = scaled("M-8,0A8,8 0 1,1 8,0A8,8 0 1,1 -8,0Z", "reading", 0.62)
            yield at(pc(across.at(share)), em(level), dot)
    yield from _counted(lot.shares, across, level, names, width)


def _ticks(before: Sequence[float], across: _Across, level: float, names: float, width: float) -> Iterator[Markup]:
    yield put("before", "0", level, "muted")
    yield line("0", em(level + ROW / 2), "100%", em(level + ROW / 2), "row-line")
    for share in before:
        if share >= across.low:
            x = pc(across.at(share))
            yield line(x, em(level - 0.4), x, em(level + 0.4), "lesser")
    yield from _counted(before, across, level, names, width)


def _counted(shares: Sequence[float], across: _Across, level: float, names: float, width: float) -> Iterator[Markup]:
    """How many lie lower than is drawn."""
    low = sum(share < across.low for share in shares)
    if low:
        yield put(f"◀ {low}", pc((names + 0.4) / width), level, "muted")


def _this(this: ThisGrain, across: _Across, level: float) -> Iterator[Markup]:
    low, high = across.at(this.share - this.uncertainty), across.at(this.share + this.uncertainty)
    yield line(pc(low), em(level), pc(high), em(level), "uncertain")
    for x in (low, high):
        yield line(pc(x), em(level - 0.3), pc(x), em(level + 0.3), "uncertain end-bar")
    yield at(pc(across.at(this.share)), em(level), scaled("M0,-10L10,0L0,10L-10,0Z", "mark this", 0.9))


def _foot(across: _Across, limit: float, foot: float, width: float) -> Iterator[Markup]:
    """The limit's name and round values beside it."""
    lane = Lane(width)
    words = f"{limit * 100:g} limit"
    wide = room(words, bold=True)
    x = across.at(limit) * width
    middle = min(max(x, wide / 2), width - wide / 2)
    lane.take(middle - wide / 2 - 0.3, middle + wide / 2 + 0.3)
    yield at(pc(across.at(limit)), "0", put(words, em(middle - x), foot + 0.85, "limit-name middle"))
    places = [value for value in ticks(across.low * 100, across.high * 100, 6) if across.low * 100 <= value]
    unit = " %"
    for value in reversed(places):
        label = f"{value:g}{unit}"
        if lane.centred(across.at(value / 100) * width, room(label) + 0.3):
            unit = ""
            yield put(label, pc(across.at(value / 100)), foot + 0.85, "muted middle")
