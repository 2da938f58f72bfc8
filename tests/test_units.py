"""Units at the edge, held against exact definitions, against pint itself and against every shape a person types."""

import math
import subprocess
import sys
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Annotated, get_args

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel, ValidationError

from app.calc.base.notes import Amount, Note
from app.models.workshop import UNIT_FIELDS, WorkshopIn
from app.units import (
    KINDS,
    METRIC,
    US,
    Measure,
    Quantity,
    UnitError,
    UnitSystem,
    chosen,
    convert,
    editable,
    example,
    parse,
    say,
    show,
    unit_of,
)
from app.units.conversion import from_si, to_si

PINT: pint.UnitRegistry[float] = pint.UnitRegistry()
IMPERIAL = US._replace(time="min")

# Exact: NIST Special Publication 811 (2008), appendix B.8 (inch, foot, pound, ounce, lbf, psi, mile, knot);
# SI Brochure, 9th edition, table 8 (minute, hour, day, degree, bar is from its table of earlier editions).
EXACT = [
    ("length", "1 in", 0.0254),
    ("length", '1"', 0.0254),
    ("length", "1 ft", 0.3048),
    ("length", "1'", 0.3048),
    ("length", "1 thou", 2.54e-5),
    ("length", "1 mm", 0.001),
    ("length", "1 cm", 0.01),
    ("altitude", "1000 ft", 304.8),
    ("altitude", "1 km", 1000.0),
    ("mass", "1 lb", 0.45359237),
    ("mass", "16 oz", 0.45359237),
    ("mass", "1 g", 0.001),
    ("mass", "1 mg", 1e-6),
    ("pressure", "1 bar", 1e5),
    ("pressure", "1 atm", 101325.0),
    ("pressure", "1 hPa", 100.0),
    ("pressure", "1 mbar", 100.0),
    ("pressure", "1 kPa", 1000.0),
    ("temperature", "0 C", 273.15),
    ("temperature", "32 F", 273.15),
    ("temperature", "212 °F", 373.15),
    ("temperature", "250 K", 250.0),
    ("time", "1 min", 60.0),
    ("time", "4 h", 14400.0),
    ("time", "7 days", 604800.0),
    ("time", "250 ms", 0.25),
    ("force", "1 kgf", 9.80665),
    ("force", "1 lbf", 4.4482216152605),
    ("impulse", "1 lbf·s", 4.4482216152605),
    ("speed", "1 mph", 0.44704),
    ("speed", "3.6 km/h", 1.0),
    ("speed", "1 kt", 1852 / 3600),
    ("speed", "1 ft/s", 0.3048),
    ("angle", "180 deg", math.pi),
    ("share", "65 %", 0.65),
    ("density", "1.8 g/cm³", 1800.0),
    ("area", "60 mm²", 6e-5),
    ("volume", "96 cm3", 9.6e-5),
    ("volume", "1 l", 1e-3),
    ("burn_rate", "1 in/s", 0.0254),
    ("heavy_mass", "1 lb", 0.45359237),
    ("area", "1 in²", 6.4516e-4),
    ("volume", "1 in³", 1.6387064e-5),
    ("density", "1 lb/in³", 0.45359237 / 0.0254**3),
    ("speed", "1 ft/s", 0.3048),
    ("gas_speed", "1 ft/s", 0.3048),
    ("temperature_step", "9 °F", 5.0),
    ("temperature_step", "5 °C", 5.0),
    ("hot_temperature", "32 °F", 273.15),
    ("per_temperature", "0.1 %/°F", 0.0018),
    ("per_temperature", "0.2 %/K", 0.002),
    ("mass_flux", "1 lb/(in²·s)", 0.45359237 / 0.0254**2),
    ("dynamic_pressure", "1 lbf/ft²", 4.4482216152605 / 0.3048**2),
    ("acceleration", "1 ft/s²", 0.3048),
    ("per_mass", "1 /lb", 1 / 0.45359237),
]


@pytest.mark.parametrize(("kind", "typed", "si"), EXACT)
def test_exact_definitions(kind: str, typed: str, si: float) -> None:
    assert parse(typed, kind).si == pytest.approx(si, rel=1e-11)


