"""One burn, known in closed form, dressed as the files that stands write: what they hold and how it must come out.

Invented throughout: a trapezoid of thrust, so that impulse, burn time and peak are exact, in every dress that people's
loggers put on it. A dress is one choice on each of several axes; `ALONE` has each choice by itself, `crossed` any of
them together.
"""

import datetime
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from app.calc.record.columns import FORCE_UNITS

RISE, FALL, QUIET = 0.12, 0.3, 0.9


@dataclass(frozen=True)
class Burn:
    """A trapezoid of thrust after a quiet stretch and before another: its peak [N] and flat time [s]."""

    peak: float = 800.0
    flat: float = 1.4
    rate: float = 200.0

    @property
    def corners(self) -> list[float]:
        after = 1.25 * (self.flat + RISE + FALL) + QUIET
        return [float(t) for t in np.cumsum([0.0, QUIET, RISE, self.flat, FALL, after])]

    @property
    def impulse(self) -> float:
        """From first above 5 % of the peak to the end [N s]."""
        return self.peak * (self.flat + (RISE + FALL) / 2 - 0.05**2 * RISE / 2)

    @property
    def burn_time(self) -> float:
        """Above 5 % of the peak [s]."""
        return self.flat + 0.95 * (RISE + FALL)

    def samples(self, chance: random.Random) -> tuple[list[float], list[float]]:
        t = np.arange(int(self.corners[-1] * self.rate)) / self.rate
        force = np.interp(t, self.corners, [0, 0, self.peak, self.peak, 0, 0])
        noise = np.array([chance.gauss(0.0, 8e-4 * self.peak) for _ in t])
        return t.tolist(), (force + noise).tolist()


@dataclass(frozen=True)
class Dressed:
    """A file, the burn in it, and how a person who knows the stand would fill the form in; `cut` if it lacks an end."""

    raw: bytes
    burn: Burn
    known: dict[str, str]
    told: bool
    kinds: dict[str, str] = field(default_factory=dict)
    cut: bool = False


@dataclass(frozen=True)
class Style:
    """How the cells of a line are put beside each other; `delimiter` and `decimal` as the form calls them."""

    delimiter: str
    decimal: str
    join: Callable[[Sequence[str]], str]
    sign: str
    extra: int = 0


def _comma(cells: Sequence[str]) -> list[str]:
    return [c.replace(".", ",") for c in cells]


def _grouped(cell: str) -> str:
    whole, _, decimals = cell.partition(".")
    if ":" in cell or not whole.lstrip("-").isdecimal() or len(whole) > 6:
        return cell
    sign = "-" if whole.startswith("-") else ""
    return f"{sign}{abs(int(whole)):,}" + (f".{decimals}" if decimals else "")


STYLES: dict[str, Style] = {
    "commas": Style("comma", ".", ",".join, ","),
    "commas and blanks": Style("comma", ".", ", ".join, ", "),
    "semicolons": Style("semicolon", ".", ";".join, ";"),
    "tabs": Style("tab", ".", "\t".join, "\t"),
    "several blanks": Style("blank", ".", "   ".join, "   "),
    "colons": Style("colon", ".", ":".join, ":"),
    "decimal commas": Style("semicolon", ",", lambda cells: ";".join(_comma(cells)), ";"),
    "decimal commas, tabs": Style("tab", ",", lambda cells: "\t".join(_comma(cells)), "\t"),
    "quoted decimal commas": Style("comma", ",", lambda cells: ",".join(f'"{c}"' for c in _comma(cells)), ","),
    "thousands": Style("semicolon", ".", lambda cells: ";".join(map(_grouped, cells)), ";"),
    "quoted thousands": Style("comma", ".", lambda cells: ",".join(f'"{_grouped(c)}"' for c in cells), ","),
    "trailing cells": Style("comma", ".", lambda cells: ",".join(cells) + ",,", ","),
    "serial monitor": Style("comma", ".", lambda cells: "12:31:02.123 -> " + ", ".join(cells), ",", 1),
    "sentences": Style(
        "comma", ".", lambda cells: (s := "TS," + ",".join(cells)) and f"${s}*{sum(s.encode()) % 256:02X}", ",", 1
    ),
    "brackets": Style("comma", ".", lambda cells: f"[{cells[0]}] " + ", ".join(cells[1:]), ","),
    "objects": Style(
        "comma",
        ".",
        lambda cells: "{" + ", ".join(f'"{name}": {c}' for name, c in zip("abcd", cells, strict=False)) + "}",
        ",",
    ),
    "tuples": Style("comma", ".", lambda cells: f"({', '.join(cells)})", ","),
    "texts of a program": Style("comma", ".", lambda cells: rf"b'{','.join(cells)}\r\n'", ","),
    "colours": Style("tab", ".", lambda cells: "\x1b[0;32m" + "\t".join(cells) + "\x1b[0m", "\t"),
    "bars": Style("tab", ".", lambda cells: f"| {' | '.join(cells)} |", "|"),
    "apostrophes": Style("semicolon", ".", lambda cells: ";".join(_grouped(c).replace(",", "'") for c in cells), ";"),
    "thousands in commas": Style("comma", ".", lambda cells: ",".join(map(_grouped, cells)), ","),
    "only commas": Style("semicolon", ",", lambda cells: ",".join(_comma(cells)), ","),
    "named": Style("comma", ".", lambda cells: ",".join(f"{'abcd'[i]}={c}" for i, c in enumerate(cells)), ","),
}


