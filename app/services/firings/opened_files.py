"""A logger's file that is open: its bytes, its sheets as texts, how it begins; a reading as the texts of its form."""

import json
from dataclasses import dataclass

from app.calc.record import logger_text, plain_text, workbook
from app.models.base import FormIn
from app.units import Quantity

HEAD = 14
"""Lines of a file that its page shows."""


class Opened:
    """A file taken from its place once; each sheet of it is made a text once.

    Raises
    ------
    CalcError
        By `sheets` and `text`: it is a workbook that cannot be opened, or no text.
    """

    def __init__(self, raw: bytes) -> None:
        self.raw = raw
        self._sheets: list[str] | None = None
        self._texts: dict[str, bytes] = {}

    @property
    def sheets(self) -> list[str]:
        """A workbook's sheets, the one with the most rows first; none of a text."""
        if self._sheets is None:
            self._sheets = workbook.sheets(self.raw) if workbook.is_workbook(self.raw) else []
        return self._sheets

    def text(self, sheet: str = "") -> bytes:
        """A sheet as text, or the file's own."""
        if sheet not in self._texts:
            self._texts[sheet] = plain_text.plain_text(self.raw, sheet)
        return self._texts[sheet]

    def known(self, sheet: str) -> str:
        """The sheet of that name; where there is none, the first one, or nothing of a text."""
        return sheet if sheet in self.sheets else next(iter(self.sheets), "")


@dataclass(frozen=True)
class Beginning:
    """The first lines of a file by their numbers, how many columns, what stands over these, a workbook's sheets."""

    rows: list[tuple[int, list[str]]]
    columns: int
    names: list[str]
    sheets: list[str]


def beginning(opened: Opened, first_line: int, delimiter: str, sheet: str = "") -> Beginning:
    """How a file, or a sheet of it, begins about the line that its numbers are said to begin in."""
    text = opened.text(sheet if sheet in opened.sheets else "")
    head = logger_text.first_lines(text, max(HEAD, min(first_line, 1000) + HEAD // 2))
    known = delimiter if delimiter in logger_text.DELIMITERS else "comma"
    rows = [(i, logger_text.cells(line, known)) for i, line in enumerate(head, start=1)]
    columns = max((len(cells) for _, cells in rows[-HEAD:]), default=1)
    over = [cells for i, cells in rows if i < first_line and len(cells) == columns]
    return Beginning(rows[-HEAD:], columns, over[-1] if over else [""] * columns, opened.sheets)


def as_texts(data: FormIn) -> dict[str, str]:
    """A reading as the texts of its form, to open the form again as it was filled in."""

    def text(value: object) -> str:
        if isinstance(value, Quantity):
            return value.typed
        if value is None or value is False:
            return ""
        return "on" if value is True else f"{value:.12g}" if isinstance(value, float) else str(value)

    texts = {name: text(getattr(data, name)) for name in type(data).model_fields if name != "points"}
    for i, point in enumerate(getattr(data, "points", [])):
        texts[f"points.{i}.mass"], texts[f"points.{i}.reading"] = text(point.mass), text(point.reading)
    return texts


def as_typed(data: FormIn) -> str:
    """The same as JSON, as it is kept beside what was read."""
    return json.dumps(as_texts(data))
