"""A flight of a predicted motor: what goes in from the book, what comes out, what is said of it."""

import math
from typing import Any

import pytest
from sqlmodel import Session

from app import clock
from app.errors import Refused
from app.models import Batch
from app.models.flight import FlightIn
from app.models.place import LaunchFieldIn, RocketIn
from app.services.book import workshop
from app.services.firings import firings
from app.services.flight import flight_cautions, flights
from app.services.flight.flights import Estimate
from app.services.hardware import places
from app.services.learning import prediction_record
from app.services.learning.prediction_record import PredictionRecord
from app.services.motors import builds, designs
from app.units import say
from tests import build
from tests.marks import marks

CHUTES = {"main_d": "2.1 m", "main_cd": "1.5", "main_basis": "open"}


def expected(session: Session, **case: Any) -> PredictionRecord:
    """The prediction of a motor built of four usual grains."""
    built = build.motor_build(session, **({"case": build.case(session, **case)} if case else {}))
    row = builds.around(session, built).prediction
    assert row is not None
    return prediction_record.from_row(row)


def estimated(
    session: Session, found: PredictionRecord, rocket: Any = None, field: Any = None, **more: Any
) -> Estimate:
    rocket = rocket or build.rocket(session, **CHUTES)
    field = field or build.field(session, elevation="0 m", ceiling="900 m")
    asked = {"rocket_id": rocket.pk, "launch_field_id": field.pk, **more}
    return flights.estimate(session, found, FlightIn.model_validate(asked))


def titles(session: Session, estimate: Estimate) -> str:
    return " | ".join(one.title for one in flight_cautions.look_at(session, estimate))


def test_wind_weather_rail_and_delay_change_the_flight(session: Session) -> None:
    found = expected(session)
    rocket, field = build.rocket(session, **CHUTES), build.field(session, elevation="0 m")
    calm = estimated(session, found, rocket, field)
    assert estimated(session, found, rocket, field, wind="6 m/s").flight.highest < calm.flight.highest
    assert estimated(session, found, rocket, field, air_temperature="35 C").flight.highest > calm.flight.highest
    assert estimated(session, found, rocket, field, tilt="10 deg").flight.highest < calm.flight.highest
    assert estimated(session, found, rocket, field, rail="4 m").flight.rail_exit_speed > calm.flight.rail_exit_speed
    early = estimated(session, found, rocket, field, delay="2 s")
    assert early.flight.highest < early.flight.apogee
    assert early.flight.opening_time == pytest.approx(early.flight.burnout_time + 2)


def test_the_rail_leans_into_the_wind_or_with_it(session: Session) -> None:
    found = expected(session)
    rocket = build.rocket(session, rail_length="3 m", rail_tilt="8 deg", **CHUTES)
    into = estimated(session, found, rocket, wind="3 m/s")
    along = estimated(session, found, rocket, wind="3 m/s", leans="with")
    assert into.flight.downrange < along.flight.downrange
    assert "Rail 3.00 m, leaning 8.0 ° into the wind" in " ".join(map(say, into.assumptions))


def test_the_empty_motor_is_typed_or_weighed_or_guessed(session: Session) -> None:
    found = expected(session, empty_mass="900 g")
    weighed = estimated(session, found)
    assert weighed.flight.liftoff_mass == pytest.approx(7.26 + 0.9 + found.propellant_mass, rel=1e-3)
    assert "as weighed with its case" in say(weighed.assumptions[0])
    typed = estimated(session, found, empty_motor="1.4 kg")
    assert typed.flight.liftoff_mass - weighed.flight.liftoff_mass == pytest.approx(0.5)
    guessed = estimated(session, expected(session))
    assert "estimated from its tube" in say(guessed.assumptions[0])


