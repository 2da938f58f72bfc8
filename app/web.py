"""From request to page: the form protocol and once-only saving. Pages are drawn in `frames`, and known here too.

The protocol of partial updates is one sentence: the server always answers with the whole page, and a
form that names a region (`swap` in `_forms.html`) lets htmx take that region out of it. Without script
the same form posts and the same page comes back.
"""

import hashlib
import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from typing import Annotated, Any, TypeVar

from fastapi import Depends, Query, Request
from fastapi.responses import Response
from sqlalchemy.exc import DBAPIError, IntegrityError
from sqlmodel import Session

from app import logbook, units, uploads
from app.book.elsewhere_standing import Elsewhere
from app.calc.base.errors import CalcError
from app.db import reading, writing
from app.errors import Asked, BookError, Conflict
from app.forms import Choice, Form, from_texts, resent, spent, whole
from app.frames import (
    YEAR_S,
    ErrorPage,
    at_bench,
    bare,
    device,
    glass_of,
    loaded_whole,
    named,
    redirect,
    render,
    whole_region,
)
from app.models import Draft, OnceToken
from app.models.base import FormIn, as_form
from app.page import Page
from app.services.book import audit_reasons, drafts, second_place, workshop
from app.troubles import trouble_of

__all__ = [
    "YEAR_S",
    "Book",
    "ErrorPage",
    "Forms",
    "PageNumber",
    "Texts",
    "Typed",
    "answered",
    "at_bench",
    "bare",
    "blank",
    "choose",
    "device",
    "doing",
    "elsewhere",
    "glass_of",
    "loaded_whole",
    "named",
    "reason",
    "redirect",
    "refuse",
    "render",
    "submit",
    "submit_file",
    "unsigned_writing",
    "version_of",
    "whole_region",
]

Texts = list[tuple[str, str]]
Act = Callable[[Session, Any], str]
Again = Callable[[Session, Form], Response]
T = TypeVar("T")


async def _typed(request: Request) -> Texts:
    uploads.refuse_larger(request, uploads.FORM_ROOM)
    uploads.refuse_foreign_text(request)
    data = request.scope["typed"] = await request.form(max_files=0)
    texts = [(name, value) for name, value in data.multi_items() if isinstance(value, str)]
    return resent([(uploads.writable(name), uploads.writable(value)) for name, value in texts])


def _book(request: Request) -> Iterator[Session]:
    with reading(request.app.state.engine) as session:
        yield session


Typed = Annotated[Texts, Depends(_typed)]
Book = Annotated[Session, Depends(_book)]
PageNumber = Annotated[int, Query(ge=1, le=100_000)]
"""Which page of a long list an address asks for."""


class SentAgainPage(Page, template="sent_again.html"):
    """A form was saved already and comes again with something else in it: both, and the question what to do."""

    leave: str
    """The page that the first save led to."""
    elsewhere: bool
    """Whether the first save was made at another address."""
    different: list[spent.Difference]
    sent: Texts
    """What was sent now, to be sent once more."""
    once: str
    version: int | None
    files: bool
    """Whether a file came with it, which has to be chosen again."""


UNMARKED = (
    "It came without the mark by which a form is saved once only, which each form of Grainbook carries. What was sent "
    "stands here: look it over and press the button again."
)
UNVERSIONED = (
    "It came without telling which state of this it is a change of, so it could undo what somebody else did. What you "
    "typed is kept here and was not saved. Open the page again to see how it stands now."
)


def blank(
    request: Request,
    session: Session,
    model: type[FormIn],
    *,
    action: str | None = None,
    form_id: str = "form",
    initial: Mapping[str, Any] | None = None,
    row: Any = None,
    choices: Mapping[str, list[Choice]] | None = None,
    unsaved: Mapping[str, Draft] | None = None,
) -> Form:
    """A form for a page just opened: from a row to edit, from initial texts, or from an unsaved draft.

    A page of several forms gives the drafts it has looked up for all of them.
    """
    action = action or request.url.path
    form = Form(model, form_id, action, choices=dict(choices or {}))
    texts = as_form(row, model, workshop.get(session).units) if row is not None else {}
    texts.update({name: _text(value) for name, value in (initial or {}).items()})
    form.values = {name: [text] for name, text in texts.items() if text != ""}
    form.version = getattr(row, "version", None)
    form.trust(workshop.get(session).units)
    draft = (drafts.unsaved(session) if unsaved is None else unsaved).get(action)
    if draft is not None:
        kept = from_texts(model, [tuple(pair) for pair in json.loads(draft.values_json)], form_id, action, {})
        form.values, form.version, form.draft_at = kept.values, kept.version, draft.updated_at
        form.sure = kept.sure
    return form


