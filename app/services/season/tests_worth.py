"""Static tests that are worth while: what the next three of each formula and case of a season would teach."""

from sqlmodel import Session

from app.calc.base.errors import CalcError
from app.models import Case, Formula, Season
from app.services.hardware import inventory
from app.services.learning import learning, next_tests
from app.services.learning.next_tests import Lesson
from app.services.season import overview
from app.services.stock import formulas

MOST = 8
"""So many pairs of formula and case are told."""


def lessons(session: Session, season: Season) -> list[Lesson]:
    """What three tests of each would teach, first those that would narrow the most; of a season without motors yet,
    of every formula in every case.
    """
    pairs = _pairs(session, season)
    seen, found = learning.evidence(session), []
    for formula, case in pairs[:MOST]:
        try:
            found.append(next_tests.of(session, formula, case, seen=seen))
        except CalcError:
            continue
    return sorted(found, key=lambda one: -sum(share for _, share in one.narrowed))


def _pairs(session: Session, season: Season) -> list[tuple[Formula, Case]]:
    """The formulas and cases that are flown or tested; without any, all there are."""
    lines = overview.of(session, season).lines
    chosen = [(line.motor.formula, line.motor.case) for line in lines if line.motor is not None]
    chosen += [(line.formula, line.case) for line in lines if line.formula is not None and line.case is not None]
    every = [(formula, case) for formula in formulas.current(session) for case in inventory.cases(session)]
    return list({(formula.pk, case.pk): (formula, case) for formula, case in (chosen or every)}.values())
