"""The mark of a form field that takes a number with a unit, within bounds."""

from dataclasses import dataclass
from typing import Any

from pydantic import GetCoreSchemaHandler, ValidationInfo
from pydantic_core import PydanticCustomError, core_schema

from app.units.reading import Quantity, UnitError, parse
from app.units.systems import METRIC, UnitSystem
from app.units.writing import exact


@dataclass(frozen=True)
class Measure:
    """Marks a form field `Annotated[Quantity, Measure("length", gt=0, le=2)]`; bounds are in SI.

    `unit` is for a field with a natural unit of its own: seven for a cure means days, not seconds.
    `usual` is what the thing hardly ever lies outside of; a form asks about such a number once (`app.doubts`).
    `above_air` marks a pressure that counts from the air's.
    """

    kind: str
    gt: float | None = None
    ge: float | None = None
    le: float | None = None
    lt: float | None = None
    unit: str | None = None
    usual: tuple[float, float] | None = None
    above_air: bool = False

    def system(self, units: UnitSystem) -> UnitSystem:
        """The workshop's units, with this field's own in its place."""
        return units._replace(**{self.kind: self.unit}) if self.unit else units

    def read(self, text: str, units: UnitSystem) -> Quantity:
        """What a text says in this field, bounds aside.

        Raises
        ------
        UnitError
            As `parse`.
        """
        return parse(text, self.kind, self.system(units), above_air=self.above_air)

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        """Validate text into a Quantity, with the workshop's units taken from the context."""
        return core_schema.with_info_plain_validator_function(self._validate)

    def _validate(self, value: Any, info: ValidationInfo) -> Quantity:
        if isinstance(value, Quantity):
            return self._bounded(value, self.system(METRIC))
        units = (info.context or {}).get("units", METRIC)
        try:
            quantity = self.read(str(value), units)
        except UnitError as error:
            more = {"message": str(error), "readings": error.readings}
            raise PydanticCustomError("measure", "{message}", more) from None
        return self._bounded(quantity, self.system(units))

    def _bounded(self, quantity: Quantity, units: UnitSystem) -> Quantity:
        if beyond := self.beyond(quantity.si):
            words, bound = beyond
            message = f"This must be {words} {exact(bound, self.kind, units)}; “{quantity.typed}” is not."
            raise PydanticCustomError("measure", "{message}", {"message": message})
        return quantity

    def beyond(self, si: float) -> tuple[str, float] | None:
        """The bound that a number breaks, and how it should lie to it."""
        if self.gt is not None and not si > self.gt:
            return "more than", self.gt
        if self.ge is not None and not si >= self.ge:
            return "at least", self.ge
        if self.lt is not None and not si < self.lt:
            return "less than", self.lt
        if self.le is not None and not si <= self.le:
            return "at most", self.le
        return None
