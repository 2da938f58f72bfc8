"""Pages of the workshop's own lists, the checklist and the run sheet: what is used now, to be edited, and before."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from itertools import count
from typing import Annotated, Any

from fastapi import Query, Request
from fastapi.responses import Response
from pydantic import BaseModel
from sqlmodel import Session

from app.forms import Choice, Form, from_texts
from app.models import ChecklistEdition, RunSheet
from app.models.base import FormIn, as_form
from app.models.checklist import COVERS, EditionIn, EditionItemIn
from app.models.runsheet import RunSheetIn, RunSheetLineIn
from app.page import Page
from app.routing import late_router
from app.services.book import workshop
from app.services.cast import checklists, editions, runsheets
from app.web import Book, Forms, Texts, Typed, render, submit, version_of

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


COVERED: list[Choice] = [("", "nothing of these"), *COVERS.items()]
CHOICES: dict[str, list[Choice]] = {"lines.kind": list(runsheets.KINDS.items()), "lines.after": COUNTED_FROM}
LISTS = {
    "/workshop/checklist": Listed(
        ChecklistEdition,
        EditionIn,
        "items",
        EditionItemIn,
        checklists.new_edition,
        "checklist",
        {"items.covers": COVERED},
    ),
    "/workshop/runsheet": Listed(
        RunSheet, RunSheetIn, "lines", RunSheetLineIn, runsheets.new_edition, "session", CHOICES
    ),
}


class EditionPage(
    Page,
    template="cast/edition.html",
    section="workshop",
    group="At the pan",
    tabs=[(16, "/workshop/checklist", "Checklist"), (17, "/workshop/runsheet", "Run sheet")],
):
    """A list to be edited, and its earlier editions."""

    sheet: bool
    form: Form
    now_used: ChecklistEdition | RunSheet
    editions: list[ChecklistEdition] | list[RunSheet]
    kinds: dict[str, str]
    counted_from: dict[str, str]
    covers: dict[str, str]
    missing: list[str]
    """What the list in the form has no line for that comes again before each melt, of what is never left out."""


@router.get("/workshop/checklist")
@router.get("/workshop/runsheet")
def show(request: Request, session: Book, line: Annotated[str, Query(max_length=400)] = "") -> Response:
    """A list as it is now, to be edited, and its earlier editions; `line` is one that is proposed for it."""
    return _show(request, session, proposed=line)


@router.post("/workshop/checklist")
@router.post("/workshop/runsheet")
def new_edition(request: Request, book: Book, typed: Typed) -> Response:
    """Make a new edition of a list."""
    kind = LISTS[request.url.path]
    if ("add", "missing") in typed:
        return _with_missing(request, book, [pair for pair in typed if pair[0] != "add"])

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


def _with_missing(request: Request, session: Session, typed: Texts) -> Response:
    """The form as it was sent, with a line for each thing that it has none for; nothing is saved."""
    form = from_texts(EditionIn, typed, "form", request.url.path, {})
    _add(form, checklists.proposed(_covered(form)))
    return _show(request, session, form)


def _add(form: Form, lines: Iterable[Mapping[str, str]]) -> None:
    """Write lines into the first empty rows of the form."""
    free = (i for i in count() if not any(form.text(f"items.{i}.{name}").strip() for name in ("heading", "words")))
    for line in lines:
        place = next(free)
        form.values.update({f"items.{place}.{name}": [text] for name, text in line.items()})


def _covered(form: Form) -> set[str]:
    """What the lines in the form cover that come again before each melt."""
    rows = form.rows("items", spare=0, least=0)
    return {row["covers"].value for row in rows if row["again"].value and row["words"].value.strip()}


def _show(request: Request, session: Session, failed: Form | None = None, proposed: str = "") -> Response:
    kind = LISTS[request.url.path]
    now, units = editions.now_used(session, kind.table), workshop.get(session).units
    lines = [(f"{kind.lines}.{i}", as_form(line, kind.line, units)) for i, line in enumerate(now.lines)]
    texts = {f"{place}.{name}": text for place, row in lines for name, text in row.items()}
    forms = Forms(request, session, failed)
    form = forms.get("form", kind.model, request.url.path, initial=texts, choices=kind.choices)
    if form.version is None:
        form.version = now.edition  # a new edition grows from the one that the person saw
    if proposed.strip() and kind.model is EditionIn:
        _add(form, [{"heading": "What happened here", "words": proposed.strip()}])
    page = EditionPage(
        sheet=kind.table is RunSheet,
        form=form,
        now_used=now,
        editions=editions.all_of(session, kind.table),
        kinds=runsheets.KINDS,
        counted_from=dict(COUNTED_FROM),
        covers=COVERS,
        missing=[] if kind.model is not EditionIn else [w for k, w in COVERS.items() if k not in _covered(form)],
    )
    return render(request, session, page)
