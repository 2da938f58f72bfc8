"""The day's page, and the timers that every bench page counts down."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from app import clock
from app.services.cast import casting, pan
from app.services.today import today
from app.web import Book, render

router = APIRouter()


@router.get("/")
def show(request: Request, session: Book) -> Response:
    """What runs, what is due, what is planned and what is short."""
    day = today.look(session)
    return render(
        request,
        session,
        "today/index.html",
        section="today",
        day=day,
        mark=casting.mark(day.running),
        coming=casting.coming(day.running),
        copies=request.app.state.keeper.standing(),
        alarms={run.batch.code: pan.alarm(session, run.cast) for run in day.running},
    )


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
