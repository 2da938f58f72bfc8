"""Sheets of workbooks read as text, and a clear word for each workbook and file that holds no record."""

import zipfile
from io import BytesIO

import numpy as np
import pytest

from app.calc.base.errors import CalcError
from app.calc.record.logger_text import guess_layout
from app.calc.record.plain_text import plain_text
from app.calc.record.runs import read_table
from app.calc.record.workbook import sheets
from tests.calc.record.workbooks import Rows, ods, xlsx

T = np.arange(60) / 50
F = np.round(200 * np.sin(np.pi * T / 1.18) ** 2, 3)
RECORD: Rows = [["Stand of May"], ["Time (s)", "Force (N)"], *zip(T.tolist(), F.tolist(), strict=True)]
NOTES: Rows = [["Weather"], ["fine"]]


@pytest.mark.parametrize("made", [xlsx, ods])
def test_the_sheet_with_the_record_is_read_and_another_can_be_chosen(made: object) -> None:
    raw = made({"Notes": NOTES, "Log": RECORD, "Nothing": []})  # type: ignore[operator]
    assert sheets(raw) == ["Log", "Notes"]
    text = plain_text(raw)
    layout = guess_layout(text)
    assert (layout.first_line, layout.names) == (3, ("Time (s)", "Force (N)"))
    assert read_table(text, layout, [1, 2]).columns.tolist() == [T.tolist(), F.tolist()]
    assert plain_text(raw, "Notes") == b"Weather\nfine\n"
    with pytest.raises(CalcError, match="no sheet “Other”"):
        plain_text(raw, "Other")


def test_text_in_cells_is_read_as_a_file_would_be() -> None:
    """A file opened with the wrong delimiter stands in the first column, one with decimal commas as words."""
    pairs = list(zip(T.tolist(), F.tolist(), strict=True))
    for rows in ([[f"{t:.2f};{f:.3f}"] for t, f in pairs], [[f"{t:.2f}".replace(".", ","), f] for t, f in pairs]):
        text = plain_text(xlsx({"Log": rows}))
        assert read_table(text, guess_layout(text), [1, 2]).columns.tolist() == [T.tolist(), F.tolist()]


def zipped(name: str, content: bytes = b"words") -> bytes:
    stream = BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        archive.writestr(name, content)
    return stream.getvalue()


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (xlsx({"Log": []}), "Every sheet of this workbook is empty"),
        (xlsx({"Log": RECORD}, values=False), "formulas without their values"),
        (xlsx({"Log": RECORD})[:900], "a zip archive|damaged"),
        (ods({"Log": RECORD}, locked=True), "has a password"),
        (b"\xd0\xcf\x11\xe0" + b"\0" * 600 + "EncryptedPackage".encode("utf-16-le"), "has a password"),
        (b"\xd0\xcf\x11\xe0" + b"\0" * 600, "an office file without sheets"),
        (zipped("log.csv"), "a zip archive, .*Unpack it"),
        (zipped("xl/workbook.xml", b"<workbook"), "damaged"),
        (b"\x7fELF\x02\x01\x01\0", "a program"),
        (b"MZ\x90\0\x03", "a program"),
        (b"II*\0\x08", "a picture"),
        (b"BM\x36\0\0", "a picture"),
        (b"<!DOCTYPE html><p>1,2", "a web page"),
        (b"%PDF-1.7", "a PDF"),
    ],
)
def test_what_holds_no_record_is_told_by_its_content(raw: bytes, words: str) -> None:
    with pytest.raises(CalcError, match=words) as fault:
        plain_text(raw)
    assert fault.value.field == "file"
    assert fault.value.remedy


@pytest.mark.parametrize("head", [b"BM,F\n", b"MZ;F\n", b"PK1,F\n"])
def test_a_header_that_begins_like_another_kind_is_a_header(head: bytes) -> None:
    assert plain_text(head + b"1,2\n") == head + b"1,2\n"
