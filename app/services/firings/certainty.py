"""What in a record could mean two things, to be chosen by a person, and how sure the figures are that come of it.

Pulses that are one burn or several, a zero that jumped, stray samples: each is found, said with what it changes, and
left as it is until it is told. In: a record in newtons and the form. Out: what is asked, and ranges of the figures.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel

from app.calc.base.constants import STANDARD_GRAVITY, Floats
from app.calc.base.errors import CalcError
from app.calc.base.notes import Amount, Note
from app.calc.fit.partial_pooling import STAND
from app.calc.record import curve, load_cell, pulses, spikes, uncertainty
from app.calc.record.pulses import Pulse
from app.calc.record.reduction import Reduced
from app.calc.record.spikes import Spike
from app.calc.record.uncertainty import Interval, Intervals
from app.calc.record.zero import ASKED_FROM, seen_jump
from app.errors import Refused
from app.models.curve import ReadIn

MOST = 8
"""Pulses that a form can choose from."""

WAYS = {
    "line": "drifted evenly, along a line",
    "lit": "jumped at ignition",
    "seen": "jumped in the burn, where the curve shows it",
    "out": "jumped at burn-out",
}
"""What the zero may have done between the two levels, in the order that is offered."""


RANGED = {
    "total_impulse_ns": "total_impulse",
    "burn_time_s": "burn_time",
    "mean_thrust_n": "mean_thrust",
    "peak_thrust_n": "peak_thrust",
}
"""Figures of a result that have a range, with their names in `uncertainty.Intervals`."""


class Ranged(BaseModel):
    """Nine in ten lie from low to high, SI; none where that end cannot be known."""

    low: float | None
    high: float | None


class Certainty(BaseModel):
    """How sure the figures of a curve are: their ranges by the names of the figures, and the classes these touch.

    `impulse_error` and `time_error` are the record's own standard uncertainties over the figure, without the scale's.
    """

    ranges: dict[str, Ranged]
    classes: list[str]
    impulse_error: float
    time_error: float
    whole: bool = True
    said: Note | str = ""


class Choice(BaseModel):
    """One of several things that a record may mean, and what it gives, SI.

    A way of the zero has that zero drawn, a burn among others when it begins and ends.
    """

    name: str
    words: str
    total_impulse_ns: float
    burn_time_s: float | None = None
    peak_thrust_n: float | None = None
    zero_n: list[float] = []
    from_s: float | None = None
    to_s: float | None = None


class Open(BaseModel):
    """What is asked: the field that answers it, the question, and the choices."""

    field: str
    question: Note
    choices: list[Choice]


@dataclass(frozen=True)
class Chosen:
    """The burn, as it was chosen among pulses or found, and what else stands in the record."""

    burn: tuple[int, int]
    pulses: list[Pulse]
    motors: list[Pulse]

    @property
    def others(self) -> list[tuple[int, int]]:
        """First and last sample of each pulse: where no zero is taken."""
        return [(pulse.first, pulse.last) for pulse in self.pulses]


def way(data: ReadIn) -> str:
    """How the zero goes, as told; a line until something is said.

    Raises
    ------
    Refused
        Two ways at once; beside the field.
    """
    if data.keep_drift and data.zero_way:
        raise Refused("Choose how the zero went, or keep its drift in: both at once cannot be.", field="zero_way")
    return "level" if data.keep_drift else data.zero_way or "line"


def choose(time: Floats, force: Floats, data: ReadIn, begin: int, stop: int) -> Chosen:
    """The pulses of a record and which of them is the burn, as told.

    Raises
    ------
    Refused
        There is no such pulse; beside the field.
    """
    if data.start or data.end:
        if data.pulse:
            raise Refused("Choose a pulse, or type when the burn is: both at once cannot be.", field="pulse")
        first, last = pulses.find_burn(time[begin:stop], force[begin:stop])
        return Chosen((begin + first, begin + last), [], [])
    found, burn = pulses.pulses_and_burn(time, force)
    motors = pulses.motors(found)[:MOST]
    if not data.pulse:
        return Chosen(burn, found, motors)
    if data.pulse == "all":
        return Chosen((motors[0].first, motors[-1].last), found, motors)
    number = int(data.pulse)
    if number > len(motors):
        raise Refused(f"The record holds {len(motors)} pulses only.", field="pulse")
    one = motors[number - 1]
    return Chosen((one.first, one.last), found, motors)


def about_pulses(data: ReadIn, time: Floats, chosen: Chosen) -> list[Open]:
    """What is asked where several pulses may be one burn or several."""
    motors = chosen.motors
    if len(motors) < 2 or data.pulse:
        return []
    spans = [f"{time[one.first]:.2f} to {time[one.last]:.2f} s" for one in motors]
    amounts = {f"i{i}": Amount(one.impulse, "impulse", 1) for i, one in enumerate(motors)}
    told = ", ".join(f"{span} with about {{i{i}}}" for i, span in enumerate(spans))
    question = Note(
        f"This record holds {len(motors)} burns: {told}. Each may be a motor's, or all of them one motor's that "
        "chuffed: choose which is meant. Until then the one with the most impulse is shown.",
        amounts,
    )
    each = [
        Choice(
            name=str(i),
            words=f"{i}: {span}",
            total_impulse_ns=one.impulse,
            from_s=float(time[one.first]),
            to_s=float(time[one.last]),
        )
        for i, (span, one) in enumerate(zip(spans, motors, strict=True), 1)
    ]
    whole = Choice(name="all", words="all of them", total_impulse_ns=sum(one.impulse for one in motors))
    return [Open(field="pulse", question=question, choices=[*each, whole])]


def rests(time: Floats, chosen: Chosen) -> list[str]:
    """A word where all that was found stands still, as a weight does."""
    if not chosen.motors or not all(one.still for one in chosen.motors):
        return []
    one = max(chosen.motors, key=lambda pulse: pulse.impulse)
    return [
        f"From {time[one.first]:.2f} to {time[one.last]:.2f} s the reading stands still on one level, as it does under "
        "a weight. No burn was found beside it: is this the record of the firing?"
    ]


def about_zero(
    data: ReadIn, force: Floats, burn: Reduced, record: NDArray[np.intp], reduce: Callable[..., Reduced]
) -> list[Open]:
    """What is asked where the zero went by more than 2 % of the peak during the burn: each way with what it gives.

    `reduce` gives the burn of the record with a way of the zero; `record` are the samples that are drawn of it.
    """
    step, peak = burn.zero.step, float(burn.thrust.max())
    if step is None or abs(step) <= ASKED_FROM * peak or data.keep_drift or data.zero_way:
        return []
    shown = [name for name in WAYS if name != "seen" or seen_jump(force, burn.low, burn.high, step) is not None]
    level = burn.zero.before or 0.0
    choices, amounts = [], {"step": Amount(abs(step), "force", 1)}

    def given(name: str) -> tuple[curve.Figures, list[float]]:  # a record each, which is let go: it may be long
        other = burn if name == burn.zero.way else reduce(way=name)
        return curve.figures(other.time, other.thrust), (force[record] - other.zero.thrust[record] - level).tolist()

    for name in shown:
        try:
            found, zero = given(name)
        except CalcError:
            continue
        choices.append(
            Choice(
                name=name,
                words=WAYS[name],
                total_impulse_ns=found.total_impulse,
                burn_time_s=found.burn_time,
                peak_thrust_n=found.peak_thrust,
                zero_n=zero,
            )
        )
        amounts |= {
            f"i_{name}": Amount(found.total_impulse, "impulse", 1),
            f"t_{name}": Amount(found.burn_time, "time", 3),
        }
    each = "; ".join(f"{WAYS[one.name]}: {{i_{one.name}}} in {{t_{one.name}}}" for one in choices)
    question = Note(
        f"The zero is {{step}} {'higher' if step > 0 else 'lower'} after the burn than before it, "
        f"{100 * abs(step) / peak:.0f} % of the peak. What it did between is not known: {each}. Choose how it went.",
        amounts,
    )
    return [Open(field="zero_way", question=question, choices=choices)]


def strays(time: Floats, force: Floats, burn: Reduced, found: list[Spike], lines: list[int]) -> list[Note | str]:
    """A word on the stray samples in a burn: where they are, and what the figures would be without them."""
    inside = [(one, line) for one, line in zip(found, lines, strict=True) if burn.low <= one.first <= burn.high]
    if not inside:
        return []
    better = spikes.without_spikes(force, found)
    shift = force[burn.low : burn.high + 1] - better[burn.low : burn.high + 1]
    thrust = burn.zero.thrust[burn.low : burn.high + 1]
    peak, gone = float((thrust - shift).max()), float(np.trapezoid(shift, time[burn.low : burn.high + 1]))
    places = ", ".join(f"{time[one.first]:.3f} s (line {line})" for one, line in inside[:4])
    more = f" and {len(inside) - 4} more" if len(inside) > 4 else ""
    count = "One stray sample" if len(inside) == 1 else f"{len(inside)} stray samples"
    return [
        Note(
            f"{count} in the burn: {places}{more}. "
            "Without, the peak is {peak} rather than {as_is}, and the impulse changes by {gone}. "
            "Nothing is left out until you say so.",
            {
                "peak": Amount(peak, "force", 1),
                "as_is": Amount(float(thrust.max()), "force", 1),
                "gone": Amount(-gone, "impulse", 2),
            },
        )
    ]


def real(burn: Reduced, found: list[Spike]) -> list[Spike]:
    """The stray samples, or none where the burn itself is made of them: it is then sampled too slowly to tell."""
    inside = sum(one.last - one.first + 1 for one in found if burn.low < one.first and one.last < burn.high)
    return [] if 3 * inside > burn.high - burn.low else found


def sure(raw: Floats, burn: Reduced, data: ReadIn, found: list[Spike]) -> Certainty:
    """How sure the figures of a burn are; `raw` is the record as it came, `found` are the stray samples in it.

    Stray samples that were not left out may be thrust or not, so the ranges reach from the one to the other.
    """
    here = raw[burn.low : burn.high + 1]
    weighed = uncertainty.calibration_error(
        [p.reading for p in data.points], [p.mass.si * STANDARD_GRAVITY for p in data.points]
    )
    off = uncertainty.doubts(
        burn.zero, uncertainty.quantum(here), STAND if weighed is None else weighed, burn.tone, burn.smoothed
    )
    full = load_cell.standing_still(here) is not None
    made = uncertainty.intervals(burn.time, burn.thrust, off, burn.begins, burn.ends or full)
    ranges = {name: _ranged(getattr(made, figure)) for name, figure in RANGED.items()}
    impulse, duration = made.total_impulse.own, made.burn_time.own
    if not data.leave_out and not burn.smoothed and any(burn.low <= one.first <= burn.high for one in found):
        without = burn.thrust - (here - spikes.without_spikes(raw, found)[burn.low : burn.high + 1])
        other = uncertainty.intervals(burn.time, without, off, burn.begins, burn.ends or full)
        ranges = {name: _both(ranges[name], _ranged(getattr(other, figure))) for name, figure in RANGED.items()}
        as_is, less = curve.figures(burn.time, burn.thrust), curve.figures(burn.time, without)
        impulse = math.hypot(impulse, (less.total_impulse / as_is.total_impulse - 1) / math.sqrt(12))
        duration = math.hypot(duration, (less.burn_time / as_is.burn_time - 1) / math.sqrt(12))
    return Certainty(
        ranges=ranges,
        classes=list(made.classes),
        impulse_error=impulse,
        time_error=duration,
        whole=not (burn.begins or burn.ends or full),
        said=_whence(made, weighed),
    )


def _both(one: Ranged, other: Ranged) -> Ranged:
    """From the lower end of two ranges to the higher; open where one is."""
    low = None if one.low is None or other.low is None else min(one.low, other.low)
    high = None if one.high is None or other.high is None else max(one.high, other.high)
    return Ranged(low=low, high=high)


def _ranged(one: Interval) -> Ranged:
    return Ranged(low=one.low, high=one.high)


def _whence(found: Intervals, weighed: float | None) -> str:
    """What the range of the impulse comes from, most first."""
    parts = found.total_impulse.parts
    whole = sum(parts.values())
    if not whole > 0:
        return ""
    most = sorted(parts, key=lambda name: -parts[name])[:3]
    shares = ", ".join(f"{name} {100 * parts[name] / whole:.0f} %" for name in most if parts[name] >= 0.01 * whole)
    taken = (
        f" The scale is taken to be right to {100 * STAND:.0f} %; three known masses or more would tell it."
        if weighed is None
        else ""
    )
    return f"Nine in ten lie in the ranges; that of the impulse comes from: {shares}.{taken}"
