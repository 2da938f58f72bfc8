"""How a lot stands among the lots cast before and after it: good or not, in two sentences by a stated rule.

Where little is known nothing is said. A lot's density is set against the mean densities of its neighbours: it is called
denser or lighter only where it lies outside what one more lot like them would.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import tuple_
from sqlmodel import Session, col, select

from app.calc.stats.control_charts import Sample, mean_interval
from app.calc.stats.multiple_comparisons import exact_chance
from app.models import Batch
from app.services.grains.lots import spread
from app.services.review import coverage, lots_review
from app.services.review.burned_motors import GOOD, NOT_GOOD
from app.services.review.lot_firings import FiringLine
from app.services.review.lots_review import LotLine

AROUND = 4
"""Lots before, and lots after, that a lot is set among."""

LEAST = 4
"""Neighbours with a density below which nothing is said of a lot's own; Grainbook's own choice."""

ALIKE = 1e-9
"""Scatter below which values are one and the same but for the last digit of a sum [-]."""

SURE = 0.05
"""Chance below which more rejected grains are told [-]; a customary choice."""


@dataclass(frozen=True)
class Standing:
    """A lot among its neighbours, the one cast last first: what came of it, and what else can be said."""

    verdict: str
    more: str
    line: LotLine
    """The lot's own."""
    lines: Sequence[LotLine]


def standing(session: Session, batch: Batch) -> Standing:
    """Judge a lot by its motors, and by its neighbours where they say enough."""
    lines = _neighbours(session, batch)
    line = next(one for one in lines if one.batch.pk == batch.pk)
    others = [one for one in lines if one is not line]
    said = [_delivered(session, line), _density(line, others), _rejected(line, others)]
    return Standing(_verdict(line), " ".join(words for words in said if words), line, lines)


def _neighbours(session: Session, batch: Batch) -> list[LotLine]:
    place, mine = tuple_(col(Batch.planned_for), col(Batch.id)), (batch.planned_for, batch.pk)
    cast = col(Batch.state).in_(("casting", "cast"))
    before = select(Batch.id).where(cast, place < mine).order_by(col(Batch.planned_for).desc(), col(Batch.id).desc())
    after = select(Batch.id).where(cast, place > mine).order_by(col(Batch.planned_for), col(Batch.id))
    older, newer = (list(session.exec(query.limit(AROUND))) for query in (before, after))
    ids = [key for key in (*reversed(newer), batch.pk, *older) if key is not None]
    return lots_review.lines(session, ids)


# --- What is said ------------------------------------------------------------------------------


def _verdict(line: LotLine) -> str:
    """Good where each motor of its grains alone burned well; nothing is called good or not before one burned."""
    alone = [shot.result for shot in line.firings if len(shot.lots) == 1]
    results = [result for result in alone if result in (*GOOD, *NOT_GOOD)]
    if not results:
        if not line.counts.weighed:
            return "Nothing is known of it yet: no grain was weighed."
        return "Whether it is good is not known: no motor of its grains alone has burned yet."
    well, n = sum(result in GOOD for result in results), len(results)
    if n == 1:
        return "Good: its motor burned well." if well else "Not good: its motor did not burn well."
    if well == n:
        return f"Good: {'both its' if n == 2 else f'all {n} of its'} motors burned well."
    return f"Mixed: {well} of its {n} motors burned well." if well else f"Not good: none of its {n} motors burned well."


def _delivered(session: Session, line: LotLine) -> str:
    """Whether its motors delivered what was predicted, by the ranges stored before."""
    ranges = coverage.ranges_of(session, [shot.firing_id for shot in line.firings if shot.ratio is not None])
    places = [_place(shot, ranges.get(shot.firing_id, {}).get("total_impulse")) for shot in line.firings]
    known = [place for place in places if place]
    if not known:
        return ""
    out = [place for place in known if place != "inside"]
    n = len(known)
    if not out:
        return f"{'It' if n == 1 else 'Both' if n == 2 else 'All'} delivered as predicted."
    how = " or ".join(sorted({"less" if place == "below" else "more" for place in out}))
    return f"{'It' if n == 1 else f'{len(out)} of {n}'} delivered {how} than predicted."


def _place(shot: FiringLine, stored: tuple[float, float, float] | None) -> str:
    if stored is None or shot.measured_ns is None:
        return ""
    return "below" if shot.measured_ns < stored[1] else "above" if shot.measured_ns > stored[2] else "inside"


def one_more(values: Sequence[float]) -> tuple[float, float] | None:
    """Where one more value like these would lie, 95 times of 100, in their unit; nothing for two, or all alike.

    Mean ± t s √(1 + 1/n): a prediction interval (Hahn and Meeker, Statistical Intervals, from memory).
    """
    found = spread(values)
    if found is None or found.n < 3 or not found.sd or found.sd < ALIKE * abs(found.mean):
        return None
    known = mean_interval(Sample(found.n, found.mean, found.sd))
    reach = (known.high - known.mean) * math.sqrt(found.n + 1)
    return known.mean - reach, known.mean + reach


def _density(line: LotLine, others: Sequence[LotLine]) -> str:
    means = [other.counts.density.mean for other in others if other.counts.density is not None]
    own = line.counts.density
    usual = one_more(means) if len(means) >= LEAST else None
    if own is None or usual is None:
        return ""
    if usual[0] <= own.mean <= usual[1]:
        return "Its grains are as dense as those of the lots around it."
    return f"Its grains are {'denser' if own.mean > usual[1] else 'lighter'} than those of the lots around it."


def _rejected(line: LotLine, others: Sequence[LotLine]) -> str:
    mine, weighed = line.counts.rejected, line.counts.weighed
    theirs, all_weighed = sum(o.counts.rejected for o in others), sum(o.counts.weighed for o in others)
    if not weighed or not all_weighed or mine * all_weighed <= theirs * weighed:
        return ""
    chance = exact_chance(mine, weighed - mine, theirs, all_weighed - theirs)
    return "More of its grains were rejected than of theirs." if chance < SURE else ""
