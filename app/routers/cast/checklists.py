"""Pages of the checklist before a cast session."""

from dataclasses import dataclass
from datetime import datetime

from fastapi import Request
from fastapi.responses import Response
from sqlmodel import Session

from app.errors import Refused
from app.forms import Form
from app.models import Batch, CastSession, Checklist, ChecklistEdition
from app.models.cast import OpenSessionIn
from app.models.checklist import AnswerIn, SignIn, StartAnewIn, StartIn
from app.page import Page
from app.routing import late_router
from app.services.book import audit_reasons, workshop
from app.services.cast import blanks, casting, cautions, checklists, editions, entering, evenings, gate
from app.services.cast.blanks import Blank
from app.services.cast.checklists import Line
from app.services.cast.evenings import Entry
from app.services.hardware import instrument_checks
from app.services.hardware.instrument_checks import CheckOfToday
from app.services.stock import batches
from app.web import Book, Forms, Typed, device, loaded_whole, named, render, submit

router = late_router("/plan/{code}/checklist")


@dataclass(frozen=True)
class At:
    """Where one is in a list that is being answered: at a line, or at its end."""

    line: Line | None
    """The line at hand; nothing at the end."""
    number: int
    around: list[tuple[int, Line]]
    """It and its neighbours, each with its number."""
    blanks: tuple[Blank, ...]
    before: list[tuple[datetime, str]]
    """When the line was answered last with a number, and what it said."""
    check: CheckOfToday | None
    """What it may be answered from, where it asks for a check of scale or thermometer."""
    last: Line | None
    """The line before it."""
    next: Line | None


class ChecklistPage(Page, template="cast/checklist.html", section="plan"):
    """The checklist of a batch: to begin, to answer, or signed."""

    batch: Batch
    cast: CastSession | None
    checklist: Checklist | None
    lines: list[Line]
    at: At | None
    """Where one is in it; nothing while none is being answered."""
    uncovered: list[str]
    """What the list has no line for that comes again before each melt; a short list lacks nothing."""
    castable: bool
    fault: str | None
    """What keeps it from opening a session, or from letting the batch into the open evening."""
    entry: Entry
    """Which list the batch takes now, and why."""
    evening: list[Batch]
    """The batches of the open evening that it would come into."""
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


class SignPage(Page, template="cast/checklist_sign.html", section="plan"):
    """The signature under a checklist: an act of its own, on a page of its own."""

    batch: Batch
    checklist: Checklist
    lines: list[Line]
    form: Form
    anew: Form | None
    """Begins the whole list in the place of a short one."""
    names: list[str]
    places: list[str]
    """Where lists were signed for before, where there are several."""
    fault: str
    """What keeps it from being signed; empty when nothing does."""
    holds_s: float


class PastChecklistPage(Page, template="cast/checklist_edition.html", section="plan"):
    """One checklist as it stands, to read."""

    batch: Batch
    checklist: Checklist
    lines: list[Line]
    edition: ChecklistEdition


@router.get("")
def show(request: Request, session: Book, code: str, line: int = 0) -> Response:
    """The checklist of a batch: to begin, to answer, or signed; `line` leads to one that has its answer."""
    return page_of(request, session, code, line=line)


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

    def act(session: Session, data: StartIn) -> str:
        batch = batches.by_code(session, code)
        checklists.start(session, batch, _joined(session, batch, data))
        return _url(code)

    return submit(
        request,
        typed,
        StartIn,
        act=act,
        page=lambda s, form: page_of(request, s, code, form),
        form_id="start",
        notice="Go through each line at the bench, not from memory.",
    )


@router.post("/anew")
def start_anew(request: Request, typed: Typed, code: str) -> Response:
    """Void the checklist at hand and begin another."""

    def act(session: Session, data: StartAnewIn) -> str:
        batch = batches.by_code(session, code)
        checklists.start_anew(session, batch, data.why, _joined(session, batch, data))
        return _url(code)

    return submit(
        request,
        typed,
        StartAnewIn,
        act=act,
        page=lambda s, form: page_of(request, s, code, form),
        form_id="anew",
        notice="The earlier checklist is voided; here is a new one.",
    )


