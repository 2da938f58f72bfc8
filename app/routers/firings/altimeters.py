"""A flight's altimeter: what was read out of its file, the apogee set beside the prediction."""

from dataclasses import dataclass

from markupsafe import Markup
from sqlmodel import Session

from app.charts import Axis, Band, Dash, Panel, Rule, Series, line_chart
from app.forms import Choice, Form
from app.models import AltimeterFile, AltimeterTrack, Firing
from app.models.altimeter import TrackIn, TrackUploadIn
from app.models.base import FormIn
from app.routers.firings import logger_files as pages
from app.routers.firings import logger_views as views
from app.routing import late_router
from app.services.book import workshop
from app.services.firings import altimeters
from app.services.firings.altimeters import ALTIMETER
from app.services.firings.logger_files import Counting
from app.services.firings.tracking import TrackResult
from app.services.flight import flights
from app.services.learning import prediction_record, stored_predictions
from app.services.motors.builds import Built
from app.units import UnitSystem, convert, convert_each, show, unit_of
from app.web import Forms

router = late_router()

CHOICES: dict[str, list[Choice]] = {
    **views.TEXT_CHOICES,
    "height_unit": [
        ("m", "altitude in m"),
        ("ft", "altitude in ft"),
        ("hPa", "air pressure in hPa (mbar)"),
        ("Pa", "air pressure in Pa"),
        ("kPa", "air pressure in kPa"),
    ],
}

FILLED = "Read and kept; the flight had no altitude, so its apogee is written there now."


@dataclass(frozen=True)
class TrackShown:
    """What a page shows of the track that counts, over the height that was predicted."""

    counts: Counting[AltimeterFile, AltimeterTrack, TrackResult]
    chart: Markup
    taken_over: bool


class AltimeterPage(views.FilesPage, template="firings/altimeter.html"):
    """The track of a flight."""

    track: TrackShown | None
    predicted: flights.Estimate | None
    use_apogee: Form


class AltimeterReadingPage(views.ReadingPage, template="firings/altimeter_file.html"):
    """A file that a track is read out of, and what it gives so."""

    found: TrackResult | None
    chart: Markup | None


def of_firing(session: Session, firing: Firing, predicted: flights.Estimate | None) -> TrackShown | None:
    """What the page of a flight shows of its track."""
    counts = ALTIMETER.counting(session, firing)
    if counts is None:
        return None
    drawn = chart(counts.result, workshop.get(session).units, predicted)
    return TrackShown(counts, drawn, altimeters.taken_over(firing, counts.row))


def _page(session: Session, firing: Firing, built: Built, files: views.Files, forms: Forms) -> AltimeterPage:
    told = stored_predictions.for_firing(session, firing)
    predicted_motor = prediction_record.from_row(told) if told else None
    predicted = flights.estimate_of(session, predicted_motor, firing)[0]
    return AltimeterPage(
        firing=firing,
        built=built,
        files=files,
        track=of_firing(session, firing, predicted),
        predicted=predicted,
        use_apogee=forms.get("use-apogee", FormIn, f"{files.base}/take-over", row=firing),
    )


def _reading_page(
    session: Session,
    _firing: Firing,
    built: Built,
    begins: views.Beginning,
    offered: views.Offered,
    form: Form,
    found: TrackResult | None,
) -> AltimeterReadingPage:
    drawn = chart(found, workshop.get(session).units) if found else None
    return AltimeterReadingPage(built=built, begins=begins, offered=offered, form=form, found=found, chart=drawn)


pages.add_pages(
    router,
    pages.LoggerPages(
        logger=ALTIMETER,
        slug="altimeter",
        upload=TrackUploadIn,
        reading=TrackIn,
        choices=CHOICES,
        columns=("time_column", "height_column"),
        keep=altimeters.keep,
        take_over=altimeters.take_over,
        taken_over=("use-apogee", "/altimeter", "The flight's altitude is the altimeter's apogee now."),
        notice=lambda flight: FILLED if flight.altitude_m is None else pages.READ,
        page=_page,
        reading_page=_reading_page,
    ),
)


# --- Chart ---------------------------------------------------------------------------------------


def chart(found: TrackResult, units: UnitSystem, predicted: flights.Estimate | None = None) -> Markup:
    """Height over time after launch: the track, what was left out, each steady descent, and what was predicted."""

    def heights(values: list[float]) -> list[float]:
        return convert_each(values, "altitude", units)

    least = -0.01 * found.apogee_m  # noise just below zero would give the axis a whole step below it
    track = [0.0 if least < h < 0 else h for h in found.height_m]
    series = [Series("Track", found.time_s, heights(track), "solid")]
    names = ("First descent", "Second descent") if len(found.descents) > 1 else ("Descent",)
    dashes: tuple[Dash, ...] = ("dashed", "dash-dot")
    for name, descent, dash in zip(names, found.descents, dashes, strict=False):
        middle = (descent.start_s + descent.end_s) / 2
        at = min(range(len(found.time_s)), key=lambda i: abs(found.time_s[i] - middle))
        ends = [descent.start_s, descent.end_s]
        line = [found.height_m[at] - descent.rate_m_s * (t - found.time_s[at]) for t in ends]
        series.append(Series(f"{name}, {show(descent.rate_m_s, 'speed', units, 1)}", ends, heights(line), dash))
    if found.spikes:
        gapped: list[float] = []
        times: list[float] = []
        for t, h in zip(found.spike_time_s, heights(found.spike_height_m), strict=True):
            times += [t, t]
            gapped += [h, float("nan")]  # each alone, so that it is drawn as a dot
        series.append(Series("Left out as spikes", times, gapped, "dotted"))
    band = None
    if predicted is not None:
        expected = predicted.flight
        series.append(Series("Expected", expected.time, heights(expected.height.tolist()), "dotted"))
        ranged = predicted.range
        band = Band("Nine in ten", ranged.time, heights(ranged.low.tolist()), heights(ranged.high.tolist()))
    apogee = Rule("Apogee", convert(found.apogee_m, "altitude", units), limit=False)
    panel = Panel(Axis("Height above the pad", unit_of("altitude", units), from_zero=True), series, band, [apogee])
    return line_chart("Height of the flight", Axis("Time after launch", "s"), panel)
