"""What firings taught: read out of the record anew each time, and given to predictions.

Each firing has its fit (`firing_fits`); sticks burned in the open count for a lot's rate. Both are set against the
book's defaults as they stand now, put together by `calc.shrink`, and come out as a factor and a spread for each of
burn rate, c* efficiency and nozzle efficiency. Versions of a formula with the same parts learn together, whatever
burn law each has; a version with other parts learns for itself.
"""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

import numpy as np
from sqlalchemy import select as select_core
from sqlmodel import Session, col, select

from app.calc.base.constants import Floats
from app.calc.base.errors import CalcError
from app.calc.fit.partial_pooling import C_STAR, NOZZLE, RATE, Learned, Prior, Said, learn, stand_shifts
from app.calc.fit.pressure_fit import local_exponent
from app.calc.motor.spread import rate_spread
from app.calc.propellant.burn_rate import BurnLaw
from app.calc.propellant.strand import strand_rate
from app.models import Batch, BuildGrain, Case, Firing, FiringFit, Formula, Grain, MotorBuild, TestPiece
from app.services.book import workshop
from app.services.learning import fit_records, learning_switch
from app.services.learning.fit_records import FitRecord
from app.services.learning.prediction_record import Factor, LearnedFactors
from app.services.stock import formulas

NEAR_RANGE = 0.9
"""Sticks count where their air is no thinner than this share of the law's lowest pressure [-]."""


@dataclass(frozen=True)
class Shot:
    """A firing with what it says, if it says anything: `left_out` is why a person or the book left it out, or ''."""

    firing_id: int
    motor_code: str
    kind: str
    fired_at: datetime
    result: str
    formula_id: int
    case_id: int
    fit: FitRecord | None
    fresh: bool
    left_out: str

    @cached_property
    def counts(self) -> bool:
        """Whether predictions learn from it."""
        return self.fresh and not self.left_out and self.fit is not None and bool(self.fit.rows)


@dataclass(frozen=True)
class Sticks:
    """The test pieces of a lot: mean of ln rate [ln(m/s)] at their mean pressure [Pa], its error, and how many."""

    batch_id: int
    batch_code: str
    formula_id: int
    pressure: float
    log_rate: float
    error: float
    n: int


@dataclass(frozen=True)
class Evidence:
    """Everything in the book that could teach, oldest first, and the formulas it is of."""

    shots: list[Shot]
    sticks: list[Sticks]
    formulas: dict[int, Formula]
    keys: dict[int, Hashable]


# --- Gathering -----------------------------------------------------------------------------------


def family(formula: Formula) -> Hashable:
    """What versions that learn together have in common: their name and their parts."""
    return formula.name, tuple(sorted((key, round(share, 9)) for key, share in formula.blend.items()))


def evidence(session: Session) -> Evidence:
    """Everything in the book that could teach."""
    found = {f.pk: f for f in session.exec(select(Formula))}
    return Evidence(_shots(session), _sticks(session), found, {key: family(f) for key, f in found.items()})


def _shots(session: Session) -> list[Shot]:
    fresh = fit_records.keys(session)
    out = learning_switch.left_out(session)
    query = (
        select_core(
            col(Firing.id),
            col(MotorBuild.code),
            col(Firing.kind),
            col(Firing.fired_at),
            col(Firing.result),
            col(Batch.formula_id),
            col(MotorBuild.case_id),
            col(FiringFit.key),
            col(FiringFit.fit_json),
        )
        .join(MotorBuild, col(MotorBuild.id) == Firing.motor_build_id)
        .join(BuildGrain, (col(BuildGrain.motor_build_id) == MotorBuild.id) & (col(BuildGrain.position) == 1))
        .join(Grain, col(Grain.id) == BuildGrain.grain_id)
        .join(Batch, col(Batch.id) == Grain.batch_id)
        .outerjoin(FiringFit, col(FiringFit.firing_id) == Firing.id)
        .where(col(Firing.result) != "no_light")
        .order_by(col(Firing.fired_at), col(Firing.id))
    )
    found = []
    for firing_id, code, kind, at, result, formula_id, case_id, key, made in session.execute(query):
        fit = None if made is None or key == fit_records.NO_FIT else FitRecord.model_validate_json(made)
        found.append(
            Shot(
                firing_id,
                code,
                kind,
                at,
                result,
                formula_id,
                case_id,
                fit,
                key is not None and key == fresh.get(firing_id),
                out.get(firing_id, ""),
            )
        )
    return found


