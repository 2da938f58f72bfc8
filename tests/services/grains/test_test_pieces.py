"""Sticks of a lot burned in the open."""

from datetime import timedelta
from typing import Any

import pytest
from sqlmodel import Session

from app import clock
from app.calc.base.constants import ATM
from app.calc.propellant.burn_laws import published_law
from app.errors import NotFound, Refused
from app.models import Batch, TestPiece
from app.models.batch import VoidIn
from app.models.test_piece import TestPieceIn
from app.services.grains import test_pieces as service
from tests import build

SORBITOL = {"potassium nitrate": "65 %", "sorbitol": "35 %"}


def _lot(session: Session, **more: Any) -> Batch:
    return build.cast(session, blend=more.pop("blend", None) or build.formula(session, parts=SORBITOL), **more)


def _burn(session: Session, lot: Batch, time: str = "19.5 s", sure: bool = False, **more: object) -> TestPiece:
    texts = {"length": "50 mm", "burn_time": time, "elevation": "0 m", "burned_on": clock.today()}
    data = TestPieceIn.model_validate({**texts, **more})
    return service.record(session, lot, data.answering([("burn_time", "likely")] if sure else []))


def test_a_stick_at_sea_level_burns_as_the_law_says(session: Session) -> None:
    """Sorbitol at 0.101325 MPa: 10.708 P^0.625 = 2.56 mm/s (R. Nakka, from memory; DESIGN data)."""
    lot = _lot(session)
    piece = _burn(session, lot)
    (stick,) = service.of_batch(session, lot)
    assert piece.pressure_pa == pytest.approx(ATM)
    assert stick.strand.rate == pytest.approx(0.050 / 19.5)
    assert stick.law.law_rate == pytest.approx(10.708e-3 * 0.101325**0.625, rel=2e-3)
    assert stick.law.flag == "accept"
    assert not stick.law.in_range
    assert (piece.length_typed, piece.burn_time_typed, piece.number) == ("50 mm", "19.5 s", 1)


def test_elevation_gives_the_air_of_the_standard_atmosphere(session: Session) -> None:
    """U.S. Standard Atmosphere 1976: 1000 m, 89,876 Pa."""
    lot = _lot(session)
    assert _burn(session, lot, elevation="1000 m").pressure_pa == pytest.approx(89_876, abs=1)
    (stick,) = service.of_batch(session, lot)
    assert stick.law.law_rate < float(published_law("sorbitol").rate(ATM))


def test_a_barometer_counts_before_the_elevation(session: Session) -> None:
    piece = _burn(session, _lot(session), elevation="1000 m", pressure="905")
    assert piece.pressure_pa == pytest.approx(90_500)
    assert piece.pressure_typed == "905 hPa"
    assert piece.elevation_typed == "1000 m"
    assert _burn(session, _lot(session), elevation=None, pressure="14.7 psi").elevation_m is None


@pytest.mark.parametrize(
    ("more", "field", "words"),
    [
        ({"elevation": None}, "elevation", "how high"),
        ({"elevation": "1500 m", "pressure": "1013 hPa"}, "pressure", "reduced to sea level"),
        ({"burned_on": clock.today() + timedelta(days=2)}, "burned_on", "still to come"),
        ({"time": "2 s"}, "burn_time", "That would be 25.00 mm/s, and about 2.5"),
        ({"length": "500 mm"}, "burn_time", "That would be"),
    ],
)
def test_what_cannot_be_is_told(session: Session, more: dict[str, Any], field: str, words: str) -> None:
    lot = _lot(session)
    with pytest.raises(Refused, match=words) as refusal:
        _burn(session, lot, **more)
    assert refusal.value.field == field
    assert service.of_batch(session, lot) == []


def test_an_odd_rate_can_be_insisted_on_and_is_marked(session: Session) -> None:
    lot = _lot(session)
    _burn(session, lot, "6 s", sure=True)
    (stick,) = service.of_batch(session, lot)
    assert stick.law.flag == "look"
    assert "side that burned along" in stick.law.words


def test_a_lot_that_was_not_cast_has_no_sticks(session: Session) -> None:
    with pytest.raises(Refused, match="Nothing was cast"):
        _burn(session, build.batch(session))


def test_video_is_surer_than_a_hand(session: Session) -> None:
    lot = _lot(session)
    _burn(session, lot)
    _burn(session, lot, by_video=True)
    by_hand, by_video = service.of_batch(session, lot)
    assert by_video.strand.uncertainty < by_hand.strand.uncertainty / 3


def test_a_stick_struck_out_does_not_count_and_stays_readable(session: Session) -> None:
    lot = _lot(session)
    for time in ("19.5 s", "19.1 s", "9 s"):
        _burn(session, lot, time)
    service.void(session, lot, 3, VoidIn(why="burned along the side"))
    sticks = service.of_batch(session, lot)
    assert [s.piece.voided_why for s in sticks] == ["", "", "burned along the side"]
    found = service.mean(sticks)
    assert found is not None
    assert found.n == 2
    assert found.mean == pytest.approx((sticks[0].law.ratio + sticks[1].law.ratio) / 2)
    with pytest.raises(Refused, match="already"):
        service.void(session, lot, 3, VoidIn(why="again"))
    with pytest.raises(NotFound):
        service.void(session, lot, 9, VoidIn(why="none"))
    assert _burn(session, lot).number == 4


def test_lots_of_one_formula_compare_whatever_the_air(session: Session) -> None:
    blend = build.formula(session, "Same", parts=SORBITOL)
    law = published_law("sorbitol")
    low, high, other = _lot(session, blend=blend), _lot(session, blend=blend), _lot(session)
    for lot, height, pressure in ((low, "0 m", ATM), (high, "1000 m", 89_876.0), (other, "0 m", ATM)):
        for factor in (1.05, 1.07):
            time = 0.05 / (float(law.rate(pressure)) * factor)
            _burn(session, lot, f"{time:.3f} s", elevation=height)
    lots = service.by_lot(session, blend)
    assert [line.batch for line in lots] == [low, high]
    for line in lots:
        assert line.mean.n == 2
        assert line.mean.mean == pytest.approx(1.06, abs=1e-3)


def test_a_borrowed_law_says_so(session: Session) -> None:
    lot = _lot(session, blend=build.formula(session))
    assert service.law_of(session, lot).borrowed


def test_the_last_elevation_is_offered_again_else_the_field_s(session: Session) -> None:
    lot = _lot(session)
    assert service.usual_elevation(session) == ""
    build.field(session, elevation="12 m")
    assert service.usual_elevation(session) == "12 m"
    _burn(session, lot, elevation="640 ft")
    assert service.usual_elevation(session) == "640 ft"
