"""What firings taught, formula by formula and firing by firing."""

from collections.abc import Callable
from typing import Any

from fastapi import Request
from fastapi.responses import Response
from markupsafe import Markup
from sqlmodel import Session

from app import web
from app.drawings.row_plots import Fired, Level, fired_row, span_of
from app.forms import Form
from app.models import Firing, FiringLeftOut, FiringLetIn, Formula, LearningPause
from app.models.base import FormIn
from app.models.learning import WhyIn
from app.page import Page
from app.routers.learning.shrinking import Shrinking, own_says, shrinking
from app.routing import late_router
from app.services.book import workshop
from app.services.firings import firing_fits, firings
from app.services.learning import learning_pages, learning_switch
from app.services.learning.learning_pages import FormulaPage, Line, Moves, Summary
from app.services.learning.learning_switch import LEFT_OUT, LET_IN, PAUSED
from app.services.motors.builds import Built
from app.services.review import coverage
from app.services.review.coverage import Held, Record
from app.services.stock import formulas
from app.web import Book, Forms, Typed

router = late_router("/review")

ANY_CASE = "A case not fired yet"


class TaughtPage(
    Page, template="learning/list.html", section="review", tabs=[(5, "/review/learned", "What the firings taught")]
):
    """Every formula, and what firings made of its burn rate and efficiencies."""

    lines: list[Summary]
    lesson: tuple[str, str]
    """What was learned of the formula that was fired most."""
    picture: Shrinking
    moves: list[Moves]
    stand: float
    usual: tuple[float, float]
    waiting: int
    catch_up: Form


class TaughtFormulaPage(Page, template="learning/formula.html", section="review"):
    """What was learned of one formula, and every firing's own say."""

    learned: FormulaPage
    lesson: tuple[str, str]
    picture: Shrinking
    own: dict[int, list[Markup]]
    """What each firing says by itself, drawn."""
    paused: LearningPause | None
    learn: bool
    newest: Formula
    pause: Form
    resume: Form
    take_law: Form


class TaughtFiringPage(Page, template="learning/firing.html", section="review"):
    """What one firing says, whether it fell into its ranges, and whether it counts."""

    firing: Firing
    built: Built
    line: Line | None
    held: list[tuple[Record, Held, Markup]]
    answer: str
    out: FiringLeftOut | None
    wet: list[str]
    """Grains that were wet, by serial."""
    let_in_wet_now: FiringLetIn | None
    let_wet_in: Form
    wet_out: Form
    leave_out: Form
    let_in: Form


# --- What was learned ----------------------------------------------------------------------------


@router.get("/learned")
def listing(request: Request, session: Book) -> Response:
    """Every formula, and what firings made of its burn rate and efficiencies."""
    return _listing(request, session)


@router.post("/learned")
def catch_up(request: Request, typed: Typed) -> Response:
    """Fit the firings that wait."""

    def act(session: Session, _data: FormIn) -> str:
        firing_fits.catch_up(session, seconds=20.0)
        return "/review/learned"

    return web.submit(
        request,
        typed,
        FormIn,
        act=act,
        page=lambda s, form: _listing(request, s, form),
        notice="Fitted, as many as could be in twenty seconds.",
    )


def _listing(request: Request, session: Session, failed: Form | None = None) -> Response:
    forms = Forms(request, session, failed)
    lines = learning_pages.summaries(session)
    most = max(lines, key=lambda line: (line.firings, line.stick_lots), default=None)
    page = TaughtPage(
        lines=lines,
        lesson=learning_pages.lesson(most.formula.label, most.taught) if most else ("", ""),
        picture=shrinking([(line.formula.label, line.taught) for line in lines]),
        moves=learning_pages.moves(session),
        stand=learning_pages.STAND_OFF,
        usual=learning_pages.USUAL,
        waiting=learning_pages.waiting(session),
        catch_up=forms.get("form", FormIn, "/review/learned"),
    )
    return web.render(request, session, page)


@router.get("/learned/{formula_id}")
def one(request: Request, session: Book, formula_id: int) -> Response:
    """What was learned of one formula, and every firing's own say."""
    return _one(request, session, formula_id)


def _one(request: Request, session: Session, formula_id: int, failed: Form | None = None) -> Response:
    formula = formulas.get(session, formula_id)
    found = learning_pages.formula_page(session, formula)
    forms, base = Forms(request, session, failed), f"/review/learned/{formula_id}"
    page = TaughtFormulaPage(
        learned=found,
        lesson=learning_pages.lesson(formula.label, found.overall),
        picture=shrinking([(ANY_CASE, found.overall), *((case.name, taught) for case, taught in found.cases)]),
        own=own_says(found.lines),
        paused=PAUSED.now(session, formula.name),
        learn=workshop.get(session).learn,
        newest=formulas.versions(session, formula)[0],
        pause=forms.get("pause", WhyIn, f"{base}/pause"),
        resume=forms.get("resume", FormIn, f"{base}/resume"),
        take_law=forms.get("law", FormIn, f"{base}/law", row=formula),
    )
    return web.render(request, session, page)


def _acted(
    request: Request,
    typed: Typed,
    formula_id: int,
    act: Callable[[Session, Any], object],
    notice: str,
    form_id: str,
    model: type[FormIn],
) -> Response:
    def run(session: Session, data: Any) -> str:
        act(session, data)
        return f"/review/learned/{formula_id}"

    return web.submit(
        request,
        typed,
        model,
        act=run,
        page=lambda s, form: _one(request, s, formula_id, form),
        notice=notice,
        form_id=form_id,
    )


