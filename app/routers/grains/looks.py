"""Looks at a grain and pictures of it: kept, struck out, shown."""

from typing import Annotated

from fastapi import Depends, Request
from fastapi.responses import Response
from sqlmodel import Session

from app import uploads, web
from app.errors import NotFound
from app.models import Batch, Grain, GrainLook, GrainPicture
from app.models.batch import VoidIn
from app.models.grain_look import GrainLookIn
from app.models.picture import PictureIn, StrikeIn
from app.pictures import Kind
from app.routers.grains import look_part, one_grain
from app.routing import late_router
from app.services.book import audit_reasons, first_minute, kept_pictures, repository, stored_files
from app.services.grains import grains, looks
from app.uploads import Sent
from app.web import Book, Typed

router = late_router("/shelf/{serial}")

Upload = Annotated[Sent, Depends(uploads.up_to(kept_pictures.LIMIT))]


@router.post("/look")
def look(request: Request, serial: str, typed: Typed) -> Response:
    """Save what was seen."""

    def act(session: Session, data: GrainLookIn) -> str:
        grain = grains.by_serial(session, serial)
        looks.look(session, grain, data, web.named(request, session) or audit_reasons.who(session))
        lot = repository.get(session, Batch, grain.batch_id, "batch").code
        return f"/cast/{lot}/grains" if data.back == "weigh" else f"/shelf/{grain.serial}#looks"

    return web.submit(
        request,
        typed,
        GrainLookIn,
        act=act,
        page=lambda s, form: one_grain.page_of(request, s, serial, form),
        form_id="look",
        choices=look_part.CHOICES,
        notice=f"What was seen of {serial} is kept.",
    )


@router.post("/look/{look_id}/strike")
def strike_look(request: Request, serial: str, look_id: int, typed: Typed) -> Response:
    """Strike a look out, with the reason."""

    def act(session: Session, data: VoidIn) -> str:
        grain = grains.by_serial(session, serial)
        row = repository.get(session, GrainLook, look_id, "look")
        if row.grain_id != grain.pk:
            raise NotFound("This grain has no such look.")
        first_minute.strike(session, row, data, web.version_of(typed))
        return f"/shelf/{grain.serial}#looks"

    return web.submit(
        request,
        typed,
        VoidIn,
        act=act,
        page=lambda s, form: one_grain.page_of(request, s, serial, form),
        form_id=f"strike-look-{look_id}",
        notice="The look is struck out; the reason is kept with it.",
    )


@router.post("/pictures")
def send(request: Request, serial: str, sent: Upload) -> Response:
    """Keep a picture."""

    def act(session: Session, data: PictureIn) -> str:
        grain = grains.by_serial(session, serial)
        looks.keep_picture(session, grain, data, sent.files.get("file", b""))
        return f"/shelf/{grain.serial}#looks"

    return web.submit_file(
        request,
        sent,
        PictureIn,
        act=act,
        page=lambda s, form: one_grain.page_of(request, s, serial, form),
        form_id="picture",
        notice="The picture is in the book.",
        too_large=kept_pictures.too_large(),
    )


@router.get("/pictures/{picture_id}")
def show(session: Book, serial: str, picture_id: int) -> Response:
    """A picture, byte by byte as it was kept, as the kind that its bytes are."""
    row = _picture(session, grains.by_serial(session, serial), picture_id)
    ending = Kind(row.media_type, row.width, row.height).ending
    head = {"Content-Disposition": f'inline; filename="grain-{serial}-{picture_id}.{ending}"'}
    return Response(stored_files.read(session, row), media_type=row.media_type, headers=head)


@router.post("/pictures/{picture_id}/strike")
def strike_picture(request: Request, serial: str, picture_id: int, typed: Typed) -> Response:
    """Take a picture away, with the reason."""

    def act(session: Session, data: StrikeIn) -> str:
        grain = grains.by_serial(session, serial)
        kept_pictures.strike(session, _picture(session, grain, picture_id), data, web.version_of(typed))
        return f"/shelf/{grain.serial}#looks"

    return web.submit(
        request,
        typed,
        StrikeIn,
        act=act,
        page=lambda s, form: one_grain.page_of(request, s, serial, form),
        form_id=f"strike-picture-{picture_id}",
        notice="The picture is shown no more; the reason is kept with it.",
    )


def _picture(session: Session, grain: Grain, picture_id: int) -> GrainPicture:
    return kept_pictures.picture(session, GrainPicture, grain.pk, picture_id)
