"""Loggers of a stand and of an altimeter: their files kept as they came, and what was read out of each, as told.

What is a logger's own (how its text is read, what becomes of what was read) is in its `Logger`: `curves.STAND` and
`altimeters.ALTIMETER`, whose files and readings lie in tables of the same shape.
"""

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from pydantic import BaseModel
from sqlmodel import Session, col, select

from app.calc.base.errors import CalcError
from app.calc.record import logger_text, plain_text
from app.errors import NotFound, Refused
from app.models import AltimeterTrack, Curve, Firing
from app.models.logger_file import LayoutIn, LoggerFile
from app.services.book import stored_files
from app.services.firings import samples, stands
from app.services.firings.opened_files import Opened
from app.services.firings.stands import Proposal

F = TypeVar("F", bound=LoggerFile)
R = TypeVar("R", Curve, AltimeterTrack)
X = TypeVar("X", bound=BaseModel)


@dataclass(frozen=True)
class Counting(Generic[F, R, X]):
    """The reading of a firing that counts, the file it was read out of, and what it says."""

    row: R
    file: F
    result: X


@dataclass(frozen=True)
class Begun:
    """What a form begins with, and the remembered reading that it was taken from, if it was."""

    texts: dict[str, str]
    taken: Proposal | None


@dataclass(frozen=True)
class Logger(Generic[F, R, X]):
    """One kind of logger.

    Attributes
    ----------
    file_table, reading_table, result : type
        The rows of its files and readings, and what a reading keeps of what was read.
    limit : int
        Largest file taken [bytes].
    firing, gives : str
        What it is of, and what is read out of it, in words.
    has_none : callable
        Why a firing can have no such record, in words; "" where it can.
    guess : callable
        How a text that was never read is probably to be read, as texts of the form: session, text.
    read : callable
        What a file holds when it is read as a form says: session, firing, its row, the file, form data.
    proposals : callable, optional
        What is remembered of the stands that such a file may be of: session, file.
    """

    file_table: type[F]
    reading_table: type[R]
    result: type[X]
    limit: int
    firing: str
    gives: str
    has_none: Callable[[Firing], str]
    guess: Callable[[Session, bytes], dict[str, str]]
    read: Callable[[Session, Firing, F, Opened, Any], Any]
    proposals: Callable[[Session, Opened], list[Proposal]] = lambda _session, _opened: []

    def files(self, session: Session, firing: Firing) -> list[F]:
        """The files of a firing, newest first."""
        table = self.file_table
        return list(session.exec(select(table).where(table.firing_id == firing.pk).order_by(col(table.id).desc())))

    def file(self, session: Session, firing: Firing, file_id: int) -> F:
        """One file of a firing.

        Raises
        ------
        NotFound
            The firing has no such file.
        """
        found = next((f for f in self.files(session, firing) if f.pk == file_id), None)
        if found is None:
            raise NotFound("This firing has no such file.")
        return found

    def readings(self, session: Session, firing: Firing) -> list[R]:
        """What was read out of a firing's files, newest first; the first one counts."""
        table = self.reading_table
        return list(session.exec(select(table).where(table.firing_id == firing.pk).order_by(col(table.id).desc())))

    def unread(self, session: Session, firing: Firing) -> list[F]:
        """Files that nothing was read out of yet."""
        read = {row.file_id for row in self.readings(session, firing)}
        return [f for f in self.files(session, firing) if f.pk not in read]

    def counting(self, session: Session, firing: Firing) -> Counting[F, R, X] | None:
        """The reading that counts for a firing, if there is one."""
        newest = next(iter(self.readings(session, firing)), None)
        if newest is None:
            return None
        file = self.file(session, firing, newest.file_id)
        return Counting(newest, file, self.result.model_validate_json(newest.result_json))

    def newest(self, session: Session, firing: Firing) -> R:
        """The row of the reading that counts.

        Raises
        ------
        Refused
            Nothing was read out of a file of the firing.
        """
        rows = self.readings(session, firing)
        if not rows:
            raise Refused(f"Nothing was read out of a file of this {self.firing} yet.")
        return rows[0]

    def allow(self, firing: Firing) -> None:
        """Pass a firing that can have such a record.

        Raises
        ------
        Refused
            It cannot; beside the file.
        """
        if words := self.has_none(firing):
            raise Refused(f"{words} Correct the firing first.", field="file")

    def take_in(self, session: Session, firing: Firing, name: str, raw: bytes) -> F:
        """Keep a logger's file as it came; the same file sent again is the one that is there.

        Raises
        ------
        Refused
            The firing can have no such record, the file is too large, or it is no text with numbers; beside the file.
        """
        self.allow(firing)
        if len(raw) > self.limit:
            raise Refused(self.too_large(), field="file")
        if not name and not raw:
            raise Refused("Choose the file that the logger wrote.", field="file")
        try:
            logger_text.guess_layout(plain_text.plain_text(raw))
        except CalcError as error:
            raise samples.refusal(error) from None
        digest = stored_files.keep(session, raw)
        same = next((f for f in self.files(session, firing) if f.sha256 == digest), None)
        if same is not None:
            return same
        row = self.file_table(firing_id=firing.pk, name=name or "no name", sha256=digest, size_bytes=len(raw))
        session.add(row)
        session.flush()
        return row

    def throw_away(self, session: Session, firing: Firing, file_id: int) -> None:
        """Take a file out of the book that nothing was read out of; the next start lets go of its bytes.

        Raises
        ------
        Refused
            Something was read out of it.
        """
        row = self.file(session, firing, file_id)
        if row not in self.unread(session, firing):
            raise Refused(f"{self.gives} was read out of this file; it stays as its source.")
        session.delete(row)
        session.flush()

    def opened(self, session: Session, row: F) -> Opened:
        """The file, as it lies in its place.

        Raises
        ------
        FileLost
            It is missing, or is not what it was.
        """
        return Opened(stored_files.read(session, row))

    def texts_for(self, session: Session, firing: Firing, row: F) -> dict[str, str]:
        """What the reading form begins with: how the file was read last, or as `begin` says.

        Raises
        ------
        FileLost
            It was never read, and is missing or is not what it was.
        """
        last = self.read_last(session, firing, row)
        if last is not None:
            return last
        opened = self.opened(session, row)
        return self.begin(session, opened, self.proposals(session, opened)).texts

    def read_last(self, session: Session, firing: Firing, row: F) -> dict[str, str] | None:
        """How a file was read last, as texts of the form; nothing where it never was."""
        last = next((one for one in self.readings(session, firing) if one.file_id == row.pk), None)
        return None if last is None else dict(json.loads(last.reading_json))

    def begin(
        self, session: Session, opened: Opened, proposals: Sequence[Proposal], taken: int | None = None, sheet: str = ""
    ) -> Begun:
        """What the form of a file never read begins with: a stand's reading where the file is of its shape, or a guess.

        `taken` is the number of the remembered reading that is wanted, 0 for none; without it the first that fits.
        """
        wanted = [one for one in proposals if not one.differs and taken in (None, one.row.pk) and not sheet]
        sheet = opened.known(wanted[0].texts.get("sheet", "") if wanted else sheet)
        guess = {**self.guess(session, opened.text(sheet if opened.sheets else "")), "sheet": sheet, "of_sheet": sheet}
        return Begun(stands.begin_with(wanted[0], guess), wanted[0]) if wanted else Begun(guess, None)

    def preview(self, session: Session, firing: Firing, row: F, opened: Opened, data: LayoutIn) -> Any:
        """What a file holds when it is read so; nothing is kept.

        Raises
        ------
        Refused
            It cannot be read so; beside the field.
        StillReading
            It is large, and read aside.
        """
        try:
            opened.text(data.sheet)
        except CalcError as error:
            raise samples.refusal(error) from None
        return self.read(session, firing, row, opened, data)

    def too_large(self) -> str:
        """What is said of a file over the limit."""
        return (
            f"The file is larger than {self.limit // 1024**2} MB. Cut it to the seconds that matter, or record with "
            "fewer samples a second."
        )
