"""A motor build: real grains in a real case, and the prediction made of it, which is never rewritten."""

from datetime import date, datetime
from typing import Annotated

from pydantic import Field as FormField
from sqlalchemy import CheckConstraint, Index, UniqueConstraint, text
from sqlmodel import Field, Relationship

from app.models.base import CODE, FormIn, Row, Utc
from app.models.hardware import Throat
from app.units import Measure, Quantity


class MotorBuild(Row, table=True):
    """Grains, case and nozzle put together; taken apart again, or fired."""

    __tablename__ = "motor_build"
    __table_args__ = (
        UniqueConstraint("code"),
        CheckConstraint("throat_d_m > 0 AND exit_d_m >= throat_d_m", name="throat"),
    )

    code: str = Field(index=True, sa_column_kwargs=CODE)
    case_id: int = Field(foreign_key="motor_case.id")
    nozzle_id: int = Field(foreign_key="nozzle.id")
    built_on: date
    throat_d_m: float
    throat_d_typed: str
    exit_d_m: float
    field_elevation_m: float = 0.0
    grain_temperature_k: float
    taken_apart_at: datetime | None = Field(default=None, sa_type=Utc)
    taken_apart_why: str | None = None
    note: str = ""
    slots: list["BuildGrain"] = Relationship(
        sa_relationship_kwargs={"order_by": "BuildGrain.position", "lazy": "selectin"}
    )


class BuildGrain(Row, table=True):
    """A grain in a build, from the closure (1) to the nozzle. A grain sits in one build at a time."""

    __tablename__ = "build_grain"
    __table_args__ = (
        UniqueConstraint("motor_build_id", "position"),
        Index("uq_build_grain_held", "grain_id", unique=True, sqlite_where=text("released_at IS NULL")),
    )

    motor_build_id: int = Field(foreign_key="motor_build.id", index=True)
    grain_id: int = Field(foreign_key="grain.id", index=True)
    position: int
    released_at: datetime | None = Field(default=None, sa_type=Utc)


class Prediction(Row, table=True):
    """What was expected of a build, with every input it was computed from. Never updated."""

    motor_build_id: int = Field(foreign_key="motor_build.id", index=True)
    made_at: datetime = Field(sa_type=Utc)
    total_impulse_ns: float
    mean_thrust_n: float
    peak_pressure_pa: float
    burn_time_s: float
    designation: str
    inputs_json: str
    result_json: str


class BuildIn(FormIn):
    """The build form: the grains are picked from the shelf, in order from the closure."""

    grain_ids: list[int] = FormField(min_length=1, max_length=24, title="Grains")
    case_id: int = FormField(title="Case")
    nozzle_id: int = FormField(title="Nozzle")
    throat_d: Throat = FormField(title="Throat as measured today")
    built_on: date = FormField(title="Built on")
    field_elevation: Annotated[Quantity, Measure("altitude", ge=-500, le=6000, usual=(-100, 4500))] = FormField(
        title="Elevation it will fire at"
    )
    grain_temperature: Annotated[Quantity, Measure("temperature", gt=230, lt=330, usual=(250, 320))] = FormField(
        title="Grain temperature"
    )
    note: str = FormField("", max_length=2000, title="Note", json_schema_extra={"rows": 2})


class DesignIn(FormIn):
    """The form for a motor not yet cast: what it would do and what to cast for it."""

    formula_id: int = FormField(title="Formula")
    pattern_id: int = FormField(title="Grain pattern")
    count: int = FormField(ge=1, le=24, title="Grains")
    case_id: int = FormField(title="Case")
    nozzle_id: int | None = FormField(None, title="Nozzle")
    throat_d: Throat | None = FormField(None, title="Throat", description="Left empty: the nozzle's last measure.")
    density: Annotated[Quantity, Measure("share", gt=0.5, le=1)] = FormField(
        title="Expected density", description="Share of ideal."
    )
    field_elevation: Annotated[Quantity, Measure("altitude", ge=-500, le=6000, usual=(-100, 4500))] = FormField(
        title="Elevation"
    )
    grain_temperature: Annotated[Quantity, Measure("temperature", gt=230, lt=330, usual=(250, 320))] = FormField(
        title="Grain temperature"
    )


class TakeApartIn(FormIn):
    """The form to take a build apart: the grains go back to the shelf."""

    why: str = FormField(min_length=3, max_length=300, title="Why")
