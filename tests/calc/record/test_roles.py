"""What heads of columns say: roles and units in six languages, misspelt, in brackets, strokes, cells and lines above.

The words are those that such files use, from memory of the languages and of common practice; no source.
"""

from collections.abc import Iterable

import numpy as np
import pint
import pytest

from app.calc.record.columns import FORCE_UNITS, TIME_UNITS, usual_time_unit
from app.calc.record.heads import FORCE, TIME, meaning, unit_said
from app.calc.record.logger_text import TIME_OF_DAY, first_numbers, guess_layout
from app.calc.record.roles import Guess, guess_roles, heads_over

ureg: pint.UnitRegistry[float] = pint.UnitRegistry()

HEADS: dict[str, list[tuple[str, str, str | None]]] = {
    "English": [
        ("Time (s)", "time", "s"),
        ("Elapsed time [ms]", "time", "ms"),
        ("timestamp_us", "time", "us"),
        ("millis", "time", "ms"),
        ("t/ms", "time", "ms"),
        ("TimeMs", "time", "ms"),
        ("Time", "time", None),
        ("Force (kilograms)", "force", "kgf"),
        ("Thrust, pounds", "force", "lbf"),
        ("Load lbs", "force", "lbf"),
        ("Thrust (kilonewton)", "force", "kN"),
        ("Raw thrust (N)", "force", "N"),
        ("Thrust [ozf]", "force", "ozf"),
        ("load_cell_g", "force", "gf"),
        ("kg", "force", "kgf"),
        ("F/N", "force", "N"),
        ("Weight", "force", None),
        ("Chamber pressure (psi)", "pressure", "psi"),
        ("P [bar]", "pressure", "bar"),
        ("Load cell mV", "force", "mV"),
        ("ADC counts", "force", "counts"),
        ("raw", "force", None),
        ("n", "", None),
        ("Sample", "index", None),
        ("Temp (C)", "other", None),
        ("Total impulse (Ns)", "other", None),
        ("Speed m/s", "other", None),
        ("Battery voltage (V)", "other", None),
        ("Ignition", "other", None),
        ("Peak thrust", "other", None),
    ],
    "misspelt": [
        ("Trust", "force", None),
        ("Thurst (N)", "force", "N"),
        ("Forse", "", None),
        ("Presure [bar]", "pressure", "bar"),
        ("Weigth (kg)", "force", "kgf"),
        ("Trust (kilogramms)", "force", "kgf"),
        ("Time (milisec)", "time", None),
    ],
    "German": [
        ("Zeit [s]", "time", "s"),
        ("Zeit in Millisekunden", "time", "ms"),
        ("Kraft in N", "force", "N"),
        ("Schub (kp)", "force", "kgf"),
        ("Schubkraft", "force", None),
        ("Gewicht [Gramm]", "force", "gf"),
        ("Druckkraft [kN]", "force", "kN"),
        ("Druck in bar", "pressure", "bar"),
        ("Brennkammerdruck", "pressure", None),
        ("Temperatur", "other", None),
        ("Zeile", "index", None),
    ],
    "Spanish": [
        ("Tiempo (s)", "time", "s"),
        ("Tiempo (milisegundos)", "time", "ms"),
        ("Empuje (N)", "force", "N"),
        ("Fuerza [kgf]", "force", "kgf"),
        ("Masa (gramos)", "force", "gf"),
        ("Peso (libras)", "force", "lbf"),
        ("Presión (bar)", "pressure", "bar"),
        ("Muestra", "index", None),
    ],
    "Portuguese": [
        ("Tempo (s)", "time", "s"),
        ("Tempo (milissegundos)", "time", "ms"),
        ("Empuxo (N)", "force", "N"),
        ("Força (Kgf)", "force", "kgf"),
        ("Massa [g]", "force", "gf"),
        ("Carga (quilogramas)", "force", "kgf"),
        ("Pressão (MPa)", "pressure", "MPa"),
        ("Amostra", "index", None),
    ],
    "French": [
        ("Temps (s)", "time", "s"),
        ("Temps", "time", None),
        ("Poussée (N)", "force", "N"),
        ("Masse (g)", "force", "gf"),
        ("Force en kilogrammes", "force", "kgf"),
        ("Poids (livres)", "force", "lbf"),
        ("Pression (kPa)", "pressure", "kPa"),
    ],
    "Italian": [
        ("Tempo [ms]", "time", "ms"),
        ("Spinta (N)", "force", "N"),
        ("Forza (chilogrammi)", "force", "kgf"),
        ("Peso [grammi]", "force", "gf"),
        ("Pressione [bar]", "pressure", "bar"),
    ],
}


