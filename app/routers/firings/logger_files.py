"""What the pages of a stand's files and of an altimeter's share: how a file begins, and how it comes and goes."""

from urllib.parse import quote

from fastapi.responses import Response

from app.calc.record import logger_text
from app.forms import Choice, Form
from app.models.logger_file import LoggerFile

HEAD = 14
"""Lines of the file that the reading page shows."""

TEXT_CHOICES: dict[str, list[Choice]] = {
    "delimiter": [("comma", "commas"), ("semicolon", "semicolons"), ("tab", "tabs"), ("blank", "blanks")],
    "decimal": [(".", "point: 0.5"), (",", "comma: 0,5")],
    "time_unit": [("s", "s"), ("ms", "ms"), ("us", "µs")],
}

TAKEN_IN = "The file is in the book as it came. Now say how to read it."
READ = "Read and kept. The file stays beside it."


def beginning(text: bytes, form: Form) -> tuple[list[tuple[int, list[str]]], int, list[Choice]]:
    """The first lines of a file with their numbers, how many columns they have, and the columns as choices."""
    first = _whole(form.text("first_line"))
    head = logger_text.first_lines(text, max(HEAD, min(first, 1000) + HEAD // 2))
    delimiter = form.text("delimiter") if form.text("delimiter") in logger_text.DELIMITERS else "comma"
    rows = [(i, logger_text.cells(line, delimiter)) for i, line in enumerate(head, start=1)]
    columns = max((len(cells) for _, cells in rows[-HEAD:]), default=1)
    names = _names(rows, first, columns)
    numbered = [(str(i), f"column {i}: {name}" if name else f"column {i}") for i, name in enumerate(names, start=1)]
    return rows[-HEAD:], columns, numbered


def _whole(text: str) -> int:
    return int(text) if text.isdecimal() and len(text) < 6 else 1


def _names(rows: list[tuple[int, list[str]]], first_line: int, columns: int) -> list[str]:
    heads = [cells for i, cells in rows if i < first_line and len(cells) == columns]
    return heads[-1] if heads else [""] * columns


def as_it_came(row: LoggerFile) -> Response:
    """A logger's file as a download under its own name."""
    head = {"Content-Disposition": f"attachment; filename*=UTF-8''{quote(row.name, safe='')}"}
    return Response(row.raw, media_type="application/octet-stream", headers=head)
