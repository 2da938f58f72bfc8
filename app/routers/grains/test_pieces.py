"""Test pieces of a lot: how to burn them, what they tell."""

from fastapi import Request
from fastapi.responses import Response
from markupsafe import Markup
from sqlmodel import Session

from app import clock
from app.calc.propellant.burn_rate import BurnLaw
from app.calc.propellant.strand import Mean
from app.charts import Axis, Rule
from app.forms import Form
from app.models import Batch, Formula
from app.models.batch import VoidIn
from app.models.test_piece import TestPieceIn
from app.page import Page
from app.point_charts import Interval, interval_chart
from app.routing import late_router
from app.services.book import workshop
from app.services.cast import casting
from app.services.grains import test_pieces
from app.services.grains.test_pieces import LotRate, Stick
from app.services.stock import batches, formulas
from app.web import Book, Forms, Typed, render, submit

router = late_router("/cast/{code}/test-pieces")


class TestPiecesPage(Page, template="grains/test_pieces.html", section="cast"):
    """The sticks of a lot, and what they tell beside earlier lots."""

    batch: Batch
    formula: Formula
    cast: bool
    form: Form
    sticks: list[Stick]
    voids: dict[int, Form]
    mean: Mean | None
    lots: list[LotRate]
    chart: Markup | None
    law: BurnLaw
    step: float


TWO, MOST = 2, 12
"""Fewer lots than this are not compared, and the newest so many are."""


def _chart(lots: list[LotRate]) -> Markup | None:
    if len(lots) < TWO:
        return None
    rows = []
    for lot in lots:
        m = lot.mean
        low, high = (None, None) if m.half_width is None else (m.mean - m.half_width, m.mean + m.half_width)
        rows.append(Interval(lot.batch.code, m.mean, low, high, m.n))
    axis = Axis("Rate over law", decimals=2)
    return interval_chart("Burn rate in the open, lot by lot", axis, rows, [Rule("as the law", 1.0, limit=False)])


def _page(request: Request, session: Session, code: str, failed: Form | None = None) -> Response:
    batch = batches.by_code(session, code)
    formula = formulas.get(session, batch.formula_id)
    forms = Forms(request, session, failed)
    here = f"/cast/{batch.code}/test-pieces"
    form = forms.get(
        "stick",
        TestPieceIn,
        f"{here}/sticks",
        initial={"burned_on": clock.today(), "elevation": test_pieces.usual_elevation(session), "by_video": True},
    )
    sticks = test_pieces.of_batch(session, batch)
    lots = test_pieces.by_lot(session, formula)[-MOST:]
    page = TestPiecesPage(
        batch=batch,
        formula=formula,
        form=form,
        cast=casting.find(session, batch) is not None,
        sticks=sticks,
        mean=test_pieces.mean(sticks),
        lots=lots,
        law=test_pieces.law_of(session, batch),
        chart=_chart(lots),
        step=workshop.get(session).ruler_resolution_m,
        voids={
            s.piece.number: forms.get(f"void-{s.piece.number}", VoidIn, f"{here}/{s.piece.number}/void")
            for s in sticks
            if s.piece.voided_at is None
        },
    )
    return render(request, session, page)


@router.get("")
def show(request: Request, session: Book, code: str) -> Response:
    """The sticks of a lot, and the next one."""
    return _page(request, session, code)


@router.post("/sticks")
def record(request: Request, session: Book, code: str, typed: Typed) -> Response:
    """Keep a stick."""
    batch = batches.by_code(session, code)

    def act(writing: Session, data: TestPieceIn) -> str:
        test_pieces.record(writing, batches.by_code(writing, code), data)
        return f"/cast/{batch.code}/test-pieces"

    return submit(
        request,
        typed,
        TestPieceIn,
        act=act,
        page=lambda s, form: _page(request, s, code, form),
        form_id="stick",
        notice="The test piece is kept.",
    )


@router.post("/{number}/void")
def void(request: Request, session: Book, code: str, number: int, typed: Typed) -> Response:
    """Strike a stick out."""
    batch = batches.by_code(session, code)

    def act(writing: Session, data: VoidIn) -> str:
        test_pieces.void(writing, batches.by_code(writing, code), number, data)
        return f"/cast/{batch.code}/test-pieces"

    return submit(
        request,
        typed,
        VoidIn,
        act=act,
        page=lambda s, form: _page(request, s, code, form),
        form_id=f"void-{number}",
        notice="It is struck out; its numbers stay readable.",
    )
