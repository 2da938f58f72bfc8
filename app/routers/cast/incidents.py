"""Pages of incidents and near misses: the second tap at the pan, their list, and one to be written out."""

from collections.abc import Callable
from typing import Any
from urllib.parse import quote

from fastapi import Request
from fastapi.responses import Response
from sqlmodel import Session

from app.errors import NotFound
from app.forms import Choice, Form
from app.models import Batch, Incident
from app.models.base import FormIn, Row
from app.models.batch import VoidIn
from app.models.history import correction_of
from app.models.incident import KINDS, SORTS, IncidentIn, TapIn, WrittenIn
from app.page import Page
from app.routers.cast import incident_forms, session_page
from app.routing import late_router
from app.services.book import audit_log, audit_reasons, first_minute, repository
from app.services.book.audit_log import History
from app.services.cast import casting, cautions, incidents
from app.services.stock import batches
from app.web import Book, Forms, PageNumber, Typed, named, render, submit, version_of

router = late_router()
VOIDED = "It does not count any more; it stays readable with the reason."
SORTED: dict[str, list[Choice]] = {"kind": list(KINDS.items()), "sort": list(SORTS.items())}


class IncidentsPage(
    Page,
    template="cast/incidents.html",
    section="workshop",
    group="At the pan",
    tabs=[(18, "/workshop/incidents", "Incidents")],
):
    """All incidents and near misses, those to be written out first."""

    found: repository.Page[Incident]
    waiting: list[Incident]
    lots: dict[int, Batch]
    """The batches they were told at, by identity."""
    form: Form
    burns: str


class IncidentPage(Page, template="cast/incident.html", section="workshop"):
    """One of them, to be written out, and what it proposes for the checklist."""

    incident: Incident
    batch: Batch | None
    form: Form | None
    """Nothing where it was voided."""
    void: Form | None
    editor: str
    """The address at which its line is put into the checklist; empty when it proposes none."""
    in_list: bool
    history: History
    burns: str
    due_again: str
    fresh: Callable[[Row], bool]
    at_once: str


# --- At the pan ----------------------------------------------------------------------------------


@router.post("/cast/{code}/incident")
def tap(request: Request, typed: Typed, code: str) -> Response:
    """Keep what happened, by the server's clock."""

    def act(session: Session, data: TapIn) -> str:
        batch = batches.by_code(session, code)
        cast = casting.find(session, batch)
        person = named(request, session) or (casting.person(cast) if cast else "") or audit_reasons.who(session)
        incidents.tap(session, batch, data, person)
        return f"/bench/{cast.pk}" if cast is not None and data.back == "bench" else f"/cast/{code}#incidents"

    kind = "incident" if dict(typed).get("what", "").startswith("incident:") else "near miss"
    return submit(
        request,
        typed,
        TapIn,
        act=act,
        page=lambda s, form: session_page.page_of(request, s, code, form),
        form_id="incident-form",
        choices=incident_forms.WHAT,
        notice=incidents.KEPT[kind],
    )


@router.post("/cast/{code}/incident/{incident_id}/void")
def void_at_pan(request: Request, typed: Typed, code: str, incident_id: int) -> Response:
    """Void one that was tapped by mistake, on the page of its melt."""

    def act(session: Session, data: VoidIn) -> str:
        row = _find(session, incident_id)
        if row.batch_id != batches.by_code(session, code).pk:
            raise NotFound("There is no such incident in this session.")
        incidents.void(session, row, data, version_of(typed))
        return f"/cast/{code}#incidents"

    return submit(
        request,
        typed,
        VoidIn,
        act=act,
        page=lambda s, form: session_page.page_of(request, s, code, form),
        form_id=f"void-{incident_id}",
        notice=VOIDED,
    )


# --- Under Workshop ------------------------------------------------------------------------------


@router.get("/workshop/incidents")
def show_all(request: Request, session: Book, page: PageNumber = 1) -> Response:
    """All of them."""
    return _list(request, session, page)


@router.post("/workshop/incidents")
def tell(request: Request, typed: Typed) -> Response:
    """Keep one that is told afterwards."""

    def act(session: Session, data: IncidentIn) -> str:
        person = named(request, session) or audit_reasons.who(session)
        return f"/workshop/incidents/{incidents.tell(session, data, person).pk}"

    return submit(request, typed, IncidentIn, act=act, page=lambda s, form: _list(request, s, 1, form), choices=SORTED)


@router.get("/workshop/incidents/{incident_id}")
def show_one(request: Request, session: Book, incident_id: int) -> Response:
    """One of them, to be written out."""
    return _one(request, session, incident_id)


@router.post("/workshop/incidents/{incident_id}")
def write_out(request: Request, typed: Typed, incident_id: int) -> Response:
    """Write it out, or anew."""
    return _change(request, typed, incident_id, correction_of(WrittenIn), incidents.write_out, "form", "Written out.")


@router.post("/workshop/incidents/{incident_id}/void")
def void(request: Request, typed: Typed, incident_id: int) -> Response:
    """Void one that was tapped by mistake."""
    return _change(request, typed, incident_id, VoidIn, incidents.void, "void", VOIDED)


def _change(
    request: Request,
    typed: Typed,
    incident_id: int,
    model: type[FormIn],
    do: Callable[[Session, Incident, Any, int], None],
    form_id: str,
    notice: str,
) -> Response:
    def act(session: Session, data: Any) -> str:
        do(session, _find(session, incident_id), data, version_of(typed))
        return f"/workshop/incidents/{incident_id}"

    return submit(
        request,
        typed,
        model,
        act=act,
        page=lambda s, form: _one(request, s, incident_id, form),
        form_id=form_id,
        notice=notice,
        choices=SORTED,
    )


def _find(session: Session, incident_id: int) -> Incident:
    return repository.get(session, Incident, incident_id, "incident")


def _list(request: Request, session: Session, page: int, failed: Form | None = None) -> Response:
    found, waiting = incidents.every(session, page), incidents.not_written(session)
    told_at = {row.batch_id for row in (*found.rows, *waiting) if row.batch_id is not None}
    shown = IncidentsPage(
        found=found,
        waiting=waiting,
        lots=repository.by_id(session, Batch, told_at, *batches.BARE),
        form=Forms(request, session, failed).get("form", IncidentIn, "/workshop/incidents", choices=SORTED),
        burns=cautions.BURNS,
    )
    return render(request, session, shown)


def _one(request: Request, session: Session, incident_id: int, failed: Form | None = None) -> Response:
    row, forms = _find(session, incident_id), Forms(request, session, failed)
    url = f"/workshop/incidents/{row.pk}"
    model = WrittenIn if row.written_at is None else correction_of(WrittenIn)
    counts = row.voided_at is None
    page = IncidentPage(
        incident=row,
        batch=None if row.batch_id is None else repository.get(session, Batch, row.batch_id, "batch"),
        form=forms.get("form", model, url, row=row, choices=SORTED) if counts else None,
        void=forms.get("void", VoidIn, f"{url}/void", row=row) if counts else None,
        editor=f"/workshop/checklist?line={quote(row.line)}" if row.line and counts else "",
        in_list=incidents.stands_in_list(session, row),
        history=audit_log.history_of(session, row),
        burns=cautions.BURNS,
        due_again=incidents.DUE_AGAIN,
        fresh=first_minute.fresh,
        at_once=first_minute.AT_ONCE,
    )
    return render(request, session, page)
