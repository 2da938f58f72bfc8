"""Pages of the run sheet: the workshop's own edition, the sheet to print, and its entry afterwards."""

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app.forms import Choice, Form
from app.models.runsheet import PaperIn, RunSheetIn
from app.services.book import workshop
from app.services.cast import casting, cautions, needs, paper, runsheets, steps, targets, weigh_outs
from app.services.stock import batches
from app.units import editable, show
from app.web import Book, Forms, Typed, render, submit, version_of

router = APIRouter()
COUNTED_FROM: list[Choice] = [("", "not timed"), ("before", "the step before"), ("pour", "the pour")]
CHOICES: dict[str, list[Choice]] = {"lines.kind": list(runsheets.KINDS.items()), "lines.after": COUNTED_FROM}
BLANK_READINGS = 12


@router.get("/workshop/runsheet")
def show_sheet(request: Request, session: Book) -> Response:
    """The run sheet as it is now, to be edited, and its earlier editions."""
    return _sheet(request, session)


@router.post("/workshop/runsheet")
def new_edition(request: Request, typed: Typed) -> Response:
    """Make a new edition of the run sheet."""

    def act(session: Session, data: RunSheetIn) -> str:
        runsheets.new_edition(session, data, version_of(typed))
        return "/workshop/runsheet"

    return submit(
        request,
        typed,
        RunSheetIn,
        act=act,
        page=lambda s, form: _sheet(request, s, form),
        choices=CHOICES,
        notice="The new edition is in use from the next session on.",
    )


def _sheet(request: Request, session: Session, failed: Form | None = None) -> Response:
    now = runsheets.now_used(session)
    units = workshop.get(session).units
    lines: dict[str, str] = {}
    for i, line in enumerate(now.lines):
        wait = "" if line.after_s is None else f"{line.after_s / runsheets.MINUTE:.9g} min"
        lines |= {
            f"lines.{i}.kind": line.kind,
            f"lines.{i}.words": line.words,
            f"lines.{i}.after": line.after,
            f"lines.{i}.wait": wait,
            f"lines.{i}.pan_low": editable(line.pan_low_k, "temperature", units),
            f"lines.{i}.pan_high": editable(line.pan_high_k, "temperature", units),
        }
    form = Forms(request, session, failed).get("form", RunSheetIn, "/workshop/runsheet", initial=lines, choices=CHOICES)
    if form.version is None:
        form.version = now.edition  # a new edition grows from the one that the person saw
    return render(
        request,
        session,
        "cast/runsheet.html",
        section="workshop",
        form=form,
        now_used=now,
        kinds=runsheets.KINDS,
        editions=runsheets.editions(session),
        counted_from=dict(COUNTED_FROM),
    )


@router.get("/cast/{code}/sheet")
def show_paper(request: Request, session: Book, code: str) -> Response:
    """Checklist and run sheet to print, with boxes and blanks."""
    batch = batches.by_code(session, code)
    shop = workshop.get(session)
    parts = weigh_outs.of_batch(session, batch)
    listed = paper.steps_to_print(session, batch)
    bands = {
        step.position: [show(k, "temperature", shop.units).split(" ")[0] for k in (step.pan_low_k, step.pan_high_k)]
        for step in listed
    }
    return render(
        request,
        session,
        "cast/sheet.html",
        section="cast",
        batch=batch,
        formula=batches.formula_of(session, batch),
        cast=casting.find(session, batch),
        parts_now=parts,
        places=targets.places(shop),
        cautions=cautions,
        items=paper.checklist_to_print(session, batch),
        blank_readings=BLANK_READINGS,
        bands=bands,
        lines=[(step, steps.amount(step, batch), runsheets.usual_s(listed, step)) for step in listed],
        grains=needs.wanted(session, batch),
    )


@router.get("/cast/{code}/paper")
def from_paper(request: Request, session: Book, code: str) -> Response:
    """What was written on paper, to be entered."""
    return _paper(request, session, code)


@router.post("/cast/{code}/paper")
def enter_paper(request: Request, typed: Typed, code: str) -> Response:
    """Enter what was written on paper."""

    def act(session: Session, data: PaperIn) -> str:
        paper.enter(session, batches.by_code(session, code), data)
        return f"/cast/{code}"

    return submit(
        request,
        typed,
        PaperIn,
        act=act,
        page=lambda s, form: _paper(request, s, code, form),
        notice="What was on the paper is in the book.",
    )


def _paper(request: Request, session: Session, code: str, failed: Form | None = None) -> Response:
    batch = batches.by_code(session, code)
    cast = casting.find(session, batch)
    now = steps.of_session(cast, batch, batches.weighed(session, batch)) if cast else []
    waiting = [n for n in now if not n.settled] if cast and cast.closed_at is None else []
    form = Forms(request, session, failed).get("form", PaperIn, f"/cast/{code}/paper", initial={"why": "From paper."})
    return render(
        request, session, "cast/paper.html", section="cast", batch=batch, cast=cast, form=form, waiting=waiting
    )