def test_the_tubes_that_stay_on_the_grains_fly_with_them(session: Session) -> None:
    """Weighed with the grain or known of its pattern; each counts once."""
    tube = build.tube(session, tare="9.6 g")
    pattern = build.pattern(session, casting_tube_id=tube.pk)
    items = [{"pattern_id": pattern.pk, "count": 4}]
    grains = build.ready_grains(session, 3, items=items)
    with clock.turned_to(grains[0].weighed_at):
        lot = session.get(Batch, grains[0].batch_id)
        assert lot is not None
        heavier = f"{(grains[0].mass_kg + 0.0102) * 1000:.1f} g"
        grains.append(build.grain(session, lot, gross=heavier, tare="10.2 g"))
    found = prediction_record.from_row(builds.around(session, build.motor_build(session, grains=grains)).predictions[0])
    flown = estimated(session, found, empty_motor="900 g")
    assert flown.flight.liftoff_mass == pytest.approx(
        7.26 + 0.9 + found.propellant_mass + 3 * 0.0096 + 0.0102, abs=1e-6
    )
    assert "the grains' tubes 39 g" in say(flown.assumptions[0])
    designed = designs.predict(session, build.design_in(session, pattern=pattern))
    assert sum(grain.tube_kg for grain in designed.inputs.grains) == pytest.approx(4 * 0.0096)


def test_a_mach_table_and_an_area_basis_are_used_and_said(session: Session) -> None:
    found = expected(session)
    plain = estimated(session, found)
    tabled = build.rocket(session, drag_points=[{"mach": 0.1, "coefficient": 0.9}, {"mach": 0.9, "coefficient": 1.1}])
    assert estimated(session, found, tabled).flight.highest < plain.flight.highest
    assert "'s table, straight between its rows" in " ".join(map(say, estimated(session, found, tabled).assumptions))
    wide = build.rocket(session, reference_d="150 mm")
    assert estimated(session, found, wide).flight.highest < plain.flight.highest
    assert "circle of the reference diameter" in " ".join(map(say, estimated(session, found, wide).assumptions))


def test_the_motors_range_is_carried_through(session: Session) -> None:
    found = expected(session)
    usual = estimated(session, found)
    low, mid, high = marks(usual.highest)
    assert low < mid < high
    impulse = found.total_impulse
    wide = found.model_copy(
        update={"total_impulse": impulse.model_copy(update={"low": 0.5 * impulse.mid, "high": 1.6 * impulse.mid})}
    )
    assert estimated(session, wide).range.highest.high > usual.range.highest.high
    assert estimated(session, wide).range.highest.low < usual.range.highest.low


def test_a_logged_flight_is_estimated_in_its_weather(session: Session) -> None:
    rocket, field = build.rocket(session, **CHUTES), build.field(session, radius="100 m")
    fired = build.firing(
        session,
        kind="flight",
        rocket_id=rocket.pk,
        launch_field_id=field.pk,
        wind="7 m/s",
        wind_from="SW",
        air_temperature="30 C",
        delay_planned="4 s",
    )
    row = firings.its_motor(session, fired).prediction
    assert row is not None
    found, refusal = flights.estimate_of(session, prediction_record.from_row(row), fired)
    assert refusal == ""
    assert found is not None
    assert (found.wind_m_s, found.delay_s, found.edge_m) == (7, 4, 100)
    assert any("from south-west" in say(line) for line in found.assumptions)


# --- Cautions ----------------------------------------------------------------------------------


def test_ceiling_by_its_upper_end(session: Session) -> None:
    found = expected(session)
    high = estimated(session, found).range.highest
    for ceiling, said in ((high.high - 5, True), (high.high + 5, False)):
        judged = estimated(session, found, field=build.field(session, elevation="0 m", ceiling=f"{ceiling:.0f} m"))
        assert judged.above_ceiling is said
        assert ("Above the field's ceiling" in titles(session, judged)) is said


def test_landing_outside_is_told_with_a_wind_only(session: Session) -> None:
    found = expected(session)
    small = build.field(session, radius="60 m")
    assert "Landing outside" in titles(session, estimated(session, found, field=small, wind="8 m/s"))
    calm = estimated(session, found, field=small)
    assert calm.range.outside_field is None
    assert "Landing outside" not in titles(session, calm)


