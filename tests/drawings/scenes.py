"""States of a bench that are drawn in the tests; all numbers are invented."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

from markupsafe import Markup

from app.drawings.bowls import Bowl, OtherBowl, bowl
from app.drawings.evening_line import Act, Row, evening_line
from app.drawings.marks import Kind, State
from app.drawings.pan_strip import Event, Level, Pan, Reading, pan_strip
from app.drawings.tube_section import Tube, tube_section

AFTER_POUR: tuple[tuple[Kind, int], ...] = (
    ("pour", 0),
    ("core", 3),
    ("compact", 18),
    ("compact", 28),
    ("compact", 38),
    ("pull", 90),
    ("bag", 360),
)
BEFORE_POUR: tuple[tuple[Kind, int], ...] = (("heat", -34), ("add", -20), ("add", -14), ("add", -8))


def moment(hour: int, minute: int) -> datetime:
    """A clock time of the evening; small hours are those of the night after it."""
    return datetime(2026, 11, 26, hour, minute, tzinfo=UTC) + timedelta(days=hour < 6)


def _act(kind: Kind, at: datetime, now: datetime, poured: bool) -> Act:
    state: State = "done" if at < now else ("now" if at == now else "next")
    return Act(kind, at, state, estimate=state == "next" and not poured)


def evening(now: datetime, melts: Sequence[Sequence[datetime]]) -> Markup:
    """An evening told by the pours of each melt."""

    def laid_out(plan: Sequence[tuple[Kind, int]], pour: datetime) -> list[Act]:
        return [_act(kind, pour + timedelta(minutes=after), now, pour < now) for kind, after in plan]

    pan = [[*laid_out(BEFORE_POUR, melt[0]), *(_act("pour", pour, now, False) for pour in melt)] for melt in melts]
    rows = [Row("Pan", pan, pan=True)]
    for name, melt in zip("PQRS", melts, strict=False):
        rows += [Row(f"{name} set {number}", [laid_out(AFTER_POUR, pour)]) for number, pour in enumerate(melt, start=1)]
    return evening_line(rows, now)


NOW = moment(19, 52)
LIMIT, LOW, HIGH = Level(394.15, "121 °C"), Level(377.15, "104 °C"), Level(394.15, "121 °C")
EVENTS = (
    Event("add", moment(19, 25), "oxidiser"),
    Event("add", moment(19, 33), "oxidiser"),
    Event("note", moment(19, 40), "note"),
    Event("pour", moment(19, 46), "pour"),
)


def pan(*read: tuple[int, int, float], events: Sequence[Event] = EVENTS, high: Level = HIGH) -> Pan:
    """A pan read at clock times [°C]."""
    readings = [Reading(c + 273.15, f"{c:g} °C", moment(hour, minute)) for hour, minute, c in read]
    return Pan(readings, LIMIT, NOW, LOW, high, events)


hot_pan = pan((19, 20, 112), (19, 30, 118), (19, 38, 116), (19, 45, 120), (19, 50, 126))
fahrenheit = Pan(
    [Reading(390, "242.3 °F", moment(19, 50))],
    Level(394.26, "250 °F"),
    NOW,
    Level(377.6, "220 °F"),
    Level(394.26, "250 °F"),
)
TUBE = Tube(0.0445, 0.0475, 0.019, 0.0762, 0.0802, "76.2", "47.5", "19")
OTHERS = (OtherBowl("Nitrate", "331.2 g", True), OtherBowl("Sucrose", "50.6 g", False))


def sorbitol(reading_kg: float | None, words: str = "") -> Bowl:
    """A bowl of 202.4 g."""
    return Bowl("Sorbitol", 0.2024, 0.0005, reading_kg, "202.4 g", words)


SCENES: dict[str, Markup] = {
    "evening: nothing yet": evening_line([Row("Pan", [[]], True)], NOW),
    "evening: before": evening(moment(18, 24), [[moment(19, 14), moment(19, 56)]]),
    "evening: two sets": evening(NOW, [[moment(19, 14), moment(19, 56)]]),
    "evening: four melts": evening(
        moment(20, 33),
        [[moment(19, 0), moment(19, 12)], [moment(19, 45)], [moment(20, 30), moment(20, 40)], [moment(21, 20)]],
    ),
    "evening: late night": evening(moment(23, 40), [[moment(19, 14), moment(19, 56)]]),
    "pan: not read": pan_strip(pan()),
    "pan: one reading": pan_strip(pan((19, 50, 114))),
    "pan: many": pan_strip(pan((19, 10, 60), (19, 20, 92), (19, 30, 118), (19, 38, 116), (19, 45, 112), (19, 50, 114))),
    "pan: too hot": pan_strip(hot_pan),
    "pan: old": pan_strip(pan((19, 10, 112), (19, 20, 114), high=Level(388.15, "115 °C"))),
    "pan: fahrenheit": pan_strip(fahrenheit),
    "bowl: open": bowl(sorbitol(None), OTHERS),
    "bowl: under": bowl(sorbitol(0.15, "150.0 g"), OTHERS),
    "bowl: good": bowl(sorbitol(0.2022, "202.2 g"), OTHERS),
    "bowl: over": bowl(sorbitol(0.4, "400.0 g")),
    "tube: pour": tube_section(TUBE, "pour"),
    "tube: core": tube_section(TUBE, "core"),
    "tube: compact": tube_section(TUBE, "compact"),
    "tube: pull": tube_section(TUBE, "pull"),
    "tube: slender": tube_section(Tube(0.024, 0.024, 0.008, 0.12), "compact"),
}
