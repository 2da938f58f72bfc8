"""Altimeters: the file of a flight kept as it came, read as a person says, its apogee set beside the prediction."""

from sqlmodel import Session

from app.models import AltimeterFile, AltimeterTrack, Firing
from app.models.altimeter import TrackIn
from app.services.book import audit_reasons, repository, workshop
from app.services.firings import tracking
from app.services.firings.logger_files import Logger
from app.services.firings.opened_files import Opened, as_typed
from app.services.firings.tracking import TrackResult
from app.units import parse, show


def _has_none(firing: Firing) -> str:
    flew = firing.kind == "flight" and firing.result != "no_light"
    return "" if flew else "This was no flight, so no altimeter flew."


def _guess(_session: Session, text: bytes) -> dict[str, str]:
    return tracking.guess(text)


def _read(_session: Session, firing: Firing, _row: AltimeterFile, opened: Opened, data: TrackIn) -> TrackResult:
    return tracking.read_track(opened.text(data.sheet), data, firing.air_temperature_k)


ALTIMETER = Logger(
    file_table=AltimeterFile,
    reading_table=AltimeterTrack,
    result=TrackResult,
    limit=32 * 1024 * 1024,  # more than an hour at a hundred readings a second
    firing="flight",
    gives="A flight",
    has_none=_has_none,
    guess=_guess,
    read=_read,
)
"""What logs the height of a flight."""


def keep(session: Session, firing: Firing, row: AltimeterFile, data: TrackIn) -> tuple[AltimeterTrack, bool]:
    """Read a file and keep what was read; tells also whether its apogee became the flight's altitude.

    It does where the flight has none written down; what was read before stays, and counts no more.

    Raises
    ------
    Refused
        It was no flight, or the file cannot be read so; beside the field.
    """
    ALTIMETER.allow(firing)
    found = ALTIMETER.preview(session, firing, row, ALTIMETER.opened(session, row), data)
    rates = [d.rate_m_s for d in found.descents]
    track = AltimeterTrack(
        firing_id=firing.pk,
        altimeter_file_id=row.pk,
        apogee_m=found.apogee_m,
        apogee_time_s=found.apogee_time_s,
        landing_time_s=found.landing_time_s,
        first_descent_m_s=rates[0] if rates else None,
        second_descent_m_s=rates[1] if len(rates) > 1 else None,
        reading_json=as_typed(data),
        result_json=found.model_dump_json(),
    )
    session.add(track)
    session.flush()
    filled = firing.altitude_m is None
    if filled:
        _use(session, firing, track)
    return track, filled


def taken_over(firing: Firing, track: AltimeterTrack) -> bool:
    """Whether a flight's altitude is that of its track."""
    return firing.altitude_m is not None and abs(firing.altitude_m - track.apogee_m) < 0.2


def take_over(session: Session, firing: Firing, version: int | None = None) -> None:
    """Make a track's apogee the altitude of its flight.

    Raises
    ------
    Conflict
        The firing was changed since the page was opened.
    Refused
        Nothing was read out of a file of this flight.
    """
    newest = ALTIMETER.newest(session, firing)
    repository.claim(firing, version)
    _use(session, firing, newest, claimed=True)


def _use(session: Session, firing: Firing, track: AltimeterTrack, claimed: bool = False) -> None:
    if not claimed:
        repository.claim(firing, None)
    audit_reasons.because(session, "Taken from its altimeter.")
    units = workshop.get(session).units
    typed = show(track.apogee_m, "altitude", units, 1)
    firing.altitude_m, firing.altitude_typed = parse(typed, "altitude", units).si, typed  # what is shown is kept
    session.flush()
