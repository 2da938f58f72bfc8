"""What was found after a failure, and where those facts are told again: at its grains and their lots."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import ColumnElement
from sqlmodel import Session, col, select

from app.errors import Refused
from app.models import BuildGrain, Firing, FiringFinding, Grain, MotorBuild, SuspectGrain
from app.models.firing import FAILED, RESULTS
from app.models.firing_log import PARTS, SOUND, FindingIn

PART_NAMES = {"case": "Case", "closure": "Closures", "nozzle": "Nozzle", "remains": "Grain remains"}

_FAILING = {"nozzle": ("closure", "nozzle"), "burst": ("case",), "burn_through": ("case",)}
"""The parts one of which failed, by what came of the firing."""


@dataclass(frozen=True)
class Fact:
    """One failure as its grains and lots see it: where, when, what was found by part, which grains are suspected.

    `parts` holds pairs of a part's name and what was found of it in words.
    """

    firing_id: int
    motor_code: str
    fired_at: datetime
    result: str
    parts: tuple[tuple[str, str], ...]
    suspects: tuple[str, ...]
    suspicion: str

    @property
    def result_words(self) -> str:
        """The result for a person."""
        return RESULTS[self.result]


def asked(firing: Firing) -> bool:
    """Whether a firing asks for what was found."""
    return firing.result in FAILED


def inside(session: Session, firing: Firing) -> list[tuple[int, Grain]]:
    """The grains of the motor fired with their positions, from the closure (1) to the nozzle."""
    query = (
        select(BuildGrain.position, Grain)
        .join(Grain, col(BuildGrain.grain_id) == Grain.id)
        .where(BuildGrain.motor_build_id == firing.motor_build_id)
        .order_by(col(BuildGrain.position))
    )
    return [(position, grain) for position, grain in session.exec(query)]


def accounts(session: Session, firing: Firing) -> list[FiringFinding]:
    """What was found of a firing, newest first; the first one counts."""
    query = select(FiringFinding).where(FiringFinding.firing_id == firing.pk)
    return list(session.exec(query.order_by(col(FiringFinding.id).desc())))


def write_down(session: Session, firing: Firing, data: FindingIn) -> FiringFinding:
    """Save what was found; what was told before stays readable, and counts no more.

    Raises
    ------
    Refused
        It does not go with what came of the firing, words of a failing part are missing, or a grain is not of it.
    """
    for part, sound in SOUND.items():
        if getattr(data, f"{part}_found") not in sound and len(getattr(data, f"{part}_words")) < 3:
            state = PARTS[part][getattr(data, f"{part}_found")]
            raise Refused(
                f"“{state}”: write where and how, so that the next one can be built otherwise.", field=f"{part}_words"
            )
    failing = _FAILING.get(firing.result, ())
    if failing and not any(getattr(data, f"{part}_found") not in SOUND[part] for part in failing):
        names = " or ".join(PART_NAMES[part].lower() for part in failing)
        raise Refused(
            f"The firing says “{RESULTS[firing.result]}”, so {names} did not hold. Choose what was found, or correct "
            "the firing.",
            field=f"{failing[-1]}_found",
        )
    if data.remains_found == "cracked" and len(data.remains_words) < 3:
        raise Refused("Write which grain it was and what it looked like.", field="remains_words")
    known = {grain.pk for _, grain in inside(session, firing)}
    if not set(data.grain_ids) <= known:
        raise Refused("Choose grains of this motor.", field="grain_ids")
    if data.suspicion and not data.grain_ids:
        raise Refused("Choose the grains that are suspected.", field="grain_ids")
    columns = {name: getattr(data, name) for name in FindingIn.model_fields if name != "grain_ids"}
    row = FiringFinding(firing_id=firing.pk, **columns)
    session.add(row)
    session.flush()
    for grain_id in dict.fromkeys(data.grain_ids):
        session.add(SuspectGrain(firing_finding_id=row.pk, grain_id=grain_id))
    session.flush()
    session.refresh(row)
    return row


def in_words(finding: FiringFinding) -> list[tuple[str, str]]:
    """Each part with what was found of it."""
    found = []
    for part, states in PARTS.items():
        words = getattr(finding, f"{part}_words")
        state = states[getattr(finding, f"{part}_found")]
        found.append((PART_NAMES[part], f"{state}: {words}" if words else state))
    return found


def of_firing(session: Session, firing: Firing) -> Fact | None:
    """What was found of a firing, if it was told."""
    newest = next(iter(accounts(session, firing)), None)
    if newest is None:
        return None
    names = {grain.pk: f"{grain.serial} (grain {position})" for position, grain in inside(session, firing)}
    build = session.get(MotorBuild, firing.motor_build_id)
    assert build is not None
    return Fact(
        firing_id=firing.pk,
        motor_code=build.code,
        fired_at=firing.fired_at,
        result=firing.result,
        parts=tuple(in_words(newest)),
        suspects=tuple(names[s.grain_id] for s in newest.suspects),
        suspicion=newest.suspicion,
    )


def of_grain(session: Session, grain: Grain) -> list[Fact]:
    """What was found of each firing that a grain was in, newest first."""
    return _of(session, col(BuildGrain.grain_id) == grain.pk)


def of_lot(session: Session, batch_id: int) -> list[Fact]:
    """What was found of each firing that a grain of a lot was in, newest first."""
    return _of(session, col(BuildGrain.grain_id).in_(select(Grain.id).where(Grain.batch_id == batch_id)))


def untold(session: Session) -> list[Firing]:
    """The failures of which nothing found was told yet, newest first."""
    query = select(Firing).where(
        col(Firing.result).in_(FAILED), col(Firing.id).not_in(select(FiringFinding.firing_id).distinct())
    )
    return list(session.exec(query.order_by(col(Firing.fired_at).desc())))


def _of(session: Session, held: ColumnElement[bool]) -> list[Fact]:
    query = (
        select(Firing)
        .join(BuildGrain, col(BuildGrain.motor_build_id) == Firing.motor_build_id)
        .where(held, col(Firing.id).in_(select(FiringFinding.firing_id)))
        .distinct()
        .order_by(col(Firing.fired_at).desc(), col(Firing.id).desc())
    )
    facts = [of_firing(session, firing) for firing in session.exec(query)]
    return [fact for fact in facts if fact is not None]
