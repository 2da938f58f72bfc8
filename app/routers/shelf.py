"""The shelf, and everything about one grain."""

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app.forms import Form, from_texts
from app.models.firing import RESULTS
from app.models.grain import BagIn, DecisionIn, GrainCorrectionIn
from app.routers.grains import pattern_choices
from app.services import formulas, grains, shelf, trace, weighing, workshop
from app.services.shelf import ShelfIn
from app.web import Book, Forms, Typed, redirect, render, submit, version_of

router = APIRouter(prefix="/shelf")


@router.get("")
def show(request: Request, session: Book) -> Response:
    """The grains that are not used, by lot; a whole serial, typed or scanned, opens its grain."""
    exact = grains.find(session, request.query_params.get("find", ""))
    if exact is not None:
        return redirect(f"/shelf/{exact.serial}")
    form = from_texts(
        ShelfIn, request.query_params.multi_items(), "look", "/shelf",
        {"state": shelf.STATE_CHOICES, "sort": shelf.SORT_CHOICES},
    )  # fmt: skip
    wanted = form.check(workshop.get(session).units)
    assert wanted is None or isinstance(wanted, ShelfIn)
    found = shelf.look(session, wanted or ShelfIn())
    form.values.setdefault("sort", [(wanted or ShelfIn()).sort])
    return render(
        request, session, "shelf/shelf.html", section="shelf", status=200 if wanted else 422,
        form=form, found=found, lots=shelf.by_lot(found), grouped=(wanted or ShelfIn()).sort == "lot",
        filtered=bool(form.text("find") or form.text("state")),
        ready=sum(v.state == "ready" for v in found),
    )  # fmt: skip


def _page(request: Request, session: Session, serial: str, failed: Form | None = None) -> Response:
    grain = grains.by_serial(session, serial)
    traced = trace.of_grain(session, grain)
    view, house = traced.view, workshop.get(session)
    forms = Forms(request, session, failed)
    here = f"/shelf/{grain.serial}"
    measured = {
        "why": "",
        "tare": "" if not grain.tare_kg else f"{grain.tare_kg * 1000:.6g} g",
        **{size: getattr(grain, f"{size}_typed") or "" for size in ("length", "core_d", "outer_d")},
    }
    measure = forms.get(
        "measure", GrainCorrectionIn, f"{here}/measure", row=grain, initial=measured,
        choices={"pattern_id": pattern_choices(session, view.batch)},
    )  # fmt: skip
    decide = forms.get(
        "decide", DecisionIn, f"{here}/decision", row=grain,
        initial={"person": house.person, "decision": grain.decision or "", "why": ""},
    )  # fmt: skip
    return render(
        request, session, "shelf/grain.html", section="shelf",
        view=view, grain=grain, results=RESULTS, traced=traced, history=grains.history(session, grain),
        check=weighing.check(grain, formulas.ideal_density(view.formula), house),
        free=view.state not in ("in motor", "fired"), measure=measure, decide=decide,
        asked=bool(measure.text("sure")) or measure.field("gross").error.startswith(weighing.DOUBT),
        bag=forms.get("bag", BagIn, f"{here}/bag", row=grain),
    )  # fmt: skip


@router.get("/{serial}")
def one(request: Request, session: Book, serial: str) -> Response:
    """Everything about one grain."""
    return _page(request, session, serial)


@router.post("/{serial}/measure")
def measure(request: Request, session: Book, serial: str, typed: Typed) -> Response:
    """Weigh or measure it again."""
    batch = grains.view(session, serial).batch

    def act(writing: Session, data: GrainCorrectionIn) -> str:
        grain = grains.weigh_again(writing, grains.by_serial(writing, serial), data, version_of(typed))
        return f"/shelf/{grain.serial}"

    return submit(
        request, typed, GrainCorrectionIn, act=act, page=lambda s, form: _page(request, s, serial, form),
        form_id="measure", choices={"pattern_id": pattern_choices(session, batch)},
        notice="The new numbers are kept; the old ones stay below.",
    )  # fmt: skip


@router.post("/{serial}/decision")
def decide(request: Request, session: Book, serial: str, typed: Typed) -> Response:
    """Keep the person's decision on it."""
    grains.by_serial(session, serial)

    def act(writing: Session, data: DecisionIn) -> str:
        grains.decide(writing, grains.by_serial(writing, serial), data, version_of(typed))
        return f"/shelf/{serial}"

    return submit(
        request, typed, DecisionIn, act=act, page=lambda s, form: _page(request, s, serial, form), form_id="decide",
        notice=f"Your decision on {serial} is kept.",
    )  # fmt: skip


@router.post("/{serial}/bag")
def bag(request: Request, session: Book, serial: str, typed: Typed) -> Response:
    """Seal it in its bag."""
    grains.by_serial(session, serial)

    def act(writing: Session, _data: BagIn) -> str:
        grains.bag(writing, grains.by_serial(writing, serial), version_of(typed))
        return f"/shelf/{serial}"

    return submit(
        request, typed, BagIn, act=act, page=lambda s, form: _page(request, s, serial, form), form_id="bag",
        notice=f"{serial} is in its bag.",
    )  # fmt: skip
