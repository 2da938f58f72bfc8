"""From which humidity a blend is damp, against published humidities over saturated salts."""

from itertools import pairwise

import pytest

from app.calc.base.errors import BlendError, OutOfRange
from app.calc.propellant.damp import (
    SUGARS_AT_ROOM,
    USUAL_MARK,
    blend_humidity,
    damp_mark,
    deliquescence_humidity,
    unknown_parts,
)
from tests.published import published


def parts(*sugars: str) -> dict[str, float]:
    return {"potassium_nitrate": 0.65} | {sugar: 0.35 / len(sugars) for sugar in sugars}


@pytest.mark.parametrize(
    "row", published("deliquescence.csv"), ids=lambda row: f"{row['blend']}-{row['celsius']}-{row['source']}"
)
def test_published_humidities(row: dict[str, str]) -> None:
    temperature, (first, *sugars) = float(row["celsius"]) + 273.15, row["blend"].split("+")
    found = blend_humidity(parts(*sugars), temperature) if sugars else deliquescence_humidity(first, temperature)
    assert 100 * found == pytest.approx(float(row["humidity"]), abs=float(row["tolerance"]))


def test_a_blend_lowers_the_mark_and_never_raises_it() -> None:
    assert damp_mark(parts("sorbitol")) == damp_mark(parts("sucrose")) == damp_mark(parts("dextrose")) == USUAL_MARK
    assert 0.50 <= damp_mark({"potassium_nitrate": 0.65, "sorbitol": 0.28, "sucrose": 0.07}) <= 0.55
    assert damp_mark(parts("mannitol")) == USUAL_MARK, "nothing is held of it: it does not raise the mark"


def test_each_part_more_lowers_it_and_shares_do_not_matter() -> None:
    humid = [blend_humidity(parts(*list(SUGARS_AT_ROOM)[:n])) for n in (1, 2, 3)]
    assert all(more < fewer for fewer, more in pairwise(humid))
    uneven = {"potassium_nitrate": 0.6, "sorbitol": 0.39, "sucrose": 0.01}
    assert blend_humidity(uneven) == blend_humidity(parts("sorbitol", "sucrose"))


def test_what_is_not_known_is_said() -> None:
    assert unknown_parts(parts("sorbitol", "xylitol")) == ("Xylitol",)
    assert unknown_parts(parts("sorbitol", "sucrose")) == ()
    with pytest.raises(BlendError, match="xylitol"):
        deliquescence_humidity("xylitol")
    with pytest.raises(OutOfRange, match="temperature"):
        deliquescence_humidity("sorbitol", 400.0)
