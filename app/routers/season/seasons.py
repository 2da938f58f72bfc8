"""Pages of a season as a whole: how it stands, its days and its evenings."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from fastapi import Request
from fastapi.responses import Response
from markupsafe import Markup
from sqlmodel import Session

from app import clock
from app.forms import Choice, Form
from app.models import Season, SeasonDay
from app.models.base import FormIn
from app.models.season import MATTERS, SeasonDayIn, SeasonIn, WishIn
from app.page import Page
from app.routers.season import pictures
from app.routing import late_router
from app.services.book import workshop
from app.services.hardware import places
from app.services.season import casting, costs, evenings, next_step, overview, seasons, seasons_seen, shopping, wishes
from app.services.season.casting import Casting
from app.services.season.costs import Costs
from app.services.season.evenings import Evening
from app.services.season.next_step import Step
from app.services.season.overview import Overview
from app.services.season.seasons_seen import Seen
from app.services.season.shopping import Shopping
from app.units import show
from app.web import Book, Forms, Typed, choose, render, submit, version_of

router = late_router("/season")

WEEKDAYS = [
    ("1", "Monday"),
    ("2", "Tuesday"),
    ("3", "Wednesday"),
    ("4", "Thursday"),
    ("5", "Friday"),
    ("6", "Saturday"),
    ("7", "Sunday"),
]
DAY_KINDS = [("off", "Days off"), ("evening", "One evening more")]


class SeasonPage(Page, template="season/season.html", section="plan", tabs=[(2, "/season", "Season")]):
    """A season as it stands: its answer, the list of wishes, and the form of the next one."""

    season: Season
    seen: Overview
    step: Step | None
    cast: Casting | None
    line: Markup | None
    motors: dict[int, Markup]
    scales: dict[str, float]
    """Where the axes of all rows end: heights [m], speeds [m/s], shares of the case."""
    evenings: list[Evening]
    wish: Form
    shopping: Shopping
    costs: Costs
    known: "Known"
    is_past: bool


@dataclass(frozen=True)
class Known:
    """Whether there is what a wish needs."""

    rockets: bool
    fields: bool
    others: bool
    """Other seasons than this one."""


class SeasonFormPage(Page, template="season/season_form.html", section="plan"):
    """The form of a season, and its days that are not as its weekdays say."""

    season: Season | None
    form: Form
    weekdays: list[Choice]
    days: list[tuple[SeasonDay, Form]]
    day: Form | None
    evenings: list[Evening]
    damp: list[str]
    """The months that the workshop calls damp, in words."""
    damp_cure_days: float | None


class SeasonsPage(Page, template="season/past.html", section="plan"):
    """Every season in one picture."""

    found: list[Seen]


@router.get("")
def show_now(request: Request, session: Book) -> Response:
    """The season that today is in, or the form of the first one."""
    season = seasons.current(session)
    if season is None:
        return _form_page(request, session, None)
    return page_of(request, session, season)


@router.get("/new")
def show_new(request: Request, session: Book) -> Response:
    """The form of a season."""
    return _form_page(request, session, None)


@router.post("/new")
def save_new(request: Request, typed: Typed) -> Response:
    """Enter a season."""

    def act(session: Session, data: SeasonIn) -> str:
        return next_step.address(seasons.save(session, data).pk)

    return submit(
        request,
        typed,
        SeasonIn,
        act=act,
        page=lambda s, form: _form_page(request, s, None, form),
        notice="The season is in the book. Write on its list what you want to fly.",
    )


@router.get("/past")
def show_all(request: Request, session: Book) -> Response:
    """Every season, wished, planned, cast and fired."""
    return render(request, session, SeasonsPage(found=seasons_seen.every(session)))


@router.get("/{season_id}")
def show_one(request: Request, session: Book, season_id: int) -> Response:
    """A season."""
    return page_of(request, session, seasons.get(session, season_id))


@router.get("/{season_id}/edit")
def show_edit(request: Request, session: Book, season_id: int) -> Response:
    """The form of a season that is in the book."""
    return _form_page(request, session, season_id)


@router.post("/{season_id}/edit")
def save_edit(request: Request, typed: Typed, season_id: int) -> Response:
    """Change a season."""

    def act(session: Session, data: SeasonIn) -> str:
        row = seasons.save(session, data, seasons.get(session, season_id), version_of(typed))
        return next_step.address(row.pk)

    return submit(
        request,
        typed,
        SeasonIn,
        act=act,
        page=lambda s, form: _form_page(request, s, season_id, form),
        notice="The season is changed.",
    )


@router.post("/{season_id}/days")
def add_day(request: Request, typed: Typed, season_id: int) -> Response:
    """Enter days off, or one evening more."""

    def act(session: Session, data: SeasonDayIn) -> str:
        seasons.add_day(session, seasons.get(session, season_id), data)
        return f"/season/{season_id}/edit#days"

    return submit(
        request,
        typed,
        SeasonDayIn,
        act=act,
        page=lambda s, form: _form_page(request, s, season_id, form),
        form_id="day",
        choices={"kind": DAY_KINDS},
        notice="It is kept.",
    )


@router.post("/{season_id}/days/{day_id}/away")
def remove_day(request: Request, typed: Typed, season_id: int, day_id: int) -> Response:
    """Take an entry about a day away."""

    def act(session: Session, _data: FormIn) -> str:
        seasons.remove_day(session, seasons.get(session, season_id), day_id)
        return f"/season/{season_id}/edit#days"

    return submit(
        request,
        typed,
        FormIn,
        act=act,
        page=lambda s, form: _form_page(request, s, season_id, form),
        form_id=f"away-{day_id}",
        notice="It is taken away.",
    )


def page_of(request: Request, session: Session, season: Season, failed: Form | None = None) -> Response:
    """The page of a season, with the form of a wish as it was refused, if it was."""
    seen = overview.of(session, season)
    cast = casting.current(session, season)
    melts = shopping.melts_of_plan(session, cast) if cast else shopping.melts_without_plan(session, seen)
    bought = shopping.of(session, season, seen, melts)
    ceilings = [line.field.ceiling_m for line in seen.flights if line.field and line.field.ceiling_m is not None]
    rockets, fields = places.rockets(session), places.fields(session)
    page = SeasonPage(
        season=season,
        seen=seen,
        step=next_step.following(seen, cast, bought),
        cast=cast,
        line=pictures.line(session, season, cast, seen),
        motors=pictures.motors(seen.lines, workshop.get(session).grain_gap_m),
        scales=_scales(seen, ceilings),
        evenings=evenings.evenings(session, season),
        shopping=bought,
        costs=costs.of(session, seen),
        wish=wish_form(Forms(request, session, failed), session, season),
        known=Known(bool(rockets), bool(fields), any(one.pk != season.pk for one in seasons.seasons(session))),
        is_past=seasons.past(season),
    )
    return render(request, session, page)


def _scales(seen: Overview, ceilings: list[float]) -> dict[str, float]:
    """Axes that hold every range, every wish and every limit."""
    heights, speeds, shares = [*ceilings, 10.0], [24.0], [1.0]
    for line in seen.lines:
        heights += [high] if (high := line.wish.height_high_m) else []
        heights += [one.altitude_m for one in line.fired if one.altitude_m is not None]
        if line.motor is not None:
            found = line.motor.expected
            heights += list(found.height_m or ())
            speeds += list(found.exit_m_s or ())
            shares += list(found.peak_share or ())
    return {"height": max(heights) * 1.06, "speed": max(speeds) * 1.06, "share": max(shares) * 1.06}


def wish_choices(session: Session) -> dict[str, list[Choice]]:
    """What the lists of a wish's form offer."""
    return {
        "rocket_id": choose(places.rockets(session)),
        "launch_field_id": choose(places.fields(session)),
        "matters": [(key, words) for key, words in MATTERS.items()],
    }


