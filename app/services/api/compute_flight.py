"""The compute API's flight: one rocket from a request, flown once."""

from math import isfinite
from typing import Any

import numpy as np

from app.calc.flight.flight import Flight, Motor, Pad, Parachute, Recovery, Rocket, fly
from app.calc.flight.wind import GUST_FACTOR, STRONGEST, at_the_rail
from app.models import api_flight as api
from app.services.api.compute import UNIT, placed, sentences
from app.services.flight import flight_cautions
from app.units import METRIC


def run_flight(data: api.FlightRunIn) -> api.FlightRunOut:
    """Fly a rocket on a thrust curve.

    Raises
    ------
    Misfit
        An input that cannot be, with its place in the request.
    """

    def chute(one: api.ParachuteIn | None) -> Parachute | None:
        return None if one is None else Parachute(one.diameter_m, one.drag_coefficient)

    motor = Motor(data.time_s, data.thrust_n, data.propellant_mass_kg)
    rocket = Rocket(
        data.dry_mass_kg,
        data.diameter_m,
        data.drag_coefficient,
        [(row.mach, row.coefficient) for row in data.drag_table],
        data.reference_diameter_m,
        data.reference_area_m2,
        Recovery(chute(data.main), chute(data.drogue), data.main_height_m, data.after_apogee_s, data.delay_s),
    )
    pad = Pad(
        data.rail_length_m,
        data.tilt_rad,
        data.elevation_m,
        data.temperature_k,
        data.wind_m_s,
        data.wind_height_m,
        data.turning,
    )
    with placed(data):
        flight = fly(motor, rocket, pad)
        gust = data.gust_m_s if data.gust_m_s is not None else min(GUST_FACTOR * data.wind_m_s, STRONGEST)
        rail = at_the_rail(
            flight.rail_exit_speed,
            data.rail_length_m,
            data.tilt_rad,
            data.wind_m_s,
            gust,
            data.wind_height_m,
            data.largest_angle_rad,
        )
    windy = flight_cautions.of_wind(rail, data.largest_angle_rad, data.wind_m_s, data.wind_height_m, METRIC)
    figures: dict[str, Any] = {
        "notes": [*(f"{one.title}. {one.words}" for one in windy), *sentences(flight.notes)],
        "drag_basis": flight.drag.basis,
        "exit_angle_gust_rad": rail.gust_angle,
        "rail_wind_limit_m_s": rail.keep_below,
    }
    for name in api.FlightRunOut.model_fields:
        argument = UNIT.sub("", name)
        if name not in figures and hasattr(flight, argument):
            figures[name] = _number(flight, argument)
    return api.FlightRunOut(**figures, path=_path(flight, data.path_points) if data.path_points else None)


def _number(flight: Flight, name: str) -> float | None:
    value = getattr(flight, name)
    return value if isinstance(value, float) and isfinite(value) else None


def _path(flight: Flight, points: int) -> api.PathOut:
    kept = np.unique(np.linspace(0, flight.time.size - 1, min(points, flight.time.size)).astype(int))
    return api.PathOut(
        time_s=flight.time[kept].tolist(),
        distance_m=flight.distance[kept].tolist(),
        height_m=flight.height[kept].tolist(),
    )
