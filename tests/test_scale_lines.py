"""Lines of keyboard-wedge scales: what each shape means, and that no line becomes a wrong number.

The shapes are common practice among makers of scales, no source.
"""

import re
import unicodedata
from decimal import Decimal

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from pydantic import ValidationError

from app import scale_lines
from app.models.grain import GrainIn
from app.scale_lines import ScaleLineError
from app.units import Quantity, UnitError, UnitSystem, parse


def weigh(line: str, units: UnitSystem | None = None) -> Quantity:
    """What the form of a grain makes of a line."""
    given = {"pattern_id": 1, "number": "1", "gross": line}
    return GrainIn.model_validate(given, context={"units": units or UnitSystem()}).gross


def refusal(line: str) -> str:
    with pytest.raises(ValidationError) as refused:
        weigh(line)
    (fault,) = refused.value.errors()
    return str(fault["msg"])


@pytest.mark.parametrize(
    ("line", "grams", "kind"),
    [
        ("123.4 g", 123.4, "typed"),
        ("+  123.40 g", 123.4, "typed"),
        ("  123.4", 123.4, "typed"),
        ("123,4", 123.4, "typed"),
        ("0.1234 kg", 123.4, "typed"),
        ("ST,GS,+0123.4g", 123.4, "gross"),
        ("ST,NT,+  123.4 g\r\n", 123.4, "net"),
        ("ST,+00123.40  g", 123.4, "gross"),
        ("st,gs,    123,4 g", 123.4, "gross"),
        ("N     +   123.40 g  ", 123.4, "net"),
        ("G     +   123.40 g  ", 123.4, "gross"),
        ("Net: 123.4 g", 123.4, "net"),
        ("GROSS 123.4g", 123.4, "gross"),
        ("S S     123.40 g", 123.4, "gross"),
        ("123.4 g N", 123.4, "net"),
        ("\x02+123.4 g\x03", 123.4, "typed"),
        ("4.35 oz", 123.3204, "typed"),
        ("1,234.5 g", 1234.5, "typed"),
        ("ST,GS,+001,234 kg", 1234.0, "gross"),
        ("0 lb 6 oz", 170.0971, "typed"),
        ("1 lb 14 oz", 850.4857, "typed"),
        ("S S   1 lb 14.0 oz", 850.4857, "gross"),
    ],
)
def test_a_scale_s_line_is_the_weight_it_shows(line: str, grams: float, kind: str) -> None:
    assert scale_lines.parse(line).kind == kind
    assert weigh(line).si == pytest.approx(grams / 1000, rel=1e-6)


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("US,GS,+0123.4g", "not at rest"),
        ("US,NT,  0123.4 g", "not at rest"),
        ("S D     123.40 g", "not at rest"),
        ("123.4 g ?", "not at rest"),
        ("123.4 g US", "not at rest"),
        ("N     +   123.40    ", "sent no unit"),  # a marked line without its unit: the scale was moving
        ("S S     123.40", "sent no unit"),
        ("OL,GS,+9999.9g", "overload"),
        ("ST,GS,-------", "overload"),
        ("S +", "overload"),
        ("S I", "overload"),
        ("OL", "overload"),
        ("EEEE", "overload"),
        ("Err 4", "overload"),
        ("- - - - -", "not a mass"),
        ("------", "overload"),
        ("HHHHHH", "overload"),
        ("-123.4 g", "more than nothing"),
        ("ST,GS,-0123.4g", "more than nothing"),
        ("N     -   123.40 g", "more than nothing"),
        ("ST,GS,+0000.0g", "more than 0"),
        ("T     +     9.60 g", "tare"),
        ("ST,TR,+0009.6g", "tare"),
        ("QT,GS,+     12 pcs", "counting"),
        ("123.4 pcs", "not known here"),
        ("123.4 %", "takes a mass"),
        ("123.4 g 123.5 g", "more than one weight"),
        ("123.4 g123.4 g", "more than one weight"),
        ("17ST,GS,+0123.4g", "more than one weight"),
        ("1,234 g", "can mean 1.234 g or 1234 g"),
        ("ST,GS,+  1,234 g", "can mean 1.234 g or 1234 g"),
        ("12 345 g", "more than one weight"),
        ("HELLO", "not a mass"),
        ("ST,GS,", "Type a mass"),
        ("N", "not a mass"),
        ("?", "not at rest"),
    ],
)
def test_a_line_that_is_no_weight_is_refused_in_words(line: str, words: str) -> None:
    assert words in refusal(line)


