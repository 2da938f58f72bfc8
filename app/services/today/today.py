"""The day at a glance: what runs, what is due, what is planned, what is short, and where a new book begins."""

from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, select

from app import clock
from app.models import Batch, CastSession, Incident, ScaleCheck, ThermometerCheck
from app.models.history import Change
from app.services.cast import casting, incidents, needs
from app.services.grains import shelf
from app.services.grains.shelf import Standing
from app.services.hardware import instrument_checks, inventory, places
from app.services.motors import buildable, builds
from app.services.motors.buildable import Buildables
from app.services.motors.builds import Built
from app.services.stock import batches, formulas, supplies
from app.services.today import first_start, lacking, of_season
from app.services.today.lacking import Lack
from app.services.today.of_season import SeasonNow


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
    standing: list[Standing]
    """Every grain on the shelf."""
    can_build: Buildables
    plans: list[Plan]
    short: list[needs.Need]
    undecided: list[Standing]
    unbagged: list[Standing]
    curing: list[Curing]
    wet: list[Standing]
    ready: int
    motors: list[Built]
    incidents: list[Incident]
    """Those that wait to be written out."""
    instruments_off: list[str]
    """What is said of scales and thermometers whose newest check was outside its tolerance."""
    lack: Lack | None
    """What a plan, a cast, a motor or a firing lacks next."""
    first_steps: list[FirstStep]
    has_cast: bool
    season: SeasonNow | None
    """How it stands with the season; an open evening comes before it."""


def day(session: Session) -> Day:
    """The day as the book stands now."""
    standing, stock, running = shelf.standing(session), needs.stock(session), casting.due(session)
    return Day(
        running=running,
        standing=standing,
        can_build=buildable.now(session, standing),
        plans=[
            Plan(
                batch,
                batch.planned_for < clock.today(),
                [n for n in needs.of_batch(session, batch, stock) if n.short_kg],
            )
            for batch in stock.plans
            if batch.state == "planned"
        ],
        short=stock.short,
        undecided=[grain for grain in standing if grain.state == "weighed"],
        unbagged=[grain for grain in standing if grain.state in ("accepted", "ready") and not grain.bagged],
        curing=_curing(standing),
        wet=[grain for grain in standing if grain.state == "wet"],
        ready=sum(grain.state == "ready" for grain in standing),
        motors=builds.ready(session),
        incidents=incidents.not_written(session),
        instruments_off=instrument_checks.doubts(session, ScaleCheck)
        + instrument_checks.doubts(session, ThermometerCheck),
        lack=lacking.following(session, stock),
        first_steps=first_steps(session),
        has_cast=session.exec(select(CastSession.id).limit(1)).first() is not None,
        season=None if running else of_season.now(session),
    )


def _curing(standing: list[Standing]) -> list[Curing]:
    lots: dict[str, list[datetime]] = {}
    for grain in standing:
        if grain.state == "curing":
            lots.setdefault(grain.lot, []).append(grain.cured_at)
    found = [Curing(code, len(cured), max(cured)) for code, cured in lots.items()]
    return sorted(found, key=lambda lot: lot.ready_at)


def first_steps(session: Session) -> list[FirstStep]:
    """What to enter first, in order; empty once a batch was planned."""
    if batches.any_planned(session):
        return []
    settings = select(Change.id).where(Change.table_name == "workshop", Change.what == "changed").limit(1)
    settled = session.exec(settings).first() is not None
    return [
        FirstStep("Answer six questions about your workshop", "/start", first_start.answered(session)),
        FirstStep("Say in which units you measure, and what your scale reads to", "/workshop/settings", settled),
        FirstStep("Enter a formula", "/workshop/formulas", bool(formulas.current(session))),
        FirstStep("Enter a grain pattern", "/workshop/patterns", bool(inventory.patterns(session))),
        FirstStep("Enter the bags you bought", "/workshop/supplies", bool(supplies.stock(session))),
        FirstStep("Enter your case", "/workshop/cases", bool(inventory.cases(session))),
        FirstStep("Enter its nozzle", "/workshop/nozzles", bool(inventory.nozzles(session))),
        FirstStep("Enter your rocket, to see how high it goes", "/workshop/rockets", bool(places.rockets(session))),
        FirstStep("Enter the field it flies from", "/workshop/fields", bool(places.fields(session))),
        FirstStep("Look through the checklist that comes before each cast", "/workshop/checklist", False),
        FirstStep("Plan a small first batch", "/plan/new", False),
    ]