@router.post("/{checklist_id}/line/{item_id}")
def answer(request: Request, book: Book, typed: Typed, code: str, checklist_id: int, item_id: int) -> Response:
    """Answer one line, and go on to the next that has no answer; one that is taken back stays in hand."""
    back = ("answer", "open") in typed
    model = AnswerIn if ("answer", "na") in typed else checklists.form_of(book, item_id)

    def act(session: Session, data: AnswerIn) -> str:
        checklist = _of(session, code, checklist_id)
        checklists.answer(session, checklist, item_id, data)
        answered = all(line.answer is not None for line in checklists.lines(session, checklist))
        if checklist.again and answered:  # its page follows by itself, and nothing on it is at hand
            return _sign_url(code, checklist_id)
        return f"{_url(code)}?line={item_id}" if back else _url(code)

    answered = submit(
        request,
        typed,
        model,
        act=act,
        page=lambda s, form: page_of(request, s, code, form, line=item_id),
        form_id="na" if ("answer", "na") in typed else "line",
        notice="",
    )
    return loaded_whole(request, answered) if _leads_to(answered, _sign_url(code, checklist_id)) else answered


@router.get("/{checklist_id}/sign")
def show_sign(request: Request, session: Book, code: str, checklist_id: int) -> Response:
    """The signature under a checklist."""
    return _sign_page(request, session, code, checklist_id)


@router.post("/{checklist_id}/sign")
def sign(request: Request, typed: Typed, code: str, checklist_id: int) -> Response:
    """Complete the checklist; a short one that may, lets its batch into the evening with the same press."""
    told = ["The checklist is signed."]

    def act(session: Session, data: SignIn) -> str:
        checklist = _of(session, code, checklist_id)
        checklists.same_hands(session, checklist, data)
        checklists.sign(session, checklist, data)
        if not (data.join and checklist.again):
            return _url(code)
        try:
            # An act of its own, a moment after the signature: the book lets nothing in by a list signed later than it.
            with audit_reasons.signed(session, checklist.person, device=device(request)):
                batch = batches.by_code(session, code)
                joined = evenings.join(session, batch, OpenSessionIn(checklist_id=checklist_id))
        except Refused as why:  # signed it is; what is in the way is told where it joins
            told.append(f"It did not join yet. {why.message}")
            return _url(code)
        told.append("It is a melt of the open evening.")
        return f"/bench/{joined.cast_session_id}"

    return submit(
        request,
        typed,
        SignIn,
        act=act,
        page=lambda s, form: _sign_page(request, s, code, checklist_id, form),
        form_id="sign",
        notice=lambda: " ".join(told),
    )


def _sign_page(
    request: Request, session: Session, code: str, checklist_id: int, failed: Form | None = None
) -> Response:
    batch = batches.by_code(session, code)
    checklist = checklists.of_batch(session, batch, checklist_id)
    if checklist.completed_at is not None or checklist.voided_at is not None:
        return page_of(request, session, code, failed)
    whole, known = checklists.whole_of(session, checklist), checklists.places(session)
    names = [whole.person] if whole is not None else checklists.who_may_sign(session, named(request, session))
    if whole is not None:
        known = [whole.place]
    forms, address = Forms(request, session, failed), _sign_url(code, checklist_id)
    usual = {"place" if len(known) == 1 else "where": known[0]} if known else {}
    page = SignPage(
        batch=batch,
        checklist=checklist,
        lines=checklists.lines(session, checklist),
        form=forms.get("sign", SignIn, address, initial=usual),
        anew=forms.get("anew", StartAnewIn, f"{_url(code)}/anew") if whole is not None else None,
        names=names,
        places=known[:PLACES] if len(known) > 1 else [],
        fault=checklists.unsigned(session, checklist),
        holds_s=workshop.get(session).checklist_valid_s,
    )
    return render(request, session, page)


PLACES = 4
"""How many of the places before are offered by a button each."""


def _joined(session: Session, batch: Batch, data: StartIn) -> CastSession | None:
    """The open evening that a batch joins by a short list, where that is enough and no whole one is wanted."""
    entry = evenings.entry(session, batch)
    return entry.evening if entry.short and not data.whole else None


