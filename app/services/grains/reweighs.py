"""Stored grains on the scale again: what they gained since the label, and what that says."""

from collections.abc import Iterable
from dataclasses import dataclass

from sqlmodel import Session, col, select

from app import clock
from app.calc.grain.lot_balance import MoistureGain, moisture_gain
from app.errors import Asked, BookError, Refused
from app.models import Batch, BuildGrain, Grain, ReWeigh
from app.models.bag import ReWeighIn, WetIn
from app.services.book import repository, workshop
from app.services.book.audit_reasons import because
from app.services.grains import decisions, grains, shelf
from app.services.grains.grains import GrainView
from app.services.grains.weighing import SLIPS
from app.units import exact, show

FAR = 0.05
"""A mass this far off the label is asked about once [-]; Grainbook's own choice."""


@dataclass(frozen=True)
class Gain:
    """A re-weigh and what it says."""

    row: ReWeigh
    moisture: MoistureGain

    @property
    def tolerance_share(self) -> float:
        """What the scale cannot tell, over the label's mass [-]."""
        return self.moisture.tolerance / self.row.label_kg

    @property
    def flag(self) -> str:
        """The mark for a page: 'accept' for no change, 'look' for one."""
        return "look" if self.moisture.real else "accept"


def gain_of(row: ReWeigh) -> Gain:
    """What a re-weigh says, by the step its scale had."""
    return Gain(row, moisture_gain(row.label_kg, row.mass_kg, row.scale_resolution_kg))


def weigh(session: Session, data: ReWeighIn) -> ReWeigh:
    """Put a stored grain on the scale again; its label's mass stays.

    Raises
    ------
    Refused
        No such grain, one of another lot than the one in hand, one that is burned or in a motor, a tube that the
        label's mass did not have, or a mass that can hardly be and was not said to be right.
    """
    grain = _grain(session, data)
    if data.in_tube and not grain.tare_kg:
        raise Refused(
            f"{grain.serial} was weighed without a tube for its label. Weigh it without one, or leave this empty.",
            field="in_tube",
        )
    tare = grain.tare_kg if data.in_tube else 0.0
    mass = data.gross.si - tare
    house = workshop.get(session)
    if not data.sure_of("gross") or mass <= 0:
        _likely(session, grain, data, tare)
    row = ReWeigh(
        grain_id=grain.pk,
        weighed_at=clock.now(),
        gross_kg=data.gross.si,
        gross_typed=data.gross.typed,
        tare_kg=tare,
        mass_kg=mass,
        label_kg=grain.mass_kg,
        scale_resolution_kg=house.scale_resolution_kg,
        note=data.note,
    )
    row.wet = gain_of(row).moisture.wet
    session.add(row)
    session.flush()
    return row


def accept(session: Session, grain: Grain, data: WetIn, version: int | None = None) -> ReWeigh:
    """Let a wet grain go into a motor all the same, for a reason that stays beside the re-weigh.

    It counts for this re-weigh only: one that finds the grain wet again holds it again.

    Raises
    ------
    Refused
        It is not wet, was accepted already, is burned or gone, or nobody signs.
    Conflict
        The re-weigh was changed since the page was opened.
    """
    row = _wet(session, grain)
    if row.accepted_at is not None:
        raise Refused(f"{grain.serial} was accepted already ({row.accepted_why}).")
    person = decisions.signed(session, data.person)
    repository.claim(row, version)
    row.accepted_at, row.accepted_by, row.accepted_why = clock.now(), person, data.why
    session.flush()
    return row


def take_back(session: Session, grain: Grain, version: int | None = None) -> ReWeigh:
    """Hold a wet grain again that was accepted; a motor that it is in says so. The record keeps the acceptance.

    Raises
    ------
    Refused
        It is not wet, was not accepted, or is burned or gone.
    Conflict
        The re-weigh was changed since the page was opened.
    """
    row = _wet(session, grain)
    if row.accepted_at is None:
        raise Refused(f"{grain.serial} is held already.")
    repository.claim(row, version)
    because(session, "The acceptance of a wet grain was undone.")
    row.accepted_at, row.accepted_by, row.accepted_why = None, "", ""
    session.flush()
    return row


def _wet(session: Session, grain: Grain) -> ReWeigh:
    """The re-weigh that says a grain is wet, where that can still be decided on."""
    view = grains.of_grain(session, grain)
    if view.state == "fired":
        raise Refused(f"{grain.serial} was burned in {view.motor}; this stays as it was.")
    if view.state == "gone":
        raise Refused(f"{grain.serial} went to {grain.gone_to}; this stays as it was.")
    if view.wet is None:
        raise Refused(f"{grain.serial} is not wet by its newest re-weigh.")
    return view.wet


