"""The steps of a melt: done in order, timed by the server's clock, for one or several sets of moulds."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, time, timedelta

from sqlmodel import Session, col, func, select

from app import clock
from app.calc.propellant.ingredients import INGREDIENTS
from app.errors import Asked, Refused
from app.models import Batch, BatchPart, CastStep, Melt, SessionNote, TemperatureReading
from app.models.cast import StepIn, StepTimeIn
from app.services.book import moments, repository
from app.services.cast import gate, targets
from app.services.stock import batches

MINUTE = 60.0
GRACE_S = MINUTE
COLD = timedelta(hours=2)
"""So long after the last step or reading of a melt it is asked whether it stayed hot; Grainbook's own choice."""

THIRDS = ("first", "second", "last")
EVENING, MORNING = time(21, 0), time(6, 0)
"""Cores due between these are near to being left in overnight, on whichever side of midnight it is told."""


@dataclass(frozen=True)
class Now:
    """A step as it stands at this moment."""

    step: CastStep
    due_at: datetime | None
    late_s: float
    is_next: bool
    amount_kg: float | None
    words: str

    @property
    def settled(self) -> bool:
        """Done, or skipped with a reason."""
        return settled(self.step)

    @property
    def late(self) -> bool:
        """More than a minute past its time."""
        return self.late_s > GRACE_S

    @property
    def late_words(self) -> str:
        """How late, in words."""
        minutes = round(self.late_s / MINUTE)
        return f"{minutes} min" if minutes < 120 else f"{minutes // 60} h {minutes % 60} min"


# --- Reading -----------------------------------------------------------------------------------


def of_melt(melt: Melt, batch: Batch, weighed: dict[int, float]) -> list[Now]:
    """All steps of a melt with their due times and lateness on the server's clock.

    Moments are in UTC and times are added to them, so a clock change of the season moves what is shown, not what is
    due. One step of each set can be next at once.
    """
    due: dict[tuple[int, str], datetime | None] = {}
    found: list[Now] = []
    open_yet, several = melt.evening.closed_at is None, sets(melt) > 1
    for step in melt.steps:
        base = _base(melt, step, due)
        due[step.set_number, step.key] = due_at = base + timedelta(seconds=step.after_s or 0) if base else None
        until = step.done_at or (None if step.skipped_why is not None or not open_yet else clock.now())
        late_s = max((until - due_at).total_seconds(), 0.0) if due_at and until else 0.0
        is_next = open_yet and not settled(step) and all(settled(s) for s in before(melt, step))
        words = f"Set {step.set_number}: {step.words}" if several and step.set_number else step.words
        found.append(Now(step, due_at, late_s, is_next, _amount(step, batch, weighed), words))
    return found


def in_turn(steps: Iterable[Now]) -> list[Now]:
    """The steps that can be done now: what is due already first, then what has no time, then what is to come."""
    moment = clock.now()

    def turn(now: Now) -> tuple[int, datetime]:
        if now.due_at is None:
            return 1, moment
        return (0 if now.due_at <= moment else 2), now.due_at

    return sorted((now for now in steps if now.is_next), key=turn)


def sets(melt: Melt) -> int:
    """How many sets of moulds are poured from a melt."""
    return max((step.set_number for step in melt.steps), default=0)


def before(melt: Melt, step: CastStep) -> list[CastStep]:
    """What must be settled before a step: the pan and its own set up to it, and the hand work on the set before."""
    own = [s for s in melt.steps if s.set_number in (0, step.set_number) and s.position < step.position]
    last = step.set_number - 1
    busy = [s for s in melt.steps if s.set_number == last > 0 and s.key.startswith("compact")]
    until = max((s.position for s in busy), default=0)
    return [*(s for s in melt.steps if s.set_number == last > 0 and s.position <= until), *own]


def can_take_back(melt: Melt, step: CastStep) -> bool:
    """Whether a step was settled and nothing that follows from it was."""
    return settled(step) and not any(settled(s) for s in _after(melt, step))


def _after(melt: Melt, step: CastStep) -> list[CastStep]:
    return [s for s in melt.steps if step in before(melt, s)]


def _base(melt: Melt, step: CastStep, due: dict[tuple[int, str], datetime | None]) -> datetime | None:
    """The moment a step counts from: when the step before it was done, or was due if it was skipped."""
    if step.after_key is None:
        return None
    for number in (step.set_number, 0):
        for s in melt.steps:
            if s.key == step.after_key and s.set_number == number:
                return s.done_at or (due.get((number, s.key)) if s.skipped_why is not None else None)
    return None


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


def amount(step: CastStep, batch: Batch) -> float | None:
    """How much goes in at a step by the plan [kg]."""
    return _amount(step, batch, {})


def _mass(part: BatchPart | None, weighed: dict[int, float]) -> float | None:
    if part is None:
        return None
    return weighed.get(part.pk) or part.target_kg


# --- Warnings ------------------------------------------------------------------------------------


