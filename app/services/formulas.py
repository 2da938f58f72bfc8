"""Formulas: blends by mass fractions; a used version is never changed, it gets a successor."""

from dataclasses import dataclass

from sqlalchemy import func
from sqlmodel import Session, col, select

from app.calc.errors import BlendError
from app.calc.recipe import blend_warnings, check_blend, lookup, oxygen_balance, theoretical_density
from app.errors import Refused
from app.models import Batch, Formula, FormulaPart
from app.models.formula import FormulaIn
from app.services import blends, rows

SUM_TOLERANCE = 1e-6


def get(session: Session, formula_id: int) -> Formula:
    """The formula of that identity.

    Raises
    ------
    NotFound
        There is none.
    """
    return rows.get(session, Formula, formula_id, "formula")


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
            raise Refused(f"{error.fault} {error.remedy}", field=f"parts.{i}.ingredient") from error
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
        raise Refused(f"{error.fault[:1].upper()}{error.fault[1:]} {error.remedy}", field="parts") from error


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
    if row is None:
        rows.refuse_same(session, Formula, "name", data.name)
        return _write(session, data, blend, edition=1)
    newest = versions(session, row)[0]
    if newest is not row:
        raise Refused(f"{newest.label} is the newest version; change that one.")
    used = is_used(session, row)
    if data.name != row.name:
        if used or row.edition > 1:
            raise Refused("Batches carry this name; it stays. Enter a new formula for another name.", field="name")
        rows.refuse_same(session, Formula, "name", data.name, but=row)
    rows.claim(row, version)
    if used and not _same(blend, row.blend):
        return _write(session, data, blend, edition=newest.edition + 1)
    row.name, row.note = data.name, data.note
    if not _same(blend, row.blend):
        row.parts.clear()
        session.flush()
        _fill(session, row, blend)
    session.flush()
    return row


def _same(one: dict[str, float], other: dict[str, float]) -> bool:
    return one.keys() == other.keys() and all(abs(one[key] - other[key]) < 1e-9 for key in one)


def _write(session: Session, data: FormulaIn, blend: dict[str, float], edition: int) -> Formula:
    formula = Formula(name=data.name, edition=edition, note=data.note)
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
