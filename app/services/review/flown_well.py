"""Which lots flew well, and whether one line of density parts them: in two sentences, or that nothing does yet.

A lot is judged by the motors that held its grains alone. It burned well where each of them did.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

from sqlalchemy import func
from sqlalchemy import select as select_core
from sqlmodel import Session, col

from app.calc.stats.one_cut import Cut, best_cut
from app.models import Batch, BuildGrain, Firing, Grain, Prediction
from app.services.learning import stored_predictions
from app.services.review.burned_motors import GOOD, NOT_GOOD
from app.services.review.lots_review import Found, LotLine

LEAST = 3
"""Lots that burned well, and lots that did not, below which no line is looked for; Grainbook's own choice."""

SURE = 0.05
"""Chance below which a line is told [-]: where density says nothing, at most one book in twenty shows one."""

JUDGED = 200
"""Lots judged at most, the newest ones."""


@dataclass(frozen=True)
class LotFlown:
    """A lot and what came of it: its mean density of ideal [-], whether it burned well (None: not fired yet), and what
    it delivered of each predicted impulse [-]."""

    code: str
    density: float | None
    well: bool | None
    ratios: tuple[float, ...] = ()


@dataclass(frozen=True)
class FlownWell:
    """What can be said of lots: two sentences, what to keep doing and what to change; `cut` in per cent of ideal."""

    lots: Sequence[LotFlown]
    cut: Cut | None
    told: bool
    """Whether the cut parts the lots better than chance would, and enough lots stand behind it."""
    answer: str
    more: str
    keep: str
    change: str
    mixed: int = 0
    """Motors left out because they held grains of more than one lot."""
    well: int = field(default=0)
    ill: int = field(default=0)


def of_lines(lines: Sequence[LotLine]) -> FlownWell:
    """Judge lots that were read already."""
    lots, mixed = [], set()
    for line in lines:
        burned = [f for f in line.firings if f.result in (*GOOD, *NOT_GOOD)]
        mixed |= {f.firing_id for f in burned if len(f.lots) > 1}
        alone = [f for f in burned if len(f.lots) == 1]
        density = line.counts.density.mean if line.counts.density else None
        well = all(f.result in GOOD for f in alone) if alone else None
        ratios = tuple(ratio for f in alone if (ratio := f.ratio) is not None)
        lots.append(LotFlown(line.batch.code, density, well, ratios))
    return said(lots, len(mixed))


def flown(session: Session, found: Found) -> FlownWell:
    """Judge the lots that were found, the newest of them where they are very many."""
    if len(found.lines) == len(found.newest):
        place = {key: i for i, key in enumerate(found.newest)}
        return of_lines(sorted(found.lines, key=lambda line: place[line.batch.pk]))
    return judged(session, found.newest)


def judged(session: Session, ids: Sequence[int]) -> FlownWell:
    """Judge the newest lots of these identities (newest first), in two queries."""
    kept = list(ids[:JUDGED])
    density = {
        row[0]: (row[1], row[2])
        for row in session.execute(
            select_core(col(Batch.id), col(Batch.code), func.avg(Grain.density_share))
            .outerjoin(Grain, col(Grain.batch_id) == Batch.id)
            .where(col(Batch.id).in_(kept))
            .group_by(col(Batch.id))
        )
    }
    mine = select_core(col(BuildGrain.motor_build_id)).join(Grain, col(Grain.id) == BuildGrain.grain_id)
    held = (
        select_core(
            col(BuildGrain.motor_build_id).label("motor"),
            func.min(Grain.batch_id).label("first"),
            func.max(Grain.batch_id).label("last"),
        )
        .join(Grain, col(Grain.id) == BuildGrain.grain_id)
        .where(col(BuildGrain.motor_build_id).in_(mine.where(col(Grain.batch_id).in_(kept))))
        .group_by(col(BuildGrain.motor_build_id))
        .subquery()
    )
    query = (
        select_core(
            held.c.first,
            held.c.last,
            col(Firing.result),
            col(Firing.measured_impulse_ns),
            col(Prediction.total_impulse_ns),
        )
        .join(Firing, col(Firing.motor_build_id) == held.c.motor)
        .outerjoin(Prediction, col(Prediction.id) == stored_predictions.id_in_query())
        .where(col(Firing.result).in_((*GOOD, *NOT_GOOD)))
        .order_by(col(Firing.fired_at), col(Firing.id))
    )
    came: dict[int, list[bool]] = {}
    ratios: dict[int, list[float]] = {}
    mixed = 0
    for first, last, result, measured, predicted in session.execute(query):
        if first != last:
            mixed += 1
            continue
        came.setdefault(first, []).append(result in GOOD)
        if measured and predicted:
            ratios.setdefault(first, []).append(measured / predicted)
    return said(
        [
            LotFlown(density[i][0], density[i][1], all(came[i]) if i in came else None, tuple(ratios.get(i, ())))
            for i in kept
            if i in density
        ],
        mixed,
    )