def warnings(melt: Melt, steps: list[Now]) -> list[str]:
    """What to say loudly at this moment: cores late or due at night, and a clock that was set back."""
    said = []
    for now in steps:
        if now.step.key != "pull" or now.settled:
            continue
        poured = next(s for s in melt.steps if s.key == "pour" and s.set_number == now.step.set_number)
        at = now.due_at or (clock.now() + timedelta(seconds=now.step.after_s or 0) if not settled(poured) else None)
        what = f"The cores of set {now.step.set_number}" if sets(melt) > 1 else "The cores"
        if now.late:
            said.append(f"{what} are late by {now.late_words}: pull them now. Left in overnight, the rods seize.")
        elif at is not None and _at_night(at):
            told = "come due" if settled(poured) else f"of a pour at {moments.words(clock.now())} come due"
            said.append(
                f"{what} {told} at {moments.words(at)}. Somebody must be here then: left in overnight, the rods seize."
            )
    last = max((s.done_at for s in melt.steps if s.done_at), default=None)
    if last is not None and last > clock.now() + timedelta(minutes=1):
        said.append(
            f"This machine's clock reads earlier than the last step, which was done at {moments.words(last)}. Set the "
            "clock right, or correct the time of that step: what is due counts from it."
        )
    return said


def _at_night(moment: datetime) -> bool:
    here = clock.local(moment)
    return not MORNING <= here.time() < EVENING or here.date() != clock.today()


# --- Writing -------------------------------------------------------------------------------------


def record(
    session: Session, melt: Melt, step_id: int, data: StepIn, person: str = "", version: int | None = None
) -> CastStep:
    """Tick a step, skip it with a reason, or take a tick back; takes the time from the server's clock.

    Raises
    ------
    Refused
        The session is closed or of an earlier day, the step is out of order, settled already, or the reason is
        missing.
    Conflict
        The step was changed since the page was opened.
    """
    step = _of(session, melt, step_id)
    if data.act == "undo":
        _undo(session, melt, step, version)
    else:
        _settle(session, melt, step, data, person, version)
    session.flush()
    return step


def tell_time(
    session: Session, melt: Melt, step_id: int, data: StepTimeIn, person: str = "", version: int | None = None
) -> CastStep:
    """Tell afterwards when a step was done, or correct its time; what stood there before is kept in a note.

    Raises
    ------
    Refused
        The session is closed, the step is out of order or was skipped, or the time does not fit the steps around it.
    Conflict
        The step was changed since the page was opened.
    """
    step = _of(session, melt, step_id)
    repository.claim(step, version)
    at = moments.parse(data.at)
    old = "it had no time" if step.done_at is None else f"it was {moments.words(step.done_at)}"
    put_time(session, melt, step, at, person)
    note(session, melt, f"Time of “{step.words}” entered as {moments.words(at)}; {old}. {data.why}")
    session.flush()
    return step


def put_time(session: Session, melt: Melt, step: CastStep, at: datetime, person: str = "") -> None:
    """Set when a step was done, if it is its turn and the time fits the steps around it.

    Raises
    ------
    Refused
        The step is out of order or was skipped, something is not weighed, the time does not fit, or the day of the
        checklist was over.
    """
    if step.skipped_why is not None:
        raise Refused(f"This step was skipped ({step.skipped_why}). Undo that first, then tell its time.")
    if step.done_at is None:
        _in_its_turn(melt, step)
        if gate.hot(step):
            gate.heating(session, melt, step, at)
        if step.key == "weigh":
            _all_weighed(session, melt, None)
    _between(melt, step, at)
    step.done_at = at
    step.person = step.person or person


def _of(session: Session, melt: Melt, step_id: int) -> CastStep:
    step = repository.get(session, CastStep, step_id, "step")
    if step.melt_id != melt.pk:
        raise Refused("That step belongs to another melt.")
    still_open(melt)
    return step


def still_open(melt: Melt) -> None:
    """Refuse to change a step of a closed session."""
    if melt.evening.closed_at is not None:
        raise Refused("The session is closed. Reopen it with a new checklist to change a step.")


def _settle(session: Session, melt: Melt, step: CastStep, data: StepIn, person: str, version: int | None) -> None:
    if step.done_at is not None:
        raise Refused(f"This step was ticked already, at {clock.local(step.done_at):%H:%M}.")
    if step.skipped_why is not None:
        raise Refused(f"This step was skipped already ({step.skipped_why}).")
    repository.claim(step, version)
    _in_its_turn(melt, step)
    if data.act == "skip":
        if len(data.why) < 3:
            raise Refused("Say in a few words why it is skipped.", field="why")
        step.skipped_why = data.why
    else:
        if gate.hot(step) and gate.heating(session, melt, step).code:
            _stayed_hot(session, melt, data.meant)
        if step.key == "weigh":
            _all_weighed(session, melt, data.meant)
        step.done_at = clock.now()
    step.person = person


