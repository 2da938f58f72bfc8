"""A plan worked out: from the grains wanted to grams on the scale, and what the shelf lacks for it."""

from dataclasses import dataclass

from sqlmodel import Session

from app.calc.propellant.ingredients import INGREDIENTS
from app.calc.propellant.recipe import batch_mass, scale, theoretical_density
from app.errors import Faults
from app.models import Batch, Formula, GrainPattern, Leftover
from app.models.batch import PlanIn
from app.services.book import repository, workshop
from app.services.hardware import shapes
from app.services.stock import batches, supplies
from app.units import show


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


def wanted(session: Session, batch: Batch) -> list[Wanted]:
    """The grains a batch is planned for, with the mass expected of them [kg]."""
    density = theoretical_density(batches.formula_of(session, batch).blend) * batch.expected_density_share
    found = []
    for item in batch.items:
        pattern = repository.get(session, GrainPattern, item.pattern_id, "grain pattern")
        found.append(Wanted(pattern, item.count, shapes.volume(pattern) * density * item.count))
    return found


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
    formula = repository.get(session, Formula, data.formula_id, "formula")
    ideal = theoretical_density(formula.blend)
    density = ideal * data.expected_density.si
    faults, grains, taken = Faults(), [], []
    with faults.one():
        grains = _wanted(session, data, density)
    with faults.one():
        taken = remelts(session, data, batch)
    faults.tell()
    mass = batch_mass(
        [(shapes.volume(w.pattern), w.count) for w in grains], density, data.over_pour.si, data.test_pieces.si
    )
    recipe = scale(
        formula.blend,
        mass,
        shop.scale_resolution_kg,
        [(batches.of_leftover(session, leftover.pk), amount) for leftover, amount in taken],
        shop.remelt_limit_share,
    )
    grains_kg = sum(w.mass_kg for w in grains)
    shelf, left = supplies.on_shelf(session), batches.leftovers_left(session)
    promised, promised_leftovers = promises(session, but=batch)
    found = [
        Need(INGREDIENTS[key].name, key, None, amount, shelf.get(key, 0.0), promised.get(key, 0.0))
        for key, amount in recipe.masses.items()
        if amount > 0
    ]
    found += [
        Need(row.mark, None, row, amount, left[row.pk], promised_leftovers.get(row.pk, 0.0)) for row, amount in taken
    ]
    return Worked(
        formula,
        grains,
        ideal,
        grains_kg,
        grains_kg * data.over_pour.si,
        data.test_pieces.si,
        recipe.total_mass,
        recipe.remelt_mass,
        recipe.deviation,
        found,
    )


def _wanted(session: Session, data: PlanIn, density: float) -> list[Wanted]:
    found: list[Wanted] = []
    faults = Faults()
    for i, item in enumerate(data.items):
        pattern = repository.get(session, GrainPattern, item.pattern_id, "grain pattern")
        if any(w.pattern.id == pattern.id for w in found):
            faults.add(f"items.{i}.pattern_id", f"{pattern.name} is named twice; write one row with the whole number.")
        found.append(Wanted(pattern, item.count, shapes.volume(pattern) * density * item.count))
    faults.tell()
    return found


def remelts(session: Session, data: PlanIn, batch: Batch | None = None) -> list[tuple[Leftover, float]]:
    """The leftovers a plan asks for, each with how much of it [kg].

    Raises
    ------
    Refused
        One is named twice, or there is not as much of it that no other plan has asked for.
    """
    shop, left = workshop.get(session), batches.leftovers_left(session)
    _, promised = promises(session, but=batch)
    found: list[tuple[Leftover, float]] = []
    faults = Faults()
    for i, row in enumerate(data.remelts):
        leftover = repository.get(session, Leftover, row.leftover_id, "leftover")
        if any(known.id == leftover.id for known, _ in found):
            faults.add(f"remelts.{i}.leftover_id", f"{leftover.mark} is named twice; write one row.")
            continue
        free = left[leftover.pk] - promised.get(leftover.pk, 0.0)
        mass = row.mass.si if row.mass is not None else free
        if mass > free + 1e-9 or mass <= 0:
            faults.add(
                f"remelts.{i}.mass",
                f"{leftover.mark} has {show(max(free, 0.0), 'mass', shop.units)} that no other plan has asked for.",
            )
        found.append((leftover, mass))
    faults.tell()
    return found


def promises(session: Session, but: Batch | None = None) -> tuple[dict[str, float], dict[int, float]]:
    """What open plans still need, by ingredient and by leftover [kg]; `but` is left out."""
    ingredients: dict[str, float] = {}
    remelts: dict[int, float] = {}
    for batch in batches.in_states(session, *batches.OPEN_STATES):
        if but is not None and batch.id == but.id:
            continue
        still = batches.outstanding(session, batch)
        for part in batch.parts:
            if part.ingredient is not None:
                ingredients[part.ingredient] = ingredients.get(part.ingredient, 0.0) + still[part.pk]
            elif part.leftover_id is not None:
                remelts[part.leftover_id] = remelts.get(part.leftover_id, 0.0) + still[part.pk]
    return ingredients, remelts


def of_batch(session: Session, batch: Batch) -> list[Need]:
    """What a saved plan still has to weigh out, against the shelf as it is now."""
    shelf, left = supplies.on_shelf(session), batches.leftovers_left(session)
    promised, promised_leftovers = promises(session, but=batch)
    still = batches.outstanding(session, batch)
    found: list[Need] = []
    for part in batch.parts:
        if part.ingredient is not None:
            has, others = shelf.get(part.ingredient, 0.0), promised.get(part.ingredient, 0.0)
            found.append(Need(INGREDIENTS[part.ingredient].name, part.ingredient, None, still[part.pk], has, others))
        else:
            leftover = repository.get(session, Leftover, part.leftover_id or 0, "leftover")
            others = promised_leftovers.get(leftover.pk, 0.0)
            found.append(Need(leftover.mark, None, leftover, still[part.pk], left[leftover.pk], others))
    return found


def short_for_plans(session: Session) -> list[Need]:
    """Ingredients that all open plans together need more of than the shelf has."""
    shelf = supplies.on_shelf(session)
    promised, _ = promises(session)
    found = [Need(INGREDIENTS[k].name, k, None, mass, shelf.get(k, 0.0), 0.0) for k, mass in promised.items()]
    return [need for need in found if need.short_kg]
