"""The picture of the day: of an evening its time line and the tube at hand, of a quiet day the weeks and the shelf."""

from dataclasses import dataclass

from markupsafe import Markup
from sqlmodel import Session

from app import clock
from app.drawings.season_line import season_line
from app.routers.bench import bench_page
from app.routers.bench import pictures as bench_pictures
from app.routers.cast import evening_pictures
from app.routers.grains import shelf_picture
from app.services.cast import evening_line
from app.services.today import weeks
from app.services.today.today import Day

LOTS = 8
"""So many lots of the shelf are drawn beside the weeks, the newest."""


@dataclass(frozen=True)
class Pictures:
    """What is drawn below the next thing, and beside it: the line is as wide as the page."""

    line: Markup | None
    line_title: str
    beside: Markup | None
    beside_title: str


def of_day(session: Session, day: Day) -> Pictures:
    """The evening that is open, else the weeks about today and the shelf."""
    if day.running:
        cast = day.running[0].cast
        screen = bench_page.screen_of(session, bench_page.runs_of(session, cast.pk, day.running))
        line = evening_pictures.time_line(cast, evening_line.of_evening(session, cast))
        return Pictures(line, "This evening", bench_pictures.of_tube(session, screen), "The tube at hand")
    around = weeks.around(session)
    drawn = season_line(around, clock.today(), "The weeks about today") if around else None
    return Pictures(drawn, "The weeks about today", shelf_picture.boxes(day.standing, LOTS, "also there"), "The shelf")
