"""Pages of a wish: written on the list, changed, struck out."""

from fastapi import Request
from fastapi.responses import Response
from sqlmodel import Session

from app import clock
from app.forms import Choice, Form
from app.models import Firing, MotorChoice, Season, Wish
from app.models.batch import VoidIn
from app.models.season import MATTERS, FiredForIn, TestWishIn, WishIn
from app.page import Page
from app.routers.season import seasons as season_pages
from app.routing import late_router
from app.services.book import audit_log
from app.services.book.audit_log import History
from app.services.hardware import inventory
from app.services.learning.next_tests import Lesson
from app.services.season import fulfilled, kept_choices, overview, seasons, tests_worth, wishes
from app.services.season.overview import Line
from app.services.stock import formulas
from app.web import Book, Forms, Typed, choose, render, submit, version_of

router = late_router("/season")


class WishPage(Page, template="season/wish.html", section="plan"):
    """A wish: its form, its motor and the ones given up, what was flown of it, and the form to strike it out."""

    season: Season
    line: Line
    form: Form
    strike: Form
    given_up: list[MotorChoice]
    fired_for: list[tuple[Firing, Form]]
    """What was fired of it, each with the form that says it was for another wish."""
    history: History


class TestWishPage(Page, template="season/test_wish.html", section="plan"):
    """The form of static tests that are wanted."""

    __test__ = False

    season: Season
    form: Form
    lessons: list[Lesson]


@router.post("/{season_id}/wishes/new")
def save_new(request: Request, session: Book, typed: Typed, season_id: int) -> Response:
    """Write wanted flights on the list."""

    def act(writing: Session, data: WishIn) -> str:
        wishes.save_flight(writing, seasons.get(writing, season_id), data)
        return f"/season/{season_id}#wish"

    return submit(
        request,
        typed,
        WishIn,
        act=act,
        page=lambda s, form: season_pages.page_of(request, s, seasons.get(s, season_id), form),
        form_id="wish",
        choices=season_pages.wish_choices(session),
        notice="It is on the list.",
    )


@router.get("/{season_id}/wishes/new")
def show_new(request: Request, session: Book, season_id: int) -> Response:
    """The list, with the form of the next wish."""
    return season_pages.page_of(request, session, seasons.get(session, season_id))


@router.get("/{season_id}/tests/new")
def show_new_test(request: Request, session: Book, season_id: int) -> Response:
    """The form of static tests."""
    return _test_page(request, session, season_id)


@router.post("/{season_id}/tests/new")
def save_new_test(request: Request, session: Book, typed: Typed, season_id: int) -> Response:
    """Write wanted static tests on the list."""

    def act(writing: Session, data: TestWishIn) -> str:
        wishes.save_test(writing, seasons.get(writing, season_id), data)
        return f"/season/{season_id}"

    return submit(
        request,
        typed,
        TestWishIn,
        act=act,
        page=lambda s, form: _test_page(request, s, season_id, form),
        choices=_test_choices(session),
        notice="The tests are on the list.",
    )


@router.get("/{season_id}/wishes/{wish_id}")
def show_one(request: Request, session: Book, season_id: int, wish_id: int) -> Response:
    """A line of the list."""
    return _page(request, session, season_id, wish_id)


@router.post("/{season_id}/wishes/{wish_id}")
def save(request: Request, session: Book, typed: Typed, season_id: int, wish_id: int) -> Response:
    """Change a line of the list."""
    is_test = _wish(session, season_id, wish_id).kind == "test"

    def act(writing: Session, data: WishIn | TestWishIn) -> str:
        season, row = seasons.get(writing, season_id), _wish(writing, season_id, wish_id)
        if isinstance(data, TestWishIn):
            wishes.save_test(writing, season, data, row, version_of(typed))
        else:
            wishes.save_flight(writing, season, data, row, version_of(typed))
        return f"/season/{season_id}"

    return submit(
        request,
        typed,
        TestWishIn if is_test else WishIn,
        act=act,
        page=lambda s, form: _page(request, s, season_id, wish_id, form),
        choices=_test_choices(session) if is_test else season_pages.wish_choices(session),
        notice="The line is changed.",
    )


