"""Weighing at the bench: the grains of a lot as they come off the tools."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from markupsafe import Markup
from sqlmodel import Session

from app.charts import Axis, Point, individuals_chart
from app.forms import Choice, Form
from app.models import Batch
from app.models.grain import BagIn, DecisionIn, GrainIn
from app.services import casting, formulas, grains, hardware, lots, planning, weighing, workshop
from app.services.grains import GrainView
from app.web import Book, Forms, Typed, choose, render, submit, version_of

router = APIRouter(prefix="/cast/{code}/grains")

FEW = 3
"""With fewer grains there is nothing to see in a chart."""


def pattern_choices(session: Session, batch: Batch) -> list[Choice]:
    """The patterns of the plan first, then the others."""
    planned = [item.pattern_id for item in batch.items]
    found = hardware.patterns(session) + [p for p in hardware.patterns(session, True) if p.pk in planned]
    return choose(sorted(found, key=lambda p: planned.index(p.pk) if p.pk in planned else len(planned)))


def density_chart(batch: Batch, weighed: list[GrainView]) -> Markup | None:
    """The densities of a lot's grains in the order of their numbers about their mean; nothing for fewer than three."""
    if len(weighed) < FEW:
        return None
    shares = [100 * v.grain.density_share for v in weighed]
    points = [Point(v.grain.serial, share) for v, share in zip(weighed, shares, strict=True)]
    axis = Axis("Share of ideal density", "%", decimals=1)
    return individuals_chart(f"Density of the grains of {batch.code}", axis, points, centre=sum(shares) / len(shares))


def _url(batch: Batch) -> str:
    return f"/cast/{batch.code}/grains"


def _next(session: Session, batch: Batch, weighed: list[GrainView]) -> dict[str, Any]:
    """What most likely comes next: the next number, the first pattern not complete, in a tube if the last one was."""
    counts: dict[int, int] = {}
    for view in weighed:
        counts[view.pattern.pk] = counts.get(view.pattern.pk, 0) + 1
    open_items = [item for item in batch.items if counts.get(item.pattern_id, 0) < item.count]
    item = open_items[0] if open_items else batch.items[-1]
    last = max(weighed, key=lambda v: v.grain.weighed_at, default=None)
    return {
        "pattern_id": item.pattern_id,
        "number": grains.next_number(session, batch),
        "in_tube": last is not None and last.grain.tare_kg > 0,
    }


def _decision(forms: Forms, view: GrainView, person: str) -> Form:
    return forms.get(
        f"decide-{view.grain.number}", DecisionIn, f"/cast/{view.batch.code}/grains/{view.grain.number}/decision",
        row=view.grain,
        initial={"person": person, "why": "", "decision": "accept" if view.grain.verdict == "accept" else ""},
    )  # fmt: skip


def _page(request: Request, session: Session, code: str, failed: Form | None = None) -> Response:
    batch = planning.by_code(session, code)
    house = workshop.get(session)
    forms = Forms(request, session, failed)
    weighed = grains.of_batch(session, batch)
    form = forms.get(
        "next", GrainIn, _url(batch), initial=_next(session, batch, weighed),
        choices={"pattern_id": pattern_choices(session, batch)},
    )  # fmt: skip
    formula = formulas.get(session, batch.formula_id)
    ideal = formulas.ideal_density(formula)
    planned = {p.pk: p for p in hardware.patterns(session) + hardware.patterns(session, True)}
    newest_first = sorted(weighed, key=lambda v: (v.grain.weighed_at, v.grain.pk), reverse=True)
    refused = failed.id if failed else ""
    undecided = [v for v in newest_first if v.grain.decision is None or refused == f"decide-{v.grain.number}"]
    return render(
        request, session, "grains/weigh.html", section="cast",
        batch=batch, formula=formula, form=form, cast=casting.find(session, batch) is not None,
        asked=bool(form.text("sure")) or form.field("gross").error.startswith(weighing.DOUBT),
        plan=[(planned[item.pattern_id], item.count) for item in batch.items],
        weighed=weighed, checks={v.grain.pk: weighing.check(v.grain, ideal, house) for v in weighed},
        last=newest_first[0] if newest_first else None,
        undecided=[(v, _decision(forms, v, house.person)) for v in undecided],
        bag_all=forms.get("bag-all", BagIn, f"{_url(batch)}/bag"),
        to_bag=sum(v.grain.decision == "accept" and v.grain.bagged_at is None for v in weighed),
        balance=lots.balance(session, batch), evenness=lots.evenness(weighed), chart=density_chart(batch, weighed),
        poured=batch.pk in grains.poured(session, [batch.pk]),
    )  # fmt: skip


@router.get("")
def show(request: Request, session: Book, code: str) -> Response:
    """The grains of a lot, and the next one to weigh."""
    return _page(request, session, code)


@router.post("")
def weigh(request: Request, session: Book, code: str, typed: Typed) -> Response:
    """Weigh the next grain."""
    batch = planning.by_code(session, code)

    def act(writing: Session, data: GrainIn) -> str:
        grains.weigh(writing, planning.by_code(writing, code), data)
        return _url(batch)

    return submit(
        request, typed, GrainIn, act=act, page=lambda s, form: _page(request, s, code, form), form_id="next",
        choices={"pattern_id": pattern_choices(session, batch)}, notice="The grain is weighed.",
    )  # fmt: skip


@router.post("/bag")
def bag_all(request: Request, session: Book, code: str, typed: Typed) -> Response:
    """Seal all accepted grains in their bags."""
    batch = planning.by_code(session, code)

    def act(writing: Session, _data: BagIn) -> str:
        grains.bag_accepted(writing, planning.by_code(writing, code))
        return _url(batch)

    return submit(
        request, typed, BagIn, act=act, page=lambda s, form: _page(request, s, code, form), form_id="bag-all",
        notice="All accepted grains are bagged.",
    )  # fmt: skip


@router.post("/{number}/decision")
def decide(request: Request, session: Book, code: str, number: int, typed: Typed) -> Response:
    """Keep the person's decision on a grain."""
    batch = planning.by_code(session, code)
    serial = grains.of_number(session, batch, number).serial

    def act(writing: Session, data: DecisionIn) -> str:
        grains.decide(writing, grains.by_serial(writing, serial), data, version_of(typed))
        return _url(batch)

    return submit(
        request, typed, DecisionIn, act=act, page=lambda s, form: _page(request, s, code, form),
        form_id=f"decide-{number}", notice=f"Your decision on {serial} is kept.",
    )  # fmt: skip
