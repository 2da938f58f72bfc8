"""Weighing at the bench: the grains of a lot as they come off the tools."""

from collections.abc import Callable
from typing import Any

from fastapi import Request
from fastapi.responses import Response
from markupsafe import Markup
from sqlmodel import Session

from app import clock
from app.calc.grain.density_check import GrainCheck
from app.charts import Axis
from app.forms import Form, from_texts, whole
from app.models import Batch, CastingTube, Formula, Grain, GrainLook, GrainPattern, ScaleCheck, StruckWeighing
from app.models.grain import AGAIN, FAULTS, AcceptAllIn, BagIn, BenchIn, DecisionIn, GoneIn, OneButtonIn
from app.page import Page
from app.point_charts import Point, individuals_chart
from app.routers.grains import look_part, next_grain
from app.routers.grains.scale_panel import Panel, panel_of
from app.routing import late_router
from app.services.book import first_minute, serials
from app.services.cast import casting
from app.services.grains import bagging, bench, decisions, grains, looks, lots, rejects, weighing
from app.services.grains.grains import GrainView
from app.services.grains.lots import Balance, Control, Evenness
from app.services.hardware import instrument_checks, inventory
from app.services.stock import batches, formulas
from app.web import Book, Forms, Typed, at_bench, render, submit, version_of

router = late_router("/cast/{code}/grains")


class WeighPage(Page, template="grains/weigh.html", section="cast"):
    """The grains of a lot as they come off the tools, the next one to weigh, and what is to be done with each."""

    batch: Batch
    formula: Formula
    cast: bool
    closed: bool
    poured: bool
    form: Form
    panel: Panel
    scale_off: str
    """That the scale was off at its last check, or not checked for long, and what to do."""
    faults_of_grains: list[tuple[str, str]]
    again: GrainView | None
    """The grain that is weighed again, if one is."""
    again_words: list[tuple[str, str]]
    plan: list[tuple[GrainPattern, int]]
    tubes: list[tuple[GrainPattern, CastingTube]]
    weighed: list[GrainView]
    checks: dict[int, GrainCheck]
    last: GrainView | None
    undo: Form | None
    undo_until: str
    look: Form | None
    """The form of a look at the grain that was weighed last."""
    seen: dict[int, GrainLook]
    to_decide: list[tuple[GrainView, Form]]
    accept_all: Form
    clear: int
    put_away: list[tuple[GrainView, Form]]
    back: dict[int, Form]
    missed: Form | None
    """A form that was refused and is on the page no more."""
    taken_back: list[StruckWeighing]
    bag_all: Form
    to_bag: int
    bagging: str
    """How the evening's own step of bagging stands beside the bags."""
    balance: Balance | None
    evenness: Evenness
    control: Control | None
    chart: Markup | None


FEW = 3
"""With fewer grains there is nothing to see in a chart."""


def density_chart(title: str, found: Control | None) -> Markup | None:
    """Densities in order of time with their mean and, from enough values on, their limits; nothing for very few."""
    if found is None or len(found.values) < FEW:
        return None
    points = [Point(label, 100 * value) for label, value in found.values]
    axis = Axis("Share of ideal density", "%", decimals=1)
    limits = found.limits
    return individuals_chart(
        title,
        axis,
        points,
        centre=100 * found.centre,
        lower=100 * limits.lower if limits else None,
        upper=100 * limits.upper if limits else None,
    )


def _url(batch: Batch) -> str:
    return f"/cast/{batch.code}/grains"


def _decision(forms: Forms, view: GrainView, person: str, doubt: str) -> Form:
    given = {None: "accept" if view.grain.verdict == "accept" else "", "hold": ""}
    return forms.get(
        f"decide-{view.grain.number}",
        DecisionIn,
        f"/cast/{view.batch.code}/grains/{view.grain.number}/decision",
        row=view.grain,
        initial={
            "person": person,
            "why": "",
            "decision": given.get(view.grain.decision, view.grain.decision),
            "fault": view.grain.decision_fault,
            **look_part.proposed(view.grain, doubt),
        },
    )


def _one_button(forms: Forms, view: GrainView, act: str, model: type[OneButtonIn] | type[GoneIn]) -> Form:
    return forms.get(
        f"{act}-{view.grain.number}", model, f"{_url(view.batch)}/{view.grain.number}/{act}", row=view.grain
    )


def _can_take_back(grain: Grain) -> bool:
    return grain.decision is None and clock.now() - grain.weighed_at <= first_minute.TAKE_BACK


