"""Every address of the app, found from the app itself: closed to other sites, never framed, no loose cookie."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from httpx2 import Response
from sqlalchemy import Connection

from app.main import create_app
from app.services.today import today
from app.settings import Settings
from tests.behind import app_of, browser_of, engine_of
from tests.routes import declared, every, filled

GETS, POSTS = declared("GET"), declared("POST")
POLICY = {
    "default-src": "'self'",
    "img-src": "'self' data:",
    "base-uri": "'none'",
    "form-action": "'self'",
    "frame-ancestors": "'none'",
    "object-src": "'none'",
}


@pytest.fixture(scope="module")
def site(empty_book: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """A book that these tests share: none of them saves anything."""
    book = tmp_path_factory.mktemp("routes") / "book.sqlite3"
    book.write_bytes(empty_book.read_bytes())
    app = create_app(Settings(book=book))
    with browser_of(app, raise_server_exceptions=False) as client:
        yield client


def _written(site: TestClient) -> int:
    """What the file's own counter of commits says to a connection that only looks."""
    return int(_watching(site).exec_driver_sql("PRAGMA data_version").scalar_one())


def _watching(site: TestClient) -> Connection:
    state = app_of(site).state
    if not hasattr(state, "watching"):
        state.watching = engine_of(site).connect()
        state.watching.detach()
    watching: Connection = state.watching
    return watching


def _closed(answer: Response) -> None:
    """What stands at the head of every answer."""
    policy = dict(part.strip().split(" ", 1) for part in answer.headers["content-security-policy"].split(";"))
    assert policy == POLICY  # scripts and styles fall back to default-src: no inline, no eval, no other host
    assert answer.headers["x-frame-options"] == "DENY"
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["referrer-policy"] == "same-origin"
    assert answer.headers["cross-origin-resource-policy"] == "same-origin"
    assert "access-control-allow-origin" not in answer.headers
    for cookie in answer.headers.get_list("set-cookie"):
        assert "samesite=strict" in cookie.lower()
        assert "httponly" in cookie.lower()


def test_the_tests_here_know_every_route(site: TestClient) -> None:
    found = every(app_of(site))
    assert len(found) > 120
    assert {method for method, _ in found} <= {"GET", "POST"}
    assert [path for method, path in found if method == "POST"] == POSTS
    assert [path for method, path in found if method == "GET"] == GETS


@pytest.mark.parametrize("path", POSTS)
def test_a_post_from_another_site_is_refused_and_changes_nothing(site: TestClient, path: str) -> None:
    address, before = filled(path) + ("?page=/x" if path == "/drafts" else ""), _written(site)
    foreign = [
        {"origin": "https://evil.example"},
        {"origin": "null"},
        {"origin": "http://localhost:9999"},
        {"origin": "https://localhost"},
        {"origin": "http://localhost.evil.example"},
        {"origin": "http://127.0.0.1"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ]
    for headers in foreign:
        answer = site.post(address, data={"once": "x", "name": "x"}, headers=headers, follow_redirects=False)
        assert answer.status_code == 403, headers
        assert "another site" in answer.text
        _closed(answer)
    for host in ("evil.example", "localhost.evil.example", "192.168.1.5", "", "localhost@evil.example", "localhost:x"):
        answer = site.post(address, data={"once": "x"}, headers={"host": host}, follow_redirects=False)
        assert answer.status_code == 400, host
        _closed(answer)
    assert _written(site) == before


@pytest.mark.parametrize("path", GETS)
def test_a_page_asked_for_by_a_foreign_name_is_refused(site: TestClient, path: str) -> None:
    for host in ("evil.example", "127.0.0.1.evil.example", "10.0.0.1:80"):
        answer = site.get(filled(path), headers={"host": host}, follow_redirects=False)
        assert answer.status_code == 400
        _closed(answer)


@pytest.mark.promise(
    "No DNS rebinding, no post from another site, no framing, nothing loose on any answer",
    figure="every route, faults and files too",
)
@pytest.mark.parametrize(("method", "path"), [("GET", p) for p in GETS] + [("POST", p) for p in POSTS])
def test_every_answer_is_closed_whatever_it_says(site: TestClient, method: str, path: str) -> None:
    for part in ("1", "none-such", "%00"):
        answer = site.request(method, filled(path, part), follow_redirects=False)
        assert answer.status_code < 500
        _closed(answer)
        assert answer.headers["cache-control"] == "no-store" or path.endswith(".css")


@pytest.mark.parametrize("path", ["/static/css/base.css", "/static/none.css", "/none", "/workshop/"])
def test_files_and_what_is_not_there_are_closed_too(site: TestClient, path: str) -> None:
    _closed(site.get(path))
    _closed(site.request("TRACE", path))
    _closed(site.options(path))


def test_a_fault_of_the_program_is_closed_too(site: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("made to fail")

    for name in [name for name, value in vars(today).items() if getattr(value, "__module__", "") == today.__name__]:
        if callable(getattr(today, name)):
            monkeypatch.setattr(today, name, broken)
    answer = site.get("/")
    assert answer.status_code == 500
    assert "made to fail" not in answer.text
    _closed(answer)


def test_a_link_of_another_site_forgets_no_draft(client: TestClient) -> None:
    client.post("/drafts?page=/workshop/rods/new", data={"name": "Half"})
    away = "/drafts/discard?page=/workshop/rods/new&back=/"
    for site in ("cross-site", "same-site"):
        client.get(away, headers={"sec-fetch-site": site})
        assert "Half" in client.get("/workshop/rods/new").text
    client.get(away, headers={"sec-fetch-site": "same-origin"})
    assert "Half" not in client.get("/workshop/rods/new").text


@pytest.mark.promise("A form and an upload are held to a size", figure="every POST")
@pytest.mark.parametrize("path", POSTS)
def test_a_form_has_a_size(site: TestClient, path: str) -> None:
    """What no person types is refused before it is kept in memory or on disk."""
    address = filled(path) + ("?page=/x" if path == "/drafts" else "")
    kind = "application/json" if path.startswith("/api/") else "application/x-www-form-urlencoded"
    answer = site.post(address, content=b"a=" + b"1" * 4_200_000, headers={"content-type": kind})
    assert answer.status_code == 413
    _closed(answer)


def test_a_form_without_a_length_or_with_a_file_is_held_to_its_size(site: TestClient) -> None:
    def endless() -> Iterator[bytes]:
        yield b"name="
        for _ in range(80):
            yield b"x" * 65536

    kind = {"content-type": "application/x-www-form-urlencoded"}
    assert site.post("/workshop/rods/new", content=endless(), headers=kind).status_code == 413
    kind = {"content-type": "multipart/form-data; boundary=b"}
    assert site.post("/workshop/rods/new", content=endless(), headers=kind).status_code == 413
    big = {"name": ("x.bin", b"x" * 2_000_000)}
    assert site.post("/workshop/rods/new", files=big).status_code == 413
    small = {"name": ("x.bin", b"x" * 20)}
    assert site.post("/workshop/rods/new", files=small).status_code == 400  # no field of it takes a file
