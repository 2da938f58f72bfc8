"""What a predicted motor would do in a rocket, from a field, on a day: expected, and as a range."""

from dataclasses import dataclass
from math import hypot, isnan
from typing import Any

import numpy as np
from sqlmodel import Session, select

from app.calc.base.areas import ring_area
from app.calc.base.errors import CalcError
from app.calc.base.notes import Note, joined
from app.calc.flight.flight import Flight, Motor, Pad, fly
from app.calc.flight.flight import Rocket as Airframe
from app.calc.flight.flight_range import FlightRange, MotorDraws, drawn_from_marks, fly_range, shares_about
from app.calc.flight.wind import EXPONENT, GUST_FACTOR, STEADY_ABOVE, STRONGEST, AtTheRail, at_the_rail
from app.errors import Refused
from app.models import Case, Firing, LaunchField, Rocket
from app.models.firing import WINDS
from app.models.flight import FlightIn
from app.models.place import CHUTE_BASES
from app.services.book import repository, workshop
from app.services.hardware import places
from app.services.learning.prediction_record import CaseInput, PredictionRecord, Range
from app.units import Quantity, UnitSystem, show

USUAL_RAIL_M = 2.0
"""Rail length where none is told [m]: common practice for rockets of this size, no source."""

WIND_HEIGHT_M = 2.0
"""Height at which a wind is measured where nothing is said [m]: a hand's anemometer over the head, an assumption."""

TURNING = 0.5
"""Expected share of weathercocking [-]: halfway between not at all and wholly, an assumption; the range has both."""

ALUMINIUM_KG_M3 = 2700.0
CLOSURES = 1.5
"""Mass of an empty motor over that of its bare tube [-]: Grainbook's own rough guess for closures and nozzle."""

SAMPLES = 256

_FIELDS = {
    "thrust": "rocket_id",
    "rail_length": "rail",
    "dry_mass": "empty_motor",
    "tilt": "tilt",
    "speed": "wind",
    "gust": "gust",
    "measured_at": "wind_height",
    "warmer": "air_temperature",
    "temperature": "air_temperature",
    "delay": "delay",
    "altitude": "launch_field_id",
    "drag_coefficient": "rocket_id",
    "drag_table": "rocket_id",
}
"""Where a fault of the calculation belongs on the form."""


@dataclass(frozen=True)
class Estimate:
    """A flight as computed and as a range, what it was computed with, and where it is judged.

    `bare_kg` is the rocket with the empty motor, without grains and their tubes.
    `rail` is how wind and gust meet it off the rail, in still air with no wind; `gust_told` whether the gust was.
    `edge_m` is how far the field reaches from the pad along the wind, `wind_m_s` the wind at `wind_height_m`; None
    where it is not known, and then nothing is said of landing.
    """

    flight: Flight
    range: FlightRange
    rocket: Rocket
    field: LaunchField
    delay_s: float | None
    wind_m_s: float | None
    wind_from: str | None
    rail: AtTheRail
    gust_told: bool
    edge_m: float | None
    assumptions: list[Note | str]
    airframe: Airframe
    pad: Pad
    bare_kg: float

    @property
    def highest(self) -> Range:
        """Height reached, with the marks of the drawn flights [m]."""
        return Range(mid=self.flight.highest, low=self.range.highest.low, high=self.range.highest.high)

    @property
    def above_ceiling(self) -> bool:
        """Whether the expected height, or the upper end of its range, passes the field's ceiling."""
        highest = max(self.flight.highest, self.range.highest.high)
        return self.field.ceiling_m is not None and highest > self.field.ceiling_m

    @property
    def opens(self) -> bool:
        """Whether the expected flight comes down under a parachute."""
        return not isnan(self.flight.opening_time)

    @property
    def ground_hit(self) -> float:
        """Speed over the ground in the direction of its path, as it lands [m/s]."""
        return hypot(self.flight.landing_speed, self.flight.landing_ground_speed)

    def descent(self, high_m: float, low_m: float) -> float | None:
        """How fast the expected flight falls over the middle four fifths between two heights above the field [m/s].

        The upper one is at most its own top; nothing where it falls without a parachute or is never between them.
        """
        top = int(self.flight.height.argmax())
        time, height = self.flight.time[top:], self.flight.height[top:]
        high_m = min(high_m, float(height[0]))
        if not self.opens or not low_m < high_m:
            return None
        trim = (high_m - low_m) / 10
        start, end = np.interp([trim - high_m, -trim - low_m], -height, time).tolist()
        return 8 * trim / (end - start) if end > start else None


