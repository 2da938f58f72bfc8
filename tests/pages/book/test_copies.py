"""The book to take away: two buttons, and no address that works by being opened."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from sqlmodel import select

from app.book import backups, filestore
from app.models import FiringPicture
from tests.behind import book_of
from tests.pages.firings.test_firing_log import bare, post
from tests.pages.motors.test_builds import book
from tests.test_pictures import png

ADDRESSES = ("/workshop/copy", "/workshop/everything")


@pytest.mark.promise(
    "No address makes a copy or a zip by being opened: a link elsewhere cannot keep the disk busy",
    figure="both downloads: a form, from the book's own pages only",
)
@pytest.mark.parametrize("address", ADDRESSES)
def test_an_opened_address_makes_nothing_and_shows_the_buttons(
    client: TestClient, monkeypatch: pytest.MonkeyPatch, address: str
) -> None:
    def made(*_: object) -> None:
        raise AssertionError("something was made")

    monkeypatch.setattr("app.downloads.copy", made)
    monkeypatch.setattr("app.downloads.everything", made)
    page = client.get(address)
    assert page.status_code == 200
    for one in ADDRESSES:
        assert f'<form method="post" action="{one}">' in page.text
        assert f'<form method="post" action="{one}">' in client.get("/workshop").text
    foreign = client.post(address, headers={"Origin": "http://evil.example"})
    assert foreign.status_code == 403
    assert not list(backups.folder_of(book_of(client)).glob("download-*"))


def test_the_copy_that_is_sent_has_the_files_in_it(client: TestClient, tmp_path: Path) -> None:
    raw = png(33, 44)
    assert post(client, bare(client), raw).status_code == 303
    with book(client) as session:
        digest = session.exec(select(FiringPicture)).one().sha256
    taken = tmp_path / "taken.sqlite3"
    taken.write_bytes(client.post("/workshop/copy").content)
    with closing(sqlite3.connect(taken)) as connection:
        assert connection.execute("SELECT sha256, raw FROM carried_file").fetchall() == [(digest, raw)]
        assert filestore.carries(connection)
