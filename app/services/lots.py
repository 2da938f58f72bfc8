"""A lot as a whole: where its mass went, and how even its grains are."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from sqlmodel import Session, col, select

from app.calc.graincheck import MassBalance, lot_mass_balance
from app.models import Batch, BatchPart, Grain, GrainPattern, Leftover, WeighOut
from app.services import workshop
from app.services.grains import GrainView


@dataclass(frozen=True)
class Balance:
    """Where the mass of a lot went [kg]; `flag` is accept, look or reject."""

    weighed_in: float
    grains: float
    grain_count: int
    test_pieces: float | None
    leftovers: float
    sums: MassBalance
    flag: str
    words: str

    @property
    def loss(self) -> float:
        """What is not accounted for; negative when more came out than went in."""
        return self.sums.loss


def balance(session: Session, batch: Batch) -> Balance | None:
    """Weighed in = grains + test pieces + leftovers + loss, in one line; nothing as long as nothing was weighed in.

    A loss up to the over-pour of the plan is expected: that much stays in the pan and on the tools.
    """
    came_in = session.exec(
        select(WeighOut.mass_kg)
        .join(BatchPart, col(WeighOut.batch_part_id) == BatchPart.id)
        .where(BatchPart.batch_id == batch.pk, col(WeighOut.voided_at).is_(None))
    ).all()
    if not came_in:
        return None
    masses = session.exec(select(Grain.mass_kg).where(Grain.batch_id == batch.pk)).all()
    kept = session.exec(select(Leftover.mass_kg).where(Leftover.batch_id == batch.pk)).all()
    pieces = [] if batch.test_pieces_kg is None else [batch.test_pieces_kg]
    sums = lot_mass_balance(came_in, masses, pieces, kept, workshop.get(session).scale_resolution_kg)
    flag, words = _judge(batch, sums, len(masses))
    return Balance(
        weighed_in=sums.weighed_in,
        grains=math.fsum(masses),
        grain_count=len(masses),
        test_pieces=batch.test_pieces_kg,
        leftovers=math.fsum(kept),
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


def evenness(views: list[GrainView]) -> Evenness:
    """How even grains are. Masses compare within one pattern only, so each pattern has its own spread."""
    patterns = {v.pattern.pk: v.pattern for v in views}
    masses = []
    for key, pattern in patterns.items():
        found = spread(v.grain.mass_kg for v in views if v.pattern.pk == key)
        assert found is not None
        masses.append((pattern, found))
    return Evenness(spread(v.grain.density_share for v in views), masses)
