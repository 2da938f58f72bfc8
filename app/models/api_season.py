"""What the compute API takes and gives of a season's casting: dates as YYYY-MM-DD, counts whole."""

import re
from datetime import date
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from app.models.api import ApiIn, ApiOut, Mass, Parts, Share

FIRST_YEAR, LAST_YEAR = 1900, 2999
"""Days before and after are slips."""

_WRITTEN = re.compile(r"\d{4}-\d{2}-\d{2}")


def _read_day(text: Any) -> date:
    if isinstance(text, str) and _WRITTEN.fullmatch(text):
        day = date.fromisoformat(text)
        if not FIRST_YEAR <= day.year <= LAST_YEAR:
            raise ValueError(f"Give a day from {FIRST_YEAR} to {LAST_YEAR}.")
        return day
    raise ValueError("Write the day as YYYY-MM-DD, such as 2027-04-30.")


Day = Annotated[date, BeforeValidator(_read_day)]
Name = Annotated[str, Field(min_length=1, max_length=80)]
Count = Annotated[int, Field(ge=1, le=1000)]
Kilograms = Annotated[float, Field(ge=0, le=1000)]


class WantedFlightIn(ApiIn):
    """Flights wanted by a day, or static tests."""

    name: Name = Field(title="Name")
    count: Count = Field(title="How many")
    grains: Annotated[dict[Name, Annotated[int, Field(ge=1, le=100)]], Field(min_length=1, max_length=12)] = Field(
        title="Grains of one", description="How many of each pattern are in one motor."
    )
    by: Day = Field(title="By")
    priority: Annotated[int, Field(ge=1, le=9)] = Field(
        1,
        title="Priority",
        description="1 matters most. Where not everything can be cast, the plan is of what can, the highest numbers "
        "given up first; if all are alike, there is none then.",
    )
    kind: Literal["flight", "test"] = Field(
        "flight", title="Kind", description="A test comes before its formula's further melts."
    )


class OnShelfIn(ApiIn):
    """Good grains on the shelf."""

    pattern: Name = Field(title="Pattern")
    count: Annotated[int, Field(ge=0, le=5000)] = Field(title="How many")
    ready: Day = Field(title="Ready", description="Cured and dry from this day on.")


class PatternIn(ApiIn):
    """A grain to cast."""

    mass_kg: Mass = Field(title="Mass", description="Of the propellant of one grain.")
    formula: Name = Field(title="Formula", description="Its name; a melt is of one formula.")


class DeliveryIn(ApiIn):
    """What comes of an ingredient. What is there already is a delivery too, on any day before the first evening."""

    ingredient: Name = Field(title="Ingredient")
    kg: Kilograms = Field(title="How much")
    on: Day = Field(title="On")


Rejects = Annotated[list[Annotated[int, Field(ge=0, le=1_000_000)]], Field(min_length=2, max_length=2)]


class SeasonPlanIn(ApiIn):
    """Flights wanted, what there is, and the evenings to cast on."""

    flights: list[WantedFlightIn] = Field(max_length=400, title="Flights wanted")
    shelf: list[OnShelfIn] = Field([], max_length=2000, title="On the shelf")
    patterns: Annotated[dict[Name, PatternIn], Field(max_length=40)] = Field(title="Patterns", description="By name.")
    pan_kg: Annotated[float, Field(gt=0, le=1000)] = Field(title="The pan holds", description="Of melt, safely.")
    over_pour: Share = Field(0.05, title="Over-pour", description="Share added to the grains for what stays behind.")
    test_pieces_kg: Kilograms = Field(0.0, title="Test pieces", description="Poured beside the grains of each melt.")
    tools: Annotated[dict[Name, Annotated[int, Field(ge=0, le=1000)]], Field(max_length=40)] = Field(
        {}, title="Tools", description="Sets of tube and rod of each pattern: grains in a melt. Left out: no limit."
    )
    evenings: list[Day] = Field(max_length=800, title="Evenings", description="Days on which there may be melts.")
    melts_per_evening: Annotated[int, Field(ge=1, le=24)] = Field(1, title="Melts an evening, at most")
    cure_days: Annotated[int, Field(ge=0, le=365)] = Field(
        7, title="Cure", description="Days from the melt to the first day on which its grains may be flown."
    )
    rejects: Annotated[dict[Name, Rejects], Field(max_length=40)] = Field(
        {},
        title="Rejects",
        description="Of each pattern how many were rejected, and how many were cast, rejects included. [0, 0] is a "
        "record of nothing: a stated prior then speaks. A pattern left out: every grain counts as good.",
    )
    confidence: Annotated[float, Field(ge=0, le=0.999)] = Field(
        0.9, title="Confidence", description="Chance that on each day all patterns together are enough."
    )
    deliveries: list[DeliveryIn] = Field(
        [], max_length=400, title="Deliveries", description="An ingredient that is not named is never short."
    )
    formulas: Annotated[dict[Name, Parts], Field(max_length=40)] = Field(
        {},
        title="Formulas",
        description="Their blends, for the deliveries. Of a formula left out, all of it counts as each ingredient "
        "named there: safe whatever it is made of.",
    )
    remelt_kg: Annotated[dict[Name, Kilograms], Field(max_length=40)] = Field(
        {}, title="Remelt", description="Leftovers by formula; they save ingredients."
    )
    remelt_limit: Share = Field(0.15, title="Remelt limit", description="Largest share of remelt in a melt.")
    tube_held_h: Annotated[float, Field(ge=0, le=8760)] = Field(
        0.0,
        title="Hours that a tube is held",
        description="By a poured grain. Above 0, tools serve one melt of an evening, and none before they are free.",
    )
    most_held_kg: Annotated[float, Field(gt=0, le=10_000)] | None = Field(
        None, title="Most propellant held", description="At once: each grain from its melt until it is flown."
    )


class PlannedMeltOut(ApiOut):
    """One melt."""

    formula: str
    grains: dict[str, int] = Field(description="Of each pattern.")


class PlannedEveningOut(ApiOut):
    """The melts of an evening."""

    date: date
    melts: list[PlannedMeltOut]


class SeasonPlanOut(ApiOut):
    """Fewest evenings, then fewest melts, then the earliest. A plan is no permission: local law comes first."""

    feasible: bool = Field(description="Whether all that is wanted can be cast in time.")
    why_not: str = Field(description="What stands in the way and what would lift it; empty where nothing does.")
    cast: dict[str, int] = Field(description="Grains to cast of each pattern, rejects counted on.")
    evenings: list[PlannedEveningOut]
    evening_count: int
    melt_count: int
    stopped: list[str] = Field(
        description="What was searched for when its time was over, in words; empty where proven."
    )
    gap: float = Field(description="How far evenings, melts or days may lie above the least, as a share; 0: proven.")