def test_rail_thrust_and_parachute(session: Session) -> None:
    found = expected(session)
    heavy = titles(session, estimated(session, found, build.rocket(session, mass="15 kg")))
    for title in ("Slow off the rail", "Little thrust for its weight", "It comes down nose first"):
        assert title in heavy
    drogue = build.rocket(session, **CHUTES, drogue_d="0.2 m", drogue_cd="0.75", main_altitude="150 m")
    assert "The main parachute opens fast" in titles(session, estimated(session, found, drogue))
    light = build.rocket(session, mass="3 kg", **CHUTES)
    late = titles(session, estimated(session, found, light, delay="20 s"))
    assert "Opening fast" in late
    assert "The delay is far from the ideal one" in late
    assert "A hard landing" in titles(
        session, estimated(session, found, build.rocket(session, main_d="0.8 m", main_cd="0.75"))
    )


def test_air_far_off_the_nose_at_the_rail_is_told(session: Session) -> None:
    """30 mph on a two-metre rail: the angle was worked out and stayed silent. Rules of thumb, no source."""
    found = expected(session)
    stormy = estimated(session, found, wind="30 mph")
    assert math.degrees(stormy.flight.exit_angle) > 30
    said = titles(session, stormy)
    assert "Too much wind for this rail" in said
    assert "More wind than clubs fly in" in said
    workshop.get(session).speed_unit = "mph"
    (words,) = [one.words for one in flight_cautions.look_at(session, stormy) if one.title.startswith("More wind")]
    assert str(words).startswith("The wind passes 20 mph, above which")
    workshop.get(session).speed_unit = "m/s"
    at_limit = stormy.rail.limit
    quiet = titles(session, estimated(session, found, wind=f"{at_limit / 1.6:.2f} m/s"))
    assert "Too much wind" not in quiet
    assert "Gusts meet" not in quiet
    gusty = titles(
        session, estimated(session, found, wind=f"{at_limit / 1.6:.2f} m/s", gust=f"{1.1 * at_limit:.2f} m/s")
    )
    assert "Gusts meet it far off its nose" in gusty
    assumed = titles(session, estimated(session, found, wind=f"{at_limit / 1.4:.2f} m/s"))
    assert "Gusts meet it far off its nose" in assumed
    assert "Too much wind for this rail" in titles(
        session, estimated(session, found, wind=f"{1.02 * at_limit:.2f} m/s")
    )


def test_the_mark_of_the_workshop_moves_the_wind_to_stay_below(session: Session) -> None:
    found = expected(session)
    usual = estimated(session, found, wind="2 m/s")
    workshop.get(session).rail_angle_rad = math.radians(10)
    strict = estimated(session, found, wind="2 m/s")
    assert strict.rail.limit == pytest.approx(
        usual.rail.limit * math.tan(math.radians(10)) / math.tan(math.radians(20))
    )
    flown = estimated(session, found, wind=f"{strict.rail.limit} m/s")
    assert flown.flight.exit_angle == pytest.approx(math.radians(10), rel=1e-3)


def test_a_gust_below_the_mean_or_without_one_is_refused_beside_its_field(session: Session) -> None:
    found = expected(session)
    for typed, field in (({"wind": "5 m/s", "gust": "4 m/s"}, "gust"), ({"gust": "4 m/s"}, "wind")):
        with pytest.raises(Refused) as fault:
            estimated(session, found, **typed)
        assert fault.value.field == field


def test_a_fault_lands_beside_its_field(session: Session) -> None:
    found = expected(session)
    with pytest.raises(Refused, match="does not lift") as fault:
        estimated(session, found, build.rocket(session, mass="150 kg"))
    assert fault.value.field == "rocket_id"
    with pytest.raises(Refused, match="no weather") as fault:
        estimated(session, found, air_temperature="-50 C", field=build.field(session, elevation="-400 m"))
    assert fault.value.field == "air_temperature"


