"""Closures of a case: pressures by hand arithmetic, what is refused, and which figure counts.

Direct shear, bearing and net tension by hand, as in Shigley's Mechanical Engineering Design; shear yield is 0.577 of
tensile yield (von Mises).
"""

from math import pi

import pytest
from sqlmodel import Session

from app.errors import Refused
from app.models import Case
from app.services.hardware import closures, inventory
from app.units import say
from tests import build

BOLTS = {
    "closure": "bolts",
    "bolt_count": 8,
    "hole_d": "5 mm",
    "shank_d": "4.2 mm",
    "edge": "12 mm",
    "holder_yield": "640 MPa",
}
RING = {"closure": "ring", "groove_d": "51 mm", "ring_thickness": "1.6 mm", "land": "6 mm", "holder_yield": "1000 MPa"}
FACE = pi / 4 * 0.0482**2
WALL = (0.054 - 0.0482) / 2


def test_bolts_by_hand(session: Session) -> None:
    held = closures.retention(build.case(session, **BOLTS))
    assert held is not None
    by_words = {mode.words: mode.pressure for mode in held.modes}
    assert by_words["bolts sheared"] == pytest.approx(8 * pi / 4 * 0.0042**2 * 0.577 * 640e6 / FACE)
    assert by_words["holes crushed"] == pytest.approx(8 * 0.0042 * WALL * 240e6 / FACE)
    net = pi * (0.054 + 0.0482) / 2 - 8 * 0.005
    assert by_words["wall torn in tension between holes"] == pytest.approx(net * WALL * 240e6 / FACE)
    assert held.weakest.pressure == min(by_words.values())


def test_ring_by_hand(session: Session) -> None:
    held = closures.retention(build.case(session, **RING))
    assert held is not None
    by_words = {mode.words: mode.pressure for mode in held.modes}
    assert by_words["ring sheared"] == pytest.approx(pi * 0.0482 * 0.0016 * 0.577 * 1000e6 / FACE)
    assert by_words["groove crushed"] == pytest.approx(pi / 4 * (0.051**2 - 0.0482**2) * 240e6 / FACE)
    assert by_words["wall torn in tension at the groove"] == pytest.approx(
        pi / 4 * (0.054**2 - 0.051**2) * 240e6 / FACE
    )


def test_a_hot_wall_is_weaker_and_so_are_its_holes(session: Session) -> None:
    cold, hot = build.case(session, **BOLTS), build.case(session, wall_temperature="149 C", **BOLTS)
    share = 214 / 276  # 6061-T6 at 149 degC over room temperature, from memory
    assert closures.margin(hot, 4e6).yield_strength == pytest.approx(share * 240e6)
    weak, strong = closures.retention(hot), closures.retention(cold)
    assert weak is not None
    assert strong is not None
    assert weak.weakest.pressure == pytest.approx(share * strong.weakest.pressure)


def test_without_rating_or_test_the_weaker_of_wall_and_closures_counts(session: Session) -> None:
    bare = build.case(session, rated_pressure=None, **BOLTS)
    held = closures.retention(bare)
    assert held is not None
    margin = closures.margin(bare, 4e6)
    assert margin.limit == pytest.approx(held.weakest.pressure / 2)
    assert "closures" in margin.limit_words


def test_the_persons_rating_and_proof_test_outrank_the_formula(session: Session) -> None:
    rated = closures.margin(build.case(session, rated_pressure="8 MPa", **BOLTS), 4e6)
    assert rated.limit == 8e6
    tested = closures.margin(
        build.case(session, rated_pressure=None, proof_pressure="9 MPa", proof_on="2024-03-01", **BOLTS), 4e6
    )
    assert tested.limit == pytest.approx(9e6 / 1.5)
    assert "own proof test" in tested.limit_words
    assert any("yield of the closures" in say(note) for note in rated.notes)  # and still it is told


def test_a_rating_above_what_the_closures_bear_is_doubted(session: Session) -> None:
    case = build.case(session, rated_pressure="20 MPa", **BOLTS)
    assert any("closures begin to give" in words for words in inventory.case_doubts(session, case))


def test_a_case_without_closures_told_has_none(session: Session) -> None:
    assert closures.retention(build.case(session)) is None


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({**BOLTS, "edge": None}, "edge"),
        ({**BOLTS, "shank_d": "6 mm"}, "hole_d"),
        ({**BOLTS, "bolt_count": 40}, "bolt_count"),
        ({**BOLTS, "groove_d": "51 mm"}, "groove_d"),
        ({**RING, "groove_d": "60 mm"}, "groove_d"),
        ({**RING, "holder_yield": None}, "holder_yield"),
        ({"closure": "glue"}, "closure"),
        ({"land": "6 mm"}, "land"),
        ({"wall_temperature": "300 C"}, "wall_temperature"),
        ({"material": "steel_4130_normalized", "wall_temperature": "90 C"}, "wall_temperature"),
    ],
)
def test_refused_beside_the_field(session: Session, more: dict[str, object], field: str) -> None:
    with pytest.raises(Refused) as caught:
        build.case(session, **more)
    assert caught.value.field == field
    assert session.get(Case, 1) is None
