"""A core measured off centre: what is asked about it."""

from typing import Annotated

from pydantic import Field as FormField

from app.models.motor import DesignIn
from app.units import Measure, Quantity

Offset = Annotated[Quantity, Measure("length", gt=-0.2, lt=0.2, usual=(-0.02, 0.02))]


class CoreOffsetIn(DesignIn):
    """The form for a coring fault: a motor as designed, and how its cores really stand."""

    faulty: int = FormField(1, ge=1, le=24, title="Grains so cast", description="How many of the grains are like this.")
    offset_fore: Offset = FormField(
        title="Off centre at one end",
        description="Half the difference of the thickest and the thinnest wall, measured across.",
    )
    offset_aft: Offset = FormField(
        title="Off centre at the other end",
        description="With a minus sign where the core leans to the other side there.",
    )
    core_d: Annotated[Quantity, Measure("length", gt=0, le=3, usual=(0.004, 0.08))] | None = FormField(
        None, title="Core diameter as measured", description="Left empty: the pattern's."
    )
