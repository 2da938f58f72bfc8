"""What holds a case's closures: its figures checked on the way in, and the pressures at which they let go."""

from app.calc.base.constants import ROOM_TEMPERATURE
from app.calc.base.errors import CalcError
from app.calc.case import casing
from app.calc.case.closure import Retention, bolt_retention, ring_retention
from app.errors import Faults, Refused
from app.models import Case
from app.models.hardware import CaseIn

KINDS = {"ring": "a retaining ring in a groove", "bolts": "radial bolts or pins"}

_NEEDED = {
    "ring": ("groove_d", "ring_thickness", "land", "holder_yield"),
    "bolts": ("bolt_count", "hole_d", "shank_d", "edge", "holder_yield"),
}
_FIELDS = {
    "count": "bolt_count",
    "ring_yield": "holder_yield",
    "bolt_yield": "holder_yield",
    "wall_temperature": "wall_temperature",
}
"""Where a fault of the calculation belongs on the form, if not to a field of the same name."""


def told_whole(data: CaseIn) -> None:
    """Refuse closures that are told by halves; all that is missing or too much at once.

    Raises
    ------
    Refused
        Beside each field at fault.
    """
    faults = Faults()
    if data.closure and data.closure not in KINDS:
        faults.add("closure", "Choose a ring, bolts, or leave it open.")
        faults.tell()
    needed = _NEEDED.get(data.closure, ())
    for name in needed:
        if getattr(data, name) is None:
            faults.add(name, f"For closures held by {KINDS[data.closure]} this is needed; measure it.")
    for name in dict.fromkeys([*_NEEDED["ring"], *_NEEDED["bolts"]]):
        if name not in needed and getattr(data, name) is not None:
            belongs = "bolts" if name in _NEEDED["bolts"] else "ring"
            faults.add(
                name,
                f"This belongs to {KINDS[belongs]}; choose it above, or leave this empty."
                if name != "holder_yield"
                else "Choose above what holds the closures, or leave this empty.",
            )
    faults.tell()


def check(data: CaseIn) -> None:
    """Refuse sizes of closures that cannot be, and a wall hotter than its material's data, of a case told whole.

    Raises
    ------
    Refused
        Beside the field at fault.
    """
    inside = {name: value.si if hasattr(value, "si") else value for name, value in data}
    try:
        temperature = inside["wall_temperature"] or ROOM_TEMPERATURE
        wall_yield, _ = casing.strengths(data.material, temperature, inside["yield_strength"])
        if data.closure:
            _held(data.closure, inside["inner_d"], inside["outer_d"], inside, wall_yield)
    except CalcError as error:
        field = _FIELDS.get(error.field, error.field)
        raise Refused(error.sentence, field=field) from error


def _held(kind: str, bore_d: float, outer_d: float, sizes: dict[str, float], wall_yield: float) -> Retention:
    if kind == "ring":
        return ring_retention(
            bore_d,
            outer_d,
            sizes["groove_d"],
            sizes["land"],
            sizes["ring_thickness"],
            wall_yield,
            sizes["holder_yield"],
        )
    return bolt_retention(
        bore_d,
        outer_d,
        int(sizes["bolt_count"]),
        sizes["hole_d"],
        sizes["shank_d"],
        sizes["edge"],
        wall_yield,
        sizes["holder_yield"],
    )


def retention(case: Case) -> Retention | None:
    """The ways for a case's closures to let go, the weakest first; None where the book does not know what holds them.

    Raises
    ------
    CalcError
        Figures that contradict each other.
    """
    if not case.closure:
        return None
    wall_yield, _ = casing.strengths(case.material, wall_temperature(case), case.yield_strength_pa)
    sizes: dict[str, float] = {
        "groove_d": case.groove_d_m or 0.0,
        "land": case.land_m or 0.0,
        "ring_thickness": case.ring_thickness_m or 0.0,
        "bolt_count": case.bolt_count or 0,
        "hole_d": case.hole_d_m or 0.0,
        "shank_d": case.shank_d_m or 0.0,
        "edge": case.edge_m or 0.0,
        "holder_yield": case.holder_yield_pa or 0.0,
    }
    return _held(case.closure, case.inner_d_m, case.outer_d_m, sizes, wall_yield)


def wall_temperature(case: Case) -> float:
    """How warm the wall is assumed to be at the peak [K]: the person's own assumption, or 20 °C."""
    return case.wall_temperature_k or ROOM_TEMPERATURE


def margin(case: Case, peak_pressure: float) -> casing.CaseMargin:
    """A case's wall and closures against a pressure [Pa]: rating and proof test first, formulas after.

    Raises
    ------
    CalcError
        Figures that contradict each other.
    """
    held = retention(case)
    return casing.case_margin(
        peak_pressure,
        case.inner_d_m,
        case.outer_d_m,
        case.material,
        rated_pressure=case.rated_pressure_pa,
        proof_pressure=case.proof_pressure_pa,
        yield_strength=case.yield_strength_pa,
        wall_temperature=wall_temperature(case),
        closure_pressure=held.weakest.pressure if held else None,
    )
