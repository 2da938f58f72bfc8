"""The record of changes: all of it, newest first, and what stood before on the page of each row."""

from fastapi import Request
from fastapi.responses import Response

from app.forms import Choice, Form, from_texts
from app.models.history import ChangesIn
from app.page import Page
from app.routing import late_router
from app.services.book import audit_log, audit_names, workshop
from app.services.book.audit_log import Act, Line
from app.web import Book, render

router = late_router("/workshop/changes")

PAGES = {
    "supply": "/workshop/supplies/{id}",
    "formula": "/workshop/formulas/{id}",
    "grain_pattern": "/workshop/patterns/{id}",
    "casting_tube": "/workshop/tubes/{id}",
    "coring_rod": "/workshop/rods/{id}",
    "motor_case": "/workshop/cases/{id}",
    "nozzle": "/workshop/nozzles/{id}",
    "rocket": "/workshop/rockets/{id}",
    "launch_field": "/workshop/fields/{id}",
    "person": "/workshop/people/{id}",
    "workshop": "/workshop/settings",
    "checklist_edition": "/workshop/checklist",
    "run_sheet": "/workshop/runsheet",
    "batch": "/plan/{name}",
    "grain": "/shelf/{name}",
    "motor_build": "/motors/{name}",
    "firing": "/firings/{id}",
}
"""Where a row is shown, by its table; what has no page is shown with what it belongs to."""


class ChangesPage(
    Page, template="book/changes.html", section="workshop", group="Book", tabs=[(22, "/workshop/changes", "Changes")]
):
    """A page of the record, and the form that chooses what it shows."""

    form: Form
    acts: list[tuple[Act, list[tuple[Line, str]]]]
    """Each act with its lines, and the address of each line's row; "" where it has none."""
    next_before: int | None
    kept: list[tuple[str, str]]
    """What is chosen, as parts of an address."""
    first: bool


def address(line: Line) -> str:
    """Where the row of a change is shown; empty when that is gone."""
    for table, row_id, name in line.home[1:] if line.what == "deleted" else line.home:
        if table in PAGES and (name or "{name}" not in PAGES[table]):
            return PAGES[table].format(id=row_id, name=name)
    return ""


@router.get("")
def show_all(request: Request, session: Book) -> Response:
    """Every change, newest first, of one noun or all."""
    texts = request.query_params.multi_items()
    choices: dict[str, list[Choice]] = {
        "noun": audit_names.nouns(),
        "what": [
            ("changed", "a value was replaced"),
            ("deleted", "an entry was deleted"),
            ("filled", "an empty value was filled in"),
            ("entered", "an entry came in"),
        ],
    }
    form = from_texts(ChangesIn, texts, "changes", "/workshop/changes", choices)
    wanted = form.check(workshop.get(session).units)
    found = audit_log.page(session, wanted if isinstance(wanted, ChangesIn) else ChangesIn())
    kept = [(name, form.text(name)) for name in ("noun", "what") if form.text(name)]

    page = ChangesPage(
        form=form,
        acts=[(act, [(line, address(line)) for line in act.lines]) for act in found.acts],
        next_before=found.next_before,
        kept=kept,
        first=not form.text("before"),
    )
    return render(request, session, page, 422 if form.errors else 200)
