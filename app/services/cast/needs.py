"""A plan worked out: from the grains wanted to grams on the scale, and what the shelf lacks for it."""

from collections.abc import Iterable, Mapping, Sequence
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
        return short(self.needs)


@dataclass(frozen=True)
class Stock:
    """What lies on the shelf and what open plans still need of it: read once, for any number of plans."""

    on_shelf: Mapping[str, float]
    """By ingredient [kg]."""
    left: Mapping[int, float]
    """Of each leftover [kg]."""
    plans: Sequence[Batch]
    """The open ones."""
    still: Mapping[int, float]
    """What is still to be weighed out of each part of them [kg]."""

    def promised(self, but: Batch | None = None) -> tuple[dict[str, float], dict[int, float]]:
        """What the plans still need, by ingredient and by leftover [kg]; `but` is left out."""
        ingredients: dict[str, float] = {}
        remelts: dict[int, float] = {}
        for part in (part for batch in self.plans if but is None or batch.id != but.id for part in batch.parts):
            if part.ingredient is not None:
                ingredients[part.ingredient] = ingredients.get(part.ingredient, 0.0) + self.still[part.pk]
            elif part.leftover_id is not None:
                remelts[part.leftover_id] = remelts.get(part.leftover_id, 0.0) + self.still[part.pk]
        return ingredients, remelts

    @property
    def short(self) -> list[Need]:
        """Ingredients that all plans together need more of than the shelf has."""
        promised, _ = self.promised()
        found = [
            Need(INGREDIENTS[k].name, k, None, mass, self.on_shelf.get(k, 0.0), 0.0) for k, mass in promised.items()
        ]
        return short(found)


def short(found: Iterable[Need]) -> list[Need]:
    """Those that the shelf lacks."""
    return [need for need in found if need.short_kg]


def stock(session: Session) -> Stock:
    """The shelf and the open plans as they are now."""
    plans = batches.in_states(session, *batches.OPEN_STATES)
    still = batches.outstanding_of(session, plans)
    return Stock(supplies.on_shelf(session), batches.leftovers_left(session), plans, still)


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
    shop, now = workshop.get(session), stock(session)
    formula = repository.get(session, Formula, data.formula_id, "formula")
    ideal = theoretical_density(formula.blend)
    density = ideal * data.expected_density.si
    faults, grains, taken = Faults(), [], []
    with faults.one():
        grains = _wanted(session, data, density)
    with faults.one():
        taken = remelts(session, data, batch, now)
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
    promised, promised_leftovers = now.promised(but=batch)
    found = [
        Need(INGREDIENTS[key].name, key, None, amount, now.on_shelf.get(key, 0.0), promised.get(key, 0.0))
        for key, amount in recipe.masses.items()
        if amount > 0
    ]
    found += [
        Need(row.mark, None, row, amount, now.left[row.pk], promised_leftovers.get(row.pk, 0.0))
        for row, amount in taken
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


def remelts(
    session: Session, data: PlanIn, batch: Batch | None = None, now: Stock | None = None
) -> list[tuple[Leftover, float]]:
    """The leftovers a plan asks for, each with how much of it [kg].

    Raises
    ------
    Refused
        One is named twice, or there is not as much of it that no other plan has asked for.
    """
    shop, now = workshop.get(session), now or stock(session)
    _, promised = now.promised(but=batch)
    found: list[tuple[Leftover, float]] = []
    faults = Faults()
    for i, row in enumerate(data.remelts):
        leftover = repository.get(session, Leftover, row.leftover_id, "leftover")
        if any(known.id == leftover.id for known, _ in found):
            faults.add(f"remelts.{i}.leftover_id", f"{leftover.mark} is named twice; write one row.")
            continue
        free = now.left[leftover.pk] - promised.get(leftover.pk, 0.0)
        mass = row.mass.si if row.mass is not None else free
        if mass > free + 1e-9 or mass <= 0:
            faults.add(
                f"remelts.{i}.mass",
                f"{leftover.mark} has {show(max(free, 0.0), 'mass', shop.units)} that no other plan has asked for.",
            )
        found.append((leftover, mass))
    faults.tell()
    return found


def of_batch(session: Session, batch: Batch, now: Stock | None = None) -> list[Need]:
    """What a saved plan still has to weigh out, against the shelf as it is now."""
    now = now or stock(session)
    promised, promised_leftovers = now.promised(but=batch)
    still = now.still if batch in now.plans else batches.outstanding(session, batch)
    found: list[Need] = []
    for part in batch.parts:
        if part.ingredient is not None:
            has, others = now.on_shelf.get(part.ingredient, 0.0), promised.get(part.ingredient, 0.0)
            found.append(Need(INGREDIENTS[part.ingredient].name, part.ingredient, None, still[part.pk], has, others))
        else:
            leftover = repository.get(session, Leftover, part.leftover_id or 0, "leftover")
            others = promised_leftovers.get(leftover.pk, 0.0)
            found.append(Need(leftover.mark, None, leftover, still[part.pk], now.left[leftover.pk], others))
    return found