def _grain(session: Session, data: ReWeighIn) -> Grain:
    try:
        grain = shelf.find(session, data.serial)
    except BookError as error:
        raise Refused(error.message, field="serial") from None
    if grain is None:
        raise Refused("Type the whole serial as it stands on the label, such as 2611P-04.", field="serial")
    view = grains.of_grain(session, grain)
    if data.lot and view.batch.code != data.lot.upper():
        raise Refused(
            f"This is {grain.serial}, and you are re-weighing lot {data.lot.upper()}. Take the right bag, or go to "
            f"lot {view.batch.code} first.",
            field="serial",
        )
    if view.state == "fired":
        raise Refused(f"{grain.serial} was burned in {view.motor}: this is not its bag any more.", field="serial")
    if view.state == "gone":
        raise Refused(f"{grain.serial} went to {grain.gone_to}; it is on the shelf no more.", field="serial")
    if view.state == "in motor":
        raise Refused(f"{grain.serial} is in motor {view.motor}; take the motor apart first.", field="serial")
    return grain


def _likely(session: Session, grain: Grain, data: ReWeighIn, tare: float) -> None:
    mass, units = data.gross.si - tare, workshop.get(session).units
    if mass > 0 and abs(mass / grain.mass_kg - 1) <= FAR:
        return
    label = f"The label of {grain.serial} says {show(grain.mass_kg, 'mass', units)}."
    meant = [
        exact(data.gross.si * slip, "mass", units)
        for slip in SLIPS
        if abs((data.gross.si * slip - tare) / grain.mass_kg - 1) <= FAR
    ]
    if not meant and grain.tare_kg and not data.in_tube and abs((mass - grain.tare_kg) / grain.mass_kg - 1) <= FAR:
        raise Refused(f"That is about its mass with its tube. {label} Tick that it is in its tube.", field="gross")
    look = "" if meant else " Look whether this is another grain, one in its tube or a broken one."
    asks = f"Did you mean {(*meant, data.gross.typed)[0]}? {label}{look}"
    raise Asked(asks, "gross", meant, keep="{typed}, as typed" if mass > 0 else None)


def history(session: Session, grain: Grain) -> list[Gain]:
    """Every re-weigh of a grain that counts, with what it says, newest first."""
    found = select(ReWeigh).where(ReWeigh.grain_id == grain.pk, col(ReWeigh.voided_at).is_(None))
    found = found.order_by(col(ReWeigh.id).desc())
    return [gain_of(row) for row in session.exec(found)]


def latest(views: Iterable[GrainView]) -> dict[int, Gain]:
    """What the newest re-weigh of each of these grains says, for those that have one."""
    return {view.grain.pk: gain_of(view.again) for view in views if view.again is not None}


def changed(views: Iterable[GrainView]) -> dict[int, Gain]:
    """Those of these grains whose newest re-weigh differs from the label by more than the scale cannot tell."""
    return {grain_id: gain for grain_id, gain in latest(views).items() if gain.moisture.real}


@dataclass(frozen=True)
class Round:
    """Grains to be weighed one after another: all of them, what each says today, and which comes next."""

    views: list[GrainView]
    today: dict[int, Gain]
    next: GrainView | None


def round_of(session: Session, lot: str | None, grain_ids: list[int]) -> Round:
    """The stored grains of a lot, or the ticked ones, and the first of them not weighed again today."""
    if lot:
        found = grains.views(session, col(Batch.code) == lot.upper(), col(BuildGrain.id).is_(None))
    else:
        found = [v for v in shelf.of_ids(session, grain_ids) if v.motor is None]
    found = [v for v in found if v.state not in ("rejected", "gone")]
    gains = latest(found)
    today = {k: g for k, g in gains.items() if clock.local(g.row.weighed_at).date() == clock.today()}
    return Round(found, today, next((v for v in found if v.grain.pk not in today), None))


def last(session: Session) -> tuple[Grain, Gain] | None:
    """The grain re-weighed last, if any was today."""
    row = session.exec(
        select(ReWeigh).where(col(ReWeigh.voided_at).is_(None)).order_by(col(ReWeigh.id).desc()).limit(1)
    ).first()
    if row is None or clock.local(row.weighed_at).date() != clock.today():
        return None
    grain = session.get(Grain, row.grain_id)
    assert grain is not None
    return grain, gain_of(row)