def estimate(session: Session, predicted: PredictionRecord, data: FlightIn) -> Estimate:
    """Fly a predicted motor in a rocket from a field, in the weather told.

    Raises
    ------
    NotFound
        No such rocket or field.
    Refused
        The motor does not lift the rocket off the rail, or something told cannot be; beside its field.
    """
    rocket = repository.get(session, Rocket, data.rocket_id, "rocket")
    place = repository.get(session, LaunchField, data.launch_field_id, "field")
    empty, empty_words = _empty_motor(session, predicted.inputs.case, data)
    tubes = sum(grain.tube_kg for grain in predicted.inputs.grains)
    lean = data.tilt.si if data.tilt else (rocket.rail_tilt_rad or 0.0)
    reach = places.edge(place, data.wind_from)
    curve = predicted.curve
    motor = Motor(curve.time_s, curve.thrust_n, predicted.propellant_mass)
    airframe = Airframe(
        rocket.mass_kg + empty + tubes,
        rocket.diameter_m,
        rocket.drag_coefficient,
        places.drag_table(rocket),
        rocket.reference_d_m,
        rocket.reference_area_m2,
        places.recovery(rocket, data.delay.si if data.delay else None),
    )
    house = workshop.get(session)
    mean = data.wind.si if data.wind else 0.0
    if data.gust and data.gust.si < mean:
        raise Refused("A gust is at least as strong as the mean wind. Give the strongest of some minutes.", "gust")
    if data.gust and not data.wind:
        raise Refused("A gust without a mean wind. Give the mean of some minutes too.", "wind")
    pad = Pad(
        data.rail.si if data.rail else (rocket.rail_length_m or USUAL_RAIL_M),
        lean if data.leans == "with" else -lean,
        place.elevation_m,
        data.air_temperature.si if data.air_temperature else None,
        mean,
        data.wind_height.si if data.wind_height else WIND_HEIGHT_M,
        TURNING,
    )
    try:
        flight = fly(motor, airframe, pad)
        rail = at_the_rail(
            flight.rail_exit_speed,
            pad.rail_length,
            lean if data.leans == "with" else -lean,
            mean,
            data.gust.si if data.gust else min(GUST_FACTOR * mean, STRONGEST),
            pad.wind_height,
            house.rail_angle_rad,
        )
        ranged = fly_range(
            motor,
            airframe,
            pad,
            _draws(predicted),
            ceiling=place.ceiling_m,
            edges=(reach[0], reach[0]) if reach else None,
            windy=data.wind is not None,
            samples=SAMPLES,
        )
    except CalcError as error:
        raise Refused(error.sentence, _FIELDS.get(error.field)) from error
    units = house.units
    return Estimate(
        flight=flight,
        range=ranged,
        rocket=rocket,
        field=place,
        delay_s=data.delay.si if data.delay else None,
        wind_m_s=data.wind.si if data.wind else None,
        wind_from=data.wind_from or None,
        rail=rail,
        gust_told=data.gust is not None,
        edge_m=reach[0] if reach else None,
        assumptions=[
            *_of_rocket(rocket, flight, predicted.propellant_mass, (empty, empty_words), tubes, units),
            *_of_day(pad, data, place, reach, units),
            *_of_recovery(rocket, data, units),
            "The thrust curve is the predicted one. The range draws motors whose impulse and burn time follow the "
            "marks of the prediction, each independent of the other.",
            *ranged.assumptions,
        ],
        airframe=airframe,
        pad=pad,
        bare_kg=rocket.mass_kg + empty,
    )


def estimate_of(
    session: Session, predicted: PredictionRecord | None, firing: Firing
) -> tuple[Estimate | None, Note | str]:
    """The estimate that goes with a flight in the book, in its weather; or why there is none."""
    if predicted is None or firing.rocket_id is None or firing.launch_field_id is None:
        return None, ""

    def quantity(si: float | None, unit: str) -> Quantity | None:
        return None if si is None else Quantity(si, f"{si:g} {unit}")

    asked: dict[str, Any] = {
        "rocket_id": firing.rocket_id,
        "launch_field_id": firing.launch_field_id,
        "wind": quantity(firing.wind_m_s, "m/s"),
        "wind_from": firing.wind_from,
        "air_temperature": quantity(firing.air_temperature_k, "K"),
        "delay": quantity(firing.delay_planned_s, "s"),
    }
    try:
        return estimate(session, predicted, FlightIn(**asked)), ""
    except Refused as refusal:
        return None, joined("No altitude is predicted.", refusal.message)


# --- What goes in ------------------------------------------------------------------------------


def _draws(predicted: PredictionRecord) -> MotorDraws:
    """Motors between the marks of a prediction; all alike where it has none."""
    impulse, time = predicted.total_impulse, predicted.burn_time
    return drawn_from_marks(
        *shares_about(impulse.mid, impulse.low, impulse.high), *shares_about(time.mid, time.low, time.high), SAMPLES
    )


def _empty_motor(session: Session, case: CaseInput, data: FlightIn) -> tuple[float, str]:
    """Mass of case, closures and nozzle [kg], and where it is from."""
    if data.empty_motor:
        return data.empty_motor.si, "as typed"
    weighed = session.exec(select(Case.empty_mass_kg).where(Case.name == case.name)).first()
    if weighed is not None:
        return weighed, "as weighed with its case"
    rough = rough_empty(case.inner_d_m, case.outer_d_m, case.chamber_length_m)
    return rough, "estimated from its tube; weigh it and write it into the case"


