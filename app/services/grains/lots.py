"""A lot as a whole: where its mass went, how even its grains are, and whether one stands out."""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

from sqlalchemy import select as select_core
from sqlmodel import Session, col, select

from app.calc.grain.lot_balance import MassBalance, lot_mass_balance
from app.calc.stats.control_charts import (
    ENOUGH,
    Ewma,
    MeanComparison,
    Sample,
    ShortRunLimits,
    compare_means,
    ewma,
    individuals_limits,
    short_run,
)
from app.models import Batch, BatchPart, Grain, GrainMeasure, GrainPattern, Leftover, WeighOut
from app.services.book import workshop
from app.services.grains.grains import GrainView


@dataclass(frozen=True)
class Balance:
    """Where the mass of a lot went [kg]; `flag` is accept, look or reject.

    A grain is counted once, where it lies: among the grains, the leftovers (`remelted` of them), or the scrap,
    which also holds what was trimmed off.
    """

    weighed_in: float
    grains: float
    grain_count: int
    test_pieces: float | None
    leftovers: float
    remelted: int
    scrap: float
    trimmed: float
    sums: MassBalance
    flag: str
    words: str

    @property
    def loss(self) -> float:
        """What is not accounted for; negative when more came out than went in."""
        return self.sums.loss


def balance(session: Session, batch: Batch) -> Balance | None:
    """Weighed in = grains + test pieces + leftovers + scrap + loss, in one line; nothing until there is some mass.

    What came out of a lot that nothing was weighed into, or whose amounts were all struck out, is told too.

    A loss up to the over-pour of the plan is expected: that much stays in the pan and on the tools.
    """
    came_in = session.exec(
        select(WeighOut.mass_kg)
        .join(BatchPart, col(WeighOut.batch_part_id) == BatchPart.id)
        .where(BatchPart.batch_id == batch.pk, col(WeighOut.voided_at).is_(None))
    ).all()
    weighed = session.exec(select(Grain.mass_kg, Grain.gone_to).where(Grain.batch_id == batch.pk)).all()
    masses = [mass for mass, gone in weighed if gone is None]
    offcuts = session.exec(
        select(GrainMeasure.offcut_kg)
        .join(Grain, col(GrainMeasure.grain_id) == Grain.id)
        .where(Grain.batch_id == batch.pk, GrainMeasure.offcut_kg > 0)
    ).all()
    scrap = [*(mass for mass, gone in weighed if gone == "scrap"), *offcuts]
    kept = session.exec(select(Leftover.mass_kg).where(Leftover.batch_id == batch.pk)).all()
    pieces = [] if batch.test_pieces_kg is None else [batch.test_pieces_kg]
    if not any((*came_in, *masses, *pieces, *kept, *scrap)):
        return None
    sums = lot_mass_balance(came_in, masses, pieces, [*kept, *scrap], workshop.get(session).scale_resolution_kg)
    flag, words = _judge(batch, sums, len(weighed))
    return Balance(
        weighed_in=sums.weighed_in,
        grains=math.fsum(masses),
        grain_count=len(masses),
        test_pieces=batch.test_pieces_kg,
        leftovers=math.fsum(kept),
        remelted=sum(gone == "remelt" for _, gone in weighed),
        scrap=math.fsum(scrap),
        trimmed=math.fsum(offcuts),
        sums=sums,
        flag=flag,
        words=words,
    )


def _judge(batch: Batch, sums: MassBalance, grain_count: int) -> tuple[str, str]:
    planned = sum(item.count for item in batch.items)
    if sums.impossible:
        return "reject", (
            "More came out than went in: a mass is wrong, a tube was weighed along, or an ingredient was not entered."
        )
    if grain_count < planned:
        left = planned - grain_count
        return "wait", f"{left} of {planned} planned grains {'is' if left == 1 else 'are'} not weighed yet."
    if batch.test_pieces_kg is None:
        return "wait", "The mass in test pieces is not entered yet."
    if sums.loss > batch.over_pour_share * sums.weighed_in + sums.tolerance:
        return "look", (
            f"More is missing than the over-pour of {batch.over_pour_share * 100:.0f} %: look for a grain, a leftover "
            "or a spill that was not entered."
        )
    return "accept", "It adds up; what is missing is no more than the over-pour leaves in the pan."


@dataclass(frozen=True)
class Spread:
    """How much values differ: number, mean, standard deviation of a sample (none for one), least and most."""

    n: int
    mean: float
    sd: float | None
    low: float
    high: float


def spread(values: Iterable[float]) -> Spread | None:
    """Mean and sample standard deviation (n - 1) of values in any unit; nothing for no values.

    The definition is the usual one, e.g. NIST/SEMATECH e-Handbook 1.3.5.6.
    """
    found = list(values)
    if not found:
        return None
    mean = math.fsum(found) / len(found)
    sd = math.sqrt(math.fsum((v - mean) ** 2 for v in found) / (len(found) - 1)) if len(found) > 1 else None
    return Spread(len(found), mean, sd, min(found), max(found))


