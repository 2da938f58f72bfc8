"""A firing's measured curve: its file sent, looked at, read, and set beside the prediction."""

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response
from markupsafe import Markup
from sqlmodel import Session

from app import uploads, web
from app.calc.record import logger_text
from app.charts import Axis, Band, Panel, Rule, Series, line_chart
from app.forms import Choice, Form, from_texts
from app.models import CurveFile, Firing
from app.models.base import FormIn
from app.models.curve import ReadIn, UploadIn
from app.routers.firings.logger_files import READ, TAKEN_IN, TEXT_CHOICES, as_it_came, beginning
from app.services.book import workshop
from app.services.firings import curves, firings, logger_files
from app.services.firings.curves import Measured
from app.services.firings.reading import Result
from app.services.learning import stored_predictions
from app.services.learning.prediction_record import PredictionRecord
from app.units import UnitSystem, convert, convert_each, unit_of
from app.uploads import Sent
from app.web import Book, Forms, Typed

router = APIRouter(prefix="/firings/{firing_id}/curve")

Upload = Annotated[Sent, Depends(uploads.up_to(curves.LIMIT))]

CHOICES: dict[str, list[Choice]] = {
    **TEXT_CHOICES,
    "force_unit": [
        ("N", "N"),
        ("kN", "kN"),
        ("kgf", "kgf (kg)"),
        ("gf", "gf (g)"),
        ("lbf", "lbf"),
        ("counts", "raw counts, by known masses"),
    ],
    "pressure_unit": [(unit, unit) for unit in ("MPa", "kPa", "Pa", "bar", "psi")],
    "stand": [
        ("level", "Level: weight plays no part"),
        ("presses", "Upright, nozzle up: weight and thrust press the same way"),
        ("lifts", "Upright, nozzle down: thrust lifts against the weight"),
    ],
}


# --- The curve of a firing -----------------------------------------------------------------------


@router.get("")
def page(request: Request, session: Book, firing_id: int) -> Response:
    """The curve that counts, what was sent, and the form to send a file."""
    return _page(request, session, firing_id)


@router.post("")
def send(request: Request, firing_id: int, sent: Upload) -> Response:
    """Take a logger's file in."""

    def act(session: Session, data: UploadIn) -> str:
        row = curves.take_in(session, firings.get(session, firing_id), data.file, sent.files.get("file", b""))
        return f"/firings/{firing_id}/curve/{row.pk}"

    return web.submit_file(
        request,
        sent,
        UploadIn,
        act=act,
        page=lambda s, form: _page(request, s, firing_id, form),
        notice=TAKEN_IN,
        too_large=logger_files.too_large(curves.LIMIT),
    )


@router.post("/take-over")
def take_over(request: Request, firing_id: int, typed: Typed) -> Response:
    """Make the curve's figures the firing's measured ones."""

    def act(session: Session, _data: FormIn) -> str:
        firing = firings.get(session, firing_id)
        curves.take_over(session, firing, web.version_of(typed))
        return f"/firings/{firing_id}"

    return web.submit(
        request,
        typed,
        FormIn,
        act=act,
        page=lambda s, form: _page(request, s, firing_id, form),
        form_id="take-over",
        notice="The firing's measured figures are those of its curve now.",
    )


def _page(request: Request, session: Session, firing_id: int, failed: Form | None = None) -> Response:
    firing = firings.get(session, firing_id)
    built = firings.its_motor(session, firing)
    forms = Forms(request, session, failed)
    base = f"/firings/{firing_id}/curve"
    return web.render(
        request,
        session,
        "firings/curve.html",
        section="firings",
        firing=firing,
        built=built,
        measured=curves.measured(session, firing),
        unread=curves.unread(session, firing),
        earlier=curves.readings(session, firing)[1:],
        upload=forms.get("form", UploadIn, base),
        throw_away={
            f.pk: forms.get(f"throw-{f.pk}", FormIn, f"{base}/{f.pk}/throw-away")
            for f in curves.unread(session, firing)
        },
        **of_firing(session, firing, forms),
    )


def of_firing(session: Session, firing: Firing, forms: Forms) -> dict[str, Any]:
    """What the page of a firing shows of its curve: the chart, the figures and the form to take them over."""
    measured = curves.measured(session, firing)
    if measured is None:
        return {"curve": None}
    return {
        "curve": measured,
        "curve_chart": overlay(measured, workshop.get(session).units),
        "curve_lines": curves.lines(measured.result, measured.predicted),
        "curve_taken_over": curves.taken_over(firing, measured.curve),
        "take_over": forms.get("take-over", FormIn, f"/firings/{firing.pk}/curve/take-over", row=firing),
    }


# --- Reading a file ------------------------------------------------------------------------------


@router.get("/{file_id}")
def reading_page(request: Request, session: Book, firing_id: int, file_id: int) -> Response:
    """How a file begins, what its columns probably are, and what it would give so."""
    firing = firings.get(session, firing_id)
    row = curves.file(session, firing, file_id)
    form = web.blank(request, session, ReadIn, initial=curves.texts_for(session, firing, row), choices=CHOICES)
    return _reading_page(request, session, firing, row, form, look=True)


