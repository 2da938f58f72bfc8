"""Altimeters: the file of a flight kept as it came, read as a person says, its apogee set beside the prediction."""

import json

from sqlmodel import Session, col, select

from app.calc.record import logger_text
from app.errors import Refused
from app.models import AltimeterFile, AltimeterTrack, Firing
from app.models.altimeter import TrackIn
from app.services.book import audit_reasons, repository, workshop
from app.services.firings import logger_files, tracking
from app.services.firings.curves import as_typed
from app.services.firings.tracking import TrackResult
from app.units import parse, show

LIMIT = 32 * 1024 * 1024
"""Largest file taken [bytes]: more than an hour at a hundred readings a second."""

# --- Finding -------------------------------------------------------------------------------------


def files(session: Session, firing: Firing) -> list[AltimeterFile]:
    """The altimeter's files of a flight, newest first."""
    return logger_files.of_firing(session, AltimeterFile, firing)


def file(session: Session, firing: Firing, file_id: int) -> AltimeterFile:
    """One file of a flight.

    Raises
    ------
    NotFound
        The flight has no such file.
    """
    return logger_files.one(session, AltimeterFile, firing, file_id)


def tracks(session: Session, firing: Firing) -> list[AltimeterTrack]:
    """What was read out of a flight's files, newest first; the first one counts."""
    query = select(AltimeterTrack).where(AltimeterTrack.firing_id == firing.pk)
    return list(session.exec(query.order_by(col(AltimeterTrack.id).desc())))


def counting(session: Session, firing: Firing) -> tuple[AltimeterTrack, AltimeterFile, TrackResult] | None:
    """The track that counts for a flight with its file and its figures, if there is one."""
    newest = next(iter(tracks(session, firing)), None)
    if newest is None:
        return None
    source = file(session, firing, newest.altimeter_file_id)
    return newest, source, TrackResult.model_validate_json(newest.result_json)


def unread(session: Session, firing: Firing) -> list[AltimeterFile]:
    """Files that nothing was read out of yet."""
    read = {t.altimeter_file_id for t in tracks(session, firing)}
    return [f for f in files(session, firing) if f.pk not in read]


# --- Taking in and reading -----------------------------------------------------------------------


def take_in(session: Session, firing: Firing, name: str, raw: bytes) -> AltimeterFile:
    """Keep an altimeter's file as it came; the same file sent again is the one that is there.

    Raises
    ------
    Refused
        It was no flight, the file is too large, or it is no text with numbers; beside the field.
    """
    _flew(firing)
    return logger_files.take_in(session, AltimeterFile, firing, name, raw, LIMIT)


def throw_away(session: Session, firing: Firing, file_id: int) -> None:
    """Take a file out of the book that nothing was read out of.

    Raises
    ------
    Refused
        A track was read out of it.
    """
    row = file(session, firing, file_id)
    logger_files.throw_away(session, row, unread(session, firing), "A flight")


def texts_for(session: Session, firing: Firing, row: AltimeterFile) -> dict[str, str]:
    """What the reading form begins with: how the file was read last, or a guess."""
    last = next((t for t in tracks(session, firing) if t.altimeter_file_id == row.pk), None)
    if last is not None:
        return dict(json.loads(last.reading_json))
    return tracking.guess(logger_text.plain_text(row.raw))


def look(firing: Firing, row: AltimeterFile, data: TrackIn) -> TrackResult:
    """What a file holds when it is read so; nothing is kept.

    Raises
    ------
    Refused
        It cannot be read so; beside the field.
    """
    return tracking.read(logger_text.plain_text(row.raw), data, firing.air_temperature_k)


def keep(session: Session, firing: Firing, row: AltimeterFile, data: TrackIn) -> tuple[AltimeterTrack, bool]:
    """Read a file and keep what was read; tells also whether its apogee became the flight's altitude.

    It does where the flight has none written down; what was read before stays, and counts no more.

    Raises
    ------
    Refused
        It was no flight, or the file cannot be read so; beside the field.
    """
    _flew(firing)
    found = look(firing, row, data)
    rates = [d.rate_m_s for d in found.descents]
    track = AltimeterTrack(
        firing_id=firing.pk,
        altimeter_file_id=row.pk,
        apogee_m=found.apogee_m,
        apogee_time_s=found.apogee_time_s,
        landing_time_s=found.landing_time_s,
        first_descent_m_s=rates[0] if rates else None,
        second_descent_m_s=rates[1] if len(rates) > 1 else None,
        reading_json=json.dumps(as_typed(data)),
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
    newest = next(iter(tracks(session, firing)), None)
    if newest is None:
        raise Refused("Nothing was read out of a file of this flight yet.")
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


def _flew(firing: Firing) -> None:
    if firing.kind != "flight" or firing.result == "no_light":
        raise Refused("This was no flight, so no altimeter flew. Correct the firing first.", field="file")
