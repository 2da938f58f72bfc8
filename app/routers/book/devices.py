"""Devices on the network: the page that lets them in and puts them out (on this machine only), and where they pair."""

import math
from datetime import datetime
from typing import Any

from fastapi import Request
from fastapi.responses import RedirectResponse, Response
from markupsafe import Markup
from sqlmodel import Session

from app import web
from app.access import door as doors
from app.access import middleware, pairing
from app.access.authority import Fingerprint
from app.access.door import Door
from app.access.lan import Lan
from app.errors import NotFound, Refused
from app.forms import Form, from_texts
from app.models.base import FormIn
from app.models.device import PairIn
from app.page import Page
from app.routing import late_router
from app.services.book import devices
from app.services.book.devices import DeviceView
from app.services.grains import labels
from app.units import METRIC
from app.web import Book, Forms, Typed

router = late_router()


class DevicesPage(
    Page, template="book/devices.html", section="workshop", group="Book", tabs=[(23, "/workshop/devices", "Devices")]
):
    """Which devices may use the book over the network, and how one is let in."""

    open_to: Lan | None
    fingerprint: Fingerprint | None
    """Of the book's authority, where the network is encrypted."""
    addresses: list[tuple[str, Markup]]
    """Each address of this computer on the network, and its QR code."""
    code: pairing.Shown | None
    make: Form
    paired: list[DeviceView]
    ended: list[DeviceView]
    revoke: dict[int, Form]
    end_sessions: Form
    scripts: list[tuple[int, datetime]]
    """The number of each token of a script that holds, and when it was made."""
    holds_days: int
    digits: int
    guesses_each: int
    guesses: int
    minutes: int


class PairPage(Page, template="book/pair.html"):
    """Where a device on the network types the code. It holds nothing of the book."""

    form: Form
    fingerprint: Fingerprint | None
    certificate: str
    """Where the authority's certificate is fetched."""


class EnterPage(Page, template="book/enter.html"):
    """What a browser of this computer sees that was not let in. It holds nothing of the book."""

    spent: bool
    """Whether it came by a one-time address that does not hold."""


NO_SUCH_CODE = (
    "This code does not hold: it was mistyped, used already or is older than ten minutes. Look at the computer that "
    "Grainbook runs on: Workshop, Devices shows the code that holds, or makes a new one."
)


def _on_this_machine(request: Request) -> None:
    """Codes are shown, and devices put out, on the machine that the book is on; a paired device does neither."""
    if request.state.device:
        raise Refused("Devices are let in and signed out on the computer that Grainbook runs on, not over the network.")


# --- Browsers of this computer -------------------------------------------------------------------


@router.get(doors.ENTER)
def not_let_in(request: Request) -> Response:
    """What the gate shows, in the place of any page, to a browser of this computer that was not let in."""
    if request.state.device is not None:
        return RedirectResponse("/", status_code=303)
    return web.bare(request, EnterPage(spent=False), 403)


@router.get(doors.ENTER + "/{ticket}")
def enter(request: Request, ticket: str) -> Response:
    """Let a browser of this computer in by a one-time address, and go on to Today."""
    door: Door = request.app.state.door
    response = RedirectResponse("/", status_code=303)
    if request.state.device is None:
        if not doors.same_account(request) or not door.enter(ticket):
            return web.bare(request, EnterPage(spent=True), 403)
        _let_in(response, door)
    return response


@router.post("/workshop/devices/end-sessions")
def end_sessions(request: Request, typed: Typed) -> Response:
    """Put every browser of this computer out but the one that asks."""
    _on_this_machine(request)
    door: Door = request.app.state.door

    def act(_session: Session, _data: Any) -> str:
        door.change_key()
        return "/workshop/devices"

    response = web.submit(
        request,
        typed,
        FormIn,
        act=act,
        page=lambda s, form: _page(request, s, form),
        form_id="end-sessions",
        notice="Every other browser of this computer is signed out.",
    )
    _let_in(response, door)
    return response


def _let_in(response: Response, door: Door) -> None:
    """Give a browser the cookie by which it is let in from now on."""
    held_s = int(doors.COOKIE_HOLDS.total_seconds())
    response.set_cookie(door.cookie_name, door.cookie(), max_age=held_s, httponly=True, samesite="strict")


# --- On the laptop ---------------------------------------------------------------------------------


@router.get("/workshop/devices")
def show(request: Request, session: Book) -> Response:
    """Which devices may use the book over the network, and how to pair one."""
    _on_this_machine(request)
    return _page(request, session)


@router.post("/workshop/devices/code")
def new_code(request: Request, typed: Typed) -> Response:
    """Make a pairing code."""
    _on_this_machine(request)

    def act(_session: Session, _data: Any) -> str:
        if request.app.state.lan is None:
            raise Refused("The book is open to this computer alone. Stop it and start it with --lan first.")
        request.app.state.lan.desk.new_code()
        return "/workshop/devices"

    return web.submit(
        request,
        typed,
        FormIn,
        act=act,
        page=lambda s, form: _page(request, s, form),
        form_id="code",
        notice="Type this code on the device.",
    )


