"""From an altimeter's text and the way a person says to read it, to apogee, descents and landing."""

import numpy as np
from pydantic import BaseModel

from app.calc.base.atmosphere import atmosphere
from app.calc.base.constants import Floats
from app.calc.base.errors import CalcError
from app.calc.base.notes import Amount, Note
from app.calc.record import curve, logger_text, track
from app.calc.record.barometer import pressure_altitude
from app.calc.record.columns import AIR_PRESSURES, HEIGHT_UNITS, guess_height
from app.calc.record.logger_text import Layout
from app.calc.record.runs import Lines
from app.errors import Refused
from app.models.altimeter import TrackIn
from app.pens import thin
from app.services.firings import samples

DRAWN = 1000
"""Readings kept for drawing; the figures are made of all of them."""

HIGHEST = 1e6
"""Heights beyond this are a wrong column or unit [m]."""

HARD_LANDING = 15.0
"""Speed near the ground above which it is asked whether the recovery opened [m/s]: common practice, no source."""

_FIELDS = {"height": "height_column", "time": "time_column", "pressure": "height_unit", "row": "file"}


class Descent(BaseModel):
    """A stretch of steady descent, after launch [s], downwards [m/s]."""

    start_s: float
    end_s: float
    rate_m_s: float


class Spike(BaseModel):
    """Readings that left the track, as at an ejection: after launch [s], size [m], its lines in the file."""

    time_s: float
    size_m: float
    first_line: int
    last_line: int


class TrackResult(BaseModel):
    """What was read out of a file, SI; times after launch, heights above the pad; histories are for drawing only."""

    samples: int
    apogee_m: float
    apogee_time_s: float
    landing_time_s: float | None
    ground_m: float | None
    descents: list[Descent]
    spikes: list[Spike]
    launch_s: float
    pad_m: float
    noise_m: float
    time_s: list[float]
    height_m: list[float]
    spike_time_s: list[float] = []
    spike_height_m: list[float] = []
    cautions: list[Note | str] = []
    remarks: list[str] = []

    def heights_of(self, descent: Descent) -> tuple[float, float]:
        """Where a steady descent begins and ends, above the pad [m]."""
        start, end = np.interp([descent.start_s, descent.end_s], self.time_s, self.height_m).tolist()
        return start, end


def guess(text: bytes) -> dict[str, str]:
    """How a text is probably made up and what its columns probably are, as the texts of the form.

    Raises
    ------
    Refused
        It holds no table of numbers; beside the file.
    """
    try:
        layout = logger_text.guess_layout(text)
        time, time_unit, height, unit = guess_height(logger_text.first_numbers(text, layout), layout.names)
    except CalcError as error:
        raise samples.refusal(error) from None
    return {
        "delimiter": layout.delimiter,
        "decimal": layout.decimal,
        "first_line": str(layout.first_line),
        "time_column": "" if time is None else str(time),
        "time_unit": time_unit,
        "height_column": str(height),
        "height_unit": unit,
    }


def read_track(text: bytes, data: TrackIn, air_temperature_k: float | None = None) -> TrackResult:
    """Read a text as a person says; the air's temperature on the ground tells how far a barometer misjudged.

    Raises
    ------
    Refused
        It cannot be read so; beside the field, with the line at fault where there is one.
    """
    try:
        return _read(text, data, air_temperature_k)
    except CalcError as error:
        raise samples.refusal(error, _FIELDS) from None


