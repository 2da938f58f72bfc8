"""What the pages of a logger show, be it a stand's or an altimeter's: the files, one that is read, how far that is."""

from dataclasses import dataclass, field
from typing import Any

from pydantic import Field as FormField

from app.forms import Choice, Form
from app.models import Firing
from app.models.base import FormIn
from app.models.logger_file import LoggerFile
from app.page import Page
from app.services.firings.large_files import Reading
from app.services.firings.stands import Proposal
from app.services.motors.builds import Built

TEXT_CHOICES: dict[str, list[Choice]] = {
    "delimiter": [
        ("comma", "commas"),
        ("semicolon", "semicolons"),
        ("tab", "tabs"),
        ("blank", "blanks"),
        ("colon", "colons"),
    ],
    "decimal": [(".", "point: 0.5"), (",", "comma: 0,5")],
    "time_unit": [("s", "s"), ("ms", "ms"), ("us", "µs"), ("min", "min")],
}


class StopIn(FormIn):
    """Which reading is stopped."""

    reading: str = FormField(max_length=64)


@dataclass(frozen=True)
class Files:
    """The files of a firing on their page: those not read yet, earlier readings, and the form to send one.

    `base` is the address that a file's own begins with, `none` why the firing can have no such file; `lost` what is
    said of each that is missing or was altered.
    """

    base: str
    none: str
    unread: list[LoggerFile]
    earlier: list[Any]
    upload: Form
    throw_away: dict[int, Form]
    lost: dict[int, str]


@dataclass(frozen=True)
class Beginning:
    """How a file begins: its first lines with their numbers, how many columns they have, whether it has sheets."""

    base: str
    file: LoggerFile
    rows: list[tuple[int, list[str]]]
    columns: int
    workbook: bool


class FilesPage(Page, section="firings"):
    """What the pages of both kinds show: the files, and what was read out of the one that counts."""

    firing: Firing
    built: Built
    files: Files


@dataclass(frozen=True)
class Offered:
    """What is remembered of stands for a file that was never read: the reading it opened with, the others, and how far
    those of another shape differ; `again` is the sheet whose columns were guessed anew."""

    taken: Proposal | None = None
    others: list[Proposal] = field(default_factory=list)
    differing: Proposal | None = None
    again: str = ""


class ReadingPage(Page, section="firings"):
    """What the pages of both kinds show of a file that is being read."""

    built: Built
    begins: Beginning
    offered: Offered
    form: Form


class UnderWayPage(Page, template="firings/under_way.html", section="firings"):
    """A large file that is being read: how far, and a way to stop."""

    built: Built
    file: LoggerFile
    base: str
    reading: Reading
    stop: Form