# --- Rockets and fields --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "field", "words"),
    [
        ({"reference_d": "100 mm", "reference_area": "80 cm2"}, "reference_area", "one basis"),
        ({"main_d": "1 m"}, "main_cd", "drag coefficient"),
        ({"drogue_cd": "1.5"}, "drogue_d", "diameter"),
        ({"main_altitude": "150 m"}, "main_altitude", "No main parachute"),
        ({**CHUTES, "drogue_d": "0.4 m", "drogue_cd": "1.5"}, "main_altitude", "height at which"),
        (
            {"drag_points": [{"mach": 0.5, "coefficient": 0.5}, {"mach": 0.5, "coefficient": 0.6}]},
            "drag_points.1.mach",
            "rising order",
        ),
    ],
)
def test_a_rocket_that_cannot_be(session: Session, typed: dict[str, Any], field: str, words: str) -> None:
    with pytest.raises(Refused, match=words) as fault:
        build.rocket(session, **typed)
    assert fault.value.field == field


def test_a_drag_table_is_changed_and_taken_away(session: Session) -> None:
    rows = [{"mach": 0.3, "coefficient": 0.5}, {"mach": 0.9, "coefficient": 0.7}]
    rocket = build.rocket(session, drag_points=rows)
    assert places.drag_table(rocket) == [(0.3, 0.5), (0.9, 0.7)]
    form = {"name": rocket.name, "mass": "7 kg", "diameter": "100 mm"}
    shifted = [{"mach": 0.1, "coefficient": 0.4}, *rows]
    places.save_rocket(session, RocketIn.model_validate({**form, "drag_points": shifted}), rocket, rocket.version)
    assert places.drag_table(rocket) == [(0.1, 0.4), (0.3, 0.5), (0.9, 0.7)]
    places.save_rocket(session, RocketIn.model_validate(form), rocket, rocket.version)
    assert places.drag_table(rocket) == []


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"radius": "100 m", "length": "300 m", "width": "200 m"}, "radius"),
        ({"length": "300 m"}, "width"),
        ({"width": "300 m"}, "length"),
        ({"long_axis": "45 deg"}, "long_axis"),
    ],
)
def test_a_field_that_cannot_be(session: Session, typed: dict[str, str], field: str) -> None:
    with pytest.raises(Refused) as fault:
        places.save_field(session, LaunchFieldIn.model_validate({"name": "Moor", "elevation": "0 m", **typed}))
    assert fault.value.field == field


def test_how_far_the_field_reaches_along_the_wind(session: Session) -> None:
    """Plane geometry: half the length along its axis, half the width across it, to the corner between."""
    assert places.edge(build.field(session), "N") is None
    assert places.edge(build.field(session, radius="250 m"), None) == (250, "the field's radius")
    strip = build.field(session, length="800 m", width="200 m", long_axis="45 deg")
    for wind, reach in (("NE", 400), ("SW", 400), ("SE", 100), ("NW", 100), ("N", 100 * math.sqrt(2))):
        found = places.edge(strip, wind)
        assert found is not None
        assert found[0] == pytest.approx(reach)
    unknown = places.edge(strip, None)
    assert unknown is not None
    assert unknown[0] == 100
    assert "nearest edge" in unknown[1]


def test_the_expected_descent_between_two_heights_is_that_of_the_parachute(session: Session) -> None:
    flown = estimated(session, expected(session))
    # NASA Glenn, velocity of a descent under a parachute: V = sqrt(2 W / (Cd rho A))
    weight = (flown.bare_kg) * 9.80665
    steady = math.sqrt(2 * weight / (1.5 * 1.2250 * math.pi / 4 * 2.1**2))
    assert flown.descent(60.0, 0.0) == pytest.approx(steady, rel=0.02)
    assert flown.descent(1e5, 0.0) is not None, "the upper end is at most the top"
    assert flown.descent(1e6, 1e5) is None
    assert estimated(session, expected(session), build.rocket(session, name="Dart")).descent(60.0, 0.0) is None
