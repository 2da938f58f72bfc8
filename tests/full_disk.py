"""A person who goes on saving on a disk that fills up; run on a small disk of its own, see `tests/test_troubles.py`.

Prints, as JSON, what was acknowledged, what the refused save said, and what is in the book at the end.
"""

import json
import sqlite3
import sys
from contextlib import closing
from pathlib import Path

from fastapi import FastAPI
from fastapi.testclient import TestClient

from app.book import bookfile, filestore
from app.db import writing
from app.main import create_app
from app.settings import Settings
from tests import build
from tests.behind import backups_of, browser_of, engine_of
from tests.browse import Page

PAGE = "/workshop/supplies/new"
BAG = {"ingredient": "potassium_nitrate", "mass": "10 kg", "received_on": "2026-11-01", "note": "x" * 1900}


def send_files(app: FastAPI, person: TestClient) -> list[int]:
    """Send files of a logger until the disk has no room for one, and how each was answered."""
    with writing(engine_of(app)) as session:
        build.state_pan(session)
        firing = build.bare_firing(session, build.bare_motor(session, build.ready_grains(session, 1)))
        address = f"/firings/{firing.pk}/curve"
        session.commit()
    answers: list[int] = []
    while not answers or answers[-1] == 303:
        lines = (f"{i}.0,{len(answers)},{i * i}" for i in range(30_000))
        fields = Page(person.get(address).text).forms["form"].fields
        raw = "\n".join(("t,F,p", *lines)).encode()
        answers.append(person.post(address, data=fields, files={"file": ("a.csv", raw, "text/csv")}).status_code)
    return answers


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
        sent = send_files(app, person)
    engine_of(app).dispose()
    with closing(sqlite3.connect(book)) as connection:
        bookfile.prove(connection, book)
        bags = connection.execute("SELECT count(*) FROM supply WHERE note LIKE 'xxx%'").fetchone()[0]
        named = filestore.needed(connection)
    whole = [digest for digest in named if filestore.is_whole(filestore.folder_of(book), digest)]
    return {
        "files": sent,
        "named": len(named),
        "whole": len(whole),
        "held": len(list(filestore.folder_of(book).rglob("*.unfinished"))),
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
