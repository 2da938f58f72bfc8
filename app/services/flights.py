"""What a predicted motor would do in a rocket; and the distances and pointers that go with a firing."""

from collections.abc import Callable
from dataclasses import dataclass
from math import pi

from sqlmodel import Session

from app.calc.errors import CalcError, NoSolution
from app.calc.flight import Flight, Motor, Pad, fly
from app.calc.flight import Rocket as Airframe
from app.models import Firing, LaunchField, Rocket
from app.models.motor import FlightIn
from app.services import rows, workshop
from app.services.outlook import CaseInput, Outlook
from app.units import Quantity, show

USUAL_RAIL_M = 2.0
"""Rail length where none is told [m]: common practice for rockets of this size, no source."""

ALUMINIUM_KG_M3 = 2700.0
CLOSURES = 1.5
"""Mass of an empty motor over that of its bare tube [-]: Grainbook's own rough guess for closures and nozzle."""

FOOT_M = 0.3048


@dataclass(frozen=True)
class Estimate:
    """A flight as computed, what it was computed with, and how it stands to the field's ceiling."""

    flight: Flight
    rocket: Rocket
    field: LaunchField
    low_apogee_m: float | None
    high_apogee_m: float | None
    assumptions: list[str]

    @property
    def above_ceiling(self) -> bool:
        """Whether the expected apogee, or the upper end of its range, passes the field's ceiling."""
        highest = max(self.flight.apogee, self.high_apogee_m or 0.0)
        return self.field.ceiling_m is not None and highest > self.field.ceiling_m


def estimate(session: Session, outlook: Outlook, data: FlightIn) -> Estimate:
    """Fly a predicted motor in a rocket from a field, straight up in still, standard air.

    Raises
    ------
    NotFound
        No such rocket or field.
    Refused
        The motor does not lift the rocket off the rail.
    """
    rocket = rows.get(session, Rocket, data.rocket_id, "rocket")
    place = rows.get(session, LaunchField, data.launch_field_id, "field")
    units = workshop.get(session).units
    empty = data.empty_motor.si if data.empty_motor else _empty_motor(outlook.inputs.case)
    curve, impulse = outlook.curve, outlook.total_impulse

    def flown(share: float) -> Flight:
        return fly(
            Motor(curve.time_s, curve.thrust_n, outlook.propellant_mass, impulse_scale=share),
            Airframe(rocket.mass_kg + empty, rocket.diameter_m, rocket.drag_coefficient),
            Pad(data.rail.si, elevation=place.elevation_m),
        )

    flight = flown(1.0)
    low, high = (_apogee(flown, end / impulse.mid) if end else None for end in (impulse.low, impulse.high))
    said = "as typed" if data.empty_motor else "estimated from its tube; weigh it and type it in"
    assumptions = [
        f"Liftoff mass {show(flight.liftoff_mass, 'mass', units, 0)}: {rocket.name} "
        f"{show(rocket.mass_kg, 'mass', units, 0)}, empty motor {show(empty, 'mass', units, 0)} ({said}), propellant "
        f"{show(outlook.propellant_mass, 'mass', units, 0)}.",
        f"Drag coefficient {rocket.drag_coefficient:g} on the {flight.drag.basis}, the same at all speeds.",
        f"Rail {data.rail.typed}, straight up; no wind, standard air from "
        f"{show(place.elevation_m, 'altitude', units)} above sea level.",
        "The thrust curve is the predicted one; the range of the apogee scales it to the 5 and 95 % marks of its "
        "impulse and leaves drag and mass as they are.",
    ]
    return Estimate(flight, rocket, place, low, high, assumptions)


def told(session: Session, outlook: Outlook | None, firing: Firing) -> tuple[Estimate | None, str]:
    """The estimate that goes with a flight in the book, on the usual rail; or why there is none."""
    if outlook is None or firing.rocket_id is None or firing.launch_field_id is None:
        return None, ""
    rail = Quantity(USUAL_RAIL_M, f"{USUAL_RAIL_M:g} m")
    data = FlightIn(rocket_id=firing.rocket_id, launch_field_id=firing.launch_field_id, rail=rail, empty_motor=None)
    try:
        return estimate(session, outlook, data), ""
    except CalcError as error:
        return None, f"No altitude is predicted: {error.fault} {error.remedy}"


def _apogee(flown: Callable[[float], Flight], share: float) -> float:
    """Apogee with a share of the impulse [m]; nothing where that does not leave the rail."""
    try:
        return flown(share).apogee
    except NoSolution:
        return 0.0


def _empty_motor(case: CaseInput) -> float:
    """A rough mass of case, closures and nozzle from the tube's wall, taken as aluminium [kg]."""
    wall = pi / 4 * (case.outer_d_m**2 - case.inner_d_m**2)
    return CLOSURES * ALUMINIUM_KG_M3 * wall * (case.chamber_length_m + 2 * case.inner_d_m)


# --- Distances and pointers ----------------------------------------------------------------------


@dataclass(frozen=True)
class Distances:
    """Least distances of persons by class, for a single motor and for a cluster or stages [ft]."""

    source: str
    dated: str
    by_class: dict[str, tuple[int, int]]


DISTANCES = (
    Distances(
        "Research-motor safety code of an association",
        "2016",
        {
            **dict.fromkeys("ABCDEFGHIJ", (200, 250)), "K": (250, 350), "L": (300, 500), "M": (500, 1000),
            "N": (1000, 1500), "O": (1500, 2000),
        },
    ),
    Distances(
        "General high-power safety code",
        "edition not noted",
        {**dict.fromkeys("HIJ", (100, 200)), "K": (200, 300), "L": (300, 500), "M": (500, 1000)},
    ),
)  # fmt: skip
"""Published tables as they stood at their date. They change: the association's current table comes first."""

LEGAL_POINTERS = (
    "United States, 14 CFR 101.22: classes of amateur rockets by propellant mass (125 g), rocket mass (1500 g) and "
    "total impulse (40,960 N·s). Read the current text; other rules on making, storing and flying apply beside it.",
    "Elsewhere: ask your aviation authority, the police or explosives authority, and your association before the "
    "first motor, not after.",
)


@dataclass(frozen=True)
class DistanceRow:
    """One row of the table: classes with the same distances."""

    classes: str
    single_ft: int
    complex_ft: int

    @property
    def single_m(self) -> float:
        """For one motor [m]."""
        return self.single_ft * FOOT_M

    @property
    def complex_m(self) -> float:
        """For a cluster or stages [m]."""
        return self.complex_ft * FOOT_M


def distances() -> list[tuple[Distances, list[DistanceRow]]]:
    """The published tables, classes with the same distances together."""
    return [(table, _grouped(table)) for table in DISTANCES]


def _grouped(table: Distances) -> list[DistanceRow]:
    groups: dict[tuple[int, int], list[str]] = {}
    for letter, pair in table.by_class.items():
        groups.setdefault(pair, []).append(letter)
    return [
        DistanceRow(f"{letters[0]} to {letters[-1]}" if len(letters) > 1 else letters[0], *pair)
        for pair, letters in groups.items()
    ]
