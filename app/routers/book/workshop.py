"""The workshop's first page, and its settings."""

from typing import Any

from fastapi import Request
from fastapi.responses import Response
from sqlmodel import Session

from app.book.backup_thread import Standing
from app.book.elsewhere_standing import Elsewhere
from app.book.logs import InFile
from app.errors import Refused
from app.forms import Form
from app.models import ChecklistEdition
from app.models.base import FormIn
from app.models.elsewhere import ENCRYPTED, READABLE, ElsewhereIn
from app.models.history import correction_of
from app.models.workshop import UNIT_FIELDS, WorkshopIn
from app.page import Page
from app.routing import late_router
from app.services.book import audit_log, second_place, workshop
from app.services.book.audit_log import History
from app.services.cast import editions, incidents
from app.services.stock import supplies
from app.web import Book, Forms, Typed, device, elsewhere, render, submit, version_of

router = late_router("/workshop")


class WorkshopPage(Page, template="book/workshop.html", section="workshop", tabs=[(1, "/workshop", "Workshop")]):
    """What the workshop has."""

    counts: dict[str, int]
    totals: dict[str, float]
    edition: ChecklistEdition | None
    unwritten: int
    """Incidents that wait to be written out."""
    copies: Standing
    in_file: InFile


class SettingsPage(
    Page, template="book/settings.html", section="workshop", group="Book", tabs=[(20, "/workshop/settings", "Settings")]
):
    """The rules and units of the workshop."""

    form: Form
    history: History
    unit_fields: list[str]
    elsewhere: Elsewhere | None
    place: Form
    copy_now: Form


@router.get("")
def show(request: Request, session: Book) -> Response:
    """What the workshop has."""
    page = WorkshopPage(
        counts=workshop.counts(session),
        totals=supplies.on_shelf(session),
        edition=editions.newest_of(session, ChecklistEdition),
        unwritten=len(incidents.not_written(session)),
        copies=request.app.state.backup_thread.standing(),
        in_file=request.app.state.checkpoints.standing(),
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


@router.post("/settings/elsewhere")
def choose_elsewhere(request: Request, typed: Typed) -> Response:
    """Choose the second place for copies, or none; the first copy is made there at once."""
    thread = request.app.state.elsewhere

    def act(session: Session, data: Any) -> str:
        if device(request):
            raise Refused("The second place is a folder of the computer that Grainbook runs on: choose it there.")
        house = workshop.get(session)
        folder, key = "", ""
        if data.folder:
            passphrase = second_place.passphrase_of(data, house.elsewhere_key)
            key = house.elsewhere_key if data.form == ENCRYPTED else ""
            sure = data.sure_of("folder", "same_disk") or data.folder == house.elsewhere_folder
            folder, key = thread.choose(data.folder, key, passphrase, same_disk=sure)
        second_place.set_place(session, folder, key, version_of(typed))
        return "/workshop/settings#elsewhere"

    answer = submit(
        request,
        typed,
        ElsewhereIn,
        act=act,
        page=lambda s, form: _settings(request, s, form),
        notice="The second place is set.",
        form_id="place",
    )
    if answer.status_code == 303:
        thread.copy_now()
    return answer


@router.post("/settings/elsewhere/now")
def copy_elsewhere(request: Request, typed: Typed) -> Response:
    """Make a copy at the second place now; how it went stands on the page."""
    answer = submit(
        request,
        typed,
        FormIn,
        act=lambda _session, _data: "/workshop/settings#elsewhere",
        page=lambda s, form: _settings(request, s, form),
        notice="The second place was looked at. How it went stands below; a large book may take longer.",
        form_id="copy-now",
    )
    if answer.status_code == 303:
        request.app.state.elsewhere.copy_now()
    return answer


def _settings(request: Request, session: Session, failed: Form | None = None) -> Response:
    forms = Forms(request, session, failed)
    house = workshop.get(session)
    chosen = {"folder": house.elsewhere_folder, "form": ENCRYPTED if house.elsewhere_key else READABLE}
    place = forms.get("place", ElsewhereIn, "/workshop/settings/elsewhere", initial=chosen)
    place.version = house.version if place is not failed else place.version
    form = forms.get("form", correction_of(WorkshopIn), "/workshop/settings", row=workshop.get(session))
    history = audit_log.history_of(session, workshop.get(session))
    page = SettingsPage(
        form=form,
        history=history,
        unit_fields=[*UNIT_FIELDS],
        elsewhere=elsewhere(request, session),
        place=place,
        copy_now=forms.get("copy-now", FormIn, "/workshop/settings/elsewhere/now"),
    )
    return render(request, session, page)
