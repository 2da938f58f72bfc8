"""Files of other builds than the crossed ones in `dressed`: each as one builder of a stand might have it written.

Invented throughout, as there: the burn in them is a trapezoid in closed form.
"""

import datetime
import json
import random
from collections.abc import Callable, Iterable

import numpy as np
import numpy.typing as npt

from app.calc.base.constants import STANDARD_GRAVITY
from tests.calc.record.dressed import Burn, Dressed, of_day
from tests.calc.record.workbooks import ods, xlsx

Values = npt.NDArray[np.float64]


def recorded(seed: int, peak: float = 800.0, flat: float = 1.4, rate: float = 80.0) -> tuple[Burn, Values, Values]:
    """A burn, its times [s] and forces [N]."""
    burn = Burn(peak, flat, rate)
    times, forces = burn.samples(random.Random(seed))
    return burn, np.array(times), np.array(forces)


def file(
    lines: str | Iterable[str],
    burn: Burn,
    force: int,
    time: int | None,
    *,
    unit: str = "N",
    clock: str = "",
    end: str = "\n",
    **known: str,
) -> Dressed:
    """Lines as a file, in which columns `force` and `time` are these, and what else has to be known."""
    text = lines if isinstance(lines, str) else end.join(lines)
    answers = {"force_column": str(force), "force_unit": unit, "time_column": str(time or ""), **known}
    return Dressed(text.encode(), burn, answers | ({"time_unit": clock} if clock else {}), False)


def pairs(t: Values, f: Values, between: str = ",", per_second: float = 1.0) -> list[str]:
    """Lines of time and force."""
    return [f"{per_second * a:.{3 if per_second == 1 else 0}f}{between}{b:.2f}" for a, b in zip(t, f, strict=True)]


def stamp(second: float) -> str:
    return f"{of_day(second)}.{round(1000 * second) % 1000:03d}"


ODD: dict[str, Callable[[], Dressed]] = {}
"""Each file by what is odd in it."""


def odd(name: str) -> Callable[[Callable[[], Dressed]], Callable[[], Dressed]]:
    def keep(make: Callable[[], Dressed]) -> Callable[[], Dressed]:
        ODD[name] = make
        return make

    return keep


def scale(counts_at_zero: float, per_newton: float) -> dict[str, str]:
    """The answers of somebody who hung 20 kg on the cell."""
    loaded = counts_at_zero + per_newton * 20 * STANDARD_GRAVITY
    points = {"points.0.mass": "0 kg", "points.0.reading": f"{counts_at_zero:.10g}"}
    return {"force_unit": "counts", **points, "points.1.mass": "20 kg", "points.1.reading": f"{loaded:.10g}"}


@odd("along one line")
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


ODD["sheet of an .xlsx"] = lambda: _sheet(xlsx)
ODD["sheet of an .ods"] = lambda: _sheet(ods)


@odd("clock; value; ms")
def _clock_and_ms() -> Dressed:
    burn = Burn(flat=4.0, rate=80.0)
    times, forces = burn.samples(random.Random(3))
    pairs = [(t, f) for t, f in zip(times, forces, strict=True) if int(t) != 5 or t % 1 < 0.5]  # the card was busy
    rows = [f"{of_day(50_000 + t)};{f:.2f};{1000 * t % 1000:.0f}" for t, f in pairs]
    return Dressed("\n".join(rows).encode(), burn, {"force_column": "2", "force_unit": "N", "time_column": "1"}, False)


@odd("counts of 24 bits")
def _counts() -> Dressed:
    """A converter of 24 bits about its middle, and two masses that were put on it."""
    burn = Burn()
    times, forces = burn.samples(random.Random(4))
    rows = [f"{1e3 * t:.0f},{8_388_608 + 61.4 * f:.0f}" for t, f in zip(times, forces, strict=True)]
    points = {"points.0.mass": "0 kg", "points.0.reading": "8388608"}
    points |= {"points.1.mass": "20 kg", "points.1.reading": f"{8_388_608 + 61.4 * 20 * 9.80665:.1f}"}
    known = {"time_column": "1", "time_unit": "ms", "force_column": "2", "force_unit": "counts", **points}
    return Dressed("\n".join(["millis,raw", *rows]).encode(), burn, known, False)


