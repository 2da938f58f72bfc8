"""An estimated flight in a sentence: how high, under the ceiling or not, in the field or not, how fast off the rail."""

from app.services.flight.flight_cautions import RAIL_SPEEDS
from app.services.flight.flights import Estimate
from app.units import UnitSystem, show


def headline(estimate: Estimate, units: UnitSystem) -> str:
    """Its height with the range of nine in ten drawn flights."""
    ranged = estimate.range.highest
    return (
        f"{show(estimate.flight.highest, 'altitude', units)} high, nine in ten between "
        f"{show(ranged.low, 'altitude', units)} and {show(ranged.high, 'altitude', units)}"
    )


def judged(estimate: Estimate, units: UnitSystem) -> str:
    """Whether it stays under the ceiling and in the field, and whether it is fast enough as it leaves the rail."""
    said = [_under_ceiling(estimate, units), _in_field(estimate), _off_rail(estimate, units)]
    return "; ".join(words for words in said if words)


def _share(part: float) -> str:
    return f"{100 * part:.0f} %" if part >= 0.01 else "less than 1 %" if part else "none"


def _under_ceiling(e: Estimate, units: UnitSystem) -> str:
    if e.field.ceiling_m is None or e.range.above_ceiling is None:
        return "no ceiling is in the book"
    ceiling = show(e.field.ceiling_m, "altitude", units)
    if not e.above_ceiling:
        return f"under the ceiling of {ceiling}"
    place = "above" if e.flight.highest > e.field.ceiling_m else "near"
    return f"{place} the ceiling of {ceiling}, which {_share(e.range.above_ceiling)} of the drawn flights pass"


def _in_field(e: Estimate) -> str:
    if e.wind_m_s is None:
        return "nothing is said of its landing without a wind"
    if e.range.outside_field is None or e.edge_m is None:
        return "whether it lands in the field is not known without the field's size"
    if abs(e.flight.landing_distance) > e.edge_m:
        return "it lands outside the field"
    if not e.range.outside_field:
        return "it lands in the field"
    return f"it lands in the field, {_share(e.range.outside_field)} of the drawn flights outside"


def _off_rail(e: Estimate, units: UnitSystem) -> str:
    speed = show(e.flight.rail_exit_speed, "speed", units)
    slow = min(e.flight.rail_exit_speed, e.range.rail_exit_speed.low) < RAIL_SPEEDS[0]
    return f"{speed} off the rail" + (", which is slow" if slow else "")