def test_pounds_per_square_inch_as_printed() -> None:
    # NIST SP 811, appendix B.8: psi to pascal, 6.894 757 E+03.
    assert round(parse("1 psi", "pressure").si, 3) == 6894.757


def test_ounce_as_printed() -> None:
    # NIST SP 811, appendix B.8: ounce (avoirdupois) to gram, 2.834 952 E+01.
    assert round(parse("1 oz", "mass").si * 1000, 5) == 28.34952


# Printed in NIST Special Publication 811 (2008), appendix B.8, at the digits printed there.
PRINTED = [
    ("pressure", "1 psi", 6.894757e3, 6),
    ("force", "1 lbf", 4.448222, 6),
    ("impulse", "1 lbf·s", 4.448222, 6),
    ("density", "1 lb/in³", 2.767990e4, 6),
    ("area", "1 in²", 6.4516e-4, 6),
    ("volume", "1 in³", 1.638706e-5, 6),
    ("speed", "1 mph", 4.4704e-1, 6),
    ("dynamic_pressure", "1 lbf/ft²", 4.788026e1, 6),
    ("air_pressure", "1 inHg", 3.386389e3, 6),
]


@pytest.mark.parametrize(("kind", "typed", "si", "digits"), PRINTED)
def test_us_units_as_printed(kind: str, typed: str, si: float, digits: int) -> None:
    assert parse(typed, kind).si == pytest.approx(si, rel=0.6 * 10**-digits)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("system", [METRIC, US], ids=["metric", "US"])
def test_every_kind_is_written_and_asked_for_in_the_chosen_system(kind: str, system: UnitSystem) -> None:
    alike = {"time", "angle", "share"}
    assert (getattr(METRIC, kind) == getattr(US, kind)) == (kind in alike)
    text = show(300.0, kind, system)
    assert text.endswith(unit_of(kind, system))
    assert parse(example(kind, system), kind, system).si > 0
    other = US if system is METRIC else METRIC
    if kind not in alike:
        assert example(kind, system) != example(kind, other)


def test_units_that_nobody_chooses_follow_the_nearest_choice() -> None:
    assert chosen() == METRIC
    mixed = chosen(temperature="°F", pressure="bar")
    assert (mixed.temperature_step, mixed.per_temperature, mixed.air_pressure) == ("°F", "%/°F", "hPa")


def test_a_number_is_shown_as_finely_in_either_system() -> None:
    assert show(0.00015, "length", METRIC, 2) == "0.15 mm"
    assert show(0.00015, "length", US, 2) == "0.006 in"
    assert show(240e6, "pressure", METRIC, 0) == "240 MPa"
    assert show(4e6, "pressure", US, 0) == "580 psi"
    assert show(2.0, "temperature_step", US) == "4 °F"


def _units_of(kind: str) -> list[tuple[str, str]]:
    return list(KINDS[kind].accepted.items())


@pytest.mark.parametrize("kind", KINDS)
def test_every_unit_a_field_takes_agrees_with_pint_itself(kind: str) -> None:
    for typed, name in _units_of(kind):
        ours = parse(f"12.5 {typed}", kind).si
        theirs = PINT.Quantity(12.5, name).to(KINDS[kind].si or "dimensionless").magnitude
        assert ours == pytest.approx(theirs, rel=1e-11), typed


@pytest.mark.parametrize("kind", KINDS)
def test_a_size_of_the_table_is_the_one_of_pint(kind: str) -> None:
    for name in set(KINDS[kind].accepted.values()):
        here = to_si(12.5, name, KINDS[kind])
        there = PINT.Quantity(12.5, name).to(KINDS[kind].si or "dimensionless").magnitude
        assert here == pytest.approx(there, rel=2e-15), name
        assert from_si(here, name, KINDS[kind]) == pytest.approx(12.5, rel=2e-14), name


def without_pint(code: str) -> bool:
    """Whether a fresh process has done something without loading pint."""
    run = [sys.executable, "-c", f"import sys\nfrom app import units\n{code}\nprint('pint' not in sys.modules)"]
    done = subprocess.run(run, cwd=Path(__file__).parents[1], capture_output=True, text=True, check=True)
    return done.stdout.strip() == "True"