def _page(
    request: Request,
    session: Session,
    code: str,
    failed: Form | None = None,
    chosen: tuple[str, str] | None = None,
    show: int | None = None,
) -> Response:
    """The weighing of a lot; `chosen` is a grain typed, scanned or touched, and why it is weighed again.

    `show` is the number of a grain to look at in place of the last one.
    """
    batch = batches.by_code(session, code)
    person = at_bench(request, session)
    session_of = casting.find(session, batch)
    forms = Forms(request, session, failed)
    weighed = grains.of_batch(session, batch)
    form = forms.get(
        "next",
        BenchIn,
        _url(batch),
        initial=next_grain.proposal(session, batch, weighed),
        choices={"pattern_id": next_grain.pattern_choices(session, batch)},
    )
    form.values.setdefault("offcut", ["scrap"])
    if chosen is not None:
        next_grain.put_on(form, batch, *chosen, weighed)
    formula = formulas.get(session, batch.formula_id)
    planned = {p.pk: p for p in inventory.patterns(session) + inventory.patterns(session, True)}
    newest_first = sorted(weighed, key=lambda v: (v.grain.weighed_at, v.grain.pk), reverse=True)
    last = newest_first[0] if newest_first else None
    refused = failed.id if failed else ""
    to_decide = [v for v in newest_first if v.grain.decision in (None, "hold") or refused == f"decide-{v.grain.number}"]
    seen = looks.newest(session, [v.grain for v in weighed])
    doubts = {grain_id: row.doubt for grain_id, row in seen.items() if row.doubt}
    found = lots.density_control(weighed)
    undo = _one_button(forms, last, "undo", OneButtonIn) if last and _can_take_back(last.grain) else None
    put_away = [(v, _one_button(forms, v, "gone", GoneIn)) for v in weighed if v.state == "rejected"]
    back = {v.grain.pk: _one_button(forms, v, "back", OneButtonIn) for v in weighed if v.state == "gone"}
    drawn = {f.id for f in [*(f for _, f in put_away), *back.values(), *([undo] if undo else [])]}
    checks = weighing.checks(session, formula, [(v.grain, v.pattern) for v in weighed])
    page = WeighPage(
        batch=batch,
        panel=panel_of(session, batch, weighed, checks, forms=forms, show=show, chosen=chosen is not None, undo=undo),
        scale_off=instrument_checks.in_short(session, ScaleCheck),
        faults_of_grains=list(FAULTS.items()),
        formula=formula,
        form=form,
        cast=session_of is not None,
        closed=session_of is not None and session_of.closed_at is not None,
        again=next((v for v in weighed if str(v.grain.number) == form.text("number").lstrip("0")), None),
        again_words=list(AGAIN.items()),
        plan=[(planned[item.pattern_id], item.count) for item in batch.items],
        tubes=next_grain.tubes(session, [planned[item.pattern_id] for item in batch.items]),
        weighed=weighed,
        checks=checks,
        last=last,
        undo=undo,
        undo_until=f"{clock.local(last.grain.weighed_at + first_minute.TAKE_BACK):%H:%M:%S}" if last else "",
        to_decide=[(v, _decision(forms, v, person, doubts.get(v.grain.pk, ""))) for v in to_decide],
        accept_all=forms.get("accept-all", AcceptAllIn, f"{_url(batch)}/accept", initial={"person": person}),
        look=look_part.look_form(forms, last.grain) if last else None,
        seen=seen,
        clear=sum(
            v.grain.decision is None and v.grain.verdict == "accept" and v.grain.pk not in doubts for v in weighed
        ),
        put_away=put_away,
        back=back,
        missed=failed if refused.startswith(("undo-", "gone-", "back-")) and refused not in drawn else None,
        taken_back=bench.taken_back(session, batch),
        bag_all=forms.get("bag-all", BagIn, f"{_url(batch)}/bag"),
        to_bag=sum(v.grain.decision == "accept" and v.grain.bagged_at is None for v in weighed),
        bagging=bagging.stands(session, batch),
        balance=lots.balance(session, batch),
        evenness=lots.evenness(weighed),
        control=found,
        chart=density_chart(f"Density of the grains of {batch.code}", found),
        poured=batch.pk in grains.poured(session, [batch.pk]),
    )
    return render(request, session, page, 422 if form.errors else 200)


@router.get("")
def show(request: Request, session: Book, code: str, grain: str = "", again: str = "", show: str = "") -> Response:
    """The grains of a lot, and the next one to weigh: the one that the address names, or the next of the plan.

    `show` is the number of a grain to look at and to decide on.
    """
    chosen = (grain, again if again in AGAIN else "") if grain else None
    return _page(request, session, code, chosen=chosen, show=whole(show))


