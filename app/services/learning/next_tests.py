"""What the next static tests of a formula in a case would teach: by how much they would narrow what is not known."""

from dataclasses import dataclass

import numpy as np
from sqlmodel import Session

from app.calc.fit.partial_pooling import Said, stand_shifts
from app.calc.fit.pressure_fit import local_exponent, reading_errors
from app.calc.motor.simulation import example
from app.models import Case, Formula
from app.services.learning import learning
from app.services.learning.learning import Evidence
from app.services.stock import formulas

TYPICAL_PRESSURE = 3e6
"""Pressure of the tests that are thought of [Pa]."""

WHAT = ("burn rate", "c* efficiency", "nozzle efficiency")


@dataclass(frozen=True)
class Lesson:
    """How uncertain burn rate, c* and nozzle are now and after so many tests with a gauge, one deviation [-].

    `fired` is how many firings of the formula count already, in any case.
    """

    formula: Formula
    case: Case
    tests: int
    fired: int
    now: tuple[float, float, float]
    after: tuple[float, float, float]

    @property
    def narrowed(self) -> list[tuple[str, float]]:
        """Each of the three with the share that its range would lose [-]."""
        return [(what, max(0.0, 1 - b / a)) for what, a, b in zip(WHAT, self.now, self.after, strict=True)]


def of(session: Session, formula: Formula, case: Case, tests: int = 3, seen: Evidence | None = None) -> Lesson:
    """What so many like tests would teach; that they say what is expected changes nothing but the uncertainty.

    Raises
    ------
    CalcError
        The formula has no burn law.
    """
    seen = seen or learning.evidence(session)
    law = formulas.burn_law(formula)
    exponent = local_exponent(law, TYPICAL_PRESSURE)
    stand = np.array([stand_shifts(what, exponent) for what in WHAT])
    errors = np.array(reading_errors(example(), TYPICAL_PRESSURE))
    test = Said(learning.family(formula), case.pk, np.eye(3), np.zeros(3), errors, stand=stand)
    before, _ = learning.learned(session, formula, seen)
    then, _ = learning.learned(session, formula, seen, [test] * tests)
    told = learning.factors_of(before, seen, formula, case)
    return Lesson(
        formula=formula,
        case=case,
        tests=tests,
        fired=len(told.firing_ids),
        now=_three(before.of(learning.family(formula), case.pk).spread),
        after=_three(then.of(learning.family(formula), case.pk).spread),
    )


def _three(found: np.ndarray) -> tuple[float, float, float]:
    rate, c_star, nozzle = (float(one) for one in found)
    return rate, c_star, nozzle
