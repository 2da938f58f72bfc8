"""One set of pages for everything the workshop owns by name: a list, a new one, one to change or put away."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app.forms import Choice, Form
from app.models.base import FormIn, Row
from app.models.history import correction_of
from app.page import Page
from app.services.book import audit_log, audit_reasons, last_entry, repository
from app.services.book.audit_log import History
from app.web import Book, Forms, Typed, render, submit, version_of

Choices = dict[str, list[Choice]]
R = TypeVar("R", bound=Row)


@dataclass(frozen=True)
class Listed(Generic[R]):
    """What every list shows: the rows in use, and the retired ones."""

    noun: "Noun[R]"
    rows: Sequence[R]
    retired: Sequence[R]


@dataclass(frozen=True)
class Shown(Generic[R]):
    """What the page of every row shows; a new one has no row, nothing to put away and no history."""

    noun: "Noun[R]"
    row: R | None
    form: Form
    away: Form | None
    used: dict[str, int]
    begun: str
    """What a new one has from the last one, as a sentence."""
    stands: str
    """What stands on the row, in words."""
    history: History | None


class PlainPage(Page, Generic[R], template="book/crud_edit.html", section="workshop"):
    """The page of a row with nothing but its form."""

    shown: Shown[R]


def _no_choices(_session: Session) -> Choices:
    return {}


def _no_texts(_row: Row | None) -> dict[str, Any]:
    return {}


def _plain(_session: Session, shown: Shown[R], _forms: Forms) -> Page:
    return PlainPage(shown=shown)


def _called(row: Any) -> str:
    return str(getattr(row, "name", "") or row.mark)


@dataclass(frozen=True)
class Noun(Generic[R]):
    """What one set of pages is about.

    Attributes
    ----------
    slug, one : str
        The address below /workshop, the word for one of them.
    table, model : type
        The row and its form.
    save : callable
        Service that enters or changes a row: session, form data, row or None, version.
    listing : callable
        Service that gives the rows in use, or the retired ones.
    list_page, page : callable
        The list, of its rows; the page of one row (or None), of what every such page shows and the page's forms.
    choices, initial : callable
        Choices of the form's lists; texts that stand in the form of a row, or of a new one (None).
    texts : callable
        Texts in the form of a row that no column of it holds as they are typed.
    changed : callable
        What is seen to once a row was changed, such as figures that were worked out from it.
    like : tuple of str
        Fields in which a new one begins like the last one; nothing that is measured.
    """

    slug: str
    one: str
    table: type[R]
    model: type[FormIn]
    save: Callable[[Session, Any, R | None, int | None], R]
    listing: Callable[[Session, bool], Sequence[R]]
    list_page: Callable[[Session, Listed[R]], Page]
    page: Callable[[Session, Shown[R], Forms], Page] = _plain
    choices: Callable[[Session], Choices] = _no_choices
    initial: Callable[[R | None], Mapping[str, Any]] = _no_texts
    texts: Callable[[Session, R], Mapping[str, Any]] = lambda _session, _row: {}
    changed: Callable[[Session], object] = lambda _session: None
    like: tuple[str, ...] = ()

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
        used = {} if row is None else repository.uses(session, row)
        last, begun = (
            ({}, "") if row else last_entry.of(session, self.table, self.model, self.like, self.initial, _called)
        )
        shown = Shown(
            noun=self,
            row=row,
            form=forms.get(
                "form",
                model,
                url,
                row=row,
                initial={**self.initial(row), **last, **(self.texts(session, row) if row else {})},
                choices=self.choices(session),
            ),
            away=None if row is None else forms.get("away", FormIn, f"{url}/away", row=row),
            begun=begun,
            used=used,
            stands=audit_reasons.counted(used),
            history=None if row is None else audit_log.history_of(session, row),
        )
        return render(request, session, self.page(session, shown, forms))


def add_pages(router: APIRouter, noun: Noun[R]) -> None:
    """Put a noun's pages on a router."""

    def find(session: Session, row_id: int) -> R:
        return repository.get(session, noun.table, row_id, noun.one)

    @router.get(noun.url)
    def show_all(request: Request, session: Book) -> Response:
        listed = Listed(noun, noun.listing(session, False), noun.listing(session, True))
        return render(request, session, noun.list_page(session, listed))

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
            noun.changed(writing)
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
