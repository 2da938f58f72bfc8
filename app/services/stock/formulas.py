"""Formulas: blends by mass fractions; a used version is never changed, it gets a successor."""

from dataclasses import dataclass
from typing import NamedTuple

from sqlalchemy import func
from sqlmodel import Session, col, select

from app.calc.base.errors import BlendError, CalcError
from app.calc.base.notes import Note
from app.calc.motor.spread import rate_spread
from app.calc.propellant.burn_laws import law_for_blend, power_law
from app.calc.propellant.burn_rate import BurnLaw
from app.calc.propellant.recipe import blend_warnings, check_blend, lookup, oxygen_balance, theoretical_density
from app.calc.propellant.thermochem import BlendState
from app.errors import Faults, Refused
from app.models import Batch, Formula, FormulaPart
from app.models.formula import FormulaIn
from app.services.book import repository
from app.services.stock import blends

SUM_TOLERANCE = 1e-6


def get(session: Session, formula_id: int) -> Formula:
    """The formula of that identity.

    Raises
    ------
    NotFound
        There is none.
    """
    return repository.get(session, Formula, formula_id, "formula")


def current(session: Session) -> list[Formula]:
    """The newest version of each formula that is not retired, by name."""
    return [versions[0] for versions in families(session) if not versions[0].retired]


def retired(session: Session) -> list[Formula]:
    """The newest version of each formula that is retired, by name."""
    return [versions[0] for versions in families(session) if versions[0].retired]


def families(session: Session) -> list[list[Formula]]:
    """All formulas grouped by name, each with its newest version first."""
    grouped: dict[str, list[Formula]] = {}
    for formula in session.exec(select(Formula).order_by(func.lower(Formula.name), col(Formula.edition).desc())):
        grouped.setdefault(formula.name, []).append(formula)
    return list(grouped.values())


def versions(session: Session, formula: Formula) -> list[Formula]:
    """All versions of a formula's name, newest first."""
    found = select(Formula).where(Formula.name == formula.name).order_by(col(Formula.edition).desc())
    return list(session.exec(found))


def ideal_density(formula: Formula) -> float:
    """Density of the blend without any void [kg/m3]."""
    return theoretical_density(formula.blend)


@dataclass(frozen=True)
class BlendFacts:
    """What follows from the fractions alone: ideal density [kg/m3], oxygen balance [-], doubts in words."""

    density: float
    oxygen_to_k2o: float
    oxygen_without_k: float
    warnings: list[str]


def facts(formula: Formula) -> BlendFacts:
    """What follows from a formula's fractions alone."""
    blend = formula.blend
    return BlendFacts(
        density=theoretical_density(blend),
        oxygen_to_k2o=oxygen_balance(blend, "K2O"),
        oxygen_without_k=oxygen_balance(blend, "none"),
        warnings=list(blend_warnings(blend)),
    )


def batches(session: Session, formula: Formula) -> list[Batch]:
    """The batches planned or cast with this version, newest first."""
    found = select(Batch).where(Batch.formula_id == formula.pk).order_by(col(Batch.id).desc())
    return list(session.exec(found))


def is_used(session: Session, formula: Formula) -> bool:
    """Whether a batch was planned with this version."""
    return session.exec(select(Batch.id).where(Batch.formula_id == formula.pk)).first() is not None


def blend_of(data: FormulaIn) -> dict[str, float]:
    """The blend of a formula form, by ingredient key; every fault is told beside its row.

    Raises
    ------
    Refused
        An ingredient outside the family or named twice, or fractions that do not sum to 100 %.
    """
    blend: dict[str, float] = {}
    for i, part in enumerate(data.parts):
        try:
            key = lookup(part.ingredient).key
        except BlendError as error:
            raise Refused(error.words, field=f"parts.{i}.ingredient") from error
        if key in blend:
            raise Refused("This ingredient is in the formula already; add the two shares.", f"parts.{i}.ingredient")
        blend[key] = part.percent.si
    total = sum(blend.values())
    if abs(total - 1) > SUM_TOLERANCE:
        off = f"{abs(total - 1) * 100:.4f}".rstrip("0").rstrip(".")
        whole = f"{total * 100:.4f}".rstrip("0").rstrip(".")
        raise Refused(
            f"The shares sum to {whole} %, which is {off} % too {'much' if total > 1 else 'little'}.", field="parts"
        )
    try:
        return check_blend(blend)
    except BlendError as error:
        raise Refused(error.sentence, field="parts") from error


