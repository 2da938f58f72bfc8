"""Test pieces: sticks of a lot burned in the open, against the law and against earlier lots."""

from dataclasses import dataclass

from sqlalchemy import func
from sqlmodel import Session, col, select

from app import clock
from app.calc.base.atmosphere import atmosphere
from app.calc.base.notes import Amount, Note
from app.calc.propellant.burn_laws import law_for_blend
from app.calc.propellant.burn_rate import BurnLaw
from app.calc.propellant.strand import BY_HAND, BY_VIDEO, AgainstLaw, Mean, Strand, against_law, mean_of, strand_rate
from app.errors import Asked, NotFound, Refused
from app.models import Batch, Formula, LaunchField, TestPiece
from app.models.base import build
from app.models.batch import VoidIn
from app.models.test_piece import TestPieceIn
from app.services.book import workshop
from app.services.cast import casting
from app.services.stock import formulas
from app.units import editable, show

LIKELY = (0.4, 2.5)
"""Rate over law outside which length and time are asked about [-]; Grainbook's own choice."""

WEATHER = 0.07
"""How far the weather moves the air's pressure from the standard's at most [-]; records lie near 7 %, from memory."""


@dataclass(frozen=True)
class Stick:
    """A test piece with its rate and what the law says."""

    piece: TestPiece
    strand: Strand
    law: AgainstLaw


def record(session: Session, batch: Batch, data: TestPieceIn) -> TestPiece:
    """Keep a stick's length and burn time with the air it burned in.

    Raises
    ------
    CalcError
        The length or the time is too short to tell a rate.
    Refused
        Nothing was cast of the batch, neither elevation nor pressure is known, they contradict each other, the day
        is still to come, or the rate can hardly be and the person has not said that it is right.
    """
    if casting.find(session, batch) is None:
        raise Refused(f"Nothing was cast of {batch.code} yet; there can be no test pieces of it.")
    if data.burned_on > clock.today():
        raise Refused("This day is still to come.", field="burned_on")
    pressure = _pressure(data)
    house = workshop.get(session)
    time_sd = BY_VIDEO if data.by_video else BY_HAND
    strand = strand_rate(data.length.si, data.burn_time.si, house.ruler_resolution_m, time_sd)
    found = against_law(strand, law_of(session, batch), pressure)
    if not data.sure_of("burn_time") and not LIKELY[0] <= found.ratio <= LIKELY[1]:
        rate, expected = (show(r, "burn_rate", house.units) for r in (strand.rate, found.law_rate))
        raise Asked(
            f"That would be {rate}, and about {expected} is expected in this air. Look at the length, the time and "
            "their units again.",
            field="burn_time",
        )
    piece = build(
        TestPiece,
        data,
        batch_id=batch.pk,
        number=_next(session, batch),
        length_step_m=house.ruler_resolution_m,
        time_sd_s=time_sd,
    )
    piece.pressure_pa = pressure
    session.add(piece)
    session.flush()
    return piece


def _pressure(data: TestPieceIn) -> float:
    """The air's pressure [Pa]: as measured, else what the standard atmosphere has at that height."""
    if data.elevation is None:
        if data.pressure is None:
            raise Refused("Type how high above the sea you burned it, or what a barometer read there.", "elevation")
        return data.pressure.si
    usual = atmosphere(data.elevation.si).pressure
    if data.pressure is None:
        return usual
    if abs(data.pressure.si / usual - 1) > WEATHER:
        raise Refused(
            Note(
                f"At {data.elevation.typed} the air has about {{usual}}. A weather report's pressure is reduced to sea "
                "level; take what a barometer reads there, or leave this empty.",
                {"usual": Amount(usual, "air_pressure")},
            ),
            field="pressure",
        )
    return data.pressure.si


def _next(session: Session, batch: Batch) -> int:
    highest = session.exec(select(func.max(TestPiece.number)).where(TestPiece.batch_id == batch.pk)).one()
    return (highest or 0) + 1


def void(session: Session, batch: Batch, number: int, data: VoidIn) -> TestPiece:
    """Strike out a stick that did not burn as it should; its numbers stay readable.

    Raises
    ------
    NotFound
        There is no such stick.
    Refused
        It is struck out already.
    """
    piece = session.exec(select(TestPiece).where(TestPiece.batch_id == batch.pk, TestPiece.number == number)).first()
    if piece is None:
        raise NotFound(f"There is no test piece {number} of {batch.code}.")
    if piece.voided_at is not None:
        raise Refused("This test piece is struck out already.")
    piece.voided_at, piece.voided_why = clock.now(), data.why
    piece.version += 1
    session.flush()
    return piece


def law_of(session: Session, batch: Batch) -> BurnLaw:
    """The burn law of a lot's formula: its own if one is published, else the nearest, said to be borrowed."""
    return law_for_blend(formulas.get(session, batch.formula_id).blend)


def _stick(piece: TestPiece, law: BurnLaw) -> Stick:
    strand = strand_rate(piece.length_m, piece.burn_time_s, piece.length_step_m, piece.time_sd_s)
    return Stick(piece, strand, against_law(strand, law, piece.pressure_pa))


def of_batch(session: Session, batch: Batch) -> list[Stick]:
    """The sticks of a lot by number, struck ones too."""
    law = law_of(session, batch)
    found = select(TestPiece).where(TestPiece.batch_id == batch.pk).order_by(col(TestPiece.number))
    return [_stick(piece, law) for piece in session.exec(found)]


def mean(sticks: list[Stick]) -> Mean | None:
    """Rate over law of the sticks that count, with its interval; nothing without any."""
    ratios = [s.law.ratio for s in sticks if s.piece.voided_at is None]
    return mean_of(ratios) if ratios else None


@dataclass(frozen=True)
class LotRate:
    """A lot's sticks in one line: rate over law at each stick's own pressure, so that lots compare."""

    batch: Batch
    formula: Formula
    mean: Mean


def by_lot(session: Session, formula: Formula) -> list[LotRate]:
    """The lots of a formula, all its versions, that have sticks; oldest first."""
    query = (
        select(TestPiece, Batch, Formula)
        .join(Batch, col(TestPiece.batch_id) == Batch.id)
        .join(Formula, col(Batch.formula_id) == Formula.id)
        .where(Formula.name == formula.name, col(TestPiece.voided_at).is_(None))
        .order_by(col(Batch.planned_for), col(Batch.id), col(TestPiece.number))
    )
    lots: dict[int, tuple[Batch, Formula, list[Stick]]] = {}
    laws: dict[int, BurnLaw] = {}
    for piece, batch, its in session.exec(query):
        law = laws.setdefault(its.pk, law_for_blend(its.blend))
        lots.setdefault(batch.pk, (batch, its, []))[2].append(_stick(piece, law))
    return [LotRate(batch, its, mean_of([s.law.ratio for s in sticks])) for batch, its, sticks in lots.values()]


def usual_elevation(session: Session) -> str:
    """Where the last stick burned, else the elevation of the first field: most likely the same again."""
    last = session.exec(
        select(TestPiece).where(col(TestPiece.elevation_m).is_not(None)).order_by(col(TestPiece.id).desc()).limit(1)
    ).first()
    if last is not None:
        return last.elevation_typed or ""
    field = session.exec(select(LaunchField).where(col(LaunchField.retired).is_(False)).limit(1)).first()
    return editable(field.elevation_m, "altitude", workshop.get(session).units) if field else ""
