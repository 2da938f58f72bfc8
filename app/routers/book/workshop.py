"""The workshop's first page, and its settings."""

from typing import Any

from fastapi import Request
from fastapi.responses import Response
from sqlmodel import Session

from app.book.backup_thread import Standing
from app.forms import Form
from app.models import ChecklistEdition
from app.models.history import correction_of
from app.models.workshop import UNIT_FIELDS, WorkshopIn
from app.page import Page
from app.routing import late_router
from app.services.book import audit_log, workshop
from app.services.book.audit_log import History
from app.services.cast import editions
from app.services.stock import supplies
from app.web import Book, Forms, Typed, render, submit, version_of

router = late_router("/workshop")


class WorkshopPage(Page, template="book/workshop.html", section="workshop", tabs=[(1, "/workshop", "Workshop")]):
    """What the workshop has."""

    counts: dict[str, int]
    totals: dict[str, float]
    edition: ChecklistEdition
    copies: Standing


class SettingsPage(
    Page, template="book/settings.html", section="workshop", tabs=[(14, "/workshop/settings", "Settings")]
):
    """The rules and units of the workshop."""

    form: Form
    history: History
    unit_fields: list[str]


@router.get("")
def show(request: Request, session: Book) -> Response:
    """What the workshop has."""
    page = WorkshopPage(
        counts=workshop.counts(session),
        totals=supplies.on_shelf(session),
        edition=editions.now_used(session, ChecklistEdition),
        copies=request.app.state.backup_thread.standing(),
    )
    return render(request, session, page)


@router.get("/settings")
def show_settings(request: Request, session: Book) -> Response:
    """The rules and units of the workshop."""
    return _settings(request, session)


@router.post("/settings")
def set_up(request: Request, typed: Typed) -> Response:
    """Change the settings."""

    def act(session: Session, data: Any) -> str:
        workshop.set_up(session, data, version_of(typed))
        return "/workshop/settings"

    return submit(
        request,
        typed,
        correction_of(WorkshopIn),
        act=act,
        page=lambda s, form: _settings(request, s, form),
        notice="The settings are changed.",
    )


def _settings(request: Request, session: Session, failed: Form | None = None) -> Response:
    forms = Forms(request, session, failed)
    form = forms.get("form", correction_of(WorkshopIn), "/workshop/settings", row=workshop.get(session))
    history = audit_log.history_of(session, workshop.get(session))
    return render(request, session, SettingsPage(form=form, history=history, unit_fields=[*UNIT_FIELDS]))
