"""Delivered over predicted, what goes together, what the good ones share: said only as far as the numbers carry."""

import itertools
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from scipy import stats

from app.services.review import correlations, delivered, good_against_bad
from app.services.review.burned_motors import Beside, Burn
from app.services.review.good_against_bad import Share
from app.services.review.properties import PROPERTIES
from app.units import METRIC, UnitSystem

_number = itertools.count(1)
START = datetime(2026, 1, 1, tzinfo=UTC)


def burn(ratio: float | None = 1.0, **more: Any) -> Burn:
    """A motor that burned, of a lot of its own unless told; invented."""
    n = next(_number)
    values: dict[str, Any] = {
        "firing_id": n,
        "fired_at": START + timedelta(days=n),
        "kind": "static",
        "result": "good",
        "motor_code": f"M{n}",
        "case": "Long",
        "nozzle": "Steel",
        "lots": (f"L{n}",),
        "formulas": ("A v1",),
        "patterns": ("P",),
        "grain_count": 3,
        "density": 0.96,
        "least_density": 0.95,
        "mass_spread": 0.01,
        "cure_s": 8 * 86400.0,
        "pan_k": None,
        "gain": None,
        "humidity": None,
        "cast_humidity": None,
        "grain_temperature_k": 293.15,
        "altitude_m": None,
        "height": None,
        "impulse": Beside(None if ratio is None else 500.0 * ratio, 500.0),
        "burn_time": Beside(None, 1.5),
        "peak_pressure": Beside(None, 5e6),
        **more,
    }
    return Burn(**values)


# --- Delivered ---------------------------------------------------------------------------------


def test_a_mean_stands_with_as_much_interval_as_its_number_carries() -> None:
    one, two, many = (delivered.known(v) for v in ([0.98], [0.98, None, 1.0], [0.95, 0.97, 0.99, 1.01]))
    assert delivered.known([None]) is None
    assert one is not None
    assert (one.spread.n, one.interval, one.sample) == (1, None, None)
    assert two is not None
    assert two.interval is not None
    # Student's t with one degree of freedom is 12.706 at 95 %: NIST/SEMATECH e-Handbook 1.3.6.7.2
    assert two.interval.high - 0.99 == pytest.approx(12.706 * 0.0141421 / 2**0.5, rel=1e-4)
    assert many is not None
    assert many.interval is not None
    reference = stats.ttest_1samp([0.95, 0.97, 0.99, 1.01], 0).confidence_interval(0.95)
    assert (many.interval.low, many.interval.high) == pytest.approx((reference.low, reference.high))


def test_values_all_alike_do_not_know_their_scatter() -> None:
    alike = delivered.known([0.98, 0.98])
    assert alike is not None
    assert (alike.interval, alike.sample) == (None, None)


def test_motors_are_grouped_and_a_mixed_one_counts_in_each() -> None:
    mixed = burn(formulas=("A v1", "B v1"), lots=("L1", "L2"))
    plain = burn(formulas=("A v1",), lots=("L2",), case="Short")
    assert {g.name: len(g.burns) for g in delivered.groups([mixed, plain], "formula")} == {"A v1": 2, "B v1": 1}
    assert [g.name for g in delivered.groups([mixed, plain], "lot")] == ["L2", "L1"], "newest firing first"
    assert [g.name for g in delivered.groups([mixed, plain], "case")] == ["Long", "Short"]
    assert [g.name for g in delivered.groups([mixed, plain], "pattern")] == ["P"]


def _group_of(name: str, *ratios: float) -> list[Burn]:
    return [burn(ratio, formulas=(name,)) for ratio in ratios]


def test_an_order_is_told_only_where_groups_stand_apart() -> None:
    near = _group_of("A", 0.98, 1.00, 0.99) + _group_of("B", 0.90, 1.05, 0.99)
    assert delivered.compare(delivered.groups(near, "formula")).orders == []
    far = near + _group_of("C", 0.80, 0.81, 0.79, 0.80, 0.82) + _group_of("D", 0.9)
    told = delivered.compare(delivered.groups(far, "formula"))
    assert [(o.more.name, o.less.name) for o in told.orders] == [("A", "C")], "B's interval reaches down to C's"
    assert (told.pairs, [g.name for g in told.alone]) == (3, ["D"])


