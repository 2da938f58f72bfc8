"""What is typed or sent to do harm: formulas for whoever opens a CSV, and file names that would like to be paths."""

import csv
import hashlib
import io
import re
import sqlite3
import zipfile
from pathlib import Path

import pytest

from app.book import export, filestore
from app.main import create_app
from app.settings import Settings
from tests.behind import browser_of, copied_with_files
from tests.routes import declared

FORMULA = "=cmd|' /C calc'!A1"
STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")
WORDS = re.compile(r"name|note|words|person|place|why|title|label|rules|reason|page|remark|comment")
NAMES = [
    "../../../etc/passwd",
    "..\\..\\x.csv",
    "C:\\x.csv",
    "/etc/passwd",
    "a\x00b.csv",
    "x" * 5000 + ".csv",
    "\u202ecsv.exe",
    "a\r\nX-Evil: 1.csv",
    '"; filename="b',
    "con",
    "",
    ".",
    "<b>x</b>.csv",
]


@pytest.fixture
def poisoned(demo_book: Path, tmp_path: Path) -> Path:
    """The demonstration book with a formula in every column of free words that takes one."""
    book = tmp_path / "book.sqlite3"
    copied_with_files(demo_book, book)
    with sqlite3.connect(book) as now:
        now.execute("BEGIN")  # each trigger would be a transaction of its own
        for (name,) in now.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            now.execute(f'DROP TRIGGER "{name}"')
        tables = [name for (name,) in now.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        poisoned = 0
        for table in tables:
            for column in now.execute(f'PRAGMA table_info("{table}")').fetchall():
                if column[2].upper().startswith(("VARCHAR", "TEXT")) and WORDS.search(column[1]):
                    done = now.execute(f'UPDATE OR IGNORE "{table}" SET "{column[1]}" = ? || rowid', (FORMULA,))
                    poisoned += done.rowcount > 0
    now.close()
    assert poisoned > 20
    return book


def _harmless(text: str, about: str) -> int:
    """No cell of a table begins like a formula, but for numbers; how many were made harmless."""
    met = 0
    for row in csv.reader(io.StringIO(text)):
        for cell in row:
            if cell.startswith(STARTS):
                assert re.fullmatch(r"[+-]?[0-9.]+(e[+-]?[0-9]+)?", cell, re.IGNORECASE), (about, cell)
            met += FORMULA in cell
    return met


@pytest.mark.promise(
    "No CSV runs as a formula; the name of a file is never a path",
    figure="every CSV address and table of the zip; 13 names",
)
def test_no_csv_of_the_book_runs_as_a_formula(poisoned: Path) -> None:
    """Every address that ends in .csv, found from the app, and every table of the zip with everything."""
    tables = [path for path in declared("GET") if path.endswith(".csv") and "{" not in path]
    assert len(tables) >= 3
    with browser_of(create_app(Settings(book=poisoned))) as client:
        met = 0
        for path in tables:
            answer = client.get(path)
            assert answer.status_code == 200
            assert answer.headers["content-type"].startswith("text/csv")
            met += _harmless(answer.text, path)
        assert met > 0
    whole = poisoned.with_suffix(".zip")
    export.write(poisoned, whole)
    with zipfile.ZipFile(whole) as content:
        names = [name for name in content.namelist() if name.endswith(".csv")]
        assert len(names) > 20
        assert sum(_harmless(content.read(name).decode("utf-8-sig"), name) for name in names) > 20


def test_the_name_of_a_file_is_never_a_path(demo_book: Path, tmp_path: Path) -> None:
    folder = tmp_path / "in" / "here"
    folder.mkdir(parents=True)
    book = folder / "book.sqlite3"
    copied_with_files(demo_book, book)
    with sqlite3.connect(book) as now:
        firing = now.execute("SELECT max(id) FROM firing").fetchone()[0]
    now.close()
    uploads = [path for path in declared("POST") if re.search(r"/(curve|altimeter|pictures?|import)$", path)]
    assert len(uploads) >= 2
    with browser_of(create_app(Settings(book=book))) as client:
        taken = 0
        for i, name in enumerate(NAMES):
            for path in uploads:
                raw = b"t,F\n" + b"".join(b"%.2f,%d\n" % (k / 10, i + k % 7) for k in range(40))
                token = b'--b\r\nContent-Disposition: form-data; name="once"\r\n\r\n%d\r\n' % (1000 * i + taken)
                head = b'--b\r\nContent-Disposition: form-data; name="file"; filename="' + _quoted(name)
                body = token + head + b'"\r\n\r\n' + raw + b"\r\n--b--\r\n"
                answer = client.post(
                    re.sub(r"\{[^}]+\}", str(firing), path),
                    content=body,
                    follow_redirects=False,
                    headers={"content-type": "multipart/form-data; boundary=b"},
                )
                assert answer.status_code in (303, 400, 404, 409, 422), (path, name[:20])
                assert "<b>x</b>" not in answer.text
                if answer.status_code == 303:
                    taken += 1
                    page = client.get(answer.headers["location"])
                    assert page.status_code in (200, 422)
                    assert "<b>x</b>" not in page.text
                    download = client.get(f"{answer.headers['location']}/file")
                    assert "x-evil" not in download.headers
    assert taken > 5
    beside = [p for p in tmp_path.rglob("*") if p.is_file() and not p.name.startswith("book.")]
    assert len(beside) > 5
    for file in beside:
        digest = hashlib.sha256(file.read_bytes()).hexdigest()
        assert file == filestore.place(filestore.folder_of(book), digest), "its name is made of what is in it"


def _quoted(name: str) -> bytes:
    """A file name as a browser puts it into a part's head; what it would quote is left as an attacker leaves it."""
    return name.encode("utf-8").replace(b"\r\n", b"%0D%0A") if "Evil" not in name else name.encode()