@router.post("/{season_id}/wishes/{wish_id}/strike")
def strike(request: Request, typed: Typed, season_id: int, wish_id: int) -> Response:
    """Strike a line out of the list."""

    def act(session: Session, data: VoidIn) -> str:
        wishes.strike(session, _wish(session, season_id, wish_id), data, version_of(typed))
        return f"/season/{season_id}"

    return submit(
        request,
        typed,
        VoidIn,
        act=act,
        page=lambda s, form: _page(request, s, season_id, wish_id, form),
        form_id="strike",
        notice="It is struck out of the list.",
    )


@router.post("/{season_id}/wishes/{wish_id}/fired/{build_id}")
def fired_for(request: Request, session: Book, typed: Typed, season_id: int, wish_id: int, build_id: int) -> Response:
    """Say that a motor was fired for another wish."""

    def act(writing: Session, data: FiredForIn) -> str:
        fulfilled.tell(writing, seasons.get(writing, season_id), build_id, data.wish_id)
        return f"/season/{season_id}/wishes/{wish_id}"

    return submit(
        request,
        typed,
        FiredForIn,
        act=act,
        page=lambda s, form: _page(request, s, season_id, wish_id, form),
        form_id=f"fired-{build_id}",
        choices={"wish_id": _others(session, seasons.get(session, season_id), _wish(session, season_id, wish_id))},
        notice="It counts for that wish.",
    )


def _others(session: Session, season: Season, wish: Wish) -> list[Choice]:
    """The wishes of its kind, as the page calls them."""
    listed = [one for one in wishes.wishes(session, season) if one.kind == wish.kind]
    return [(str(one.pk), f"{overview.name_of(session, one)}, by {clock.day(one.by_on)}") for one in listed]


def _wish(session: Session, season_id: int, wish_id: int) -> Wish:
    return wishes.of(session, seasons.get(session, season_id), wish_id)


def _test_choices(session: Session) -> dict[str, list[Choice]]:
    return {
        "formula_id": choose(formulas.current(session), lambda formula: formula.label),
        "case_id": choose(inventory.cases(session)),
        "matters": list(MATTERS.items()),
    }


def _test_page(request: Request, session: Session, season_id: int, failed: Form | None = None) -> Response:
    season, choices = seasons.get(session, season_id), _test_choices(session)
    initial = {"matters": "usual", "count": "3", "comes_first": "on"}
    initial |= {name: choices[name][0][0] for name in ("formula_id", "case_id") if len(choices[name]) == 1}
    form = Forms(request, session, failed).get(
        "form", TestWishIn, f"/season/{season_id}/tests/new", initial=initial, choices=choices
    )
    page = TestWishPage(season=season, form=form, lessons=tests_worth.lessons(session, season))
    return render(request, session, page)


def _page(request: Request, session: Session, season_id: int, wish_id: int, failed: Form | None = None) -> Response:
    season, wish = seasons.get(session, season_id), _wish(session, season_id, wish_id)
    forms, is_test = Forms(request, session, failed), wish.kind == "test"
    url = f"/season/{season_id}/wishes/{wish_id}"
    line = overview.line_of(session, wish)
    page = WishPage(
        season=season,
        line=line,
        form=forms.get(
            "form",
            TestWishIn if is_test else WishIn,
            url,
            row=wish,
            choices=_test_choices(session) if is_test else season_pages.wish_choices(session),
        ),
        strike=forms.get("strike", VoidIn, f"{url}/strike", row=wish),
        given_up=kept_choices.earlier(session, wish),
        fired_for=[
            (
                one,
                forms.get(
                    f"fired-{one.motor_build_id}",
                    FiredForIn,
                    f"{url}/fired/{one.motor_build_id}",
                    initial={"wish_id": str(wish.pk)},
                    choices={"wish_id": _others(session, season, wish)},
                ),
            )
            for one in line.fired
        ],
        history=audit_log.history_of(session, wish),
    )
    return render(request, session, page)
