"""What a file of a stand leaves open, as questions with cards: each way with its curve and what would come of it.

Every question is answered by one choice, which puts texts into the form of reading. In: what was read, and the ways
that other modules found. Out: plain figures in SI. Nothing is taken, the likely way is marked.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

from app.calc.base.notes import Amount, Note
from app.calc.record import one_line
from app.calc.record.columns import PRESSURE_UNITS, TIME_UNITS
from app.calc.record.logger_text import Layout
from app.calc.record.runs import Progress, read_table
from app.errors import Refused
from app.models.curve import ReadIn
from app.services.firings import raw_burns, reading, samples
from app.services.firings.alternatives import TIME_NAMES, Alternative, alternatives
from app.services.firings.certainty import Choice, Open
from app.services.firings.doubts import Motor
from app.services.firings.reading import Result, Samples

MANY = 6_000_000
"""Of a longer text the ways that it may be meant are only looked for where it leaves something open [bytes]."""

OPEN = {
    "force_column": "Which column is the force is not sure.",
    "force_unit": "The file does not say in which unit the force is.",
    "time_unit": "The file does not say in which unit the times are.",
    "pressure_unit": "The file does not say in which unit the pressure is.",
}
"""What a file may leave open, by the field that answers it."""

CHAMBERS = (0.5e6, 15e6)
"""Peak pressures that motors of this family have [Pa]: a choice, to mark the likely unit by."""


@dataclass(frozen=True)
class Way:
    """One answer: the texts that choosing it puts into the form, what it is called, its curve and figures, SI."""

    texts: dict[str, str]
    called: str
    impulse_ns: float | None = None
    burn_time_s: float | None = None
    mean_n: float | None = None
    isp_s: float | None = None
    impulse_class: str = ""
    time_s: Sequence[float] = ()
    values: Sequence[float] = ()
    likely: bool = False
    why: Note | str = ""


@dataclass(frozen=True)
class Question:
    """What is asked, in words, and the ways to answer it; `told` says more.

    One that is `open` stands first; one that `blocks` must be answered before anything is kept.
    """

    key: str
    words: str
    ways: list[Way]
    told: Note | str = ""
    open: bool = True
    blocks: bool = True


@dataclass(frozen=True)
class Looked:
    """What a file gives as its form stands, if that can be said, what it leaves open, and why it cannot be read so."""

    result: Result | None
    questions: list[Question] = field(default_factory=list)
    fault: Refused | None = None
    samples: Samples | None = None


def look(text: bytes, data: ReadIn, motor: Motor, progress: Progress | None = None) -> Looked:
    """What a text gives as a form says, and every question that it leaves open.

    Raises
    ------
    Refused
        Nothing can be said of it; beside the field.
    """
    if rates := of_rates(text, data, motor, progress):
        return Looked(None, rates)
    is_open = any(name != "pressure_unit" for name in open_fields(text, data))
    ways = _ways(text, data, motor, progress) if is_open or len(text) <= MANY else []
    if is_open and not ways:
        data = _tried(data)  # no burn in it, whatever its units are: what is wrong with it is told
    pressed = of_pressure(text, data)
    if (is_open and ways) or pressed:
        return Looked(None, [*([_meaning(ways)] if is_open and ways else []), *pressed])
    try:
        found, burn = reading.read_curve_and_samples(text, data, motor, progress)
    except Refused as fault:
        ways = ways or _ways(text, data, motor, progress)
        other = len(ways) > 1 or any(one.turned != data.turned for one in ways)
        return Looked(None, [_meaning(ways, blocks=False)] if other else [], fault)
    meant = [_meaning(ways, is_open=False, blocks=False)] if len(ways) > 1 else []
    return Looked(found, [*meant, *of_result(found)], None, burn)


def _tried(data: ReadIn) -> ReadIn:
    """The form with a unit for each that is open, to learn why a column cannot be read."""
    return data.model_copy(update={"force_unit": data.force_unit or "N", "time_unit": data.time_unit or "s"})


def open_fields(text: bytes, data: ReadIn) -> list[str]:
    """The fields that the file does not say and the form leaves empty.

    Raises
    ------
    Refused
        The text cannot be read so; beside the field.
    """
    found = [name for name in ("force_column", "force_unit") if getattr(data, name) is None]
    if data.time_column is not None and data.time_unit is None:
        _, guess, heads = raw_burns.guessed(text, data)
        found += ["time_unit"] if raw_burns.time_unit_said(guess, heads, data) is None else []
    if data.pressure_column is not None and data.pressure_unit is None:
        found.append("pressure_unit")
    return found


def answer_first(text: bytes, data: ReadIn, looked: Looked) -> None:
    """Pass what can be kept.

    Raises
    ------
    Refused
        It cannot be read so, or a question stands open; beside the field that answers it.
    """
    if looked.fault is not None:
        raise looked.fault
    fields = [] if looked.result is not None else open_fields(text, data) or ["sample_rate"]
    if fields:
        first, *also = (
            Refused(f"{OPEN.get(name, 'The file has no times.')} Choose one of the ways shown.", field=name)
            for name in fields
        )
        first.also = also
        raise first
    for one in looked.result.asked if looked.result is not None else ():
        raise Refused(one.question, field=one.field)


def _ways(text: bytes, data: ReadIn, motor: Motor, progress: Progress | None) -> list[Alternative]:
    try:
        return alternatives(text, data, motor, progress)
    except Refused:
        return []


def _meaning(found: Sequence[Alternative], *, is_open: bool = True, blocks: bool = True) -> Question:
    """Which column is the force and in which units."""
    columns, times = len({one.column for one in found}), len({one.time_unit for one in found})
    signs = len({one.turned for one in found}) + any(one.turned for one in found)
    ways = []
    for one in found:
        parts = [one.unit_words]
        parts += [f"column {one.column}" + (f" ({one.head})" if one.head else "")] if columns > 1 else []
        parts += [f"times in {one.time_words}"] if times > 1 else []
        parts += ["turned" if one.turned else "as it stands"] if signs > 1 else []
        ways.append(
            Way(
                texts=one.texts,
                called=_first_up(", ".join(parts)),
                impulse_ns=one.impulse_ns,
                burn_time_s=one.burn_time_s,
                mean_n=one.mean_n,
                isp_s=one.isp_s,
                impulse_class=one.impulse_class,
                time_s=one.time_s,
                values=one.thrust_n,
                likely=one.likely,
                why=one.why,
            )
        )
    return Question("meaning", "What are the numbers?", ways, open=is_open, blocks=blocks)


def of_rates(text: bytes, data: ReadIn, motor: Motor, progress: Progress | None = None) -> list[Question]:
    """How many samples there are in a second, where the file has no times: each usual rate with what it would give.

    Raises
    ------
    Refused
        The text cannot be read; beside the field.
    """
    if data.time_column is not None or data.sample_rate is not None or data.lasted is not None:
        return []
    each = alternatives(text, data.model_copy(update={"sample_rate": 1.0}), motor, progress)
    if not each:
        return []
    one = next((one for one in each if one.said), each[0])
    known = one.said and one.impulse_ns is not None
    ways = []
    usual = [(float(rate), {"sample_rate": str(rate)}, f"{rate} samples a second") for rate in samples.USUAL_RATES]
    for rate, texts, called in [*_between_moments(text, data, one.column), *usual]:
        impulse = one.impulse_ns / rate if known and one.impulse_ns is not None else None
        ways.append(
            Way(
                texts=texts,
                called=called,
                impulse_ns=impulse,
                burn_time_s=one.burn_time_s / rate,
                mean_n=one.mean_n if known else None,
                isp_s=None if impulse is None else motor.isp(impulse),
            )
        )
    told = "This file has no times. Choose how fast the logger took its samples, or type the rate or the length below."
    return [Question("rate", "How fast were the samples taken?", ways, told)]


def _between_moments(text: bytes, data: ReadIn, column: int) -> list[tuple[float, dict[str, str], str]]:
    """Rate, texts and name for each unit that a record's begin and end may be in, where its file tells only these."""
    took = one_line.recorded_for(text)
    if took is None:
        return []
    layout = Layout(data.delimiter, data.decimal, data.first_line, 0)
    steps = read_table(text, layout, [column]).columns.shape[1] - 1
    ways = []
    for unit in [took.unit] if took.unit else TIME_NAMES:
        length = took.length * TIME_UNITS[unit]
        ways.append((steps / length, {"lasted": f"{length:g} s"}, f"{took.length:g} {TIME_NAMES[unit]} long"))
    return ways