def test_no_page_waits_for_pint_in_any_system_that_can_be_chosen() -> None:
    systems = [METRIC, US]
    for column, kind in UNIT_FIELDS.items():
        systems += [METRIC._replace(**{kind: u}) for u in get_args(WorkshopIn.model_fields[column].annotation)]
    assert without_pint(
        f"for system in {[tuple(s) for s in systems]}:\n"
        "    system = units.UnitSystem(*system)\n"
        "    for kind in units.KINDS:\n"
        "        units.show(1.0, kind, system), units.parse('1', kind, system), units.editable(1 / 3, kind, system)"
    )


def test_pint_is_asked_for_what_the_table_lacks() -> None:
    assert not without_pint("assert round(units.parse('1 kgf', 'force').si, 5) == 9.80665")


@pytest.mark.parametrize("kind", KINDS)
def test_every_unit_is_read_in_capitals_too(kind: str) -> None:
    for typed, _ in _units_of(kind):
        assert parse(f"2 {typed.upper()}", kind).si == parse(f"2 {typed}", kind).si


@pytest.mark.parametrize("kind", KINDS)
def test_every_example_in_a_message_can_be_typed(kind: str) -> None:
    for text in KINDS[kind].example.split(" or "):
        parse(text, kind)


@pytest.mark.parametrize(
    ("typed", "metres"),
    [
        ("19 mm", 0.019),
        ("19mm", 0.019),
        ("  19   mm ", 0.019),
        ("19,05 mm", 0.01905),
        ("19.05", 0.01905),
        (".75 in", 0.01905),
        (",75 in", 0.01905),
        ("3/4 in", 0.01905),
        ('3/4"', 0.01905),
        ("3/4″", 0.01905),
        ("3/4”", 0.01905),
        ("1 1/2 in", 0.0381),
        ("1  1 / 2 inches", 0.0381),
        ("+5 mm", 0.005),
        ("-5 mm", -0.005),
        ("−5 mm", -0.005),
        ("0", 0.0),
        ("007 mm", 0.007),
    ],
)
def test_shapes_of_a_number(typed: str, metres: float) -> None:
    assert parse(typed, "length").si == metres


@pytest.mark.parametrize(
    ("typed", "kind", "si"),
    # Inch, foot, pound and ounce by NIST SP 811 (2008), appendix B.8, exact; 101 325 Pa by ISO 2533:1975.
    [
        ("½ in", "length", 0.0127),
        ("1½ in", "length", 0.0381),
        ('1-3/4"', "length", 0.04445),
        ("1½″", "length", 0.0381),
        ("0,125 in", "length", 0.003175),
        ("5 ft 6 in", "length", 5.5 * 0.3048),
        ("5' 6\"", "length", 5.5 * 0.3048),
        ("5'6\"", "length", 5.5 * 0.3048),
        ("5’ 6”", "length", 5.5 * 0.3048),
        ("5′ 6″", "length", 5.5 * 0.3048),
        ("5 ft 6 1/2 in", "length", 5.5 * 0.3048 + 0.0127),
        ("5 ft 6½ in", "length", 5.5 * 0.3048 + 0.0127),
        ("-5 ft 6 in", "length", -5.5 * 0.3048),
        ("1 lb 14 oz", "mass", 30 * 0.45359237 / 16),
        ("16 lb 4 oz", "mass", 16.25 * 0.45359237),
        ("16 lb, 4 oz", "mass", 16.25 * 0.45359237),
        ("5 pounds", "mass", 5 * 0.45359237),
        ("1,234.5 g", "mass", 1.2345),
        ("1.234,5 g", "mass", 1.2345),
        ("1,234,567 g", "mass", 1234.567),
        ("１２３．４ g", "mass", 0.1234),
        ("12\u2009345\u202fg", "mass", 12.345),
        ("212 °F", "temperature", 373.15),
        ("20 ºC", "temperature", 293.15),
        ("20℃", "temperature", 293.15),
        ("−5 °C", "temperature", 268.15),
        ("1 h 30 min", "time", 5400.0),
        ("100 psig", "pressure", 100 * 6894.757293168 + 101325),
        ("100 psia", "pressure", 100 * 6894.757293168),
        ("2 bar g", "pressure", 301325.0),
    ],
)
def test_what_people_write_is_read(typed: str, kind: str, si: float) -> None:
    assert parse(typed, kind).si == pytest.approx(si, rel=1e-11)
    assert parse(typed, kind).typed == typed


