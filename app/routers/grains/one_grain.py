"""Everything about one grain, and what is done to it alone."""

from collections.abc import Callable
from typing import Any

from fastapi import Request
from fastapi.responses import Response
from markupsafe import Markup
from sqlmodel import Session

from app.calc.grain.density_check import GrainCheck
from app.forms import Form
from app.models import Grain, GrainBag, GrainMeasure, GrainPicture, ReWeigh
from app.models.bag import KeepIn, WetIn
from app.models.base import FormIn, Row
from app.models.batch import VoidIn
from app.models.firing import RESULTS
from app.models.grain import BagIn, DecisionIn, GrainCorrectionIn
from app.page import Page
from app.routers.book.chain_part import chain_of
from app.routers.grains import grain_picture, look_part
from app.routers.grains.look_part import LookPart
from app.routers.grains.next_grain import pattern_choices
from app.routing import late_router
from app.services.book import audit_log, first_minute, kept_pictures, workshop
from app.services.book.audit_log import History
from app.services.cast import cautions, targets
from app.services.firings import findings
from app.services.firings.findings import Fact
from app.services.grains import cast_notes, decisions, grains, reweighs, shelf, undo, weighing
from app.services.grains.cast_notes import CastNotes
from app.services.grains.grains import GrainView
from app.services.grains.reweighs import Gain
from app.services.review import trace
from app.services.review.trace import GrainTrace
from app.web import Book, Forms, Texts, Typed, at_bench, render, submit, version_of

router = late_router("/shelf/{serial}")


class GrainPage(Page, template="grains/grain.html", section="shelf"):
    """A grain: what it weighs, where it is, where it came from and what became of it, and the forms for all of it."""

    grain: Grain
    picture: Markup
    measured: list[str]
    """Which of its sizes were measured; the others are its pattern's."""
    pattern_sizes: list[str]
    view: GrainView
    traced: GrainTrace
    chain: Markup
    results: dict[str, str]
    failures: list[Fact]
    check: GrainCheck
    cast_notes: CastNotes | None
    digits: int
    free: bool
    """Whether it is still to be worked with: neither in a motor nor gone."""
    water: str

    looks: LookPart
    told_of: Callable[[GrainPicture], str]
    measure: Form
    history: list[GrainMeasure]
    decide: Form
    undecide: Form
    bag: Form
    unbag: Form
    keep: Form
    moves: list[GrainBag]
    places: list[str]
    accept_wet: Form
    wet_back: Form
    gains: list[Gain]
    struck: list[ReWeigh]
    strikes: dict[int, Form]
    fresh: Callable[[Row], bool]
    at_once: str
    changes: History


def _kept(bag: GrainBag | None) -> dict[str, Any]:
    if bag is None:
        return {}
    return {"place": bag.place, "desiccant": bag.desiccant, "desiccant_on": bag.desiccant_on}


def page_of(request: Request, session: Session, serial: str, failed: Form | None = None) -> Response:
    """The page of a grain, with the form that failed."""
    grain = grains.by_serial(session, serial)
    traced, gains = trace.of_grain(session, grain), reweighs.history(session, grain)
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
    seen = look_part.of_grain(session, grain, forms)
    decide = forms.get(
        "decide",
        DecisionIn,
        f"{here}/decision",
        row=grain,
        initial={
            "person": at_bench(request, session),
            "decision": grain.decision or "",
            "why": "",
            **look_part.proposed(grain, seen.newest.doubt if seen.newest else ""),
        },
    )
    check = weighing.checks(session, view.formula, [(grain, view.pattern)])[grain.pk]
    sizes = {"outer diameter": grain.outer_d_typed, "core": grain.core_d_typed, "length": grain.length_typed}
    page = GrainPage(
        picture=grain_picture.views(view, check, house),
        measured=[name for name, typed in sizes.items() if typed],
        pattern_sizes=[name for name, typed in sizes.items() if not typed],
        view=view,
        grain=grain,
        results=RESULTS,
        traced=traced,
        chain=chain_of(session, "grain", grain.pk),
        history=grains.history(session, grain),
        check=check,
        cast_notes=cast_notes.of_grain(session, view),
        free=view.state not in ("in motor", "fired", "gone"),
        looks=seen,
        told_of=kept_pictures.told_of,
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
        gains=gains,
        changes=audit_log.history_of(session, grain),
        struck=undo.struck(session, ReWeigh, grain),
        strikes={
            g.row.pk: forms.get(f"reweigh-{g.row.pk}", VoidIn, f"{here}/reweigh/{g.row.pk}/strike", row=g.row)
            for g in gains
        },
        unbag=forms.get("unbag", FormIn, f"{here}/unbag", row=grain),
        fresh=first_minute.fresh,
        at_once=first_minute.AT_ONCE,
        undecide=forms.get("undecide", FormIn, f"{here}/undecide", row=grain),
        digits=targets.places(house),
        failures=findings.of_grain(session, grain),
    )
    return render(request, session, page)


@router.get("")
def one(request: Request, session: Book, serial: str) -> Response:
    """Everything about one grain."""
    return page_of(request, session, serial)


@router.post("/measure")
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


@router.post("/decision")
def decide(request: Request, session: Book, serial: str, typed: Typed) -> Response:
    """Keep the person's decision on it."""

    def act(writing: Session, grain: Grain, data: DecisionIn) -> None:
        decisions.decide(writing, grain, data, version_of(typed))

    return act_on(request, session, typed, serial, DecisionIn, act, "decide", f"Your decision on {serial} is kept.")


@router.post("/wet")
def accept_wet(request: Request, session: Book, serial: str, typed: Typed) -> Response:
    """Accept it although it drew water."""

    def act(writing: Session, grain: Grain, data: WetIn) -> None:
        reweighs.accept(writing, grain, data, version_of(typed))

    return act_on(
        request,
        session,
        typed,
        serial,
        WetIn,
        act,
        "accept-wet",
        f"{serial} is accepted as it is. Its motor and its firing will say that it was wet.",
    )


@router.post("/bag")
def bag(request: Request, session: Book, serial: str, typed: Typed) -> Response:
    """Seal it in its bag."""

    def act(writing: Session, grain: Grain, _data: BagIn) -> None:
        decisions.bag(writing, grain, version_of(typed))

    return act_on(request, session, typed, serial, BagIn, act, "bag", f"{serial} is in its bag.")


@router.post("/keep")
def keep(request: Request, session: Book, serial: str, typed: Typed) -> Response:
    """Note where its bag lies and what is in it."""

    def act(writing: Session, grain: Grain, data: KeepIn) -> None:
        shelf.keep(writing, [grain.pk], data)

    return act_on(request, session, typed, serial, KeepIn, act, "keep", f"It is noted where {serial} lies.")


def act_on(
    request: Request,
    session: Session,
    typed: Texts,
    serial: str,
    model: type[FormIn],
    act: Callable[[Session, Grain, Any], None],
    form_id: str,
    notice: str,
) -> Response:
    """Do to one grain what a form of its page asks for, and show its page again."""
    grains.by_serial(session, serial)

    def act_and_return(writing: Session, data: Any) -> str:
        act(writing, grains.by_serial(writing, serial), data)
        return f"/shelf/{serial}"

    return submit(
        request,
        typed,
        model,
        act=act_and_return,
        page=lambda s, form: page_of(request, s, serial, form),
        form_id=form_id,
        notice=notice,
    )
