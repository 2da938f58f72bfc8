"""Where a rejected grain goes: melted again as a leftover of its lot, or thrown away. Its mass stays accounted for."""

from typing import Literal

from sqlmodel import Session, col, select

from app import clock
from app.errors import Refused
from app.models import Batch, BatchPart, Disposal, DisposalItem, Grain, Leftover, WeighOut
from app.services.book import audit_reasons, repository, workshop
from app.services.grains import grains
from app.units import show


def send_off(session: Session, grain: Grain, to: Literal["remelt", "scrap"], version: int | None = None) -> Grain:
    """Send a rejected grain to remelt or to scrap.

    To remelt, it becomes a leftover of its batch with its own mass and with its serial for a mark: the batch's
    composition goes with it into the next plan. From then on its mass is counted there and not among the grains.

    Raises
    ------
    Conflict
        The grain was changed since the page was opened.
    Refused
        It is not rejected, or gone already.
    """
    grains.free(session, grain)
    if grain.decision != "reject":
        raise Refused(f"{grain.serial} is not rejected; only a rejected grain goes to remelt or scrap.")
    repository.claim(grain, version)
    grain.gone_to, grain.gone_at = to, clock.now()
    grain.gone_by = audit_reasons.who(session) or grain.decided_by
    session.flush()
    if to == "remelt":
        session.add(
            Leftover(
                batch_id=grain.batch_id,
                grain_id=grain.pk,
                mark=free_mark(session, grain.serial),
                mass_kg=grain.mass_kg,
                mass_typed=show(grain.mass_kg, "mass", workshop.get(session).units),
                note=f"A rejected grain. {grain.decision_words}",
            )
        )
        session.flush()
    return grain


def bring_back(session: Session, grain: Grain, version: int | None = None) -> Grain:
    """Bring a grain back from remelt or scrap, as rejected as it was; that it was gone stays in its history.

    Raises
    ------
    Conflict
        The grain was changed since the page was opened.
    Refused
        It is not gone, a batch asks for it or took it in, or it was disposed of.
    """
    if grain.gone_to is None:
        raise Refused(f"{grain.serial} did not go to remelt or scrap.")
    _still_here(session, grain)
    leftover = session.exec(select(Leftover).where(Leftover.grain_id == grain.pk)).first()
    if leftover is not None:
        _unused(session, grain, leftover)
    repository.claim(grain, version)
    grains.keep(session, grain, f"Brought back from {grain.gone_to}.")
    if leftover is not None:
        session.delete(leftover)
        session.flush()
    grain.gone_to, grain.gone_at, grain.gone_by = None, None, ""
    session.flush()
    return grain


def _still_here(session: Session, grain: Grain) -> None:
    """Refuse to bring a grain back that was disposed of."""
    found = (
        select(Disposal)
        .join(DisposalItem, col(DisposalItem.disposal_id) == col(Disposal.id))
        .where(DisposalItem.grain_id == grain.pk, col(DisposalItem.released_at).is_(None))
    )
    gone = session.exec(found).first()
    if gone is not None:
        raise Refused(
            f"{grain.serial} was disposed of on {clock.day(gone.done_on)}. If it was not, strike that out under "
            "rejects and scrap first."
        )


def _unused(session: Session, grain: Grain, leftover: Leftover) -> None:
    """Refuse to take a leftover away that a plan names or that was weighed out, even if that was struck out."""
    asked = (
        select(Batch.code)
        .join(BatchPart, col(BatchPart.batch_id) == Batch.id)
        .outerjoin(WeighOut, col(WeighOut.batch_part_id) == BatchPart.id)
        .where((col(BatchPart.leftover_id) == leftover.pk) | (col(WeighOut.leftover_id) == leftover.pk))
    )
    code = session.exec(asked).first()
    if code is not None:
        raise Refused(f"{grain.serial} is in the recipe of {code} as leftover “{leftover.mark}”; it stays there.")


def free_mark(session: Session, wanted: str) -> str:
    """That mark, or the same with a number behind it where a leftover has it already."""
    taken = set(session.exec(select(Leftover.mark).where(Leftover.mark.startswith(wanted))))
    return next(mark for n in range(1, len(taken) + 2) if (mark := wanted if n == 1 else f"{wanted} {n}") not in taken)