@odd("137,000 rows")
def _half_an_hour() -> Dressed:
    """137,000 rows over half an hour with some two seconds of burn."""
    burn = Burn(rate=76.0)
    _, forces = burn.samples(random.Random(6))
    chance = np.random.default_rng(6)
    quiet = np.r_[chance.normal(0.0, 0.6, 90_000), forces, chance.normal(0.0, 0.6, 137_000 - 90_000 - len(forces))]
    rows = [f"{i / burn.rate:.4f},{f:.2f}" for i, f in enumerate(quiet)]
    known = {"time_column": "1", "time_unit": "s", "force_column": "2", "force_unit": "N"}
    return Dressed("\n".join(["t (s),F (N)", *rows]).encode(), burn, known, True)


@odd("two long lines")
def _side_by_side() -> Dressed:
    """All times in one line, all forces in the next."""
    burn = Burn()
    times, forces = burn.samples(random.Random(7))
    lines = [",".join(f"{t:.3f}" for t in times), ",".join(f"{f:.2f}" for f in forces)]
    known = {"time_column": "1", "time_unit": "s", "force_column": "2", "force_unit": "N"}
    return Dressed("\n".join(lines).encode(), burn, known, False)


@odd("lines in cells")
def _sheet_of_lines() -> Dressed:
    """A file of semicolons and decimal commas that a program for sheets took for one column of words."""
    burn = Burn()
    times, forces = burn.samples(random.Random(8))
    rows = [[f"{t:.3f};{f:.2f}".replace(".", ",")] for t, f in zip(times, forces, strict=True)]
    known = {"time_column": "1", "time_unit": "s", "force_column": "2", "force_unit": "N"}
    return Dressed(xlsx({"Tabelle1": [["Zeit (s);Kraft (N)"], *rows]}), burn, known, True)


@odd("two sessions")
def _two_sessions() -> Dressed:
    """The board was reset after a false start; between the two stands its greeting, and the head again."""
    burn = Burn()
    times, forces = burn.samples(random.Random(9))
    rows = [f"{1e6 * t + 4e5:.0f} {f:.2f}" for t, f in zip(times, forces, strict=True)]
    raw = "\r\n".join(["micros N", *rows[:150], "rebooted", "micros N", *rows, "done"]).encode()
    known = {"time_column": "1", "time_unit": "us", "force_column": "2", "force_unit": "N"}
    return Dressed(raw, burn, known, True)


# --- What programs print ---------------------------------------------------------------------------


@odd("a list of objects")
def _objects() -> Dressed:
    burn, t, f = recorded(30)
    log = [{"t": round(1000 * a), "f": round(b, 2)} for a, b in zip(t.tolist(), f.tolist(), strict=True)]
    return file(json.dumps({"motor": "A", "log": log}), burn, 2, 1, clock="ms")


@odd("two lists in an object")
def _lists() -> Dressed:
    burn, t, f = recorded(31)
    return file(json.dumps({"time": t.round(4).tolist(), "thrust": f.round(2).tolist()}), burn, 2, 1, clock="s")


@odd("a printed list of pairs")
def _printed() -> Dressed:
    burn, t, f = recorded(32)
    return file(
        str([(round(a, 3), round(b, 2)) for a, b in zip(t.tolist(), f.tolist(), strict=True)]), burn, 2, 1, clock="s"
    )


@odd("words between blanks")
def _words() -> Dressed:
    burn, t, f = recorded(33)
    return file((f"Time: {a:.3f} Force: {b:.2f}" for a, b in zip(t, f, strict=True)), burn, 4, 2, clock="s")


@odd("date and clock in brackets, unit behind")
def _bracketed() -> Dressed:
    burn, t, f = recorded(34)
    lines = (f"[2026-06-14 {stamp(40_000 + a)}] Cell: {b / 9.80665:.3f} kg" for a, b in zip(t, f, strict=True))
    return file(lines, burn, 2, 1, unit="kgf")


