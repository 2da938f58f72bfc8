"""Recipes against common practice, handbook numbers and exact counts."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.calc.base.errors import BlendError, GeometryError, OutOfRange
from app.calc.propellant import recipe
from app.units import say

KNSB = {"potassium_nitrate": 0.65, "sorbitol": 0.35}


def test_a_400_g_batch_of_65_28_7() -> None:
    """Common practice, no source: 260/112/28 g."""
    scaled = recipe.scale({"KNO3": 0.65, "sorbitol": 0.28, "sugar": 0.07}, 0.400, 0.001)
    assert {k: round(1000 * m, 6) for k, m in scaled.masses.items()} == {
        "potassium_nitrate": 260,
        "sorbitol": 112,
        "sucrose": 28,
    }
    assert scaled.deviation < 1e-12


@pytest.mark.parametrize(
    ("key", "molar_mass"),
    [  # IUPAC atomic weights summed by hand; CRC Handbook prints the same (from memory)
        ("potassium_nitrate", 101.103),
        ("sorbitol", 182.17),
        ("sucrose", 342.30),
        ("dextrose", 180.156),
        ("erythritol", 122.12),  # NIST Chemistry WebBook: 122.1198
        ("xylitol", 152.146),
    ],
)
def test_molar_mass(key: str, molar_mass: float) -> None:
    assert 1000 * recipe.INGREDIENTS[key].molar_mass == pytest.approx(molar_mass, abs=0.006)


@pytest.mark.parametrize(("sugar", "printed"), [("sorbitol", 1.841), ("sucrose", 1.889), ("dextrose", 1.879)])
def test_theoretical_density_of_65_35(sugar: str, printed: float) -> None:
    """R. Nakka's pages on the three blends, from memory; 0.2 % for the spread of crystal densities."""
    density = recipe.theoretical_density({"potassium_nitrate": 0.65, sugar: 0.35})
    assert density / 1000 == pytest.approx(printed, rel=0.002)


def test_oxygen_balance_in_both_conventions() -> None:
    """Handbook entries, from memory: potassium nitrate +39.6 % (to K2O), +47.5 % (none); sucrose -112.2 %."""
    nitrate, sugar = {"potassium_nitrate": 1.0}, {"sucrose": 1.0}
    assert 100 * recipe.oxygen_balance(nitrate) == pytest.approx(39.6, abs=0.05)
    assert 100 * recipe.oxygen_balance(nitrate, to="none") == pytest.approx(47.5, abs=0.05)
    assert 100 * recipe.oxygen_balance(sugar) == pytest.approx(-112.2, abs=0.05)
    blend = recipe.oxygen_balance({"potassium_nitrate": 0.65, "sucrose": 0.35})
    assert blend == pytest.approx(0.65 * recipe.oxygen_balance(nitrate) + 0.35 * recipe.oxygen_balance(sugar))


@pytest.mark.parametrize(
    ("name", "word"),
    [
        ("ammonium perchlorate", "perchlorates"),
        ("potassium chlorate", "chlorates"),
        ("ammonium nitrate", "only oxidiser"),
        ("sodium nitrate", "only oxidiser"),
        ("aluminium", "metal"),
        ("sulphur", "sulfur"),
        ("charcoal", "charcoal"),
        ("red iron oxide", "catalysts"),
        ("water", "dried"),
        ("dextrose monohydrate", "anhydrous"),
        ("epoxy", "family"),
    ],
)
def test_other_ingredients_are_refused_with_the_reason(name: str, word: str) -> None:
    with pytest.raises(BlendError, match="potassium-nitrate/sugar family") as caught:
        recipe.check_blend({"potassium_nitrate": 0.65, "sorbitol": 0.34, name: 0.01})
    assert word in str(caught.value)


@pytest.mark.parametrize(
    ("parts", "word"),
    [
        ({"potassium_nitrate": 0.65, "sorbitol": 0.34}, "99.0000 %"),
        ({"potassium_nitrate": 0.65, "sorbitol": 0.35001}, "100.0010 %"),
        ({"potassium_nitrate": 1.0}, "no sugar"),
        ({"sorbitol": 1.0}, "no oxidiser"),
        ({"potassium_nitrate": 0.49, "sorbitol": 0.51}, "outside 50-80 %"),
        ({"potassium_nitrate": 0.81, "sorbitol": 0.19}, "outside 50-80 %"),
        ({"potassium_nitrate": 0.65, "sorbitol": -0.05, "sucrose": 0.40}, "not possible"),
        ({"potassium_nitrate": math.nan, "sorbitol": 0.35}, "not possible"),
        ({"potassium_nitrate": 0.65, "sucrose": 0.30, "sugar": 0.05}, "twice"),
        ({}, "0.0000 %"),
    ],
)
def test_a_wrong_blend_is_refused(parts: dict[str, float], word: str) -> None:
    with pytest.raises(BlendError, match=word):
        recipe.check_blend(parts)


def test_fractions_may_miss_one_by_a_millionth() -> None:
    blend = recipe.check_blend({"potassium_nitrate": 0.65, "sorbitol": 0.3500009})
    assert math.fsum(blend.values()) == pytest.approx(1, abs=1e-15)


def test_shares_outside_the_usual_range_are_marked() -> None:
    assert recipe.blend_warnings({"potassium_nitrate": 0.75, "sorbitol": 0.25}) == ()
    assert "76.0 %" in recipe.blend_warnings({"potassium_nitrate": 0.76, "sorbitol": 0.24})[0]
    assert recipe.blend_warnings({"potassium_nitrate": 0.57, "sorbitol": 0.43})


