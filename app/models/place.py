"""What is flown and where: rockets and fields."""

from collections.abc import Iterator, Mapping
from typing import Annotated, Literal

from pydantic import Field as FormField
from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field, Relationship

from app.models.base import FormIn, Row
from app.models.hardware import Name, Note, Width
from app.units import Measure, Quantity

CHUTE_BASES = {"flat": "its circle laid flat", "open": "its mouth when open"}
"""What circle a parachute's diameter and drag coefficient mean."""

STEEPEST = 0.3490658503988659
"""Largest lean of a rail from upright [rad]: 20 degrees."""


class Rocket(Row, table=True):
    """An airframe without its motor, its rail and its parachutes.

    The drag coefficient is based on the body's cross-section, or on the reference diameter's circle or the reference
    area where one is given; with `drag_points` they are used instead of it. The main parachute opens at
    `main_altitude_m` on the way down, or first of all; the first event comes `opening_delay_s` after apogee, unless the
    motor's ejection makes it.
    """

    __table_args__ = (
        UniqueConstraint("name"),
        CheckConstraint("mass_kg > 0 AND diameter_m > 0 AND drag_coefficient > 0", name="positive"),
        CheckConstraint("reference_d_m IS NULL OR reference_area_m2 IS NULL", name="one_basis"),
        CheckConstraint("rail_tilt_rad IS NULL OR rail_tilt_rad BETWEEN 0 AND 0.35", name="rail"),
        CheckConstraint("main_basis IN ('flat', 'open') AND drogue_basis IN ('flat', 'open')", name="chute_basis"),
        CheckConstraint("(main_d_m IS NULL) = (main_cd IS NULL)", name="main"),
        CheckConstraint("(drogue_d_m IS NULL) = (drogue_cd IS NULL)", name="drogue"),
    )

    name: str
    mass_kg: float
    diameter_m: float
    drag_coefficient: float = 0.5
    reference_d_m: float | None = None
    reference_area_m2: float | None = None
    rail_length_m: float | None = None
    rail_tilt_rad: float | None = None
    main_d_m: float | None = None
    main_cd: float | None = None
    main_basis: str = "flat"
    main_altitude_m: float | None = None
    drogue_d_m: float | None = None
    drogue_cd: float | None = None
    drogue_basis: str = "flat"
    opening_delay_s: float | None = None
    retired: bool = False
    note: str = ""
    drag_points: list["DragPoint"] = Relationship(
        sa_relationship_kwargs={"order_by": "DragPoint.mach", "lazy": "selectin", "cascade": "all, delete-orphan"}
    )


class DragPoint(Row, table=True):
    """A row of a rocket's drag table: the coefficient at a Mach number, on the rocket's area basis."""

    __tablename__ = "drag_point"
    __table_args__ = (
        UniqueConstraint("rocket_id", "mach"),
        CheckConstraint("mach >= 0 AND coefficient > 0", name="positive"),
    )

    rocket_id: int = Field(foreign_key="rocket.id")
    mach: float
    coefficient: float


class DragPointIn(FormIn):
    """A row of the drag table on the rocket form."""

    mach: float = FormField(ge=0, le=10, title="Mach")
    coefficient: float = FormField(gt=0.05, le=5, title="Coefficient")


ChuteSize = Annotated[Quantity, Measure("length", ge=0.05, le=30, usual=(0.1, 8))]
ChuteDrag = Annotated[float, FormField(ge=0.2, le=4)]