def _read(text: bytes, data: TrackIn, air_temperature_k: float | None) -> TrackResult:
    layout = Layout(data.delimiter, data.decimal, data.first_line, 0)
    read = samples.sample_columns(
        text, layout, data, [data.height_column], field="height_column", called="Time and altitude", made="a flight"
    )
    time, reading, lines = read.time, read.columns[0], read.lines
    barometer = data.height_unit in AIR_PRESSURES
    scaled = reading * HEIGHT_UNITS[data.height_unit]
    if not float(np.ptp(scaled)) > 0:
        first, last = lines.of(0), lines.of(scaled.size - 1)
        raise Refused(
            f"Every reading from line {first} to line {last} is the same. Choose another column.", field="height_column"
        )
    height = pressure_altitude(scaled) if barometer else scaled
    if float(np.abs(height).max()) > HIGHEST:
        raise Refused("A height above 1000 km is none of such a rocket. Choose its unit.", field="height_unit")
    found = track.analyse(time, height, data.pad.si if data.pad else None)
    if not (found.apogee > 0 and found.apogee_time > 0):
        raise Refused(
            "The record does not show a rise to a top. Choose another column, or type the pad's height.",
            field="height_column",
        )
    after, above = time - found.launch, height - found.pad
    away = np.zeros(time.size, bool)
    for spike in found.spikes:
        away[spike.first : spike.last + 1] = True
    kept = np.flatnonzero(~away)
    drawn = kept[thin(above[kept], DRAWN)]
    spiked = np.flatnonzero(away)
    spiked = spiked[thin(above[spiked], DRAWN // 4)]
    return TrackResult(
        samples=time.size,
        apogee_m=found.apogee,
        apogee_time_s=found.apogee_time,
        landing_time_s=found.landing_time,
        ground_m=found.ground,
        descents=[Descent(start_s=d.start, end_s=d.end, rate_m_s=d.rate) for d in found.descents],
        spikes=[
            Spike(time_s=s.time - found.launch, size_m=s.size, first_line=lines.of(s.first), last_line=lines.of(s.last))
            for s in found.spikes[:20]
        ],
        launch_s=found.launch,
        pad_m=found.pad,
        noise_m=found.noise,
        time_s=after[drawn].tolist(),
        height_m=above[drawn].tolist(),
        spike_time_s=after[spiked].tolist(),
        spike_height_m=above[spiked].tolist(),
        cautions=[*read.doubts, *_cautions(lines, time, found)],
        remarks=[*read.said, *_remarks(data, found, barometer, air_temperature_k)],
    )


def _cautions(lines: Lines, time: Floats, found: track.Track) -> list[Note | str]:
    said: list[Note | str] = []
    holes = curve.gaps(time)
    if holes:
        i = holes[0]
        more = f" and {len(holes) - 1} more" if len(holes) > 1 else ""
        said.append(
            f"Readings are missing before line {lines.of(i)} ({time[i] - time[i - 1]:.3g} s)"
            f"{more}; what happened in between is not known."
        )
    if not found.before:
        said.append("The record begins above the pad's level; the moment of launch is its first reading.")
    if not found.topped:
        said.append("The record ends while the rocket still climbs; the apogee is at least what is shown.")
    elif found.landing_time is None:
        said.append("The record ends in the air; when it landed is not known.")
    last = found.descents[-1] if found.descents else None
    if last is not None and found.landing_time is not None and last.rate > HARD_LANDING:
        said.append(
            Note(
                "It came down at {rate} to the last. If that was not meant, look whether the recovery opened.",
                {"rate": Amount(last.rate, "speed", 0)},
            )
        )
    return said


def _remarks(data: TrackIn, found: track.Track, barometer: bool, air_temperature_k: float | None) -> list[str]:
    said = []
    if data.pad:
        said.append(f"The pad was told to lie at {data.pad.typed} in the file's own altitude.")
    elif found.before:
        said.append("Heights count from the pad: the middle of what was read before the launch.")
    if barometer:
        warm = ""
        if air_temperature_k is not None:
            share = air_temperature_k / atmosphere(found.pad).temperature - 1
            warm = f" At that day's temperature true heights are about {100 * share:+.1f} %."
        said.append(f"Air pressure was read as altitude by the U.S. Standard Atmosphere 1976.{warm}")
    if found.spikes:
        said.append("Readings that left the track for less than half a second take no part in any figure.")
    if len(found.descents) == 2:
        said.append("Two stretches of descent were told apart: two lines fit the heights far better than one.")
    return said