def _clock(second: float) -> str:
    return str(datetime.timedelta(seconds=round(second % 86_400, 3)))[:11].rjust(8, "0")


def of_day(second: float) -> str:
    whole = int(second % 86_400)
    return f"{whole // 3600:02d}:{whole // 60 % 60:02d}:{whole % 60:02d}"


CLOCKS: dict[str, tuple[Callable[[float], str] | None, str, str]] = {
    "seconds": (lambda t: f"{t:.4f}", "s", "{} (s)"),
    "milliseconds": (lambda t: f"{1e3 * t + 731:.0f}", "ms", "{} (ms)"),
    "microseconds": (lambda t: f"{1e6 * t + 91_231:.0f}", "us", "{} (us)"),
    "seconds without unit": (lambda t: f"{t:.4f}", "s", "{}"),
    "milliseconds without unit": (lambda t: f"{1e3 * t + 12:.0f}", "ms", "{}"),
    "epoch": (lambda t: f"{1_718_367_062 + t:.4f}", "s", "{}"),
    "ms full": (lambda t: f"{(1e3 * t + 2**32 - 1203) % 2**32:.0f}", "ms", "{} ms"),
    "us full": (lambda t: f"{(1e6 * t + 2**32 - 1.7e6) % 2**32:.0f}", "us", "{} us"),
    "time of day": (lambda t: f"{of_day(45_062 + t)}.{int(round(1e3 * t) % 1000):03d}", "s", "{}"),
    "midnight": (lambda t: f"{of_day(86_398 + t)}.{int(round(1e3 * t) % 1000):03d}", "s", "{}"),
    "afternoon": (lambda t: f"6/14/2026 {of_day(18_062 + t)}.{int(round(1e3 * t) % 1000):03d} PM", "s", "{}"),
    "with its zone": (lambda t: f"2026-06-14T{of_day(45_062 + t)}.{int(round(1e3 * t) % 1000):03d}+02:00", "s", "{}"),
    "minutes and seconds": (lambda t: f"59:{58 + t:04.1f}" if t < 1.95 else f"00:{t - 2:04.1f}", "s", "{}"),
    "zeros left out": (lambda t: f"{int(t)}.{int(round(1e3 * t) % 1000)}", "s", "{} (s)"),
    "clock, zeros left out": (lambda t: f"{of_day(45_062 + t)}:{int(round(1e3 * t) % 1000)}", "s", "{}"),
    "whole seconds": (lambda t: f"{int(t + 0.4) + 40_000}", "s", "{} (s)"),
    "none": (None, "", ""),
}

DECIMAL = ("seconds", "seconds without unit", "epoch")
COARSE = {"whole seconds": 11.0, "minutes and seconds": 10.0}
"""Clocks that go by steps as long as a short burn, and how many samples a second their loggers take."""

