"""A formula: a blend by mass fractions. A version never changes once a batch was planned with it."""

from typing import Annotated

from pydantic import BaseModel, ConfigDict
from pydantic import Field as FormField
from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field, Relationship

from app.models.base import FormIn, Row
from app.units import Measure, Quantity


class Formula(Row, table=True):
    """One version of a named blend."""

    __table_args__ = (UniqueConstraint("name", "edition"), CheckConstraint("edition >= 1", name="edition"))

    name: str = Field(index=True)
    edition: int = 1
    note: str = ""
    retired: bool = False
    parts: list["FormulaPart"] = Relationship(
        sa_relationship_kwargs={
            "order_by": "FormulaPart.id",
            "cascade": "all, delete-orphan",
            "lazy": "selectin",
        }
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
    ingredient: str
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

    name: str = FormField(min_length=1, max_length=80, title="Name")
    note: str = FormField("", max_length=2000, title="Note", json_schema_extra={"rows": 2})
    parts: list[PartIn] = FormField(min_length=1, title="Parts")