@odd("a board's own log in colours")
def _board() -> Dressed:
    burn, t, f = recorded(35)
    lines = (f"\x1b[0;32mI ({1000 * a:.0f}) cell: {b:.2f}\x1b[0m" for a, b in zip(t, f, strict=True))
    return file(lines, burn, 2, 1, clock="ms")


@odd("a reading and its mean in each line, no time")
def _means() -> Dressed:
    burn, _, f = recorded(36)
    grams = f * 1000 / STANDARD_GRAVITY
    lines = (f"one reading:\t{g:.1f}\t| average:\t{g + 1:.5f}" for g in grams)
    return file(["Setting up", "Tare done", *lines], burn, 2, None, unit="gf", sample_rate="80")


@odd("slashes")
def _slashes() -> Dressed:
    burn, t, f = recorded(37)
    return file(pairs(t, f, "/"), burn, 2, 1, clock="s")


@odd("every line in quotes")
def _quoted() -> Dressed:
    burn, t, f = recorded(38)
    return file((f'"{line}"' for line in pairs(t, f)), burn, 2, 1, clock="s")


@odd("signs and padding")
def _padded() -> Dressed:
    burn, t, f = recorded(39)
    return file((f"{a:010.3f};{b:+010.2f}" for a, b in zip(t, f, strict=True)), burn, 2, 1, clock="s")


@odd("exponents of three digits")
def _exponents() -> Dressed:
    burn, t, f = recorded(40)
    lines = (f"{a:.6e}\t{b:.6e}".replace("e+", "e+0").replace("e-", "e-0") for a, b in zip(t, f, strict=True))
    return file(["Time (s)\tForce (N)", *lines], burn, 2, 1, clock="s")


@odd("units in each cell")
def _units() -> Dressed:
    burn, t, f = recorded(41)
    return file((f"{a:.3f}s,{b:.2f}N" for a, b in zip(t, f, strict=True)), burn, 2, 1, clock="s")


@odd("a unit behind a comma, a list of a program's")
def _behind() -> Dressed:
    burn, t, f = recorded(76)
    lines = (f"{1000 * a:.0f};{b:.2f},N" for a, b in zip(t, f, strict=True))
    return file(["% static test", "data = [", *lines, "];"], burn, 2, 1, clock="ms")


@odd("decimal commas, a comma and a blank between")
def _spaced() -> Dressed:
    burn, t, f = recorded(97)
    lines = (f"{a:.3f}, {b:.2f}".replace(".", ",") for a, b in zip(t, f, strict=True))
    return file(lines, burn, 2, 1, clock="s", delimiter="semicolon", decimal=",")


@odd("a prompt, four hundred lines of waiting before")
def _prompt() -> Dressed:
    burn, t, f = recorded(77)
    return file([*["waiting for the card"] * 400, *(f">> {line}" for line in pairs(t, f))], burn, 2, 1, clock="s")


@odd("a time before a colon, units behind")
def _colon() -> Dressed:
    burn, t, f = recorded(78)
    lines = (f"{1000 * a:.0f}ms: {b / 9.80665e-3:.1f}g" for a, b in zip(t, f, strict=True))
    return file(lines, burn, 2, 1, unit="gf", clock="ms")


@odd("one line a channel")
def _channels() -> Dressed:
    burn, t, f = recorded(79)
    lines = [(f"{a:.3f},thrust,{b:.2f}", f"{a:.3f},temp,23.4") for a, b in zip(t, f, strict=True)]
    return file(["time,channel,value", *(line for both in lines for line in both)], burn, 3, 1, clock="s")


# --- Heads, tables and columns -----------------------------------------------------------------------


@odd("units under the head")
def _units_below() -> Dressed:
    burn, t, f = recorded(42)
    lines = (f"{1000 * a:.0f},{b / 9.80665:.3f},23.5" for a, b in zip(t, f, strict=True))
    return file(["Time,Thrust,Temp", "(ms),(kg),(C)", *lines], burn, 2, 1, unit="kgf", clock="ms")


@odd("a head over two lines in quotes")
def _two_lines() -> Dressed:
    burn, t, f = recorded(43)
    return file(['"Time', '(s)","Force', '(N)"', *pairs(t, f)], burn, 2, 1, clock="s")


