"""A firing's measured curve: what was read out of the logger's file of a stand, set beside the prediction."""

from dataclasses import dataclass, replace

from markupsafe import Markup
from sqlmodel import Session

from app import web
from app.charts import Axis, Band, Panel, Rule, Series, line_chart
from app.forms import Choice, Form
from app.models import Firing, Prediction
from app.models.base import FormIn
from app.models.curve import ReadIn, UploadIn
from app.routers.firings import curve_cards
from app.routers.firings import logger_files as pages
from app.routers.firings import logger_views as views
from app.routing import late_router
from app.services.book import workshop
from app.services.firings import certainty, curves, stands
from app.services.firings.curves import STAND, Line, Measured
from app.services.firings.questions import Looked
from app.services.firings.reading import Result
from app.services.learning import stored_predictions
from app.services.learning.prediction_record import PredictionRecord
from app.services.motors.builds import Built
from app.units import UnitSystem, convert, convert_each, unit_of
from app.web import Forms

router = late_router()

CHOICES: dict[str, list[Choice]] = {
    **views.TEXT_CHOICES,
    "force_unit": [
        ("N", "N"),
        ("kN", "kN"),
        ("kgf", "kgf (kg, kp)"),
        ("gf", "gf (g)"),
        ("lbf", "lbf"),
        ("ozf", "ozf (oz)"),
        ("counts", "raw counts, by known masses"),
        ("mV", "mV, by known masses"),
        ("V", "V, by known masses"),
    ],
    "pressure_unit": [(unit, unit) for unit in ("MPa", "kPa", "Pa", "bar", "psi")],
    "zero_way": list(certainty.WAYS.items()),
    "pulse": [
        ("all", "all of them: one motor that chuffed"),
        *((str(i), f"burn {i} alone") for i in range(1, certainty.MOST + 1)),
    ],
    "stand": [
        ("level", "Level: weight plays no part"),
        ("presses", "Upright, nozzle up: weight and thrust press the same way"),
        ("lifts", "Upright, nozzle down: thrust lifts against the weight"),
    ],
}


@dataclass(frozen=True)
class CurveShown:
    """What a page shows of the curve that counts: the figures, the chart and the form to take them over."""

    measured: Measured
    chart: Markup
    lines: list[Line]
    taken_over: bool
    take_over: Form


class CurvePage(views.FilesPage, template="firings/curve.html"):
    """The curve of a firing, and what was chosen for it and for each read before, by its number."""

    curve: CurveShown | None
    as_read: dict[int, str]


class CurveReadingPage(views.ReadingPage, template="firings/curve_file.html"):
    """A file that a curve is read out of, and what it gives so."""

    found: Result | None
    open: list[curve_cards.Asked]
    other: list[curve_cards.Asked]
    saves: bool
    predicted: Prediction | None
    chart: Markup | None
    zeros: Markup | None
    lines: list[Line]
    stands: list[str]


def of_firing(session: Session, firing: Firing, forms: Forms) -> CurveShown | None:
    """What the page of a firing shows of its curve."""
    measured = curves.measured(session, firing)
    if measured is None:
        return None
    return CurveShown(
        measured,
        overlay(measured, workshop.get(session).units),
        curves.lines(measured.result, measured.predicted),
        curves.taken_over(firing, measured.row),
        forms.get("take-over", FormIn, f"/firings/{firing.pk}/curve/take-over", row=firing),
    )


def _page(session: Session, firing: Firing, built: Built, files: views.Files, forms: Forms) -> CurvePage:
    as_read = {row.pk: curves.as_read(row) for row in STAND.readings(session, firing)}
    return CurvePage(firing=firing, built=built, files=files, curve=of_firing(session, firing, forms), as_read=as_read)


def _reading_page(
    session: Session,
    firing: Firing,
    built: Built,
    begins: views.Beginning,
    offered: views.Offered,
    form: Form,
    looked: Looked | None,
) -> CurveReadingPage:
    found, units = looked.result if looked else None, workshop.get(session).units
    if looked is not None and looked.fault is not None and not form.errors:
        web.refuse(form, looked.fault)
    asked = curve_cards.asked(looked.questions if looked else [], form)
    return CurveReadingPage(
        built=built,
        begins=begins,
        offered=offered,
        stands=stands.names(session),
        form=form,
        found=found,
        open=[one for one in asked if one.question.open],
        other=[one for one in asked if not one.question.open],
        saves=found is not None and not any(one.question.blocks for one in asked),
        predicted=stored_predictions.for_firing(session, firing),
        chart=record(found, units) if found else None,
        zeros=zeros(found, units) if found else None,
        lines=curves.lines(found, None) if found else [],
    )


pages.add_pages(
    router,
    pages.LoggerPages(
        logger=STAND,
        slug="curve",
        upload=UploadIn,
        reading=ReadIn,
        choices=CHOICES,
        columns=("time_column", "force_column", "pressure_column"),
        keep=curves.keep,
        take_over=curves.take_over,
        taken_over=("take-over", "", "The firing's measured figures are those of its curve now."),
        notice=lambda _firing: pages.READ,
        page=_page,
        reading_page=_reading_page,
    ),
)


# --- Charts --------------------------------------------------------------------------------------

RECORD_HEIGHT = 150.0
"""Of a record that is read [px]: it stands in one screen with the answer above it."""

