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

from app.calc.record.columns import FORCE_UNITS
from tests.calc.record.workbooks import ods, xlsx

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
    """A file, the burn in it, and how a person who knows the stand would fill the form in."""

    raw: bytes
    burn: Burn
    known: dict[str, str]
    told: bool
    kinds: dict[str, str] = field(default_factory=dict)


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
    return f"{int(whole):,}".replace("-0", "-0") + (f".{decimals}" if decimals else "")


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
    "named": Style("comma", ".", lambda cells: ",".join(f"{'abcd'[i]}={c}" for i, c in enumerate(cells)), ","),
}


def _clock(second: float) -> str:
    return str(datetime.timedelta(seconds=round(second % 86_400, 3)))[:11].rjust(8, "0")


def _of_day(second: float) -> str:
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
    "time of day": (lambda t: f"{_of_day(45_062 + t)}.{int(round(1e3 * t) % 1000):03d}", "s", "{}"),
    "midnight": (lambda t: f"{_of_day(86_398 + t)}.{int(round(1e3 * t) % 1000):03d}", "s", "{}"),
    "whole seconds": (lambda t: f"{int(t + 0.4) + 40_000}", "s", "{} (s)"),
    "none": (None, "", ""),
}

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
    "words at the end": lambda lines, *_: [*lines, "Test complete. Peak was reached.", "Stopped", ""],
}

ENDS: dict[str, Callable[[str], bytes]] = {
    "line feed": lambda text: text.encode(),
    "CR LF": lambda text: text.replace("\n", "\r\n").encode(),
    "no last line end": lambda text: text.rstrip("\n").encode(),
    "byte-order mark": lambda text: b"\xef\xbb\xbf" + text.encode(),
    "UTF-16": lambda text: text.encode("utf-16"),
    "Latin-1": lambda text: text.encode("latin-1", "replace"),
}

AXES: dict[str, Sequence[str]] = {
    "style": list(STYLES),
    "clock": list(CLOCKS),
    "head": list(HEADS),
    "unit": list(UNITS),
    "junk": list(JUNK),
    "end": list(ENDS),
    "order": ["time first", "force first", "counted"],
}
HEADLESS = ("serial monitor", "sentences", "named", "several blanks")
"""Styles in which no head stands over the columns."""

USUAL = {name: kinds[0] for name, kinds in AXES.items()}


def possible(kinds: dict[str, str]) -> bool:
    """Whether such a file can be, and can be told from another one."""
    style, clock, junk = (kinds[name] for name in ("style", "clock", "junk"))
    colons = style == "colons" and clock in ("time of day", "midnight")
    dotted = STYLES[style].decimal == "," and clock in ("time of day", "midnight")
    blanks = style == "several blanks" and junk in ("half rows", "a table beside", "a total")
    alone = clock == "none" and (
        style in ("colons", "several blanks", "serial monitor")
        or junk in ("half lines", "half rows", "a table below", "a table beside", "a total")
        or kinds["order"] != "time first"
    )
    wrapped = style in ("serial monitor", "sentences", "named") and junk in (
        "half rows",
        "a table below",
        "a table beside",
        "a total",
        "#ERR",
        "nan",
        "inf",
        "half lines",
    )
    trailing = style in ("trailing cells", "quoted thousands", "quoted decimal commas") and junk in (
        "a table beside",
        "half rows",
        "#ERR",
        "nan",
        "inf",
        "a total",
        "half lines",
    )
    last = kinds["order"] == "force first" and junk in ("half rows", "#ERR", "nan", "inf", "half lines", "a total")
    return not (colons or dotted or blanks or alone or wrapped or trailing or last)


def dress(kinds: dict[str, str], seed: int = 0) -> Dressed:
    """Dress the burn so."""
    chance = random.Random(repr(sorted(kinds.items())) + str(seed))
    style, (stamp, unit, called) = STYLES[kinds["style"]], CLOCKS[kinds["clock"]]
    coarse = kinds["clock"] == "whole seconds"
    burn = Burn(chance.choice([1500.0, 2400.0]), 9.0 if coarse else 1.4, 11.0 if coarse else 200.0)
    times, forces = burn.samples(chance)
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
        names = [f"{head[1]} ({UNITS[kinds['unit']]})"]
        if stamp is not None:
            names = [called.format(head[0]), *names]
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
    elif kinds["clock"] not in ("time of day", "midnight"):
        known["time_unit"] = unit
    told = head is not None and stamp is not None
    return Dressed(ENDS[kinds["end"]]("\n".join(lines) + "\n"), burn, known, told, kinds)


ALONE: dict[str, dict[str, str]] = {
    f"{axis}: {kind}": {**USUAL, **({"head": "no head"} if kind in HEADLESS else {}), axis: kind}
    for axis, kinds in AXES.items()
    for kind in kinds
}
"""Each kind by itself, in an otherwise usual file."""


def _along_a_line() -> Dressed:
    burn = Burn(rate=400.0)
    _, forces = burn.samples(random.Random(1))
    length = datetime.timedelta(seconds=round(len(forces) / burn.rate))
    burn = Burn(rate=(len(forces) - 1) / length.total_seconds())
    _, forces = burn.samples(random.Random(1))
    end = (datetime.datetime(2026, 5, 2, 14, 3, 9) + length).time().isoformat()
    raw = f"Start 14:03:09\n{':'.join(f'{f:.1f}' for f in forces)}\nEnd {end}\n".encode()
    return Dressed(raw, burn, {"force_column": "1", "force_unit": "N", "time_column": ""}, False)