def _sticks(session: Session) -> list[Sticks]:
    query = (
        select(TestPiece, Batch)
        .join(Batch, col(TestPiece.batch_id) == Batch.id)
        .where(col(TestPiece.voided_at).is_(None))
        .order_by(col(TestPiece.burned_on), col(TestPiece.id))
    )
    lots: dict[int, tuple[Batch, list[TestPiece]]] = {}
    for piece, batch in session.exec(query):
        lots.setdefault(batch.pk, (batch, []))[1].append(piece)
    found = []
    for batch, pieces in lots.values():
        each = [strand_rate(p.length_m, p.burn_time_s, p.length_step_m, p.time_sd_s) for p in pieces]
        logs = np.log([one.rate for one in each])
        known = np.array([one.share / 2 for one in each])
        scatter = float(logs.std(ddof=1)) if len(logs) > 1 else 0.0
        error = max(float(np.hypot.reduce(known)) / len(known), scatter / len(known) ** 0.5)
        pressure = float(np.mean([p.pressure_pa for p in pieces]))
        found.append(Sticks(batch.pk, batch.code, batch.formula_id, pressure, float(logs.mean()), error, len(pieces)))
    return found


# --- Learning ------------------------------------------------------------------------------------


def learned(
    session: Session, formula: Formula, known: Evidence | None = None, more: Sequence[Said] = ()
) -> tuple[Learned, Evidence]:
    """What firings taught, as factors on this formula's own defaults, and what they were; `more` are some to come.

    Raises
    ------
    CalcError
        The formula has no burn law.
    """
    seen = known or evidence(session)
    laws = _laws(seen, formula)
    said = _said(session, seen, laws)
    said += [_open_air(lot, seen, laws) for lot in _sticks_in_reach(seen, laws)]
    return learn([*said, *more], prior_of(session, laws)), seen


def counted(seen: Evidence) -> list[Shot]:
    """The firings that predictions learn from, in the order in which they are learned from."""
    return [shot for shot in seen.shots if shot.counts]


def _laws(seen: Evidence, formula: Formula) -> dict[Hashable, BurnLaw]:
    """The law that each family is set against: the newest version's, but this formula's own for its family."""
    found: dict[Hashable, BurnLaw] = {}
    for key in sorted(seen.formulas):
        try:
            found[seen.keys[key]] = formulas.burn_law(seen.formulas[key])
        except CalcError:
            continue
    found[family(formula)] = formulas.burn_law(formula)
    return found


def _in_reach(lot: Sticks, law: BurnLaw | None) -> bool:
    """Whether a lot's sticks burned near the pressures of a law."""
    return law is not None and lot.pressure >= NEAR_RANGE * law.p_min


def _sticks_in_reach(seen: Evidence, laws: dict[Hashable, BurnLaw]) -> list[Sticks]:
    return [lot for lot in seen.sticks if _in_reach(lot, laws.get(seen.keys[lot.formula_id]))]


def sticks_said(seen: Evidence, formula: Formula) -> list[Sticks]:
    """The lots whose sticks count when a formula is looked at, in the order in which they are learned from."""
    return _sticks_in_reach(seen, _laws(seen, formula))


def offs(session: Session, shots: list[Shot], law: BurnLaw) -> list[Floats]:
    """What each row of each firing's fit is over the defaults of a law and of the settings [ln]."""
    house = workshop.get(session)
    pressures = [s.fit.pressure_pa if s.fit and s.fit.rows else law.p_min for s in shots]
    rates = np.log(law.rate(pressures)).tolist() if shots else []
    c_star, nozzle = np.log([house.c_star_efficiency_share, house.nozzle_efficiency_share]).tolist()
    return [
        np.array([r.value - r.mixture[0] * rate - r.mixture[1] * c_star - r.mixture[2] * nozzle for r in s.fit.rows])
        if s.fit
        else np.zeros(0)
        for s, rate in zip(shots, rates, strict=True)
    ]


