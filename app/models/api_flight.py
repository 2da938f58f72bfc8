"""What the compute API takes and gives of a flight: SI throughout, distances and the rail's tilt with the wind."""

from typing import Annotated

from pydantic import Field

from app.calc.flight.launch import MAX_TILT
from app.calc.flight.wind import GUST_FACTOR, LARGEST_ANGLE
from app.models.api import ApiIn, ApiOut, Mass

Points = Annotated[list[float], Field(min_length=2, max_length=5000)]


class DragRowIn(ApiIn):
    """A row of a drag table."""

    mach: Annotated[float, Field(ge=0, le=10)] = Field(title="Mach number")
    coefficient: Annotated[float, Field(gt=0.01, le=5)] = Field(title="Drag coefficient")


class ParachuteIn(ApiIn):
    """A parachute: the circle that its coefficient is based on."""

    diameter_m: Annotated[float, Field(ge=0.01, le=50)] = Field(title="Diameter")
    drag_coefficient: Annotated[float, Field(ge=0.1, le=5)] = Field(title="Drag coefficient")


class AirframeIn(ApiIn):
    """A rocket: masses, drag, parachutes and what opens them."""

    dry_mass_kg: Annotated[float, Field(ge=1e-3, le=1000)] = Field(
        title="Dry mass", description="Everything else, with the empty motor."
    )
    diameter_m: Annotated[float, Field(ge=1e-3, le=10)] = Field(title="Largest body diameter")
    drag_coefficient: Annotated[float, Field(ge=0.01, le=5)] = Field(0.5, title="Drag coefficient")
    drag_table: list[DragRowIn] = Field(
        [], max_length=200, title="Drag over Mach", description="Used instead, Mach rising; straight between its rows."
    )
    reference_diameter_m: Annotated[float, Field(ge=1e-3, le=10)] | None = Field(
        None, title="Reference diameter", description="Basis of the coefficient; else the body's cross-section."
    )
    reference_area_m2: Annotated[float, Field(ge=1e-6, le=100)] | None = Field(None, title="Reference area")
    main: ParachuteIn | None = Field(None, title="Main parachute")
    drogue: ParachuteIn | None = Field(None, title="Drogue")
    main_height_m: Annotated[float, Field(ge=1, le=20_000)] | None = Field(
        None, title="Main opens at", description="Above the field, on the way down."
    )
    after_apogee_s: Annotated[float, Field(ge=0, le=120)] = Field(0.0, title="First event after apogee")


class RailIn(ApiIn):
    """A rail, and what is asked of the air that meets a rocket as it leaves it."""

    rail_length_m: Annotated[float, Field(ge=0.1, le=50)] = Field(title="Rail length")
    tilt_rad: Annotated[float, Field(ge=-MAX_TILT, le=MAX_TILT)] = Field(
        0.0, title="Rail from upright", description="With the wind above zero, into it below."
    )
    largest_angle_rad: Annotated[float, Field(ge=0.05, le=1)] = Field(
        LARGEST_ANGLE, title="Largest angle off the nose", description="At the rail; a rule of thumb, 15 to 20 degrees."
    )
    turning: Annotated[float, Field(ge=0, le=1)] = Field(
        0.5, title="Weathercocking", description="Share of the turn into the wind, at once."
    )


class WeatherIn(ApiIn):
    """Where it flies, and the day's weather."""

    elevation_m: Annotated[float, Field(ge=-500, le=6000)] = Field(0.0, title="Elevation")
    temperature_k: Annotated[float, Field(gt=220, lt=340)] | None = Field(
        None, title="Air at the field", description="Standard if left out."
    )
    wind_m_s: Annotated[float, Field(ge=0, le=80)] = Field(0.0, title="Wind")
    gust_m_s: Annotated[float, Field(ge=0, le=80)] | None = Field(
        None, title="Gust", description=f"At least the wind; {GUST_FACTOR:g} times it if left out, an assumption."
    )
    wind_height_m: Annotated[float, Field(ge=0.5, le=100)] = Field(2.0, title="Measured at")


class FlightRunIn(AirframeIn, RailIn, WeatherIn):
    """A thrust curve, a rocket and a pad with its weather."""

    time_s: Points = Field(title="Times of the thrust curve", description="Rising from ignition; straight between.")
    thrust_n: Points = Field(title="Thrusts")
    propellant_mass_kg: Mass = Field(title="Propellant")
    delay_s: Annotated[float, Field(ge=0, le=120)] | None = Field(
        None, title="Ejection delay", description="From burnout; makes the first event where given."
    )
    path_points: Annotated[int, Field(ge=0, le=1000)] = Field(
        60, title="Points of the path", description="At most so many; 0 leaves the path out."
    )


class PathOut(ApiOut):
    """The path; distances with the wind."""

    time_s: list[float]
    distance_m: list[float]
    height_m: list[float]


class FlightRunOut(ApiOut):
    """An estimate of a point without fins: it makes no flight safe. Null stands for what never happens."""

    liftoff_mass_kg: float
    total_impulse_n_s: float
    thrust_to_weight: float = Field(description="Mean thrust over the burn to the weight at liftoff.")
    thrust_to_weight_rail: float = Field(description="As it leaves the rail.")
    rail_exit_speed_m_s: float
    rail_exit_time_s: float
    exit_angle_rad: float = Field(description="Between the rail and the air that meets the rocket as it leaves it.")
    exit_angle_gust_rad: float = Field(description="The same in the gust.")
    rail_wind_limit_m_s: float = Field(
        description="Wind at `wind_height_m` to stay below: where the angle is `largest_angle_rad`, at most 20 mph, "
        "above which clubs' codes commonly do not fly (common practice, see your own code)."
    )
    burnout_speed_m_s: float
    burnout_time_s: float
    burnout_height_m: float
    apogee_m: float = Field(description="If nothing opens before.")
    apogee_time_s: float
    coast_time_s: float = Field(description="From burnout to apogee: the ideal delay.")
    downrange_m: float
    max_speed_m_s: float
    max_mach: float
    max_mach_time_s: float
    max_q_pa: float
    max_q_time_s: float
    opening_time_s: float | None
    opening_height_m: float | None
    opening_speed_m_s: float | None = Field(description="Through the air.")
    main_opening_speed_m_s: float | None
    highest_m: float
    landing_time_s: float
    landing_distance_m: float
    landing_speed_m_s: float = Field(description="Of descent.")
    landing_ground_speed_m_s: float = Field(description="Sideways over the ground.")
    drag_basis: str
    notes: list[str]
    path: PathOut | None
