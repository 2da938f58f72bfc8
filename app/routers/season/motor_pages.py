"""The motors for a wish: looked for with a bar and a way to stop, in one picture, the best five to scale, one kept."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Annotated
from urllib.parse import urlencode

from fastapi import Query, Request
from fastapi.responses import Response
from markupsafe import Markup
from sqlmodel import Session

from app.charts import Axis, Band, Panel, Series, line_chart
from app.drawings.motor_cut import CutGrain, CutNozzle, MotorCut
from app.drawings.small_motor import small_motor
from app.errors import BookError
from app.forms import Form, from_texts, of_model
from app.height_charts import AtThroat, Other, Ranged, Wanted, height_chart
from app.models import Season, Wish
from app.models.season_choice import Delays, KeepMotorIn, LookIn
from app.page import Page
from app.routing import late_router
from app.services.book import workshop
from app.services.hardware import inventory
from app.services.season import choices, overview, planned_for, seasons, wishes
from app.services.season.choices import Made, Shown
from app.services.season.overview import Line
from app.services.season.planned_for import Planned
from app.services.stock import formulas
from app.units import UnitSystem, convert_each, exact, show, unit_of
from app.web import Book, Forms, Typed, answered, render, submit, unsigned_writing

router = late_router("/season")

ROWS = 5
"""Motors drawn to scale."""

WINDS = (1.0, 3.0, 5.0, 8.0)
"""Looked at with one press each [m/s]."""

WIDE = 12.0
"""The longest of them is drawn so long [em]."""

Picks = Annotated[list[int] | None, Query(max_length=10)]


@dataclass(frozen=True)
class Row:
    """One of the best: its drawing, and the address at which it stands at the head."""

    made: Made
    picture: Markup
    href: str


class MotorsPage(Page, template="season/motors.html", section="plan"):
    """The search for a wish's motors: not begun, running, or what it came to."""

    season: Season
    line: Line
    shown: Shown | None
    fault: str
    look: Form
    again: Form
    """The same begun by one press."""
    stop: Form
    keep: Form
    head: Row | None
    rows: list[Row]
    chart: Markup | None
    compare: list[Made]
    curves: Markup | None
    shelf_only: bool
    lacks: list[tuple[str, str]]
    """Where what a motor is made of and there is none of is entered, and the words of that link."""
    planned: Planned
    winds: list[str]
    """Other winds, each looked at with one press."""
    query: str


@router.get("/{season_id}/wishes/{wish_id}/motors")
def show_motors(
    request: Request, session: Book, season_id: int, wish_id: int, pick: Picks = None, take: int = 0
) -> Response:
    """How the search stands: `take` is the place of the one at the head, two `pick` are drawn on the same axes."""
    asked = from_texts(LookIn, of_model(LookIn, request.query_params.multi_items()), "look", _home(request), {})
    return _page(request, session, season_id, wish_id, asked, pick=pick or [], take=take)


def _act_on_search(
    request: Request,
    typed: Typed,
    season_id: int,
    wish_id: int,
    verb: Callable[[Session, Wish, Planned, bool], None],
    form_id: str,
    notice: str = "",
) -> Response:
    def act(session: Session, data: LookIn) -> str:
        wish, told = _wish(session, season_id, wish_id), data
        if wish.kind == "flight" and data.delays is None:  # a field that was emptied says none
            told = data.model_copy(update={"delays": Delays()})
        verb(session, wish, _planned(session, wish, told), told.shelf)
        return _address(season_id, wish_id, told)

    return submit(
        request,
        typed,
        LookIn,
        act=act,
        page=lambda s, form: _page(request, s, season_id, wish_id, form),
        form_id=form_id,
        notice=notice,
    )


@router.post("/{season_id}/wishes/{wish_id}/motors")
def look(request: Request, typed: Typed, season_id: int, wish_id: int) -> Response:
    """Begin the search."""
    return _act_on_search(request, typed, season_id, wish_id, choices.look, "look")


@router.post("/{season_id}/wishes/{wish_id}/motors/stop")
def stop(request: Request, typed: Typed, season_id: int, wish_id: int) -> Response:
    """End the search with what it has."""
    return _act_on_search(request, typed, season_id, wish_id, choices.stop, "stop", "It ends with what it has.")


