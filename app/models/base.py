"""What all tables share: names of constraints, moments in UTC, identity, and the way from form to column."""

import math
import secrets
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any, ClassVar, Self, TypeVar

from pydantic import BaseModel, ConfigDict, PrivateAttr
from sqlalchemy import DateTime, Table, TypeDecorator, inspect
from sqlalchemy.orm import QueryableAttribute
from sqlmodel import Field, SQLModel
from sqlmodel._compat import SQLModelConfig

from app import clock
from app.calc.base.notes import Amount, Note
from app.models.asking import When
from app.models.money import Money
from app.units import KINDS, METRIC, Measure, Quantity, UnitError, UnitSystem, editable

SQLModel.metadata.naming_convention = {
    "ix": "ix_%(column_0_label)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}


EARLIEST, LATEST = datetime(2, 1, 1), datetime(9998, 12, 31, 23, 59)


class Utc(TypeDecorator[datetime]):
    """A moment: aware in the program, naive UTC in the file."""

    impl = DateTime
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Any) -> datetime | None:
        """Store UTC; refuse a moment without a zone rather than guess one."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a stored moment needs a time zone")
        return value.astimezone(UTC).replace(tzinfo=None)

    def process_result_value(self, value: datetime | None, dialect: Any) -> datetime | None:
        """Give back an aware moment.

        One at the very edge of the calendar, which no form takes, comes as a year within it: zones and hours added to
        it would leave the calendar, and no page with it could be drawn. `grainbook check` names it.
        """
        return None if value is None else min(max(value, EARLIEST), LATEST).replace(tzinfo=UTC)


def _begin() -> int:
    return secrets.randbelow(10**8) + 1  # a form takes nine figures


class Row(SQLModel):
    """A row with identity, birth and a version that grows with each change.

    The version begins at random: the number of a row that was taken back goes to the next one, and a page left open
    on the old row must not be able to change the new one.

    Rows are built from forms already checked and never validate, so pydantic's schema of a table is not made until
    somebody asks for it: that halves what the tables cost at the program's start.
    """

    model_config = SQLModelConfig(defer_build=True)

    id: int | None = Field(default=None, primary_key=True)
    created_at: datetime = Field(default_factory=clock.now, sa_type=Utc)
    version: int = Field(default_factory=_begin)

    @property
    def pk(self) -> int:
        """The identity of a row that is in the book."""
        assert self.id is not None, "the row is not in the book yet"
        return self.id


class FormIn(BaseModel):
    """Checked form data; `Measure` fields hold a Quantity."""

    model_config = ConfigDict(str_strip_whitespace=True, extra="ignore", allow_inf_nan=False, defer_build=True)

    whens: ClassVar[Sequence[When]] = ()
    """Its fields that are asked for only with some choice."""
    together: ClassVar[Sequence[tuple[str, ...]]] = ()
    """Its fields that are told together or not at all."""

    _answered: frozenset[tuple[str, str]] | None = PrivateAttr(default=frozenset())
    """Field and question (`app.errors.Asked`) of each answer; None: of all."""

    @classmethod
    def reads_in(cls, texts: Mapping[str, str], units: UnitSystem) -> UnitSystem:  # noqa: ARG003 - for a form to say
        """The units of its bare numbers, by what stands in the form: one that is chosen beside a number counts."""
        return units

    @classmethod
    def contradictions(cls, read: Mapping[str, Quantity]) -> Iterable[tuple[str, str]]:  # noqa: ARG003 - as above
        """What cannot be of the quantities that could be read, though others are missing: a field and words each."""
        return ()

    def sure_of(self, field: str = "", about: str = "likely") -> bool:
        """Whether the person has answered the question about what stands in this field."""
        return self._answered is None or (field, about) in self._answered

    def answering(self, answers: Iterable[tuple[str, str]] | None) -> Self:
        """This data with its questions answered: those told, or all (None) for what no person sits before."""
        self._answered = None if answers is None else frozenset(answers)
        return self

    def as_sure_as(self, other: "FormIn") -> Self:
        """This data with those questions answered that were answered in another form, of which it is a part."""
        self._answered = other._answered
        return self

    def signature(self) -> str:
        """The name that was signed in this form, if it asks for one."""
        return str(getattr(self, "person", None) or "")


T = TypeVar("T", bound=SQLModel)


def one_of(*values: str) -> dict[str, Any]:
    """That a column of texts holds one of these, as its `sa_column_kwargs`: for what no form says with a `Literal`."""
    return {"info": {"one_of": values}}


def made_of(letters: str, most: int, least: int = 1) -> dict[str, Any]:
    """That a column holds texts of these letters (as brackets of a pattern have them), as its `sa_column_kwargs`."""
    return {"info": {"made_of": (letters, least, most)}}


CODE = made_of("0-9A-Za-z-", 40)
"""A code of a lot, a grain or a motor, as it stands in an address."""

SHA256 = made_of("0-9a-f", 64, least=64)


def attribute(of: object) -> QueryableAttribute[Any]:
    """A column or the parts of a table as SQLAlchemy loads them: SQLModel types each as the value that a row holds."""
    assert isinstance(of, QueryableAttribute)
    return of


def table_of(row: SQLModel) -> Table:
    """The table that a row stands in."""
    table = inspect(type(row)).local_table
    assert isinstance(table, Table)
    return table


def measure_of(model: type[BaseModel], field: str) -> Measure | None:
    """The measure a form field takes, if it takes one."""
    info = model.model_fields[field]
    found = [m for m in info.metadata if isinstance(m, Measure)]
    if not found:
        for argument in getattr(info.annotation, "__args__", ()):
            found += [m for m in getattr(argument, "__metadata__", ()) if isinstance(m, Measure)]
    return found[0] if found else None


def hint(words: str, **amounts: Amount) -> dict[str, Any]:
    """The words under a form field that have amounts in them, as its `json_schema_extra`."""
    return {"hint": Note(words, amounts)}


def is_money(model: type[BaseModel], field: str) -> bool:
    """Whether a form field takes money."""
    annotation = model.model_fields[field].annotation
    parts = (annotation, *getattr(annotation, "__args__", ()))
    return any(getattr(part, "__origin__", part) is Money for part in parts)


def currency_of(table: type[SQLModel], column: str) -> str:
    """The column beside an amount of money that keeps its currency."""
    own = f"{column}_currency"
    return own if own in table.model_fields else "currency"


def columns(data: FormIn, table: type[SQLModel]) -> dict[str, Any]:
    """Form data as column values: a Quantity `mass` becomes `mass_kg` and, where kept, `mass_typed`; money becomes an
    amount and its currency.

    Fields that the table does not have (rows of a list, for example) are left to the service.
    """
    values: dict[str, Any] = {}
    for name in type(data).model_fields:
        value = getattr(data, name)
        measure = measure_of(type(data), name)
        if is_money(type(data), name):
            values[name] = value.amount if value else None
            values[currency_of(table, name)] = value.currency if value else ""
        elif measure is None:
            values[name] = value
        else:
            assert value is None or isinstance(value, Quantity)
            values[name + KINDS[measure.kind].suffix] = value.si if value else None
            values[name + "_typed"] = value.typed if value else None
    return {k: v for k, v in values.items() if k in table.model_fields}


def build(table: type[T], data: FormIn, **more: Any) -> T:
    """A new row from checked form data."""
    return table(**columns(data, table), **more)


def change(row: SQLModel, data: FormIn) -> None:
    """Write checked form data onto a row."""
    for name, value in columns(data, type(row)).items():
        setattr(row, name, value)


def _says(typed: str, si: float | None, measure: Measure) -> bool:
    """Whether a text kept as typed is still read as what is in the book; older ones may say two things."""
    try:
        said = measure.read(typed, METRIC).si
    except UnitError:
        return False
    return si is not None and math.isclose(said, si, rel_tol=1e-9, abs_tol=1e-12)


def as_form(row: SQLModel, model: type[BaseModel], units: UnitSystem) -> dict[str, str]:
    """A row as the texts of its edit form: as typed where that was kept, else in the workshop's units."""
    texts: dict[str, str] = {}
    for name in model.model_fields:
        measure = measure_of(model, name)
        if is_money(model, name):
            amount = getattr(row, name, None)
            currency = str(getattr(row, currency_of(type(row), name), ""))
            texts[name] = "" if amount is None else str(Money(amount, currency))
        elif measure is None:
            value = getattr(row, name, None)
            texts[name] = "" if value is None else ("on" if value is True else str(value))
            if value is False:
                texts[name] = ""
        else:
            typed = getattr(row, name + "_typed", None)
            si = getattr(row, name + KINDS[measure.kind].suffix, None)
            kept = typed if typed and _says(typed, si, measure) else None
            texts[name] = kept or editable(si, measure.kind, measure.system(units))
    return texts