@router.post("/learned/{formula_id}/pause")
def pause(request: Request, formula_id: int, typed: Typed) -> Response:
    """Let predictions of a formula stand on the book's defaults."""
    return _acted(
        request,
        typed,
        formula_id,
        lambda s, data: PAUSED.begin(s, formulas.get(s, formula_id).name, data.why),
        "Paused. New predictions of it stand on the book's defaults.",
        "pause",
        WhyIn,
    )


@router.post("/learned/{formula_id}/resume")
def resume(request: Request, formula_id: int, typed: Typed) -> Response:
    """Let predictions of a formula use what was learned again."""
    return _acted(
        request,
        typed,
        formula_id,
        lambda s, _data: PAUSED.end(s, formulas.get(s, formula_id).name),
        "New predictions of it use what was learned.",
        "resume",
        FormIn,
    )


@router.post("/learned/{formula_id}/law")
def take_law(request: Request, formula_id: int, typed: Typed) -> Response:
    """Make the law fitted to its curves the own law of a formula's next version."""

    def act(session: Session, _data: FormIn) -> str:
        made = learning_pages.take_law(session, formulas.get(session, formula_id), web.version_of(typed))
        return f"/workshop/formulas/{made.pk}"

    return web.submit(
        request,
        typed,
        FormIn,
        act=act,
        page=lambda s, form: _one(request, s, formula_id, form),
        form_id="law",
        notice="The fitted law is the formula's own now. Predictions of it use it.",
    )


# --- One firing ----------------------------------------------------------------------------------


@router.get("/learned/firing/{firing_id}")
def firing(request: Request, session: Book, firing_id: int) -> Response:
    """What one firing says, whether it fell into its ranges, and whether it counts."""
    return _firing(request, session, firing_id)


def _firing(request: Request, session: Session, firing_id: int, failed: Form | None = None) -> Response:
    row = firings.get(session, firing_id)
    built = firings.its_motor(session, row)
    forms, base = Forms(request, session, failed), f"/review/learned/firing/{firing_id}"
    held = [(r, h) for r in coverage.coverage_of(session, firing_id).records for h in r.held]
    page = TaughtFiringPage(
        firing=row,
        built=built,
        line=learning_pages.line_of(session, built.formula, row),
        held=[(r, h, cell) for (r, h), cell in zip(held, _in_ranges(held), strict=True)],
        answer=coverage.answer_of_one([h for _, h in held]),
        out=LEFT_OUT.now(session, row.pk),
        wet=[v.grain.serial for v in built.wet],
        let_in_wet_now=LET_IN.now(session, row.pk),
        let_wet_in=forms.get("let-wet-in", WhyIn, f"{base}/let-wet-in"),
        wet_out=forms.get("wet-out", FormIn, f"{base}/wet-out"),
        leave_out=forms.get("leave-out", WhyIn, f"{base}/leave-out"),
        let_in=forms.get("let-in", FormIn, f"{base}/let-in"),
    )
    return web.render(request, session, page)


def _in_ranges(held: list[tuple[Record, Held]]) -> list[Markup]:
    """Each measured figure in its range, as shares of what was expected, on one scale."""
    ends = [end / h.expected for _, h in held for end in (h.low, h.high)]
    span = span_of(ends, keep=[*(h.ratio for _, h in held), 1.0], least=0.1)
    return [
        fired_row(
            span,
            [Fired(h.ratio, h.low / h.expected, h.high / h.expected)],
            f"{r.label}: {h.ratio:.2f} of what was expected, {'inside' if h.inside else 'outside'} its range",
            [Level(1.0, "centre")],
        )
        for r, h in held
    ]


DECISIONS: dict[str, tuple[type[FormIn], Callable[[Session, Firing, Any], object], str]] = {
    "leave-out": (
        WhyIn,
        lambda s, firing, data: learning_switch.leave_out(s, firing, data.why),
        "Left out. The next prediction does not stand on it.",
    ),
    "let-in": (
        FormIn,
        lambda s, firing, _data: LEFT_OUT.end(s, firing.pk),
        "It is not left out any more, unless grains in it were wet.",
    ),
    "let-wet-in": (
        WhyIn,
        lambda s, firing, data: learning_switch.let_wet_in(s, firing, data.why),
        "It counts, wet grains and all.",
    ),
    "wet-out": (
        FormIn,
        lambda s, firing, _data: LET_IN.end(s, firing.pk),
        "Left out. The next prediction does not stand on it.",
    ),
}
"""By the last part of the address, which is its form's identifier: the form, the service, what is said then."""


@router.post("/learned/firing/{firing_id}/leave-out")
@router.post("/learned/firing/{firing_id}/let-in")
@router.post("/learned/firing/{firing_id}/let-wet-in")
@router.post("/learned/firing/{firing_id}/wet-out")
def decide(request: Request, firing_id: int, typed: Typed) -> Response:
    """Say whether predictions learn from a firing."""
    form_id = request.url.path.rsplit("/", 1)[1]
    model, service, notice = DECISIONS[form_id]

    def act(session: Session, data: Any) -> str:
        service(session, firings.get(session, firing_id), data)
        return f"/review/learned/firing/{firing_id}"

    return web.submit(
        request,
        typed,
        model,
        act=act,
        page=lambda s, form: _firing(request, s, firing_id, form),
        form_id=form_id,
        notice=notice,
    )