@odd("settings of an oscilloscope beside its samples")
def _scope() -> Dressed:
    burn, t, f = recorded(44, rate=1000.0)
    beside = ["Record Length,4.0e+03", "Sample Interval,1.00E-03", "Trigger Point,1.25e+03", "Source,CH1"]
    beside += [","] * (len(t) - len(beside))
    lines = (f"{s},,{a - 1:+.6f},{0.004 * b + 0.31:.5f}," for s, a, b in zip(beside, t, f, strict=True))
    return file(lines, burn, 5, 4, clock="s", **scale(0.31, 0.004))


@odd("volts in steps")
def _volts() -> Dressed:
    burn, t, f = recorded(45, rate=200.0)
    step = 5 / 1023
    lines = (f"{a:.3f},{round((0.5 + 0.004 * b) / step) * step:.4f}" for a, b in zip(t, f, strict=True))
    return file(["Time (s),Volts", *lines], burn, 2, 1, clock="s", **scale(0.5, 0.004))


@odd("counts about 8.4 million, nothing else")
def _bare_counts() -> Dressed:
    burn, _, f = recorded(46)
    return file(
        (str(8_388_607 + round(122.5 * b)) for b in f), burn, 1, None, sample_rate="80", **scale(8_388_607, 122.5)
    )


@odd("index, temperature and state beside")
def _constant() -> Dressed:
    burn, t, f = recorded(47)
    lines = (f"{i},23.5,{1000 * a:.0f},{b:.2f},0" for i, (a, b) in enumerate(zip(t, f, strict=True)))
    return file(lines, burn, 4, 3, clock="ms")


@odd("twelve columns")
def _many() -> Dressed:
    burn, t, f = recorded(48)
    rng = np.random.default_rng(3)
    lines = (
        f"{a:.4f},{rng.normal():.3f},{rng.normal():.3f},0,0,{b:.3f},{rng.normal():.3f},21.5,21.6,22.0,7.41,0"
        for a, b in zip(t, f, strict=True)
    )
    return file(["Time_s,Ch0,Ch1,Ch2,Ch3,Thrust_N,Ch5,T1,T2,T3,Batt,Flag", *lines], burn, 6, 1, clock="s")


@odd("date and clock in columns of their own")
def _date() -> Dressed:
    burn, t, f = recorded(49)
    lines = (f"14/06/2026,{stamp(40_000 + a)},{b:.2f}" for a, b in zip(t, f, strict=True))
    return file(["Date,Time,Force (N)", *lines], burn, 3, 2)


@odd("a summary of five rows beside")
def _summary() -> Dressed:
    burn, t, f = recorded(50)
    beside = ["Peak (N),812.4", "Impulse (Ns),1311.2", "Burn time,1.8", "Class,J", "Isp,121"]
    lines = [f"{line},,{beside[i] if i < len(beside) else ','}" for i, line in enumerate(pairs(t, f))]
    return file(["Time (s),Thrust (N),,Summary,", *lines], burn, 2, 1, clock="s")


@odd("a shorter table of numbers beside")
def _table_beside() -> Dressed:
    burn, t, f = recorded(51)
    lines = [f"{line},,{f'{i / 2:.1f},{100 + 3 * i}' if i < 60 else ','}" for i, line in enumerate(pairs(t, f))]
    return file(["Time (s),Thrust (N),,Time (s),Pressure", *lines], burn, 2, 1, clock="s")


@odd("cells of words with a summary in a workbook")
def _sheet_of_words() -> Dressed:
    burn, t, f = recorded(52)
    rows = [[f"{a:.3f}", f"{b:.2f}", None, "Peak" if a == 0 else None] for a, b in zip(t, f, strict=True)]
    made = file("", burn, 2, 1, clock="s")
    return Dressed(xlsx({"S": [["Time", "Force"], *rows]}), burn, made.known, False)


@odd("a pressure that is measured more often")
def _sparse() -> Dressed:
    burn, t, f = recorded(53)
    rows = [
        (f"{a:.4f},{b:.2f},", f"{a + 0.003:.4f},,1.01", f"{a + 0.006:.4f},,1.02") for a, b in zip(t, f, strict=True)
    ]
    return file(["Time,Force,Press", *(line for row in rows for line in row)], burn, 2, 1, clock="s")


