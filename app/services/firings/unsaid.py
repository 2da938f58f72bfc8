"""What the file of a stand does not say is asked before it is read: each answer with what would come of it."""

from collections.abc import Callable, Iterable

from app.calc.base.notes import Amount, Note, joined
from app.calc.record.runs import Progress
from app.errors import Asked
from app.models.curve import ReadIn
from app.services.firings import raw_burns
from app.services.firings.alternatives import Alternative, alternatives
from app.services.firings.doubts import Motor


def ask(text: bytes, data: ReadIn, motor: Motor, progress: Progress | None = None) -> None:
    """Ask what the file does not say and the form leaves open, with what each answer gives: column and units.

    Raises
    ------
    Asked
        Something is open; beside its field, the others with it.
    Refused
        The text cannot be read so; beside the field.
    """
    if None not in (data.force_column, data.force_unit, data.time_unit):
        return
    known = raw_burns.guessed(text, data)
    _, guess, heads = known
    open_time = data.time_unit is None and raw_burns.time_unit_said(guess, heads, data) is None
    if None not in (data.force_column, data.force_unit) and not open_time:
        return
    found = alternatives(text, data, motor, progress, known)
    if not found:
        return
    best = found[0]
    same = [one for one in found if (one.column, one.turned) == (best.column, best.turned)]
    questions: list[Asked] = []
    if data.force_column is None:
        each = {one.column: one for one in reversed(found)}
        columns = sorted(each.values(), key=found.index)
        questions.append(_question("force_column", "Which column is the force?", columns, _column_words))
    if data.force_unit is None:
        each_unit = {one.unit: one for one in same if one.time_unit == best.time_unit}
        words = "The file does not say in which unit the force is."
        questions.append(_question("force_unit", words, each_unit.values(), lambda one: one.unit_words))
    if open_time:
        each_time = {one.time_unit: one for one in same if one.unit == best.unit}
        words = "The file does not say in which unit the times are."
        questions.append(_question("time_unit", words, each_time.values(), lambda one: one.time_words))
    first, *first.also = questions
    raise first


def _question(field: str, words: str, each: Iterable[Alternative], called: Callable[[Alternative], str]) -> Asked:
    """What is asked beside a field: each way in a sentence with its figures, and a button for each."""
    parts: list[Note | str] = []
    buttons: list[tuple[str, str]] = []
    for one in each:
        mark = " (likely)" if one.likely else ""
        name = called(one)
        buttons.append((one.texts[field], f"{name}{mark}"))
        name = f"{name[0].upper()}{name[1:]}{mark}"
        amounts = {"time": Amount(one.burn_time_s, "time")}
        if one.impulse_ns is None or one.isp_s is None or one.mean_n is None:
            parts.append(Note(f"{name}: a burn of {{time}}, its force by known masses.", amounts))
            continue
        amounts |= {
            "impulse": Amount(one.impulse_ns, "impulse"),
            "mean": Amount(one.mean_n, "force"),
            "isp": Amount(one.isp_s, "time", 0 if one.isp_s >= 10 else 1),
        }
        told = f"{name}: {{impulse}} in {{time}}, mean {{mean}}, specific impulse {{isp}}, class {one.impulse_class}."
        parts.append(Note(told, amounts))
    return Asked(joined(words, *parts, "Choose one."), field, buttons, keep=None, about="meaning")


def _column_words(one: Alternative) -> str:
    return f"column {one.column}" + (f" ({one.head})" if one.head else "") + (" turned" if one.turned else "")
