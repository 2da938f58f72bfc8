"""The motor that the maker chose for a wish, with the reason, and the drills that a throat can be opened with."""

import re
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any

from pydantic import BeforeValidator
from pydantic import Field as FormField
from sqlalchemy import CheckConstraint, Index, UniqueConstraint, text
from sqlmodel import Field, Relationship

from app.models.base import FormIn, Row, Utc
from app.units import Measure, Quantity


class Drill(Row, table=True):
    """A drill or reamer of the workshop; its name is its diameter as typed."""

    __table_args__ = (UniqueConstraint("diameter_m"), CheckConstraint("diameter_m > 0", name="diameter"))

    name: str
    diameter_m: float
    retired: bool = False
    note: str = ""


class MotorChoice(Row, table=True):
    """A design kept for a wish: case, nozzle, throat, formula and grains, with what was expected of it that day.

    Never rewritten: another choice is another row, and the earlier one is given up with its reason. `throat_d_m` is
    the throat that the design flies with; with `drill_id` the nozzle is still to be drilled to it. `figures_json` is
    what the page showed: height, peak pressure, speed off the rail, each with its range.
    """

    __tablename__ = "motor_choice"
    __table_args__ = (
        CheckConstraint("throat_d_m > 0", name="throat"),
        CheckConstraint("given_up_at IS NULL OR coalesce(length(given_up_why), 0) > 0", name="given_up_with_reason"),
        Index("uq_motor_choice_standing", "wish_id", unique=True, sqlite_where=text("given_up_at IS NULL")),
    )

    wish_id: int = Field(foreign_key="wish.id", index=True)
    chosen_at: datetime = Field(sa_type=Utc)
    person: str = ""
    why: str = ""
    case_id: int = Field(foreign_key="motor_case.id")
    nozzle_id: int = Field(foreign_key="nozzle.id")
    drill_id: int | None = Field(default=None, foreign_key="drill.id")
    throat_d_m: float
    formula_id: int = Field(foreign_key="formula.id")
    figures_json: str = "{}"
    given_up_at: datetime | None = Field(default=None, sa_type=Utc)
    given_up_why: str | None = None
    grains: list["ChoiceGrain"] = Relationship(
        sa_relationship_kwargs={"order_by": "ChoiceGrain.position", "lazy": "selectin"}
    )

    @property
    def counts(self) -> dict[int, int]:
        """How many grains of each pattern, by the pattern's identity."""
        found: dict[int, int] = {}
        for grain in self.grains:
            found[grain.pattern_id] = found.get(grain.pattern_id, 0) + grain.count
        return found


class ChoiceGrain(Row, table=True):
    """So many grains of one pattern in a chosen motor, from the closure (position 1) to the nozzle."""

    __tablename__ = "choice_grain"
    __table_args__ = (UniqueConstraint("motor_choice_id", "position"), CheckConstraint("count >= 1", name="count"))

    motor_choice_id: int = Field(foreign_key="motor_choice.id", index=True)
    position: int
    pattern_id: int = Field(foreign_key="grain_pattern.id")
    count: int


class DrillIn(FormIn):
    """The form of a drill."""

    diameter: Annotated[Quantity, Measure("length", ge=0.0005, le=0.3, usual=(0.001, 0.06))] = FormField(
        title="Diameter"
    )
    note: str = FormField("", max_length=300, title="Note")


class ChoiceIn(FormIn):
    """What is asked when a design is kept for a wish; which design is told by the page."""

    why: str = FormField("", max_length=300, title="Why this one")


class KeepMotorIn(ChoiceIn):
    """A motor of a search, kept for its wish: which answer it stands in, and at which place."""

    answer: str = FormField(min_length=64, max_length=64, title="Answer")
    place: int = FormField(ge=0, le=1000, title="Place")


LONGEST_DELAY_S = 120.0
"""Of an ejection delay that a form takes [s]; more is a slip."""


@dataclass(frozen=True)
class Delays:
    """Ejection delays that can be had [s], from the shortest on; none where the motor's charge opens nothing."""

    seconds: tuple[float, ...] = ()

    def __str__(self) -> str:
        """As they stand in a form.

        >>> str(Delays((4.0, 6.5))), str(Delays())
        ('4, 6.5 s', 'none')
        """
        return ", ".join(f"{one:g}" for one in self.seconds) + " s" if self.seconds else "none"


def read_delays(text: Any) -> Delays | None:
    """The delays in a text; nothing in an empty one.

    >>> read_delays("8 s, 4 s and 6.5"), read_delays("none"), read_delays(" ")
    (Delays(seconds=(4.0, 6.5, 8.0)), Delays(seconds=()), None)

    Raises
    ------
    ValueError
        It is no list of seconds, or can be read in two ways; the message says what to type.
    """
    if text is None or isinstance(text, Delays):
        return text
    words = " ".join(str(text).split()).lower()
    if not words:
        return None
    if words in ("none", "no", "–", "-"):
        return Delays()
    if unclear := re.search(r"\d+,\d+", words):
        one, other = unclear[0].split(",")
        raise ValueError(
            f"Is “{unclear[0]}” {one}.{other} s, or {one} s and {other} s? Type a point, or a space between."
        )
    parts = re.split(r"\s*(?:,|;|/|\band\b|\s)\s*", re.sub(r"(?<=[\d.\s])s(?:ec|econds?)?\b", " ", words).strip(" ,;"))
    found = sorted({float(part) for part in parts if re.fullmatch(r"\d{1,3}(?:\.\d{1,3})?", part)})
    if not found or any(part and not re.fullmatch(r"\d{1,3}(?:\.\d{1,3})?", part) for part in parts):
        raise ValueError("Write delays in seconds, such as 4, 6, 8; or “none” where the motor's charge opens nothing.")
    if found[-1] > LONGEST_DELAY_S:
        raise ValueError(f"At most {LONGEST_DELAY_S:g} s; check the numbers.")
    return Delays(tuple(found))


class LookIn(FormIn):
    """What a search for motors is begun with: a wind and ejection delays to plan for, and whether only of what lies on
    the shelf.
    """

    wind: Annotated[Quantity, Measure("speed", ge=0, le=20, usual=(0, 12))] | None = FormField(
        None, title="Wind to plan for", description="A mean near the ground; gusts are taken half as strong again."
    )
    delays: Annotated[Delays, BeforeValidator(read_delays)] | None = FormField(
        None,
        title="Ejection delays you can have",
        description="If the motor's charge opens the parachute, such as 4, 6, 8 s; else “none”.",
    )
    shelf: bool = FormField(False, title="Only of grains that lie on the shelf")