def test_only_so_many_groups_are_compared() -> None:
    many = [b for i in range(15) for b in _group_of(f"F{i:02d}", 0.9, 1.0)]
    told = delivered.compare(delivered.groups(many, "formula"))
    assert len(told.compared) == delivered.COMPARED
    assert len(told.left_out) == 15 - delivered.COMPARED


def test_the_newest_motors_are_judged_by_their_own_scatter() -> None:
    few = delivered.over_time([burn(1.0 + 0.01 * (i % 2)) for i in range(7)])
    assert few is not None
    assert few.limits is None
    many = delivered.over_time([burn(0.5), *(burn(1.0 + 0.01 * (i % 3)) for i in range(delivered.SHOWN)), burn(None)])
    assert many is not None
    assert many.limits is not None
    assert many.average is not None
    assert len(many.values) == delivered.SHOWN
    assert min(v for _, v in many.values) == 1.0, "the oldest is not among the newest"
    odd = delivered.over_time([*(burn(1.0 + 0.01 * (i % 3)) for i in range(12)), burn(0.8)])
    assert odd is not None
    assert odd.outside == [odd.values[-1][0]]
    assert delivered.over_time([burn(None)]) is None


# --- Together ----------------------------------------------------------------------------------


def _seen(burns: list[Burn], key: str) -> correlations.PropertyAssociation:
    return next(s for s in correlations.associations(burns) if s.what.key == key)


def test_too_few_motors_or_lots_say_nothing() -> None:
    nine = [burn(0.9 + 0.01 * i, density=0.95 + 0.001 * i) for i in range(9)]
    few = _seen(nine, "density")
    assert (few.measure, few.significant) == (None, False)
    assert "Too few to say: 9 motors have both" in few.words
    one_lot = [burn(0.9 + 0.01 * i, density=0.95 + 0.001 * i, lots=(f"L{i % 4}",)) for i in range(12)]
    assert "of 4 lots" in _seen(one_lot, "density").words
    assert _seen(nine, "humidity").words.startswith("Too few to say: no motor has")


def test_what_goes_together_is_told_with_its_measure_and_no_cause() -> None:
    many = [burn(0.9 + 0.01 * i, density=0.95 + 0.001 * i, gain=0.01 - 0.001 * i) for i in range(12)]
    density, gain, cure = (_seen(many, key) for key in ("density", "gain", "cure"))
    assert density.measure is not None
    assert density.measure.rho == pytest.approx(1)
    assert "12 motors of 12 lots, those that were denser delivered more" in density.words
    assert "had gained more since the label delivered less" in gain.words
    assert (cure.measure, cure.words) == (None, "It is the same for all of them, so nothing can go together with it.")
    assert [s.what.key for s in correlations.associations(many)][:2] == ["density", "gain"], "what is told comes first"
    for seen in correlations.associations(many):
        assert not {"because", "cause", "causes", "due", "leads"} & set(seen.words.lower().split())


def test_a_weak_going_together_among_many_looks_is_left_to_chance() -> None:
    ups = [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11]
    mixed = [3, 0, 6, 1, 9, 2, 4, 11, 5, 7, 10, 8]  # Spearman's p is about 0.01 alone
    noise = [5, 9, 1, 7, 0, 11, 3, 8, 2, 10, 6, 4]
    many = [
        burn(
            0.9 + 0.01 * u,
            density=0.9 + 0.001 * m,
            cure_s=1e5 + n,
            gain=1e-4 * n,
            humidity=0.5 + 0.01 * n,
            mass_spread=0.01 + 1e-4 * n,
            pan_k=380.0 + n,
        )
        for u, m, n in zip(ups, mixed, noise, strict=True)
    ]
    seen = _seen(many, "density")
    assert seen.measure is not None
    assert seen.p is not None
    assert seen.measure.p < 0.05 < seen.p
    assert not seen.significant
    assert "can be told from chance" in seen.words


# --- The good ones -----------------------------------------------------------------------------


