"""Pages of the plan: what is to be cast, worked out to the gram."""

from datetime import datetime
from typing import Any
from urllib.parse import urlencode

from fastapi import Request
from fastapi.responses import Response
from sqlmodel import Session

from app import clock
from app.forms import Choice, Form, from_texts, resent
from app.models import Batch, Checklist, Formula
from app.models.base import FormIn
from app.models.batch import PlanIn, VoidIn
from app.page import Page
from app.routing import late_router
from app.services.book import audit_log, repository, workshop
from app.services.book.audit_log import History
from app.services.cast import cautions, checklists, gate, melts, needs, planning, targets
from app.services.cast.needs import Need, Wanted, Worked
from app.services.hardware import inventory
from app.services.stock import batches, formulas
from app.units import editable, show
from app.web import Book, Forms, PageNumber, Typed, answered, choose, render, submit, version_of

router = late_router("/plan")

SHORT_NAMES = {"pattern": "items.0.pattern_id", "pattern_id": "items.0.pattern_id", "count": "items.0.count"}


class PlansPage(Page, template="cast/plans.html", section="plan", tabs=[(1, "/plan", "Batches")]):
    """All batches, each with its formula: what is still to do, and a page of what is past."""

    open_plans: list[tuple[Batch, Formula]]
    past: list[tuple[Batch, Formula]]
    found: repository.Page[Batch]


class PlanPage(Page, template="cast/plan.html", section="plan"):
    """One batch: its recipe, what is short, and what comes next."""

    batch: Batch
    formula: Formula
    wanted: list[Wanted]
    needs: list[Need]
    weighed: dict[int, float]
    places: int
    checklist: Checklist | None
    fault: str | None
    """Why the checklist does not open the session yet."""
    holds_until: datetime | None
    drop: Form
    take_up: Form
    history: History
    again: str
    """The query of a new plan of the same grains."""


class PlanFormPage(Page, template="cast/plan_form.html", section="plan"):
    """The form of a plan, and what it comes to where that was asked."""

    form: Form
    batch: Batch | None
    worked: Worked | None
    proposal: str
    capacity_kg: float | None
    places: int
    cautions: list[str]
    has_leftovers: bool
    remelt_limit: float


@router.get("")
def show_all(request: Request, session: Book, page: PageNumber = 1) -> Response:
    """All batches, what is still to do first."""
    found, to_do = batches.past(session, page), batches.in_states(session, *batches.OPEN_STATES)
    shown = PlansPage(
        found=found,
        open_plans=[(batch, batches.formula_of(session, batch)) for batch in to_do],
        past=[(batch, batches.formula_of(session, batch)) for batch in found.rows],
    )
    return render(request, session, shown)


@router.get("/new")
def show_new(request: Request, session: Book) -> Response:
    """The plan form, empty, prefilled from the address, or worked out."""
    return _form_page(request, session, None)


@router.post("/new")
def save_new(request: Request, typed: Typed) -> Response:
    """Plan a batch."""
    return submit(
        request,
        typed,
        PlanIn,
        act=_plan,
        page=lambda s, form: _form_page(request, s, None, form),
        notice="The batch is planned.",
    )


def _plan(session: Session, data: PlanIn) -> str:
    """Where a saved plan is looked at: its own page, or the list for several melts."""
    batch = planning.plan(session, data)
    return _url(batch) if (data.melts or 1) == 1 else "/plan"


@router.get("/{code}")
def show_one(request: Request, session: Book, code: str) -> Response:
    """One plan: the recipe, what is short, and what comes next."""
    return page_of(request, session, code)


@router.get("/{code}/edit")
def show_edit(request: Request, session: Book, code: str) -> Response:
    """The form of a plan that was not cast yet."""
    return _form_page(request, session, code)


@router.post("/{code}/edit")
def save_edit(request: Request, typed: Typed, code: str) -> Response:
    """Change a plan."""

    def act(session: Session, data: PlanIn) -> str:
        return _url(planning.edit(session, batches.by_code(session, code), data, version_of(typed)))

    return submit(
        request,
        typed,
        PlanIn,
        act=act,
        page=lambda s, form: _form_page(request, s, code, form),
        notice="The plan is changed. A checklist made for the earlier plan does not count any more.",
    )


@router.post("/{code}/drop")
def drop(request: Request, typed: Typed, code: str) -> Response:
    """Give up a plan."""

    def act(session: Session, data: VoidIn) -> str:
        return _url(planning.drop(session, batches.by_code(session, code), data.why, version_of(typed)))

    return submit(
        request,
        typed,
        VoidIn,
        act=act,
        page=lambda s, form: page_of(request, s, code, form),
        form_id="drop",
        notice="The plan is dropped; it stays in the book with its reason.",
    )


def _url(batch: Batch) -> str:
    return f"/plan/{batch.code}"