@router.post("/{season_id}/wishes/{wish_id}/motors/keep")
def keep(request: Request, typed: Typed, season_id: int, wish_id: int) -> Response:
    """Keep a motor for the wish."""

    def act(session: Session, data: KeepMotorIn) -> str:
        choices.keep(session, _wish(session, season_id, wish_id), data)
        return f"/season/{season_id}"

    return submit(
        request,
        typed,
        KeepMotorIn,
        act=act,
        page=lambda s, form: _page(request, s, season_id, wish_id, None, form),
        form_id="keep",
        notice="The motor is chosen.",
    )


def _wish(session: Session, season_id: int, wish_id: int) -> Wish:
    return wishes.of(session, seasons.get(session, season_id), wish_id)


def _planned(session: Session, wish: Wish, data: LookIn) -> Planned:
    return planned_for.of(session, wish, data.wind.si if data.wind is not None else None, data.delays)


def _home(request: Request) -> str:
    return request.url.path


def _address(season_id: int, wish_id: int, data: LookIn) -> str:
    asked = _query(data)
    return f"/season/{season_id}/wishes/{wish_id}/motors" + (f"?{urlencode(asked)}" if asked else "")


def _query(data: LookIn | None) -> dict[str, str]:
    """What was told, as it stands in an address."""
    if data is None:
        return {}
    told = {"wind": data.wind.typed} if data.wind is not None else {}
    told |= {"delays": str(data.delays)} if data.delays is not None else {}
    return told | ({"shelf": "on"} if data.shelf else {})


def _page(
    request: Request,
    session: Session,
    season_id: int,
    wish_id: int,
    asked: Form | None = None,
    failed: Form | None = None,
    pick: Sequence[int] = (),
    take: int = 0,
) -> Response:
    season, wish = seasons.get(session, season_id), _wish(session, season_id, wish_id)
    home, units = f"/season/{season_id}/wishes/{wish_id}/motors", workshop.get(session).units
    given = answered(asked, units, lambda data: data) if asked is not None else LookIn()
    data = given if isinstance(given, LookIn) else None
    forms = Forms(request, session, failed)
    shown, fault, planned = None, "", _planned(session, wish, data or LookIn())
    if data is not None:
        try:
            shown = choices.standing(session, wish, planned, data.shelf)
        except BookError as error:
            fault = str(error)
    if shown is not None and shown.fresh:
        with unsigned_writing(request) as writing:
            choices.keep_answer(writing, shown)
            writing.commit()
    line, made = overview.line_of(session, wish), shown.made if shown is not None else []
    query = _query(data)
    stands = {"wind": exact(planned.wind_m_s, "speed", units), "delays": str(Delays(planned.delays_s or ()))}
    texts = (stands if wish.kind == "flight" else {}) | query
    head = next((one for one in made if one.place == take), made[0] if made else None)
    pictures = _pictures(made[: max(ROWS, take + 1)], workshop.get(session).grain_gap_m)
    rows = [Row(one, pictures[one.place], f"{home}?{urlencode({**query, 'take': one.place})}") for one in made[:ROWS]]
    picked = [made[place] for place in dict.fromkeys(pick) if place < len(made)][:2]
    page = MotorsPage(
        season=season,
        line=line,
        shown=shown,
        fault=fault,
        look=asked if asked is not None and asked.errors else forms.get("look", LookIn, home, initial=texts),
        again=forms.get("again", LookIn, home, initial=texts),
        stop=forms.get("stop", LookIn, f"{home}/stop", initial=texts),
        keep=forms.get(
            "keep",
            KeepMotorIn,
            f"{home}/keep",
            initial={"answer": shown.key if shown else "", "place": head.place if head else ""},
        ),
        head=None if head is None else Row(head, pictures[head.place], ""),
        rows=rows,
        chart=_chart(shown, line, units, head) if shown is not None and shown.answer is not None else None,
        compare=picked if len(picked) == 2 else [],
        curves=_curves(picked, units) if len(picked) == 2 else None,
        shelf_only=bool(data and data.shelf),
        lacks=_lacks(session),
        planned=planned,
        winds=[show(wind, "speed", units, 0) for wind in WINDS if abs(wind - planned.wind_m_s) > 0.5],
        query=urlencode(query),
    )
    return render(request, session, page, 422 if asked is not None and data is None else 200)


def _lacks(session: Session) -> list[tuple[str, str]]:
    there = {
        ("/workshop/cases/new", "Enter a case"): inventory.cases(session),
        ("/workshop/nozzles/new", "Enter a nozzle"): inventory.nozzles(session),
        ("/workshop/patterns/new", "Enter a grain pattern"): inventory.patterns(session),
        ("/workshop/formulas/new", "Enter a formula"): formulas.current(session),
    }
    return [link for link, rows in there.items() if not rows]


