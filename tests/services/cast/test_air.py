"""The air a batch is cast in: told while the session is open, corrected with a reason, and set beside what burned."""

import pytest
from sqlmodel import Session

from app.errors import Refused
from app.models.batch import AirIn, TestPiecesIn
from app.models.cast import CloseIn
from app.models.history import correction_of
from app.services.cast import air, casting, leftovers
from app.services.review import burned_motors
from app.services.review.burned_motors import LookIn
from tests import build

DRY = {"air_temperature": "57 F", "humidity": "52 %"}


def test_it_is_kept_in_si_and_as_typed(session: Session) -> None:
    lot = build.weighed_batch(session)
    assert air.words(lot) == ""
    air.record_humidity(session, lot, AirIn.model_validate(DRY))
    assert lot.air_temperature_k == pytest.approx(287.039, abs=1e-3)  # (57 - 32) / 1.8 + 273.15
    assert lot.humidity_share == pytest.approx(0.52)
    assert air.words(lot) == "57 F, 52 % humid"
    assert air.mark(session, lot).advice == ""


def test_either_may_be_told_alone_and_the_other_later(session: Session) -> None:
    lot = build.weighed_batch(session)
    air.record_humidity(session, lot, AirIn.model_validate({"humidity": "60 %"}))
    assert air.words(lot) == "60 % humid"
    assert "Bag each as soon as it is weighed" in air.mark(session, lot).advice
    air.record_humidity(session, lot, AirIn.model_validate({"humidity": "60 %", "air_temperature": "12 C"}))
    assert air.words(lot) == "12 C, 60 % humid"


@pytest.mark.parametrize(
    ("blend", "share"),
    [
        ({"potassium nitrate": "65 %", "sorbitol": "28 %", "sucrose": "7 %"}, 0.54),
        ({"potassium nitrate": "65 %", "sorbitol": "35 %"}, 0.60),
        ({"potassium nitrate": "65 %", "dextrose": "35 %"}, 0.60),
        ({"potassium nitrate": "65 %", "sucrose": "35 %"}, 0.60),
        ({"potassium nitrate": "65 %", "sorbitol": "30 %", "xylitol": "5 %"}, 0.60),
    ],
)
def test_the_blend_lowers_the_mark_of_damp_air_and_never_raises_it(
    session: Session, blend: dict[str, str], share: float
) -> None:
    lot = build.weighed_batch(session, blend=build.formula(session, parts=blend))
    mark = air.mark(session, lot)
    assert mark.share == pytest.approx(share)
    assert ("product rule" in mark.why) == (share < 0.6)
    assert ("Common practice, without a source" in mark.why) == (share == 0.6)
    assert ("amorphous" in mark.why) == ("sorbitol" in blend)
    assert ("xylitol" in mark.why) == ("xylitol" in blend)
    for humidity, damp in ((share - 0.01, False), (share, True), (0.9, True)):
        lot.humidity_share = humidity
        assert bool(air.mark(session, lot).advice) == damp, humidity


@pytest.mark.parametrize("again", [{"humidity": "55 %"}, {"air_temperature": "57 F"}])
def test_another_figure_or_none_needs_a_reason(session: Session, again: dict[str, str]) -> None:
    lot = build.weighed_batch(session)
    air.record_humidity(session, lot, AirIn.model_validate(DRY))
    with pytest.raises(Refused, match="52 % was measured") as caught:
        air.record_humidity(session, lot, AirIn.model_validate({**DRY, "humidity": None, **again}))
    assert caught.value.field == "why"
    told = correction_of(AirIn).model_validate({**DRY, "humidity": None, **again, "why": "Misread."})
    air.record_humidity(session, lot, told)
    assert lot.humidity_typed == again.get("humidity")


def test_only_an_open_session_takes_it(session: Session) -> None:
    lot = build.cast(session)
    leftovers.tell_test_pieces(session, lot, TestPiecesIn.model_validate({"test_pieces": "0 g"}))
    casting.close(session, lot, CloseIn(why="Enough for today."))
    with pytest.raises(Refused, match="is closed"):
        air.record_humidity(session, lot, AirIn.model_validate(DRY))


def test_a_motor_has_the_mean_over_its_grains_whose_air_is_known(session: Session) -> None:
    damp, dry, untold = (build.cast(session, 2) for _ in range(3))
    damp.humidity_share, dry.humidity_share = 0.8, 0.5
    inside = [build.grain(session, lot) for lot in (damp, dry, dry, untold)]
    build.bare_firing(session, build.bare_motor(session, inside), "good")
    (burn,) = burned_motors.burned(session, LookIn())
    assert burn.cast_humidity == pytest.approx((0.8 + 2 * 0.5) / 3)
    assert burn.humidity is None