def page_of(request: Request, session: Session, code: str, failed: Form | None = None) -> Response:
    """The page of a batch, with the form that failed."""
    batch = batches.by_code(session, code)
    checklist = checklists.current(session, batch)
    forms = Forms(request, session, failed)
    page = PlanPage(
        batch=batch,
        formula=batches.formula_of(session, batch),
        wanted=needs.wanted(session, batch),
        needs=needs.of_batch(session, batch),
        weighed=batches.weighed(session, batch),
        places=targets.places(workshop.get(session)),
        checklist=checklist,
        fault=gate.why_not(session, batch, checklist),
        holds_until=gate.holds_until(session, checklist) if checklist else None,
        drop=forms.get("drop", VoidIn, f"{_url(batch)}/drop", row=batch),
        history=audit_log.history_of(session, batch),
        again=_again(session, batch),
        take_up=forms.get("take-up", FormIn, f"{_url(batch)}/take-up", row=batch),
    )
    return render(request, session, page)


def _form_page(request: Request, session: Session, code: str | None, failed: Form | None = None) -> Response:
    batch = batches.by_code(session, code) if code else None
    url = f"{_url(batch)}/edit" if batch else "/plan/new"
    choices = _choices(session, batch)
    worked = None
    if failed is not None:
        form = failed
    elif request.query_params:
        form, worked = _from_address(request, session, url, batch)
    else:
        initial = _texts_of(session, batch) if batch else _defaults(session)
        form = Forms(request, session).get("form", PlanIn, url, row=batch, initial=initial)
    form.choices = choices
    page = PlanFormPage(
        form=form,
        batch=batch,
        worked=worked[0] if worked else None,
        proposal=worked[1] if worked else "",
        capacity_kg=workshop.get(session).pan_capacity_kg,
        places=targets.places(workshop.get(session)),
        cautions=cautions.AT_THE_PLAN,
        has_leftovers=bool(choices["remelts.leftover_id"]),
        remelt_limit=workshop.get(session).remelt_limit_share,
    )
    return render(request, session, page, 422 if form.errors else 200)


def _from_address(
    request: Request, session: Session, url: str, batch: Batch | None
) -> tuple[Form, tuple[needs.Worked, str] | None]:
    """The form as the address fills it; `look` in the address works it out without saving."""
    texts = [(SHORT_NAMES.get(name, name), text) for name, text in resent(request.query_params.multi_items())]
    look = ("look", "1") in texts
    if not look:
        defaults = _texts_of(session, batch) if batch else _defaults(session)
        given = {name for name, _ in texts}
        texts += [(name, str(text)) for name, text in defaults.items() if name not in given]
    form = from_texts(PlanIn, texts, "form", url, {})
    if batch is not None and form.version is None:
        form.version = batch.version
    if not look:
        return form, None
    form.asks_at = f"{url}#worked"
    return form, answered(
        form,
        workshop.get(session).units,
        lambda data: (needs.work_out(session, data, batch), melts.proposal(session, data, batch)),
    )


def _choices(session: Session, batch: Batch | None) -> dict[str, list[Choice]]:
    blends = formulas.current(session)
    if batch is not None and all(blend.pk != batch.formula_id for blend in blends):
        blends.append(batches.formula_of(session, batch))
    units = workshop.get(session).units
    return {
        "formula_id": choose(blends, lambda blend: blend.label),
        "items.pattern_id": choose(inventory.patterns(session)),
        "remelts.leftover_id": [
            (str(row.pk), f"{row.mark}, {show(left, 'mass', units)} left") for row, left in batches.leftovers(session)
        ],
    }


def _defaults(session: Session) -> dict[str, Any]:
    """What most plans have: the workshop's shares, and the only formula and pattern where there is one of each."""
    shop, blends, patterns = workshop.get(session), formulas.current(session), inventory.patterns(session)
    only = {"formula_id": blends[0].pk} if len(blends) == 1 else {}
    if len(patterns) == 1:
        only["items.0.pattern_id"] = patterns[0].pk
    return {
        **only,
        "planned_for": clock.today(),
        "expected_density": editable(shop.expected_density_share, "share", shop.units),
        "over_pour": editable(shop.over_pour_share, "share", shop.units),
        "test_pieces": editable(shop.test_pieces_kg, "mass", shop.units),
    }


def _again(session: Session, batch: Batch) -> str:
    """The query of a new plan of the same grains, by the newest version of the formula."""
    name = batches.formula_of(session, batch).name
    newest = [("formula_id", blend.pk) for blend in formulas.current(session) if blend.name == name]
    items = [
        (f"items.{i}.{key}", value)
        for i, item in enumerate(batch.items)
        for key, value in (("pattern_id", item.pattern_id), ("count", item.count))
    ]
    return urlencode([*newest, *items])


def _texts_of(session: Session, batch: Batch) -> dict[str, Any]:
    units = workshop.get(session).units
    texts: dict[str, Any] = {
        "formula_id": batch.formula_id,
        "planned_for": batch.planned_for,
        "expected_density": editable(batch.expected_density_share, "share", units),
        "over_pour": editable(batch.over_pour_share, "share", units),
        "test_pieces": editable(batch.planned_test_pieces_kg, "mass", units),
        "note": batch.note,
    }
    for i, item in enumerate(batch.items):
        texts[f"items.{i}.pattern_id"], texts[f"items.{i}.count"] = item.pattern_id, item.count
    for i, part in enumerate(part for part in batch.parts if part.leftover_id is not None):
        texts[f"remelts.{i}.leftover_id"] = part.leftover_id
        texts[f"remelts.{i}.mass"] = editable(part.target_kg, "mass", units)
    return texts
