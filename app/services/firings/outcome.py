"""What came of a firing in two sentences: whether it was as predicted, by how much, and what in the book tells why."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from sqlmodel import Session

from app.models import Curve, Firing
from app.models.firing import FAILED, RESULTS
from app.services.firings import firings
from app.services.firings.heights import Height
from app.services.flight.flights import Estimate
from app.services.learning import against_prediction
from app.services.learning.learning_pages import Say
from app.services.learning.prediction_record import PredictionRecord, Range
from app.services.motors.builds import Built

WIDER = 0.02
"""How much wider than reckoned with a throat is before it is named as a reason [-]: 4 % of its area, our choice."""

LIKE = 0.005
"""A figure nearer to the middle than this is called the middle itself [-]."""

_PROPELLANT = {
    "burn rate": ("the propellant burned {:.0f} % faster", "the propellant burned {:.0f} % slower"),
    "c* efficiency": ("c* was {:.0f} % higher", "c* was {:.0f} % lower"),
    "nozzle efficiency": ("the nozzle gave {:.0f} % more", "the nozzle gave {:.0f} % less"),
}
"""What is said of each where it was more than the prediction took, and where it was less."""


@dataclass(frozen=True)
class Figure:
    """A figure as measured and as expected before, in SI; None where it is not known."""

    label: str
    kind: str
    measured: float | None
    expected: Range | None

    @property
    def ratio(self) -> float | None:
        """Measured over expected [-]."""
        return self.measured / self.expected.mid if self.measured is not None and self.expected else None

    @property
    def place(self) -> str:
        """Where it fell: 'inside', 'below' or 'above' its range; nothing where that cannot be told."""
        if self.measured is None or self.expected is None or self.expected.low is None or self.expected.high is None:
            return ""
        if self.expected.low <= self.measured <= self.expected.high:
            return "inside"
        return "below" if self.measured < self.expected.low else "above"

    @property
    def off(self) -> str:
        """By how much it missed what was predicted, in words."""
        ratio = self.ratio
        assert ratio is not None, "only what was measured and predicted is off"
        if abs(ratio - 1) < LIKE:
            return f"{self.label.lower()} right on"
        return f"{self.label.lower()} {100 * abs(ratio - 1):.0f} % {'over' if ratio > 1 else 'under'}"


@dataclass(frozen=True)
class Outcome:
    """A firing's answer: the verdict, one sentence each on how far off it was and why, and the figures it stands on."""

    verdict: str
    by: str
    why: str
    figures: list[Figure]


def figures(
    firing: Firing, told: PredictionRecord | None, estimate: Estimate | None, curve: Curve | None
) -> list[Figure]:
    """Every figure of a firing that was measured or predicted; what nobody typed is taken from its curve."""
    read = {
        "impulse": curve.total_impulse_ns if curve else None,
        "time": curve.burn_time_s if curve else None,
        "pressure": curve.peak_pressure_pa if curve else None,
    }
    rows = firings.beside(firing, told, estimate)
    found = [
        Figure(label, kind, read.get(kind) if measured is None else measured, expected)
        for label, measured, expected, kind in rows
    ]
    flew = firing.kind == "flight"
    return sorted(found, key=lambda one: (one.kind != "altitude") if flew else 0)


@dataclass(frozen=True)
class Kept:
    """Of how many firings a figure has a range that was told before, and in how many it fell inside."""

    inside: int
    of: int


def kept(
    shots: Iterable[Firing], ranges: Mapping[int, Mapping[str, tuple[float, float, float]]], flown: Iterable[Height]
) -> tuple[Kept, Kept]:
    """Impulses, and heights, that fell where nine in ten were expected; ranges as `review.coverage` reads them."""
    held = [(one.measured_impulse_ns, ranges.get(one.pk, {}).get("total_impulse")) for one in shots]
    impulses = [span[1] <= measured <= span[2] for measured, span in held if measured is not None and span is not None]
    high = [one.inside for one in flown]
    return Kept(sum(impulses), len(impulses)), Kept(sum(high), len(high))


def of_firing(
    session: Session,
    firing: Firing,
    built: Built,
    told: PredictionRecord | None,
    estimate: Estimate | None,
    curve: Curve | None,
) -> Outcome:
    """Whether a firing was as predicted, by how much, and why as far as the book can tell."""
    found = figures(firing, told, estimate, curve)
    held = [one for one in found if one.place]
    outside = [one for one in held if one.place != "inside"]
    as_told = bool(held) and not outside
    if firing.result == "no_light":
        return Outcome("It did not light.", "Nothing burned, so nothing counts against its prediction.", "", found)
    if firing.result in FAILED:
        verdict = f"It failed: {RESULTS[firing.result].lower()}."
    elif not held:
        verdict = "Nothing to hold it against." if told is None else "Whether it was as predicted is unknown."
    else:
        verdict = "As predicted." if as_told else "Not as predicted."
    why = "" if as_told and firing.result in ("good", "recovery") else _why(session, firing, built, told, found)
    return Outcome(verdict, _by(held, outside, told, firing.result in FAILED), why, found)


def _by(held: Sequence[Figure], outside: Sequence[Figure], told: PredictionRecord | None, failed: bool) -> str:
    if not held:
        if failed:
            return ""
        return "Nothing was predicted before it." if told is None else "Nothing was measured that has a range."
    inside = [one for one in held if one not in outside]
    if not outside:
        return _sentence(f"{_listed([one.off for one in held])}, {_within(held, 'inside')}")
    words = f"{_listed([one.off for one in outside])}, {_within(outside, 'outside')}"
    return _sentence(f"{words}; {_listed([one.label.lower() for one in inside])} inside" if inside else words)


def _within(held: Sequence[Figure], where: str) -> str:
    return f"{where} its range" if len(held) == 1 else f"{'both' if len(held) == 2 else 'all'} {where} their ranges"


def _sentence(words: str) -> str:
    return f"{words[0].upper()}{words[1:]}."


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


# --- Why ---------------------------------------------------------------------------------------


def _why(session: Session, firing: Firing, built: Built, told: PredictionRecord | None, found: Sequence[Figure]) -> str:
    """What the book knows that goes with a miss; that it knows nothing is said too. A cause is not proved by it."""
    said = against_prediction.said(session, firing, built.formula, told) if told is not None else []
    telling = [_of_propellant(one) for one in said if not one.low <= 1 <= one.high]
    reasons = [
        "it held wet grains" if built.wet else "",
        f"its pressure tells that {_listed(telling)}" if telling else "",
        _throat(firing, told),
    ]
    if known := [words for words in reasons if words]:
        return _sentence("; ".join(known))
    if said or firing.result in FAILED or told is None:
        return ""
    place = {one.kind: one.place for one in found}
    if place.get("altitude") in ("below", "above"):
        if place["impulse"] == "inside":
            return "The motor did as predicted: look at the rocket's mass and drag, and at the wind."
        if not place["impulse"]:
            return "Without a record of its thrust, motor and rocket cannot be told apart."
    return "Without its pressure, burn rate and efficiencies cannot be told apart." if place["impulse"] else ""


def _of_propellant(one: Say) -> str:
    more, less = _PROPELLANT[one.what]
    return (more if one.factor > 1 else less).format(100 * abs(one.factor - 1))


def _throat(firing: Firing, told: PredictionRecord | None) -> str:
    if told is None or firing.throat_after_m is None:
        return ""
    wider = firing.throat_after_m / (told.inputs.throat_d_m + told.inputs.throat_growth_m) - 1
    return f"its throat grew {100 * wider:.0f} % wider than reckoned with" if wider > WIDER else ""
