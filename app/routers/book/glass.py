"""How large a millimetre is on this device's glass: told with a bank card, kept on the device, served as a style."""

from typing import Any

from fastapi import Request
from fastapi.responses import Response
from sqlmodel import Session

from app.errors import NotFound
from app.forms import Form, from_texts
from app.models.base import FormIn
from app.models.device import GlassIn
from app.page import Page
from app.routing import late_router
from app.services.book import glass
from app.units import METRIC
from app.web import YEAR_S, Book, Forms, Typed, answered, glass_of, render, submit

router = late_router()


class GlassPage(
    Page,
    template="book/glass.html",
    section="workshop",
    group="Book",
    tabs=[(24, "/workshop/glass", "Size on this screen")],
):
    """A card drawn to be made as large as a real one."""

    form: Form
    usual: Form
    """The form that goes back to what is taken where nothing was told."""
    card_px: float
    told: float | None
    """What this device was told [px/mm]."""
    card_mm: tuple[float, float]
    bounds: tuple[float, float]
    """The least and the most px that the card may have."""


@router.get("/workshop/glass")
def show(request: Request, session: Book, by: float = 0.0) -> Response:
    """The drawn card as wide as it was told, or as its buttons ask for; nothing is kept by looking."""
    asked = [(name, text) for name, text in request.query_params.multi_items() if name not in ("once", "by")]
    if not asked:
        return _page(request, session)
    form = from_texts(GlassIn, asked, "glass", "/workshop/glass", {})
    form.asks_at = "/workshop/glass"

    def wider(data: GlassIn) -> float:
        data.card_px += by
        return glass.measured(data) * glass.CARD_MM[0]

    width = answered(form, METRIC, wider)
    return _page(request, session, form if width is None else None, width)


@router.post("/workshop/glass")
def tell(request: Request, typed: Typed) -> Response:
    """Tell this device how large its millimetre is; it remembers it for a year."""

    def act(_session: Session, data: Any) -> str:
        glass.measured(data)  # refuses what no screen has
        return "/workshop/glass"

    response = submit(
        request,
        typed,
        GlassIn,
        act=act,
        page=lambda s, form: _page(request, s, form),
        form_id="glass",
        notice="Sizes at the bench are true on this screen from now on.",
    )
    sent = from_texts(GlassIn, typed, "glass", "/workshop/glass", {}).check(METRIC)
    if response.status_code == 303 and isinstance(sent, GlassIn):  # the second of two presses tells it as well
        kept = glass.written(glass.measured(sent))
        response.set_cookie("glass", kept, max_age=YEAR_S, httponly=True, samesite="strict")
    return response


@router.post("/workshop/glass/usual")
def forget(request: Request, typed: Typed) -> Response:
    """Let this device take the usual size again."""
    response = submit(
        request,
        typed,
        FormIn,
        act=lambda _session, _data: "/workshop/glass",
        page=lambda s, _form: _page(request, s),
        form_id="usual",
        notice="This screen takes the usual size again.",
    )
    response.delete_cookie("glass", httponly=True, samesite="strict")
    return response


@router.get("/glass.css")
def style(mm: float) -> Response:
    """The style that a told millimetre makes; it never changes at its address, so a browser keeps it."""
    if not glass.LEAST <= mm <= glass.MOST:
        raise NotFound("No screen has a millimetre like that.")
    kept = {"Cache-Control": "private, max-age=31536000, immutable"}
    return Response(glass.stylesheet(mm), media_type="text/css", headers=kept)


def _page(request: Request, session: Session, failed: Form | None = None, width: float | None = None) -> Response:
    told = glass_of(request)
    card_px = width or (told or glass.USUAL) * glass.CARD_MM[0]
    forms = Forms(request, session, failed)
    page = GlassPage(
        form=forms.get("glass", GlassIn, "/workshop/glass", initial={"card_px": f"{card_px:.1f}"}),
        usual=forms.get("usual", FormIn, "/workshop/glass/usual"),
        card_px=card_px,
        told=told,
        card_mm=glass.CARD_MM,
        bounds=(glass.LEAST * glass.CARD_MM[0], glass.MOST * glass.CARD_MM[0]),
    )
    return render(request, session, page, 422 if failed and failed.errors else 200)
