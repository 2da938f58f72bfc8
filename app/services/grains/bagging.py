"""The evening's bagging step: ticked by the bags themselves, once every grain that came off the tools is in one."""

from sqlmodel import Session, select

from app import clock
from app.models import Batch, CastStep, Grain, Melt
from app.models.cast import StepIn
from app.services.book import audit_reasons
from app.services.cast import casting, steps


def tick(session: Session, batch: Batch) -> list[CastStep]:
    """Tick the bagging of each set whose turn it is, with the time of now, where no grain waits for its bag.

    Gives the steps that were ticked; none where the session is closed or something still stands before them.
    """
    melt = casting.melt(session, batch)
    if melt is None or melt.evening.closed_at is not None or _waits(session, batch, melt):
        return []
    ready = [step for step in _open(melt) if _before(melt, step) is None]
    for step in ready:
        steps.record(
            session, melt, step.pk, StepIn(act="done"), audit_reasons.who(session) or casting.person(melt.evening)
        )
    return ready


def stands(session: Session, batch: Batch) -> str:
    """How the bagging of the evening stands beside the bags, in words; empty where there is nothing to tell yet."""
    melt = casting.melt(session, batch)
    if melt is None or melt.evening.closed_at is not None or not _any_bagged(session, batch):
        return ""
    said = [
        f"{_called(melt, step)} is ticked, at {clock.local(step.done_at):%H:%M}."
        for step in _of_bags(melt)
        if step.done_at is not None
    ]
    still = _open(melt)
    waits = _waits(session, batch, melt)
    if still and waits:
        return " ".join([*said, f"{_called(melt, still[0])} stays open: {waits}."])
    for step in still:
        earlier = _before(melt, step)
        if earlier is None:
            said.append(f"{_called(melt, step)} is not ticked yet; it is its turn.")
        else:
            said.append(f"{_called(melt, step)} is not ticked: “{earlier.words}” comes first.")
    return " ".join(said)


def _of_bags(melt: Melt) -> list[CastStep]:
    return [step for step in melt.steps if step.key == "bag"]


def _open(melt: Melt) -> list[CastStep]:
    return [step for step in _of_bags(melt) if not steps.settled(step)]


def _before(melt: Melt, step: CastStep) -> CastStep | None:
    """What must be settled before a step and is not."""
    return next((earlier for earlier in steps.before(melt, step) if not steps.settled(earlier)), None)


def _called(melt: Melt, step: CastStep) -> str:
    words = step.words.rstrip(".")
    return f"“Set {step.set_number}: {words}”" if steps.sets(melt) > 1 else f"“{words}”"


def _any_bagged(session: Session, batch: Batch) -> bool:
    return any(grain.bagged_at is not None for grain in _grains(session, batch))


def _grains(session: Session, batch: Batch) -> list[Grain]:
    return list(session.exec(select(Grain).where(Grain.batch_id == batch.pk)))


def _waits(session: Session, batch: Batch, melt: Melt) -> str:
    """What of the grains that came off the tools is in no bag yet, in words; empty when all is.

    A grain that is not weighed is still in its mould while another set waits for its turn: then it keeps nothing back.
    """
    found = _grains(session, batch)
    planned = sum(item.count for item in batch.items)
    if len(found) < planned and all(_before(melt, step) is None for step in _of_bags(melt)):
        left = planned - len(found)
        return f"{left} of {planned} planned grains {'is' if left == 1 else 'are'} not weighed yet"
    undecided = [grain for grain in found if grain.decision is None]
    if undecided:
        return f"{_serials(undecided)} {'is' if len(undecided) == 1 else 'are'} not decided on yet"
    loose = [grain for grain in found if grain.decision != "reject" and grain.bagged_at is None]
    if loose:
        return f"{_serials(loose)} {'is' if len(loose) == 1 else 'are'} in no bag"
    return ""


def _serials(found: list[Grain]) -> str:
    return ", ".join(grain.serial for grain in found)