def _of(session: Session, code: str, checklist_id: int) -> Checklist:
    return checklists.of_batch(session, batches.by_code(session, code), checklist_id)


def _short_for(session: Session, batch: Batch) -> CastSession | None:
    """The open evening that the batch joins by a short list; nothing where it takes the whole one."""
    entry = evenings.entry(session, batch)
    return entry.evening if entry.short else None


def _url(code: str) -> str:
    return f"/plan/{code}/checklist"


def _sign_url(code: str, checklist_id: int) -> str:
    return f"{_url(code)}/{checklist_id}/sign"


def _leads_to(response: Response, url: str) -> bool:
    return response.headers.get("location") == url


def page_of(request: Request, session: Session, code: str, failed: Form | None = None, line: int = 0) -> Response:
    """The page of a batch's checklist, at a line of it, with the form that failed."""
    batch = batches.by_code(session, code)
    cast = casting.find(session, batch)
    checklist = checklists.current(session, batch)
    lines = checklists.lines(session, checklist) if checklist else []
    fault = evenings.fault(session, batch, checklist)
    melt, entry = casting.melt(session, batch), evenings.entry(session, batch)
    again = melt is not None and melt.evening.closed_at is None and gate.renewable(session, melt)
    castable = batch.state != "dropped" and (cast is None or cast.closed_at is not None or again)
    answering = castable and checklist is not None and checklist.completed_at is None
    at = _at(session, checklist, lines, line) if answering and checklist else None
    forms = _forms(request, session, batch, checklist, failed, at, fault is None) if castable else {}
    page = ChecklistPage(
        batch=batch,
        cast=cast,
        checklist=checklist,
        lines=lines,
        at=at,
        uncovered=gate.uncovered(editions.now_used(session, ChecklistEdition)),
        castable=castable,
        fault=fault,
        entry=entry,
        evening=entering.lots(session, entry.evening) if entry.evening is not None else [],
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


AROUND = (2, 4)
"""How many lines are shown before the one at hand, and behind it: no more than a screen takes."""


def _at(session: Session, checklist: Checklist, lines: list[Line], wanted: int) -> At:
    """Where one is: at the line that is asked for, else at the first without an answer, else at the end."""
    open_at = next((i for i, line in enumerate(lines) if line.answer is None), len(lines))
    place = next((i for i, line in enumerate(lines) if line.item.pk == wanted), open_at)
    line = lines[place] if place < len(lines) else None
    units = workshop.get(session).units
    said = checklists.said_before(session, checklist, line.item) if line else []
    shown = range(max(place - AROUND[0], 0), min(place + AROUND[1] + 1, len(lines)))
    return At(
        line=line,
        number=place + 1,
        around=[(i + 1, lines[i]) for i in shown] if line else [],
        blanks=blanks.of_line(line.item.words, units) if line else (),
        before=[(old.answered_at, ", ".join(number.typed for number in old.numbers)) for old in said],
        check=instrument_checks.for_line(session, line.item.words) if line else None,
        last=lines[place - 1] if place else None,
        next=lines[place + 1] if place + 1 < len(lines) else None,
    )


def _forms(
    request: Request,
    session: Session,
    batch: Batch,
    checklist: Checklist | None,
    failed: Form | None,
    at: At | None,
    opens: bool,
) -> dict[str, Form]:
    """The forms that the state of the checklist calls for."""
    forms, url = Forms(request, session, failed), _url(batch.code)
    if checklist is None:
        return {"start": forms.get("start", StartIn, f"{url}/start")}
    found = {"anew": forms.get("anew", StartAnewIn, f"{url}/anew")}
    if at is not None and at.line is not None:
        address = f"{url}/{checklist.pk}/line/{at.line.item.pk}"
        read = {at.blanks[0].name: at.check.reading} if at.check and len(at.blanks) == 1 else {}
        found["line"] = forms.get("line", checklists.form_of(session, at.line.item.pk), address, initial=read)
        found["na"] = forms.get("na", AnswerIn, address)
    elif opens:
        found["open"] = forms.get("open", OpenSessionIn, f"/cast/{batch.code}/{'join' if checklist.again else 'open'}")
    return found
