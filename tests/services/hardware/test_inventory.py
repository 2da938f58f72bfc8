"""Patterns, tubes, rods, cases, nozzles: sizes that cannot be are refused, odd ones are told."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from sqlmodel import Session

from app import clock
from app.errors import Refused
from app.models import CastingTube, CoringRod, GrainPattern, Nozzle
from app.models.hardware import GrainPatternIn, NozzleIn, NozzleMeasureIn
from app.services.book import repository
from app.services.hardware import inventory, shapes
from tests import build


def _measure(throat: str, day: str = "2024-03-01") -> NozzleMeasureIn:
    return NozzleMeasureIn.model_validate({"throat_d": throat, "measured_on": day})


def test_a_pattern_knows_its_volume(session: Session) -> None:
    pattern = build.pattern(session)
    # pi/4 (44.45^2 - 19.05^2) 76.2 mm3, by hand: 96.53 cm3
    assert shapes.volume(pattern) == pytest.approx(96.53e-6, rel=1e-4)


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"core_d": "44.45 mm"}, "core_d"),
        ({"core_d": "60 mm"}, "core_d"),
        ({"burning_ends": 0, "burns_outer": True}, "burning_ends"),
        ({"tube": True, "outer_d": "45.5 mm"}, "outer_d"),
        ({"tube": True, "length": "80 mm"}, "length"),
        ({"tube": True, "burns_outer": True}, "burns_outer"),
        ({"rod": True, "core_d": "18 mm"}, "core_d"),
    ],
)
def test_a_pattern_that_cannot_be_cast_is_refused(session: Session, more: dict[str, object], field: str) -> None:
    if more.pop("tube", False):
        more["casting_tube_id"] = build.tube(session, length="76.2 mm").pk
    if more.pop("rod", False):
        more["coring_rod_id"] = build.rod(session).pk
    with pytest.raises(Refused) as caught:
        build.pattern(session, **more)
    assert caught.value.field == field


def test_a_pattern_takes_its_diameters_from_tube_and_rod(session: Session) -> None:
    tube, rod = build.tube(session), build.rod(session)
    pattern = build.pattern(session, outer_d=None, core_d=None, casting_tube_id=tube.pk, coring_rod_id=rod.pk)
    assert (pattern.outer_d_m, pattern.core_d_m) == (tube.inner_d_m, rod.diameter_m)
    for missing in ("outer_d", "core_d"):
        with pytest.raises(Refused, match="Type it, or choose") as caught:
            build.pattern(session, **{missing: None})
        assert caught.value.field == missing


def test_an_odd_pattern_is_taken_and_told(session: Session) -> None:
    tube, rod = build.tube(session), build.rod(session)
    fits = build.pattern(session, casting_tube_id=tube.pk, coring_rod_id=rod.pk)
    assert inventory.doubts(session, fits) == []
    odd = build.pattern(session, casting_tube_id=tube.pk, coring_rod_id=rod.pk, outer_d="40 mm", core_d="20 mm")
    assert [tube.name in words or rod.name in words for words in inventory.doubts(session, odd)] == [True, True]
    assert "narrower than a fifth" in inventory.doubts(session, build.pattern(session, core_d="6 mm"))[0]
    assert "No end face burns" in inventory.doubts(session, build.pattern(session, burning_ends=0))[0]


def test_lists_leave_out_what_is_retired(session: Session) -> None:
    tube = build.tube(session)
    pattern = build.pattern(session, casting_tube_id=tube.pk)
    assert repository.put_away(session, tube) is False
    assert (inventory.tubes(session), inventory.tubes(session, retired=True)) == ([], [tube])
    assert repository.put_away(session, pattern) is True
    assert inventory.patterns(session) == []
    assert session.get(GrainPattern, pattern.id) is None


def test_uses_are_counted_by_what_refers_to_a_row(session: Session) -> None:
    tube = build.tube(session)
    assert repository.uses(session, tube) == {}
    build.pattern(session, casting_tube_id=tube.pk)
    build.pattern(session, casting_tube_id=tube.pk)
    assert repository.uses(session, tube) == {"grain_pattern": 2}


@pytest.mark.parametrize(("table", "make"), [(CastingTube, build.tube), (CoringRod, build.rod), (Nozzle, build.nozzle)])
def test_names_are_taken_once(
    session: Session, table: type[CastingTube | CoringRod | Nozzle], make: Callable[..., object]
) -> None:
    make(session, name="Same")
    with pytest.raises(Refused, match="in the book already") as caught:
        make(session, name="SAME")
    assert caught.value.field == "name"


# --- Cases -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"inner_d": "54 mm"}, "inner_d"),
        ({"inner_d": "60 mm"}, "inner_d"),
        ({"material": "wood"}, "material"),
        ({"material": "other"}, "yield_strength"),
        ({"proof_pressure": "10 MPa"}, "proof_on"),
        ({"proof_on": "2024-01-05"}, "proof_pressure"),
    ],
)
def test_a_case_that_cannot_be_is_refused(session: Session, more: dict[str, object], field: str) -> None:
    with pytest.raises(Refused) as caught:
        build.case(session, **more)
    assert caught.value.field == field


def test_a_proof_test_lies_in_the_past(session: Session) -> None:
    tomorrow = clock.today() + timedelta(days=1)
    with pytest.raises(Refused, match="still to come"):
        build.case(session, proof_pressure="10 MPa", proof_on=tomorrow)
    assert build.case(session, proof_pressure="10 MPa", proof_on=clock.today()).proof_on == clock.today()


def test_the_wall_by_formula(session: Session) -> None:
    case = build.case(session)
    wall = inventory.wall(case)
    # Lame at the bore with 8 MPa, 48.2 and 54 mm, by hand: 8 (27^2 + 24.1^2) / (27^2 - 24.1^2) = 70.7 MPa
    assert wall.bore_stress / 1e6 == pytest.approx(8 * (27**2 + 24.1**2) / (27**2 - 24.1**2))
    assert wall.yield_strength == 240e6  # 6061-T6 extrusions, least (published)
    assert inventory.case_doubts(session, case) == [
        "It was not proof-tested; your own water-pressure test outranks any rating and any formula."
    ]


def test_a_rating_that_the_wall_does_not_bear_is_told(session: Session) -> None:
    thin = build.case(session, inner_d="53 mm", rated_pressure="10 MPa")
    assert "begins to yield" in inventory.case_doubts(session, thin)[0]
    near = build.case(session, inner_d="51 mm", rated_pressure="8 MPa")
    assert "less than the usual factor of 2" in inventory.case_doubts(session, near)[0]
    bare = build.case(session, rated_pressure=None)
    assert "no rating and no proof test" in inventory.case_doubts(session, bare)[0]


# --- Nozzles -----------------------------------------------------------------------------------------


def test_the_throat_now_is_as_made_until_it_is_measured(session: Session) -> None:
    nozzle = build.nozzle(session)
    assert inventory.throat_now(session, nozzle) == 0.0127
    inventory.measure_nozzle(session, nozzle, _measure("12.9 mm", "2024-03-01"))
    inventory.measure_nozzle(session, nozzle, _measure("12.8 mm", "2024-02-01"))
    assert inventory.throat_now(session, nozzle) == 0.0129
    inventory.measure_nozzle(session, nozzle, _measure("12.95 mm", "2024-03-01"))
    assert inventory.throat_now(session, nozzle) == 0.01295  # the later entry of one day
    assert [m.throat_d_typed for m in inventory.measures(session, nozzle)] == ["12.95 mm", "12.9 mm", "12.8 mm"]


def test_a_throat_wider_than_the_exit_or_measured_tomorrow_is_refused(session: Session) -> None:
    nozzle = build.nozzle(session)
    with pytest.raises(Refused, match="wider than the exit"):
        inventory.measure_nozzle(session, nozzle, _measure("40 mm"))
    with pytest.raises(Refused, match="still to come"):
        inventory.measure_nozzle(session, nozzle, _measure("12.8 mm", str(clock.today() + timedelta(days=1))))
    with pytest.raises(Refused, match="at least as wide"):
        build.nozzle(session, exit_d="12 mm")


def test_an_exit_is_not_made_narrower_than_the_throat_has_become(session: Session) -> None:
    nozzle = build.nozzle(session, exit_d="14 mm")
    inventory.measure_nozzle(session, nozzle, _measure("13.5 mm"))
    form = NozzleIn.model_validate({"name": nozzle.name, "throat_d": "12.7 mm", "exit_d": "13 mm"})
    with pytest.raises(Refused, match=r"last measured as 13\.50 mm"):
        inventory.save_nozzle(session, form, nozzle)


def test_a_pattern_keeps_its_identity_when_changed(session: Session) -> None:
    pattern = build.pattern(session)
    form = GrainPatternIn.model_validate(
        {"name": pattern.name, "outer_d": "31", "core_d": "10", "length": "55", "burning_ends": 1}
    )
    seen = pattern.version
    assert inventory.save_pattern(session, form, pattern, seen) is pattern
    assert (pattern.outer_d_m, pattern.burning_ends, pattern.version) == (0.031, 1, seen + 1)
