"""What the scale and the caliper say of a grain: tare, a question about a slipped decimal sign, density, verdict."""

import re
from collections.abc import Iterable
from typing import Any

from sqlmodel import Session

from app.calc.grain.density_check import GrainCheck, check_grain
from app.errors import Asked, Refused
from app.models import Batch, Formula, Grain, GrainPattern, Workshop
from app.models.base import columns
from app.models.grain import GrainIn
from app.services.book import repository, serials, workshop
from app.services.hardware import inventory, shapes
from app.services.stock import formulas
from app.units import exact, say, show

DOUBT_BELOW, DOUBT_ABOVE = 0.6, 1.15
"""Mass over the mass the pattern expects, outside which the weight is asked about [-]; Grainbook's own choice."""

SLIPS = (0.1, 10.0, 0.01, 100.0, 0.001, 1000.0)
"""What a slipped decimal sign, or kilograms for grams, does to a number [-]."""


def number_of(batch: Batch, text: str) -> int:
    """The number of a grain in its lot, from the number or from its serial, typed or scanned.

    Raises
    ------
    Refused
        It is no number, or a serial of another lot.
    """
    typed = text.strip()
    if found := serials.parts(typed):
        lot, typed = found
        if lot != batch.code.upper():
            raise Refused(
                f"{lot}-{typed} is a grain of lot {lot}; here the grains of {batch.code} are weighed. Take the right "
                f"grain, or go to the weighing of {lot}.",
                field="number",
            )
    if not re.fullmatch(r"\d{1,3}", typed, re.ASCII):
        raise Refused(f"“{text}” is no grain of this lot. Type a number such as 4, or {batch.code}-04.", field="number")
    if int(typed) < 1:
        raise Refused("The number must be at least 1.", field="number")
    return int(typed)


def work_out(session: Session, batch: Batch, data: GrainIn) -> dict[str, Any]:
    """The columns of a grain from what was typed, with its density and verdict.

    Raises
    ------
    Refused
        The sizes contradict each other, the tube's mass is not known, or the weight can hardly be and the
        person has not said that it is right.
    """
    pattern = session.get(GrainPattern, data.pattern_id)
    if pattern is None:
        raise Refused("Choose one of the patterns.", field="pattern_id")
    house = workshop.get(session)
    values = columns(data, Grain)
    for size in ("length_m", "core_d_m", "outer_d_m"):
        if values[size] is None:
            values[size] = getattr(pattern, size)
    values["tare_kg"] = _tare(session, pattern, data)
    values["mass_kg"] = values["gross_kg"] - values["tare_kg"]
    grain = Grain(**values)
    if grain.mass_kg <= 0:
        raise Refused(
            f"The tube alone is {show(grain.tare_kg, 'mass', house.units)}; with a grain in it the scale must read "
            "more.",
            field="gross",
        )
    _core_inside(grain, data, house)
    ideal = formulas.ideal_density(repository.get(session, Formula, batch.formula_id, "formula"))
    if not data.sure_of("gross"):
        _likely(grain, pattern, data, ideal * house.expected_density_share, house)
    found = _check(grain, pattern, ideal, house)
    return {
        **values,
        "density_kg_m3": found.density,
        "density_share": found.share,
        "verdict": found.verdict,
        "verdict_why": " ".join(say(reason, house.units) for reason in found.reasons),
    }


def checks(session: Session, formula: Formula, grains: Iterable[tuple[Grain, GrainPattern]]) -> dict[int, GrainCheck]:
    """What the numbers of grains of one formula say by the workshop's limits of today, by the grain's identity."""
    house, ideal = workshop.get(session), formulas.ideal_density(formula)
    return {grain.pk: _check(grain, pattern, ideal, house) for grain, pattern in grains}


def _check(grain: Grain, pattern: GrainPattern, ideal_density: float, house: Workshop) -> GrainCheck:
    return check_grain(
        mass=grain.gross_kg,
        tube_tare=grain.tare_kg,
        outer_d=grain.outer_d_m,
        core_d=grain.core_d_m,
        length=grain.length_m,
        ideal_density=ideal_density,
        accept_share=house.accept_share,
        reject_share=house.reject_share,
        mass_resolution=house.scale_resolution_kg,
        length_resolution=house.ruler_resolution_m,
        geometry=shapes.geometry_of(pattern),
    )


def _tare(session: Session, pattern: GrainPattern, data: GrainIn) -> float:
    if data.tare is not None:
        return data.tare.si
    if not data.in_tube:
        return 0.0
    tube = inventory.tube_of(session, pattern)
    if tube is None or tube.tare_kg is None:
        lacks = f"the mass of “{tube.name}”" if tube else f"a casting tube for “{pattern.name}”"
        raise Refused(f"The book does not have {lacks}. Type the mass of one empty tube here.", field="tare")
    return tube.tare_kg


def _core_inside(grain: Grain, data: GrainIn, house: Workshop) -> None:
    if grain.core_d_m >= grain.outer_d_m:
        core, outer = (show(size, "length", house.units) for size in (grain.core_d_m, grain.outer_d_m))
        raise Refused(
            f"A core of {core} does not fit in a grain of {outer}; measure both again.",
            field="core_d" if data.core_d is not None else "outer_d",
        )


def _likely(grain: Grain, pattern: GrainPattern, data: GrainIn, density: float, house: Workshop) -> None:
    """Ask about a weight that can hardly be: a slipped decimal sign is the usual cause."""
    expected = density * shapes.volume(pattern, grain)
    if DOUBT_BELOW <= grain.mass_kg / expected <= DOUBT_ABOVE:
        return
    tube = " with its tube" if grain.tare_kg else ""
    about = f"A grain of these sizes weighs about {show(expected + grain.tare_kg, 'mass', house.units)}{tube}."
    meant = [
        exact(data.gross.si * slip, "mass", house.units)
        for slip in SLIPS
        if DOUBT_BELOW <= (data.gross.si * slip - grain.tare_kg) / expected <= DOUBT_ABOVE
    ]
    look = "" if meant else " Look at the scale, the pattern and the sizes again."
    raise Asked(f"Did you mean {(*meant, data.gross.typed)[0]}? {about}{look}", "gross", meant)
