"""Wall and closure stress against a published case, exact limits and statics."""

from math import isnan, nan, pi
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.calc.base.constants import PSI
from app.calc.base.errors import CalcError, GeometryError, OutOfRange
from app.calc.case.casing import MATERIALS, burst_pressure, case_margin, hoop_stress_bore, hoop_stress_thin, strengths
from app.calc.case.closure import bolt_retention, ring_retention
from app.units import say
from tests.published import published


@pytest.mark.parametrize("row", published("burst.csv"))
def test_published_burst(row: dict[str, str]) -> None:
    outer, wall = float(row["outer_in"]) * 0.0254, float(row["wall_in"]) * 0.0254
    burst = burst_pressure(float(row["ultimate_ksi"]) * 1e3 * PSI, outer - 2 * wall, outer)
    assert round(burst / PSI) == int(row["burst_psi"])


@given(st.floats(1e-5, 1e-2))
def test_lame_tends_to_thin_wall(thinness: float) -> None:
    # exact: bore stress = thin-wall stress + P/2 * (1 + t/(2 r_i + t)), from Lame's formula by algebra
    inner, outer, p = 0.05, 0.05 * (1 + 2 * thinness), 5e6
    t, r = thinness * 0.05, 0.025
    gap = hoop_stress_bore(p, inner, outer) - hoop_stress_thin(p, inner, outer)
    assert gap == pytest.approx(p * (r + t) / (2 * r + t), rel=1e-4)
    assert hoop_stress_bore(p, inner, outer) / hoop_stress_thin(p, inner, outer) == pytest.approx(1, abs=2 * thinness)


def test_lame_carries_the_load() -> None:
    # statics: hoop stress over the wall sums to P * inner diameter, whatever the wall
    p, ri, ro = 7e6, 0.02, 0.03
    n = 20000
    radii = [ri + (ro - ri) * (i + 0.5) / n for i in range(n)]
    bore = hoop_stress_bore(p, 2 * ri, 2 * ro)
    scale = bore / (1 + ro**2 / ri**2)
    total = sum(scale * (1 + ro**2 / r**2) for r in radii) * (ro - ri) / n
    assert 2 * total == pytest.approx(p * 2 * ri, rel=1e-6)


def test_strength_falls_with_heat_and_ends_with_the_data() -> None:
    # 6061-T6 typical 276/262/214/103 MPa at 24/100/149/204 degC (from memory), scaled to the minimum 240
    hot = [strengths("aluminium_6061_t6", t + 273.15)[0] / 240e6 for t in (24, 100, 149, 204)]
    assert hot == pytest.approx([1, 262 / 276, 214 / 276, 103 / 276])
    with pytest.raises(OutOfRange, match="no strength is known"):
        strengths("aluminium_6061_t6", 490.0)
    with pytest.raises(OutOfRange):
        strengths("steel_1020_dom", 400.0)
    assert all(m.ultimate_strength > m.yield_strength for m in MATERIALS.values())


def test_the_person_s_own_test_outranks_the_formula() -> None:
    common = (4e6, 0.0472, 0.0508, "aluminium_6061_t6")
    assert "formula" in case_margin(*common).limit_words
    assert case_margin(*common, proof_pressure=9e6).limit == pytest.approx(6e6)
    assert case_margin(*common, rated_pressure=7e6, proof_pressure=9e6).limit == 7e6
    below = case_margin(*common, rated_pressure=7e6, proof_pressure=3e6)
    assert below.limit == 3e6
    assert below.margin < 0
    assert any("over the limit" in say(note) for note in below.notes)


def test_margin_adds_up() -> None:
    m = case_margin(4e6, 0.0472, 0.0508, "other", yield_strength=200e6)
    assert m.factor * m.bore_stress == pytest.approx(200e6)
    assert m.design_pressure == pytest.approx(m.yield_pressure / 2)
    assert hoop_stress_bore(m.yield_pressure, 0.0472, 0.0508) == pytest.approx(200e6)
    assert isnan(m.burst)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"peak_pressure": nan}, "pressure"),
        ({"inner_d": 0.06}, "outer_d"),
        ({"material": "cheese"}, "material"),
        ({"material": "other"}, "material"),
        ({"material": "PVC"}, "material"),
        ({"rated_pressure": -1.0}, "rated_pressure"),
        ({"factor": 0.5}, "factor"),
    ],
)
def test_what_cannot_be_is_refused_by_name(changes: dict[str, Any], field: str) -> None:
    good: dict[str, Any] = {"peak_pressure": 4e6, "inner_d": 0.0472, "outer_d": 0.0508, "material": "aluminium_6061_t6"}
    with pytest.raises(CalcError) as caught:
        case_margin(**(good | changes))
    assert caught.value.field == field


def test_ring_shear_by_hand() -> None:
    # statics: the land fails when P * pi/4 * D**2 = 0.577 * S_y * pi * D_groove * land
    held = ring_retention(0.05, 0.056, 0.053, 0.001, 0.0016, 240e6, 1000e6)
    assert held.weakest.words == "wall sheared off behind the groove"
    force = held.weakest.pressure * pi / 4 * 0.05**2
    assert force == pytest.approx(0.577 * 240e6 * pi * 0.053 * 0.001)
    with pytest.raises(GeometryError):
        ring_retention(0.05, 0.056, 0.058, 0.001, 0.0016, 240e6, 1000e6)


def test_bolts_by_hand() -> None:
    one = bolt_retention(0.05, 0.056, 1, 0.005, 0.0042, 0.012, 240e6, 640e6)
    many = bolt_retention(0.05, 0.056, 8, 0.005, 0.0042, 0.012, 240e6, 640e6)
    shear = {m.words: m.pressure for m in many.modes}["bolts sheared"]
    assert shear * pi / 4 * 0.05**2 == pytest.approx(8 * pi / 4 * 0.0042**2 * 0.577 * 640e6)
    assert many.weakest.pressure == pytest.approx(8 * one.weakest.pressure)
    assert [m.pressure for m in many.modes] == sorted(m.pressure for m in many.modes)
    with pytest.raises(GeometryError, match="meet"):
        bolt_retention(0.05, 0.056, 40, 0.005, 0.0042, 0.012, 240e6, 640e6)
