"""A page drawn in the frame of all pages, for the person and the device that ask for it."""

from dataclasses import dataclass, field
from urllib.parse import quote, unquote

from fastapi import Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app import units
from app.book import left_out
from app.calc.base.notes import Note
from app.models import Workshop
from app.models.base import FormIn
from app.page import Page
from app.services.book import audit_reasons, glass, workshop
from app.services.cast import pan
from app.services.today import lacking
from app.templating import templates

YEAR_S = 365 * 24 * 3600
"""How long a device remembers what it was told [s]."""


@dataclass(frozen=True)
class Frame:
    """What every template is handed beside the fields of its page."""

    request: Request
    path: str
    section: str
    workshop: Workshop | None
    units: units.UnitSystem
    demo: bool
    lan: str
    """How the network is answered, `http` or `https`; "" where it is not."""
    notice: str
    lack: lacking.Lack | None
    """After a save in the workshop, what is missing next."""
    at_bench: str
    glass: str
    """The address of the style with the millimetre of this device's screen; "" where none was told."""
    hot: list[pan.Hot]
    """Each pan that is or may be too hot, which every page tells."""
    unreadable: list[str]
    """What could not be read and is left out of every page, in sentences."""
    explained: set[str] = field(default_factory=set)
    """Which words' help (`_term.html`) this page has brought already, while it is drawn."""


class ErrorPage(Page, template="error.html"):
    """That something asked for was not done, and why."""

    code: int | str
    message: str | Note
    page: str
    """The page that an address belongs to which shows nothing by itself; "" where there is none."""


def render(request: Request, session: Session, page: Page, status: int = 200) -> Response:
    """A whole page."""
    house = workshop.get(session)
    notice = unquote(request.cookies.get("notice", ""))
    unreadable = left_out.of(request.app.state.engine).told()
    lack = lacking.following(session) if notice and page.section == "workshop" else None
    response = _drawn(
        request,
        page,
        status,
        house,
        house.units,
        notice,
        lack,
        at_bench(request, session),
        pan.hot(session),
        unreadable,
    )
    if notice:
        response.delete_cookie("notice", httponly=True, samesite="strict")
    return response


def bare(request: Request, page: Page, status: int = 200) -> Response:
    """A page drawn without the book, which may be what does not answer, or is not for those who ask."""
    return _drawn(request, page, status, None, units.METRIC, "", None, "", [], [])


def _drawn(
    request: Request,
    page: Page,
    status: int,
    house: Workshop | None,
    system: units.UnitSystem,
    notice: str,
    lack: lacking.Lack | None,
    person: str,
    hot: list[pan.Hot],
    unreadable: list[str],
) -> Response:
    state, px_per_mm = request.app.state, glass_of(request)
    frame = Frame(
        request=request,
        path=request.url.path,
        section=page.section,
        workshop=house,
        units=system,
        demo=state.settings.demo,
        lan=state.lan.scheme if state.lan else "",
        notice=notice,
        lack=lack,
        at_bench=person,
        glass=f"/glass.css?mm={glass.written(px_per_mm)}" if px_per_mm else "",
        hot=hot,
        unreadable=unreadable,
    )
    text = templates.get_template(page.template).render({**vars(frame), **vars(page)})
    return HTMLResponse(text, status_code=status)


def redirect(url: str, notice: str = "") -> Response:
    """Go on to a page after a save, with a sentence to show there once."""
    response = RedirectResponse(url, status_code=303)
    if notice:
        response.set_cookie("notice", quote(notice), max_age=60, httponly=True, samesite="strict")
    return response


def loaded_whole(request: Request, response: Response) -> Response:
    """Where a save leads to another page than the one that asked, htmx loads that one whole."""
    if "hx-request" in request.headers and response.status_code == 303:
        response.status_code = 200
        response.headers["HX-Redirect"] = response.headers["location"]
        del response.headers["location"]
    return response


def whole_region(request: Request, response: Response) -> Response:
    """A page in which the region that htmx asked for is not: it takes the place of the whole main part."""
    if "hx-request" in request.headers:
        response.headers.update({"HX-Retarget": "#main", "HX-Reselect": "#main", "HX-Reswap": "outerHTML"})
    return response


def at_bench(request: Request, session: Session, data: FormIn | None = None) -> str:
    """Who is at the bench: the name signed in the form, else the one this device was told, else the settings' own."""
    signed = data.signature() if data is not None else ""
    return signed or named(request, session) or audit_reasons.who(session)


def named(request: Request, session: Session) -> str:
    """The name that this device was told is at its bench; nothing where it was told none that is in use."""
    return audit_reasons.known(session, unquote(request.cookies.get("at_bench", "")))


def glass_of(request: Request) -> float | None:
    """What this device was told of its screen [px/mm]; nothing where it was told none."""
    return glass.read(request.cookies.get("glass", ""))


def device(request: Request) -> str | None:
    """The name of the paired device that asks; nothing for this machine."""
    return getattr(request.state, "device", None) or None
