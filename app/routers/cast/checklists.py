"""Pages of the checklist before a cast session."""

from datetime import datetime

from fastapi import Request
from fastapi.responses import Response
from sqlmodel import Session

from app.forms import Form
from app.models import Batch, CastSession, Checklist, ChecklistEdition
from app.models.base import FormIn
from app.models.batch import VoidIn
from app.models.cast import OpenSessionIn
from app.models.checklist import AnswerIn, SignIn
from app.page import Page
from app.routing import late_router
from app.services.book import workshop
from app.services.cast import casting, cautions, checklists, gate
from app.services.cast.checklists import Line
from app.services.stock import batches
from app.web import Book, Forms, Typed, at_bench, render, submit

router = late_router("/plan/{code}/checklist")


class ChecklistPage(Page, template="cast/checklist.html", section="plan"):
    """The checklist of a batch: to begin, to answer, or signed."""

    batch: Batch
    cast: CastSession | None
    checklist: Checklist | None
    lines: list[Line]
    fault: str | None
    """What keeps it from opening a session."""
    forms: dict[str, Form]
    """Those that its state calls for, by their identifiers."""
    law: str
    burns: str
    edition: ChecklistEdition | None
    holds_until: datetime | None
    limit_s: float
    earlier: list[Checklist]
    stray: str
    """The faults of a form that its state has no place for any more."""


class PastChecklistPage(Page, template="cast/checklist_edition.html", section="plan"):
    """One checklist as it stands, to read."""

    batch: Batch
    checklist: Checklist
    lines: list[Line]
    edition: ChecklistEdition


@router.get("")
def show(request: Request, session: Book, code: str) -> Response:
    """The checklist of a batch: to begin, to answer, or signed."""
    return page_of(request, session, code)


@router.get("/{checklist_id}")
def show_past(request: Request, session: Book, code: str, checklist_id: int) -> Response:
    """One checklist as it stands, to read."""
    batch = batches.by_code(session, code)
    checklist = checklists.of_batch(session, batch, checklist_id)
    page = PastChecklistPage(
        batch=batch,
        checklist=checklist,
        lines=checklists.lines(session, checklist),
        edition=checklists.edition_of(session, checklist),
    )
    return render(request, session, page)


@router.post("/start")
def start(request: Request, typed: Typed, code: str) -> Response:
    """Begin a checklist."""

    def act(session: Session, _data: FormIn) -> str:
        checklists.start(session, batches.by_code(session, code))
        return _url(code)

    return submit(
        request,
        typed,
        FormIn,
        act=act,
        page=lambda s, form: page_of(request, s, code, form),
        form_id="start",
        notice="Go through each line at the bench, not from memory.",
    )


@router.post("/anew")
def start_anew(request: Request, typed: Typed, code: str) -> Response:
    """Void the checklist at hand and begin another."""

    def act(session: Session, data: VoidIn) -> str:
        checklists.start_anew(session, batches.by_code(session, code), data.why)
        return _url(code)

    return submit(
        request,
        typed,
        VoidIn,
        act=act,
        page=lambda s, form: page_of(request, s, code, form),
        form_id="anew",
        notice="The earlier checklist is voided; here is a new one.",
    )


@router.post("/{checklist_id}/line/{item_id}")
def answer(request: Request, typed: Typed, code: str, checklist_id: int, item_id: int) -> Response:
    """Answer one line."""

    def act(session: Session, data: AnswerIn) -> str:
        checklists.answer(session, _of(session, code, checklist_id), item_id, data)
        return f"{_url(code)}#line-{item_id}"

    form_id = f"na-{item_id}" if ("answer", "na") in typed else f"line-{item_id}"
    return submit(
        request,
        typed,
        AnswerIn,
        act=act,
        page=lambda s, form: page_of(request, s, code, form),
        form_id=form_id,
        notice="",
    )


@router.post("/{checklist_id}/sign")
def sign(request: Request, typed: Typed, code: str, checklist_id: int) -> Response:
    """Complete the checklist."""

    def act(session: Session, data: SignIn) -> str:
        checklists.sign(session, _of(session, code, checklist_id), data)
        return _url(code)

    return submit(
        request,
        typed,
        SignIn,
        act=act,
        page=lambda s, form: page_of(request, s, code, form),
        form_id="sign",
        notice="The checklist is signed.",
    )


def _of(session: Session, code: str, checklist_id: int) -> Checklist:
    return checklists.of_batch(session, batches.by_code(session, code), checklist_id)


def _url(code: str) -> str:
    return f"/plan/{code}/checklist"


def page_of(request: Request, session: Session, code: str, failed: Form | None = None) -> Response:
    """The page of a batch's checklist, with the form that failed."""
    batch = batches.by_code(session, code)
    cast = casting.find(session, batch)
    checklist = checklists.current(session, batch)
    lines = checklists.lines(session, checklist) if checklist else []
    fault = gate.why_not(session, batch, checklist)
    castable = batch.state != "dropped" and (cast is None or cast.closed_at is not None)
    forms = _forms(request, session, batch, checklist, failed, fault is None) if castable else {}
    page = ChecklistPage(
        batch=batch,
        cast=cast,
        checklist=checklist,
        lines=lines,
        fault=fault,
        forms=forms,
        law=cautions.LAW,
        burns=cautions.BURNS,
        edition=checklists.edition_of(session, checklist) if checklist else None,
        holds_until=gate.holds_until(session, checklist) if checklist else None,
        limit_s=workshop.get(session).checklist_valid_s,
        earlier=[past for past in checklists.history(session, batch) if past is not checklist],
        stray=" ".join(failed.errors.values()) if failed and failed.id not in forms else "",
    )
    return render(request, session, page)


def _forms(
    request: Request, session: Session, batch: Batch, checklist: Checklist | None, failed: Form | None, opens: bool
) -> dict[str, Form]:
    """The forms that the state of the checklist calls for."""
    forms, url = Forms(request, session, failed), _url(batch.code)
    if checklist is None:
        return {"start": forms.get("start", FormIn, f"{url}/start")}
    found = {"anew": forms.get("anew", VoidIn, f"{url}/anew")}
    if checklist.completed_at is None:
        name = {"person": at_bench(request, session)}
        found["sign"] = forms.get("sign", SignIn, f"{url}/{checklist.pk}/sign", initial=name)
        for line in checklists.lines(session, checklist):
            for key in (f"line-{line.item.pk}", f"na-{line.item.pk}"):
                found[key] = forms.get(key, AnswerIn, f"{url}/{checklist.pk}/line/{line.item.pk}")
    elif opens:
        found["open"] = forms.get("open", OpenSessionIn, f"/cast/{batch.code}/open")
    return found