def _pictures(made: Sequence[Made], gap_m: float) -> dict[int, Markup]:
    """The best ones cut along their axis, all at one scale."""
    scale = min(36.0, WIDE / max((one.case.chamber_length_m for one in made), default=1.0))
    found = {}
    for one in made:
        grains = tuple(
            CutGrain(pattern.outer_d_m, pattern.core_d_m, pattern.length_m, state="ready")
            for pattern, count in one.inside
            for _ in range(count)
        )
        throat = one.found.throat_d_m
        nozzle = CutNozzle(throat, max(one.nozzle.exit_d_m, throat), one.nozzle.divergence_rad)
        cut = MotorCut(one.case.inner_d_m, one.case.outer_d_m, one.case.chamber_length_m, grains, nozzle, gap_m=gap_m)
        said = f"{one.grains_words} of {one.formula.name}, number {one.place + 1} of those that are possible."
        found[one.place] = small_motor(cut, f"{one.case.name} with {one.nozzle.name}", said, scale)
    return found


def _name(one: Made, units: UnitSystem) -> str:
    throat = show(one.found.throat_d_m, "length", units)
    nozzle = f"{one.nozzle.name} drilled to {throat}" if one.found.drilled_m else f"{one.nozzle.name}, {throat}"
    return f"{one.grains_words} of {one.formula.name}, {one.case.name}, {nozzle}"


def _chart(shown: Shown, line: Line, units: UnitSystem, head: Made | None) -> Markup | None:
    """Height against share of the limit, the one at the head at each throat that its nozzle can have; of a static test
    there is none.
    """
    answer = shown.answer
    if answer is None or line.wish.height_low_m is None or not (answer.best or answer.dots):
        return None

    def up(metres: float) -> float:
        return float(convert_each([metres], "altitude", units)[0])

    motors = [
        Ranged(
            _name(one, units),
            (100 * share[0], 100 * share[1], 100 * share[2]),
            (up(height[0]), up(height[1]), up(height[2])),
        )
        for one in shown.made
        if (share := one.found.figures.peak_share) is not None and (height := one.found.figures.height_m) is not None
    ]
    others = [Other(100 * dot.share, up(dot.height_m), dot.kind) for dot in answer.dots]
    low, high = line.wish.height_low_m, line.wish.height_high_m or line.wish.height_low_m
    ceiling = line.field.ceiling_m if line.field is not None else None
    wanted = Wanted(
        up(low),
        up(high),
        f"wished {show(low, 'altitude', units)} to {show(high, 'altitude', units)}",
        None if ceiling is None else up(ceiling),
        "" if ceiling is None else f"ceiling of the field {show(ceiling, 'altitude', units)}",
    )
    words = (
        f"{answer.tried} designs were tried; {answer.possible} are possible, {answer.not_ranged} were not drawn many "
        f"times, {answer.refused} are refused."
    )
    axis = Axis("Height", unit_of("altitude", units), from_zero=True)
    drilled = [
        AtThroat(100 * share, up(height), show(throat, "length", units))
        for throat, share, height in (head.found.throats if head is not None else ())
    ]
    return height_chart("Every motor that was tried", axis, motors, others, wanted, words, drilled)


def _curves(two: Sequence[Made], units: UnitSystem) -> Markup:
    """Thrust and pressure of two over one time, each with its range."""
    panels: list[Panel] = []
    for kind, label in (("force", "Thrust"), ("pressure", "Pressure")):
        series: list[Series] = []
        bands: list[Band] = []
        for place, one in enumerate(two):
            f, name = one.found, f"{one.place + 1}: {one.grains_words}"
            mid, low, high = (
                (f.thrust_n, f.thrust_low_n, f.thrust_high_n)
                if kind == "force"
                else (f.pressure_pa, f.pressure_low_pa, f.pressure_high_pa)
            )
            series.append(Series(name, f.time_s, convert_each(mid, kind, units)))
            ends = convert_each(low, kind, units), convert_each(high, kind, units)
            bands.append(Band(f"{name}, nine in ten", f.band_time_s, *ends, of=place))
        axis = Axis(label, unit_of(kind, units), from_zero=True)
        panels.append(Panel(axis, series, also=bands, legend=not panels, height=150.0))
    return line_chart("Both on the same axes", Axis("Time from ignition", "s"), *panels)