def of_pressure(text: bytes, data: ReadIn) -> list[Question]:
    """In which unit the pressure is, where the file does not say: each with the peak that it would give."""
    if data.pressure_column is None or data.pressure_unit is not None:
        return []
    rise = raw_burns.rise(text, data, data.pressure_column)
    if rise is None:
        return []
    likely = [unit for unit, size in PRESSURE_UNITS.items() if CHAMBERS[0] <= rise * size <= CHAMBERS[1]]
    order = sorted(PRESSURE_UNITS, key=lambda unit: unit not in likely)
    ways = [
        Way(
            texts={"pressure_unit": unit},
            called=unit,
            likely=likely == [unit],
            why=Note("A peak of {peak} over the air.", {"peak": Amount(rise * PRESSURE_UNITS[unit], "pressure")}),
        )
        for unit in order
    ]
    return [Question("pressure", "In which unit is the pressure?", ways)]


def of_result(found: Result) -> list[Question]:
    """What the record itself leaves open: which record, which burn, how the zero went."""
    asked = [_records(found)] if len(found.records) > 1 else []
    return [*asked, *(_of_open(one, found) for one in found.asked)]


def _records(found: Result) -> Question:
    ways = [Way(texts={"record": str(i)}, called=words) for i, words in enumerate(found.records, start=1)]
    return Question("record", "Which record of this file?", ways, open=False, blocks=False)


def _of_open(one: Open, found: Result) -> Question:
    words = "Which burn is this motor's?" if one.field == "pulse" else "How did the zero go?"
    ways = [
        Way(
            texts={one.field: choice.name},
            called=_first_up(choice.words),
            impulse_ns=choice.total_impulse_ns,
            burn_time_s=choice.burn_time_s,
            time_s=found.record_time_s,
            values=_drawn(choice, one.choices, found),
        )
        for choice in one.choices
    ]
    return Question(one.field, words, ways, one.question)


def _drawn(choice: Choice, choices: Sequence[Choice], found: Result) -> list[float]:
    """The record as a choice would have it: the one burn alone, or all of it over another zero."""
    if choice.zero_n:
        first = choices[0].zero_n
        force = zip(found.record_time_s, found.record_force_n, first, choice.zero_n, strict=True)
        return [f + a - b if found.cut_from_s <= t <= found.cut_to_s else float("nan") for t, f, a, b in force]
    low, high = choice.from_s, choice.to_s
    if low is None or high is None:
        return list(found.record_force_n)
    pairs = zip(found.record_time_s, found.record_force_n, strict=True)
    return [f if low <= t <= high else 0.0 for t, f in pairs]


def _first_up(words: str) -> str:
    return words[:1].upper() + words[1:]