def test_a_pressure_above_the_airs_takes_psig_as_it_is() -> None:
    assert parse("100 psig", "pressure", above_air=True).si == pytest.approx(100 * 6894.757293168)
    assert parse("100 psi", "pressure", above_air=True).si == pytest.approx(100 * 6894.757293168)
    assert parse("100 psia", "pressure", above_air=True).si == pytest.approx(100 * 6894.757293168 - 101325)


@pytest.mark.parametrize(
    ("typed", "kind", "readings"),
    [
        ("2,500 ft", "altitude", ("2.5 ft", "2500 ft")),
        ("2,268 g", "mass", ("2.268 g", "2268 g")),
        ("1,234", "mass", ("1.234 g", "1234 g")),
        ("1,500psi", "pressure", ("1.5psi", "1500psi")),
        ("-1,500 ft", "altitude", ("-1.5 ft", "-1500 ft")),
        ("2 lb 1,234 oz", "mass", ("2 lb 1.234 oz", "2 lb 1234 oz")),
    ],
)
def test_what_can_mean_two_things_is_told_with_both(typed: str, kind: str, readings: tuple[str, str]) -> None:
    with pytest.raises(UnitError, match="can mean") as asked:
        parse(typed, kind)
    assert asked.value.readings == readings


@pytest.mark.parametrize("typed", ["5 ft 14 in", "5 in 4 ft", "5.5 ft 6 in", "5 ft 6 ft", "1 lb 16 oz"])
def test_several_units_must_go_together(typed: str) -> None:
    with pytest.raises(UnitError, match="cannot stand behind"):
        parse(typed, "mass" if "lb" in typed else "length")


@given(st.integers(0, 400), st.integers(0, 15), st.sampled_from([0, 1, 3, 7]))
def test_pounds_and_ounces_add_up(pounds: int, ounces: int, eighths: int) -> None:
    found = parse(f"{pounds} lb {ounces} {eighths}/8 oz", "mass").si
    exact = (Fraction(pounds) + (ounces + Fraction(eighths, 8)) / 16) * Fraction("0.45359237")
    assert found == pytest.approx(float(exact), rel=1e-11)


@pytest.mark.parametrize(
    "typed",
    [
        "mm",
        "five mm",
        "1e3 mm",
        "1,00.5 mm",
        "1.2.3 mm",
        "3//4 in",
        "1/2/3 in",
        "19 mm 5",
        "0x10 mm",
        "nan",
        "inf",
        "--5 mm",
        "5 + 5 mm",
        "__import__('os')",
        "2**3 mm",
        "² in",
        "19. mm",
        "5 ft 6",
        "5 ft -6 in",
        "$5",
    ],
)
def test_what_is_not_a_number_with_a_unit_is_refused_in_words(typed: str) -> None:
    with pytest.raises(UnitError, match=r"is not a length|is not known here|goes with"):
        parse(typed, "length")


@pytest.mark.parametrize("typed", ["", "   "])
def test_nothing_typed_asks_for_the_kind(typed: str) -> None:
    with pytest.raises(UnitError, match="Type a mass, such as"):
        parse(typed, "mass")


def test_a_fraction_over_zero_is_refused() -> None:
    with pytest.raises(UnitError, match="other than 0 under the line"):
        parse("3/0 in", "length")


def test_a_number_too_large_to_hold_is_refused() -> None:
    with pytest.raises(UnitError, match="too large to be a length"):
        parse("9" * 400 + " mm", "length")


@pytest.mark.parametrize(
    ("typed", "kind", "other"),
    [
        ("19 g", "length", "a mass"),
        ("19 mm", "mass", "a length"),
        ("5 psi", "temperature", "a pressure"),
        ("100 C", "pressure", "a temperature"),
        ("5 N·s", "force", "an impulse"),
        ("12 %", "length", "a share"),
    ],
)
def test_a_unit_of_another_kind_is_named(typed: str, kind: str, other: str) -> None:
    with pytest.raises(UnitError, match=rf"goes with {other}; this field takes {KINDS[kind].noun}"):
        parse(typed, kind)


