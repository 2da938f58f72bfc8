"""A flight's altimeter: its file sent, looked at, read, and its apogee set beside the prediction."""

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response
from markupsafe import Markup
from sqlmodel import Session

from app import uploads, web
from app.calc.record import logger_text
from app.charts import Axis, Dash, Panel, Rule, Series, line_chart
from app.forms import Choice, Form, from_texts
from app.models import AltimeterFile, Firing
from app.models.altimeter import TrackIn, TrackUploadIn
from app.models.base import FormIn
from app.routers.firings.logger_files import READ, TAKEN_IN, TEXT_CHOICES, as_it_came, beginning
from app.services.book import workshop
from app.services.firings import altimeters, firings, logger_files
from app.services.firings.tracking import TrackResult
from app.services.flight import flights
from app.services.learning import prediction_record, stored_predictions
from app.units import UnitSystem, convert, convert_each, show, unit_of
from app.uploads import Sent
from app.web import Book, Forms, Typed

router = APIRouter(prefix="/firings/{firing_id}/altimeter")

Upload = Annotated[Sent, Depends(uploads.up_to(altimeters.LIMIT))]

CHOICES: dict[str, list[Choice]] = {
    **TEXT_CHOICES,
    "height_unit": [
        ("m", "altitude in m"),
        ("ft", "altitude in ft"),
        ("hPa", "air pressure in hPa (mbar)"),
        ("Pa", "air pressure in Pa"),
        ("kPa", "air pressure in kPa"),
    ],
}

FILLED = "Read and kept; the flight had no altitude, so its apogee is written there now."


# --- The track of a flight -----------------------------------------------------------------------


@router.get("")
def page(request: Request, session: Book, firing_id: int) -> Response:
    """The track that counts, what was sent, and the form to send a file."""
    return _page(request, session, firing_id)


@router.post("")
def send(request: Request, firing_id: int, sent: Upload) -> Response:
    """Take an altimeter's file in."""

    def act(session: Session, data: TrackUploadIn) -> str:
        firing = firings.get(session, firing_id)
        row = altimeters.take_in(session, firing, data.file, sent.files.get("file", b""))
        return f"/firings/{firing_id}/altimeter/{row.pk}"

    return web.submit_file(
        request,
        sent,
        TrackUploadIn,
        act=act,
        page=lambda s, form: _page(request, s, firing_id, form),
        notice=TAKEN_IN,
        too_large=logger_files.too_large(altimeters.LIMIT),
    )


@router.post("/take-over")
def take_over(request: Request, firing_id: int, typed: Typed) -> Response:
    """Make the track's apogee the flight's altitude."""

    def act(session: Session, _data: FormIn) -> str:
        altimeters.take_over(session, firings.get(session, firing_id), web.version_of(typed))
        return f"/firings/{firing_id}/altimeter"

    return web.submit(
        request,
        typed,
        FormIn,
        act=act,
        page=lambda s, form: _page(request, s, firing_id, form),
        form_id="use-apogee",
        notice="The flight's altitude is the altimeter's apogee now.",
    )


def _page(request: Request, session: Session, firing_id: int, failed: Form | None = None) -> Response:
    firing = firings.get(session, firing_id)
    built = firings.its_motor(session, firing)
    forms = Forms(request, session, failed)
    base = f"/firings/{firing_id}/altimeter"
    waiting = altimeters.unread(session, firing)
    told = stored_predictions.for_firing(session, firing)
    predicted_motor = prediction_record.from_row(told) if told else None
    predicted = flights.estimate_of(session, predicted_motor, firing)[0]
    return web.render(
        request,
        session,
        "firings/altimeter.html",
        section="firings",
        firing=firing,
        built=built,
        unread=waiting,
        earlier=altimeters.tracks(session, firing)[1:],
        predicted=predicted,
        upload=forms.get("form", TrackUploadIn, base),
        throw_away={f.pk: forms.get(f"throw-{f.pk}", FormIn, f"{base}/{f.pk}/throw-away") for f in waiting},
        use_apogee=forms.get("use-apogee", FormIn, f"{base}/take-over", row=firing),
        **of_firing(session, firing, predicted),
    )