@pytest.mark.parametrize("language", HEADS)
def test_heads_say_role_and_unit(language: str) -> None:
    found = {head: (meaning(head).role, meaning(head).unit) for head, _, _ in HEADS[language]}
    assert found == {head: (role, unit) for head, role, unit in HEADS[language]}


@pytest.mark.parametrize(
    ("line", "force", "time"),
    [
        ("Units: N, s", "N", "s"),
        ("# Einheit der Kraft: kg", "kgf", None),
        ("Thrust curve in newtons", "N", None),
        ("Time in ms; thrust in lbs", "lbf", "ms"),
        ("Load cell 50 kg", None, None),
        ("Static firing, propellant 600 g", None, None),
        ("Thrust test, propellant kg: 1.2", None, None),
        ("Force in N or in kg", None, None),
    ],
)
def test_lines_above_say_units_of_columns_and_not_of_other_things(
    line: str, force: str | None, time: str | None
) -> None:
    assert (unit_said(line, FORCE), unit_said(line, TIME)) == (force, time)


def test_units_of_force_are_those_of_a_general_library() -> None:
    """pint's registry; NIST SP 811 (2008), B.8: ozf 0.2780139 N, kilopond 9.80665 N (from memory)."""
    names = {"N": "newton", "kN": "kilonewton", "kgf": "kilopond", "gf": "gf", "lbf": "lbf", "ozf": "ozf"}
    assert {unit: ureg.Quantity(1.0, name).to("newton").magnitude for unit, name in names.items()} == pytest.approx(
        FORCE_UNITS, rel=1e-14
    )
    assert round(FORCE_UNITS["ozf"], 7) == 0.2780139


T = np.arange(300) / 100
BURN = np.round(np.interp(T, [0.5, 0.6, 1.6, 1.8], [0, 80, 80, 0]) + 0.1 * np.cos(40 * T), 3)


def found(head: str, *columns: Iterable[object], above: str = "") -> Guess:
    """What is guessed of a file of these columns."""
    lines = [*([above] if above else []), *([head] if head else [])]
    text = "\n".join([*lines, *(",".join(map(str, row)) for row in zip(*columns, strict=True))]).encode()
    layout = guess_layout(text)
    return guess_roles(first_numbers(text, layout), *heads_over(text, layout))


@pytest.mark.parametrize("head", ["n,time,force", "N,Time,Force", "nr,t,F", "", "sample,Zeit,Kraft"])
def test_a_column_that_counts_is_an_index_and_no_newtons(head: str) -> None:
    guess = found(head, range(1, 301), T, BURN)
    assert (guess.time, guess.force, guess.force_unit, guess.time_unit) == (2, 3, None, None)


def test_an_index_alone_is_no_clock() -> None:
    assert found("", range(300), BURN).time is None
    assert found("", range(7000, 7300), BURN).time == 1
    assert found("ms,x", range(300), BURN).time_unit == "ms"