def _sheet(make: Callable[..., bytes]) -> Dressed:
    burn = Burn()
    times, forces = burn.samples(random.Random(2))
    rows = [["Stand log"], ["Time (s)", "Thrust (N)"], *zip(times, forces, strict=True)]
    raw = make({"Notes": [["dry", 12.0]], "Data": rows})
    return Dressed(raw, burn, {"force_column": "2", "force_unit": "N", "time_column": "1", "time_unit": "s"}, True)


def _clock_and_ms() -> Dressed:
    burn = Burn(flat=4.0, rate=80.0)
    times, forces = burn.samples(random.Random(3))
    pairs = [(t, f) for t, f in zip(times, forces, strict=True) if int(t) != 5 or t % 1 < 0.5]  # the card was busy
    rows = [f"{_of_day(50_000 + t)};{f:.2f};{1000 * t % 1000:.0f}" for t, f in pairs]
    return Dressed("\n".join(rows).encode(), burn, {"force_column": "2", "force_unit": "N", "time_column": "1"}, False)


def _counts() -> Dressed:
    """A converter of 24 bits about its middle, and two masses that were put on it."""
    burn = Burn()
    times, forces = burn.samples(random.Random(4))
    rows = [f"{1e3 * t:.0f},{8_388_608 + 61.4 * f:.0f}" for t, f in zip(times, forces, strict=True)]
    points = {"points.0.mass": "0 kg", "points.0.reading": "8388608"}
    points |= {"points.1.mass": "20 kg", "points.1.reading": f"{8_388_608 + 61.4 * 20 * 9.80665:.1f}"}
    known = {"time_column": "1", "time_unit": "ms", "force_column": "2", "force_unit": "counts", **points}
    return Dressed("\n".join(["millis,raw", *rows]).encode(), burn, known, False)


def _falling() -> Dressed:
    burn = Burn()
    times, forces = burn.samples(random.Random(5))
    rows = [f"{t:.3f}\t{-f:.2f}" for t, f in zip(times, forces, strict=True)]
    known = {"time_column": "1", "time_unit": "s", "force_column": "2", "force_unit": "N", "turned": "on"}
    return Dressed("\n".join(["Time (s)\tForce (N)", *rows]).encode(), burn, known, True)


def _half_an_hour() -> Dressed:
    """137,000 rows over half an hour with some two seconds of burn."""
    burn = Burn(rate=76.0)
    _, forces = burn.samples(random.Random(6))
    chance = np.random.default_rng(6)
    quiet = np.r_[chance.normal(0.0, 0.6, 90_000), forces, chance.normal(0.0, 0.6, 137_000 - 90_000 - len(forces))]
    rows = [f"{i / burn.rate:.4f},{f:.2f}" for i, f in enumerate(quiet)]
    known = {"time_column": "1", "time_unit": "s", "force_column": "2", "force_unit": "N"}
    return Dressed("\n".join(["t (s),F (N)", *rows]).encode(), burn, known, True)


def _side_by_side() -> Dressed:
    """All times in one line, all forces in the next."""
    burn = Burn()
    times, forces = burn.samples(random.Random(7))
    lines = [",".join(f"{t:.3f}" for t in times), ",".join(f"{f:.2f}" for f in forces)]
    known = {"time_column": "1", "time_unit": "s", "force_column": "2", "force_unit": "N"}
    return Dressed("\n".join(lines).encode(), burn, known, False)


def _sheet_of_lines() -> Dressed:
    """A file of semicolons and decimal commas that a program for sheets took for one column of words."""
    burn = Burn()
    times, forces = burn.samples(random.Random(8))
    rows = [[f"{t:.3f};{f:.2f}".replace(".", ",")] for t, f in zip(times, forces, strict=True)]
    known = {"time_column": "1", "time_unit": "s", "force_column": "2", "force_unit": "N"}
    return Dressed(xlsx({"Tabelle1": [["Zeit (s);Kraft (N)"], *rows]}), burn, known, True)


def _two_sessions() -> Dressed:
    """The board was reset after a false start; between the two stands its greeting, and the head again."""
    burn = Burn()
    times, forces = burn.samples(random.Random(9))
    rows = [f"{1e6 * t + 4e5:.0f} {f:.2f}" for t, f in zip(times, forces, strict=True)]
    raw = "\r\n".join(["micros N", *rows[:150], "rebooted", "micros N", *rows, "done"]).encode()
    known = {"time_column": "1", "time_unit": "us", "force_column": "2", "force_unit": "N"}
    return Dressed(raw, burn, known, True)


ODD: dict[str, Callable[[], Dressed]] = {
    "along one line": _along_a_line,
    "sheet of an .xlsx": lambda: _sheet(xlsx),
    "sheet of an .ods": lambda: _sheet(ods),
    "clock; value; ms": _clock_and_ms,
    "counts of 24 bits": _counts,
    "upside down": _falling,
    "137,000 rows": _half_an_hour,
    "two long lines": _side_by_side,
    "lines in cells": _sheet_of_lines,
    "two sessions": _two_sessions,
}
"""Files of another build than the crossed ones."""


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
