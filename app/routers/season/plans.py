"""Pages of a season's casting: the plan, its evenings made into batches, the calendar for the wall and for a phone."""

from datetime import date

from fastapi import Query, Request
from fastapi.responses import Response
from markupsafe import Markup
from sqlmodel import Session

from app import clock
from app.calc.base.errors import CalcError
from app.errors import NotFound, Refused
from app.forms import Form
from app.models import Season
from app.models.season_plan import PlanEveningIn, WorkOutIn
from app.page import Page
from app.routers.season import pictures
from app.routing import late_router
from app.services.book import workshop
from app.services.season import (
    calendar_days,
    calendar_file,
    casting,
    casting_inputs,
    opening,
    overview,
    seasons,
    shelf_sets,
)
from app.services.season.calendar_days import Wall
from app.services.season.casting import Casting, Evening
from app.services.season.overview import Line
from app.services.season.shelf_sets import MotorSet
from app.web import Book, Forms, Typed, render, submit

router = late_router("/season")


class CastingPage(Page, template="season/plan.html", section="plan"):
    """A season's casting: the evenings, how sure they are, and what stands in the way."""

    season: Season
    found: Casting | None
    lacking: str
    """Why no plan can be worked out; empty where one can."""
    next_evening: Evening | None
    """The next evening whose batches are not planned."""
    line: Markup | None
    work_out: Form
    open_evening: dict[date, Form]
    pan_kg: float | None
    sets: list[tuple[Line, list[MotorSet]]]


class WallPage(Page, template="season/wall.html", section="plan"):
    """A season's calendar, for the wall."""

    season: Season
    wall: Wall
    picture: Markup
    letters: int
    """How large its letters are printed [0.1 mm]."""
    whole: bool
    large: bool


@router.get("/{season_id}/plan")
def show_plan(request: Request, session: Book, season_id: int) -> Response:
    """The plan that counts."""
    return page_of(request, session, season_id)


@router.post("/{season_id}/plan")
def work_out(request: Request, session: Book, season_id: int, typed: Typed) -> Response:
    """Work the plan out, anew where there is one; it is searched before anything is written."""
    worked: list[casting.Worked] = []
    if workshop.get(session).pan_capacity_kg is not None:
        try:
            worked.append(casting.work_out(session, seasons.get(session, season_id)))
        except (Refused, CalcError):
            worked.clear()  # said by the act below, in the form

    def act(writing: Session, data: WorkOutIn) -> str:
        season = seasons.get(writing, season_id)
        if data.pan_capacity is not None and workshop.get(writing).pan_capacity_kg is None:
            workshop.state_pan(writing, data.pan_capacity)
        casting.keep(writing, season, worked[0] if worked else casting.work_out(writing, season))
        return _address(season_id)

    return submit(
        request,
        typed,
        WorkOutIn,
        act=act,
        page=lambda s, form: page_of(request, s, season_id, form),
        form_id="work-out",
        notice="The plan is worked out.",
    )


@router.post("/{season_id}/plan/{day}")
def open_evening(request: Request, season_id: int, day: str, typed: Typed) -> Response:
    """Plan the batches of one evening."""
    on = _day(day)

    def act(session: Session, data: PlanEveningIn) -> str:
        made = opening.evening(session, seasons.get(session, season_id), on, data)
        return f"/plan/{made[0].code}"

    return submit(
        request,
        typed,
        PlanEveningIn,
        act=act,
        page=lambda s, form: page_of(request, s, season_id, form),
        form_id=_form_id(on),
        notice=f"The melts of {clock.day(on)} are planned.",
    )


@router.get("/{season_id}/calendar")
def show_wall(
    request: Request, session: Book, season_id: int, whole: bool = False, large: bool = Query(False)
) -> Response:
    """The calendar: twelve weeks or the whole season, on A4 or A3."""
    season = seasons.get(session, season_id)
    listed = calendar_days.entries(session, season, casting.current(session, season), overview.of(session, season))
    wall = calendar_days.wall(session, season, listed, whole)
    picture, letters = pictures.wall(wall, listed, whole, large)
    page = WallPage(season=season, wall=wall, picture=picture, letters=letters, whole=whole, large=large)
    return render(request, session, page)


@router.get("/{season_id}/calendar.ics")
def send_calendar(session: Book, season_id: int) -> Response:
    """The calendar as a file."""
    season = seasons.get(session, season_id)
    headers = {"Content-Disposition": f'attachment; filename="grainbook-season-{season_id}.ics"'}
    return Response(calendar_file.make(session, season), media_type="text/calendar; charset=utf-8", headers=headers)


def _address(season_id: int) -> str:
    return f"/season/{season_id}/plan"


def _form_id(on: date) -> str:
    return f"evening-{on.isoformat()}"


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise NotFound("There is no such day.") from None


def page_of(request: Request, session: Session, season_id: int, failed: Form | None = None) -> Response:
    """The plan's page, with the form as it was refused, if one was."""
    season, forms = seasons.get(session, season_id), Forms(request, session, failed)
    seen, found = overview.of(session, season), casting.current(session, season)
    lacking = ""
    try:
        casting_inputs.of(session, season, seen)
    except Refused as refused:
        lacking = "" if refused.field == "pan_capacity" else str(refused.message)
    open_now = [evening for evening in found.evenings if evening.open] if found else []
    page = CastingPage(
        season=season,
        found=found,
        lacking=lacking,
        next_evening=open_now[0] if open_now else None,
        line=pictures.line(session, season, found, seen),
        work_out=forms.get("work-out", WorkOutIn, _address(season_id)),
        open_evening={
            one.on: forms.get(_form_id(one.on), PlanEveningIn, f"{_address(season_id)}/{one.on.isoformat()}")
            for one in open_now
        },
        pan_kg=workshop.get(session).pan_capacity_kg,
        sets=shelf_sets.of(session, seen),
    )
    return render(request, session, page)
