"""What is said of a record beside its figures: what to look at first, and what was done to it."""

import numpy as np

from app.calc.base.constants import Floats
from app.calc.base.notes import Amount, Note
from app.calc.record import curve, load_cell
from app.calc.record.reduction import Reduced
from app.models.curve import ReadIn
from app.services.firings.certainty import WAYS, Chosen
from app.services.firings.samples import Read


def cautions(read: Read, force: Floats, burn: Reduced) -> list[Note | str]:
    """A word on a cell that stood at its end, on missing samples, each with its line; on a record that is too short."""
    low, high, time = burn.low, burn.high, read.time
    said: list[Note | str] = [*read.doubts]
    flat = load_cell.standing_still(force[low : high + 1])
    if flat is not None:
        lines = [read.lines.of(low + i) for i in flat]
        said.append(
            f"The cell stood at its end: from line {lines[0]} to line {lines[1]} ({flat[1] - flat[0] + 1} samples) the "
            "reading is the highest there is and does not move. Peak and impulse are at least what is shown."
        )
    holes = curve.gaps(time[low : high + 1])
    if holes:
        i = holes[0] + low
        more = f" and {len(holes) - 1} more" if len(holes) > 1 else ""
        said.append(
            f"Samples are missing before line {read.lines.of(i)} ({time[i] - time[i - 1]:.3g} s)"
            f"{more}; what the motor did there is not known, and the figures take a straight line."
        )
    faulty = _without_number(read, low, high)
    if faulty:
        named = ", ".join(str(line) for line in faulty[:4]) + (
            f" and {len(faulty) - 4} more" if len(faulty) > 4 else ""
        )
        said.append(f"Inside the burn no sample stands in line {named}; a straight line was drawn over it.")
    if burn.begins:
        said.append(
            "The record begins when the motor burns already; impulse and times are at least what is shown. What came "
            "before cannot be known: the start, a higher peak, and the zero before the burn, so neither its drift."
        )
    if burn.ends:
        said.append(
            "The record ends while the motor still burns; impulse and times are at least what is shown. What came "
            "after cannot be known: the end, a higher peak, and the zero after the burn, so neither its drift."
        )
    return said


def _without_number(read: Read, low: int, high: int) -> list[int]:
    """Lines passed over inside a burn where a sample is missing by the clock; a long hole is told by itself."""
    first, last = read.lines.of(low), read.lines.of(high)
    within = [one for one in read.skipped if first < one.first_line < last]
    if not within:
        return []
    usual = float(np.median(np.diff(read.time[low : high + 1])))
    found: list[int] = []
    rows = np.searchsorted(read.lines.of_all(low, high), [one.first_line for one in within]) + low
    for one, row in zip(within, rows, strict=True):
        if 1.5 * usual < read.time[row] - read.time[row - 1] <= curve.GAP * usual:
            found += range(one.first_line, one.last_line + 1)
    return found


def beside(data: ReadIn, time: Floats, chosen: Chosen, strays: int) -> list[str]:
    """What stands in the record and is none of the burn: weights that rest on the cell, stray samples left out."""
    said = []
    for one in chosen.pulses:
        if one.still and one not in chosen.motors:
            said.append(
                f"From {time[one.first]:.2f} to {time[one.last]:.2f} s the reading stands still on one level: taken "
                "for a weight on the cell, no burn."
            )
    if strays and data.leave_out:
        said.append(f"{strays} stray samples were left out, with a straight line through each.")
    return said


def ringing(burn: Reduced) -> list[str]:
    """A word when the stand rings and the curve shows it."""
    if burn.tone is None or burn.smoothed:
        return []
    return [
        f"The stand rings at {burn.tone.frequency:.0f} Hz, ±{100 * burn.tone.amplitude / burn.thrust.max():.0f} % of "
        "the peak. Impulse does not suffer, the peak does: smooth it out, or take the peak with care."
    ]


def remarks(data: ReadIn, burn: Reduced, scale: load_cell.Calibration, air: float | None) -> list[Note | str]:
    """What was done to the record before it was measured: zero, drift, weight, calibration, air [Pa], ringing."""
    zero = burn.zero
    said: list[Note | str] = []
    marks = {"before": Amount(zero.before or 0.0, "force", 1), "after": Amount(zero.after or 0.0, "force", 1)}
    if zero.drifted and zero.before is not None and zero.after is not None:
        went = "the line through both was taken off" if zero.way == "line" else f"it {WAYS[zero.way]}, as chosen"
        said.append(Note(f"Zero: {{before}} before the burn, {{after}} after it; {went}.", marks))
    elif zero.before is not None:
        said.append(
            Note(
                "Zero: {before} before the burn was taken off"
                + ("." if data.keep_drift else "; there is no quiet stretch after it to see drift by."),
                marks,
            )
        )
    else:
        said.append(Note("The record begins with thrust; the zero is what was read after the burn, {after}.", marks))
    if zero.wanders > 0:
        marks = {"creep": Amount(zero.wanders, "force", 2)}
        said.append(Note("The zero creeps by {creep} within a quiet stretch; the ranges are wider for it.", marks))
    if data.stand != "level":
        said.append("The propellant's weight was taken to leave in proportion to impulse.")
    if len(data.points) > 2:
        words = f"Calibration by {len(data.points)} masses; the farthest lies {{residual}} off the line."
        said.append(Note(words, {"residual": Amount(scale.residual, "force", 3)}))
    elif data.points:
        said.append("Calibration by two masses: whether the cell is straight between them is not known.")
    if burn.pressure is not None:
        words = "Pressure is absolute: the gauge's over its zero, plus the field's air ({air})."
        unknown = "The field's air pressure is not known; the standard atmosphere was added to the gauge's."
        said.append(unknown if air is None else Note(words, {"air": Amount(air, "air_pressure")}))
    if burn.tone is not None and burn.smoothed:
        wave = 1e3 / burn.tone.frequency
        said.append(f"A running mean over one wave ({wave:.3g} ms) took the ringing out; impulse stays.")
    elif data.smooth:
        said.append("No ringing was found; nothing was smoothed.")
    return said
