"""The pages of what was learned: each formula in a line, one formula with every firing's own say, a law of its own."""

from collections.abc import Hashable
from dataclasses import dataclass
from math import exp, hypot, inf, log

import numpy as np
from sqlmodel import Session, select

from app.calc.base.constants import Floats
from app.calc.base.errors import CalcError
from app.calc.base.notes import Note
from app.calc.fit.own_law import OwnLaw, Seen, gauge_error, own_law
from app.calc.fit.partial_pooling import FAR, STAND, Learned, Said, learn, stand_shifts
from app.calc.fit.pressure_fit import GAUGE, local_exponent, reading_errors
from app.calc.fit.thrust_fit import respond
from app.calc.motor.assembly import C_STAR_EFFICIENCY, NOZZLE_EFFICIENCY
from app.calc.motor.simulation import example
from app.calc.propellant.burn_rate import BurnLaw
from app.errors import Refused
from app.models import Case, Firing, Formula
from app.models.base import as_form
from app.models.formula import FormulaIn
from app.services.book import repository, workshop
from app.services.learning import fit_records, learning, learning_switch
from app.services.learning.fit_records import BY_CELL, FIGURES, TIME_BY_CELL
from app.services.learning.learning import Evidence, Shot
from app.services.learning.prediction_record import Factor, LearnedFactors
from app.services.stock import formulas
from app.units import show

TYPICAL_PRESSURE = 3e6
"""Pressure of the motor that it is told for how much firings move [Pa]."""

USUAL = (C_STAR_EFFICIENCY, NOZZLE_EFFICIENCY)
"""Efficiencies that new books begin with [-]."""

STAND_OFF = STAND
"""What a stand is taken to be off [-]."""

MOST = 1.03
"""Efficiency above which an instrument is doubted, whatever the default [-]: the stand's own error over one."""

SHOWN = 100
"""Firings listed on a formula's page, the newest."""

WORDS = ("Burn rate", "c* efficiency", "nozzle efficiency")


@dataclass(frozen=True)
class Say:
    """What one firing (or a lot's sticks) says of one thing: factor on the default, with its 90 % interval [-]."""

    what: str
    factor: float
    low: float
    high: float


@dataclass(frozen=True)
class Line:
    """A firing on a formula's page: what it says for itself, and its weight in each of the three [-]."""

    shot: Shot
    case: str
    says: list[Say]
    weights: tuple[float, float, float] | None

    @property
    def state(self) -> str:
        """Whether and why it counts, in words."""
        if self.shot.left_out:
            return f"left out: {self.shot.left_out}"
        if self.shot.counts:
            return "counts"
        if self.shot.result not in fit_records.COUNTS:
            return "does not count: the motor failed"
        if self.shot.fit is not None and self.shot.fit.fault:
            return "not fitted: Grainbook failed at it"
        if self.shot.fit is not None and not self.shot.fresh:
            return "waits to be fitted again"
        return "says nothing: no figure was measured" if self.shot.fit is None else "says nothing"

    @property
    def law_reach(self) -> float:
        """How far n of this curve alone may be off either way, 90 % [-]: by the fit, and by a gauge that bends."""
        assert self.shot.fit is not None
        assert self.shot.fit.law is not None
        law = self.shot.fit.law
        return 1.645 * hypot(law.covariance[1][1] ** 0.5, gauge_error(law.exponent, law.low, law.high, GAUGE))


@dataclass(frozen=True)
class SticksLine:
    """A lot's sticks on a formula's page."""

    batch_code: str
    n: int
    say: Say
    weight: float


@dataclass(frozen=True)
class FormulaPage:
    """One formula: what its next prediction stands on in each case, and everything that says so."""

    formula: Formula
    off: str
    overall: LearnedFactors
    cases: list[tuple[Case, LearnedFactors]]
    lines: list[Line]
    firings: int
    sticks: list[SticksLine]
    kept_by_default: tuple[float, float, float]
    chance: tuple[float, float, float]
    far: list[str]
    law: OwnLaw | None
    law_fault: Note | str


@dataclass(frozen=True)
class Moves:
    """By how much so many like static tests move what is learned of a formula, of what they say [-]: rate and both
    efficiencies with pressure and thrust, and the impulse with thrust alone."""

    tests: int
    rate: float
    c_star: float
    nozzle: float
    impulse: float


@dataclass(frozen=True)
class Summary:
    """A formula in the list: how many firings count and what they made of the three."""

    formula: Formula
    off: str
    firings: int
    left_out: int
    stick_lots: int
    taught: LearnedFactors


