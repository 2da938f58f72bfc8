"""Sheets of a workbook (.xlsx, .xls, .ods) as the text of a table, so that all that follows reads them as any other."""

import datetime
import io
import re
import zipfile
import zlib
from itertools import pairwise

import python_calamine

from app.calc.base.errors import CalcError

LARGEST = 2**30
"""What a workbook may hold unpacked [bytes]; more is no record of a stand."""

_ZIP, _OLE = b"PK\x03\x04", b"\xd0\xcf\x11\xe0"
_PASSWORD = "EncryptedPackage".encode("utf-16-le")
_NO_VALUE = re.compile(rb"(?:</f>|<f[^>]*/>)(?:<v></v>|<v ?/>)?</c>")
_DECIMAL_COMMA = re.compile(r"[+-]?[0-9]+,[0-9]+")
_OFFICE = b"application/vnd.oasis.opendocument.spreadsheet"

_LEAST_DATES = 10
_DAYS = 20_000.0, 80_000.0  # from 1954 to 2119
_LONGEST_STEP = 5e-6  # of a day: two samples a second; as seconds it were 200,000
_SINCE = datetime.datetime(1899, 12, 30)

_Cell = int | float | str | bool | datetime.time | datetime.date | datetime.datetime | datetime.timedelta


def is_workbook(raw: bytes) -> bool:
    """Tell whether a file is a workbook, by its content.

    Parameters
    ----------
    raw : bytes
        The file as it came [-].

    Returns
    -------
    bool
        Whether it is one, or would be without its password.

    References
    ----------
    ISO/IEC 29500-2 (parts of a package) and ISO/IEC 26300-3 (its `mimetype`), from memory.

    Examples
    --------
    >>> is_workbook(b"t,F")
    False
    """
    if raw.startswith(_OLE):
        return True
    if not raw.startswith(_ZIP):
        return False
    names = _names(raw)
    return "xl/workbook.xml" in names or "xl/workbook.bin" in names or _OFFICE in raw[:200]


def _names(raw: bytes) -> set[str]:
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as package:
            return set(package.namelist())
    except (zipfile.BadZipFile, ValueError, OSError):
        return set()


def sheets(raw: bytes) -> list[str]:
    """Give the names of the sheets of a workbook that hold anything.

    Parameters
    ----------
    raw : bytes
        The file as it came [-].

    Returns
    -------
    list of str
        Names, the one with the most rows first, the others in their order [-].

    Raises
    ------
    CalcError
        It has a password, is damaged or too large, or every sheet is empty.

    References
    ----------
    Read by python-calamine.

    Examples
    --------
    >>> sheets(b"PK")
    Traceback (most recent call last):
    app.calc.base.errors.CalcError: file: The workbook is damaged. Save it again, or send the sheet as CSV.
    """
    return _tables(raw)[1]


def _tables(raw: bytes) -> tuple[python_calamine.CalamineWorkbook, list[str]]:
    """The workbook, opened once, and its sheets as `sheets` gives them."""
    book = _opened(raw)
    found = {name: book.get_sheet_by_name(name) for name in book.sheet_names if _is_table(book, name)}
    rows = {name: sheet.height for name, sheet in found.items() if sheet.height and sheet.width}
    if not rows and _without_values(raw):
        raise _not_worked_out()
    if not rows:
        raise CalcError("file", "Every sheet of this workbook is empty.", "Choose the one with the record.")
    largest = max(rows, key=rows.__getitem__)
    return book, [largest, *(name for name in rows if name != largest)]


def _is_table(book: python_calamine.CalamineWorkbook, name: str) -> bool:
    kinds = {one.name: one.typ for one in book.sheets_metadata}
    return kinds.get(name) == python_calamine.SheetTypeEnum.WorkSheet


