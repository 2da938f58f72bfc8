"""Motors of grains not yet cast: what cannot be is refused, what is not told is assumed and said."""

import pytest
from sqlmodel import Session

from app.errors import Refused
from app.services.motors import designs, motor_setup
from app.units import say
from tests import build


@pytest.mark.parametrize(
    ("change", "field", "words"),
    [
        ({"count": 5}, "count", "has room for"),
        ({"throat_d": "33 mm"}, "throat_d", "wider than the exit"),
        ({"throat_d": "20 mm"}, "throat_d", "wider than the narrowest port"),
    ],
)
def test_a_motor_that_cannot_be_is_refused_beside_its_field(
    session: Session, change: dict[str, object], field: str, words: str
) -> None:
    with pytest.raises(Refused, match=words) as fault:
        designs.predict(session, build.design_in(session, **change))
    assert fault.value.field == field


def test_a_grain_in_a_tube_wider_than_the_case_is_refused(session: Session) -> None:
    tubed = build.pattern(session, casting_tube_id=build.tube(session).pk)
    narrow = build.case(session, inner_d="46 mm")
    with pytest.raises(Refused, match=r"in its tube .* 47.20 mm wide; .* 46.00 mm inside"):
        designs.predict(session, build.design_in(session, pattern=tubed, case=narrow))


def test_without_a_nozzle_a_throat_is_asked_for_and_its_expansion_assumed(session: Session) -> None:
    asked = build.design_in(session).model_copy(update={"nozzle_id": None})
    with pytest.raises(Refused, match="type the throat") as fault:
        designs.predict(session, asked)
    assert fault.value.field == "throat_d"
    typed = build.design_in(session, throat_d="12.7 mm").model_copy(update={"nozzle_id": None})
    found = designs.predict(session, typed)
    assert (found.inputs.exit_d_m / found.inputs.throat_d_m) ** 2 == pytest.approx(motor_setup.USUAL_EXPANSION)
    assert any("No nozzle is chosen" in say(line) for line in found.assumptions)