@odd("totals under a column without times")
def _totals() -> Dressed:
    burn, _, f = recorded(54)
    return file(["Empuxo (N)", *(f"{b:.2f}" for b in f), f"{f.sum():.2f}"], burn, 1, None, sample_rate="80")


# --- Lines that are spoilt -----------------------------------------------------------------------------


@odd("lines lost their first letters")
def _begun_late() -> Dressed:
    burn, t, f = recorded(55)
    lines = [f"{50_000 + 1000 * a:.0f},{b:.2f}" for a, b in zip(t, f, strict=True)]
    for i in (0, 60, 120, 140):
        lines[i] = lines[i][3:]
    return file(lines, burn, 2, 1, clock="ms")


@odd("the last number is cut")
def _cut_at_the_end() -> Dressed:
    burn, t, f = recorded(56)
    return file("\n".join(pairs(t, f + 30_500, per_second=1000.0))[:-4], burn, 2, 1, clock="ms")


@odd("two lines became one")
def _merged() -> Dressed:
    burn, t, f = recorded(57)
    lines = pairs(t, f, per_second=1000.0)
    return file([*lines[:120], lines[120] + lines[121], *lines[122:]], burn, 2, 1, clock="ms")


@odd("lines written twice, lines out of order")
def _twice() -> Dressed:
    burn, t, f = recorded(58)
    lines = pairs(t, f, per_second=1000.0)
    for i in (50, 99, 140):
        lines[i], lines[i + 1] = lines[i + 1], lines[i]
    return file(
        [again for i, line in enumerate(lines) for again in [line] * (2 if i % 17 == 5 else 1)], burn, 2, 1, clock="ms"
    )


@odd("addresses between samples")
def _hexadecimal() -> Dressed:
    burn, t, f = recorded(59)
    dump = "0x3FFE8A10: 0x00 0x1f 0xA3"
    lines = pairs(t, f, per_second=1000.0)
    return file(
        (both for i, line in enumerate(lines) for both in ([line, dump] if i % 13 == 5 else [line])),
        burn,
        2,
        1,
        clock="ms",
    )


@odd("zero bytes in the middle, a card's padding behind")
def _zero_bytes() -> Dressed:
    burn, t, f = recorded(60)
    lines = pairs(t, f, per_second=1000.0)
    made = file([*lines[:200], "\0" * 300 + lines[200], *lines[201:], ""], burn, 2, 1, clock="ms")
    return Dressed(made.raw + b"\xff" * 512, burn, made.known, False)


@odd("a meter at its end says so in words")
def _overload() -> Dressed:
    burn, t, f = recorded(61)
    lines = [f"{a:.3f},{'OL' if 120 < i < 124 else f'{b:.2f}'}" for i, (a, b) in enumerate(zip(t, f, strict=True))]
    return file(["Time (s),Force (N)", *lines], burn, 2, 1, clock="s")


@odd("sentences of three kinds")
def _sentences() -> Dressed:
    burn, t, f = recorded(62)
    out = []
    for i, (a, b) in enumerate(zip(t, f, strict=True)):
        out.append(f"$TS,{1000 * a:.0f},{b:.2f}*3A")
        out += [f"$BATT,{1000 * a:.0f},7.4*11"] if i % 4 == 0 else []
        out += [f"$POS,{of_day(50_000 + a).replace(':', '')}.00,4807.038,N,01131.000,E,1,08*47"] if i % 8 == 0 else []
    return file(out, burn, 3, 2, clock="ms")


@odd("a serial monitor, its board restarted")
def _monitor() -> Dressed:
    burn, t, f = recorded(63)
    lines = [(a, f"{1000 * a:.0f}\t{b:.2f}") for a, b in zip(t, f, strict=True)]
    boot = [(19.0, "rst:0x1 (POWERON_RESET),boot:0x13"), (19.1, "cell ready")]
    all_lines = [
        (0.0, "ets Jun  8 2016 00:22:57"),
        (0.0, ""),
        *lines[:50],
        *boot,
        *((a + 20, words) for a, words in lines),
    ]
    return file((f"{stamp(45_062 + a)}\t-> {words}" for a, words in all_lines), burn, 3, 1)


