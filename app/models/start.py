"""The first start: six questions, each answer of which goes into the forms that the workshop has for it."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import Field as FormField

from app.models.base import FormIn
from app.models.formula import FormulaIn
from app.models.hardware import CaseIn, CastingTubeIn, Core, CoringRodIn, GrainPatternIn, NozzleIn, Size, Throat, Width
from app.models.place import LaunchFieldIn
from app.models.workshop import SYSTEMS
from app.units import Measure, Quantity, UnitSystem


@dataclass(frozen=True)
class Part:
    """The fields of the first start that are of one thing, with the page and the form where it is entered otherwise."""

    noun: str
    page: str
    model: type[FormIn]
    fields: Mapping[str, str]
    """Its fields here, each with the field of its own form."""


PARTS = (
    Part("casting tube", "/workshop/tubes/new", CastingTubeIn, {"tube_inner_d": "inner_d", "tube_outer_d": "outer_d"}),
    Part("coring rod", "/workshop/rods/new", CoringRodIn, {"rod_d": "diameter"}),
    Part(
        "grain pattern",
        "/workshop/patterns/new",
        GrainPatternIn,
        {"grain_length": "length", "burning_ends": "burning_ends"},
    ),
    Part(
        "case",
        "/workshop/cases/new",
        CaseIn,
        {
            "case_inner_d": "inner_d",
            "case_outer_d": "outer_d",
            "case_room": "chamber_length",
            "case_material": "material",
        },
    ),
    Part("nozzle", "/workshop/nozzles/new", NozzleIn, {"throat_d": "throat_d", "exit_d": "exit_d"}),
    Part("formula", "/workshop/formulas/new", FormulaIn, {"sugar": "parts.1.ingredient", "nitrate": "parts.0.percent"}),
    Part("field", "/workshop/fields/new", LaunchFieldIn, {"place": "name", "elevation": "elevation"}),
)


class StartIn(FormIn):
    """The form of the first start: all of it optional, and in it only what a person has measured or decided."""

    @classmethod
    def reads_in(cls, texts: Mapping[str, str], units: UnitSystem) -> UnitSystem:
        """The units chosen in the same save."""
        return SYSTEMS.get(texts.get("system", ""), units)

    @classmethod
    def contradictions(cls, read: Mapping[str, Quantity]) -> Iterator[tuple[str, str]]:
        """What the form of each thing says."""
        for part in PARTS:
            here = {to: name for name, to in part.fields.items()}
            for field, words in part.model.contradictions(
                {to: read[name] for to, name in here.items() if name in read}
            ):
                yield here[field], words

    system: Literal["Metric", "US"] | None = FormField(
        None, title="You measure in", description="A unit typed behind a number always counts."
    )
    tube_inner_d: Width | None = FormField(None, title="Casting tube, inner diameter")
    tube_outer_d: Width | None = FormField(None, title="Casting tube, outer diameter")
    rod_d: Core | None = FormField(None, title="Coring rod, diameter")
    grain_length: Size | None = FormField(None, title="Length of a grain")
    burning_ends: Literal["2", "1", "0"] | None = FormField(None, title="End faces that burn")
    case_inner_d: Width | None = FormField(None, title="Case, inner diameter")
    case_outer_d: Width | None = FormField(None, title="Case, outer diameter")
    case_room: Size | None = FormField(
        None, title="Room for grains", description="Between the forward closure and the nozzle's seat."
    )
    case_material: str = FormField("", title="Material of the case")
    throat_d: Throat | None = FormField(None, title="Nozzle, throat diameter")
    exit_d: Width | None = FormField(None, title="Nozzle, exit diameter")
    nitrate: Annotated[Quantity, Measure("share", gt=0, lt=1)] | None = FormField(
        None, title="Potassium nitrate, share by mass", description="The sugar is the rest."
    )
    sugar: str = FormField("", title="Sugar")
    pan_capacity: Annotated[Quantity, Measure("mass", gt=0, le=50, usual=(0.1, 20))] | None = FormField(
        None, title="The pan holds safely", description="Of melt, with room to stir."
    )
    place: str = FormField("", max_length=80, title="Where you fly or test", description="What you call it.")
    elevation: Annotated[Quantity, Measure("altitude", ge=-500, le=6000, usual=(-100, 4500))] | None = FormField(
        None, title="Its height above sea level"
    )

    def told(self, part: Part) -> dict[str, Any]:
        """What was said of one thing, by the fields of its own form, as texts."""
        found = {to: getattr(self, name) for name, to in part.fields.items()}
        return {to: of.typed if isinstance(of, Quantity) else of for to, of in found.items() if of not in (None, "")}
