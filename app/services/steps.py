"""The steps of a cast session: made from the formula's melt order, ticked in order, timed by the server's clock.

Times after the pour are common practice, no source.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlmodel import Session

from app import clock
from app.calc.ingredients import INGREDIENTS
from app.calc.recipe import to_melt_order
from app.errors import Refused
from app.models import Batch, BatchPart, CastSession, CastStep, SessionNote
from app.models.cast import StepIn
from app.services import planning, rows

MINUTE = 60.0
CORE_AFTER_S = 3 * MINUTE
COMPACT_AFTER_S = 18 * MINUTE
COMPACT_AGAIN_S = 10 * MINUTE
PULL_AFTER_S = 90 * MINUTE
BAG_AFTER_S = 6 * 60 * MINUTE
GRACE_S = MINUTE
THIRDS = ("first", "second", "last")


@dataclass(frozen=True)
class Now:
    """A step as it stands at this moment."""

    step: CastStep
    due_at: datetime | None
    late_s: float
    is_next: bool
    amount_kg: float | None

    @property
    def settled(self) -> bool:
        """Done, or skipped with a reason."""
        return _settled(self.step)

    @property
    def late(self) -> bool:
        """More than a minute past its time."""
        return self.late_s > GRACE_S

    @property
    def late_words(self) -> str:
        """How late, in words."""
        minutes = round(self.late_s / MINUTE)
        return f"{minutes} min" if minutes < 120 else f"{minutes // 60} h {minutes % 60} min"


def make(batch: Batch, blend: dict[str, float]) -> list[CastStep]:
    """The steps for a batch: weigh, melt in the formula's order, pour, core, compact, pull, bag.

    Parameters
    ----------
    blend
        Mass fraction by ingredient of what goes into the pan fresh; it sets the order of melting.
    """
    made: list[CastStep] = []

    def add(key: str, words: str, after: str | None = None, after_s: float | None = None) -> None:
        made.append(
            CastStep(cast_session_id=0, position=len(made) + 1, key=key, words=words, after_key=after, after_s=after_s)
        )

    add(
        "weigh",
        "Weigh out, each thing into its own dry bowl. Oxidiser and sugars are never ground together.",
    )
    in_pan = {part.ingredient for part in batch.parts}
    melts = [step for step in to_melt_order(blend) if step.key in in_pan]
    sugars = [step for step in melts if INGREDIENTS[step.key].kind == "sugar"]
    for step in sugars:
        add(f"melt:{step.key}", f"{step.words} and stir until it is clear.")
    for part in batch.parts:
        if part.leftover_id is not None:
            add(f"remelt:{part.leftover_id}", "Break the leftover small, add it and let it soften.")
    thirds = [step for step in melts if INGREDIENTS[step.key].kind == "oxidiser"]
    for number, step in enumerate(thirds, start=1):
        add(f"oxidiser:{number}", f"{step.words}; wait until the melt is smooth and warm again.")
    add("pour", "Pour the tubes and the test pieces. Heat off.")
    add("core", "Set the coring rods, straight and down to the stop.", "pour", CORE_AFTER_S)
    add("compact:1", "Compact the first time.", "pour", COMPACT_AFTER_S)
    add("compact:2", "Compact again.", "compact:1", COMPACT_AGAIN_S)
    add("compact:3", "Compact the last time.", "compact:2", COMPACT_AGAIN_S)
    add("pull", "Pull the cores. Left in overnight, the rods seize.", "pour", PULL_AFTER_S)
    add("bag", "Bag the grains with desiccant, the same evening.", "pour", BAG_AFTER_S)
    return made


def of_session(cast: CastSession, batch: Batch, weighed: dict[int, float]) -> list[Now]:
    """All steps of a session with their due times and lateness on the server's clock."""
    due: dict[str, datetime | None] = {}
    found: list[Now] = []
    open_yet = cast.closed_at is None
    for step in cast.steps:
        base = _base(cast, step, due)
        due[step.key] = base + timedelta(seconds=step.after_s or 0) if base else None
        due_at = due[step.key]
        until = step.done_at or (None if step.skipped_why is not None or not open_yet else clock.now())
        late_s = max((until - due_at).total_seconds(), 0.0) if due_at and until else 0.0
        is_next = open_yet and not _settled(step) and not any(n.is_next for n in found)
        found.append(Now(step, due_at, late_s, is_next, _amount(step, batch, weighed)))
    return found