HEADS: dict[str, tuple[str, str] | None] = {
    "English": ("Time", "Force"),
    "misspelt": ("Time", "Trust"),
    "Portuguese": ("Tempo", "Empuxo"),
    "Spanish": ("Tiempo", "Empuje"),
    "German": ("Zeit", "Kraft"),
    "French": ("Temps", "Poussée"),
    "Italian": ("Tempo", "Spinta"),
    "titled": ("Time", "Thrust"),
    "commented": ("# Time", "Load"),
    "no head": None,
}

UNITS: dict[str, str] = {"N": "N", "kgf": "kg", "gf": "g", "lbf": "lb", "kN": "kN"}

Lines = list[str]
Junk = Callable[[Lines, random.Random, Style, int], Lines]


def _between(words: Sequence[str], every: int) -> Junk:
    def put(lines: Lines, chance: random.Random, style: Style, columns: int) -> Lines:
        out: Lines = []
        for i, line in enumerate(lines):
            out.append(line)
            if i % every == every - 1:
                out.append(chance.choice(words))
        return out

    return put


def _instead(make: Callable[[str, Style], str], count: int) -> Junk:
    def put(lines: Lines, chance: random.Random, style: Style, columns: int) -> Lines:
        out = list(lines)
        for i in chance.sample(range(20, len(lines) - 5), count):
            out[i] = make(out[i], style)
        return out

    return put


def _last_cell(text: str) -> Callable[[str, Style], str]:
    def change(line: str, style: Style) -> str:
        head, sign, _ = line.rstrip(",").rpartition(style.sign.strip() or style.sign)
        return head + sign + text

    return change


def _restart(lines: Lines, chance: random.Random, style: Style, columns: int) -> Lines:
    return [*lines[:90], "ets Jan  8 2013,rst cause:2, boot mode:(3,6)", "load 0x4010f000, len 3584", *lines]


def _below(lines: Lines, chance: random.Random, style: Style, columns: int) -> Lines:
    cells = (["Peak", "Impulse", "Mean", "Span"] * 2)[:columns]
    return [*lines, "", style.sign.join(cells), style.join(["523.1", "1841.7", "12.0", "3.5", "7"][:columns])]


def _beside(lines: Lines, chance: random.Random, style: Style, columns: int) -> Lines:
    out = list(lines)
    for i, words in enumerate(["Peak", "Impulse", "Mean"]):
        out[i] += style.sign + style.sign.join(["", words, str(700 + 31 * i)])
    return out


def _cut(lines: Lines, chance: random.Random, style: Style, columns: int) -> Lines:
    """Lines whose last number lost its end, between whole ones."""
    out = list(lines)
    for i in range(30, len(lines) - 5, 41):
        head, sign, last = out[i].rpartition(style.sign.strip() or style.sign)
        out[i] = head + sign + last[: 2 if last.strip().startswith("-") else 1]
    return out


def _total(lines: Lines, chance: random.Random, style: Style, columns: int) -> Lines:
    return [*lines, style.join(["99931.2", "185123.4", "77712.5"][:columns])]