@router.post("")
def weigh(request: Request, session: Book, code: str, typed: Typed) -> Response:
    """Weigh the next grain; a serial scanned instead of a weight chooses its grain and saves nothing."""
    batch = batches.by_code(session, code)
    choices = {"pattern_id": next_grain.pattern_choices(session, batch)}
    form = from_texts(BenchIn, typed, "next", request.url.path, choices)
    gross, number = form.text("gross"), form.text("number")
    if serials.parts(gross) or (not gross.strip() and serials.parts(number)):
        form.values["gross"] = []
        return _page(request, session, code, form, chosen=(gross.strip() or number, form.text("again")))

    def act(writing: Session, data: BenchIn) -> str:
        bench.weigh_at_bench(writing, batches.by_code(writing, code), data)
        return _url(batch)

    return submit(
        request,
        typed,
        BenchIn,
        act=act,
        page=lambda s, form: _page(request, s, code, form),
        form_id="next",
        choices=choices,
        notice="The grain is weighed.",
    )


@router.post("/accept")
def accept_all(request: Request, session: Book, code: str, typed: Typed) -> Response:
    """Accept every grain that the numbers accept."""
    batch = batches.by_code(session, code)

    def act(writing: Session, data: AcceptAllIn) -> str:
        bench.accept_clear(writing, batches.by_code(writing, code), data.person)
        return _url(batch)

    return submit(
        request,
        typed,
        AcceptAllIn,
        act=act,
        page=lambda s, form: _page(request, s, code, form),
        form_id="accept-all",
        notice="The grains with a clear verdict are accepted.",
    )


@router.post("/bag")
def bag_all(request: Request, session: Book, code: str, typed: Typed) -> Response:
    """Seal all accepted grains in their bags."""
    batch = batches.by_code(session, code)

    def act(writing: Session, _data: BagIn) -> str:
        decisions.bag_accepted(writing, batches.by_code(writing, code))
        return _url(batch)

    return submit(
        request,
        typed,
        BagIn,
        act=act,
        page=lambda s, form: _page(request, s, code, form),
        form_id="bag-all",
        notice="All accepted grains are bagged.",
    )


@router.post("/{number}/hold")
@router.post("/{number}/decision")
def decide(request: Request, session: Book, code: str, number: int, typed: Typed) -> Response:
    """Keep the person's decision on a grain, from its card at the desk or from the scale."""
    batch = batches.by_code(session, code)
    serial = grains.of_number(session, batch, number).serial

    def act(writing: Session, data: DecisionIn) -> str:
        decisions.decide(writing, grains.by_serial(writing, serial), data, version_of(typed))
        return _url(batch)

    return submit(
        request,
        typed,
        DecisionIn,
        act=act,
        page=lambda s, form: _page(request, s, code, form),
        form_id=f"{'hold' if request.url.path.endswith('/hold') else 'decide'}-{number}",
        notice=f"Your decision on {serial} is kept.",
    )


@router.post("/{number}/undo")
def undo(request: Request, session: Book, code: str, number: int, typed: Typed) -> Response:
    """Take back a weighing of the last minute."""

    def act(writing: Session, grain: Grain, _data: OneButtonIn) -> None:
        bench.take_back(writing, grain, version_of(typed))

    return _on_one(request, session, code, number, typed, "undo", OneButtonIn, act, "is undone; its number is free")


@router.post("/{number}/gone")
def gone(request: Request, session: Book, code: str, number: int, typed: Typed) -> Response:
    """Send a rejected grain to remelt or scrap."""

    def act(writing: Session, grain: Grain, data: GoneIn) -> None:
        rejects.send_off(writing, grain, data.to, version_of(typed))

    return _on_one(request, session, code, number, typed, "gone", GoneIn, act, "is put away")


@router.post("/{number}/back")
def back(request: Request, session: Book, code: str, number: int, typed: Typed) -> Response:
    """Bring a rejected grain back from remelt or scrap."""

    def act(writing: Session, grain: Grain, _data: OneButtonIn) -> None:
        rejects.bring_back(writing, grain, version_of(typed))

    return _on_one(request, session, code, number, typed, "back", OneButtonIn, act, "is back among the rejected grains")


def _on_one(
    request: Request,
    session: Session,
    code: str,
    number: int,
    typed: Typed,
    name: str,
    model: type[OneButtonIn] | type[GoneIn],
    do: Callable[[Session, Grain, Any], None],
    done: str,
) -> Response:
    """Do a one-button act on one grain of the lot and come back to its page."""
    batch = batches.by_code(session, code)
    serial = grains.of_number(session, batch, number).serial

    def act(writing: Session, data: Any) -> str:
        do(writing, grains.by_serial(writing, serial), data)
        return _url(batch)

    return submit(
        request,
        typed,
        model,
        act=act,
        page=lambda s, form: _page(request, s, code, form),
        form_id=f"{name}-{number}",
        notice=f"{serial} {done}.",
    )
