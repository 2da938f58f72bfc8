"""Every season in one picture: of each wish how many firings were wished, planned, cast and fired."""

from collections import Counter
from dataclasses import dataclass
from datetime import date

from sqlalchemy import select as select_core
from sqlmodel import Session, col, select

from app import clock
from app.models import Batch, BuildGrain, Firing, Grain, Season
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
class Grains:
    """The grains of a season, each counted once: cast in its days, those of them that were rejected, that burned in its
    days, and that were not burned when it ended; `from_before` burned in it and were cast earlier.
    """

    cast: int = 0
    rejected: int = 0
    burned: int = 0
    kept: int = 0
    from_before: int = 0


@dataclass(frozen=True)
class Seen:
    """A season with its rows, its grains, and what was fired besides."""

    season: Season
    rows: list[Row]
    grains: Grains
    besides: int
    is_past: bool

    def total(self, what: str) -> int:
        """Wished, planned, cast or fired, over all rows."""
        return sum(int(getattr(row, what)) for row in self.rows)


@dataclass(frozen=True)
class _Made:
    """A grain: its kind, the days it was cast and burned, and what was decided on it."""

    kind: Kind
    cast_on: date
    burned_on: date | None
    decision: str | None

    def there(self, season: Season) -> bool:
        """Whether a season's motors could have it: cast by its end, good, and not burned before it began."""
        good = self.decision == "accept" and self.cast_on <= season.ends_on
        return good and (self.burned_on is None or self.burned_on >= season.begins_on)

    def burned_in(self, season: Season) -> bool:
        """Whether it burned in a season's days."""
        return self.burned_on is not None and season.begins_on <= self.burned_on <= season.ends_on


def every(session: Session) -> list[Seen]:
    """All seasons, the newest first."""
    made = _made(session)
    return [_seen(session, season, made) for season in seasons.seasons(session)]


def _seen(session: Session, season: Season, made: list[_Made]) -> Seen:
    past = seasons.past(season)
    ready = {} if past else {line.wish.pk: line.ready for line in overview.of(session, season).lines}
    fired, chosen = fulfilled.fired(session, season), kept_choices.standing(session, season)
    pool, listed = Counter(grain.kind for grain in made if grain.there(season)), wishes.wishes(session, season)
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
        there = min(max(cast[wish.pk], flown + ready.get(wish.pk, 0)), wish.count)
        planned = wish.count if wish.pk in chosen else there
        name = overview.name_of(session, wish)
        rows.append(Row(name, wish.kind == "flight", wish.count, planned, there, flown))
    return Seen(season, rows, _grains(season, made), len(fired[0]), past)


def _grains(season: Season, made: list[_Made]) -> Grains:
    mine = [grain for grain in made if season.begins_on <= grain.cast_on <= season.ends_on]
    good = [grain for grain in mine if grain.decision != "reject"]
    burned = sum(grain.burned_in(season) for grain in good)
    return Grains(
        cast=len(mine),
        rejected=len(mine) - len(good),
        burned=burned,
        kept=len(good) - burned,
        from_before=sum(grain.burned_in(season) for grain in made if grain.cast_on < season.begins_on),
    )


def _made(session: Session) -> list[_Made]:
    """Every grain of the book that came off the tools."""
    burned = dict(
        session.exec(
            select(BuildGrain.grain_id, Firing.fired_at)
            .join(Firing, col(Firing.motor_build_id) == col(BuildGrain.motor_build_id))
            .where(col(BuildGrain.released_at).is_(None), Firing.result != "no_light")
        ).all()
    )
    query = select_core(
        col(Grain.id), col(Batch.formula_id), col(Grain.pattern_id), col(Grain.weighed_at), col(Grain.decision)
    ).join(Batch, col(Grain.batch_id) == Batch.id)
    return [
        _Made(
            (formula, pattern),
            clock.local(at).date(),
            clock.local(burned[grain]).date() if grain in burned else None,
            decision,
        )
        for grain, formula, pattern, at, decision in session.execute(query)
    ]