@dataclass(frozen=True)
class Evenness:
    """The spread of a lot: density [share of ideal] over all grains, mass [kg] by pattern."""

    density: Spread | None
    masses: list[tuple[GrainPattern, Spread]]


@dataclass(frozen=True)
class Earlier:
    """What lots came to that are older than one: the newest by their codes, and all before them in one heap [-]."""

    lots: list[tuple[str, list[float]]]
    before: list[float]


def earlier(session: Session, batch: Batch, named: int = 3, most: int = 40) -> Earlier:
    """The shares of ideal density of the lots before this one, newest first, `most` lots at most [-]."""
    older = (col(Batch.planned_for) < batch.planned_for) | (
        (col(Batch.planned_for) == batch.planned_for) & (col(Batch.id) < batch.pk)
    )
    with_grains = col(Batch.id).in_(select(Grain.batch_id).distinct())
    order = (col(Batch.planned_for).desc(), col(Batch.id).desc())
    newest = select_core(col(Batch.id), col(Batch.code)).where(older, with_grains).order_by(*order).limit(most)
    codes = {row.id: row.code for row in session.execute(newest)}
    shares: dict[int, list[float]] = {batch_id: [] for batch_id in codes}
    found = select(Grain.batch_id, Grain.density_share).where(col(Grain.batch_id).in_(list(codes)))
    for batch_id, share in session.exec(found.order_by(col(Grain.number))):
        shares[batch_id].append(share)
    told = [(codes[batch_id], shares[batch_id]) for batch_id in codes]
    return Earlier(told[:named], [share for _, heap in told[named:] for share in heap])


def evenness(views: list[GrainView]) -> Evenness:
    """How even grains are. Masses compare within one pattern only, so each pattern has its own spread."""
    patterns = {v.pattern.pk: v.pattern for v in views}
    masses = []
    for key, pattern in patterns.items():
        found = spread(v.grain.mass_kg for v in views if v.pattern.pk == key)
        assert found is not None
        masses.append((pattern, found))
    return Evenness(spread(v.grain.density_share for v in views), masses)


@dataclass(frozen=True)
class Control:
    """Values in order of time with what a control chart makes of them; limits and average only with enough of them.

    `values` are labels with shares [-]; `words` say what stands out, or why there are no limits yet.
    """

    values: list[tuple[str, float]]
    centre: float
    limits: ShortRunLimits | None
    average: Ewma | None
    words: str

    @property
    def outside(self) -> list[str]:
        """The labels of the values outside the limits."""
        if self.limits is None:
            return []
        return [label for label, value in self.values if not self.limits.lower <= value <= self.limits.upper]


def control(values: list[tuple[str, float]], noun: str) -> Control | None:
    """Judge values in order of time against their own scatter; nothing for no values.

    Limits come from how much neighbours differ (individuals chart), widened for few values; the running average tells
    of a slow drift (EWMA, weight 0.3, about the mean). Fewer than `ENOUGH` have points and a mean only.
    """
    if not values:
        return None
    numbers = [value for _, value in values]
    centre = math.fsum(numbers) / len(numbers)
    if len(numbers) < ENOUGH:
        words = (
            f"{len(numbers)} {noun}: points and mean only. Limits are drawn from {ENOUGH} on; fewer know their own "
            "scatter too badly."
        )
        return Control(values, centre, None, None, words)
    limits = individuals_limits(numbers)
    if limits.moving_range <= 1e-12 * abs(centre):
        return Control(
            values, centre, None, None, f"All {len(numbers)} {noun} are alike: there is no scatter to judge by."
        )
    average = ewma(numbers, limits.centre, limits.sigma)
    found = Control(values, centre, short_run(limits), average, "")
    return replace(found, words=_told(found, noun))


def _told(found: Control, noun: str) -> str:
    said = []
    if found.outside:
        said.append(f"Outside the limits: {', '.join(found.outside)}. Look for what was different there.")
    drifted = found.average.outside if found.average else ()
    if drifted:
        said.append(
            f"The running average (EWMA) leaves its limits from {found.values[drifted[0]][0]} on: a slow drift."
        )
    if not said:
        said.append(f"All {len(found.values)} {noun} stand inside the limits, and their running average (EWMA) too.")
    return " ".join(said)


def density_control(views: list[GrainView]) -> Control | None:
    """The densities of a lot's grains in the order of their numbers, all that were weighed, the rejected too."""
    return control([(v.grain.serial, v.grain.density_share) for v in views], "grains")


def compare(one: Spread | None, other: Spread | None) -> MeanComparison | None:
    """Compare two means by their spreads; nothing where one of them has fewer than two values."""
    if one is None or other is None or one.sd is None or other.sd is None:
        return None
    return compare_means(Sample(one.n, one.mean, one.sd), Sample(other.n, other.mean, other.sd))