@pytest.mark.parametrize(
    ("head", "above", "cell", "unit"),
    [
        ("time,force", "", "{}", None),
        ("time,N", "", "{}", "N"),
        ("time,force", "Thrust in kg", "{}", "kgf"),
        ("time,force", "", "{} lbs", "lbf"),
        ("", "", "Force: {} kp", "kgf"),
        ("", "", "{} N", "N"),
        ("time,force\ns,kg", "", "{}", "kgf"),
        ("", "", "F={}", None),
        ("", "", "{},kg", "kgf"),
    ],
)
def test_a_unit_is_read_from_head_cell_or_line_above_and_else_stays_open(
    head: str, above: str, cell: str, unit: str | None
) -> None:
    guess = found(head, T, [cell.format(force) for force in BURN], above=above)
    assert (guess.force, guess.force_unit) == (2, unit)


def test_words_between_blanks_say_what_the_number_beside_them_is() -> None:
    rows = [f"t= {1000 * t:.0f} Reading: {force} lbs factor: -7050" for t, force in zip(T, BURN, strict=True)]
    text = "\n".join(rows).encode()
    layout = guess_layout(text)
    guess = guess_roles(first_numbers(text, layout), *heads_over(text, layout))
    assert (guess.time, guess.force, guess.force_unit, guess.time_unit) == (2, 4, "lbf", None)


def test_a_unit_follows_from_another_column_of_the_same_signal() -> None:
    guess = found("Time (s),Force,Load (kg)", T, np.round(BURN * 9.80665, 5), BURN)
    assert guess.force == 3, "its unit is said"
    guess = found("Time (s),Thrust (N),Thrust (kg)", T, np.round(BURN * 9.80665, 5), BURN)
    assert (guess.force, guess.force_unit) == (2, "N")
    assert any("same force in two units" in words for words in guess.said)


def test_raw_and_filtered_are_both_offered_and_none_is_taken() -> None:
    guess = found("Time (s),Filtered thrust (N),Raw thrust (N)", T, BURN, BURN + 0.3 * np.sin(99 * T))
    assert guess.force is None
    assert [(one.column, one.unit) for one in guess.forces] == [(3, "N"), (2, "N")]


@pytest.mark.parametrize(
    ("first", "unit"), [(1_718_367_062, "s"), (1_718_367_062_000, "ms"), (1_718_367_062_000_000, "us"), (91_231, None)]
)
def test_seconds_since_1970_are_known_by_their_date(first: int, unit: str | None) -> None:
    step = 0.01 / TIME_UNITS[unit or "ms"]
    guess = found("time,force", [round(first + i * step, 3) for i in range(300)], BURN)
    assert guess.time_unit == unit
    assert any("2024-06-14" in words for words in guess.said) is (unit is not None)


@pytest.mark.parametrize(("step", "unit"), [(0.001, "s"), (0.0125, "s"), (1.0, "ms"), (100.0, "ms"), (1000.0, "us")])
def test_the_unit_of_time_without_words_is_likely_and_not_taken(step: float, unit: str) -> None:
    columns = [5 + step * np.arange(50.0), np.ones(50)]
    assert usual_time_unit(columns[0]) == unit
    assert guess_roles(columns, ()).time_unit is None


def test_a_clock_beside_tells_the_unit_of_time() -> None:
    clock = [f"10:00:{i // 100:02d}.{i % 100:02d}0" for i in range(300)]
    guess = found("clock,ticks,force", clock, [5000 + 10 * i for i in range(300)], BURN)
    assert guess.time_unit == "s"


def test_milliseconds_that_begin_again_each_second_are_no_clock_of_their_own() -> None:
    t = np.arange(400) / 80
    columns = [np.floor(t) + 45_062, np.sin(t), np.floor(1000 * (t % 1))]
    found = guess_roles(columns, [f"HH:MM:SS ({TIME_OF_DAY})", "value", "ms"])
    assert (found.time, found.time_unit) == (1, "s")


def test_a_column_alone_is_no_time_whatever_stands_over_it() -> None:
    found = guess_roles([np.array([0.2, 0.3, 0.1, 5.0])], ["start 1203 ms"])
    assert (found.time, found.force) == (None, 1)