def test_an_unknown_unit_is_answered_with_those_known() -> None:
    with pytest.raises(UnitError, match=r"“furlong” is not known here. Use one of: mm, cm, m"):
        parse("3 furlong", "length")


def test_a_bare_number_is_in_the_workshops_unit_and_keeps_that_meaning() -> None:
    assert parse("19", "length") == Quantity(0.019, "19 mm")
    assert parse("3/4", "length", IMPERIAL) == Quantity(0.01905, "3/4 in")
    assert parse("245", "temperature", IMPERIAL).typed == "245 °F"
    again = parse(parse("0,75", "length", IMPERIAL).typed, "length", METRIC)
    assert again.si == 0.01905  # the workshop changed its units; what was typed still means the same


def test_what_was_typed_is_kept_as_it_was() -> None:
    assert parse(' 3/4" ', "length").typed == '3/4"'


@pytest.mark.parametrize("system", [METRIC, IMPERIAL], ids=["metric", "imperial"])
@pytest.mark.parametrize("kind", KINDS)
@given(data=st.data())
def test_an_edit_field_saved_again_changes_nothing(kind: str, system: UnitSystem, data: st.DataObject) -> None:
    low, high = (200.0, 2000.0) if KINDS[kind].offset else (1e-6, 1e6)
    value = data.draw(st.floats(low, high))
    once = parse(editable(value, kind, system), kind, system).si
    assert once == pytest.approx(value, rel=1e-8)  # nine figures are shown
    assert parse(editable(once, kind, system), kind, system).si == pytest.approx(once, rel=1e-11)


@pytest.mark.parametrize("system", [METRIC, IMPERIAL], ids=["metric", "imperial"])
@pytest.mark.parametrize("kind", KINDS)
@given(value=st.decimals("0.001", "9999", places=3))
def test_what_a_person_typed_comes_back_exactly(kind: str, system: UnitSystem, value: Decimal) -> None:
    typed = parse(str(value), kind, system).si
    assert parse(editable(typed, kind, system), kind, system).si == typed


@given(st.decimals("0.001", "99999", places=3))
def test_a_comma_is_a_decimal_sign_where_it_cannot_part_thousands(value: Decimal) -> None:
    whole, _, behind = str(value).partition(".")
    text = f"{whole},{behind}"
    if whole == "0" or len(whole) > 3:
        assert parse(text, "mass").si == parse(str(value), "mass").si
        return
    with pytest.raises(UnitError, match="can mean") as asked:
        parse(text, "mass")
    assert [parse(one, "mass").si for one in asked.value.readings] == [
        parse(str(value), "mass").si,
        parse(f"{whole}{behind}", "mass").si,
    ]


@given(st.integers(0, 40), st.integers(1, 63), st.sampled_from([2, 4, 8, 16, 32, 64]))
def test_fractions_of_an_inch(whole: int, top: int, bottom: int) -> None:
    assert parse(f"{whole} {top}/{bottom} in", "length").si == pytest.approx((whole + top / bottom) * 0.0254, rel=1e-11)


@given(st.text(max_size=30))
def test_any_text_is_read_or_refused_in_words(text: str) -> None:
    try:
        found = parse(text, "length").si
    except UnitError as error:
        words = str(error)
    else:
        assert math.isfinite(found)
        return
    assert words.endswith(".")


def test_writing_for_people() -> None:
    assert show(0.01905, "length") == "19.05 mm"
    assert show(0.01905, "length", IMPERIAL) == "0.750 in"
    assert show(None, "length") == "–"
    assert show(math.nan, "length") == "–"
    assert show(-1e-9, "length") == "0.00 mm"  # no minus before nothing
    assert show(391.15, "temperature") == "118 °C"
    assert show(1850.0, "density") == "1.850 g/cm³"
    assert show(9.652e-5, "volume") == "96.5 cm³"
    assert show(0.95, "share", METRIC, 0) == "95 %"
    assert unit_of("area") == "mm²"
    assert editable(None, "mass") == ""
    assert convert(6894757.293168, "pressure", IMPERIAL) == pytest.approx(1000)


