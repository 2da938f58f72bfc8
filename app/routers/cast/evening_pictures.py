"""The pictures of an evening on the bench view and on the desk page: its time line, and its pans' temperature."""

from dataclasses import replace

from markupsafe import Markup
from sqlmodel import Session

from app import clock
from app.drawings.evening_line import Row, evening_line
from app.drawings.pan_strip import Event, Level, Pan, Reading, pan_strip
from app.models import CastSession, CastStep
from app.services.book import workshop
from app.services.cast import at_bench, casting, pan
from app.units import UnitSystem, show

PLOT_EM = 4.6
"""Height of the pan's curve in letters."""


def time_line(cast: CastSession, rows: list[Row]) -> Markup | None:
    """Everything that was done, is due and comes this evening; nothing where it was closed with nothing done."""
    if cast.closed_at is None:
        return evening_line(rows, clock.now())
    return evening_line(rows, None) if any(row.acts for row in rows) else None


def pan_curve(
    session: Session, cast: CastSession, rows: list[Row], step: CastStep | None, units: UnitSystem
) -> Pan | None:
    """The temperatures of the evening's pans with what was done and noted on the curve; nothing before the first.

    The band is that of the step in front, else the workshop's. The curve of a closed evening ends with what was read or
    done last.
    """
    read = pan.of_evening(session, cast)
    if not read:
        return None
    shop = workshop.get(session)

    def level(k: float) -> Level:
        return Level(k, show(k, "temperature", units))

    low = step.pan_low_k if step and step.pan_low_k is not None else shop.pan_low_k
    high = step.pan_high_k if step and step.pan_high_k is not None else shop.pan_limit_k
    done = [act for row in rows for act in row.acts if row.pan and act.state == "done" and act.kind != "weigh"]
    events = [Event(act.kind, act.at) for act in done]
    events += [Event("note", note.written_at) for note in casting.notes(session, cast)]
    found = Pan(
        [Reading(r.temperature_k, show(r.temperature_k, "temperature", units), r.read_at) for r in read],
        level(shop.pan_limit_k),
        clock.now(),
        level(low),
        level(high),
        events,
        at_bench.READ_AGAIN,
        plot_em=PLOT_EM,
    )
    if cast.closed_at is None:
        return found
    return replace(found, over=True, now=max([r.read_at for r in read] + [act.at for act in done]))


def whole_strip(found: Pan | None) -> Markup | None:
    """The curve of the whole evening; the bench view draws its last hours."""
    return pan_strip(replace(found, window=None)) if found is not None else None
