"""Pictures of a season: chosen motors to scale with what is on the shelf, wishes on one axis, flights as grains."""

from markupsafe import Markup
from sqlmodel import Session

from app import clock
from app.drawings.motor_cut import CutGrain, CutNozzle, MotorCut
from app.drawings.season_line import season_line
from app.drawings.small_motor import small_motor
from app.drawings.wall_plan import WALL_FORMS, MarkKind, WallCure, WallDay, WallMark, height, wall_plan
from app.models import Season
from app.services.season import calendar_days
from app.services.season.calendar_days import Entry, Wall, What
from app.services.season.casting import Casting
from app.services.season.overview import Line, Motor, Overview

ON_WALL: dict[What, MarkKind] = {"evening": "melt", "test": "test", "flight": "flight", "delivery": "delivery"}
"""What is drawn on the wall's picture; that grains are cured is the end of their bar."""

PAPER_MM = {False: (281.0, 165.0), True: (404.0, 250.0)}
"""Width and height that the picture has on A4 and on A3 lying [mm], below the season's name."""

LEAST_MM = 1.4
"""The least letters of the printed wall [mm]."""

WEEK_EM = {False: 3.6, True: 1.75}
"""Least height of a week where twelve are shown, and the whole season [em]."""

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


def wall(shown: Wall, listed: list[Entry], whole: bool, large: bool) -> tuple[Markup, int]:
    """The wall's weeks as a picture, and how large its letters are printed so that it fills the sheet [0.1 mm]."""
    weeks = [
        [
            WallDay(
                day.on,
                tuple(WallMark(ON_WALL[one.what], one.words, one.done) for one in day.entries if one.what in ON_WALL),
                day.inside,
                day.today,
                day.free and not day.off,
                day.off,
                day.off_begins,
            )
            for day in week
        ]
        for week in shown.weeks
    ]
    cures = sorted({(one.on, one.until) for one in listed if one.until and one.until >= shown.first})
    bars = [WallCure(first, last) for first, last in cures if first <= shown.last]
    least = WEEK_EM[whole]
    title = f"Weeks from {clock.day(shown.first)} to {clock.day(shown.last)}"
    wide, high = PAPER_MM[large]
    letters = max(min(high / height(weeks, bars, least), wide / WALL_FORMS["poster"]), LEAST_MM)
    return wall_plan(weeks, bars, title, least), int(10 * letters) // 2 * 2