JUNK: dict[str, Junk] = {
    "clean": lambda lines, *_: lines,
    "boot messages": lambda lines, *_: ["Booting...", "SD card ok, 14 files", "HX 24 bit, gain 128", "Ready", *lines],
    "a restart": _restart,
    "status lines": _between(["sample sent, success", "button is pressed...", "OK"], 7),
    "a status line for each": _between(["Delivery success"], 1),
    "empty lines": _between([""], 1),
    "half lines": _instead(lambda line, _s: line[: len(line) // 3], 6),
    "#ERR": _instead(_last_cell("#ERR"), 5),
    "nan": _instead(_last_cell("nan"), 5),
    "inf": _instead(_last_cell("inf"), 3),
    "half rows": lambda lines, chance, style, columns: _between([style.sign * columns + "561.2"], 9)(
        lines, chance, style, columns
    ),
    "a table below": _below,
    "a table beside": _beside,
    "a total": lambda lines, chance, style, columns: [*lines, style.sign * (columns - 1) + "185123.4"],
    "cut numbers": _cut,
    "totals": _total,
    "a short table above": lambda lines, chance, style, columns: [
        *(style.join([mass, f"{12 + 9.8 * float(mass):.1f}", "7"][:columns]) for mass in ("0", "5", "10")),
        "",
        *lines,
    ],
    "words at the end": lambda lines, *_: [*lines, "Test complete. Peak was reached.", "Stopped", ""],
}

ENDS: dict[str, Callable[[str], bytes]] = {
    "line feed": lambda text: text.encode(),
    "CR LF": lambda text: text.replace("\n", "\r\n").encode(),
    "no last line end": lambda text: text.rstrip("\n").encode(),
    "byte-order mark": lambda text: b"\xef\xbb\xbf" + text.encode(),
    "CR CR LF": lambda text: text.replace("\n", "\r\r\n").encode(),
    "UTF-16": lambda text: text.encode("utf-16"),
    "CR": lambda text: text.replace("\n", "\r").encode(),
    "zero bytes": lambda text: b"\0\0" + text.encode() + b"\0" * 700,
    "Latin-1": lambda text: text.encode("latin-1", "replace"),
}

Force = npt.NDArray[np.float64]
Stand = Callable[[Force, Force, Burn, random.Random], tuple[Force, dict[str, str]]]
"""What a stand or a person does to the record: from times and forces to forces, and the answers that it takes."""


def _strayed(value: float, share: float, count: int) -> Stand:
    """Samples now and then at a value, or raised by a share of the peak."""

    def put(t: Force, f: Force, burn: Burn, chance: random.Random) -> tuple[Force, dict[str, str]]:
        out, at = f.copy(), chance.sample(range(8, len(f) - 8, 8), count)
        out[at] = value if value else f[at] + share * burn.peak
        return out, {"leave_out": "on"}

    return put


def _added(what: Callable[[Force, Burn], Force], **known: str) -> Stand:
    return lambda t, f, burn, chance: (f + what(t, burn), known)


STANDS: dict[str, Stand] = {
    "as it is": lambda t, f, burn, chance: (f, {}),
    "upside down": lambda t, f, burn, chance: (-f, {"turned": "on"}),
    "a stray sample": _strayed(0.0, 1.17, 1),
    "stray at 980,000": _strayed(980_000.0, 0.0, 12),
    "stray by 1,950": _strayed(0.0, 1.3, 9),
    "rectified": lambda t, f, burn, chance: (np.abs(f), {}),
    "a drifting zero": _added(lambda t, burn: np.asarray(0.004 * burn.peak * t - 0.05 * burn.peak), zero_way="line"),
    "a jump at ignition": _added(
        lambda t, burn: np.asarray(0.05 * burn.peak * (t > QUIET + RISE / 20)), zero_way="lit"
    ),
    "a tare before": _added(lambda t, burn: np.asarray(0.1 * burn.peak * (t < 0.4 * QUIET))),
    "a large zero": _added(lambda t, burn: np.asarray(5.3 * burn.peak + 0 * t)),
}

_WRAPPED = ("texts of a program", "colours", "bars")

AXES: dict[str, Sequence[str]] = {
    "stand": list(STANDS),
    "style": list(STYLES),
    "clock": list(CLOCKS),
    "head": list(HEADS),
    "unit": list(UNITS),
    "junk": list(JUNK),
    "end": list(ENDS),
    "order": ["time first", "force first", "counted"],
}
HEADLESS = ("serial monitor", "sentences", "named", "several blanks", "brackets", "objects", "tuples", *_WRAPPED)
"""Styles in which no head stands over the columns."""

USUAL = {name: kinds[0] for name, kinds in AXES.items()}


CLOCKED = ("time of day", "midnight", "afternoon", "with its zone", "minutes and seconds", "clock, zeros left out")
QUOTED = ("trailing cells", "quoted thousands", "quoted decimal commas", "only commas", "thousands in commas")
INSTEAD = ("half rows", "#ERR", "nan", "inf", "half lines", "a total", "cut numbers")
APART = ("a table below", "a table beside", "totals", "a short table above")


def possible(kinds: dict[str, str]) -> bool:
    """Whether such a file can be, and can be told from another one."""
    style, clock, junk, order = (kinds[name] for name in ("style", "clock", "junk", "order"))
    wrapped = style in HEADLESS and style != "several blanks"
    return not (
        (style == "colons" and clock in CLOCKED)
        or (style in ("several blanks", "sentences") and clock in ("afternoon", "with its zone"))
        or (style == "several blanks" and junk in ("half rows", "a table beside", "a total"))
        or (clock == "none" and (style in ("colons", "several blanks", "serial monitor", "brackets", "only commas")))
        or (clock == "none" and (junk in (*INSTEAD, *APART) and junk not in ("#ERR", "nan", "inf")))
        or (clock == "none" and order != "time first")
        or (wrapped and junk in (*INSTEAD, *APART))
        or (style in QUOTED and junk in (*INSTEAD, *APART))
        or (style in ("only commas", "thousands in commas") and (clock not in DECIMAL or order == "counted"))
        or (order == "force first" and (junk in INSTEAD or style == "thousands in commas"))
        or (junk == "cut numbers" and clock in COARSE)
        or (junk == "a restart" and clock == "minutes and seconds")  # such a clock does not begin again
    )


def dress(kinds: dict[str, str], seed: int = 0, *, says_units: bool = True) -> Dressed:
    """Dress the burn so, with the units in its heads or without."""
    chance = random.Random(repr(sorted(kinds.items())) + str(seed))
    style, (stamp, unit, called) = STYLES[kinds["style"]], CLOCKS[kinds["clock"]]
    coarse = COARSE.get(kinds["clock"])
    burn = Burn(chance.choice([1500.0, 2400.0]), 9.0 if coarse else 1.4, coarse or 200.0)
    times, pure = burn.samples(chance)
    forces, answers = STANDS[kinds["stand"]](np.array(times), np.array(pure), burn, chance)
    scale = FORCE_UNITS[kinds["unit"]]
    shown = [f"{force / scale:.{4 if kinds['unit'] == 'kN' else 2}f}" for force in forces]
    rows: list[list[str]] = [[value] for value in shown]
    time_column, force_column = "", 1
    if stamp is not None:
        rows = [[stamp(t), value] for t, value in zip(times, shown, strict=True)]
        time_column, force_column = "1", 2
        if kinds["order"] == "force first":
            rows = [row[::-1] for row in rows]
            time_column, force_column = "2", 1
    if kinds["order"] == "counted" and stamp is not None:
        rows = [[str(i + 1), *row] for i, row in enumerate(rows)]
        time_column, force_column = "2", 3
    lines = JUNK[kinds["junk"]]([style.join(row) for row in rows], chance, style, len(rows[0]))
    head = HEADS[kinds["head"]]
    if head is not None:
        names = [f"{head[1]} ({UNITS[kinds['unit']]})" if says_units else head[1]]
        if stamp is not None:
            names = [(called if says_units else "{}").format(head[0]), *names]
            names = names[::-1] if kinds["order"] == "force first" else names
        if kinds["order"] == "counted" and stamp is not None:
            names = ["n", *names]
        lines = [style.sign.join(names), *lines]
        if kinds["head"] == "titled":
            lines = ["Static firing of 14 June", "", *lines]
        if kinds["head"] == "commented":
            lines = ["# logger version 3", "# gain 128", *lines]
    known = {"force_column": str(force_column + style.extra), "force_unit": kinds["unit"]}
    known["time_column"] = str(int(time_column) + style.extra) if time_column else ""
    if stamp is None:
        known["sample_rate"] = f"{burn.rate:g}"
    elif kinds["clock"] not in CLOCKED:
        known["time_unit"] = unit
    known |= {"zero_way": "lit"} if coarse and kinds["stand"] == "a tare before" else answers  # too few samples between
    told = head is not None and stamp is not None
    return Dressed(ENDS[kinds["end"]]("\n".join(lines) + "\n"), burn, known, told, kinds)


ALONE: dict[str, dict[str, str]] = {
    f"{axis}: {kind}": {**USUAL, **({"head": "no head"} if kind in HEADLESS else {}), axis: kind}
    for axis, kinds in AXES.items()
    for kind in kinds
}
"""Each kind by itself, in an otherwise usual file."""


def crossed(seed: int) -> Dressed:
    """Dress the burn in kinds drawn at random from all axes."""
    chance = random.Random(seed)
    while True:
        kinds = {axis: chance.choice(names) for axis, names in AXES.items()}
        if chance.random() < 0.5:  # most files have one oddity, many two
            for axis in chance.sample(sorted(AXES), 4):
                kinds[axis] = USUAL[axis]
        if kinds["style"] in HEADLESS:
            kinds["head"] = "no head"
        if possible(kinds):
            return dress(kinds, seed)
