"""Pictures of a season: chosen motors to scale with what is on the shelf, wishes on one axis, flights as grains."""

from markupsafe import Markup
from sqlmodel import Session

from app import clock
from app.drawings.motor_cut import CutGrain, CutNozzle, MotorCut
from app.drawings.season_line import season_line
from app.drawings.small_motor import small_motor
from app.models import Season
from app.services.season import calendar_days
from app.services.season.casting import Casting
from app.services.season.overview import Line, Motor, Overview

WIDE = 12.0
"""The longest motor of a list is drawn so long [em]."""


def line(session: Session, season: Season, cast: Casting | None, seen: Overview) -> Markup | None:
    """The season's weeks: melts with their cures, tests, field days; nothing where there is none."""
    listed = calendar_days.entries(session, season, cast, seen)
    return season_line(calendar_days.happenings(listed), clock.today()) if listed else None


def motors(lines: list[Line], gap_m: float) -> dict[int, Markup]:
    """The chosen motors of wishes, by the wish's identity, all at one scale: filled where its grains are there."""
    chosen = [line.motor for line in lines if line.motor is not None]
    longest = max((motor.case.chamber_length_m for motor in chosen), default=1.0)
    scale = min(36.0, WIDE / longest)
    return {line.wish.pk: motor(line.motor, gap_m, scale, line.ready > 0) for line in lines if line.motor is not None}


def motor(one: Motor, gap_m: float, scale: float, ready: bool) -> Markup:
    """A chosen motor cut along its axis."""
    grains = tuple(
        CutGrain(pattern.outer_d_m, pattern.core_d_m, pattern.length_m, state="ready" if ready else "to cast")
        for pattern, count in one.inside
        for _ in range(count)
    )
    throat = CutNozzle(
        one.choice.throat_d_m, max(one.nozzle.exit_d_m, one.choice.throat_d_m), one.nozzle.divergence_rad
    )
    cut = MotorCut(one.case.inner_d_m, one.case.outer_d_m, one.case.chamber_length_m, grains, throat, gap_m=gap_m)
    said = "its grains are on the shelf" if ready else "its grains are still to be cast"
    return small_motor(cut, f"{one.case.name} with {one.nozzle.name}", f"{one.grains_words}; {said}.", scale)
