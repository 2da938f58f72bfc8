"""The shelf, bags and re-weighs, sets, and everything about one grain."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app.errors import BookError
from app.forms import Form, from_texts
from app.models import GrainBag, ReWeigh
from app.models.bag import KeepIn, ReWeighIn, WetIn
from app.models.base import FormIn
from app.models.batch import VoidIn
from app.models.firing import RESULTS
from app.models.grain import BagIn, DecisionIn, GrainCorrectionIn
from app.routers.grains.weighing import pattern_choices
from app.services.book import audit_log, first_minute, workshop
from app.services.cast import cautions, targets
from app.services.firings import findings
from app.services.grains import grains, reweighs, sets, shelf, undo, weighing
from app.services.grains.sets import Proposal, SetsIn
from app.services.grains.shelf import ShelfIn
from app.services.review import trace
from app.web import Book, Forms, Typed, at_bench, blank, redirect, render, submit, version_of

router = APIRouter(prefix="/shelf")


@router.get("")
def show(request: Request, session: Book) -> Response:
    """The grains that are not used, newest lots first; a whole serial, typed or scanned, opens its grain."""
    query = request.query_params
    form = from_texts(
        ShelfIn,
        query.multi_items(),
        "look",
        "/shelf",
        {"state": shelf.STATE_CHOICES, "sort": shelf.SORT_CHOICES, "place": [(p, p) for p in shelf.places(session)]},
    )
    try:
        exact = shelf.find(session, query.get("find", ""))
        if exact is not None:
            return redirect(f"/shelf/{exact.serial}")
    except BookError as error:
        form.refuse("find", error.message)
    wanted = None if form.errors else form.check(workshop.get(session).units)
    assert wanted is None or isinstance(wanted, ShelfIn)
    found = shelf.page(session, wanted or ShelfIn())
    form.values.setdefault("sort", [(wanted or ShelfIn()).sort])
    rest = [(name, text) for name, text in query.multi_items() if name != "start" and text]
    return render(
        request,
        session,
        "grains/shelf.html",
        section="shelf",
        status=200 if wanted else 422,
        form=form,
        found=found,
        lots=shelf.by_lot(found.views),
        rest=rest,
        grouped=(wanted or ShelfIn()).sort in ("lot", "oldest"),
        filtered=bool(form.text("find") or form.text("state") or form.text("place")),
        ready=sum(v.state == "ready" for v in found.views),
        cautions=cautions.AT_THE_SHELF,
        gains=reweighs.latest(session, [v.grain.pk for v in found.views]),
        digits=targets.places(workshop.get(session)),
    )


# --- Several at once: bags, re-weighs, sets ----------------------------------------------------


def _ids(request: Request) -> list[int]:
    return [int(text) for text in request.query_params.getlist("grain") if text.isdecimal() and len(text) < 10]


def _bags_page(request: Request, session: Session, ids: list[int], failed: Form | None = None) -> Response:
    form = failed or blank(request, session, KeepIn, action="/shelf/bags", form_id="keep")
    return render(
        request,
        session,
        "grains/bags.html",
        section="shelf",
        form=form,
        places=shelf.places(session),
        views=shelf.of_ids(session, ids),
    )


@router.get("/bags")
def bags(request: Request, session: Book) -> Response:
    """Where the ticked grains' bags lie."""
    return _bags_page(request, session, _ids(request))


@router.post("/bags")
def keep_all(request: Request, typed: Typed) -> Response:
    """Note where several bags lie."""

    def act(writing: Session, data: KeepIn) -> str:
        shelf.keep(writing, data.grain, data)
        return "/shelf"

    ids = [int(text) for name, text in typed if name == "grain" and text.isdecimal() and len(text) < 10]
    return submit(
        request,
        typed,
        KeepIn,
        act=act,
        page=lambda s, form: _bags_page(request, s, ids, form),
        form_id="keep",
        notice="It is noted where these bags lie.",
    )


def _reweigh_page(
    request: Request, session: Session, lot: str | None, ids: list[int], failed: Form | None = None
) -> Response:
    now = reweighs.round_of(session, lot, ids)
    expected = now.next or (now.views[0] if len(now.views) == 1 else None)
    initial: dict[str, Any] = {
        "serial": expected.grain.serial if expected else "",
        "in_tube": bool(expected and expected.grain.tare_kg),
    }
    form = failed or blank(request, session, ReWeighIn, action="/shelf/reweigh", form_id="reweigh", initial=initial)
    house = workshop.get(session)
    return render(
        request,
        session,
        "grains/reweigh.html",
        section="shelf",
        form=form,
        lot=lot,
        ids=ids,
        round=now,
        last=reweighs.last(session),
        digits=targets.places(house),
        step=house.scale_resolution_kg,
        focus="gross" if form.text("serial") else "serial",
    )


