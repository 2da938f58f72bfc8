"""Rockets and fields drawn to scale from what the book holds of them."""

import math
from collections.abc import Iterable
from dataclasses import replace
from functools import lru_cache

from markupsafe import Markup

from app.drawings.field_plan import FieldPlan, Heights, Ring, field_plan
from app.drawings.rocket_outline import Parachute, RocketOutline, rocket_outline
from app.models import LaunchField, Rocket
from app.services.hardware.distances import Least
from app.services.hardware.places import Flown
from app.units import UnitSystem, convert, show, unit_of

# Rockets and fields seldom change: each state of one is drawn once while the book is open.
drawn_field = lru_cache(maxsize=64)(field_plan)
_drawn_rocket = lru_cache(maxsize=64)(rocket_outline)

RINGS = 3
"""So many rings of a round distance are drawn on a field's page."""


def plan_of(field: LaunchField, units: UnitSystem) -> FieldPlan:
    """A field from above with nothing that flies over it; a page adds that by `dataclasses.replace`."""
    unit_m, unit_words = _unit(units)
    return FieldPlan(
        name=field.name,
        radius_m=field.radius_m,
        length_m=field.length_m,
        width_m=field.width_m,
        axis_rad=field.long_axis_rad,
        size_words=size_words(field, units),
        unit_m=unit_m,
        unit_words=unit_words,
    )


def heights_of(field: LaunchField, units: UnitSystem) -> Heights:
    """How high may be flown over a field; a page adds what flew or will."""
    unit_m, unit_words = _unit(units)
    ceiling = f"ceiling {show(field.ceiling_m, 'altitude', units)}" if field.ceiling_m is not None else ""
    return Heights(ceiling_m=field.ceiling_m, ceiling_words=ceiling, unit_m=unit_m, unit_words=unit_words)


def persons(least: Least | None, units: UnitSystem) -> tuple[Ring, ...]:
    """The ring that persons stay beyond; none where no distance is known."""
    return (Ring(least.single_m, f"persons {show(least.single_m, 'altitude', units)}"),) if least else ()


def size_words(field: LaunchField, units: UnitSystem) -> str:
    """How large the field is."""
    if field.radius_m is not None:
        return f"{show(field.radius_m, 'altitude', units)} round the pad"
    if field.length_m is None or field.width_m is None:
        return ""
    return f"{show(field.length_m, 'altitude', units)} by {show(field.width_m, 'altitude', units)}"


def _unit(units: UnitSystem) -> tuple[float, str]:
    """Length of the unit that heights are told in [m], and its name."""
    return 1 / convert(1.0, "altitude", units), unit_of("altitude", units)


def of_field(field: LaunchField, flown_m: Iterable[float], units: UnitSystem, least: Least | None = None) -> Markup:
    """A field alone: its edge, rings of round distances and of persons, and how high was flown there [m]."""
    plan = plan_of(field, units)
    reach = field.radius_m or math.hypot(field.length_m or 0.0, field.width_m or 0.0) / 2 or 200.0
    step = _round(reach / plan.unit_m / RINGS)
    rings = [Ring(step * n * plan.unit_m, f"{step * n:g} {plan.unit_words}") for n in range(1, RINGS + 1)]
    rings = [ring for ring in rings if ring.radius_m <= reach]
    plan = replace(plan, rings=(*rings, *persons(least, units)))
    flown = sorted(flown_m, reverse=True)[:8]
    heights = None
    if flown or field.ceiling_m is not None:
        most = f"up to {show(flown[0], 'altitude', units)}" if flown else ""
        heights = replace(heights_of(field, units), flown_m=tuple(flown), flown_words=most)
    return drawn_field(plan, heights, f"{field.name} from above")


def _round(value: float) -> float:
    """The largest of 1, 2 and 5 times a power of ten that is no larger."""
    power = 10.0 ** math.floor(math.log10(value))
    return max(n * power for n in (1, 2, 5) if n * power <= value * (1 + 1e-9))


def of_rocket(rocket: Rocket, flown: Flown, units: UnitSystem) -> Markup:
    """A rocket from the side with its parachutes; its motor is that of its newest flight."""

    def across(size: float) -> str:
        return f"Ø {show(size, 'length', units, 0)}"

    chutes = [
        Parachute(name, size, across(size))
        for name, size in (("main", rocket.main_d_m), ("drogue", rocket.drogue_d_m))
        if size is not None
    ]
    outline = RocketOutline(
        diameter_m=rocket.diameter_m,
        motor_d_m=flown.case.outer_d_m if flown.case else None,
        motor_length_m=flown.case.chamber_length_m if flown.case else None,
        chutes=tuple(chutes),
        diameter_words=across(rocket.diameter_m),
        motor_words=flown.case.name if flown.case else "",
    )
    return _drawn_rocket(outline, f"{rocket.name} to scale")
