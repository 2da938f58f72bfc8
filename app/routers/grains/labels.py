"""Labels: choose grains and a sheet, look at them, print them."""

from fastapi import Request
from fastapi.responses import Response

from app.errors import BookError, NotFound
from app.forms import Form, from_texts
from app.models import Batch
from app.page import Page
from app.routing import late_router
from app.services.book import workshop
from app.services.grains import flow, labels
from app.services.grains.grains import GrainView
from app.services.grains.labels import LabelsIn
from app.web import Book, render

router = late_router("/labels")


class LabelsPage(Page, template="grains/labels.html", section="shelf"):
    """The labels as they will be printed, and the form that chooses them."""

    form: Form
    wanted: LabelsIn
    found: list[GrainView]
    picked: set[int]
    sheets: list[list[labels.Label | None]]
    style: str
    """The address of the sheet's style."""
    lots: list[Batch]
    roll: bool
    to_shelf: list[GrainView]
    """Those of the lot in their bags, of which nobody noted where they lie: that comes next."""


@router.get("")
def show(request: Request, session: Book) -> Response:
    """The labels as they will be printed, with the form that chooses them above."""
    units = workshop.get(session).units
    sizes = {"size": labels.choices(units)}
    form = from_texts(LabelsIn, request.query_params.multi_items(), "labels", "/labels", sizes)
    checked = form.check(units)
    assert checked is None or isinstance(checked, LabelsIn)
    lot = "" if "lot" in form.errors else form.text("lot")
    wanted = checked or LabelsIn(lot=lot or None)
    found = labels.candidates(session, wanted)
    picked = labels.chosen(found, wanted)
    sheets: list[list[labels.Label | None]] = []
    if checked is not None:
        try:
            sheets = labels.sheets(session, wanted, picked, str(request.base_url))
        except BookError as error:
            form.refuse(error.field, error.message)
    for name, usual in (("size", wanted.size), ("start", str(wanted.start))):
        form.values.setdefault(name, [usual])
    page = LabelsPage(
        form=form,
        wanted=wanted,
        found=found,
        picked={v.grain.pk for v in picked},
        sheets=sheets,
        style=_style(wanted),
        lots=[] if found else labels.lots(session),
        roll=wanted.size.startswith("roll"),
        to_shelf=flow.of_lot(session, found[0].batch, found).unplaced if wanted.lot and found else [],
    )
    return render(request, session, page, 422 if form.errors else 200)


def _style(wanted: LabelsIn) -> str:
    moved = "".join(
        f"&{name}={distance.si * 1000:.2f}"
        for name, distance in (("right", wanted.right), ("down", wanted.down))
        if distance is not None
    )
    return f"/labels/sheet.css?size={wanted.size if wanted.size in labels.SHEETS else 'a4-3x8'}{moved}"


@router.get("/sheet.css")
def sheet_style(size: str, right: float = 0.0, down: float = 0.0) -> Response:
    """The style of one size of sheet, moved by so many millimetres."""
    if size not in labels.SHEETS or not (abs(right) <= 10 and abs(down) <= 10):
        raise NotFound("There is no such sheet of labels.")
    return Response(labels.stylesheet(size, right, down), media_type="text/css")
