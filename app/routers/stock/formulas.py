"""Pages of the formulas."""

from dataclasses import dataclass
from typing import Any

from fastapi import Request
from fastapi.responses import Response
from sqlmodel import Session

from app.forms import Form
from app.models import Batch, Formula
from app.models.base import FormIn
from app.models.formula import FormulaIn
from app.models.history import correction_of
from app.page import Page
from app.routing import late_router
from app.services.book import audit_log, repository, workshop
from app.services.book.audit_log import History
from app.services.stock import formulas, supplies
from app.services.stock.formulas import BlendFacts, Burning
from app.units import editable
from app.web import Book, Forms, Typed, render, submit, version_of

router = late_router("/workshop/formulas")


class FormulasPage(
    Page,
    template="stock/formulas.html",
    section="workshop",
    group="Stock",
    tabs=[(3, "/workshop/formulas", "Formulas")],
):
    """The formulas, each with what follows from it and how many batches used it."""

    listed: list[tuple[Formula, BlendFacts, int]]
    retired: list[Formula]


@dataclass(frozen=True)
class FormulaFigures:
    """What follows from a formula, and what was made of it."""

    facts: BlendFacts
    versions: list[Formula]
    batches: list[Batch]
    history: History
    away: Form
    burning: Burning


class FormulaPage(Page, template="stock/formula.html", section="workshop"):
    """A formula; a new one has no figures."""

    formula: Formula | None
    form: Form
    known: list[str]
    """The ingredients that the book knows."""
    figures: FormulaFigures | None


@router.get("")
def show_all(request: Request, session: Book) -> Response:
    """The list of formulas."""
    listed = [
        (formula, formulas.facts(formula), len(formulas.batches(session, formula)))
        for formula in formulas.current(session)
    ]
    return render(request, session, FormulasPage(listed=listed, retired=formulas.retired(session)))


@router.get("/new")
def show_new(request: Request, session: Book) -> Response:
    """An empty formula."""
    return _page(request, session, None)


@router.post("/new")
def enter(request: Request, typed: Typed) -> Response:
    """Enter a formula."""
    return submit(
        request,
        typed,
        FormulaIn,
        act=lambda s, data: _url(formulas.save(s, data)),
        page=lambda s, form: _page(request, s, None, form),
        notice="The formula is in the book.",
    )


@router.get("/{formula_id}")
def show_one(request: Request, session: Book, formula_id: int) -> Response:
    """One formula: what follows from it, its versions, and its form."""
    return _page(request, session, formula_id)


@router.post("/{formula_id}")
def change(request: Request, session: Book, formula_id: int, typed: Typed) -> Response:
    """Change a formula that no batch uses, or make the next version of one that is used."""
    used = formulas.is_used(session, formulas.get(session, formula_id))

    def act(writing: Session, data: Any) -> str:
        return _url(formulas.save(writing, data, formulas.get(writing, formula_id), version_of(typed)))

    return submit(
        request,
        typed,
        correction_of(FormulaIn),
        act=act,
        page=lambda s, form: _page(request, s, formula_id, form),
        notice="Saved; the version that batches used is as it was." if used else "The formula is changed.",
    )


@router.post("/{formula_id}/away")
def put_away(request: Request, session: Book, formula_id: int, typed: Typed) -> Response:
    """Retire a formula, or take it into use again."""
    is_back = formulas.get(session, formula_id).retired
    kept = bool(repository.uses(session, formulas.get(session, formula_id)))

    def act(writing: Session, _data: FormIn) -> str:
        formula = formulas.get(writing, formula_id)
        (repository.bring_back if is_back else repository.put_away)(writing, formula, version_of(typed))
        return "/workshop/formulas"

    return submit(
        request,
        typed,
        FormIn,
        act=act,
        page=lambda s, form: _page(request, s, formula_id, form),
        form_id="away",
        notice="The formula is " + ("in use again." if is_back else "retired." if kept else "deleted."),
    )


def _url(formula: Formula) -> str:
    return f"/workshop/formulas/{formula.pk}"


def _texts(session: Session, formula: Formula) -> dict[str, Any]:
    units = workshop.get(session).units
    texts: dict[str, Any] = {}
    for i, (key, share) in enumerate(formula.blend.items()):
        texts[f"parts.{i}.ingredient"] = supplies.ingredient_name(key)
        texts[f"parts.{i}.percent"] = editable(share, "share", units)
    return texts


def _page(request: Request, session: Session, formula_id: int | None, failed: Form | None = None) -> Response:
    formula = None if formula_id is None else formulas.get(session, formula_id)
    url = "/workshop/formulas/new" if formula is None else _url(formula)
    forms = Forms(request, session, failed)
    model = FormulaIn if formula is None else correction_of(FormulaIn)
    page = FormulaPage(
        formula=formula,
        form=forms.get("form", model, url, row=formula, initial=_texts(session, formula) if formula else None),
        known=supplies.ingredient_names(),
        figures=None if formula is None else _figures(session, formula, forms),
    )
    return render(request, session, page)


def _figures(session: Session, formula: Formula, forms: Forms) -> FormulaFigures:
    return FormulaFigures(
        facts=formulas.facts(formula),
        versions=formulas.versions(session, formula),
        batches=formulas.batches(session, formula),
        history=audit_log.history_of(session, formula),
        away=forms.get("away", FormIn, f"{_url(formula)}/away", row=formula),
        burning=formulas.burning(session, formula),
    )
