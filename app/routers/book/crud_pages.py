"""One set of pages for everything the workshop owns by name: a list, a new one, one to change or put away."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app.forms import Choice, Form
from app.models.base import FormIn, Row
from app.models.history import correction_of
from app.services.book import audit_log, audit_reasons, repository
from app.web import Book, Forms, Typed, render, submit, version_of

Choices = dict[str, list[Choice]]


def _no_choices(_session: Session) -> Choices:
    return {}


def _nothing(*_: Any) -> dict[str, Any]:
    return {}


@dataclass(frozen=True)
class Noun:
    """What one set of pages is about.

    Attributes
    ----------
    room, slug, one : str
        The room of its templates, the address below /workshop (also the list's template), the word for one of them.
    table, model : type
        The row and its form.
    save : callable
        Service that enters or changes a row: session, form data, row or None, version.
    listing : callable
        Service that gives the rows in use, or the retired ones.
    page : str
        Template of the page of one.
    choices, initial : callable
        Choices of the form's lists; texts that stand in the form of a row, or of a new one (None).
    list_more, page_more : callable
        What else the list, and the page of one row (or None), show.
    """

    room: str
    slug: str
    one: str
    table: type[Row]
    model: type[FormIn]
    save: Callable[[Session, Any, Any, int | None], Row]
    listing: Callable[[Session, bool], Sequence[Row]]
    page: str = "book/crud_edit.html"
    choices: Callable[[Session], Choices] = _no_choices
    initial: Callable[[Any], Mapping[str, Any]] = _nothing
    list_more: Callable[[Session], dict[str, Any]] = _nothing
    page_more: Callable[[Session, Any, Forms], dict[str, Any]] = _nothing

    @property
    def url(self) -> str:
        """Address of the list."""
        return f"/workshop/{self.slug}"

    def show(self, request: Request, session: Session, row_id: int | None, failed: Form | None = None) -> Response:
        """The page of one row, or of a new one."""
        row = None if row_id is None else repository.get(session, self.table, row_id, self.one)
        url = f"{self.url}/new" if row is None else f"{self.url}/{row.pk}"
        forms = Forms(request, session, failed)
        model = self.model if row is None else correction_of(self.model)
        form = forms.get("form", model, url, row=row, initial=self.initial(row), choices=self.choices(session))
        away = None if row is None else forms.get("away", FormIn, f"{url}/away", row=row)
        used = {} if row is None else repository.uses(session, row)
        more = self.page_more(session, row, forms)
        return render(
            request,
            session,
            self.page,
            section="workshop",
            noun=self,
            row=row,
            form=form,
            away=away,
            used=used,
            stands=audit_reasons.counted(used),
            history=None if row is None else audit_log.history_of(session, row),
            **more,
        )


def add_pages(router: APIRouter, noun: Noun) -> None:
    """Put a noun's pages on a router."""

    def find(session: Session, row_id: int) -> Row:
        return repository.get(session, noun.table, row_id, noun.one)

    @router.get(noun.url)
    def show_all(request: Request, session: Book) -> Response:
        return render(
            request,
            session,
            f"{noun.room}/{noun.slug}.html",
            section="workshop",
            noun=noun,
            rows=noun.listing(session, False),
            retired=noun.listing(session, True),
            **noun.list_more(session),
        )

    @router.get(f"{noun.url}/new")
    def show_new(request: Request, session: Book) -> Response:
        return noun.show(request, session, None)

    @router.post(f"{noun.url}/new")
    def enter(request: Request, session: Book, typed: Typed) -> Response:
        def act(writing: Session, data: Any) -> str:
            noun.save(writing, data, None, None)
            return noun.url

        return submit(
            request,
            typed,
            noun.model,
            act=act,
            page=lambda s, form: noun.show(request, s, None, form),
            notice=f"The {noun.one} is in the book.",
            choices=noun.choices(session),
        )

    @router.get(noun.url + "/{row_id}")
    def show_one(request: Request, session: Book, row_id: int) -> Response:
        return noun.show(request, session, row_id)

    @router.post(noun.url + "/{row_id}")
    def change(request: Request, session: Book, row_id: int, typed: Typed) -> Response:
        def act(writing: Session, data: Any) -> str:
            noun.save(writing, data, find(writing, row_id), version_of(typed))
            return noun.url

        return submit(
            request,
            typed,
            correction_of(noun.model),
            act=act,
            page=lambda s, form: noun.show(request, s, row_id, form),
            notice=f"The {noun.one} is changed.",
            choices=noun.choices(session),
        )

    @router.post(noun.url + "/{row_id}/away")
    def put_away(request: Request, session: Book, row_id: int, typed: Typed) -> Response:
        row = find(session, row_id)
        kept = bool(repository.uses(session, row))
        is_back = bool(getattr(row, "retired", False))

        def act(writing: Session, _data: FormIn) -> str:
            if is_back:
                repository.bring_back(writing, find(writing, row_id), version_of(typed))
            else:
                repository.put_away(writing, find(writing, row_id), version_of(typed))
            return noun.url

        return submit(
            request,
            typed,
            FormIn,
            act=act,
            page=lambda s, form: noun.show(request, s, row_id, form),
            form_id="away",
            notice=f"The {noun.one} is " + ("in use again." if is_back else "retired." if kept else "deleted."),
        )