def save(session: Session, data: FormulaIn, row: Formula | None = None, version: int | None = None) -> Formula:
    """Enter a formula, change one that no batch uses, or make the next version of one that is used.

    Raises
    ------
    Refused
        A fault of the blend, a name that is taken or that batches carry, or a version that has a successor.
    Conflict
        The formula was changed since the page was opened.
    """
    blend = blend_of(data)
    law = _law_of(data)
    if row is None:
        repository.refuse_same(session, Formula, "name", data.name)
        return _write(session, data, blend, law, edition=1)
    newest = versions(session, row)[0]
    if newest is not row:
        raise Refused(f"{newest.label} is the newest version; change that one.")
    used = is_used(session, row)
    if data.name != row.name:
        if used or row.edition > 1:
            raise Refused("Batches carry this name; it stays. Enter a new formula for another name.", field="name")
        repository.refuse_same(session, Formula, "name", data.name, but=row)
    repository.claim(row, version)
    if used and not (_same(blend, row.blend) and all(getattr(row, name) == value for name, value in law.items())):
        return _write(session, data, blend, law, edition=newest.edition + 1)
    row.name, row.note, row.law_source = data.name, data.note, data.law_source
    for name, value in law.items():
        setattr(row, name, value)
    if not _same(blend, row.blend):
        row.parts.clear()
        session.flush()
        _fill(session, row, blend)
    session.flush()
    return row


def _same(one: dict[str, float], other: dict[str, float]) -> bool:
    return one.keys() == other.keys() and all(abs(one[key] - other[key]) < 1e-9 for key in one)


Law = dict[str, float | None]


def _law_of(data: FormulaIn) -> Law:
    """The columns of a formula's own burn law: all of them, or none.

    Raises
    ------
    Refused
        A part of it is missing, or it runs from a higher to a lower pressure.
    """
    given = {
        "law_rate": data.law_rate,
        "law_exponent": data.law_exponent,
        "law_from": data.law_from,
        "law_to": data.law_to,
        "law_source": data.law_source or None,
    }
    missing = [name for name, value in given.items() if value is None]
    if len(missing) == len(given):
        return {"law_rate_m_s": None, "law_exponent": None, "law_from_pa": None, "law_to_pa": None}
    faults = Faults()
    for name in missing:
        faults.add(
            name,
            "A burn law needs its rate, its exponent, the pressures it was measured between, and where it comes from. "
            "Fill this in, or leave all of them empty.",
        )
    faults.tell()
    assert data.law_rate is not None
    assert data.law_from is not None
    assert data.law_to is not None
    if data.law_to.si <= data.law_from.si:
        raise Refused(f"Give a pressure above the lowest one ({data.law_from.typed}).", field="law_to")
    return {
        "law_rate_m_s": data.law_rate.si,
        "law_exponent": data.law_exponent,
        "law_from_pa": data.law_from.si,
        "law_to_pa": data.law_to.si,
    }


def own_law(formula: Formula) -> BurnLaw | None:
    """The burn law that the workshop gave its formula, if it gave one."""
    rate, n, low, high = formula.law_rate_m_s, formula.law_exponent, formula.law_from_pa, formula.law_to_pa
    if rate is None or n is None or low is None or high is None:
        return None
    return power_law(1e3 * rate, n, low, high, source=f"the workshop's own: {formula.law_source}")


def burn_law(formula: Formula) -> BurnLaw:
    """The law that predictions of this formula use: its own, else the published one or the nearest.

    Raises
    ------
    BlendError
        No law is near its blend.
    """
    return own_law(formula) or law_for_blend(formula.blend)


def _write(session: Session, data: FormulaIn, blend: dict[str, float], law: Law, edition: int) -> Formula:
    formula = Formula(name=data.name, edition=edition, note=data.note, law_source=data.law_source)
    for name, value in law.items():
        setattr(formula, name, value)
    session.add(formula)
    session.flush()
    _fill(session, formula, blend)
    return formula


def _fill(session: Session, formula: Formula, blend: dict[str, float]) -> None:
    session.add_all(FormulaPart(formula_id=formula.pk, ingredient=key, fraction=share) for key, share in blend.items())
    session.flush()
    session.expire(formula, ["parts"])
    blends.forget(session, formula)
    blends.remember(session, formula)


# --- What follows from it ------------------------------------------------------------------------


class Burning(NamedTuple):
    """How a formula burns as far as it can be told: equilibrium, law with its spread [-], or why there is none."""

    state: BlendState | None = None
    state_fault: Note | str = ""
    law: BurnLaw | None = None
    rate_spread: float | None = None
    law_fault: Note | str = ""


def burning(session: Session, formula: Formula) -> Burning:
    """How a formula burns; what cannot be told has its reason."""
    found = Burning()
    try:
        found = found._replace(state=blends.state(session, formula))
    except CalcError as error:
        found = found._replace(state_fault=error.words)
    try:
        law = burn_law(formula)
        return found._replace(law=law, rate_spread=rate_spread(law))
    except CalcError as error:
        return found._replace(law_fault=error.words)