class RocketIn(FormIn):
    """The rocket form."""

    together = (("main_d", "main_cd"), ("drogue_d", "drogue_cd"))

    @classmethod
    def contradictions(cls, read: Mapping[str, Quantity]) -> Iterator[tuple[str, str]]:
        """Two bases of the drag coefficient."""
        if "reference_d" in read and "reference_area" in read:
            yield "reference_area", "The coefficient has one basis: give a diameter or an area, not both."

    name: Name
    mass: Annotated[Quantity, Measure("heavy_mass", ge=0.01, le=500, usual=(0.1, 60))] = FormField(
        title="Mass without a motor", description="Ready to fly, recovery packed, no case and no grains."
    )
    diameter: Width = FormField(title="Largest body diameter")
    drag_coefficient: float = FormField(0.5, gt=0.05, le=3, title="Drag coefficient")
    reference_d: Width | None = FormField(
        None, title="Reference diameter", description="If the coefficient is based on the circle of another diameter."
    )
    reference_area: Annotated[Quantity, Measure("area", gt=1e-6, le=10, usual=(1e-4, 0.2))] | None = FormField(
        None, title="Reference area", description="Or on an area given as such."
    )
    drag_points: list[DragPointIn] = FormField(
        [], max_length=40, title="Drag over Mach", description="Straight between the rows; beyond them the last holds."
    )
    rail_length: Annotated[Quantity, Measure("length", gt=0.2, le=20, usual=(0.5, 10))] | None = FormField(
        None, title="Rail length", description="Travel until the last guide leaves it."
    )
    rail_tilt: Annotated[Quantity, Measure("angle", ge=0, le=STEEPEST)] | None = FormField(
        None, title="Rail from upright", description="20° at most."
    )
    main_d: ChuteSize | None = FormField(None, title="Main parachute, diameter")
    main_cd: ChuteDrag | None = FormField(
        None, title="Main parachute, drag coefficient", description="Flat: often 0.75 to 0.8."
    )
    main_basis: Literal["flat", "open"] = FormField("flat", title="Main parachute, measured on")
    main_altitude: Annotated[Quantity, Measure("altitude", ge=10, le=20000, usual=(40, 1500))] | None = FormField(
        None,
        title="Main parachute opens at",
        description="Above the field, on the way down. Left empty: with the first event.",
    )
    drogue_d: ChuteSize | None = FormField(None, title="Drogue, diameter")
    drogue_cd: ChuteDrag | None = FormField(None, title="Drogue, drag coefficient")
    drogue_basis: Literal["flat", "open"] = FormField("flat", title="Drogue, measured on")
    opening_delay: Annotated[Quantity, Measure("time", ge=0, le=60, usual=(0, 20))] | None = FormField(
        None,
        title="First event after apogee",
        description="Left empty: at apogee. A motor's ejection delay is typed with the flight.",
    )
    note: Note = ""


class LaunchField(Row, table=True):
    """A place to fly from or to test at; its size is a radius round the pad, or a rectangle with the pad in its middle.

    `long_axis_rad` is the bearing of the rectangle's length from north.
    """

    __tablename__ = "launch_field"
    __table_args__ = (
        UniqueConstraint("name"),
        CheckConstraint("ceiling_m IS NULL OR ceiling_m > 0", name="ceiling"),
        CheckConstraint("radius_m IS NULL OR (radius_m > 0 AND length_m IS NULL)", name="radius"),
        CheckConstraint("(length_m IS NULL) = (width_m IS NULL)", name="rectangle"),
        CheckConstraint("length_m IS NULL OR (length_m > 0 AND width_m > 0)", name="size"),
    )

    name: str
    elevation_m: float = 0.0
    ceiling_m: float | None = None
    radius_m: float | None = None
    length_m: float | None = None
    width_m: float | None = None
    long_axis_rad: float | None = None
    rules: str = ""
    retired: bool = False
    note: str = ""


FieldSize = Annotated[Quantity, Measure("altitude", ge=10, le=100000, usual=(20, 20000))]


class LaunchFieldIn(FormIn):
    """The field form."""

    together = (("length", "width"),)

    @classmethod
    def contradictions(cls, read: Mapping[str, Quantity]) -> Iterator[tuple[str, str]]:
        """A radius and a rectangle."""
        if "radius" in read and "length" in read:
            yield "radius", "Give a radius, or length and width, not both."

    name: Name
    elevation: Annotated[Quantity, Measure("altitude", ge=-500, le=6000, usual=(-100, 4500))] = FormField(
        title="Elevation"
    )
    ceiling: Annotated[Quantity, Measure("altitude", gt=0, le=50000, usual=(50, 15000))] | None = FormField(
        None, title="Ceiling above ground", description="As waived or agreed with the land owner."
    )
    radius: FieldSize | None = FormField(
        None, title="Radius", description="From the pad to the nearest edge of where a rocket may land."
    )
    length: FieldSize | None = FormField(None, title="Length", description="Of a rectangle with the pad in its middle.")
    width: FieldSize | None = FormField(None, title="Width")
    long_axis: Annotated[Quantity, Measure("angle", ge=0, le=6.3)] | None = FormField(
        None, title="Bearing of its length", description="From north, such as 45°; used when the wind has a direction."
    )
    rules: str = FormField(
        "",
        max_length=2000,
        title="Rules of the site",
        json_schema_extra={"rows": 3},
        description="Who to ask, distances, seasons. Local law comes first.",
    )
    note: Note = ""