def of_firing(session: Session, firing: Firing, predicted: flights.Estimate | None = None) -> dict[str, Any]:
    """What the page of a flight shows of its track, over the height that was predicted."""
    counts = altimeters.counting(session, firing)
    if counts is None:
        return {"track": None, "track_unread": altimeters.unread(session, firing)}
    track, source, found = counts
    return {
        "track": track,
        "track_file": source,
        "track_found": found,
        "track_chart": chart(found, workshop.get(session).units, predicted),
        "track_taken_over": altimeters.taken_over(firing, track),
    }


# --- Reading a file ------------------------------------------------------------------------------


@router.get("/{file_id}")
def reading_page(request: Request, session: Book, firing_id: int, file_id: int) -> Response:
    """How a file begins, what its columns probably are, and what it would give so."""
    firing = firings.get(session, firing_id)
    row = altimeters.file(session, firing, file_id)
    form = web.blank(request, session, TrackIn, initial=altimeters.texts_for(session, firing, row), choices=CHOICES)
    return _reading_page(request, session, firing, row, form, look=True)


@router.post("/{file_id}")
def read(request: Request, session: Book, firing_id: int, file_id: int, typed: Typed) -> Response:
    """Look at a file as typed, or keep what is read so."""
    firing = firings.get(session, firing_id)
    row = altimeters.file(session, firing, file_id)
    if any(name == "look" for name, _ in typed):
        form = from_texts(TrackIn, typed, "form", request.url.path, CHOICES)
        return _reading_page(request, session, firing, row, form, look=True)
    notice = FILLED if firing.altitude_m is None else READ
    session.close()

    def act(writing: Session, data: TrackIn) -> str:
        flight = firings.get(writing, firing_id)
        altimeters.keep(writing, flight, altimeters.file(writing, flight, file_id), data)
        return f"/firings/{firing_id}/altimeter"

    def again(looking: Session, form: Form) -> Response:
        flight = firings.get(looking, firing_id)
        return _reading_page(request, looking, flight, altimeters.file(looking, flight, file_id), form)

    return web.submit(request, typed, TrackIn, act=act, page=again, choices=CHOICES, notice=notice)


@router.post("/{file_id}/throw-away")
def throw_away(request: Request, firing_id: int, file_id: int, typed: Typed) -> Response:
    """Take a file out of the book that nothing was read out of."""

    def act(session: Session, _data: FormIn) -> str:
        altimeters.throw_away(session, firings.get(session, firing_id), file_id)
        return f"/firings/{firing_id}/altimeter"

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
    row = altimeters.file(session, firings.get(session, firing_id), file_id)
    return as_it_came(row)


def _reading_page(
    request: Request, session: Session, firing: Firing, row: AltimeterFile, form: Form, look: bool = False
) -> Response:
    units = workshop.get(session).units
    lines, columns, numbered = beginning(logger_text.plain_text(row.raw), form)
    form.choices = {**CHOICES, **form.choices, "time_column": numbered, "height_column": numbered}
    found = web.answered(form, units, lambda data: altimeters.look(firing, row, data)) if look else None
    return web.render(
        request,
        session,
        "firings/altimeter_file.html",
        status=200 if found or not look else 422,
        section="firings",
        firing=firing,
        built=firings.its_motor(session, firing),
        file=row,
        form=form,
        rows=lines,
        columns=columns,
        found=found,
        chart=chart(found, units) if found else None,
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
    if predicted is not None:
        expected = predicted.flight
        series.append(Series("Expected", expected.time, heights(expected.height.tolist()), "dotted"))
    apogee = Rule("Apogee", convert(found.apogee_m, "altitude", units), limit=False)
    panel = Panel(Axis("Height above the pad", unit_of("altitude", units), from_zero=True), series, rules=[apogee])
    return line_chart("Height of the flight", Axis("Time after launch", "s"), panel)
