"""The day's page, and the timers that every bench page counts down."""

from datetime import datetime
from typing import Any

from fastapi import Request
from fastapi.responses import Response
from sqlmodel import Session

from app import clock
from app.book.backup_thread import Standing
from app.book.elsewhere_standing import Elsewhere
from app.book.notices import Notice
from app.forms import Form
from app.models.history import ToldIn
from app.page import Page
from app.routers.today import pictures
from app.routers.today.pictures import Pictures
from app.routing import late_router
from app.services.book import workshop
from app.services.cast import casting, pan
from app.services.cast.casting import Coming
from app.services.today import next_thing, today
from app.services.today.next_thing import Thing
from app.services.today.today import Day
from app.web import Book, Forms, Typed, elsewhere, render, submit

router = late_router()


class TodayPage(Page, template="today/index.html", section="today"):
    """The next thing and its picture; the day, and how the book stands with its copies."""

    day: Day
    next: Thing
    then: Thing | None
    pictures: Pictures
    mark: str
    coming: list[Coming]
    notices: list[Notice]
    """What is to be told of the book until it was read: what is missing, what was altered."""
    notice_form: Form
    copies: Standing
    elsewhere: Elsewhere | None


@router.get("/")
def show(request: Request, session: Book) -> Response:
    """What runs, what is due, what is planned and what is short."""
    return _page(request, session)


@router.post("/notices")
def read(request: Request, typed: Typed) -> Response:
    """Take down what was told of the book, as far as it was read."""
    told: list[datetime] = []

    def act(_session: Session, data: ToldIn) -> str:
        told.append(data.until)
        return "/"

    response = submit(
        request, typed, ToldIn, act=act, page=lambda s, form: _page(request, s, form), notice="It is not shown again."
    )
    for until in told:
        request.app.state.notices.read(until)
    return response


def _page(request: Request, session: Session, failed: Form | None = None) -> Response:
    day = today.day(session)
    things = next_thing.things(day, workshop.get(session).units)
    page = TodayPage(
        day=day,
        next=things[0],
        then=things[1] if things[1:] else None,
        pictures=pictures.of_day(session, day),
        notices=request.app.state.notices.unread(),
        notice_form=Forms(request, session, failed).get("form", ToldIn, "/notices"),
        mark=casting.mark(day.running),
        coming=casting.coming(day.running),
        copies=request.app.state.backup_thread.standing(),
        elsewhere=elsewhere(request, session),
    )
    return render(request, session, page)


@router.get("/timers")
def timers(session: Book) -> dict[str, Any]:
    """The server's clock and every timed step that can be done next; moments in UTC.

    `mark` changes with any step, amount or reading of any open session: a page that shows another one is out of date.
    `hot` are the pans that are or may be too hot.
    """
    running = casting.due(session)
    return {
        "now": clock.now().isoformat(),
        "mark": casting.mark(running),
        "hot": [vars(one) for one in pan.hot(session)],
        "timers": [
            {"code": c.batch.code, "words": c.now.words, "due": c.now.due_at.isoformat()}
            for c in casting.coming(running)
            if c.now.due_at is not None
        ],
    }
