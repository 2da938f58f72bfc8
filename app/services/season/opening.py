"""An evening of a season's plan made into the plans of its batches, with what is left of earlier melts in them."""

from datetime import date
from math import floor

from sqlmodel import Session

from app import clock
from app.errors import Refused
from app.models import Batch, Leftover, Season
from app.models.base import FormIn
from app.models.batch import ItemIn, PlanIn, RemeltIn
from app.services.book import repository, workshop
from app.services.cast import needs, planning
from app.services.season import casting, kept_plans
from app.services.stock import batches
from app.units import Quantity, exact


def evening(session: Session, season: Season, on: date, data: FormIn) -> list[Batch]:
    """Plan the batches of an evening, one for each melt; what was answered in the form counts for each of them.

    Raises
    ------
    Refused
        The plan has no such evening, it is past, its batches are planned already, or a melt cannot be planned.
    Asked
        A melt is well above any before.
    """
    found = casting.current(session, season)
    this = next((one for one in found.evenings if one.on == on), None) if found else None
    if found is None or this is None:
        raise Refused(f"The plan has no melts on {clock.day(on)}. Look at it again: it may have been worked out anew.")
    if this.batches:
        codes = ", ".join(batch.code for batch in this.batches)
        raise Refused(f"The melts of {clock.day(on)} are planned already: {codes}.")
    if on < clock.today():
        raise Refused(f"{clock.day(on)} is past. Work the plan out again.")
    kinds = casting.kinds_of(found.row)
    made = []
    for melt in this.melts:
        ids = {name: kinds[name] for name in melt.grains}
        formula_id = next(iter(ids.values()))[0]
        counts = {ids[name][1]: count for name, count in melt.grains.items()}
        batch = planning.plan(session, _plan_in(session, on, formula_id, counts, data))
        kept_plans.take_up(session, season, batch, found.row)
        made.append(batch)
    return made


def _plan_in(session: Session, on: date, formula_id: int, counts: dict[int, int], data: FormIn) -> PlanIn:
    shop = workshop.get(session)

    def quantity(si: float, kind: str) -> Quantity:
        return Quantity(si, exact(si, kind, shop.units))

    plan = PlanIn(
        formula_id=formula_id,
        planned_for=on,
        items=[ItemIn(pattern_id=pattern_id, count=count) for pattern_id, count in counts.items()],
        expected_density=quantity(shop.expected_density_share, "share"),
        over_pour=quantity(shop.over_pour_share, "share"),
        test_pieces=quantity(shop.test_pieces_kg, "mass"),
    ).as_sure_as(data)
    room = shop.remelt_limit_share * needs.work_out(session, plan).target_kg
    plan.remelts = [
        RemeltIn(leftover_id=leftover.pk, mass=quantity(mass, "mass"))
        for leftover, mass in _leftovers(session, formula_id, room)
    ]
    return plan


def _leftovers(session: Session, formula_id: int, room_kg: float) -> list[tuple[Leftover, float]]:
    """What is left of earlier melts of a formula, the oldest first, as far as the workshop's rule lets it in."""
    step = workshop.get(session).scale_resolution_kg
    _, asked = needs.stock(session).promised()
    found = []
    for leftover, left in batches.leftovers(session):
        batch = repository.get(session, Batch, leftover.batch_id, "batch")
        free = min(left - asked.get(leftover.pk, 0.0), room_kg)
        mass = floor(free / step + 1e-9) * step
        if batch.formula_id == formula_id and mass >= step:
            found.append((leftover, mass))
            room_kg -= mass
    return found
