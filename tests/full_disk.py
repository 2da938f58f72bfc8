"""A person who goes on saving on a disk that fills up; run on a small disk of its own, see `tests/test_troubles.py`.

Prints, as JSON, what was acknowledged, what the refused save said, and what is in the book at the end.
"""

import json
import sqlite3
import sys
from contextlib import closing
from pathlib import Path

from app.book import bookfile
from app.main import create_app
from app.settings import Settings
from tests.behind import backups_of, browser_of, engine_of
from tests.browse import Page

PAGE = "/workshop/supplies/new"
BAG = {"ingredient": "potassium_nitrate", "mass": "10 kg", "received_on": "2026-11-01", "note": "x" * 1900}


def main(folder: Path) -> dict[str, object]:
    """Save bags until the disk is full, then make room and save the refused one again."""
    ballast = folder / "ballast"
    ballast.write_bytes(bytes(1_500_000))
    book = folder / "book.sqlite3"
    app = create_app(Settings(book=book))
    saved = 0
    with browser_of(app, follow_redirects=False) as person:
        blank = Page(person.get(PAGE).text).forms["form"].fields

        def save() -> tuple[int, str]:
            answer = person.post(PAGE, data=blank | BAG | {"mark": f"bag {saved}", "once": f"token {saved}"})
            return answer.status_code, answer.text

        while (refused := save())[0] == 303:
            saved += 1
        read = person.get("/").status_code
        backups_of(app).take()
        trouble = backups_of(app).standing().trouble
        ballast.unlink()
        again = save()[0]
    engine_of(app).dispose()
    with closing(sqlite3.connect(book)) as connection:
        bookfile.prove(connection, book)
        bags = connection.execute("SELECT count(*) FROM supply").fetchone()[0]
    return {
        "saved": saved,
        "status": refused[0],
        "said": refused[1],
        "read": read,
        "copy": trouble,
        "again": again,
        "bags": bags,
    }


if __name__ == "__main__":
    print(json.dumps(main(Path(sys.argv[1]))))