HEIGHT = 108.0
"""Of thrust, and of pressure below it [px]: both stand in one screen with what is said of them."""


def record(found: Result, units: UnitSystem) -> Markup:
    """The whole record over its own time, with the stretch taken for the burn, open where nothing was logged."""
    force = convert_each(_drawn(found.record_force_n), "force", units)
    at = dict(zip(found.record_time_s, force, strict=True))
    points = list(zip(found.record_time_s, force, strict=True))
    points += [((begin + end) / 2, float("nan")) for begin, end in found.holes_s]
    time, force = ([point[i] for point in sorted(points, key=lambda point: point[0])] for i in (0, 1))
    burn = [f if found.cut_from_s <= t <= found.cut_to_s else float("nan") for t, f in zip(time, force, strict=True)]
    series = [
        Series("Record, its zero taken off", time, force, "dotted"),
        Series("Taken for the burn", time, burn, "solid"),
    ]
    if found.holes_s:
        ends = [(t, at.get(t, float("nan"))) for hole in found.holes_s for t in (*hole, hole[1])]
        lines = [(t, float("nan") if i % 3 == 2 else f) for i, (t, f) in enumerate(ends)]
        series.append(Series("Nothing was logged", [t for t, _ in lines], [f for _, f in lines], "dashed"))
    panel = Panel(Axis("Force", unit_of("force", units), from_zero=True), series, height=RECORD_HEIGHT)
    return line_chart("The record", Axis("Time in the record", "s", decimals=3), panel)


def zeros(found: Result, units: UnitSystem) -> Markup | None:
    """The record near its zero before the burn, with each way that the zero may have gone."""
    asked = next((one for one in found.asked if one.field == "zero_way"), None)
    if asked is None or not asked.choices:
        return None
    first = asked.choices[0].zero_n  # the record is drawn over a line until something is chosen
    over = [f + z for f, z in zip(found.record_force_n, first, strict=True)]
    most = 4 * max(abs(z) for one in asked.choices for z in one.zero_n)
    reading = [f if abs(f) <= most else float("nan") for f in over]  # near the zero only, where the ways differ
    panel = Panel(
        Axis("Force", unit_of("force", units), from_zero=True),
        [
            Series("Record over its first zero", found.record_time_s, convert_each(reading, "force", units), "dotted"),
            *(
                Series(f"Zero {one.words}", found.record_time_s, convert_each(one.zero_n, "force", units))
                for one in asked.choices
            ),
        ],
    )
    return line_chart("How the zero may have gone", Axis("Time in the record", "s", decimals=3), panel)


def overlay(measured: Measured, units: UnitSystem) -> Markup:
    """Measured thrust and pressure over what was expected, with the expected range; both rise at one moment."""
    found, told = measured.result, measured.predicted
    moved = curves.shift(found, told)
    panels = [_panel("force", units, told, (found.time_s, found.thrust_n), moved)]
    if found.pressure_pa:
        panels.append(_panel("pressure", units, told, (found.pressure_time_s, found.pressure_pa), moved))
    title = "Measured beside predicted" if told else "Measured curve"
    return line_chart(title, Axis("Time from ignition" if told else "Time from 5 % of the peak", "s"), *panels)


def expected(told: PredictionRecord, units: UnitSystem, peak_pa: float | None) -> Markup:
    """Thrust and pressure as they were expected, where nothing was logged; with the peak pressure if one was read."""
    panels = [_panel(kind, units, told, None) for kind in ("force", "pressure")]
    if peak_pa is not None:
        read = Rule("Measured peak", convert(peak_pa, "pressure", units), limit=False)
        panels[1] = replace(panels[1], rules=[*panels[1].rules, read])
    return line_chart("As it was expected", Axis("Time from ignition", "s"), *panels)


def _drawn(values: list[float]) -> list[float]:
    """Values for a chart: noise just below zero would give the axis a whole step below it."""
    least = -0.01 * max(values)
    return [0.0 if least < v < 0 else v for v in values]


def _panel(
    kind: str,
    units: UnitSystem,
    told: PredictionRecord | None,
    found: tuple[list[float], list[float]] | None,
    moved: float = 0.0,
) -> Panel:
    """Thrust or pressure: what was measured over its own times, moved, and what was expected with its range."""
    series, band, rules = [], None, []
    if found is not None:
        time, values = found
        series.append(Series("Measured", [t + moved for t in time], convert_each(_drawn(values), kind, units)))
    if told is not None:
        curve = told.curve
        columns = (
            (curve.thrust_n, curve.thrust_low_n, curve.thrust_high_n)
            if kind == "force"
            else (curve.pressure_pa, curve.pressure_low_pa, curve.pressure_high_pa)
        )
        mid, low, high = (convert_each(column, kind, units) for column in columns)
        series.append(Series("Expected", curve.time_s, mid, "dashed"))
        band = Band("Nine in ten", curve.band_time_s, low, high) if low else None
        if kind == "pressure" and told.inputs.case.rated_pressure_pa is not None:
            rules = [Rule("Rated", convert(told.inputs.case.rated_pressure_pa, kind, units))]
    axis = Axis("Thrust" if kind == "force" else "Pressure", unit_of(kind, units), from_zero=True)
    return Panel(axis, series, band, rules, height=HEIGHT, legend=kind == "force")