def _text(value: Any) -> str:
    if isinstance(value, bool):
        return "on" if value else ""
    return "" if value is None else str(value)


class Forms:
    """The forms of a page that has several: the one that failed comes back as it was sent."""

    def __init__(self, request: Request, session: Session, failed: Form | None = None) -> None:
        self.request, self.session, self.failed = request, session, failed
        self.unsaved = drafts.unsaved(session)

    def get(self, form_id: str, model: type[FormIn], action: str, **more: Any) -> Form:
        """The form of that identifier: blank, or failed with its faults."""
        if self.failed is not None and self.failed.id == form_id:
            self.failed.choices = {**dict(more.get("choices") or {}), **self.failed.choices}
            return self.failed
        return blank(self.request, self.session, model, action=action, form_id=form_id, unsaved=self.unsaved, **more)


def submit(
    request: Request,
    typed: Texts,
    model: type[FormIn],
    *,
    act: Act,
    page: Again,
    notice: str | Callable[[], str] = "Saved.",
    form_id: str = "form",
    choices: Mapping[str, list[Choice]] | None = None,
    sums: Mapping[str, str] | None = None,
) -> Response:
    """Check a form, do its act once, and go on to the page the act names; or show the form with its faults.

    The once-only token is spent in the act's own transaction: a double click, a second tab's resend or a
    replay finds it spent and is shown what the first one saved; with something else in it, it is asked about. A form
    without a token is refused. `sums` are the SHA-256 of files that came with it, by the name of their field. A
    `notice` that tells what the act came to is asked for once it is done.
    """
    form = from_texts(model, typed, form_id, request.url.path, choices or {})
    engine, sums, token = request.app.state.engine, sums or {}, None
    if not form.came_with_token:
        form.refuse(None, UNMARKED)
    else:
        with _saving(request, form) as session:
            token = session.get(OnceToken, form.once)
            url = _save(request, session, form, act, sums) if token is None else None
            if url is not None:
                return redirect(url, f"{notice if isinstance(notice, str) else notice()} {form.not_kept}".rstrip())
    if token is not None and spent.is_same(token, form, sums):
        return redirect(token.url, "That was saved already; it was not saved a second time.")
    with reading(engine) as session:
        if token is not None:
            with suppress(BookError):
                page(session, form)  # it tells the form what its choices are called
            return _sent_again(request, session, token, form, typed, sums)
        response = page(session, form)
        if b'role="alert"' not in response.body:  # the page has this form no more; the refusal is told all the same
            words = [form.message, *(f"{label}: {fault}" for _, label, fault in form.faults)]
            message = " ".join(word for word in words if word)
            response = render(request, session, ErrorPage(code="Not saved", message=message, page=""))
    response.status_code = form.status
    return response


def _save(request: Request, session: Session, form: Form, act: Act, sums: Mapping[str, str]) -> str | None:
    """Check the form, do its act and spend its token: where it leads, or nothing with the fault in the form."""
    data = form.check(workshop.get(session).units)
    if data is None:
        return None
    try:
        with audit_reasons.signed(session, at_bench(request, session, data), reason(data), device(request)):
            url = act(session, data)
        session.add(spent.spend(form, url, sums))
        draft = session.get(Draft, form.action)
        if draft is not None:
            session.delete(draft)
        session.commit()
        return url
    except BookError as error:
        refuse(form, error)
        form.status = error.status
    except CalcError as error:
        refuse(form, error)
    except IntegrityError as error:
        form.refuse(None, f"The book refused this: {error.orig}. Nothing was changed.")
    session.rollback()
    return None