def lesson(label: str, taught: LearnedFactors) -> tuple[str, str]:
    """What firings made of a formula, in a sentence, and by how much its ranges shrank, in another."""
    n, lots = len(taught.firing_ids), taught.stick_lots
    if not n and not lots:
        return f"Nothing of {label} was fired that counts yet.", "Its predictions stand on the book's defaults."
    off = 100 * (taught.rate.factor - 1)
    pace = f"{abs(off):.0f} % {'faster' if off > 0 else 'slower'} than" if abs(off) >= 0.5 else "just as"
    sources = [f"{n} {'firing' if n == 1 else 'firings'}"] * bool(n)
    sources += [f"sticks of {lots} {'lot' if lots == 1 else 'lots'}"] * bool(lots)
    say = "says" if n == 1 and not lots else "say"
    as_told = " has it" if pace == "just as" else ""
    first = f"{' and '.join(sources).capitalize()} {say} that {label} burns {pace} its law{as_told}."
    shrunk = [100 * (1 - f.spread / f.default_spread) for f in (taught.rate, taught.c_star, taught.nozzle)]
    rate, c_star, nozzle = (f"{max(0.0, s):.0f} %" for s in shrunk)
    return first, f"The range of its burn rate shrank by {rate}, of c* by {c_star}, of the nozzle by {nozzle}."


def summaries(session: Session) -> list[Summary]:
    """The newest version of each formula that has a burn law, by name."""
    seen = learning.evidence(session)
    found: list[Summary] = []
    learned: Learned | None = None
    for formula in formulas.current(session):
        try:  # set against the newest version of each, what was learned is the same for all of them
            learned = learned or learning.learned(session, formula, seen)[0]
            told = learning.factors_of(learned, seen, formula, None)
        except CalcError:
            continue
        off = learning_switch.why_off(session, formula)
        found.append(Summary(formula, off, len(told.firing_ids), told.left_out, told.stick_lots, told))
    return found


def moves(session: Session, tests: tuple[int, ...] = (1, 3, 10, 30)) -> list[Moves]:
    """By how much like static tests would move what is learned, worked out by the settings of today."""
    prior = learning.prior_of(session, {})
    errors = np.array(reading_errors(example(), TYPICAL_PRESSURE))
    exponent = local_exponent(example().propellant.law, TYPICAL_PRESSURE)
    with_gauge = Said(
        0, 0, np.eye(3), np.zeros(3), errors, stand=np.array([stand_shifts(w.lower(), exponent) for w in WORDS])
    )
    answers = respond(example()).slopes[0, :2]
    more = 0.1
    thrust = Said(
        0,
        0,
        answers,
        np.array([more, 0.0]),
        np.array([BY_CELL, TIME_BY_CELL]),
        stand=np.array([stand_shifts(w, exponent) for w in FIGURES[:2]]),
    )
    found = []
    for n in tests:
        rate, c_star, nozzle = learn([with_gauge] * n, prior).of(0, 0).moved.tolist()
        impulse = float(answers[0] @ learn([thrust] * n, prior).of(0, 0).mean) / more
        found.append(Moves(n, rate, c_star, nozzle, impulse))
    return found


def waiting(session: Session) -> int:
    """How many firings wait to be fitted."""
    return len(fit_records.waiting(session))


def formula_page(session: Session, formula: Formula) -> FormulaPage:
    """Everything that was learned of a formula.

    Raises
    ------
    CalcError
        The formula has no burn law.
    """
    learned, seen = learning.learned(session, formula)
    mine = learning.family(formula)
    shots = [shot for shot in reversed(seen.shots) if seen.keys[shot.formula_id] == mine]
    cases = {case.pk: case for case in session.exec(select(Case))}
    weights = _weights(learned, seen)
    sticks = _sticks(formula, seen, learned)
    chance = learned.chance
    own = np.array([weights[s.firing_id] for s in shots if s.firing_id in weights]).reshape(-1, 3)
    shares = own.sum(axis=0) + np.array([sum(s.weight for s in sticks), 0.0, 0.0])
    law, fault = _law(seen, mine, float(chance[0]))
    burns = formulas.burn_law(formula)
    offs = learning.offs(session, shots, burns)
    overall = learning.factors_of(learned, seen, formula, None)
    fired = sorted({s.case_id for s in shots if s.counts}, key=lambda i: cases[i].name.lower())
    return FormulaPage(
        formula=formula,
        off=learning_switch.why_off(session, formula),
        overall=overall,
        cases=[(cases[i], learning.factors_of(learned, seen, formula, cases[i])) for i in fired],
        lines=[
            Line(shot, cases[shot.case_id].name, _says(shot, off, burns), weights.get(shot.firing_id))
            for shot, off in list(zip(shots, offs, strict=True))[:SHOWN]
        ],
        firings=len(shots),
        sticks=sticks,
        kept_by_default=_three((1 - shares).tolist()),
        chance=_three(chance.tolist()),
        far=_far(session, shots, offs, overall),
        law=law,
        law_fault=fault,
    )


def line_of(session: Session, formula: Formula, firing: Firing) -> Line | None:
    """What one firing of a formula says and weighs; nothing where it did not light.

    Raises
    ------
    CalcError
        The formula has no burn law.
    """
    learned, seen = learning.learned(session, formula)
    shot = next((s for s in seen.shots if s.firing_id == firing.pk), None)
    if shot is None:
        return None
    burns = formulas.burn_law(formula)
    (off,) = learning.offs(session, [shot], burns)
    case = repository.get(session, Case, shot.case_id, "case")
    return Line(shot, case.name, _says(shot, off, burns), _weights(learned, seen).get(shot.firing_id))