def wish_form(forms: Forms, session: Session, season: Season) -> Form:
    """The form of the next wish: it begins with the field, the day and the only rocket where they are plain."""
    choices = wish_choices(session)
    last = next(reversed([wish for wish in wishes.wishes(session, season) if wish.kind == "flight"]), None)
    initial: dict[str, Any] = {"matters": "usual"}
    if last is not None:
        initial |= {"launch_field_id": str(last.launch_field_id), "by_on": last.by_on}
    for name in ("rocket_id", "launch_field_id"):
        if len(choices[name]) == 1:
            initial[name] = choices[name][0][0]
    return forms.get("wish", WishIn, f"/season/{season.pk}/wishes/new", initial=initial, choices=choices)


def _form_page(request: Request, session: Session, season_id: int | None, failed: Form | None = None) -> Response:
    season = None if season_id is None else seasons.get(session, season_id)
    forms, shop = Forms(request, session, failed), workshop.get(session)
    url = "/season/new" if season is None else f"/season/{season.pk}/edit"
    form = forms.get("form", SeasonIn, url, row=season, initial=_initial(session, season))
    if season is not None and form is not failed and form.draft_at is None:
        form.values["weekdays"] = list(season.weekdays)
    page = SeasonFormPage(
        season=season,
        form=form,
        weekdays=WEEKDAYS,
        days=[
            (day, forms.get(f"away-{day.pk}", FormIn, f"/season/{season.pk}/days/{day.pk}/away"))
            for day in seasons.days(session, season)
        ]
        if season
        else [],
        day=None
        if season is None
        else forms.get(
            "day", SeasonDayIn, f"/season/{season.pk}/days", choices={"kind": DAY_KINDS}, initial={"kind": "off"}
        ),
        evenings=evenings.evenings(session, season) if season else [],
        damp=[f"{date(2000, month, 1):%B}" for month in sorted(evenings.damp_months(shop))],
        damp_cure_days=None if shop.damp_cure_s is None else shop.damp_cure_s / evenings.DAY_S,
    )
    return render(request, session, page)


def _initial(session: Session, season: Season | None) -> dict[str, Any]:
    if season is not None:
        confidence = show(season.confidence_share, "share", workshop.get(session).units)
        return {"confidence": confidence}
    today = clock.today()
    year = today.year if today.month < 7 else today.year + 1
    name, taken = f"Season {year}", {one.name for one in seasons.seasons(session)}
    return {
        "name": next(n for n in (name, *(f"{name}, {i}" for i in range(2, 100))) if n not in taken),
        "begins_on": today,
        "ends_on": date(year, 9, 30),
        "melts_per_evening": "2",
        "confidence": "90 %",
    }