def test_the_line_is_kept_as_it_came() -> None:
    assert weigh("ST,GS,+0123.4g").typed == "ST,GS,+0123.4g"
    assert weigh(" N     +   123.40 g ").typed == "N + 123.40 g"
    assert weigh("123.4").typed == "123.4 g"
    assert weigh(weigh("ST,GS,+0123.4g").typed).si == pytest.approx(0.1234)


def test_a_bare_number_is_in_the_workshop_s_own_unit() -> None:
    assert weigh("4.35", UnitSystem(mass="oz")).si == pytest.approx(0.1233204, rel=1e-6)


SHAPES = [
    "{v} {u}",
    "+  {v} {u}",
    "   {v}{u}",
    "ST,GS,+{v}{u}",
    "ST,NT,  {v} {u}\r",
    "N     +   {v} {u}  ",
    "G {v} {u}",
    "S S   {v} {u}",
    "Net {v} {u}",
    "{v} {u} G",
]


@given(
    st.decimals(min_value="0.01", max_value="9999.99", places=2),
    st.sampled_from(SHAPES),
    st.sampled_from([("g", 1e-3), ("kg", 1.0), ("oz", 0.028349523125), ("lb", 0.45359237)]),
    st.integers(0, 3),
    st.sampled_from(".,"),
)
def test_every_shape_gives_back_the_number_in_it(
    value: Decimal, shape: str, unit: tuple[str, float], zeros: int, mark: str
) -> None:
    name, kg = unit
    text = ("0" * zeros + f"{value:.2f}").replace(".", mark)
    assert parse(scale_lines.parse(shape.format(v=text, u=name)).text, "mass").si == pytest.approx(
        float(value) * kg, rel=1e-9
    )


PIECES = st.lists(
    st.one_of(
        st.sampled_from(
            [
                "ST",
                "US",
                "OL",
                "GS",
                "NT",
                "TR",
                ",",
                "N",
                "G",
                "T",
                "S",
                "D",
                "+",
                "-",
                " ",
                "  ",
                "g",
                "kg",
                "oz",
                "?",
                ".",
                "0",
                "1",
                "123.4",
                "0123.40",
                "\r\n",
                "\x02",
                "/",
                "Net",
                ":",
                "−",
            ]
        ),
        st.text(max_size=3),
    ),
    max_size=9,
).map("".join)


@given(PIECES)
@example("1\n2 g")
@example("٣ g")
@example("3 4/5 g")
@example("+-5 g")
@example("½ oz")
def test_any_line_is_refused_or_is_the_one_number_in_it(line: str) -> None:
    try:
        found = parse(scale_lines.parse(line).text, "mass")
    except (ScaleLineError, UnitError):
        return
    line = unicodedata.normalize("NFKC", line).replace("\u2044", "/")  # a sign such as ½ is a fraction typed by hand
    numbers = re.findall(r"\d+(?:[.,]\d+)?|[.,]\d+", line)
    if "/" in line:  # a fraction typed by hand: its parts are the numbers
        assert len(numbers) in (2, 3)
        return
    assert len(numbers) == 1, "a weight came out of a line with several numbers, or none"
    factor = 1.0 if "kg" in line else 0.028349523125 if "oz" in line else 1e-3
    if re.search(r"lb|pound|ounce|mg|µg|lbs", line):
        return
    assert abs(found.si) == pytest.approx(float(numbers[0].replace(",", ".")) * factor, rel=1e-9)
    assert found.si >= 0 or "-" in line or "−" in line