def _three(values: list[float]) -> tuple[float, float, float]:
    return values[0], values[1], values[2]


def _weights(learned: Learned, seen: Evidence) -> dict[int, tuple[float, float, float]]:
    """The weight of each firing that counts; they stand in the order in which they were learned from."""
    shots = learning.counted(seen)
    return {s.firing_id: _three(w.tolist()) for s, w in zip(shots, learned.weights[: len(shots)], strict=True)}


def say(what: str, off: float, error: float, stand: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> Say:
    """What is off by so much, its error and what a stand shifts of it [ln], as a factor with its 90 % interval [-]."""
    reach = 1.645 * hypot(error, STAND * stand[0], STAND * stand[1])
    return Say(what, exp(off), exp(off - reach), exp(off + reach))


def _says(shot: Shot, offs: Floats, law: BurnLaw) -> list[Say]:
    """What a firing says for itself, each row over the default."""
    made = shot.fit.rows if shot.fit else []
    exponent = local_exponent(law, shot.fit.pressure_pa) if shot.fit and made else 0.0
    return [
        say(row.what, float(off), row.error, stand_shifts(row.what, exponent))
        for row, off in zip(made, offs, strict=True)
    ]


def _sticks(formula: Formula, seen: Evidence, learned: Learned) -> list[SticksLine]:
    law, mine = formulas.burn_law(formula), learning.family(formula)
    weights = iter(learned.weights[len(learning.counted(seen)) :, 0].tolist())
    found = []
    for lot in learning.sticks_said(seen, formula):
        weight = next(weights)
        if seen.keys[lot.formula_id] == mine:
            off = lot.log_rate - float(np.log(law.rate(lot.pressure)))
            found.append(SticksLine(lot.batch_code, lot.n, say("rate in the open", off, lot.error), weight))
    return found


def _far(session: Session, shots: list[Shot], offs: list[Floats], told: LearnedFactors) -> list[str]:
    """Which of the three lie so far from the default, or so far above one, that a wrong instrument is likelier."""
    said: dict[str, list[float]] = {words.lower(): [] for words in WORDS}
    for shot, each in zip(shots, offs, strict=True):
        if shot.counts and shot.fit and shot.fit.how == "pressure":
            for row, off in zip(shot.fit.rows, each.tolist(), strict=True):
                said[row.what].append(off)
    factors: tuple[Factor, Factor, Factor] = (told.rate, told.c_star, told.nozzle)
    house = workshop.get(session)
    most = (inf, log(MOST / house.c_star_efficiency_share), log(MOST / house.nozzle_efficiency_share))
    return [
        words
        for words, factor, least in zip(WORDS, factors, most, strict=True)
        if (values := said[words.lower()])
        and ((mean := sum(values) / len(values)) > least or abs(mean) > FAR * factor.default_spread)
    ]


def _law(seen: Evidence, mine: Hashable, scatter: float) -> tuple[OwnLaw | None, Note | str]:
    curves = [
        Seen(law.log_rate, law.exponent, np.array(law.covariance), shot.fit.pressure_pa, law.low, law.high)
        for shot in seen.shots
        if shot.counts and seen.keys[shot.formula_id] == mine and shot.fit and (law := shot.fit.law)
    ]
    try:
        return own_law(curves, scatter, GAUGE), ""
    except CalcError as error:
        return None, error.sentence


def take_law(session: Session, formula: Formula, version: int | None = None) -> Formula:
    """Make the law fitted to a formula's curves the own law of its next version.

    Raises
    ------
    Refused
        No law can be told from its curves, or the formula has a newer version.
    Conflict
        The formula was changed since the page was opened.
    """
    found = formula_page(session, formula)
    law = found.law
    if law is None:
        raise Refused(found.law_fault)
    units = workshop.get(session).units
    texts = {k: v for k, v in as_form(formula, FormulaIn, units).items() if v and not k.startswith("law_")}
    curves = f"{law.curves} pressure curve{'s' if law.curves > 1 else ''}"
    data = FormulaIn.model_validate(
        {
            **texts,
            "parts": [{"ingredient": key, "percent": f"{100 * share:.9g} %"} for key, share in formula.blend.items()],
            "law_rate": f"{1e3 * law.rate_at_1_mpa:.5g} mm/s",
            "law_exponent": round(law.exponent.value, 4),
            "law_from": f"{law.low / 1e6:.4g} MPa",
            "law_to": f"{law.high / 1e6:.4g} MPa",
            "law_source": (
                f"Fitted to {curves} of this workshop, {show(law.low, 'pressure', units)} to "
                f"{show(law.high, 'pressure', units)}; n ±{law.exponent.se:.3f}."
            ),
        }
    )
    return formulas.save(session, data, formula, version)
