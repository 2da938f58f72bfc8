"""Pages of the workshop's own lists, the checklist and the run sheet: what is used now, to be edited, and before."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from fastapi import Request
from fastapi.responses import Response
from pydantic import BaseModel
from sqlmodel import Session

from app.forms import Choice, Form
from app.models import ChecklistEdition, RunSheet
from app.models.base import FormIn, as_form
from app.models.checklist import EditionIn, EditionItemIn
from app.models.runsheet import RunSheetIn, RunSheetLineIn
from app.page import Page
from app.routing import late_router
from app.services.book import workshop
from app.services.cast import checklists, editions, runsheets
from app.web import Book, Forms, Typed, render, submit, version_of

router = late_router()
COUNTED_FROM: list[Choice] = [("", "not timed"), ("before", "the step before"), ("pour", "the pour")]


@dataclass(frozen=True)
class Listed:
    """A list: its rows, its form with the field and model of its lines, the service, what it is used for, choices."""

    table: type[Any]
    model: type[FormIn]
    lines: str
    line: type[BaseModel]
    make: Callable[[Session, Any, int | None], object]
    used_for: str
    choices: Mapping[str, list[Choice]]


CHOICES: dict[str, list[Choice]] = {"lines.kind": list(runsheets.KINDS.items()), "lines.after": COUNTED_FROM}
LISTS = {
    "/workshop/checklist": Listed(
        ChecklistEdition, EditionIn, "items", EditionItemIn, checklists.new_edition, "checklist", {}
    ),
    "/workshop/runsheet": Listed(
        RunSheet, RunSheetIn, "lines", RunSheetLineIn, runsheets.new_edition, "session", CHOICES
    ),
}


class EditionPage(
    Page,
    template="cast/edition.html",
    section="workshop",
    tabs=[(12, "/workshop/checklist", "Checklist"), (13, "/workshop/runsheet", "Run sheet")],
):
    """A list to be edited, and its earlier editions."""

    sheet: bool
    form: Form
    now_used: ChecklistEdition | RunSheet
    editions: list[ChecklistEdition] | list[RunSheet]
    kinds: dict[str, str]
    counted_from: dict[str, str]


@router.get("/workshop/checklist")
@router.get("/workshop/runsheet")
def show(request: Request, session: Book) -> Response:
    """A list as it is now, to be edited, and its earlier editions."""
    return _show(request, session)


@router.post("/workshop/checklist")
@router.post("/workshop/runsheet")
def new_edition(request: Request, typed: Typed) -> Response:
    """Make a new edition of a list."""
    kind = LISTS[request.url.path]

    def act(session: Session, data: Any) -> str:
        kind.make(session, data, version_of(typed))
        return request.url.path

    return submit(
        request,
        typed,
        kind.model,
        act=act,
        page=lambda s, form: _show(request, s, form),
        choices=kind.choices,
        notice=f"The new edition is in use from the next {kind.used_for} on.",
    )


def _show(request: Request, session: Session, failed: Form | None = None) -> Response:
    kind = LISTS[request.url.path]
    now, units = editions.now_used(session, kind.table), workshop.get(session).units
    lines = [(f"{kind.lines}.{i}", as_form(line, kind.line, units)) for i, line in enumerate(now.lines)]
    texts = {f"{place}.{name}": text for place, row in lines for name, text in row.items()}
    forms = Forms(request, session, failed)
    form = forms.get("form", kind.model, request.url.path, initial=texts, choices=kind.choices)
    if form.version is None:
        form.version = now.edition  # a new edition grows from the one that the person saw
    page = EditionPage(
        sheet=kind.table is RunSheet,
        form=form,
        now_used=now,
        editions=editions.all_of(session, kind.table),
        kinds=runsheets.KINDS,
        counted_from=dict(COUNTED_FROM),
    )
    return render(request, session, page)