def _in_its_turn(melt: Melt, step: CastStep) -> None:
    earlier = next((s for s in before(melt, step) if not settled(s)), None)
    if earlier is None:
        return
    if 0 < earlier.set_number < step.set_number:
        raise Refused(
            f"Set {earlier.set_number} still needs your hands: “{earlier.words}” comes before set {step.set_number}. "
            "Tick it, or skip it with a reason, then come back to this one."
        )
    raise Refused(f"“{earlier.words}” comes first. Tick it, or skip it with a reason, then come back to this one.")


def _between(melt: Melt, step: CastStep, at: datetime) -> None:
    """A told time lies after what had to be done before it, and before what came after."""
    earlier = [s for s in before(melt, step) if s.done_at is not None]
    later = [s for s in _after(melt, step) if s.done_at is not None]
    # What was ticked within the same minute on the wall clock is not earlier than it.
    last = max(earlier, key=lambda s: (s.done_at or at, s.position), default=None)
    if last is not None and last.done_at is not None and at < last.done_at.replace(second=0, microsecond=0):
        raise Refused(
            f"“{last.words}” was done at {moments.words(last.done_at)}, after this. Correct that one first.", field="at"
        )
    following = min(later, key=lambda s: s.done_at or at, default=None)
    if following is not None and following.done_at is not None and at > following.done_at:
        raise Refused(
            f"“{following.words}” was done at {moments.words(following.done_at)}, before this. Correct that one first.",
            field="at",
        )


def _all_weighed(session: Session, melt: Melt, meant: str | None) -> None:
    """Refuse to go on to the pan with something not weighed, or far off its target and nobody saying what was meant."""
    batch = repository.get(session, Batch, melt.batch_id, "batch")
    amounts = batches.weighed(session, batch)
    missing = [part for part in batch.parts if not amounts[part.pk]]
    if missing:
        names = ", ".join(INGREDIENTS[part.ingredient].name if part.ingredient else "leftover" for part in missing)
        raise Refused(f"Not weighed yet: {names}. Book the amounts first, or skip this step with a reason.")
    off = targets.off_words(session, batch)
    if not off:
        return
    if meant is None:
        raise Refused(
            f"Far off the target: {'; '.join(off)}. Press Done at this step and say what was meant; its time is "
            "corrected afterwards."
        )
    if len(meant) < 3:
        swapped = " Two of them fit each other's targets: swapped?" if targets.swapped(session, batch) else ""
        raise Asked(
            f"Far off the target: {'; '.join(off)}.{swapped} Strike out what is wrong and weigh it again, or say here "
            "what was meant.",
            "meant",
            [
                ("It is meant so.", "It is meant so"),
                ("It was weighed again and is so.", "I weighed it again, it is so"),
            ],
            keep=None,
        )
    note(session, melt, f"Weighed out far off the target, and gone on: {'; '.join(off)}. {meant}")


def _stayed_hot(session: Session, melt: Melt, meant: str | None) -> None:
    """Ask whether a melt that is finished past its day stayed on the heat, when nothing was told of it for long."""
    newest = select(func.max(TemperatureReading.read_at)).where(
        TemperatureReading.melt_id == melt.pk, col(TemperatureReading.voided_at).is_(None)
    )
    read = session.exec(newest).one()
    last = max([s.done_at for s in melt.steps if s.done_at is not None] + ([read] if read is not None else []))
    if clock.now() - last <= COLD:
        return
    if meant is None or len(meant) < 3:
        raise Asked(
            f"The book heard last of this melt at {moments.words(last)}. Did the pan stay hot since? A melt that went "
            "cold is not heated again in this session: close it with the reason, and reopen it with a new checklist.",
            "meant",
            [("The pan stayed hot.", "It stayed hot")],
            keep=None,
        )
    note(session, melt, f"Gone on with the melt that was told of last at {moments.words(last)}. {meant}")


def _undo(session: Session, melt: Melt, step: CastStep, version: int | None) -> None:
    if not settled(step):
        raise Refused("There is nothing to undo: this step is still open.")
    repository.claim(step, version)
    later = next((s for s in reversed(_after(melt, step)) if settled(s)), None)
    if later is not None:
        raise Refused(f"“{later.words}” was settled after it. Undo that first.")
    if step.done_at is not None and gate.hot(step) and gate.held(session, melt).code:
        raise Refused(
            "Nothing is heated anew in this session now, so that this could not be ticked again. Leave it ticked, and "
            "correct its time if that is wrong."
        )
    what = f"done at {clock.local(step.done_at):%H:%M}" if step.done_at else f"skipped: {step.skipped_why}"
    note(session, melt, f"Undone: “{step.words}” ({what}).")
    step.done_at, step.skipped_why, step.person = None, None, ""


def note(session: Session, melt: Melt, words: str) -> None:
    """Keep words about the run with their moment."""
    session.add(SessionNote(cast_session_id=melt.cast_session_id, melt_id=melt.pk, written_at=clock.now(), words=words))


def settled(step: CastStep) -> bool:
    """Whether a step is done or passed over."""
    return step.done_at is not None or step.skipped_why is not None