@router.get("/reweigh")
def reweigh_page(request: Request, session: Book) -> Response:
    """Re-weigh the grains of a lot, the ticked ones, or whatever is scanned."""
    return _reweigh_page(request, session, request.query_params.get("lot") or None, _ids(request))


@router.post("/reweigh")
def reweigh(request: Request, typed: Typed) -> Response:
    """Keep a re-weigh and go on to the next grain."""
    lot = next((text for name, text in typed if name == "lot" and text), None)
    ids = [int(text) for name, text in typed if name == "grain" and text.isdecimal() and len(text) < 10]

    def act(writing: Session, data: ReWeighIn) -> str:
        reweighs.weigh(writing, data)
        rest = [f"lot={data.lot}"] if data.lot else [f"grain={i}" for i in data.grain]
        return "/shelf/reweigh" + ("?" + "&".join(rest) if rest else "")

    return submit(
        request,
        typed,
        ReWeighIn,
        act=act,
        page=lambda s, form: _reweigh_page(request, s, lot, ids, form),
        form_id="reweigh",
        notice="The re-weigh is kept; the label's mass stays.",
    )


@router.get("/sets")
def make_sets(request: Request, session: Book) -> Response:
    """Sets of even mass from the ready grains of one kind."""
    found = sets.kinds(session)
    texts = request.query_params.multi_items()
    choices = [(k.key, f"{k.name} ({len(k.views)} ready)") for k in found]
    form = from_texts(SetsIn, texts, "sets", "/shelf/sets", {"kind": choices})
    made: list[Proposal] = []
    if texts:
        wanted = form.check(workshop.get(session).units)
        kind = next((k for k in found if k.key == form.text("kind")), None)
        if kind is None and found:
            form.refuse("kind", "Choose one of the list.")
        elif isinstance(wanted, SetsIn) and kind is not None:
            try:
                made = sets.propose(kind, wanted)
            except BookError as error:
                form.refuse(error.field, error.message)
    else:
        form.values |= {"size": ["4"], "kind": [found[0].key if found else ""]}
    return render(
        request,
        session,
        "grains/sets.html",
        section="shelf",
        status=422 if form.errors else 200,
        form=form,
        kinds=found,
        made=made,
        digits=targets.places(workshop.get(session)),
        step=workshop.get(session).scale_resolution_kg,
    )


# --- One grain ---------------------------------------------------------------------------------


def _kept(bag: GrainBag | None) -> dict[str, Any]:
    if bag is None:
        return {}
    return {"place": bag.place, "desiccant": bag.desiccant, "desiccant_on": bag.desiccant_on}


def page_of(request: Request, session: Session, serial: str, failed: Form | None = None) -> Response:
    """The page of a grain, with the form that failed."""
    grain = grains.by_serial(session, serial)
    traced = trace.of_grain(session, grain)
    view, house, moves = traced.view, workshop.get(session), shelf.moves(session, grain)
    forms = Forms(request, session, failed)
    here = f"/shelf/{grain.serial}"
    measured = {
        "why": "",
        "tare": "" if not grain.tare_kg else f"{grain.tare_kg * 1000:.6g} g",
        **{size: getattr(grain, f"{size}_typed") or "" for size in ("length", "core_d", "outer_d")},
    }
    measure = forms.get(
        "measure",
        GrainCorrectionIn,
        f"{here}/measure",
        row=grain,
        initial=measured,
        choices={"pattern_id": pattern_choices(session, view.batch)},
    )
    decide = forms.get(
        "decide",
        DecisionIn,
        f"{here}/decision",
        row=grain,
        initial={"person": at_bench(request, session), "decision": grain.decision or "", "why": ""},
    )
    return render(
        request,
        session,
        "grains/grain.html",
        section="shelf",
        view=view,
        grain=grain,
        results=RESULTS,
        traced=traced,
        history=grains.history(session, grain),
        check=weighing.checks(session, view.formula, [(grain, view.pattern)])[grain.pk],
        free=view.state not in ("in motor", "fired", "gone"),
        measure=measure,
        decide=decide,
        bag=forms.get("bag", BagIn, f"{here}/bag", row=grain),
        accept_wet=forms.get(
            "accept-wet", WetIn, f"{here}/wet", row=view.wet, initial={"person": at_bench(request, session), "why": ""}
        ),
        wet_back=forms.get("wet-back", FormIn, f"{here}/wet/back", row=view.wet),
        water=cautions.WATER,
        keep=forms.get("keep", KeepIn, f"{here}/keep", initial=_kept(moves[0] if moves else None)),
        moves=moves,
        places=shelf.places(session),
        gains=reweighs.history(session, grain),
        changes=audit_log.history_of(session, grain),
        struck=undo.struck(session, ReWeigh, grain),
        strikes={
            g.row.pk: forms.get(f"reweigh-{g.row.pk}", VoidIn, f"{here}/reweigh/{g.row.pk}/strike", row=g.row)
            for g in reweighs.history(session, grain)
        },
        unbag=forms.get("unbag", FormIn, f"{here}/unbag", row=grain),
        fresh=first_minute.fresh,
        at_once=first_minute.AT_ONCE,
        undecide=forms.get("undecide", FormIn, f"{here}/undecide", row=grain),
        digits=targets.places(house),
        failures=findings.of_grain(session, grain),
    )


