"""What must hold before grains, case and nozzle are put together; each refusal beside its field."""

from collections.abc import Callable

from sqlmodel import Session, col

from app import clock
from app.errors import Refused
from app.models import Grain, Nozzle
from app.models.hardware import NozzleMeasureIn
from app.models.motor import BuildIn
from app.services.book import workshop
from app.services.grains import grains
from app.services.grains.grains import GrainView
from app.services.hardware import inventory
from app.units import show

SAME_THROAT = 1e-6
"""A throat typed within this of the last measure is the same measure, and is not written down again [m]."""


OTHER_THROAT = 1.25
"""A throat further than this from the last measure, either way, is a slip or another nozzle [-]."""


def chosen_grains(session: Session, data: BuildIn) -> list[GrainView]:
    """The grains in the order picked, each of them free, accepted and cured."""
    if len(set(data.grain_ids)) != len(data.grain_ids):
        raise Refused("A grain is picked twice; pick each grain once.", field="grain_ids")
    found = {v.grain.pk: v for v in grains.views(session, col(Grain.id).in_(data.grain_ids))}
    if len(found) != len(data.grain_ids):
        raise Refused("One of the grains picked is not in this book; open the page again.", field="grain_ids")
    chosen = [found[i] for i in data.grain_ids]
    faults = [words for view in chosen if (words := _why_not(view))]
    if faults:
        raise Refused(" ".join(faults), field="grain_ids")
    return chosen


def _why_not(view: GrainView) -> str:
    cured = clock.day_and_time(view.cured_at)
    words: dict[str, Callable[[], str]] = {
        "ready": lambda: "",
        "weighed": lambda: "is not decided on yet; accept, hold or reject it on its lot's page.",
        "wet": lambda: "is wet; dry it and re-weigh it first, or accept it with a reason on its own page.",
        "held": lambda: f"is held ({view.grain.decision_words}); decide on it again first.",
        "rejected": lambda: f"was rejected ({view.grain.decision_words}); it does not go into a motor.",
        "accepted": lambda: f"is not cured; it will be ready on {cured}.",
        "curing": lambda: f"is not cured; it will be ready on {cured}.",
        "in motor": lambda: f"is in motor {view.motor}; take that motor apart first.",
        "fired": lambda: f"was burned in {view.motor}.",
        "gone": lambda: f"was rejected and went to {view.grain.gone_to}.",
    }
    said = words[view.state]()
    return f"{view.grain.serial} {said}" if said else ""


def on_that_day(data: BuildIn, chosen: list[GrainView]) -> None:
    """A motor is built on a day that came, and of grains that were cured by then."""
    if data.built_on > clock.today():
        raise Refused("This day is still to come; a motor is written down when it is built.", field="built_on")
    last = max(chosen, key=lambda v: v.cured_at)
    if clock.local(last.cured_at).date() > data.built_on:
        raise Refused(
            f"{last.grain.serial} was not cured before {clock.day(last.cured_at)}; correct the day.", field="built_on"
        )


def one_formula(chosen: list[GrainView]) -> None:
    """All grains of a motor are of one formula."""
    made = {v.formula.label: v.grain.serial for v in chosen}
    if len(made) > 1:
        listing = ", ".join(f"{label} ({serial})" for label, serial in made.items())
        raise Refused(
            f"The grains are of several formulas: {listing}. They burn at different rates and the chamber's state is "
            "not known for the mix, so no prediction could be made; take grains of one formula.",
            field="grain_ids",
        )


def nozzle_measured(session: Session, nozzle: Nozzle, data: BuildIn) -> None:
    """What is typed today goes into the nozzle's history when it differs from the last measure."""
    last = inventory.throat_now(session, nozzle)
    if not 1 / OTHER_THROAT < data.throat_d.si / last < OTHER_THROAT:
        raise Refused(
            f"The throat was {show(last, 'length', workshop.get(session).units)} at its last measure; "
            f"{data.throat_d.typed} is far from that. Measure it again. Was it bored out: write its throat into the "
            "nozzle's history first.",
            field="throat_d",
        )
    if abs(data.throat_d.si - last) > SAME_THROAT:
        typed = NozzleMeasureIn(measured_on=data.built_on, throat_d=data.throat_d, note="Measured for a build.")
        inventory.measure_nozzle(session, nozzle, typed)