# --- Clocks ------------------------------------------------------------------------------------------


@odd("epoch of whole seconds, eleven lines each")
def _epoch() -> Dressed:
    burn, t, f = recorded(64, flat=9.0, rate=11.0)
    return file((f"{int(1_718_367_062.3 + a)},{b:.2f}" for a, b in zip(t, f, strict=True)), burn, 2, 1, clock="s")


@odd("newest line first")
def _newest() -> Dressed:
    burn, t, f = recorded(80)
    return file(["Time (s),Force (N)", *pairs(t, f)[::-1]], burn, 2, 1, clock="s")


@odd("milliseconds of 16 bits")
def _bits() -> Dressed:
    burn, t, f = recorded(81)
    lines = (f"{round(1000 * a + 64_000) % 65_536},{b:.2f}" for a, b in zip(t, f, strict=True))
    return file(["ms,N", *lines], burn, 2, 1, clock="ms")


@odd("a step in each line and no time")
def _steps() -> Dressed:
    burn, _, f = recorded(65)
    chance = random.Random(4)
    lines = (f"{12.5 + chance.uniform(-0.2, 0.2):.1f},{b:.2f}" for b in f)
    return file(["dt (ms),Force (N)", *lines], burn, 2, None, sample_rate="80")


@odd("ten samples a second")
def _slow() -> Dressed:
    burn, t, f = recorded(66, rate=10.0)
    return file(["Time (s),Thrust (N)", *pairs(t, f)], burn, 2, 1, clock="s")


@odd("80,000 samples a second, times of three decimals")
def _fast() -> Dressed:
    burn, t, f = recorded(67, rate=80_000.0, flat=0.1)
    return file(["Time (s),Thrust (N)", *pairs(t, f)], burn, 2, 1, clock="s")


@odd("dates of a workbook that nobody formatted")
def _days() -> Dressed:
    burn, t, f = recorded(75)
    rows = [[46_187.5 + a / 86_400, b] for a, b in zip(t.tolist(), f.tolist(), strict=True)]
    known = {"force_column": "2", "force_unit": "N", "time_column": "1"}
    return Dressed(xlsx({"S": [["Time", "Thrust"], *rows]}), burn, known, False)


# --- What stands and people do ----------------------------------------------------------------------------


@odd("a sign that flips")
def _flips() -> Dressed:
    burn, t, f = recorded(68)
    chance = random.Random(3)
    flipped = np.array([-b if chance.random() < 0.04 else b for b in f])
    return file(["Time (s),Thrust (N)", *pairs(t, flipped)], burn, 2, 1, clock="s", leave_out="on")


@odd("a weight left on for 22 s")
def _weight() -> Dressed:
    burn, _, f = recorded(69, peak=120.0)
    rng = np.random.default_rng(2)
    whole = np.r_[rng.normal(0, 0.2, 300), rng.normal(98.07, 0.2, 22 * 80), rng.normal(0, 0.2, 300), f]
    return file(["Time (s),Thrust (N)", *pairs(np.arange(whole.size) / 80, whole)], burn, 2, 1, clock="s")


@odd("two motors in one file")
def _two_motors() -> Dressed:
    burn, _, f = recorded(70)
    _, _, other = recorded(71, peak=500.0, flat=0.7)
    whole = np.r_[f, other]
    return file(["Time (s),Thrust (N)", *pairs(np.arange(whole.size) / 80, whole)], burn, 2, 1, clock="s", pulse="1")


@odd("begins in the burn")
def _begins() -> Dressed:
    burn, t, f = recorded(72)
    made = file(["Time (s),Thrust (N)", *pairs(t[100:], f[100:])], burn, 2, 1, clock="s")
    return Dressed(made.raw, burn, made.known, False, cut=True)


@odd("ends in the burn")
def _ends() -> Dressed:
    burn, t, f = recorded(73)
    made = file(["Time (s),Thrust (N)", *pairs(t[:150], f[:150])], burn, 2, 1, clock="s")
    return Dressed(made.raw, burn, made.known, False, cut=True)
