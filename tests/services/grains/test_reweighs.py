"""Stored grains on the scale again."""

from datetime import timedelta
from math import sqrt
from typing import Any

import pytest
from pydantic import ValidationError
from sqlmodel import Session

from app import clock
from app.errors import Refused
from app.models import Grain
from app.models.bag import ReWeighIn
from app.services.book import workshop
from app.services.grains import reweighs
from app.units import say
from tests import build


def _grain(session: Session, **more: Any) -> Grain:
    return build.grain(session, build.cast(session), gross="172.1 g", **more)


def _in(grain: Grain, gross: str, **more: object) -> ReWeighIn:
    return ReWeighIn.model_validate({"serial": grain.serial, "gross": gross, **more})


def test_a_gain_is_read_as_moisture_and_the_label_stays(session: Session) -> None:
    grain = _grain(session)
    row = reweighs.weigh(session, _in(grain, "172.6 g", note="felt sticky"))
    assert grain.gross_typed == "172.1 g"
    assert (grain.mass_kg, row.label_kg) == pytest.approx((0.1721, 0.1721))
    assert row.gross_typed == "172.6 g"
    (gain,) = reweighs.history(session, grain)
    assert gain.moisture.gain == pytest.approx(0.0005)
    assert gain.moisture.share == pytest.approx(0.5 / 172.1)
    assert gain.flag == "look"
    assert "drawn water" in say(gain.moisture.words)


def test_uncertainty_is_two_readings_of_the_scale(session: Session) -> None:
    """JCGM 100 (GUM) 4.3.7: a step of 0.1 g is 0.1/sqrt(12) g; two weighings, twice that for about 95 %: 0.082 g."""
    grain = _grain(session)
    gain = reweighs.gain_of(reweighs.weigh(session, _in(grain, "172.1")))
    assert gain.moisture.tolerance == pytest.approx(2 * sqrt(2) * 1e-4 / sqrt(12))
    assert gain.tolerance_share == pytest.approx(0.0816 / 172.1, rel=1e-3)
    assert gain.flag == "accept"
    assert "No change" in say(gain.moisture.words)


def test_a_scale_that_types_is_read_as_it_is(session: Session) -> None:
    row = reweighs.weigh(session, _in(_grain(session), "ST,GS,+0172.6g"))
    assert row.mass_kg == pytest.approx(0.1726)
    with pytest.raises(ValidationError, match="not at rest"):
        _in(_grain(session), "US,GS,+0172.6g")


def test_a_later_scale_does_not_change_what_was_said(session: Session) -> None:
    grain = _grain(session)
    reweighs.weigh(session, _in(grain, "172.3 g"))
    workshop.get(session).scale_resolution_kg = 0.001
    reweighs.weigh(session, _in(grain, "172 g"))
    newer, older = reweighs.history(session, grain)
    assert older.moisture.real
    assert newer.moisture.tolerance == pytest.approx(10 * older.moisture.tolerance)


def test_in_its_tube_as_for_the_label(session: Session) -> None:
    grain = build.grain(session, build.cast(session), gross="181.7 g", in_tube="on", tare="9.6 g")
    row = reweighs.weigh(session, _in(grain, "181.9 g", in_tube=True))
    assert row.mass_kg - row.label_kg == pytest.approx(0.0002)
    with pytest.raises(Refused, match="Tick that it is in its tube") as refusal:
        reweighs.weigh(session, _in(grain, "181.9 g"))
    assert refusal.value.field == "gross"
    bare = _grain(session)
    with pytest.raises(Refused, match="without a tube") as refusal:
        reweighs.weigh(session, _in(bare, "181.7 g", in_tube=True))
    assert refusal.value.field == "in_tube"


@pytest.mark.parametrize(
    ("gross", "words"),
    [("17.23 g", "Did you mean 172.3 g"), ("1723", "Did you mean 172.3 g"), ("140 g", "another grain")],
)
def test_a_mass_far_off_is_asked_about_once(session: Session, gross: str, words: str) -> None:
    grain = _grain(session)
    with pytest.raises(Refused, match=words) as refusal:
        reweighs.weigh(session, _in(grain, gross))
    assert refusal.value.field == "gross"
    assert reweighs.weigh(session, _in(grain, gross).answering([("gross", "likely")])).mass_kg > 0


def test_the_wrong_grain_is_told(session: Session) -> None:
    grain, other = _grain(session), _grain(session)
    for serial, words in (
        (other.serial, f"This is {other.serial}, and you are re-weighing lot {grain.serial[:5]}"),
        ("2001P-01", "no grain 2001P-01"),
        (grain.serial[:5], "whole serial"),
        ("https://example.org/x", "not the label of a grain"),
    ):
        with pytest.raises(Refused, match=words) as refusal:
            reweighs.weigh(session, _in(grain, "172.1 g", lot=grain.serial[:5]).model_copy(update={"serial": serial}))
        assert refusal.value.field == "serial"


def test_a_grain_that_is_gone_is_told(session: Session) -> None:
    inside, burned = build.ready_grains(session, 2)
    build.bare_motor(session, [inside])
    build.bare_firing(session, build.bare_motor(session, [burned]))
    for grain, words in ((inside, "take the motor apart"), (burned, "was burned in")):
        with pytest.raises(Refused, match=words):
            reweighs.weigh(session, _in(grain, "172 g"))


def test_a_round_goes_from_grain_to_grain_and_starts_afresh_the_next_day(session: Session) -> None:
    lot = build.cast(session)
    one, two = build.grain(session, lot), build.grain(session, lot)
    build.grain(session, lot, decision="reject")
    with clock.turned_to(clock.now().replace(hour=12) + timedelta(days=2)) as turn:
        start = reweighs.round_of(session, lot.code, [])
        assert [v.grain for v in start.views] == [one, two]
        assert start.next is not None
        assert start.next.grain is one
        reweighs.weigh(session, _in(one, one.gross_typed))
        now = reweighs.round_of(session, lot.code, [])
        assert now.next is not None
        assert now.next.grain is two
        assert reweighs.round_of(session, None, [one.pk]).next is None
        found = reweighs.last(session)
        assert found is not None
        assert found[0] is one
        turn(clock.now() + timedelta(days=1))
        again = reweighs.round_of(session, lot.code, [])
        assert again.next is not None
        assert again.next.grain is one
        assert reweighs.last(session) is None
