"""How large a melt may be: what the pan holds safely, what was cast before, and a plan split into melts that fit.

A larger melt holds its heat longer and burns with more of it at once, so that the pan's capacity is asked for before
the first plan, nothing above it is accepted whole, and a melt well above any before is asked about with the numbers.
"""

from sqlmodel import Session, col, func, select

from app.errors import Asked, Refused
from app.models import Batch, BatchPart, CastStep, Melt, WeighOut, Workshop
from app.models.batch import ItemIn, PlanIn, RemeltIn
from app.services.book import workshop
from app.services.cast import needs
from app.units import Quantity, exact, show

WELL_ABOVE = 1.5
"""A melt so many times the largest one before is asked about [-]; Grainbook's own choice."""

FIRST_KG = 1.0
"""Where nothing was cast before, a melt above this is asked about [kg]; Grainbook's own choice."""

_EPSILON_KG = 1e-9


def largest_cast(session: Session) -> float:
    """Mass weighed into the largest melt that was poured [kg]; 0 when none was."""
    poured = (
        select(Melt.batch_id)
        .join(CastStep, col(CastStep.melt_id) == Melt.id)
        .where(CastStep.key == "pour", col(CastStep.done_at).is_not(None))
    )
    melts = (
        select(func.sum(WeighOut.mass_kg))
        .join(BatchPart, col(WeighOut.batch_part_id) == BatchPart.id)
        .where(col(WeighOut.voided_at).is_(None), col(BatchPart.batch_id).in_(poured))
        .group_by(col(BatchPart.batch_id))
    )
    return max(session.exec(melts), default=0.0)


def known(session: Session) -> float:
    """The largest melt this workshop has experience with, in this book or by its own word before it [kg]; 0: none."""
    return max(largest_cast(session), workshop.get(session).known_melt_kg or 0.0)


def split(session: Session, data: PlanIn, melts: int, batch: Batch | None = None) -> list[PlanIn]:
    """A plan as so many plans of about equal grains, whole ones; test pieces in each, leftovers shared out."""
    if melts == 1:
        return [data]
    shop, offset = workshop.get(session), 0
    counts: list[list[int]] = []
    for item in data.items:
        each, over = divmod(item.count, melts)
        counts.append([each + ((n - offset) % melts < over) for n in range(melts)])
        offset += over
    step = shop.scale_resolution_kg
    leftovers = []
    for leftover, mass in needs.remelts(session, data, batch):
        part = int(mass / melts / step) * step
        leftovers.append(RemeltIn(leftover_id=leftover.pk, mass=Quantity(part, exact(part, "mass", shop.units))))
    return [
        data.model_copy(
            update={
                "items": [
                    ItemIn(pattern_id=item.pattern_id, count=of[n])
                    for item, of in zip(data.items, counts, strict=True)
                    if of[n]
                ],
                "remelts": leftovers,
            }
        )
        for n in range(melts)
    ]


def fitting(session: Session, data: PlanIn, batch: Batch | None = None) -> list[PlanIn]:
    """The plans, one for each melt, that a plan form stands for, once each of them fits the pan.

    Raises
    ------
    Asked
        A melt is more than the pan holds, or well above any before.
    Refused
        The pan's capacity is not stated, one grain alone is too much for it, or there are more melts than grains.
    CalcError
        As `needs.work_out`.
    """
    shop = workshop.get(session)
    capacity = shop.pan_capacity_kg or (data.pan_capacity.si if data.pan_capacity else None)
    grains, melts = sum(item.count for item in data.items), data.melts or 1
    if melts > grains:
        raise Refused(f"{grains} grains cannot go into {melts} melts; each takes one at least.", field="melts")
    largest = _largest(session, data, melts, batch)
    if capacity is None:
        raise Refused(
            f"This would be a melt of {_words(largest, shop)}. How much does your pan hold safely, with room to stir "
            "and for a melt that foams? Type it once; it is kept in the settings.",
            field="pan_capacity",
        )
    _within(session, data, largest, batch, capacity)
    _usual(session, data, largest, shop)
    return split(session, data, melts, batch)


def proposal(session: Session, data: PlanIn, batch: Batch | None = None) -> str:
    """What would be asked of a plan, said beside it while nothing is saved; empty when nothing would be."""
    try:
        fitting(session, data, batch)
    except Refused as refused:
        return str(refused.message)
    return ""


def keep_capacity(session: Session, data: PlanIn) -> None:
    """Keep the pan's capacity that a plan's form asked for, where the settings have none."""
    shop = workshop.get(session)
    if data.pan_capacity is not None and shop.pan_capacity_kg is None:
        workshop.state_pan(session, data.pan_capacity)


def still_fits(session: Session, batch: Batch) -> None:
    """Refuse to open a melt that was planned before the pan's capacity was stated, and is above it.

    Raises
    ------
    Refused
        The melt is more than the pan holds.
    """
    shop = workshop.get(session)
    if shop.pan_capacity_kg is not None and batch.target_mass_kg > shop.pan_capacity_kg + _EPSILON_KG:
        raise Refused(
            f"A melt of {_words(batch.target_mass_kg, shop)} is more than the {_words(shop.pan_capacity_kg, shop)} "
            "that your pan holds safely. Change the plan: it is split into melts there."
        )


def _largest(session: Session, data: PlanIn, melts: int, batch: Batch | None) -> float:
    """The mass of the largest melt [kg]."""
    seen: dict[tuple[tuple[int, int], ...], float] = {}
    for plan in split(session, data, melts, batch):
        of = tuple((item.pattern_id, item.count) for item in plan.items)
        if of not in seen:
            seen[of] = needs.work_out(session, plan, batch).target_kg
    return max(seen.values())


def _within(session: Session, data: PlanIn, largest: float, batch: Batch | None, capacity: float) -> None:
    if largest <= capacity + _EPSILON_KG:
        return
    shop, grains = workshop.get(session), sum(item.count for item in data.items)
    for melts in range((data.melts or 1) + 1, grains + 1):
        each = _largest(session, data, melts, batch)
        if each <= capacity + _EPSILON_KG:
            most = -(-grains // melts)
            raise Asked(
                f"A melt of {_words(largest, shop)} is more than the {_words(capacity, shop)} that your pan holds "
                f"safely. It takes {melts} melts, each of at most {most} {'grain' if most == 1 else 'grains'} and "
                f"{_words(each, shop)}.",
                "melts",
                [(str(melts), f"{melts} melts")],
                keep=None,
                about="capacity",
            )
    raise Refused(
        f"Your pan holds {_words(capacity, shop)} safely, and one of these grains alone takes a larger melt "
        f"({_words(_largest(session, data, grains, batch), shop)} with its over-pour and test pieces).",
        field="items",
    )


def _usual(session: Session, data: PlanIn, largest: float, shop: Workshop) -> None:
    before = known(session)
    about = f"melt_{round(largest * 1000)}"
    if largest <= (WELL_ABOVE * before if before else FIRST_KG) or data.sure_of("", about):
        return
    if before:
        how = f"{largest / before:.1f} times the largest melt before, {_words(before, shop)}"
    else:
        how = "and nothing was cast in this book before"
    raise Asked(
        f"This is a melt of {_words(largest, shop)}, {how}. More of it holds its heat longer, is slower to come back "
        "from too hot, and burns with more at once. Plan less, say below in how many melts, or say that you mean it. "
        "What you made before this book is told in the settings.",
        None,
        keep=f"Yes, one melt of {_words(largest, shop)}",
        about=about,
    )


def _words(mass_kg: float, shop: Workshop) -> str:
    return show(mass_kg, "mass", shop.units)