@router.get("/{serial}")
def one(request: Request, session: Book, serial: str) -> Response:
    """Everything about one grain."""
    return page_of(request, session, serial)


@router.post("/{serial}/measure")
def measure(request: Request, session: Book, serial: str, typed: Typed) -> Response:
    """Weigh or measure it again."""
    batch = grains.view(session, serial).batch

    def act(writing: Session, data: GrainCorrectionIn) -> str:
        grain = grains.weigh_again(writing, grains.by_serial(writing, serial), data, version_of(typed))
        return f"/shelf/{grain.serial}"

    return submit(
        request,
        typed,
        GrainCorrectionIn,
        act=act,
        page=lambda s, form: page_of(request, s, serial, form),
        form_id="measure",
        choices={"pattern_id": pattern_choices(session, batch)},
        notice="The new numbers are kept; the old ones stay below.",
    )


@router.post("/{serial}/decision")
def decide(request: Request, session: Book, serial: str, typed: Typed) -> Response:
    """Keep the person's decision on it."""
    grains.by_serial(session, serial)

    def act(writing: Session, data: DecisionIn) -> str:
        grains.decide(writing, grains.by_serial(writing, serial), data, version_of(typed))
        return f"/shelf/{serial}"

    return submit(
        request,
        typed,
        DecisionIn,
        act=act,
        page=lambda s, form: page_of(request, s, serial, form),
        form_id="decide",
        notice=f"Your decision on {serial} is kept.",
    )


@router.post("/{serial}/wet")
def accept_wet(request: Request, session: Book, serial: str, typed: Typed) -> Response:
    """Accept it although it drew water."""
    grains.by_serial(session, serial)

    def act(writing: Session, data: WetIn) -> str:
        reweighs.accept(writing, grains.by_serial(writing, serial), data, version_of(typed))
        return f"/shelf/{serial}"

    return submit(
        request,
        typed,
        WetIn,
        act=act,
        page=lambda s, form: page_of(request, s, serial, form),
        form_id="accept-wet",
        notice=f"{serial} is accepted as it is. Its motor and its firing will say that it was wet.",
    )


@router.post("/{serial}/bag")
def bag(request: Request, session: Book, serial: str, typed: Typed) -> Response:
    """Seal it in its bag."""
    grains.by_serial(session, serial)

    def act(writing: Session, _data: BagIn) -> str:
        grains.bag(writing, grains.by_serial(writing, serial), version_of(typed))
        return f"/shelf/{serial}"

    return submit(
        request,
        typed,
        BagIn,
        act=act,
        page=lambda s, form: page_of(request, s, serial, form),
        form_id="bag",
        notice=f"{serial} is in its bag.",
    )


@router.post("/{serial}/keep")
def keep(request: Request, session: Book, serial: str, typed: Typed) -> Response:
    """Note where its bag lies and what is in it."""
    grains.by_serial(session, serial)

    def act(writing: Session, data: KeepIn) -> str:
        shelf.keep(writing, [grains.by_serial(writing, serial).pk], data)
        return f"/shelf/{serial}"

    return submit(
        request,
        typed,
        KeepIn,
        act=act,
        page=lambda s, form: page_of(request, s, serial, form),
        form_id="keep",
        notice=f"It is noted where {serial} lies.",
    )
