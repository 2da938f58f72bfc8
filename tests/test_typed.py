"""Numbers as people write them: what is read is read exactly, what can mean two things is never taken for one."""

import contextlib
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.typed import NoNumber, TwoReadings, fold, plain, take
from app.units import METRIC, UnitError, parse

WIDE = str.maketrans("0123456789,./-", "０１２３４５６７８９，．／－")
digits = st.integers(1, 999_999)
behind = st.text("0123456789", min_size=1, max_size=9)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("19", "19"),
        ("19.05", "19.05"),
        ("19,05", "19.05"),
        (".75", ".75"),
        (",75", ".75"),
        ("007", "7"),
        ("½", "1/2"),
        ("1½", "3/2"),
        ("1 ½", "3/2"),
        ("⅛", "1/8"),
        ("1-3/4", "7/4"),
        ("1 3/4", "7/4"),
        ("1⁄2", "1/2"),
        ("1,234.5", "1234.5"),
        ("1.234,5", "1234.5"),
        ("1,234,567", "1234567"),
        ("1.234.567", "1234567"),
        ("1,234,567.8", "1234567.8"),
        ("1.234.567,8", "1234567.8"),
        ("12,345.678", "12345.678"),
        ("0,125", "0.125"),
        ("0,000", "0"),
        ("1234,567", "1234.567"),
        ("1.234", "1.234"),
        ("1,23", "1.23"),
        ("1,2345", "1.2345"),
        ("12 345", "12345"),
        ("12\u202f345,6", "12345.6"),
        ("12\u00a0345", "12345"),
        ("１９．０５", "19.05"),
        ("－５", "-5"),
        ("−5", "-5"),
        ("–5", "-5"),
        ("+5", "5"),
        ("-1 3/4", "-7/4"),
        ("\u200e5", "5"),
    ],
)
def test_what_is_clear_is_read(text: str, value: str) -> None:
    assert plain(text) == Fraction(value)


@pytest.mark.parametrize(
    ("text", "readings"),
    [
        ("1,234", ("1.234", "1234")),
        ("2,500", ("2.5", "2500")),
        ("10,000", ("10", "10000")),
        ("-1,500", ("1.5", "1500")),
        ("100,250", ("100.25", "100250")),
        ("２，５００", ("2.5", "2500")),
    ],
)
def test_a_comma_and_three_digits_can_mean_two_things(text: str, readings: tuple[str, str]) -> None:
    with pytest.raises(TwoReadings) as asked:
        plain(text)
    assert asked.value.readings == readings


@pytest.mark.parametrize(
    "text",
    [
        "",
        "x",
        "19.",
        "1.2.3",
        "1,23,456",
        "1,234,56",
        "12,3456,789",
        "0,125,000",
        "1,234/5",
        "1.234,567.8",
        "1 2 3",
        "12 3456",
        "1/0",
        "1 1/0",
        "²",
        "٣",
        "1e3",
        "0x10",
        "1_000",
        "--5",
        "5-",
        "1-2",
        "1'234",
        "9" * 61,
        "∞",
    ],
)
def test_what_is_no_number_is_refused(text: str) -> None:
    with pytest.raises(NoNumber):
        plain(text)


@given(digits, behind, st.sampled_from(".,"), st.booleans())
def test_grouped_thousands_with_decimals_are_exact(whole: int, rest: str, point: str, wide: bool) -> None:
    grouped = f"{whole:,}".replace(",", "." if point == "," else ",")
    text = f"{grouped}{point}{rest}"
    if whole < 1000 and point == "," and len(rest) == 3:
        return  # no thousands were grouped, and the comma can part them
    assert plain(text.translate(WIDE) if wide else text) == Fraction(f"{whole}.{rest}")


@given(digits, st.integers(0, 99), st.integers(1, 64))
def test_mixed_fractions_are_exact(whole: int, top: int, bottom: int) -> None:
    value = whole + Fraction(top, bottom)
    assert plain(f"{whole} {top}/{bottom}") == plain(f"{whole}-{top}/{bottom}") == value


@given(st.text("0123456789.,/ -−½¾'\"", max_size=14))
def test_one_comma_and_three_digits_never_pass_for_one_reading(text: str) -> None:
    """Whatever stands around it: `d,ddd` is read only where more signs, or a nought before it, make it clear."""
    try:
        value = plain(text)
    except (NoNumber, TwoReadings):
        return
    bare = fold(text).lstrip("+-−– ")
    whole, comma, rest = bare.partition(",")
    if comma and len(rest) == 3 and rest.isdecimal() and whole.isdecimal() and len(whole) <= 3:
        assert whole.startswith("0"), (text, value)


@given(st.integers(1, 999), st.integers(0, 999), st.sampled_from(["g", "kg", "lb", "oz", ""]))
def test_what_can_mean_two_things_gives_both_and_each_is_then_clear(whole: int, rest: int, unit: str) -> None:
    with pytest.raises(UnitError) as asked:
        parse(f"{whole},{rest:03} {unit}", "mass")
    low, high = (parse(one, "mass").si for one in asked.value.readings)
    unit_kg = parse(f"1 {unit}", "mass", METRIC).si
    assert low == pytest.approx(float(Fraction(f"{whole}.{rest:03}")) * unit_kg, rel=1e-11)
    assert high == pytest.approx(float(1000 * whole + rest) * unit_kg, rel=1e-11)


@given(st.text(max_size=40))
def test_any_text_is_a_number_or_is_not(text: str) -> None:
    with contextlib.suppress(NoNumber, TwoReadings):
        assert isinstance(plain(text), Fraction)


def test_a_number_is_taken_from_a_place_on() -> None:
    assert take("5 ft 6 in", 4) == (Fraction(6), 6)
