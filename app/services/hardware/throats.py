"""A nozzle's throat between its measures: what a firing takes off it, and how well it is known today."""

from dataclasses import dataclass
from datetime import date, datetime

from sqlmodel import Session

from app import clock
from app.calc.motor.spread import Spread, throat_spread
from app.models import MotorBuild, Nozzle
from app.services.hardware import inventory


@dataclass(frozen=True)
class Growth:
    """By how much a throat grew per firing [m], and how many firings between measures tell so."""

    per_firing: float = 0.0
    firings: int = 0


@dataclass(frozen=True)
class Known:
    """How well a throat is known: days and firings since its measure, and one standard deviation of it [m]."""

    days: int = 0
    firings: int = 0
    spread: float = Spread().throat_d


def growth(session: Session, nozzle: Nozzle | None) -> Growth:
    """By how much a nozzle's throat grew per firing, from its history; nothing where that tells of no growth.

    Only what changed from one measure to the next with firings between them counts: a throat measured anew before
    its first firing, or bored out, did not grow.
    """
    if nozzle is None:
        return Growth()
    story: list[tuple[date, datetime, int, float]] = [  # of one day: in the order written down, the firing first
        *((m.measured_on, m.created_at, 1, m.throat_d_m) for m in inventory.measures(session, nozzle)),
        *(
            (clock.local(firing.fired_at).date(), firing.created_at, 0, 0.0)
            for firing, _ in inventory.firings_of(session, nozzle)
            if firing.result != "no_light"
        ),
    ]
    throat, uses, grown, counted = nozzle.throat_d_m, 0, 0.0, 0
    for _, _, is_measure, found in sorted(story):
        if not is_measure:
            uses += 1
            continue
        if uses:
            grown, counted = grown + found - throat, counted + uses
        throat, uses = found, 0
    return Growth(max(grown, 0.0) / counted, counted) if counted else Growth()


def as_last_measured(session: Session, nozzle: Nozzle) -> Known:
    """How well a throat is known by its last measure, or as made."""
    measured = inventory.measures(session, nozzle)
    if not measured:
        return _known(session, nozzle, clock.local(nozzle.created_at).date(), nozzle.created_at)
    return _known(session, nozzle, measured[0].measured_on, measured[0].created_at)


def as_built(session: Session, build: MotorBuild, nozzle: Nozzle) -> Known:
    """How well a motor's throat is known, measured on the day it was built; its own firing does not count."""
    return _known(session, nozzle, build.built_on, build.created_at, but=build)


def _known(session: Session, nozzle: Nozzle, day: date, written: datetime, but: MotorBuild | None = None) -> Known:
    """Of one day, what was written down later came later; as in `growth`."""
    since = [
        firing
        for firing, build in inventory.firings_of(session, nozzle)
        if firing.result != "no_light"
        and (but is None or build.pk != but.pk)
        and (clock.local(firing.fired_at).date(), firing.created_at) > (day, written)
    ]
    days, told = max((clock.today() - day).days, 0), growth(session, nozzle)
    return Known(days, len(since), throat_spread(days, len(since), told.per_firing, told.firings))
