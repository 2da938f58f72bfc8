"""The day at a glance: what runs, what is due, what is planned, what is short, and where a new book begins."""

from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from app import clock
from app.models import Batch
from app.services import batches, casting, formulas, grains, hardware, motors, needs, supplies
from app.services.grains import GrainView
from app.services.motors import Built


@dataclass(frozen=True)
class FirstStep:
    """Something a new book needs before a batch can be planned."""

    words: str
    href: str
    done: bool


@dataclass(frozen=True)
class Plan:
    """A batch that waits to be cast."""

    batch: Batch
    overdue: bool
    short: list[needs.Need]


@dataclass(frozen=True)
class Curing:
    """Grains of one lot that cure together."""

    code: str
    count: int
    ready_at: datetime


@dataclass(frozen=True)
class Day:
    """Everything the day's page shows."""

    running: list[casting.Running]
    plans: list[Plan]
    short: list[needs.Need]
    undecided: list[GrainView]
    unbagged: list[GrainView]
    curing: list[Curing]
    ready: list[GrainView]
    motors: list[Built]
    first_steps: list[FirstStep]

    @property
    def quiet(self) -> bool:
        """Nothing runs, nothing is due and nothing is planned."""
        waiting = (self.running, self.plans, self.undecided, self.unbagged, self.curing, self.ready, self.motors)
        return not any(waiting)


def look(session: Session) -> Day:
    """The day as the book stands now."""
    shelf = grains.on_shelf(session)
    return Day(
        running=casting.due(session),
        plans=[
            Plan(batch, batch.planned_for < clock.today(), [n for n in needs.of_batch(session, batch) if n.short_kg])
            for batch in batches.in_states(session, "planned")
        ],
        short=needs.short_for_plans(session),
        undecided=[view for view in shelf if view.state == "weighed"],
        unbagged=[view for view in shelf if view.state in ("accepted", "ready") and view.grain.bagged_at is None],
        curing=_curing(shelf),
        ready=[view for view in shelf if view.state == "ready"],
        motors=motors.ready(session),
        first_steps=first_steps(session),
    )


def _curing(shelf: list[GrainView]) -> list[Curing]:
    lots: dict[str, list[GrainView]] = {}
    for view in shelf:
        if view.state == "curing":
            lots.setdefault(view.batch.code, []).append(view)
    found = [Curing(code, len(views), max(v.cured_at for v in views)) for code, views in lots.items()]
    return sorted(found, key=lambda lot: lot.ready_at)


def first_steps(session: Session) -> list[FirstStep]:
    """What to enter first, in order; empty once a batch was planned."""
    if batches.any_planned(session):
        return []
    return [
        FirstStep("Enter the bags you bought", "/workshop/supplies", bool(supplies.stock(session))),
        FirstStep("Enter a formula", "/workshop/formulas", bool(formulas.current(session))),
        FirstStep("Enter a grain pattern", "/workshop/patterns", bool(hardware.patterns(session))),
        FirstStep("Enter your case and nozzle", "/workshop/cases", bool(hardware.cases(session))),
        FirstStep("Look through the workshop's rules and the checklist", "/workshop/settings", False),
        FirstStep("Plan a small first batch", "/plan/new", False),
    ]