@router.post("/{file_id}")
def read(request: Request, session: Book, firing_id: int, file_id: int, typed: Typed) -> Response:
    """Look at a file as typed, or keep what is read so."""
    if any(name == "look" for name, _ in typed):
        firing = firings.get(session, firing_id)
        form = from_texts(ReadIn, typed, "form", request.url.path, CHOICES)
        return _reading_page(request, session, firing, curves.file(session, firing, file_id), form, look=True)
    session.close()

    def act(writing: Session, data: ReadIn) -> str:
        firing = firings.get(writing, firing_id)
        curves.keep(writing, firing, curves.file(writing, firing, file_id), data)
        return f"/firings/{firing_id}/curve"

    def again(looking: Session, form: Form) -> Response:
        firing = firings.get(looking, firing_id)
        return _reading_page(request, looking, firing, curves.file(looking, firing, file_id), form)

    return web.submit(request, typed, ReadIn, act=act, page=again, choices=CHOICES, notice=READ)


@router.post("/{file_id}/throw-away")
def throw_away(request: Request, firing_id: int, file_id: int, typed: Typed) -> Response:
    """Take a file out of the book that nothing was read out of."""

    def act(session: Session, _data: FormIn) -> str:
        curves.throw_away(session, firings.get(session, firing_id), file_id)
        return f"/firings/{firing_id}/curve"

    return web.submit(
        request,
        typed,
        FormIn,
        act=act,
        page=lambda s, form: _page(request, s, firing_id, form),
        form_id=f"throw-{file_id}",
        notice="The file is out of the book.",
    )


@router.get("/{file_id}/file")
def download(session: Book, firing_id: int, file_id: int) -> Response:
    """The file, byte by byte as it came."""
    row = curves.file(session, firings.get(session, firing_id), file_id)
    return as_it_came(row)


def _reading_page(
    request: Request, session: Session, firing: Firing, row: CurveFile, form: Form, look: bool = False
) -> Response:
    units = workshop.get(session).units
    rows, columns, numbered = beginning(logger_text.plain_text(row.raw), form)
    form.choices = {
        **CHOICES,
        **form.choices,
        "time_column": numbered,
        "force_column": numbered,
        "pressure_column": numbered,
    }
    found = web.answered(form, units, lambda data: curves.look(session, firing, row, data)) if look else None
    told = stored_predictions.for_firing(session, firing)
    return web.render(
        request,
        session,
        "firings/curve_file.html",
        status=200 if found or not look else 422,
        section="firings",
        firing=firing,
        built=firings.its_motor(session, firing),
        file=row,
        form=form,
        rows=rows,
        columns=columns,
        found=found,
        predicted=told,
        chart=record(found, units) if found else None,
        lines=curves.lines(found, None) if found else [],
    )


# --- Charts --------------------------------------------------------------------------------------


def record(found: Result, units: UnitSystem) -> Markup:
    """The whole record over its own time, with the stretch that is taken for the burn."""
    inside = [found.cut_from_s <= t <= found.cut_to_s for t in found.record_time_s]
    force = convert_each(_drawn(found.record_force_n), "force", units)
    burn = [f if within else float("nan") for f, within in zip(force, inside, strict=True)]
    panel = Panel(
        Axis("Force", unit_of("force", units), from_zero=True),
        [
            Series("Record, its zero taken off", found.record_time_s, force, "dotted"),
            Series("Taken for the burn", found.record_time_s, burn, "solid"),
        ],
    )
    return line_chart("The record", Axis("Time in the record", "s", decimals=3), panel)


def overlay(measured: Measured, units: UnitSystem) -> Markup:
    """Measured thrust and pressure over what was expected, with the expected range; both rise at one moment."""
    found, told = measured.result, measured.predicted
    moved = curves.shift(found, told)
    thrust = _panel(
        "force",
        "Thrust",
        units,
        found.time_s,
        found.thrust_n,
        moved,
        told,
        (told.curve.thrust_n, told.curve.thrust_low_n, told.curve.thrust_high_n) if told else None,
    )
    panels = [thrust]
    if found.pressure_pa:
        panels.append(
            _panel(
                "pressure",
                "Pressure",
                units,
                found.pressure_time_s,
                found.pressure_pa,
                moved,
                told,
                (told.curve.pressure_pa, told.curve.pressure_low_pa, told.curve.pressure_high_pa) if told else None,
            )
        )
    title = "Measured beside predicted" if told else "Measured curve"
    return line_chart(title, Axis("Time from ignition" if told else "Time from 5 % of the peak", "s"), *panels)


def _drawn(values: list[float]) -> list[float]:
    """Values for a chart: noise just below zero would give the axis a whole step below it."""
    least = -0.01 * max(values)
    return [0.0 if least < v < 0 else v for v in values]


def _panel(
    kind: str,
    label: str,
    units: UnitSystem,
    time: list[float],
    values: list[float],
    moved: float,
    told: PredictionRecord | None,
    expected: tuple[list[float], list[float], list[float]] | None,
) -> Panel:
    series = [Series("Measured", [t + moved for t in time], convert_each(_drawn(values), kind, units))]
    band, rules = None, []
    if told is not None and expected is not None:
        mid, low, high = (convert_each(column, kind, units) for column in expected)
        series.append(Series("Expected", told.curve.time_s, mid, "dashed"))
        band = Band("Middle 90 % expected", told.curve.band_time_s, low, high) if low else None
        if kind == "pressure" and told.inputs.case.rated_pressure_pa is not None:
            rules = [Rule("Rated", convert(told.inputs.case.rated_pressure_pa, kind, units))]
    return Panel(Axis(label, unit_of(kind, units), from_zero=True), series, band, rules)
