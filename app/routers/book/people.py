"""Who works here, and who is at the bench on this device."""

from typing import Any
from urllib.parse import quote

from fastapi import Request
from fastapi.responses import Response
from sqlmodel import Session

from app.forms import Form
from app.models import Person
from app.models.history import AtBenchIn, PersonIn
from app.page import Page
from app.routers.book.crud_pages import Listed, Noun, add_pages
from app.routing import late_router
from app.services.book import people, workshop
from app.web import YEAR_S, Book, Forms, Typed, at_bench, render, submit

router = late_router()


class AtBenchPage(Page, template="book/bench_person.html", section="workshop"):
    """Who is at the bench on this device."""

    form: Form
    now_there: str
    usual: str
    """The name in the settings, which holds where none is chosen."""


class PeoplePage(
    Page,
    template="book/people.html",
    section="workshop",
    group="People and places",
    tabs=[(21, "/workshop/people", "People")],
):
    """Who else works here."""

    listed: Listed[Person]


PEOPLE = Noun(
    "people",
    "person",
    Person,
    PersonIn,
    people.save,
    people.listed,
    list_page=lambda _session, listed: PeoplePage(listed=listed),
)


@router.get("/workshop/bench")
def show_bench(request: Request, session: Book) -> Response:
    """Who is at the bench."""
    return _page(request, session)


@router.post("/workshop/bench")
def choose(request: Request, session: Book, typed: Typed) -> Response:
    """Tell this device who is at the bench; it remembers it for a year."""
    choices = _choices(session)
    session.close()
    chosen: list[str] = []

    def act(writing: Session, data: Any) -> str:
        chosen.append(people.at_bench(writing, data))
        return "/workshop/bench"

    response = submit(
        request,
        typed,
        AtBenchIn,
        act=act,
        page=lambda s, form: _page(request, s, form),
        form_id="bench",
        notice="What is written on this device from now on carries that name.",
        choices=choices,
    )
    if chosen:
        response.set_cookie("at_bench", quote(chosen[0]), max_age=YEAR_S, httponly=True, samesite="strict")
    return response


def _choices(session: Session) -> dict[str, list[tuple[str, str]]]:
    return {"at_bench": [(name, name) for name in people.names(session)]}


def _page(request: Request, session: Session, failed: Form | None = None) -> Response:
    now = at_bench(request, session)
    form = Forms(request, session, failed).get(
        "bench", AtBenchIn, "/workshop/bench", initial={"at_bench": now}, choices=_choices(session)
    )
    page = AtBenchPage(form=form, now_there=now, usual=workshop.get(session).person)
    return render(request, session, page)


add_pages(router, PEOPLE)
