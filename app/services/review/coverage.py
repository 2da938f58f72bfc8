"""Did the ranges hold? Each measured figure in the range that was stored before its firing, and never rewritten since.

Which prediction belongs to a firing is the rule of `stored_predictions`; a firing that has none counts for nothing.
"""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func
from sqlalchemy import select as select_core
from sqlmodel import Session, col

from app.calc.stats.coverage import FEW, PROMISED, Verdict, place, verdict
from app.models import Curve, Firing, MotorBuild, Prediction
from app.services.learning import stored_predictions
from app.services.learning.fit_records import COUNTS

FIGURES = {
    "total_impulse": ("Total impulse", "impulse"),
    "burn_time": ("Burn time", "time"),
    "peak_pressure": ("Peak pressure", "pressure"),
    "mean_thrust": ("Mean thrust", "force"),
}
"""The figures judged: their words and the kind of their unit."""

HEAD = 4000
"""Signs at the head of a stored prediction that hold its ranges; its long curves come after them."""

_DECODER = json.JSONDecoder()


@dataclass(frozen=True)
class Held:
    """One measured figure beside the range stored for it, SI; `place` is 0 at the low mark and 1 at the high one."""

    firing_id: int
    motor_code: str
    fired_at: datetime
    result: str
    measured: float
    expected: float
    low: float
    high: float
    place: float

    @property
    def inside(self) -> bool:
        """Whether it fell into the range."""
        return 0 <= self.place <= 1

    @property
    def ratio(self) -> float:
        """Measured over expected [-]."""
        return self.measured / self.expected


@dataclass(frozen=True)
class Record:
    """All measured values of one figure, oldest first, and what they say of the ranges."""

    key: str
    label: str
    kind: str
    held: list[Held]

    @property
    def verdict(self) -> Verdict | None:
        """How often the ranges held; nothing where nothing was measured."""
        return verdict([one.place for one in self.held]) if self.held else None

    @property
    def misses(self) -> list[Held]:
        """Those that fell outside, newest first."""
        return [one for one in reversed(self.held) if not one.inside]


@dataclass(frozen=True)
class Coverage:
    """The four figures, and how many measured firings had no range stored before them."""

    records: list[Record]
    unpredicted: int

    @property
    def judged(self) -> list[Record]:
        """The figures of which something was measured."""
        return [record for record in self.records if record.held]

    @property
    def answer(self) -> str:
        """Whether the ranges held, in a sentence."""
        kinds: dict[str, list[str]] = {"narrow": [], "wide": [], "few": [], "held": []}
        for record in self.judged:
            kinds[_kind(record)].append(record.label.lower())
        said = []
        if kinds["narrow"]:
            said.append(f"{_listed(kinds['narrow'])} fell outside more often than one time in ten would")
        if kinds["held"]:
            are = "is" if len(kinds["held"]) == 1 else "are"
            said.append(f"{_listed(kinds['held'])} {are} in keeping with nine in ten")
        if kinds["wide"]:
            said.append(f"the ranges of {_listed(kinds['wide'])} were wider than need be")
        if kinds["few"]:
            said.append(f"of {_listed(kinds['few'])} too few values tell")
        if not said:
            return ""
        known = kinds["held"] or kinds["wide"]
        word = "No" if kinds["narrow"] else "Yes, as far as can be told" if known else "Not known yet"
        return f"{word}: {'; '.join(said)}."


def answer_of_one(held: list[Held]) -> str:
    """Whether the figures of one firing fell into their ranges."""
    n, inside = len(held), sum(one.inside for one in held)
    if not n:
        return "Nothing was measured that a range was stored for before it."
    if n == 1:
        return f"The one measured figure lay {'inside' if inside else 'outside'} the range stored before."
    if inside == n:
        return f"All {n} measured figures lay inside the ranges stored before."
    return f"{inside or 'None'} of {n} measured figures lay inside the ranges stored before."


def _kind(record: Record) -> str:
    """What the exact interval allows to be said of a figure's ranges."""
    found = record.verdict
    assert found is not None
    if found.interval.high < PROMISED:
        return "narrow"
    if found.interval.low > PROMISED:
        return "wide"
    return "few" if found.n < FEW else "held"


def _listed(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def coverage_of(session: Session, firing_id: int | None = None) -> Coverage:
    """Every measured figure of the book, or of one firing, against the range that was stored before its firing."""
    newest = (
        select_core(col(Curve.firing_id), func.max(col(Curve.id)).label("curve_id"))
        .group_by(col(Curve.firing_id))
        .subquery()
    )
    query = (
        select_core(
            col(Firing.id),
            col(MotorBuild.code),
            col(Firing.fired_at),
            col(Firing.result),
            col(Firing.measured_impulse_ns),
            col(Firing.measured_burn_time_s),
            col(Firing.measured_peak_pressure_pa),
            col(Curve.total_impulse_ns),
            col(Curve.burn_time_s),
            col(Curve.peak_pressure_pa),
            col(Curve.mean_thrust_n),
            func.substr(col(Prediction.result_json), 1, HEAD),
        )
        .join(MotorBuild, col(MotorBuild.id) == Firing.motor_build_id)
        .outerjoin(newest, newest.c.firing_id == col(Firing.id))
        .outerjoin(Curve, col(Curve.id) == newest.c.curve_id)
        .outerjoin(Prediction, col(Prediction.id) == stored_predictions.id_in_query())
        .where(col(Firing.result).in_(COUNTS))
        .order_by(col(Firing.fired_at), col(Firing.id))
    )
    if firing_id is not None:
        query = query.where(col(Firing.id) == firing_id)
    held: dict[str, list[Held]] = {key: [] for key in FIGURES}
    unpredicted = 0
    for row in session.execute(query):
        one, code, at, result, impulse, duration, peak, c_impulse, c_duration, c_peak, c_thrust, head = row
        impulse, duration, peak = impulse or c_impulse, duration or c_duration, peak or c_peak
        thrust = c_thrust or (impulse / duration if impulse and duration else None)
        measured = {"total_impulse": impulse, "burn_time": duration, "peak_pressure": peak, "mean_thrust": thrust}
        if not any(measured.values()):
            continue
        ranges = stored_ranges(head or "")
        unpredicted += not ranges
        for key, (expected, low, high) in ranges.items():
            value = measured[key]
            if value and low < high:
                held[key].append(Held(one, code, at, result, value, expected, low, high, place(value, low, high)))
    return Coverage([Record(key, *FIGURES[key], held[key]) for key in FIGURES], unpredicted)


def ranges_of(session: Session, firing_ids: Iterable[int]) -> dict[int, dict[str, tuple[float, float, float]]]:
    """Expected value and both marks of each figure, as stored before these firings; by the firing's identity."""
    query = (
        select_core(col(Firing.id), func.substr(col(Prediction.result_json), 1, HEAD))
        .join(Prediction, col(Prediction.id) == stored_predictions.id_in_query())
        .where(col(Firing.id).in_(list(firing_ids)))
    )
    return {key: stored_ranges(head or "") for key, head in session.execute(query)}


def stored_ranges(head: str) -> dict[str, tuple[float, float, float]]:
    """Expected value and both marks of each figure, from the head of a stored prediction, without its curves."""
    found = {}
    for key in FIGURES:
        at = head.find(f'"{key}":')
        if at < 0:
            continue
        try:
            told, _ = _DECODER.raw_decode(head, at + len(key) + 3)
        except ValueError:
            continue
        if told.get("low") is not None and told.get("high") is not None:
            found[key] = (float(told["mid"]), float(told["low"]), float(told["high"]))
    return found