def rough_empty(inner_d_m: float, outer_d_m: float, chamber_length_m: float) -> float:
    """Mass of an empty motor that nobody has weighed [kg], by its tube."""
    return CLOSURES * ALUMINIUM_KG_M3 * ring_area(outer_d_m, inner_d_m) * (chamber_length_m + 2 * inner_d_m)


# --- What it assumes, in words -------------------------------------------------------------------


def _of_rocket(
    rocket: Rocket, flight: Flight, propellant: float, empty: tuple[float, str], tubes: float, units: UnitSystem
) -> list[str]:
    tubes_words = f"the grains' tubes {show(tubes, 'mass', units, 0)}, " if tubes else ""
    drag = (
        f"Drag over Mach by {rocket.name}'s table, straight between its rows"
        if rocket.drag_points
        else f"Drag coefficient {rocket.drag_coefficient:g}, the same at all speeds"
    )
    return [
        f"Liftoff mass {show(flight.liftoff_mass, 'heavy_mass', units, 0)}: {rocket.name} "
        f"{show(rocket.mass_kg, 'heavy_mass', units, 0)}, empty motor {show(empty[0], 'mass', units, 0)} ({empty[1]}), "
        f"{tubes_words}propellant {show(propellant, 'mass', units, 0)}, which is lost in proportion to impulse.",
        f"{drag}, on the {flight.drag.basis} ({show(flight.drag.area, 'area', units, 0)}).",
    ]


def _of_day(
    pad: Pad, data: FlightIn, place: LaunchField, reach: tuple[float, str] | None, units: UnitSystem
) -> list[str]:
    lean = show(float(np.abs(pad.tilt)), "angle", units)
    rail = "straight up" if not pad.tilt else f"leaning {lean} {'with' if data.leans == 'with' else 'into'} the wind"
    air = (
        f"air of {show(pad.temperature, 'temperature', units)} at the field, as much warmer or colder than the 1976 "
        "standard all the way up, at its pressure"
        if pad.temperature is not None
        else "standard air"
    )
    said = [
        f"Rail {show(pad.rail_length, 'altitude', units, 2)}, {rail}; {air}, from "
        f"{show(place.elevation_m, 'altitude', units)} above sea level."
    ]
    if data.wind is None:
        return [*said, "The wind is unknown: still air, and nothing is said of where it lands."]
    said.append(
        f"Wind {show(data.wind.si, 'speed', units)}{f' from {WINDS[data.wind_from]}' if data.wind_from else ''} at "
        f"{show(pad.wind_height, 'altitude', units)}, growing with height by the power {EXPONENT:.3f} (Wind Energy "
        f"Resource Atlas of the United States, 1986), steady above {show(STEADY_ABOVE, 'altitude', units)}; its "
        "direction the same at all heights. No gusts, no thermals."
    )
    if data.gust is None:
        said.append(
            f"As it leaves the rail also in a gust of {GUST_FACTOR:g} times the wind: an assumption, about what guides "
            "print for three seconds in a minute over open ground (from memory)."
        )
    said.append(
        "Weathercocking: the nose turns at once by half of the way from its path into the wind; the range has none to "
        "all of it. A real rocket turns later and swings; one with little stability may do anything."
    )
    if reach is not None:
        said.append(f"Landing is held against {show(reach[0], 'altitude', units)}: {reach[1]}.")
    return said


def _of_recovery(rocket: Rocket, data: FlightIn, units: UnitSystem) -> list[str]:
    chutes = [
        f"{name} {show(size, 'length', units, 0)}, coefficient {drag:g} on {CHUTE_BASES[basis]}"
        for name, size, drag, basis in (
            ("drogue", rocket.drogue_d_m, rocket.drogue_cd, rocket.drogue_basis),
            ("main parachute", rocket.main_d_m, rocket.main_cd, rocket.main_basis),
        )
        if size is not None and drag is not None
    ]
    if not chutes:
        return ["No parachute is in the book for it: it comes down nose first."]
    first = (
        f"{show(data.delay.si, 'time', units)} after burnout, by the motor's ejection charge"
        if data.delay is not None
        else f"{show(rocket.opening_delay_s or 0.0, 'time', units, 0)} after apogee"
    )
    when = f"first event {first}"
    if rocket.main_altitude_m is not None:
        lower = show(rocket.main_altitude_m, "altitude", units)
        when = f"{when}, main at {lower}" if rocket.drogue_d_m is not None else f"main at {lower}, nose first to there"
    return [
        f"Recovery: {'; '.join(chutes)}; {when}. A parachute is open at once; from then on the rocket slows by "
        "the drag of parachute and body from the velocity it has, and drifts with the wind. Opening shock and swinging "
        "are not computed."
    ]
