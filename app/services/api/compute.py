"""The compute API's verbs: the calculations that the pages use, on numbers instead of rows. Nothing is stored."""

import re
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from math import isnan

from pydantic import BaseModel

from app.calc.base.errors import CalcError
from app.calc.base.notes import Note
from app.calc.case import casing
from app.calc.case.closure import Retention, bolt_retention, ring_retention
from app.calc.grain import density_check
from app.calc.propellant import recipe, thermochem
from app.models import api
from app.units import say

Loc = tuple[str | int, ...]

UNIT = re.compile(r"_(kg_m3|kg_mol|n_s|m3|m2|m_s|kg|pa|rad|per_k|k|m|s|n)$")

_OTHER_NAMES = {
    "limit": "remelt_limit",
    "a_mm_s": "rate_at_1_mpa_m_s",
    "n": "exponent",
    "temperature": "initial_temperature_k",
    "motor": "throat_d_m",
    "total_impulse": "grains",
    "ingredient": "parts",
    "core": "core_outline_m",
    "corners": "core_outline_m",
    "offset_a": "core_offset_m",
    "offset_b": "core_offset_aft_m",
    "speed": "wind_m_s",
    "measured_at": "wind_height_m",
    "altitude": "elevation_m",
    "warmer": "temperature_k",
    "main_diameter": "main",
    "drogue_diameter": "drogue",
}
"""Arguments of calculations whose fault belongs to a field of another name."""


class Misfit(Exception):
    """An input that a calculation refuses: where it stands in the request, and what to do about it."""

    def __init__(self, loc: Loc, message: str, kind: str = "value_error") -> None:
        super().__init__(message)
        self.loc = loc
        self.message = message
        self.kind = kind


@contextmanager
def placed(model: BaseModel, *loc: str | int) -> Iterator[None]:
    """Put a calculation's fault beside the field of the request that it means."""
    try:
        yield
    except CalcError as error:
        kind = re.sub(r"(?<=[a-z])(?=[A-Z])", "_", type(error).__name__).lower()
        raise Misfit((*loc, *_field(model, error.field)), say(error.words), kind) from error


def sentences(notes: Iterable[Note | str]) -> list[str]:
    """Sentences of a calculation as the interface gives them: in metric units."""
    return [say(note) for note in notes]


def _field(model: BaseModel, argument: str) -> Loc:
    """The field of a request that answers to a calculation's argument."""
    wanted = _OTHER_NAMES.get(argument, argument)
    for name in type(model).model_fields:
        if name == wanted or UNIT.sub("", name) == wanted:
            return (name,)
    parts = getattr(model, "parts", None) or {}
    if argument in parts:
        return ("parts", argument)
    return ("parts",) if parts else ()


def read_blend(model: BaseModel, parts: Mapping[str, float], *loc: str | int) -> dict[str, float]:
    """A blend by ingredient keys, each ingredient's refusal beside its own name."""
    for name in parts:
        try:
            recipe.lookup(name)
        except CalcError as error:
            raise Misfit((*loc, "parts", name), say(error.words), "blend_error") from error
    with placed(model, *loc):
        return recipe.check_blend(parts)


# --- Recipe, grain, blend, case ----------------------------------------------------------------


def scale(data: api.RecipeScaleIn) -> api.RecipeScaleOut:
    """Scale a formula to a batch.

    Raises
    ------
    Misfit
        An input that cannot be, with its place in the request.
    """
    blend = read_blend(data, data.parts)
    remelts = [(read_blend(r, r.parts, "remelts", i), r.mass_kg) for i, r in enumerate(data.remelts)]
    with placed(data):
        scaled = recipe.scale(blend, data.mass_kg, data.resolution_kg, remelts, data.remelt_limit)
        return api.RecipeScaleOut(
            masses_kg=scaled.masses,
            fresh_mass_kg=scaled.fresh_mass,
            remelt_mass_kg=scaled.remelt_mass,
            total_mass_kg=scaled.total_mass,
            target=scaled.target,
            realised=scaled.realised,
            deviation=scaled.deviation,
            ideal_density_kg_m3=recipe.theoretical_density(blend),
            oxygen_balance=recipe.oxygen_balance(blend),
            melt_order=[
                api.MeltStepOut(ingredient=step.key, share=step.share, words=step.words)
                for step in recipe.to_melt_order(blend)
            ],
            notes=sentences(recipe.blend_warnings(blend)),
        )