def said(lots: Sequence[LotFlown], mixed: int = 0) -> FlownWell:
    """The sentences that these lots leave, and the line that parts them where one does."""
    fired = [lot for lot in lots if lot.well is not None]
    known = [(100 * lot.density, bool(lot.well)) for lot in fired if lot.density is not None]
    well = sum(kind for _, kind in known)
    ill = len(known) - well
    cut = best_cut([x for x, _ in known], [kind for _, kind in known]) if min(well, ill) >= LEAST else None
    told = cut is not None and cut.p < SURE
    first, second, keep, change = _parted(lots, cut) if cut and told else _not_parted(fired, well, ill)
    return FlownWell(lots, cut, told, first, second, keep, change, mixed, well, ill)


def _parted(lots: Sequence[LotFlown], cut: Cut) -> tuple[str, str, str, str]:
    level = f"{cut.level:g} %"
    dense = [lot for lot in lots if lot.density is not None and 100 * lot.density >= cut.level]
    light = [lot for lot in lots if lot.density is not None and 100 * lot.density < cut.level]
    above = f"at {level} of ideal density or more"
    if cut.upward:
        good, bad, place, names = dense, light, above, ("the lighter ones", "light")
        counts = (cut.n_above, cut.so_above, cut.n_below, cut.so_below)
    else:
        good, bad, place, names = light, dense, f"below {level} of ideal density", ("the denser ones", "dense")
        counts = (cut.n_below, cut.so_below, cut.n_above, cut.so_above)
    n, so, others, so_others = counts
    rest = names[0].removeprefix("the ")
    if cut.perfect:
        answer = f"All {n} lots that burned well are {place}; none of the {others} {rest} did."
    else:
        answer = f"Of {n} lots {place} {so} burned well, of {others} {rest} {so_others}."
    told = [
        f"{who} {words}"
        for who, side in (("the first delivered", good), (names[0], bad))
        if (words := _delivered(side))
    ]
    more = f"{', '.join(told)} of the prediction.".capitalize() if told else ""
    more = more.replace("The first delivered", "They delivered" if cut.perfect else "The former delivered")
    waiting = [lot.code for lot in bad if lot.well is None]
    change = f"what made the others {names[1]} (see Noted)."
    if waiting:
        few = ", ".join(waiting[:3]) + (f" and {len(waiting) - 3} more" if len(waiting) > 3 else "")
        few = few if len(waiting) != 2 else " and ".join(waiting)
        change += (
            f" {few}, not fired yet, {'is' if len(waiting) == 1 else 'are'} as {names[1]}: try one on the stand first."
        )
    keep = f"casting to {level} or more." if cut.upward else f"what the lots below {level} have in common."
    return answer, more, keep, change


def _not_parted(fired: Sequence[LotFlown], well: int, ill: int) -> tuple[str, str, str, str]:
    if not fired:
        return (
            "No lot was fired yet.",
            "A lot is judged once a motor of its grains alone was fired and its result is written down.",
            "",
            "",
        )
    good = [lot for lot in fired if lot.well]
    n = len(fired)
    delivered = _delivered(fired)
    more = f"They delivered {delivered} of the prediction." if delivered else ""
    if len(good) == n:
        one = "The one lot that was fired burned well." if n == 1 else f"All {n} lots that were fired burned well."
        return one, more, "what you do.", "nothing, as far as these tell."
    if not good:
        one = (
            "The one lot that was fired did not burn well."
            if n == 1
            else f"None of {n} lots that were fired burned well."
        )
        return one, more, "", "read what was noted with each; the firings say how they failed."
    few = min(well, ill) < LEAST
    answer = f"Nothing separates them yet: {len(good)} of {n} lots that were fired burned well, "
    answer += (
        f"and a line of density is looked for from {LEAST} of each kind on."
        if few
        else "and light or dense makes no difference that chance would not make."
    )
    return (
        answer,
        more,
        "what you do.",
        "nothing for its density; read what was noted with those that did not burn well.",
    )


def _delivered(lots: Sequence[LotFlown]) -> str:
    """From the least to the most that motors of lots delivered, in per cent."""
    found = [100 * ratio for lot in lots for ratio in lot.ratios]
    if not found:
        return ""
    low, high = f"{min(found):.0f}", f"{max(found):.0f}"
    return f"{low} %" if low == high else f"{low} to {high} %"