def _said(session: Session, seen: Evidence, laws: dict[Hashable, BurnLaw]) -> list[Said]:
    """What each firing that counts says, in their order; each family's rates are found at once."""
    found: dict[int, Said] = {}
    by_family: dict[Hashable, list[Shot]] = {}
    for shot in counted(seen):
        by_family.setdefault(seen.keys[shot.formula_id], []).append(shot)
    for key, shots in by_family.items():
        for shot, value in zip(shots, offs(session, shots, laws[key]), strict=True):
            assert shot.fit is not None
            mixture = np.array([row.mixture for row in shot.fit.rows])
            error = np.array([row.error for row in shot.fit.rows])
            exponent = local_exponent(laws[key], shot.fit.pressure_pa)
            stand = np.array([stand_shifts(row.what, exponent) for row in shot.fit.rows])
            found[shot.firing_id] = Said(key, shot.case_id, mixture, value, error, stand=stand)
    return [found[shot.firing_id] for shot in counted(seen)]


def _open_air(lot: Sticks, seen: Evidence, laws: dict[Hashable, BurnLaw]) -> Said:
    law = laws[seen.keys[lot.formula_id]]
    value = np.array([lot.log_rate - np.log(float(law.rate(lot.pressure)))])
    stand = np.array([stand_shifts("rate in the open", 0.0)])
    error = np.array([lot.error])
    return Said(seen.keys[lot.formula_id], None, np.array([[1.0, 0.0, 0.0]]), value, error, chamber=False, stand=stand)


def factors(session: Session, formula: Formula, case: Case | None, known: Evidence | None = None) -> LearnedFactors:
    """What the next prediction of a formula in a case stands on; `known` is the evidence where it was read already.

    Raises
    ------
    CalcError
        The formula has no burn law.
    """
    off = learning_switch.why_off(session, formula)
    if off:
        return default_factors(session, formula, off)
    found, seen = learned(session, formula, known)
    return factors_of(found, seen, formula, case)


def default_factors(session: Session, formula: Formula, off: str = "") -> LearnedFactors:
    """What a prediction of a formula stands on where no firing has taught anything; `off` is why it is not asked.

    Raises
    ------
    CalcError
        The formula has no burn law.
    """
    prior = prior_of(session, {family(formula): formulas.burn_law(formula)})
    return _record(learn([], prior), formula, None, off=off)


def factors_of(found: Learned, seen: Evidence, formula: Formula, case: Case | None) -> LearnedFactors:
    """What was learned of a formula in a case, with the firings it stands on; the switches are not asked."""
    mine = family(formula)
    own = [s.firing_id for s in counted(seen) if seen.keys[s.formula_id] == mine]
    others = [s for s in counted(seen) if seen.keys[s.formula_id] != mine]
    beside = [s.firing_id for s in others if case and s.case_id == case.pk]
    law = formulas.burn_law(formula)
    lots = sum(seen.keys[s.formula_id] == mine and _in_reach(s, law) for s in seen.sticks)
    left = sum(bool(s.left_out) and seen.keys[s.formula_id] == mine for s in seen.shots)
    known = {
        "firing_ids": own,
        "case_firing_ids": beside,
        "other_firings": len(others) - len(beside),
        "stick_lots": lots,
        "left_out": left,
    }
    return _record(found, formula, case).model_copy(update=known)


def prior_of(session: Session, laws: dict[Hashable, BurnLaw]) -> Prior:
    """How far a workshop may be off its laws and its settings before anything was fired."""
    house = workshop.get(session)
    return Prior(
        {key: rate_spread(law) for key, law in laws.items()},
        c_star=house.c_star_spread_share,
        nozzle=house.nozzle_spread_share,
    )


def _record(learned: Learned, formula: Formula, case: Case | None, off: str = "") -> LearnedFactors:
    found = learned.of(family(formula), case.pk if case is not None else None)
    each = [
        Factor(factor=float(f), spread=float(s), default_spread=float(d), moved=float(m))
        for f, s, d, m in zip(
            found.factors, found.spread, learned.prior.totals(family(formula)), found.moved, strict=True
        )
    ]
    mixed = found.correlation
    return LearnedFactors(
        on=not off,
        why_off=off,
        formula_id=formula.pk,
        rate=each[0],
        c_star=each[1],
        nozzle=each[2],
        together=float(mixed[C_STAR, NOZZLE]),
        rate_c_star=float(mixed[RATE, C_STAR]),
        rate_nozzle=float(mixed[RATE, NOZZLE]),
    )


# --- Switching off -------------------------------------------------------------------------------