def _sent_again(
    request: Request, session: Session, token: OnceToken, form: Form, typed: Texts, sums: Mapping[str, str]
) -> Response:
    """Both what was saved with a token and what comes with it now, and what can be done about it."""
    page = SentAgainPage(
        leave=token.url,
        elsewhere=token.address != form.action,
        different=spent.differences(token, form, sums),
        sent=[
            (name, text) for name, text in typed if name not in ("once", "version", *sums) and not form.is_secret(name)
        ],
        once=Form(form.model, form.id, form.action).once,
        version=spent.version_after(token, form),
        files=bool(sums),
    )
    response = whole_region(request, render(request, session, page, 409))
    if "hx-request" in request.headers:  # a link back to the page that was left would only move within this one
        response.headers["HX-Push-Url"] = form.action
    return response


def submit_file(
    request: Request,
    sent: uploads.Sent,
    model: type[FormIn],
    *,
    act: Act,
    page: Again,
    notice: str,
    too_large: str,
    form_id: str = "form",
) -> Response:
    """As `submit`, for a form that a file was sent with; one over its limit is refused beside the field."""
    if not sent.too_large:
        sums = {name: hashlib.sha256(content).hexdigest() for name, content in sent.files.items()}
        return submit(request, sent.texts, model, act=act, page=page, notice=notice, form_id=form_id, sums=sums)
    form = from_texts(model, [], form_id, request.url.path, {})
    form.refuse("file", too_large)
    with reading(request.app.state.engine) as session:
        response = page(session, form)
    response.status_code = 413
    return response


def answered(form: Form, system: units.UnitSystem, ask: Callable[[Any], T]) -> T | None:
    """What is asked by a form that saves nothing; where there is no answer, the fault stands in the form."""
    form.asks_only = True
    data = form.check(system)
    if data is None:
        return None
    try:
        return ask(data)
    except (BookError, CalcError) as error:
        refuse(form, error)
    return None


def refuse(form: Form, error: BookError | CalcError) -> None:
    """Put a refusal, and what else is wrong, beside the fields that it is about."""
    words = error.message if isinstance(error, BookError) else error.words
    form.refuse(error.field, words, error if isinstance(error, Asked) else None)
    for more in error.also if isinstance(error, BookError) else ():
        refuse(form, more)


@contextmanager
def _saving(request: Request, form: Form) -> Iterator[Session]:
    """A writing session; where the disk or another program stands in the way, the form tells it and is shown again."""
    try:
        with writing(request.app.state.engine) as session:
            yield session
    except DBAPIError as error:
        trouble = trouble_of(error)
        if trouble is None:
            raise
        logbook.fault(doing(request), error)
        form.refuse(None, f"{trouble.message} What you typed is still here.")
        form.status = trouble.status


def doing(request: Request) -> str:
    """What was asked for, in the shape of its address: what stands for a code or a name is left out."""
    return f"{request.method} {getattr(request.scope.get('route'), 'path', 'an address')}"


def elsewhere(request: Request, session: Session) -> Elsewhere | None:
    """How it stands with the second place for copies; nothing where none is chosen."""
    house, thread = workshop.get(session), request.app.state.elsewhere
    found: Elsewhere | None = thread.standing(house.elsewhere_folder, house.elsewhere_key, second_place.saves(session))
    return found


def reason(data: FormIn) -> str:
    """Why something is done, where the form asks for it."""
    return str(getattr(data, "why", None) or getattr(data, "reason", None) or "")


@contextmanager
def unsigned_writing(request: Request) -> Iterator[Session]:
    """A session for what is nobody's act: words not saved yet, and a device that pairs. The caller commits."""
    with writing(request.app.state.engine) as session:
        yield session


def version_of(typed: Texts) -> int:
    """The version of the row that a form was opened on; 0, which no row has, where it cannot be read.

    Raises
    ------
    Conflict
        The form tells none.
    """
    for name, text in typed:
        if name == "version":
            return whole(text) or 0
    raise Conflict(UNVERSIONED)


def choose(rows: Iterable[Any], label: Callable[[Any], str] = lambda row: str(row.name)) -> list[Choice]:
    """Rows as the choices of a list."""
    return [(str(row.id), label(row)) for row in rows]