@pytest.mark.parametrize(
    ("typed", "kind", "shown"),
    [
        ("2 mm", "length", "2 mm"),
        ("8.5 mm", "length", "8.5 mm"),
        ("3/4 in", "length", "0.75 in"),
        ("31.75 mm", "length", "1.25 in"),
        ("0.1 g", "mass", "0.1 g"),
        ("0.5 MPa", "pressure", "0.5 MPa"),
        ("1500 psi", "pressure", "1500 psi"),
        ("20 °C", "temperature", "68 °F"),
        ("17.3 m", "altitude", "17.3 m"),
        ("1/3 in", "length", "0.333333333 in"),
    ],
)
def test_a_field_shows_the_unit_in_which_the_number_is_short(typed: str, kind: str, shown: str) -> None:
    """The workshop's own where it can: nobody typed 0.0787401575 in."""
    inches = UnitSystem(length="in", altitude="ft", mass="oz", pressure="psi", temperature="°F", speed="mph")
    assert editable(parse(typed, kind, inches).si, kind, inches) == shown


class _Sizes(BaseModel):
    width: Annotated[Quantity, Measure("length", gt=0, le=3)] = Quantity(0.01, "10 mm")
    share: Annotated[Quantity, Measure("share", ge=0, lt=1)] = Quantity(0.5, "50 %")
    cure: Annotated[Quantity, Measure("time", ge=0, le=90 * 86400, unit="days")] = Quantity(0, "0 days")


def _message(texts: dict[str, str], units: UnitSystem = METRIC) -> str:
    with pytest.raises(ValidationError) as caught:
        _Sizes.model_validate(texts, context={"units": units})
    return str(caught.value.errors()[0]["msg"])


def test_bounds_are_told_in_the_workshops_units() -> None:
    assert _message({"width": "0"}) == "This must be more than 0 mm; “0 mm” is not."
    assert _message({"width": "4 m"}) == "This must be at most 3000 mm; “4 m” is not."
    assert _message({"width": "4 m"}, IMPERIAL) == "This must be at most 118.110236 in; “4 m” is not."
    assert _message({"share": "100 %"}) == "This must be less than 100 %; “100 %” is not."
    assert _message({"share": "-1"}) == "This must be at least 0 %; “-1 %” is not."
    assert _message({"width": "1 g"}).startswith("“g” goes with a mass")


def test_bounds_hold_for_quantities_made_by_the_program_too() -> None:
    with pytest.raises(ValidationError, match="more than 0 mm"):
        _Sizes.model_validate({"width": Quantity(-1.0, "-1 m")})


def test_a_field_with_a_natural_unit_reads_a_bare_number_in_it() -> None:
    assert _Sizes.model_validate({"cure": "7"}).cure == Quantity(604800.0, "7 days")
    assert _Sizes.model_validate({"cure": "12 h"}).cure.si == 43200.0
    assert _message({"cure": "100"}) == "This must be at most 90 days; “100 days” is not."


def test_a_number_below_zero_has_a_true_minus_and_is_read_back() -> None:
    assert show(-0.141, "share") == "−14.1 %"
    assert show(270.15, "temperature", decimals=0) == "−3 °C"
    assert parse(show(-0.141, "share"), "share").si == pytest.approx(-0.141)


def test_a_calculations_sentence_is_written_in_the_workshops_units() -> None:
    note = Note(
        "Core ±{core}, at {pressure}.",
        {"core": Amount(0.000254, "length", 3), "pressure": Amount(6.894757e6, "pressure")},
    )
    assert say(note) == "Core ±0.254 mm, at 6.89 MPa."
    assert say(note, METRIC._replace(length="in", pressure="psi")) == "Core ±0.0100 in, at 1000 psi."
    assert say("As it was stored.") == "As it was stored."


def test_a_sentence_without_its_number_is_a_fault_of_the_program() -> None:
    with pytest.raises(KeyError):
        Note("Core ±{core}.")