def check_grain(data: api.GrainCheckIn) -> api.GrainCheckOut:
    """Judge a grain by its density.

    Raises
    ------
    Misfit
        An input that cannot be, with its place in the request.
    """
    if (data.parts is None) == (data.ideal_density_kg_m3 is None):
        raise Misfit(("ideal_density_kg_m3",), "Give either the blend's parts or its ideal density.")
    if data.parts is not None:
        ideal = recipe.theoretical_density(read_blend(data, data.parts))
    else:
        assert data.ideal_density_kg_m3 is not None
        ideal = data.ideal_density_kg_m3
    with placed(data):
        found = density_check.check_grain(
            mass=data.mass_kg,
            outer_d=data.outer_d_m,
            core_d=data.core_d_m,
            length=data.length_m,
            ideal_density=ideal,
            accept_share=data.accept_share,
            reject_share=data.reject_share,
            mass_resolution=data.mass_resolution_kg,
            length_resolution=data.length_resolution_m,
            tube_tare=data.tube_tare_kg,
        )
    return api.GrainCheckOut(
        mass_kg=found.mass,
        volume_m3=found.volume,
        density_kg_m3=found.density,
        ideal_density_kg_m3=found.ideal_density,
        share=found.share,
        share_uncertainty=found.share_uncertainty,
        density_uncertainty_kg_m3=found.density_uncertainty,
        missing_mass_kg=found.missing_mass,
        void_volume_m3=found.void_volume,
        verdict=found.verdict,
        reasons=sentences(found.reasons),
    )


def blend_state(data: api.BlendStateIn) -> api.BlendStateOut:
    """Burn a blend to equilibrium.

    Raises
    ------
    Misfit
        An input that cannot be, with its place in the request.
    """
    blend = read_blend(data, data.parts)
    with placed(data):
        state = thermochem.blend_state(blend, data.pressure_pa)
        return api.BlendStateOut(
            temperature_k=state.temperature,
            pressure_pa=state.pressure,
            gas_molar_mass_kg_mol=state.gas_molar_mass,
            system_molar_mass_kg_mol=state.system_molar_mass,
            condensed_fraction=state.condensed_fraction,
            gamma_frozen=state.gamma_frozen,
            gamma_effective=state.gamma_effective,
            c_star_m_s=state.c_star,
            c_star_equilibrium_m_s=state.c_star_equilibrium,
            ideal_isp_s=state.ideal_isp,
            ideal_density_kg_m3=recipe.theoretical_density(blend),
            oxygen_balance=recipe.oxygen_balance(blend),
            condensed=state.condensed,
            gas=state.gas,
            balance_error=state.balance_error,
            notes=sentences(state.notes),
        )


def check_case(data: api.CaseCheckIn) -> api.CaseCheckOut:
    """Compare a peak pressure with a case's rating, proof test and wall.

    Raises
    ------
    Misfit
        An input that cannot be, with its place in the request.
    """
    held = held_by(data)
    with placed(data):
        found = casing.case_margin(
            data.peak_pressure_pa,
            data.inner_d_m,
            data.outer_d_m,
            data.material,
            rated_pressure=data.rated_pressure_pa,
            proof_pressure=data.proof_pressure_pa,
            yield_strength=data.yield_strength_pa,
            wall_temperature=data.wall_temperature_k,
            factor=data.factor,
            closure_pressure=held.weakest.pressure if held else None,
        )
    return api.CaseCheckOut(
        peak_pressure_pa=found.peak_pressure,
        bore_stress_pa=found.bore_stress,
        thin_stress_pa=found.thin_stress,
        yield_strength_pa=found.yield_strength,
        factor=found.factor,
        yield_pressure_pa=found.yield_pressure,
        burst_pressure_pa=None if isnan(found.burst) else found.burst,
        design_pressure_pa=found.design_pressure,
        limit_pa=found.limit,
        limit_words=found.limit_words,
        margin=found.margin,
        of_rated=found.of_rated,
        of_proof=found.of_proof,
        notes=sentences(found.notes),
        set_by_closures=found.by_closure,
        closures=[
            api.ClosureModeOut(words=mode.words, area_m2=mode.area, pressure_pa=mode.pressure)
            for mode in (held.modes if held else ())
        ],
    )


def held_by(data: api.CaseCheckIn) -> Retention | None:
    """What holds the closures of a request's case, if it says so.

    Raises
    ------
    Misfit
        Sizes that contradict each other; beside their field.
    """
    if data.ring is not None and data.bolts is not None:
        raise Misfit(("bolts",), "Give a ring or bolts, not both: check one closure after the other.")
    if data.ring is None and data.bolts is None:
        return None
    with placed(data):
        wall, _ = casing.strengths(data.material, data.wall_temperature_k, data.yield_strength_pa)
    if data.ring is not None:
        ring = data.ring
        with placed(ring, "ring"):
            return ring_retention(
                data.inner_d_m,
                data.outer_d_m,
                ring.groove_d_m,
                ring.land_m,
                ring.ring_thickness_m,
                wall,
                ring.ring_yield_pa,
            )
    assert data.bolts is not None
    bolts = data.bolts
    with placed(bolts, "bolts"):
        return bolt_retention(
            data.inner_d_m,
            data.outer_d_m,
            bolts.count,
            bolts.hole_d_m,
            bolts.shank_d_m,
            bolts.edge_m,
            wall,
            bolts.bolt_yield_pa,
        )