@given(
    nitrate=st.floats(0.5, 0.8),
    split=st.floats(0.05, 0.95),
    mass=st.floats(0.05, 5.0),
    resolution=st.sampled_from([0.00001, 0.0001, 0.001]),
)
def test_rounded_grams_always_sum_to_the_rounded_batch(
    nitrate: float, split: float, mass: float, resolution: float
) -> None:
    parts = {"potassium_nitrate": nitrate, "sorbitol": (1 - nitrate) * split, "sucrose": (1 - nitrate) * (1 - split)}
    try:
        scaled = recipe.scale(parts, mass, resolution)
    except OutOfRange:
        assert min(parts.values()) * mass < resolution
        return
    steps = [round(m / resolution) for m in scaled.masses.values()]
    assert sum(steps) == round(mass / resolution)
    for key, grams in scaled.masses.items():
        assert abs(grams - scaled.target[key] * mass) < resolution * (1 + 1e-6)


def test_remelt_counts_with_its_own_composition() -> None:
    leftovers = [({"potassium_nitrate": 0.60, "sorbitol": 0.40}, 0.030), (KNSB, 0.020)]
    scaled = recipe.scale(KNSB, 0.400, 0.0001, leftovers)
    assert scaled.remelt_mass == pytest.approx(0.050)
    assert scaled.total_mass == pytest.approx(0.400, abs=1e-9)
    assert scaled.masses["potassium_nitrate"] == pytest.approx(0.260 - 0.018 - 0.013, abs=1e-9)
    assert scaled.realised["potassium_nitrate"] == pytest.approx(0.65, abs=1e-9)


def test_remelt_above_the_limit_is_refused_with_the_way_out() -> None:
    with pytest.raises(OutOfRange) as caught:
        recipe.scale(KNSB, 0.400, 0.001, [(KNSB, 0.070)])
    assert "at most 60.0 g, or make a batch of 467 g" in say(caught.value.words)
    assert recipe.scale(KNSB, 0.400, 0.001, [(KNSB, 0.070)], limit=0.20).remelt_mass == 0.070
    assert recipe.scale(KNSB, 0.400, 0.001, [(KNSB, 0.060)]).remelt_mass == 0.060


def test_a_remelt_that_brings_too_much_is_refused() -> None:
    little_sucrose = {"potassium_nitrate": 0.65, "sorbitol": 0.34, "sucrose": 0.01}
    much = {"potassium_nitrate": 0.65, "sucrose": 0.35}
    with pytest.raises(BlendError) as caught:
        recipe.scale(little_sucrose, 0.400, 0.001, [(much, 0.040)])
    assert "14.0 g of sucrose; the batch needs 4.0 g." in say(caught.value.words)
    assert "1400 g or more" in say(caught.value.words)
    with pytest.raises(BlendError, match="Keep it for a batch whose formula has it"):
        recipe.scale(KNSB, 0.400, 0.001, [(much, 0.040)])


@pytest.mark.parametrize("mass", [0, -1, math.nan, math.inf])
def test_a_batch_needs_a_mass(mass: float) -> None:
    with pytest.raises(OutOfRange, match="mass"):
        recipe.scale(KNSB, mass, 0.001)


def test_a_share_below_the_scale_is_refused() -> None:
    with pytest.raises(OutOfRange, match="finer scale"):
        recipe.scale({"potassium_nitrate": 0.65, "sorbitol": 0.349, "sucrose": 0.001}, 0.1, 0.001)


def test_batch_mass_conserves() -> None:
    assert recipe.batch_mass([(1e-4, 2), (5e-5, 3)], 1800, 0.0) == pytest.approx(0.63)
    assert recipe.batch_mass([(1e-4, 2)], 1800, 0.1, 0.02) == pytest.approx(0.36 * 1.1 + 0.02)
    with pytest.raises(GeometryError):
        recipe.batch_mass([], 1800)
    with pytest.raises(GeometryError):
        recipe.batch_mass([(1e-4, 0)], 1800)
    with pytest.raises(OutOfRange):
        recipe.batch_mass([(1e-4, 1)], 1800, over_pour=-0.1)


def test_melt_order_ends_with_the_oxidiser_in_thirds() -> None:
    steps = recipe.to_melt_order({"sucrose": 0.07, "potassium_nitrate": 0.65, "sorbitol": 0.28})
    assert [s.key for s in steps] == ["sorbitol", "sucrose", *["potassium_nitrate"] * 3]
    assert math.fsum(s.share for s in steps) == pytest.approx(1)


@pytest.mark.parametrize(
    ("sugars", "words"),
    [
        (
            ("sorbitol", "sucrose"),
            ["Melt the sorbitol", "Dissolve the sucrose in the melted sorbitol without more heat"],
        ),
        (("sorbitol", "xylitol"), ["Melt the sorbitol", "Melt the xylitol"]),
        (
            ("sorbitol", "dextrose"),
            ["Melt the sorbitol", "Dissolve the dextrose (anhydrous) in the melted sorbitol without more heat"],
        ),
        (("dextrose",), ["Melt the dextrose (anhydrous)"]),
    ],
)
def test_a_sugar_that_melts_above_the_first_is_dissolved_in_it(sugars: tuple[str, ...], words: list[str]) -> None:
    """Sucrose melts at 160 to 190 °C and browns there (CRC Handbook); melted sorbitol is worked at 110 to 120 °C."""
    blend = {"potassium_nitrate": 0.65, sugars[0]: 0.35 if len(sugars) == 1 else 0.28}
    steps = recipe.to_melt_order(blend | dict.fromkeys(sugars[1:], 0.07))
    assert [s.words for s in steps[: len(sugars)]] == words