@router.post("/workshop/devices/{device_id}/revoke")
def revoke(request: Request, device_id: int, typed: Typed) -> Response:
    """Put a device out."""
    _on_this_machine(request)

    def act(session: Session, _data: Any) -> str:
        devices.revoke(session, device_id)
        return "/workshop/devices"

    return web.submit(
        request,
        typed,
        FormIn,
        act=act,
        page=lambda s, form: _page(request, s, form),
        form_id=f"revoke-{device_id}",
        notice="The device is signed out.",
    )


def _page(request: Request, session: Session, failed: Form | None = None) -> Response:
    lan: Lan | None = request.app.state.lan
    forms = Forms(request, session, failed)
    known = devices.listed(session)
    base = "/workshop/devices"
    page = DevicesPage(
        open_to=lan,
        fingerprint=_fingerprint(request),
        addresses=[(address, labels.qr_code(address)) for address in lan.addresses] if lan else [],
        code=lan.desk.code() if lan else None,
        make=forms.get("code", FormIn, f"{base}/code"),
        paired=[v for v in known if v.holds],
        ended=[v for v in known if not v.holds],
        revoke={v.device.pk: forms.get(f"revoke-{v.device.pk}", FormIn, f"{base}/{v.device.pk}/revoke") for v in known},
        end_sessions=forms.get("end-sessions", FormIn, f"{base}/end-sessions"),
        scripts=[(one.number, datetime.fromisoformat(one.made)) for one in doors.tokens(request.app.state.door.book)],
        holds_days=devices.HOLDS.days,
        digits=pairing.DIGITS,
        guesses_each=pairing.GUESSES_EACH,
        guesses=pairing.GUESSES,
        minutes=int(pairing.HOLDS.total_seconds() // 60),
    )
    return web.render(request, session, page)


# --- On the device ---------------------------------------------------------------------------------


@router.get(middleware.PAIR)
def pairing_page(request: Request) -> Response:
    """Where a device on the network types the code."""
    if request.state.device is not None:
        return RedirectResponse("/", status_code=303)
    return _pairing(request, Form(PairIn, "form", middleware.PAIR))


@router.get(middleware.CERTIFICATE)
def certificate(request: Request) -> Response:
    """The certificate of the book's authority, for a device that shall trust it; anybody may have it."""
    lan: Lan | None = request.app.state.lan
    if lan is None or lan.authority is None:
        raise NotFound("There is no certificate: the book is not open to the network, or not encrypted.")
    head = {"Content-Disposition": 'attachment; filename="grainbook-authority.crt"'}
    return Response(lan.authority.der(), media_type="application/x-x509-ca-cert", headers=head)


def _pairing(request: Request, form: Form, status: int = 200) -> Response:
    page = PairPage(form=form, fingerprint=_fingerprint(request), certificate=middleware.CERTIFICATE)
    return web.bare(request, page, status)


def _fingerprint(request: Request) -> Fingerprint | None:
    lan: Lan | None = request.app.state.lan
    return lan.authority.fingerprint() if lan and lan.authority else None


@router.post(middleware.PAIR)
def pair(request: Request, typed: Typed) -> Response:
    """Let a device in that knows the code. No stranger's request writes to the book, or reads from it."""
    if request.state.device is not None:
        return RedirectResponse("/", status_code=303)
    assert request.client is not None
    form = from_texts(PairIn, typed, "form", middleware.PAIR, {})
    desk: pairing.Desk = request.app.state.lan.desk
    data = form.check(METRIC)
    if not isinstance(data, PairIn):
        return _pairing(request, form, 422)
    wait = desk.wait(request.client.host)
    if wait > 0:
        form.refuse(
            "code",
            f"Too many wrong codes from this device. Wait {math.ceil(wait)} s; then type the code that the computer "
            "shows at that moment.",
        )
        refused = _pairing(request, form, 429)
        refused.headers["Retry-After"] = str(math.ceil(wait))
        return refused
    if not desk.take(request.client.host, data.code):
        form.refuse("code", NO_SUCH_CODE)
        return _pairing(request, form, 422)
    encrypted = request.url.scheme == "https"
    with web.unsigned_writing(request) as session:
        device, token = devices.pair(session, data, encrypted=encrypted)
        name = device.name
        session.commit()
    response = web.redirect("/", f"This device is paired as “{name}”, for {devices.HOLDS.days} days.")
    cookie, held_s = middleware.TLS_COOKIE if encrypted else middleware.COOKIE, int(devices.HOLDS.total_seconds())
    response.set_cookie(cookie, token, max_age=held_s, secure=encrypted, httponly=True, samesite="strict")
    return response
