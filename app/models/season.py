"""A season: the flights and static tests wanted, and the evenings the maker has for them."""

import secrets
from collections.abc import Iterator, Mapping
from datetime import date, datetime
from typing import Annotated, Literal

from pydantic import Field as FormField
from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field

from app.models.asking import When
from app.models.base import FormIn, Row, Utc, made_of, one_of
from app.models.hardware import Name
from app.models.money import Price
from app.units import Measure, Quantity

MATTERS = {"must": "it must be", "usual": "as usual", "spare": "if there is time"}
"""How much a wish matters, from what comes first to what is left out first."""

MOST_WISHED = 200
"""Flights or tests of one wish; more is a slip, for each needs a motor of its own."""


def new_uid() -> str:
    """A name for a season that no other has: calendars know its days by it."""
    return secrets.token_hex(16)


class Season(Row, table=True):
    """Wishes between two days, and when the maker casts.

    `weekdays` are the days of the week on which there is an evening, 1 for Monday to 7 for Sunday; `season_day` tells
    what is otherwise. `confidence_share` is how sure the good grains of every date together are to be enough.
    """

    __table_args__ = (
        UniqueConstraint("name"),
        CheckConstraint("begins_on < ends_on", name="days"),
        CheckConstraint("melts_per_evening >= 1", name="melts"),
        CheckConstraint("confidence_share > 0 AND confidence_share < 1", name="confidence"),
        CheckConstraint("budget IS NULL OR budget >= 0", name="budget"),
    )

    name: str
    begins_on: date
    ends_on: date
    weekdays: str = Field(default="", sa_column_kwargs=made_of("1-7", 7, least=0))
    melts_per_evening: int = 1
    confidence_share: float = 0.9
    spare_sets: bool = False
    budget: float | None = None
    budget_currency: str = ""
    uid: str = Field(default_factory=new_uid, sa_column_kwargs=made_of("0-9a-f", 32, least=32))
    note: str = ""


class SeasonDay(Row, table=True):
    """Days of a season that are not as its weekdays say: days off, or an evening more."""

    __tablename__ = "season_day"
    __table_args__ = (
        CheckConstraint("first_on <= last_on", name="days"),
        CheckConstraint("kind IN ('off', 'evening')", name="kind"),
        CheckConstraint("melts IS NULL OR (melts >= 1 AND kind = 'evening')", name="melts"),
    )

    season_id: int = Field(foreign_key="season.id", index=True)
    first_on: date
    last_on: date
    kind: str = Field(sa_column_kwargs=one_of("off", "evening"))
    melts: int | None = None
    why: str = ""


class Wish(Row, table=True):
    """Flights of a rocket to a height on a field, or static tests of a formula in a case, by a day.

    `comes_first`: the tests must be fired before more is cast of their formula than they need.
    """

    __table_args__ = (
        CheckConstraint("kind IN ('flight', 'test')", name="kind"),
        CheckConstraint("count >= 1", name="count"),
        CheckConstraint("matters IN ('must', 'usual', 'spare')", name="matters"),
        CheckConstraint(
            "kind = 'test' OR (rocket_id IS NOT NULL AND launch_field_id IS NOT NULL AND height_low_m IS NOT NULL "
            "AND height_high_m IS NOT NULL)",
            name="flight",
        ),
        CheckConstraint("kind = 'flight' OR (formula_id IS NOT NULL AND case_id IS NOT NULL)", name="test"),
        CheckConstraint("height_low_m IS NULL OR height_low_m <= height_high_m", name="heights"),
        CheckConstraint("struck_at IS NULL OR coalesce(length(struck_why), 0) > 0", name="struck_with_reason"),
    )

    season_id: int = Field(foreign_key="season.id", index=True)
    kind: str = Field(sa_column_kwargs=one_of("flight", "test"))
    count: int
    by_on: date
    matters: str = Field(default="usual", sa_column_kwargs=one_of(*MATTERS))
    rocket_id: int | None = Field(default=None, foreign_key="rocket.id")
    launch_field_id: int | None = Field(default=None, foreign_key="launch_field.id")
    height_low_m: float | None = None
    height_low_typed: str | None = None
    height_high_m: float | None = None
    height_high_typed: str | None = None
    formula_id: int | None = Field(default=None, foreign_key="formula.id")
    case_id: int | None = Field(default=None, foreign_key="motor_case.id")
    comes_first: bool = False
    note: str = ""
    struck_at: datetime | None = Field(default=None, sa_type=Utc)
    struck_why: str | None = None


