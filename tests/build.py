"""One function per noun: a plausible row in the book, made through the services. Numbers are invented."""

from datetime import date
from itertools import count
from typing import Any

from sqlmodel import Session

from app.models import Case, CastingTube, CoringRod, Formula, GrainPattern, LaunchField, Nozzle, Rocket, Supply
from app.models.formula import FormulaIn
from app.models.hardware import CaseIn, CastingTubeIn, CoringRodIn, GrainPatternIn, NozzleIn
from app.models.place import LaunchFieldIn, RocketIn
from app.models.supply import SupplyIn
from app.services import formulas, hardware, places, supplies

_number = count(1)

EVERYDAY = {"potassium nitrate": "65 %", "sorbitol": "28 %", "sucrose": "7 %"}


def _texts(defaults: dict[str, Any], more: dict[str, Any]) -> dict[str, Any]:
    return {**defaults, **more}


def supply(session: Session, ingredient: str = "potassium nitrate", mass: str = "10 kg", **more: Any) -> Supply:
    """A bag."""
    texts = _texts(
        {"ingredient": ingredient, "mass": mass, "mark": f"Bag {next(_number)}", "received_on": date(2026, 1, 5)}, more
    )
    return supplies.save(session, SupplyIn.model_validate(texts))


def formula(
    session: Session, name: str = "", parts: dict[str, str] | None = None, row: Formula | None = None
) -> Formula:
    """A formula, or the next version of one."""
    lines = [{"ingredient": key, "percent": share} for key, share in (parts or EVERYDAY).items()]
    name = name or (row.name if row else f"Blend {next(_number)}")
    return formulas.save(session, FormulaIn.model_validate({"name": name, "parts": lines}), row)


def tube(session: Session, **more: Any) -> CastingTube:
    """A casting tube of the 54 mm class."""
    texts = {"name": f"Tube {next(_number)}", "inner_d": "44.45 mm", "outer_d": "47.2 mm", "tare": "9.6 g"}
    return hardware.save_tube(session, CastingTubeIn.model_validate(_texts(texts, more)))


def rod(session: Session, **more: Any) -> CoringRod:
    """A 3/4 in coring rod."""
    texts = {"name": f"Rod {next(_number)}", "diameter": "19.05 mm"}
    return hardware.save_rod(session, CoringRodIn.model_validate(_texts(texts, more)))


def pattern(session: Session, **more: Any) -> GrainPattern:
    """A 54 mm-class grain: 44.45 by 76.2 mm, 19.05 mm core, both ends burning."""
    texts = {
        "name": f"Pattern {next(_number)}",
        "outer_d": "44.45 mm",
        "core_d": "19.05 mm",
        "length": "76.2 mm",
        "burning_ends": 2,
    }
    return hardware.save_pattern(session, GrainPatternIn.model_validate(_texts(texts, more)))


def case(session: Session, **more: Any) -> Case:
    """An aluminium case of the 54 mm class with room for four grains."""
    texts = {
        "name": f"Case {next(_number)}",
        "inner_d": "48.2 mm",
        "outer_d": "54 mm",
        "chamber_length": "320 mm",
        "material": "aluminium_6061_t6",
        "rated_pressure": "8 MPa",
    }
    return hardware.save_case(session, CaseIn.model_validate(_texts(texts, more)))


def nozzle(session: Session, **more: Any) -> Nozzle:
    """A nozzle with a 12.7 mm throat."""
    texts = {"name": f"Nozzle {next(_number)}", "throat_d": "12.7 mm", "exit_d": "32 mm", "divergence": "15 deg"}
    return hardware.save_nozzle(session, NozzleIn.model_validate(_texts(texts, more)))


def rocket(session: Session, **more: Any) -> Rocket:
    """A 16 lb rocket."""
    texts = {"name": f"Rocket {next(_number)}", "mass": "7.26 kg", "diameter": "102 mm", "drag_coefficient": 0.5}
    return places.save_rocket(session, RocketIn.model_validate(_texts(texts, more)))


def field(session: Session, **more: Any) -> LaunchField:
    """A field near sea level with a ceiling of 900 m."""
    texts = {"name": f"Field {next(_number)}", "elevation": "12 m", "ceiling": "900 m"}
    return places.save_field(session, LaunchFieldIn.model_validate(_texts(texts, more)))
