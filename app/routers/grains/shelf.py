"""The shelf: its grains, and what is done to several at once: bags, re-weighs, sets."""

from collections import Counter
from typing import Any

from fastapi import Request
from fastapi.responses import Response
from markupsafe import Markup
from sqlmodel import Session

from app.errors import BookError
from app.forms import Form, from_texts
from app.models import Grain
from app.models.bag import KeepIn, ReWeighIn
from app.page import Page
from app.routers.grains import shelf_picture
from app.routing import late_router
from app.services.book import workshop
from app.services.cast import cautions, targets
from app.services.grains import reweighs, sets, shelf, waste
from app.services.grains.grains import GrainView
from app.services.grains.reweighs import Gain, Round
from app.services.grains.sets import Kind, Proposal, SetsIn
from app.services.grains.shelf import ShelfIn
from app.services.grains.waste import Held
from app.services.motors import buildable
from app.services.motors.buildable import Buildables
from app.web import Book, Typed, blank, redirect, render, submit

router = late_router("/shelf")


class ShelfPage(Page, template="grains/shelf.html", section="shelf"):
    """What can be built now, with its picture; a page of the shelf, and the form that chooses what is on it."""

    can_build: Buildables
    waiting: dict[str, int]
    """How many grains on the shelf stand how."""
    motors: list[Markup | None]
    """The motors that can be built, as drawn."""
    picture: Markup | None
    form: Form
    found: shelf.ShelfPage
    lots: list[tuple[GrainView, list[GrainView]]]
    grouped: bool
    filtered: bool
    rest: list[tuple[str, str]]
    """What is chosen, as parts of an address."""
    ready: int
    cautions: list[str]
    gains: dict[int, Gain]
    digits: int
    held: Held


class BagsPage(Page, template="grains/bags.html", section="shelf"):
    """Where the bags of several grains lie."""

    form: Form
    places: list[str]
    views: list[GrainView]


class ReWeighPage(Page, template="grains/reweigh.html", section="shelf"):
    """The grains to weigh again, and the next of them."""

    form: Form
    lot: str | None
    ids: list[int]
    round: Round
    last: tuple[Grain, Gain] | None
    digits: int
    step: float
    focus: str
    """The field that the hand is at."""


class SetsPage(Page, template="grains/sets.html", section="shelf"):
    """Sets of even mass, proposed."""

    form: Form
    kinds: list[Kind]
    made: list[Proposal]
    digits: int
    step: float


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
    standing, house = shelf.standing(session), workshop.get(session)
    can_build = buildable.now(session, standing)
    page = ShelfPage(
        can_build=can_build,
        waiting=Counter(grain.state for grain in standing),
        motors=shelf_picture.motors(can_build.motors, house.grain_gap_m),
        picture=shelf_picture.boxes(standing),
        form=form,
        found=found,
        lots=shelf.by_lot(found.views),
        rest=rest,
        grouped=(wanted or ShelfIn()).sort in ("lot", "oldest"),
        filtered=bool(form.text("find") or form.text("state") or form.text("place")),
        ready=sum(v.state == "ready" for v in found.views),
        cautions=cautions.AT_THE_SHELF,
        gains=reweighs.latest(found.views),
        digits=targets.places(house),
        held=waste.held(session),
    )
    return render(request, session, page, 200 if wanted else 422)


# --- Several at once: bags, re-weighs, sets ----------------------------------------------------


def _ids(request: Request) -> list[int]:
    return [int(text) for text in request.query_params.getlist("grain") if text.isdecimal() and len(text) < 10]


def _bags_page(request: Request, session: Session, ids: list[int], failed: Form | None = None) -> Response:
    form = failed or blank(request, session, KeepIn, action="/shelf/bags", form_id="keep")
    page = BagsPage(form=form, places=shelf.places(session), views=shelf.of_ids(session, ids))
    return render(request, session, page)


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
    page = ReWeighPage(
        form=form,
        lot=lot,
        ids=ids,
        round=now,
        last=reweighs.last(session),
        digits=targets.places(house),
        step=house.scale_resolution_kg,
        focus="gross" if form.text("serial") else "serial",
    )
    return render(request, session, page)


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
    page = SetsPage(
        form=form,
        kinds=found,
        made=made,
        digits=targets.places(workshop.get(session)),
        step=workshop.get(session).scale_resolution_kg,
    )
    return render(request, session, page, 422 if form.errors else 200)
