"""Where an estimated flight comes down in its field, seen from above, and its height under the ceiling."""

from dataclasses import replace
from math import pi

from markupsafe import Markup

from app.models import LaunchField
from app.models.firing import WINDS
from app.routers.hardware import place_pictures
from app.services.flight.flights import Estimate
from app.services.hardware import places
from app.services.hardware.distances import Least
from app.units import UnitSystem, show

EVERY = 4
"""Of the landings in rising order each so many-th is drawn: the shape stays, and 256 marks lie on each other."""


def of_estimate(
    estimate: Estimate, units: UnitSystem, least: Least | None = None, measured_m: float | None = None
) -> Markup:
    """Where an estimated flight comes down, and how high it goes; `measured_m` is how high it went [m]."""
    field, ranged = estimate.field, estimate.range

    def high(value: float) -> str:
        return show(value, "altitude", units)

    along: tuple[float, ...] = ()
    landing = "The wind is unknown: nothing is said of where it lands."
    wind = ""
    if estimate.wind_m_s is not None:
        along = tuple(float(one) for one in ranged.landings[EVERY // 2 :: EVERY])
        wind = show(estimate.wind_m_s, "speed", units)
        wind += f" from {WINDS[estimate.wind_from]}" if estimate.wind_from else ""
        way = "with" if estimate.flight.landing_distance >= 0 else "into"
        landing = f"Lands {high(abs(estimate.flight.landing_distance))} {way} the wind."
    bearing, wind_from, drawn_so = _wind(field, estimate.wind_from)
    plan = replace(
        place_pictures.plan_of(field, units),
        axis_rad=bearing,
        wind_from_rad=wind_from,
        wind_words=wind,
        rings=place_pictures.persons(least, units),
        along_m=along,
        landing_words=f"{landing} {drawn_so}".strip() if along else landing,
    )
    heights = replace(
        place_pictures.heights_of(field, units),
        low_m=ranged.highest.low,
        mid_m=estimate.flight.highest,
        high_m=ranged.highest.high,
        words=high(estimate.flight.highest),
        range_words=f"{high(ranged.highest.low)} to {high(ranged.highest.high)}",
        flown_m=(measured_m,) if measured_m is not None else (),
        flown_words=high(measured_m) if measured_m is not None else "",
    )
    return place_pictures.drawn_field(plan, heights, f"{field.name} from above, with the landings of drawn flights")


def _wind(field: LaunchField, wind_from: str | None) -> tuple[float | None, float | None, str]:
    """Bearing of the field's length, where the wind comes from, and what is said where one of them is not known.

    Then landing was judged by the nearest edge (`places.edge`), and the wind is drawn to blow there.
    """
    told = places.BEARINGS[wind_from] if wind_from else None
    bearing = field.long_axis_rad
    if field.length_m is None or field.width_m is None or (told is not None and bearing is not None):
        return bearing, told, ""
    across = pi / 2 if field.width_m <= field.length_m else 0.0
    if told is not None:
        return told + across, told, "The field's bearing is not in the book: drawn with the wind to its nearest edge."
    from_there = (bearing or 0.0) - across
    return bearing, from_there, "The wind's direction is unknown: drawn to the nearest edge."