def _base(cast: CastSession, step: CastStep, due: dict[str, datetime | None]) -> datetime | None:
    """The moment a step counts from: when the step before it was done, or was due if it was skipped."""
    if step.after_key is None:
        return None
    before = next((s for s in cast.steps if s.key == step.after_key), None)
    if before is None:
        return None
    return before.done_at or (due.get(before.key) if before.skipped_why is not None else None)


def _amount(step: CastStep, batch: Batch, weighed: dict[int, float]) -> float | None:
    """How much goes in at a step: of what was weighed, else of the target [kg]."""
    kind, _, what = step.key.partition(":")
    if kind == "melt":
        return _mass(next((p for p in batch.parts if p.ingredient == what), None), weighed)
    if kind == "remelt":
        return _mass(next((p for p in batch.parts if str(p.leftover_id) == what), None), weighed)
    if kind == "oxidiser":
        oxidisers = [p for p in batch.parts if p.ingredient and INGREDIENTS[p.ingredient].kind == "oxidiser"]
        whole = _mass(next(iter(oxidisers), None), weighed)
        return whole / len(THIRDS) if whole is not None else None
    return None


def _mass(part: BatchPart | None, weighed: dict[int, float]) -> float | None:
    if part is None:
        return None
    return weighed.get(part.pk) or part.target_kg


def record(
    session: Session, cast: CastSession, step_id: int, data: StepIn, person: str = "", version: int | None = None
) -> CastStep:
    """Tick a step, skip it with a reason, or take the last tick back; takes the time from the server's clock.

    Raises
    ------
    Refused
        The session is closed, the step is out of order, settled already, or the reason is missing.
    Conflict
        The step was changed since the page was opened.
    """
    step = rows.get(session, CastStep, step_id, "step")
    if step.cast_session_id != cast.pk:
        raise Refused("That step belongs to another session.")
    if cast.closed_at is not None:
        raise Refused("The session is closed. Reopen it with a new checklist to change a step.")
    if data.act == "undo":
        _undo(session, cast, step, version)
    else:
        _settle(session, cast, step, data, person, version)
    session.flush()
    return step


def _settle(
    session: Session, cast: CastSession, step: CastStep, data: StepIn, person: str, version: int | None
) -> None:
    if step.done_at is not None:
        raise Refused(f"This step was ticked already, at {clock.local(step.done_at):%H:%M}.")
    if step.skipped_why is not None:
        raise Refused(f"This step was skipped already ({step.skipped_why}).")
    rows.claim(step, version)
    earlier = next((s for s in cast.steps if s.position < step.position and not _settled(s)), None)
    if earlier is not None:
        raise Refused(f"“{earlier.words}” comes first. Tick it, or skip it with a reason, then come back to this one.")
    if data.act == "skip":
        if len(data.why) < 3:
            raise Refused("Say in a few words why it is skipped.", field="why")
        step.skipped_why = data.why
    else:
        if step.key == "weigh":
            _all_weighed(session, cast)
        step.done_at = clock.now()
    step.person = person


def _all_weighed(session: Session, cast: CastSession) -> None:
    batch = rows.get(session, Batch, cast.batch_id, "batch")
    amounts = planning.weighed(session, batch)
    missing = [part for part in batch.parts if not amounts[part.pk]]
    if missing:
        names = ", ".join(INGREDIENTS[part.ingredient].name if part.ingredient else "leftover" for part in missing)
        raise Refused(f"Not weighed yet: {names}. Book the amounts first, or skip this step with a reason.")


def _undo(session: Session, cast: CastSession, step: CastStep, version: int | None) -> None:
    if not _settled(step):
        raise Refused("There is nothing to take back: this step is still open.")
    rows.claim(step, version)
    later = next((s for s in reversed(cast.steps) if s.position > step.position and _settled(s)), None)
    if later is not None:
        raise Refused(f"“{later.words}” was settled after it. Take that back first.")
    what = f"done at {clock.local(step.done_at):%H:%M}" if step.done_at else f"skipped: {step.skipped_why}"
    words = f"Taken back: “{step.words}” ({what})."
    session.add(SessionNote(cast_session_id=cast.pk, written_at=clock.now(), words=words))
    step.done_at, step.skipped_why, step.person = None, None, ""


def _settled(step: CastStep) -> bool:
    return step.done_at is not None or step.skipped_why is not None