def sheet_text(raw: bytes, name: str = "") -> bytes:
    """Give a sheet as lines of cells parted by tabs.

    Parameters
    ----------
    raw : bytes
        The file as it came [-].
    name : str
        One of `sheets`; without it, the first of these [-].

    Returns
    -------
    bytes
        One line for each row of the sheet from its first, so that lines are its rows; numbers with a point. A column
        of days from 1954 to 2119 that rises by less than half a second a row is one of dates.

    Raises
    ------
    CalcError
        As `sheets`; there is no such sheet, or it holds formulas whose values were never worked out.

    References
    ----------
    Read by python-calamine.

    Examples
    --------
    >>> sheet_text(b"PK")
    Traceback (most recent call last):
    app.calc.base.errors.CalcError: file: The workbook is damaged. Save it again, or send the sheet as CSV.
    """
    book, names = _tables(raw)
    if name and name not in names:
        raise CalcError("sheet", f"There is no sheet “{name[:40]}” with anything in it.", "Choose another one.")
    sheet = book.get_sheet_by_name(name or names[0])
    rows = _with_dates(sheet.to_python(skip_empty_area=False))
    text = "\n".join("\t".join(_text(cell) for cell in row).rstrip("\t") for row in rows) + "\n"
    if _without_values(raw) > sheet.height // 2:
        raise _not_worked_out()
    return text.encode()


def _with_dates(rows: list[list[_Cell]]) -> list[list[_Cell]]:
    """Rows in which columns of dates that nobody formatted, days since 1900 as programs for sheets count, are dates."""
    dated: list[int] = []
    for column in range(max(map(len, rows), default=0)):
        days = [cell for row in rows if isinstance(cell := (row[column] if column < len(row) else ""), float)]
        if len(days) >= _LEAST_DATES and _DAYS[0] < min(days) and max(days) < _DAYS[1]:
            steps = sorted(b - a for a, b in pairwise(days))
            dated += [column] if steps[0] >= 0 and 0 < steps[len(steps) // 2] < _LONGEST_STEP else []
    for row in rows if dated else []:
        for column in dated:
            cell = row[column] if column < len(row) else ""
            if isinstance(cell, float):
                row[column] = _SINCE + datetime.timedelta(days=cell)
    return rows


def _not_worked_out() -> CalcError:
    return CalcError(
        "file",
        "This workbook holds formulas without their values.",
        "Open it in a program for sheets, save it there and send it again, or send it as CSV.",
    )


def _opened(raw: bytes) -> python_calamine.CalamineWorkbook:
    locked = CalcError("file", "This workbook has a password.", "Save it without one, or send the sheet as CSV.")
    if raw.startswith(_OLE) and _PASSWORD in raw:
        raise locked
    try:
        if raw.startswith(_ZIP):
            with zipfile.ZipFile(io.BytesIO(raw)) as package:
                if sum(part.file_size for part in package.infolist()) > LARGEST:
                    raise CalcError("file", "This workbook is too large unpacked.", "Send the one sheet as CSV.")
                manifest = "META-INF/manifest.xml"
                if manifest in package.namelist() and b"encryption-data" in package.read(manifest):
                    raise locked
        return python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(raw))
    except python_calamine.PasswordError:
        raise locked from None
    except (python_calamine.CalamineError, zipfile.BadZipFile, zlib.error, OSError, ValueError, RuntimeError) as error:
        if isinstance(error, CalcError):
            raise
        damaged = "The workbook is damaged." if raw.startswith(b"PK") else "This is an office file without sheets."
        raise CalcError("file", damaged, "Save it again, or send the sheet as CSV.") from None


def _without_values(raw: bytes) -> int:
    """How many cells of the sheets hold a formula and no value."""
    if not raw.startswith(_ZIP):
        return 0
    with zipfile.ZipFile(io.BytesIO(raw)) as package:
        parts = [n for n in package.namelist() if n.startswith("xl/worksheets/") and n.endswith(".xml")]
        return max((len(_NO_VALUE.findall(package.read(part))) for part in parts), default=0)


def _text(cell: _Cell) -> str:
    """A cell as a logger would have written it."""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        return repr(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, datetime.timedelta):
        whole, micro = divmod(round(cell.total_seconds() * 1e6), 1_000_000)
        return f"{whole // 3600:02d}:{whole // 60 % 60:02d}:{whole % 60:02d}.{micro:06d}"
    if isinstance(cell, (datetime.datetime, datetime.time)):
        return cell.isoformat(timespec="microseconds")
    words = str(cell)
    if _DECIMAL_COMMA.fullmatch(words):
        return words.replace(",", ".")
    return re.sub(r"[\t\r\n]+", " ", words)