class WishMotor(Row, table=True):
    """A motor that was built for a wish, where its grains and its rocket leave it open for which."""

    __tablename__ = "wish_motor"
    __table_args__ = (UniqueConstraint("motor_build_id"),)

    wish_id: int = Field(foreign_key="wish.id", index=True)
    motor_build_id: int = Field(foreign_key="motor_build.id")


# --- Forms -------------------------------------------------------------------------------------------------------

Height = Annotated[Quantity, Measure("altitude", ge=10, le=20000, usual=(40, 10000))]


class SeasonIn(FormIn):
    """The form of a season: from when to when, and its evenings."""

    name: Name
    begins_on: date = FormField(title="Casting from")
    ends_on: date = FormField(title="Last flight by")
    weekdays: list[Literal["1", "2", "3", "4", "5", "6", "7"]] = FormField([], title="Evenings for casting")
    melts_per_evening: int = FormField(ge=1, le=12, title="Melts an evening, at most")
    confidence: Annotated[Quantity, Measure("share", ge=0.5, le=0.99)] = FormField(
        title="How sure the grains are to be enough",
        description="Of all wishes together. 90 %: nine winters in ten need no further evening.",
    )
    spare_sets: bool = FormField(False, title="A spare set of grains for each field day")
    budget: Price | None = FormField(None, title="Budget", description="With its currency, such as € 80.")
    note: str = FormField("", max_length=2000, title="Note", json_schema_extra={"rows": 2})


class SeasonDayIn(FormIn):
    """The form for days off, or for one evening more."""

    whens = (When("kind", ("evening",), ("melts",)),)

    kind: Literal["off", "evening"] = FormField(title="What")
    first_on: date = FormField(title="From")
    last_on: date | None = FormField(None, title="To", description="Left empty: that one day.")
    melts: int | None = FormField(None, ge=1, le=12, title="Melts, at most", description="Left empty: as usual.")
    why: str = FormField("", max_length=300, title="Why")


class WishIn(FormIn):
    """The form of wanted flights."""

    @classmethod
    def contradictions(cls, read: Mapping[str, Quantity]) -> Iterator[tuple[str, str]]:
        """A lowest height above the highest."""
        low, high = read.get("height_low"), read.get("height_high")
        if low and high and low.si > high.si:
            yield "height_high", f"The highest ({high.typed}) lies below the lowest ({low.typed}); turn them round."

    count: int = FormField(ge=1, le=MOST_WISHED, title="How many flights")
    rocket_id: int = FormField(title="Rocket")
    height_low: Height = FormField(title="Height from")
    height_high: Height = FormField(title="Height up to")
    launch_field_id: int = FormField(title="Field")
    by_on: date = FormField(title="By")
    matters: Literal["must", "usual", "spare"] = FormField("usual", title="How much it matters")
    note: str = FormField("", max_length=300, title="Note")


class TestWishIn(FormIn):
    """The form of wanted static tests."""

    __test__ = False

    count: int = FormField(ge=1, le=MOST_WISHED, title="How many tests")
    formula_id: int = FormField(title="Formula")
    case_id: int = FormField(title="Case")
    by_on: date = FormField(title="By")
    matters: Literal["must", "usual", "spare"] = FormField("usual", title="How much it matters")
    comes_first: bool = FormField(False, title="Before more of this formula is cast")
    note: str = FormField("", max_length=300, title="Note")


class FiredForIn(FormIn):
    """The form that tells for which wish a motor was fired."""

    wish_id: int = FormField(title="It was for")
