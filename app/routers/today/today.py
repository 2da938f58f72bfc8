"""The day's page, and the timers that every bench page counts down."""

from typing import Any

from fastapi import Request
from fastapi.responses import Response

from app import clock
from app.book.backup_thread import Standing
from app.book.elsewhere_standing import Elsewhere
from app.page import Page
from app.routing import late_router
from app.services.cast import casting, pan
from app.services.cast.casting import Coming
from app.services.today import today
from app.services.today.today import Day
from app.web import Book, elsewhere, render

router = late_router()


class TodayPage(Page, template="today/index.html", section="today"):
    """The day, and how the book stands with its copies."""

    day: Day
    mark: str
    coming: list[Coming]
    copies: Standing
    elsewhere: Elsewhere | None
    alarms: dict[str, str]
    """What each open session's pan is warned of, by the batch's code; "" where of nothing."""


@router.get("/")
def show(request: Request, session: Book) -> Response:
    """What runs, what is due, what is planned and what is short."""
    day = today.day(session)
    page = TodayPage(
        day=day,
        mark=casting.mark(day.running),
        coming=casting.coming(day.running),
        copies=request.app.state.backup_thread.standing(),
        elsewhere=elsewhere(request, session),
        alarms={run.batch.code: pan.alarm(session, run.cast) for run in day.running},
    )
    return render(request, session, page)


@router.get("/timers")
def timers(session: Book) -> dict[str, Any]:
    """The server's clock and every timed step that can be done next; moments in UTC.

    `mark` changes with any step, amount or reading of any open session: a page that shows another one is out of date.
    """
    running = casting.due(session)
    return {
        "now": clock.now().isoformat(),
        "mark": casting.mark(running),
        "timers": [
            {"code": c.batch.code, "words": c.now.words, "due": c.now.due_at.isoformat()}
            for c in casting.coming(running)
            if c.now.due_at is not None
        ],
    }
