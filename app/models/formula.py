"""A formula: a blend by mass fractions. A version never changes once a batch was planned with it."""

from typing import Annotated

from pydantic import BaseModel, ConfigDict
from pydantic import Field as FormField
from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field, Relationship

from app.calc.base.notes import Amount
from app.calc.propellant.ingredients import INGREDIENTS
from app.models.base import FormIn, Row, hint, one_of
from app.units import Measure, Quantity


class Formula(Row, table=True):
    """One version of a named blend."""

    __table_args__ = (
        UniqueConstraint("name", "edition"),
        CheckConstraint("edition >= 1", name="edition"),
        CheckConstraint("law_rate_m_s IS NULL OR law_rate_m_s > 0", name="law_rate"),
        CheckConstraint("law_from_pa IS NULL OR (law_from_pa > 0 AND law_to_pa > law_from_pa)", name="law_range"),
    )

    name: str = Field(index=True)
    edition: int = 1
    note: str = ""
    retired: bool = False
    law_rate_m_s: float | None = None
    law_exponent: float | None = None
    law_from_pa: float | None = None
    law_to_pa: float | None = None
    law_source: str = ""
    parts: list["FormulaPart"] = Relationship(
        sa_relationship_kwargs={"order_by": "FormulaPart.id", "cascade": "all, delete-orphan", "lazy": "selectin"}
    )

    @property
    def blend(self) -> dict[str, float]:
        """Mass fraction by ingredient key."""
        return {part.ingredient: part.fraction for part in self.parts}

    @property
    def label(self) -> str:
        """Name with version, as it is written everywhere."""
        return f"{self.name} v{self.edition}"


class FormulaPart(Row, table=True):
    """The share of one ingredient in a formula."""

    __tablename__ = "formula_part"
    __table_args__ = (
        UniqueConstraint("formula_id", "ingredient"),
        CheckConstraint("fraction > 0 AND fraction < 1", name="fraction"),
    )

    formula_id: int = Field(foreign_key="formula.id", index=True)
    ingredient: str = Field(sa_column_kwargs=one_of(*INGREDIENTS))
    fraction: float


class BlendStateCache(Row, table=True):
    """The equilibrium state of a formula at a pressure, computed once."""

    __tablename__ = "blend_state"
    __table_args__ = (UniqueConstraint("formula_id", "pressure_pa", "method"),)

    formula_id: int = Field(foreign_key="formula.id", index=True)
    pressure_pa: float
    method: str
    state_json: str


class PartIn(BaseModel):
    """One row of the formula form."""

    model_config = ConfigDict(str_strip_whitespace=True)

    ingredient: str = FormField(max_length=80, title="Ingredient")
    percent: Annotated[Quantity, Measure("share", gt=0, lt=1)] = FormField(title="Share by mass")


class FormulaIn(FormIn):
    """The formula form."""

    together = (("law_rate", "law_exponent", "law_from", "law_to", "law_source"),)

    name: str = FormField(min_length=1, max_length=80, title="Name")
    note: str = FormField("", max_length=2000, title="Note", json_schema_extra={"rows": 2})
    parts: list[PartIn] = FormField(min_length=1, title="Parts")
    law_rate: Annotated[Quantity, Measure("burn_rate", gt=1e-5, le=0.2, usual=(0.0005, 0.05))] | None = FormField(
        None,
        title="Rate of the law",
        json_schema_extra=hint("What r = a Pⁿ gives at {one}.", one=Amount(1e6, "pressure", 0)),
    )
    law_exponent: float | None = FormField(
        None, ge=-0.95, le=0.95, title="Exponent n", description="Below 1: with 1 or more no motor is steady."
    )
    law_from: Annotated[Quantity, Measure("pressure", gt=1e4, le=1e8, usual=(5e4, 1.5e7))] | None = FormField(
        None, title="Measured from", description="Lowest pressure that was measured at, absolute."
    )
    law_to: Annotated[Quantity, Measure("pressure", gt=1e4, le=1e8, usual=(5e4, 3e7))] | None = FormField(
        None, title="Measured up to", description="Highest pressure that was measured at."
    )
    law_source: str = FormField(
        "", max_length=300, title="Where it comes from", description="Strands or motors, how many, when, by whom."
    )
