"""Least distances of persons by class: a person's own figures, which outrank the printed ones."""

from datetime import date
from typing import Annotated

from pydantic import Field as FormField
from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field

from app.calc.motor.impulse import CLASS_LIMITS
from app.models.base import FormIn, Row, one_of
from app.units import Measure, Quantity

Distance = Annotated[Quantity, Measure("altitude", ge=5, le=20000, usual=(10, 3000))]


class OwnDistance(Row, table=True):
    """The distance of persons from a motor of a class, with where the figure is from and of when."""

    __tablename__ = "own_distance"
    __table_args__ = (
        UniqueConstraint("impulse_class"),
        CheckConstraint("single_m > 0", name="single"),
        CheckConstraint("complex_m IS NULL OR complex_m >= single_m", name="complex"),
    )

    impulse_class: str = Field(sa_column_kwargs=one_of(*CLASS_LIMITS))
    single_m: float
    complex_m: float | None = None
    source: str
    dated: date


class OwnDistanceIn(FormIn):
    """One class of the form."""

    impulse_class: str = FormField(title="Class")
    single: Distance = FormField(title="Single motor")
    complex: Distance | None = FormField(None, title="Cluster or stages")
    source: str = FormField(min_length=3, max_length=200, title="Source")
    dated: date = FormField(title="Dated")


class DistancesIn(FormIn):
    """The form of all of them: a line for each class that the person has figures for."""

    lines: list[OwnDistanceIn] = FormField([], max_length=40, title="Your own figures")
