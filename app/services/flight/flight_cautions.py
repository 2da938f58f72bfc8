"""What to look at before a flight: thresholds are rules of thumb, and none of them makes a flight safe."""

from dataclasses import dataclass

from sqlmodel import Session

from app.calc.flight.wind import CODES_WIND, AtTheRail
from app.services.book import workshop
from app.services.flight.flights import Estimate
from app.units import UnitSystem, show

RAIL_SPEEDS = (13.0, 15.0)
"""Speed off the rail that is asked for [m/s]: a rule of thumb, common practice, no source."""

THRUST_TO_WEIGHT = 5.0
"""Thrust over weight off the rail that is asked for [-]: a rule of thumb, common practice, no source."""

OPENING_SPEED = 25.0
"""Speed through the air at which a parachute opens hard [m/s]: Grainbook's own mark, no source."""

LANDING_SPEED = 7.0
"""Descent speed at which rockets break [m/s]: Grainbook's own mark, no source; often 4 to 6 m/s are aimed at."""

DELAY_OFF = 2.0
"""How far an ejection delay may lie from the ideal one without a word [s]: half of what opens at 20 m/s."""

LIKELY = 0.05


@dataclass(frozen=True)
class Caution:
    """What to look at, and what to do about it."""

    title: str
    words: str


def look_at(session: Session, estimate: Estimate) -> list[Caution]:
    """The cautions of an estimated flight, the gravest first."""
    house = workshop.get(session)
    units = house.units
    blown = estimate.wind_m_s or 0.0
    wind = of_wind(estimate.rail, house.rail_angle_rad, blown, estimate.pad.wind_height, units)
    found = [*_ceiling(estimate, units), *_landing(estimate, units), *wind, *_rail(estimate, units)]
    return [*found, *_recovery(estimate, units), *(Caution("Drag", note) for note in estimate.flight.notes)]


def _share(value: float) -> str:
    return f"{100 * value:.0f} %" if value >= 0.01 or not value else "less than 1 %"


def _ceiling(e: Estimate, units: UnitSystem) -> list[Caution]:
    ceiling = e.field.ceiling_m
    if ceiling is None or not e.above_ceiling:
        return []
    passed = "The expected height passes it" if e.flight.highest > ceiling else "The upper end of the range passes it"
    return [
        Caution(
            "Above the field's ceiling",
            f"{e.field.name} has a ceiling of {show(ceiling, 'altitude', units)} above ground. {passed}; "
            f"{_share(e.range.above_ceiling or 0.0)} of the sampled flights do. Take a smaller motor, a heavier rocket "
            "or another field.",
        )
    ]


def _landing(e: Estimate, units: UnitSystem) -> list[Caution]:
    outside = e.range.outside_field
    if outside is None or e.edge_m is None:
        return []
    beyond = abs(e.flight.landing_distance) > e.edge_m
    if not beyond and outside < LIKELY:
        return []
    side = "with" if e.flight.landing_distance >= 0 else "into"
    return [
        Caution(
            "Landing outside the field",
            f"It is expected {show(abs(e.flight.landing_distance), 'altitude', units)} {side} the wind from the pad; "
            f"the field reaches {show(e.edge_m, 'altitude', units)}. {_share(outside)} of the sampled flights land "
            "outside. Wait for less wind, open the main parachute lower, or take a smaller motor.",
        )
    ]


def of_wind(
    rail: AtTheRail, largest_rad: float, wind_m_s: float, wind_height_m: float, units: UnitSystem
) -> list[Caution]:
    """Of the wind as it meets a rocket off its rail: beyond the largest angle, and above what clubs fly in."""
    found = []
    largest = show(largest_rad, "angle", units, 0)
    if rail.gust_angle > largest_rad:
        gust = show(rail.gust_angle, "angle", units, 0)
        met = f"As it leaves the rail the air meets it {show(rail.mean_angle, 'angle', units, 0)} off its nose"
        found.append(
            Caution(
                "Too much wind for this rail" if rail.mean_angle > largest_rad else "Gusts meet it far off its nose",
                f"{met}, {gust} in a gust; {largest} is the workshop's mark (a rule of thumb, no source). That is "
                f"{show(rail.limit, 'speed', units)} of wind at {show(wind_height_m, 'altitude', units)}. Beyond it a "
                "rocket may turn hard into the wind or lose its fins' hold. Wait for less wind, or take a longer rail "
                "or a stronger motor.",
            )
        )
    gust_m_s = wind_m_s * rail.gust / rail.mean if rail.mean else 0.0
    if gust_m_s > CODES_WIND:
        mark = show(CODES_WIND, "speed", units, 0)
        mark = mark if units.speed == "mph" else f"{mark} (20 mph)"
        what = "The wind passes" if wind_m_s > CODES_WIND else "Gusts pass"
        found.append(
            Caution(
                "More wind than clubs fly in",
                f"{what} {mark}, above which clubs' codes commonly do not fly: common practice, see your own code.",
            )
        )
    return found


