"""Plans: from the grains wanted to grams on the scale, and what the shelf lacks for it."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlmodel import Session, col, select

from app.calc.ingredients import INGREDIENTS
from app.calc.recipe import batch_mass, scale_with_remelt, theoretical_density
from app.errors import Refused
from app.models import Batch, BatchItem, BatchPart, CastSession, Formula, GrainPattern, Leftover, WeighOut
from app.models.batch import PlanIn
from app.services import checklists, rows, supplies, workshop
from app.units import show

MONTHS = "ABCDEFGHIJKL"
OPEN_STATES = ("planned", "casting")


@dataclass(frozen=True)
class Wanted:
    """Grains of one pattern in a plan."""

    pattern: GrainPattern
    count: int
    mass_kg: float


@dataclass(frozen=True)
class Need:
    """One thing to weigh out, and what the shelf has of it."""

    name: str
    ingredient: str | None
    leftover: Leftover | None
    target_kg: float
    on_shelf_kg: float
    promised_kg: float

    @property
    def short_kg(self) -> float:
        """What is missing once the other open plans have had theirs; zero when there is enough."""
        short = self.target_kg + self.promised_kg - self.on_shelf_kg
        return short if short > 1e-9 else 0.0


@dataclass(frozen=True)
class Worked:
    """A plan worked out: masses in kg, density in kg/m3."""

    formula: Formula
    wanted: list[Wanted]
    ideal_density_kg_m3: float
    grains_kg: float
    over_pour_kg: float
    test_pieces_kg: float
    target_kg: float
    remelt_kg: float
    deviation: float
    needs: list[Need]

    @property
    def remelt_share(self) -> float:
        """Share of remelt in the melt."""
        return self.remelt_kg / self.target_kg

    @property
    def short(self) -> list[Need]:
        """What the shelf lacks."""
        return [need for need in self.needs if need.short_kg]


# --- Reading -----------------------------------------------------------------------------------


def lot_code(session: Session, day: date) -> str:
    """The code of the next batch of that month: year, month letter, batch of the month (26K3)."""
    prefix = f"{day:%y}{MONTHS[day.month - 1]}"
    return f"{prefix}{rows.next_number(session, Batch.code, prefix)}"


def by_code(session: Session, code: str) -> Batch:
    """The batch of that lot code.

    Raises
    ------
    NotFound
        There is none.
    """
    batch_id = session.exec(select(Batch.id).where(Batch.code == code.upper())).first()
    return rows.get(session, Batch, batch_id or 0, "batch")


def batches(session: Session, *states: str) -> list[Batch]:
    """Batches in any of these states (all, when none is named), by day, newest last."""
    query = select(Batch).order_by(col(Batch.planned_for), col(Batch.id))
    return list(session.exec(query.where(col(Batch.state).in_(states)) if states else query))


def past(session: Session, page: int = 1) -> rows.Page[Batch]:
    """A page of the batches that are cast or dropped, newest first."""
    query = select(Batch).where(col(Batch.state).not_in(OPEN_STATES))
    return rows.page(session, query.order_by(col(Batch.planned_for).desc(), col(Batch.id).desc()), page)


def any_planned(session: Session) -> bool:
    """Whether a batch was ever planned."""
    return session.exec(select(Batch.id).limit(1)).first() is not None


def formula_of(session: Session, batch: Batch) -> Formula:
    """The formula version a batch is planned with."""
    return rows.get(session, Formula, batch.formula_id, "formula")


def wanted(session: Session, batch: Batch) -> list[Wanted]:
    """The grains a batch is planned for, with the mass expected of them [kg]."""
    density = theoretical_density(formula_of(session, batch).blend) * batch.expected_density_share
    found = []
    for item in batch.items:
        pattern = rows.get(session, GrainPattern, item.pattern_id, "grain pattern")
        found.append(Wanted(pattern, item.count, pattern.volume_m3 * density * item.count))
    return found


def leftovers_left(session: Session) -> dict[int, float]:
    """Mass left of each leftover [kg]."""
    left = {row.pk: row.mass_kg for row in session.exec(select(Leftover))}
    taken = select(WeighOut.leftover_id, WeighOut.mass_kg).where(
        col(WeighOut.leftover_id).is_not(None), col(WeighOut.voided_at).is_(None)
    )
    for leftover_id, mass in session.exec(taken):
        assert leftover_id is not None
        left[leftover_id] -= mass
    return left


def leftovers(session: Session) -> list[tuple[Leftover, float]]:
    """Leftovers with something in the bag, oldest first, and how much [kg]."""
    left = leftovers_left(session)
    found = session.exec(select(Leftover).order_by(col(Leftover.id)))
    return [(row, left[row.pk]) for row in found if left[row.pk] > 1e-9]


def weighed(session: Session, batch: Batch) -> dict[int, float]:
    """Mass weighed out for each part of a batch, struck-out amounts left aside [kg]."""
    sums = {part.pk: 0.0 for part in batch.parts}
    amounts = select(WeighOut.batch_part_id, WeighOut.mass_kg).where(
        col(WeighOut.batch_part_id).in_(list(sums)), col(WeighOut.voided_at).is_(None)
    )
    for part_id, mass in session.exec(amounts):
        sums[part_id] += mass
    return sums


def composition(session: Session, batch: Batch) -> dict[str, float]:
    """What a batch is made of, as mass fractions: as really weighed, its own remelt counted; else as its formula."""
    masses: dict[str, float] = {}
    amounts = weighed(session, batch)
    for part in batch.parts:
        amount = amounts[part.pk]
        if not amount:
            continue
        if part.ingredient is not None:
            masses[part.ingredient] = masses.get(part.ingredient, 0.0) + amount
        else:
            for key, share in of_leftover(session, part.leftover_id or 0).items():
                masses[key] = masses.get(key, 0.0) + share * amount
    total = sum(masses.values())
    if not total:
        return formula_of(session, batch).blend
    return {key: mass / total for key, mass in masses.items()}


def of_leftover(session: Session, leftover_id: int) -> dict[str, float]:
    """Mass fractions of a leftover: those of the batch it came from."""
    leftover = rows.get(session, Leftover, leftover_id, "leftover")
    return composition(session, rows.get(session, Batch, leftover.batch_id, "batch"))


def outstanding(session: Session, batch: Batch) -> dict[int, float]:
    """What is still to be weighed out for each part of a batch [kg]."""
    amounts = weighed(session, batch)
    return {part.pk: max(part.target_kg - amounts[part.pk], 0.0) for part in batch.parts}


# --- Working out -------------------------------------------------------------------------------


def work_out(session: Session, data: PlanIn, batch: Batch | None = None) -> Worked:
    """Scale the formula to the grains wanted, without saving anything.

    Parameters
    ----------
    batch
        The plan being edited, whose own needs do not count as promised to others.

    Raises
    ------
    Refused
        A pattern or a leftover named twice, or more of a leftover than there is.
    CalcError
        More remelt than the workshop allows, or than the formula can take; an amount below the scale's step.
    """
    shop = workshop.get(session)
    formula = rows.get(session, Formula, data.formula_id, "formula")
    ideal = theoretical_density(formula.blend)
    density = ideal * data.expected_density.si
    grains = _wanted(session, data, density)
    remelts = _remelts(session, data, batch)
    mass = batch_mass([(w.pattern.volume_m3, w.count) for w in grains], density, data.over_pour.si, data.test_pieces.si)
    recipe = scale_with_remelt(
        formula.blend,
        mass,
        shop.scale_resolution_kg,
        [(of_leftover(session, leftover.pk), amount) for leftover, amount in remelts],
        shop.remelt_limit_share,
    )
    grains_kg = sum(w.mass_kg for w in grains)
    shelf, left = supplies.on_shelf(session), leftovers_left(session)
    promised, promised_leftovers = promises(session, but=batch)
    found = [
        Need(INGREDIENTS[key].name, key, None, amount, shelf.get(key, 0.0), promised.get(key, 0.0))
        for key, amount in recipe.masses.items()
        if amount > 0
    ]
    found += [
        Need(row.mark, None, row, amount, left[row.pk], promised_leftovers.get(row.pk, 0.0)) for row, amount in remelts
    ]
    return Worked(
        formula, grains, ideal, grains_kg, grains_kg * data.over_pour.si, data.test_pieces.si,
        recipe.total_mass, recipe.remelt_mass, recipe.deviation, found,
    )  # fmt: skip


def _wanted(session: Session, data: PlanIn, density: float) -> list[Wanted]:
    found: list[Wanted] = []
    for i, item in enumerate(data.items):
        pattern = rows.get(session, GrainPattern, item.pattern_id, "grain pattern")
        if any(w.pattern.id == pattern.id for w in found):
            raise Refused(
                f"{pattern.name} is named twice; write one row with the whole number.", field=f"items.{i}.pattern_id"
            )
        found.append(Wanted(pattern, item.count, pattern.volume_m3 * density * item.count))
    return found


def _remelts(session: Session, data: PlanIn, batch: Batch | None) -> list[tuple[Leftover, float]]:
    shop, left = workshop.get(session), leftovers_left(session)
    _, promised = promises(session, but=batch)
    remelts: list[tuple[Leftover, float]] = []
    for i, row in enumerate(data.remelts):
        leftover = rows.get(session, Leftover, row.leftover_id, "leftover")
        if any(known.id == leftover.id for known, _ in remelts):
            raise Refused(f"{leftover.mark} is named twice; write one row.", field=f"remelts.{i}.leftover_id")
        free = left[leftover.pk] - promised.get(leftover.pk, 0.0)
        if row.mass.si > free + 1e-9:
            raise Refused(
                f"{leftover.mark} has {show(max(free, 0.0), 'mass', shop.units)} that no other plan has asked for.",
                field=f"remelts.{i}.mass",
            )
        remelts.append((leftover, row.mass.si))
    return remelts


def promises(session: Session, but: Batch | None = None) -> tuple[dict[str, float], dict[int, float]]:
    """What open plans still need, by ingredient and by leftover [kg]; `but` is left out."""
    ingredients: dict[str, float] = {}
    remelts: dict[int, float] = {}
    for batch in batches(session, *OPEN_STATES):
        if but is not None and batch.id == but.id:
            continue
        still = outstanding(session, batch)
        for part in batch.parts:
            if part.ingredient is not None:
                ingredients[part.ingredient] = ingredients.get(part.ingredient, 0.0) + still[part.pk]
            elif part.leftover_id is not None:
                remelts[part.leftover_id] = remelts.get(part.leftover_id, 0.0) + still[part.pk]
    return ingredients, remelts


def needs(session: Session, batch: Batch) -> list[Need]:
    """What a saved plan still has to weigh out, against the shelf as it is now."""
    shelf, left = supplies.on_shelf(session), leftovers_left(session)
    promised, promised_leftovers = promises(session, but=batch)
    still = outstanding(session, batch)
    found: list[Need] = []
    for part in batch.parts:
        if part.ingredient is not None:
            has, others = shelf.get(part.ingredient, 0.0), promised.get(part.ingredient, 0.0)
            found.append(Need(INGREDIENTS[part.ingredient].name, part.ingredient, None, still[part.pk], has, others))
        else:
            leftover = rows.get(session, Leftover, part.leftover_id or 0, "leftover")
            others = promised_leftovers.get(leftover.pk, 0.0)
            found.append(Need(leftover.mark, None, leftover, still[part.pk], left[leftover.pk], others))
    return found


def short_for_plans(session: Session) -> list[Need]:
    """Ingredients that all open plans together need more of than the shelf has."""
    shelf = supplies.on_shelf(session)
    promised, _ = promises(session)
    found = [Need(INGREDIENTS[k].name, k, None, mass, shelf.get(k, 0.0), 0.0) for k, mass in promised.items()]
    return [need for need in found if need.short_kg]


# --- Saving ------------------------------------------------------------------------------------


def plan(session: Session, data: PlanIn) -> Batch:
    """Save a new batch with its grains and its scaled recipe.

    Raises
    ------
    Refused, CalcError
        As `work_out`; or the formula or a pattern is retired.
    """
    worked = work_out(session, data)
    _in_use(worked)
    batch = Batch(code=lot_code(session, data.planned_for), **_columns(data, worked))
    session.add(batch)
    session.flush()
    _fill(session, batch, worked)
    return batch


def edit(session: Session, batch: Batch, data: PlanIn, version: int | None = None) -> Batch:
    """Change a plan that was not cast yet; its checklists are voided, for they were made for another plan.

    Raises
    ------
    Refused, CalcError
        As `plan`; or the batch was opened for casting or dropped.
    Conflict
        The plan was changed since the page was opened.
    """
    _still_planned(session, batch)
    rows.claim(batch, version)
    worked = work_out(session, data, batch)
    checklists.void_unused(session, batch, "The plan was changed.")
    for name, value in _columns(data, worked).items():
        setattr(batch, name, value)
    batch.items.clear()
    batch.parts.clear()
    session.flush()
    _fill(session, batch, worked)
    return batch


def drop(session: Session, batch: Batch, why: str, version: int | None = None) -> Batch:
    """Give up a plan; it stays in the book with the reason.

    Raises
    ------
    Refused
        The batch was opened for casting or dropped.
    Conflict
        The plan was changed since the page was opened.
    """
    _still_planned(session, batch)
    rows.claim(batch, version)
    checklists.void_unused(session, batch, f"The plan was dropped: {why}")
    batch.state = "dropped"
    batch.note = f"{batch.note}\nDropped: {why}".strip()
    session.flush()
    return batch


def _still_planned(session: Session, batch: Batch) -> None:
    if batch.state == "dropped":
        raise Refused(f"Batch {batch.code} was dropped. Plan a new one.")
    begun = session.exec(select(CastSession.id).where(CastSession.batch_id == batch.pk)).first()
    if batch.state != "planned" or begun is not None:
        raise Refused(f"Casting of {batch.code} has begun; its plan stays as it was. Plan a new batch for more.")


def _in_use(worked: Worked) -> None:
    if worked.formula.retired:
        raise Refused(f"{worked.formula.label} is retired. Choose the newest version.", field="formula_id")
    for i, grains in enumerate(worked.wanted):
        if grains.pattern.retired:
            raise Refused(f"{grains.pattern.name} is retired. Choose another.", field=f"items.{i}.pattern_id")


def _columns(data: PlanIn, worked: Worked) -> dict[str, Any]:
    return {
        "formula_id": worked.formula.pk,
        "planned_for": data.planned_for,
        "expected_density_share": data.expected_density.si,
        "over_pour_share": data.over_pour.si,
        "planned_test_pieces_kg": data.test_pieces.si,
        "target_mass_kg": worked.target_kg,
        "note": data.note,
    }


def _fill(session: Session, batch: Batch, worked: Worked) -> None:
    for grains in worked.wanted:
        session.add(BatchItem(batch_id=batch.pk, pattern_id=grains.pattern.pk, count=grains.count))
    for need in worked.needs:
        leftover_id = need.leftover.pk if need.leftover else None
        session.add(
            BatchPart(batch_id=batch.pk, ingredient=need.ingredient, leftover_id=leftover_id, target_kg=need.target_kg)
        )
    session.flush()
    session.refresh(batch)
