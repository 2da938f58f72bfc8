"""How a lot stands among its neighbours: said by a rule, and not said where little is known."""

import pytest
from sqlmodel import Session

from app.models import Batch
from app.services.review import lot_standing
from app.services.review.lot_standing import Standing
from tests import build


def cast(session: Session, *shares: float, decision: str = "accept") -> Batch:
    lot = build.cast(session, max(1, len(shares)))
    for share in shares:
        build.grain(session, lot, share, decision)
    return lot


def of(session: Session, lot: Batch) -> Standing:
    return lot_standing.standing(session, lot)


@pytest.mark.parametrize(("n", "factor"), [(5, 3.041), (10, 2.373)])
def test_one_more_value_lies_in_a_prediction_interval(n: int, factor: float) -> None:
    """Factors on the standard deviation for one more value, 95 %: t √(1 + 1/n) with t of Student's tables (2.776 and
    2.262; NIST/SEMATECH e-Handbook 1.3.6.7.2)."""
    values = [1.0, -1.0] * (n // 2) + [0.0] * (n % 2)
    found = lot_standing.one_more(values)
    assert found is not None
    sd = (sum(v * v for v in values) / (n - 1)) ** 0.5
    assert found[1] / sd == pytest.approx(factor, abs=0.001)
    assert found[0] == pytest.approx(-found[1])
    assert lot_standing.one_more([0.95, 0.95, 0.95]) is None
    assert lot_standing.one_more([0.95, 0.96]) is None


def test_a_lot_is_set_among_four_before_and_four_after(session: Session) -> None:
    lots = [cast(session, 0.96) for _ in range(11)]
    for middle, codes in ((5, lots[1:10]), (0, lots[0:5]), (10, lots[6:11])):
        found = of(session, lots[middle])
        assert [line.batch.code for line in found.lines] == [lot.code for lot in reversed(codes)]


def test_a_lot_is_called_denser_or_lighter_only_beyond_what_one_more_lot_would_be(session: Session) -> None:
    usual = (0.955, 0.958, 0.961, 0.956)
    few = [cast(session, share, share) for share in usual[:3]]
    lone = cast(session, 0.90, 0.90)
    assert of(session, lone).more == "", "three neighbours say nothing"
    assert "around" not in of(session, few[0]).more
    cast(session, 0.957, 0.957)
    assert of(session, lone).more == "Its grains are lighter than those of the lots around it."
    like = cast(session, 0.959, 0.957)
    assert "lighter" not in of(session, like).more
    assert "denser" not in of(session, like).more


def test_more_rejected_grains_are_told_beyond_chance(session: Session) -> None:
    for _ in range(3):
        cast(session, 0.96, 0.96, 0.96, 0.96)
    bad = cast(session, *[0.96] * 4, decision="reject")
    one = cast(session, 0.96, 0.96, 0.96)
    assert "More of its grains were rejected" in of(session, bad).more
    assert "rejected" not in of(session, one).more


@pytest.mark.parametrize(
    ("results", "verdict"),
    [
        ([], "Whether it is good is not known: no motor of its grains alone has burned yet."),
        (["other", "no_light"], "Whether it is good is not known: no motor of its grains alone has burned yet."),
        (["good"], "Good: its motor burned well."),
        (["good", "recovery"], "Good: both its motors burned well."),
        (["weak"], "Not good: its motor did not burn well."),
        (["weak", "burst"], "Not good: none of its 2 motors burned well."),
        (["good", "good", "rough"], "Mixed: 2 of its 3 motors burned well."),
    ],
)
def test_a_lot_is_as_good_as_its_motors(session: Session, results: list[str], verdict: str) -> None:
    lot = build.cast(session, 3)
    for result in results:
        build.bare_firing(session, build.bare_motor(session, [build.grain(session, lot)]), result)
    if not results:
        build.grain(session, lot)
    mixed = [build.grain(session, lot), build.grain(session, build.cast(session, 1))]
    build.bare_firing(session, build.bare_motor(session, mixed), "burst")  # it tells of neither lot
    assert of(session, lot).verdict == verdict
    assert of(session, build.cast(session, 1)).verdict.startswith("Nothing is known of it yet")


@pytest.mark.parametrize(("measured", "words"), [(500, "It delivered as predicted."), (400, "It delivered less than")])
def test_what_it_delivered_is_held_against_the_range_stored_before(
    session: Session, measured: float, words: str
) -> None:
    lot = build.cast(session, 1)
    motor = build.bare_motor(session, [build.grain(session, lot)])
    build.bare_prediction(session, motor, 500.0, '{"total_impulse":{"mid":500,"low":460,"high":540}}')
    build.bare_firing(session, motor, measured_impulse_ns=measured)
    assert words in of(session, lot).more