def _rail(e: Estimate, units: UnitSystem) -> list[Caution]:
    found = []
    low, asked = e.range.rail_exit_speed.low, RAIL_SPEEDS[0]
    if min(e.flight.rail_exit_speed, low) < asked:
        marks = " to ".join(show(speed, "speed", units, 0) for speed in RAIL_SPEEDS)
        found.append(
            Caution(
                "Slow off the rail",
                f"{show(e.flight.rail_exit_speed, 'speed', units)} expected, {show(low, 'speed', units)} at the lower "
                f"end; a rule of thumb asks for {marks}. Take a longer rail, a lighter rocket or a stronger motor.",
            )
        )
    if e.flight.thrust_to_weight_rail < THRUST_TO_WEIGHT:
        found.append(
            Caution(
                "Little thrust for its weight",
                f"Thrust is {e.flight.thrust_to_weight_rail:.1f} times the weight as it leaves the rail; a rule of "
                f"thumb asks for {THRUST_TO_WEIGHT:g}.",
            )
        )
    if e.range.stays_on_rail:
        found.append(
            Caution(
                "It may stay on the rail", f"{_share(e.range.stays_on_rail)} of the sampled flights do not leave it."
            )
        )
    return found


def _recovery(e: Estimate, units: UnitSystem) -> list[Caution]:
    found = []
    if not e.opens:
        found.append(
            Caution(
                "It comes down nose first",
                f"Nothing opens before the ground, which it hits at {show(e.ground_hit, 'speed', units)}. "
                + (
                    "Give the rocket its parachutes in the workshop."
                    if e.rocket.main_d_m is None and e.rocket.drogue_d_m is None
                    else "Shorten the delay."
                ),
            )
        )
        return found
    fast, later = max(e.flight.opening_speed, e.range.opening_speed.high), e.flight.main_opening_speed
    if fast > OPENING_SPEED:
        found.append(
            Caution(
                "Opening fast",
                f"The first parachute opens at {show(e.flight.opening_speed, 'speed', units)}, up to "
                f"{show(fast, 'speed', units)} over the range; from about {show(OPENING_SPEED, 'speed', units, 0)} on "
                "(our own mark, no source) it may tear something.",
            )
        )
    if later > OPENING_SPEED:
        found.append(
            Caution(
                "The main parachute opens fast",
                f"Under the drogue it comes down at {show(later, 'speed', units)} where the main one opens; from about "
                f"{show(OPENING_SPEED, 'speed', units, 0)} on (our own mark, no source) it may tear something. Take a "
                "larger drogue.",
            )
        )
    if e.flight.landing_speed > LANDING_SPEED:
        found.append(
            Caution(
                "A hard landing",
                f"It comes down at {show(e.flight.landing_speed, 'speed', units)}; above about "
                f"{show(LANDING_SPEED, 'speed', units, 0)} (our own mark, no source) things break, and the drift "
                "over the ground comes on top.",
            )
        )
    if e.delay_s is not None and abs(e.delay_s - e.flight.coast_time) > DELAY_OFF:
        found.append(
            Caution(
                "The delay is far from the ideal one",
                f"{show(e.delay_s, 'time', units, 1)} given, {show(e.flight.coast_time, 'time', units, 1)} from "
                f"burnout to apogee; over the range {e.range.coast_time.low:.1f} to {e.range.coast_time.high:.1f} s.",
            )
        )
    if e.range.nothing_opens:
        found.append(
            Caution(
                "It may come down closed", f"Nothing opens in {_share(e.range.nothing_opens)} of the sampled flights."
            )
        )
    return found
