"""Who acts the story out: a session, the clock that is turned as it goes, and what the story calls things by."""

from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, TypeVar

from sqlmodel import Session, select

from app import clock
from app.models import Batch, MotorBuild
from app.models.base import FormIn
from app.services.book import audit_reasons, repository, workshop

Told = Mapping[str, Any]
F = TypeVar("F", bound=FormIn)


@dataclass
class Maker:
    """The demonstration's person, at work in a session."""

    session: Session
    turn: Callable[[datetime], None]
    start: datetime = field(default_factory=clock.now)
    lots: dict[int, Batch] = field(default_factory=dict)
    seen: Mapping[str, str] = field(default_factory=dict)
    older: int = 0  # lots and motors of more days ago have the codes that older books gave

    @property
    def person(self) -> str:
        """The name that the workshop goes by."""
        return workshop.get(self.session).person

    def signed(self) -> AbstractContextManager[None]:
        """What is done meanwhile stands in the record under the person's name."""
        return audit_reasons.signed(self.session, self.person)

    def at(self, days_ago: int, hour: int = 10) -> None:
        """Turn the clock to an hour of a day of the story."""
        day = clock.local(self.start) - timedelta(days=days_ago)
        self.turn(day.replace(hour=hour, minute=0, second=0, microsecond=0))

    def wait(self, minutes: float) -> None:
        """Turn the clock on."""
        self.turn(clock.now() + timedelta(minutes=minutes))

    def code(self, row: Batch | MotorBuild, head: str, tail: str) -> None:
        """Give a row of long ago the code that a book of then gave it, such as 25K3 or M25K-02."""
        if (self.start - clock.now()).days < self.older:
            return
        day = clock.today()
        prefix = f"{head}{day:%y}{'ABCDEFGHIJKL'[day.month - 1]}{tail}"
        row.code = f"{prefix}{repository.next_number(self.session, type(row).code, prefix):0{1 + bool(tail)}d}"
        self.session.flush()

    def named(self, table: type[Any], name: str) -> int:
        """The identity of what the workshop owns by that name."""
        row = self.session.exec(select(table).where(table.name == name)).first()
        assert row is not None, f"the story names {name}, which the workshop does not own"
        return int(row.pk)

    def form(self, model: type[F], told: Told, **more: Any) -> F:
        """What the story tells, as a form takes it."""
        texts = {k: v for k, v in {**told, **more}.items() if k in model.model_fields and v is not None}
        return model.model_validate(texts)
