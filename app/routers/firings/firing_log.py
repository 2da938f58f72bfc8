"""What belongs to a firing beside its figures: what was found of a failure, pictures, and where films lie."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, TypeVar

from fastapi import Depends, Request
from fastapi.responses import Response
from sqlmodel import Session

from app import uploads, web
from app.forms import Choice, Form
from app.models import Firing, FiringFinding, FiringPicture, FiringReference, Grain
from app.models.firing import RESULTS
from app.models.firing_log import PARTS, FindingIn, ReferenceIn
from app.models.picture import PictureIn, StrikeIn
from app.page import Page
from app.pictures import Kind
from app.routing import late_router
from app.services.book import kept_pictures, stored_files
from app.services.firings import findings, firings, media
from app.services.firings.findings import Fact
from app.services.motors.builds import Built
from app.uploads import Sent
from app.web import Book, Forms, Typed

router = late_router("/firings/{firing_id}")

Upload = Annotated[Sent, Depends(uploads.up_to(kept_pictures.LIMIT))]

P = TypeVar("P", FiringPicture, FiringReference)

CHOICES: dict[str, list[Choice]] = {f"{part}_found": list(states.items()) for part, states in PARTS.items()}


@dataclass(frozen=True)
class FiringLog:
    """What the page of a firing shows of its log; what was struck out is not on it."""

    found: Fact | None
    asked: bool
    """Whether it failed, so that what was found is asked for."""
    pictures: list[FiringPicture]
    lost: dict[int, str]
    """What is said of each picture whose file is missing or was altered."""
    references: list[FiringReference]
    is_link: Callable[[str], bool]


class FoundPage(Page, template="firings/found.html", section="firings"):
    """The form of what was found, and what was told before."""

    firing: Firing
    built: Built
    result: str
    asked: bool
    form: Form
    inside: list[tuple[int, Grain]]
    earlier: list[tuple[FiringFinding, list[tuple[str, str]]]]


class PicturesPage(Page, template="firings/pictures.html", section="firings"):
    """The pictures and what is referred to, each with the form to take it away, and the forms to add some."""

    firing: Firing
    built: Built
    most: int
    is_link: Callable[[str], bool]
    pictures: list[tuple[FiringPicture, Form]]
    lost: dict[int, str]
    told_of: Callable[[FiringPicture], str]
    references: list[tuple[FiringReference, Form]]
    upload: Form
    refer: Form


def of_firing(session: Session, firing: Firing) -> FiringLog:
    """What the page of a firing shows of its log."""
    pictures = [p for p in media.shown(session, firing) if p.voided_at is None]
    return FiringLog(
        found=findings.of_firing(session, firing),
        asked=findings.asked(firing),
        pictures=pictures,
        lost=stored_files.lost_of(session, pictures),
        references=[r for r in media.references(session, firing) if r.voided_at is None],
        is_link=media.is_link,
    )


# --- What was found ------------------------------------------------------------------------------


@router.get("/found")
def found(request: Request, session: Book, firing_id: int) -> Response:
    """The form of what was found, as it was told last."""
    firing = firings.get(session, firing_id)
    newest = next(iter(findings.accounts(session, firing)), None)
    form = web.blank(request, session, FindingIn, row=newest, choices=CHOICES)
    if newest is not None and form.draft_at is None:
        form.values["grain_ids"] = [str(suspect.grain_id) for suspect in newest.suspects]
    form.version = None  # telling it again makes a new row
    return _found_page(request, session, firing, form)


@router.post("/found")
def tell(request: Request, firing_id: int, typed: Typed) -> Response:
    """Save what was found."""

    def act(session: Session, data: FindingIn) -> str:
        findings.write_down(session, firings.get(session, firing_id), data)
        return f"/firings/{firing_id}"

    return web.submit(
        request,
        typed,
        FindingIn,
        act=act,
        choices=CHOICES,
        notice="What was found is written down.",
        page=lambda s, form: _found_page(request, s, firings.get(s, firing_id), form),
    )


def _found_page(request: Request, session: Session, firing: Firing, form: Form) -> Response:
    page = FoundPage(
        firing=firing,
        form=form,
        built=firings.its_motor(session, firing),
        inside=findings.inside(session, firing),
        result=RESULTS[firing.result],
        asked=findings.asked(firing),
        earlier=[(row, findings.in_words(row)) for row in findings.accounts(session, firing)],
    )
    return web.render(request, session, page)


# --- Pictures ------------------------------------------------------------------------------------


@router.get("/pictures")
def pictures(request: Request, session: Book, firing_id: int) -> Response:
    """The pictures, what is referred to, and the forms to add and to take away."""
    return _pictures_page(request, session, firing_id)


@router.post("/pictures")
def send(request: Request, firing_id: int, sent: Upload) -> Response:
    """Keep a picture."""

    def act(session: Session, data: PictureIn) -> str:
        media.keep(session, firings.get(session, firing_id), data, sent.files.get("file", b""))
        return f"/firings/{firing_id}/pictures"

    return web.submit_file(
        request,
        sent,
        PictureIn,
        act=act,
        page=lambda s, form: _pictures_page(request, s, firing_id, form),
        notice="The picture is in the book.",
        too_large=kept_pictures.too_large(),
    )


@router.get("/pictures/{picture_id}")
def show(session: Book, firing_id: int, picture_id: int) -> Response:
    """A picture, byte by byte as it was kept, as the kind that its bytes are."""
    row = media.picture(session, firings.get(session, firing_id), picture_id)
    ending = Kind(row.media_type, row.width, row.height).ending
    head = {"Content-Disposition": f'inline; filename="firing-{firing_id}-{picture_id}.{ending}"'}
    return Response(stored_files.read(session, row), media_type=row.media_type, headers=head)


@router.post("/pictures/{picture_id}/strike")
def strike_picture(request: Request, firing_id: int, picture_id: int, typed: Typed) -> Response:
    """Take a picture away, with the reason."""

    def act(session: Session, data: StrikeIn) -> str:
        row = media.picture(session, firings.get(session, firing_id), picture_id)
        kept_pictures.strike(session, row, data, web.version_of(typed))
        return f"/firings/{firing_id}/pictures"

    return web.submit(
        request,
        typed,
        StrikeIn,
        act=act,
        page=lambda s, form: _pictures_page(request, s, firing_id, form),
        form_id=f"strike-picture-{picture_id}",
        notice="The picture is shown no more; the reason is kept with it.",
    )


@router.post("/references")
def refer(request: Request, firing_id: int, typed: Typed) -> Response:
    """Note where a picture or film lies."""

    def act(session: Session, data: ReferenceIn) -> str:
        media.refer(session, firings.get(session, firing_id), data)
        return f"/firings/{firing_id}/pictures"

    return web.submit(
        request,
        typed,
        ReferenceIn,
        act=act,
        page=lambda s, form: _pictures_page(request, s, firing_id, form),
        form_id="refer",
        notice="It is noted where it lies.",
    )


@router.post("/references/{reference_id}/strike")
def strike_reference(request: Request, firing_id: int, reference_id: int, typed: Typed) -> Response:
    """Strike a reference out, with the reason."""

    def act(session: Session, data: StrikeIn) -> str:
        row = media.reference(session, firings.get(session, firing_id), reference_id)
        kept_pictures.strike(session, row, data, web.version_of(typed))
        return f"/firings/{firing_id}/pictures"

    return web.submit(
        request,
        typed,
        StrikeIn,
        act=act,
        page=lambda s, form: _pictures_page(request, s, firing_id, form),
        form_id=f"strike-reference-{reference_id}",
        notice="The line is struck out; the reason is kept with it.",
    )


def _pictures_page(request: Request, session: Session, firing_id: int, failed: Form | None = None) -> Response:
    firing = firings.get(session, firing_id)
    forms = Forms(request, session, failed)
    base = f"/firings/{firing_id}"

    def strikes(rows: list[P], noun: str) -> list[tuple[P, Form]]:
        """Each row with the form to take it away."""
        return [
            (row, forms.get(f"strike-{noun}-{row.pk}", StrikeIn, f"{base}/{noun}s/{row.pk}/strike", row=row))
            for row in rows
        ]

    page = PicturesPage(
        firing=firing,
        built=firings.its_motor(session, firing),
        most=kept_pictures.MOST,
        is_link=media.is_link,
        pictures=strikes(media.shown(session, firing), "picture"),
        lost=stored_files.lost_of(session, media.shown(session, firing)),
        told_of=kept_pictures.told_of,
        references=strikes(media.references(session, firing), "reference"),
        upload=forms.get("form", PictureIn, f"{base}/pictures"),
        refer=forms.get("refer", ReferenceIn, f"{base}/references"),
    )
    return web.render(request, session, page)
