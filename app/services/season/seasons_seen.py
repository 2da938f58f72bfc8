"""Every season in one picture: of each wish how many firings were wished, planned, cast and fired."""

from collections import Counter
from dataclasses import dataclass

from sqlmodel import Session, col, select

from app import clock
from app.models import Batch, Grain, Season
from app.services.season import fulfilled, kept_choices, overview, seasons, wishes
from app.services.season.overview import Kind


@dataclass(frozen=True)
class Row:
    """A wish: what it is called, and how many of its firings came how far; each number holds the next."""

    name: str
    is_flight: bool
    wished: int
    planned: int
    cast: int
    fired: int

    @property
    def boxes(self) -> list[str]:
        """One mark for each firing: fired, cast, planned or wished only."""
        counts = (
            ("fired", self.fired),
            ("there", self.cast - self.fired),
            ("planned", self.planned - self.cast),
            ("wished", self.wished - self.planned),
        )
        return [css for css, count in counts for _ in range(count)]


@dataclass(frozen=True)
class Seen:
    """A season with its rows, and what was fired besides."""

    season: Season
    rows: list[Row]
    besides: int
    is_past: bool

    def total(self, what: str) -> int:
        """Wished, planned, cast or fired, over all rows."""
        return sum(int(getattr(row, what)) for row in self.rows)


def every(session: Session) -> list[Seen]:
    """All seasons, the newest first."""
    return [_seen(session, season) for season in seasons.seasons(session)]


def _seen(session: Session, season: Season) -> Seen:
    past = seasons.past(season)
    ready = {} if past else {line.wish.pk: line.ready for line in overview.of(session, season).lines}
    fired, chosen = fulfilled.fired(session, season), kept_choices.standing(session, season)
    pool, listed = _cast(session, season), wishes.wishes(session, season)
    cast: dict[int, int] = {}
    for wish in sorted(listed, key=lambda w: (wishes.ORDER[w.matters], w.by_on, w.pk)):
        choice, count = chosen.get(wish.pk), 0
        kinds: Counter[Kind] = Counter()
        for pattern, grains in choice.counts.items() if choice else ():
            kinds[choice.formula_id if choice else 0, pattern] += grains
        while choice and count < wish.count and all(pool[kind] >= many for kind, many in kinds.items()):
            pool -= kinds
            count += 1
        cast[wish.pk] = count
    rows = []
    for wish in listed:
        flown = min(len(fired[wish.pk]), wish.count)
        made = min(max(cast[wish.pk], flown + ready.get(wish.pk, 0)), wish.count)
        planned = wish.count if wish.pk in chosen else made
        name = overview.name_of(session, wish)
        rows.append(Row(name, wish.kind == "flight", wish.count, planned, made, flown))
    return Seen(season, rows, len(fired[0]), past)


def _cast(session: Session, season: Season) -> Counter[Kind]:
    """Good grains that were weighed within the days of a season, by kind."""
    found = (
        select(Batch.formula_id, Grain.pattern_id, Grain.weighed_at)
        .join(Batch, col(Grain.batch_id) == col(Batch.id))
        .where(Grain.decision == "accept", col(Grain.weighed_at) >= seasons.since(season))
    )
    return Counter(
        (formula, pattern) for formula, pattern, at in session.exec(found) if clock.local(at).date() <= season.ends_on
    )
