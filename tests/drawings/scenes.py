"""States of a bench that are drawn in the tests; all numbers are invented."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from markupsafe import Markup

from app.drawings.bowls import Bowl, OtherBowl, bowl
from app.drawings.evening_line import Act, Row, evening_line
from app.drawings.grain_section import GrainCut, grain_section
from app.drawings.lot_strip import Lot, Lots, ThisGrain, lot_strip
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


GRAIN = GrainCut(
    0.04445,
    0.01905,
    0.0762,
    96.5e-6,
    0.963,
    0.95,
    outer_words="Ø 44.45",
    core_words="Ø 19.05",
    length_words="76.2",
    missing_words="3.6 cm³",
    bubble_words="Ø 19",
    limit_words="limit Ø 21",
)
ASKEW = replace(
    GRAIN,
    share=0.87,
    bubble_words="Ø 29",
    missing_words="12.5 cm³",
    burning_ends=1,
    offset_a_m=0.001,
    offset_b_m=-0.002,
    offset_words="1.0 and −2.0 off",
)
LOTS = (
    Lot("2611Q", (0.959, 0.961, 0.962, 0.965)),
    Lot("2611P", (0.949, 0.957, 0.96, 0.963)),
    Lot("2610S", (0.958, 0.96, 0.963, 0.967)),
)
OLDER = tuple(0.925 + 0.0013 * (i * 7 % 34) for i in range(34))
THIS = ThisGrain("2611R-03", 0.963, 0.003)


SCENES: dict[str, Markup] = {
    "evening: nothing yet": evening_line([Row("Pan", [[]], True)], NOW),
    "evening: before": evening(moment(18, 24), [[moment(19, 14), moment(19, 56)]]),
    "evening: two sets": evening(NOW, [[moment(19, 14), moment(19, 56)]]),
    "evening: four melts": evening(
        moment(20, 33),
        [[moment(19, 0), moment(19, 12)], [moment(19, 45)], [moment(20, 30), moment(20, 40)], [moment(21, 20)]],
    ),
    "evening: late": evening_line(
        [
            Row("Pan", [[Act("heat", moment(18, 40), "done"), Act("pour", moment(19, 14), "done")]], pan=True),
            Row(
                "Grains",
                [
                    [
                        Act("pour", moment(19, 14), "done"),
                        Act("core", moment(19, 17), "skipped"),
                        Act("compact", moment(19, 32), "now"),
                        Act("compact", moment(20, 2), "next", estimate=True),
                        Act("pull", moment(20, 44), "next"),
                        Act("bag", moment(1, 14), "next"),
                    ]
                ],
            ),
        ],
        NOW,
    ),
    "evening: over": evening_line(
        [
            Row("Pan", [[Act("heat", moment(18, 40), "done"), Act("pour", moment(19, 14), "done")]], pan=True),
            Row("Grains", [[Act("pour", moment(19, 14), "done"), Act("bag", moment(1, 20), "done")]]),
        ],
        None,
    ),
    "evening: late night": evening(moment(23, 40), [[moment(19, 14), moment(19, 56)]]),
    "pan: not read": pan_strip(pan()),
    "pan: one reading": pan_strip(pan((19, 50, 114))),
    "pan: many": pan_strip(pan((19, 10, 60), (19, 20, 92), (19, 30, 118), (19, 38, 116), (19, 45, 112), (19, 50, 114))),
    "pan: read every two minutes": pan_strip(
        pan(*((18 + minute // 60, minute % 60, 60 + minute * 0.49) for minute in range(10, 112, 2)), events=())
    ),
    "pan: too hot": pan_strip(hot_pan),
    "pan: old": pan_strip(pan((19, 10, 112), (19, 20, 114), high=Level(388.15, "115 °C"))),
    "pan: over": pan_strip(
        replace(pan((15, 0, 60), (19, 20, 112), (19, 50, 114)), over=True, now=moment(19, 50), window=None)
    ),
    "pan: without its head": pan_strip(replace(pan((19, 20, 112), (19, 50, 114)), headed=False)),
    "pan: low, without its head": pan_strip(
        replace(pan((19, 20, 60), (19, 50, 114)), headed=False, plot_em=3.0, high=Level(388.15, "115 °C"))
    ),
    "pan: fahrenheit": pan_strip(fahrenheit),
    "bowl: open": bowl(sorbitol(None), OTHERS),
    "bowl: under": bowl(sorbitol(0.15, "150.0 g"), OTHERS),
    "bowl: good": bowl(sorbitol(0.2022, "202.2 g"), OTHERS),
    "bowl: over": bowl(sorbitol(0.4, "400.0 g")),
    "tube: pour": tube_section(TUBE, "pour"),
    "tube: core": tube_section(TUBE, "core"),
    "tube: compact": tube_section(TUBE, "compact"),
    "tube: pull": tube_section(TUBE, "pull"),
    "grain: good": grain_section(GRAIN),
    "grain: voids, askew": grain_section(ASKEW),
    "grain: slender, nothing missing": grain_section(
        replace(GRAIN, core_d_m=0.006, length_m=0.2, share=1.001, burning_ends=0, core_words="Ø 6", length_words="200")
    ),
    "lot: a grain": lot_strip(Lots(Lot("2611R", (0.958, 0.966)), THIS, LOTS, OLDER, 0.95)),
    "lot: the first": lot_strip(Lots(Lot("2611R", ()), THIS, (), (), 0.95)),
    "lot: rejects before": lot_strip(
        Lots(Lot("2611R", (0.958, 0.91)), ThisGrain("2611R-03", 0.945, 0.004), LOTS[:1], (0.7, 0.82, *OLDER), 0.95)
    ),
    "tube: slender": tube_section(Tube(0.024, 0.024, 0.008, 0.12), "compact"),
}