def _contrast(burns: list[Burn], key: str) -> good_against_bad.Contrast:
    return next(c for c in good_against_bad.compare(burns).contrasts if c.what.key == key)


def _two_sides(**more: Any) -> list[Burn]:
    good = [burn(density=0.965 + 0.001 * i, **more) for i in range(6)]
    return good + [burn(0.85, density=0.935 + 0.001 * i, result="weak", **more) for i in range(5)]


def test_good_ones_that_were_denser_are_said_to_be() -> None:
    found = _contrast(_two_sides(), "density")
    assert found.significant
    assert found.words == "were denser"
    assert (len(found.good.burns), found.good.lots, len(found.other.burns)) == (6, 6, 5)
    assert found.good.interval is not None
    assert found.good.interval.low < 0.9675 < found.good.interval.high


def test_many_motors_of_one_lot_are_not_many() -> None:
    found = _contrast(_two_sides(lots=("L",)), "density")
    assert found.means is None
    assert not found.significant


def test_sides_that_overlap_are_not_told_apart() -> None:
    good = [burn(density=0.950 + 0.004 * i) for i in range(6)]
    weak = [burn(density=0.948 + 0.004 * i, result="rough") for i in range(6)]
    found = _contrast(good + weak, "density")
    assert found.means is not None
    assert not found.significant


def test_what_nothing_is_known_of_is_missing_not_alike() -> None:
    assert _contrast(_two_sides(), "humidity").means is None
    assert good_against_bad.compare([]).judged == 0


def test_neither_good_nor_bad_is_left_aside() -> None:
    shared = good_against_bad.compare([burn(), burn(result="weak"), burn(result="other")])
    assert (len(shared.good), len(shared.other), shared.neither) == (1, 1, 1)


def _share(burns: list[Burn], name: str) -> Share:
    return next(s for s in good_against_bad.compare(burns).shares if s.name == name)


def test_counts_by_formula_are_judged_exactly_and_all_together() -> None:
    kinds = [("A v1", "good")] * 9 + [("B v1", "good")] + [("B v1", "weak")] * 8
    shared = good_against_bad.compare(
        [burn(formulas=(f,), result=r, patterns=("PQ"[i % 2],)) for i, (f, r) in enumerate(kinds)]
    )
    a = next(s for s in shared.shares if s.name == "A v1")
    assert (a.good, len(a.burns), a.others_good, a.others) == (9, 9, 1, 9)
    alone = stats.fisher_exact([[9, 0], [1, 8]]).pvalue
    assert a.p is not None
    assert shared.judged == 2, "by formula and by pattern"
    assert a.p == pytest.approx(2 * alone), "raised for both"
    assert a.significant
    assert a.low == pytest.approx(stats.binomtest(9, 9).proportion_ci(0.95).low)


def test_the_same_question_asked_twice_counts_once() -> None:
    kinds = [("A v1", "P", "Long"), ("B v1", "Q", "Short")]
    burns = [
        burn(formulas=(f,), patterns=(p,), case=c, result=result)
        for f, p, c in kinds
        for result in ("good", "good", "good", "weak", "weak")
    ]
    shared = good_against_bad.compare(burns)
    able = [s for s in shared.shares if s.p is not None]
    assert {s.noun for s in able} == {"formula", "pattern", "case"}
    assert len({s.p for s in able}) == 1
    assert shared.judged == 1, "formula, pattern and case part the motors alike; nothing else differs"


def test_one_formula_alone_has_nothing_beside_it() -> None:
    assert good_against_bad.compare(_two_sides()).shares == []
    few = _share([burn(formulas=("A v1",)), burn(formulas=("B v1",), result="weak")], "A v1")
    assert few.p is None


def test_every_property_has_words_and_a_unit() -> None:
    imperial = UnitSystem(mass="lb", temperature="°F")
    for prop in PROPERTIES:
        assert all((prop.label, prop.more, prop.less, prop.lacks))
        for units in (METRIC, imperial):
            assert prop.unit(units)
            assert prop.text(0.95 if prop.kind == "share" else 300.0, units)
            one, two = prop.numbers([0.01, 300.0], units)
            assert (one, two) == pytest.approx((prop.number(0.01, units), prop.number(300.0, units)))
