"""The door on this computer: who asks over loopback without having been let in gets nothing of the book.

HMAC-SHA-256 is RFC 2104 and FIPS 198-1; a cookie's attributes are RFC 6265bis; the bearer scheme is RFC 6750.
"""

import json
import os
import re
import stat
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from httpx2 import Response

from app import clock, system
from app.__main__ import main
from app.access import door
from app.access.door import ENTER, TICKET_HOLDS, Door
from app.book.instance import lock_of
from app.main import create_app
from app.settings import Settings, book_path, typed
from tests.behind import app_of, book_of, browser_of, door_of, engine_of
from tests.browse import Page, saved, send
from tests.entering import ONE_TIME, asked, entered
from tests.routes import every, filled
from tests.test_cli import running

API = "/api/v1/recipe/scale"
SCALE: dict[str, Any] = {"parts": {"KNO3": 0.65, "sorbitol": 0.35}, "mass_kg": 0.4, "resolution_kg": 0.001}


@pytest.fixture(scope="module")
def open_app(empty_book: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    book = tmp_path_factory.mktemp("door") / "book.sqlite3"
    book.write_bytes(empty_book.read_bytes())
    app = create_app(Settings(book=book))
    yield app
    engine_of(app).dispose()


@pytest.fixture
def other(open_app: FastAPI) -> TestClient:
    """Any program of this computer that has no key: another account's, or a browser that was not let in."""
    return TestClient(open_app, base_url="http://localhost", follow_redirects=False)


@pytest.fixture
def person(open_app: FastAPI) -> TestClient:
    return browser_of(open_app, follow_redirects=False)


def shut_out(answer: Response) -> None:
    assert answer.status_code in (401, 403), answer.status_code
    assert "<nav" not in answer.text
    assert "set-cookie" not in answer.headers


# --- Who was not let in --------------------------------------------------------------------------


@pytest.mark.promise(
    "Nobody reads or writes the book through its port on this computer who was not let in by the key beside it",
    figure="every route, GET and POST, by a program without the cookie; a real other account too",
)
def test_without_the_cookie_no_address_gives_or_takes_anything(other: TestClient) -> None:
    engine = engine_of(other)
    with engine.connect() as watching:
        before = watching.exec_driver_sql("PRAGMA data_version").scalar()
        tried = [(method, filled(path)) for method, path in every(app_of(other))]
        assert len(tried) > 200
        for method, path in tried:
            answer = other.request(method, path, data={"once": "x", "name": "y"} if method == "POST" else None)
            shut_out(answer)
            if not path.startswith("/api/"):
                assert "Let this browser in" in answer.text, (method, path)
        assert watching.exec_driver_sql("PRAGMA data_version").scalar() == before


@pytest.mark.parametrize("method", ["HEAD", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "BREW"])
@pytest.mark.parametrize("path", ["/", "/workshop", "/none-such", "/static", "//workshop", "/static/../workshop", API])
def test_odd_requests_get_nothing_either(other: TestClient, method: str, path: str) -> None:
    answer = other.request(method, path)
    assert answer.status_code in (401, 403, 404)
    assert "<nav" not in answer.text


def test_styles_are_served_and_the_page_tells_what_to_do(other: TestClient) -> None:
    assert other.get("/static/css/base.css").status_code == 200
    page = other.get("/shelf?find=2611P")
    assert page.status_code == 403
    assert "grainbook address" in page.text
    assert "Start Grainbook once more" in page.text
    assert other.post("/workshop/rods/new", data={}).text == page.text
    assert "nothing of it was saved" in page.text


@pytest.mark.parametrize("value", ["", "x", "0" * 64, "a" * 5000, "\u00e4"])
def test_an_invented_cookie_lets_nobody_in(other: TestClient, open_app: FastAPI, value: str) -> None:
    cookie = f"{door_of(open_app).cookie_name}={value}".encode()
    shut_out(other.get("/workshop", headers={b"cookie": cookie}))


def test_the_key_itself_is_no_cookie(other: TestClient, open_app: FastAPI) -> None:
    key = door.key_of(book_of(open_app)).read_text()
    shut_out(other.get("/workshop", headers={"cookie": f"{door_of(open_app).cookie_name}={key}"}))
    assert key != door_of(open_app).cookie()


def test_another_books_cookie_lets_nobody_in_and_does_not_push_this_ones_out(tmp_path: Path, other: TestClient) -> None:
    another = Door(tmp_path / "book.sqlite3")
    this = door_of(other)
    assert another.cookie_name != this.cookie_name
    shut_out(other.get("/workshop", headers={"cookie": f"{this.cookie_name}={another.cookie()}"}))
    both = f"{another.cookie_name}={another.cookie()}; {this.cookie_name}={this.cookie()}"
    assert other.get("/workshop", headers={"cookie": both}).status_code == 200


# --- Coming in -----------------------------------------------------------------------------------


def test_a_one_time_address_gives_the_cookie_and_goes_on(other: TestClient) -> None:
    answer = other.get(door_of(other).address())
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    cookie = answer.headers["set-cookie"]
    assert cookie.startswith(f"{door_of(other).cookie_name}={door_of(other).cookie()}; ")
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie
    assert "Max-Age=31536000" in cookie  # 365 days
    assert other.get("/workshop").status_code == 200
    assert other.get(ENTER).headers["location"] == "/"  # who is in needs no page that tells how


def test_a_one_time_address_holds_once(other: TestClient, open_app: FastAPI) -> None:
    address = door_of(other).address()
    assert other.get(address).status_code == 303
    later = TestClient(open_app, base_url="http://localhost", follow_redirects=False).get(address)
    shut_out(later)
    assert "used already" in later.text
    assert "Sign out every other browser" in later.text


def test_looking_at_the_head_of_a_one_time_address_does_not_use_it(other: TestClient) -> None:
    address = door_of(other).address()
    other.head(address)
    other.post(address)
    assert other.get(address).status_code == 303


def test_a_one_time_address_ends_after_ten_minutes_and_after_a_clock_that_goes_back(other: TestClient) -> None:
    moment = clock.now()
    with clock.turned_to(moment) as turn:
        address = door_of(other).address()
        turn(moment + TICKET_HOLDS + timedelta(seconds=1))
        shut_out(other.get(address))
        turn(moment - timedelta(days=1))
        shut_out(other.get(address))
        turn(moment + TICKET_HOLDS - timedelta(seconds=1))
        assert other.get(address).status_code == 303


def test_a_one_time_address_is_of_one_run_one_key_and_as_it_was_made(other: TestClient, tmp_path: Path) -> None:
    book = book_of(other)
    key = door.read_key(book)
    assert key is not None
    good = door_of(other).address()
    assert Door(book).enter(good.rpartition("/")[2]) is False  # another run on the same book
    assert Door(tmp_path / "b.sqlite3").enter(good.rpartition("/")[2]) is False
    for made in (
        door.one_time("/", key, "another run"),
        door.one_time("/", b"x" * 32, door_of(other).run),
        f"{good[:-1]}{'0' if good[-1] != '0' else '1'}",
        f"{good[:24]}{'f' * 10}{good[34:]}",
        f"{good}0",
        good.upper(),
        f"{ENTER}/1",
        f"{ENTER}/{'٣' * 90}",
    ):
        shut_out(other.get(made))
    assert other.get(good).status_code == 303


def test_a_foreign_host_or_a_foreign_site_gets_in_by_nothing(open_app: FastAPI) -> None:
    far = browser_of(open_app, follow_redirects=False)
    assert far.get("/", headers={"host": "evil.example"}).status_code == 400
    assert far.get(door_of(open_app).address(), headers={"host": "evil.example"}).status_code == 400
    assert far.post("/workshop/devices/end-sessions", headers={"origin": "http://evil.example"}).status_code == 403


# --- The key -------------------------------------------------------------------------------------


def test_the_key_has_256_bits_and_is_for_one_account(tmp_path: Path) -> None:
    book = tmp_path / "book.sqlite3"
    before = os.umask(0) if sys.platform != "win32" else 0
    try:
        first = Door(book)
    finally:
        if sys.platform != "win32":
            os.umask(before)
    assert len(bytes.fromhex(door.key_of(book).read_text())) == 32
    if sys.platform != "win32":
        assert stat.S_IMODE(door.key_of(book).stat().st_mode) == 0o600
    assert Door(book).cookie() == first.cookie()  # a browser stays in over a restart
    assert {path.name for path in tmp_path.iterdir()} == {"book.sqlite3.key"}


@pytest.mark.parametrize("text", ["", "xyz", "0" * 63, "0" * 65, "\u00e4" * 64])
def test_a_key_that_is_not_whole_is_made_anew(tmp_path: Path, text: str) -> None:
    book = tmp_path / "book.sqlite3"
    door.key_of(book).write_text(text, encoding="utf-8")
    door.key_of(book).chmod(0o600)
    Door(book)
    key = door.read_key(book)
    assert key is not None
    assert len(set(key)) > 10


@pytest.mark.skipif(sys.platform == "win32", reason="there the rights are those of the folder")
def test_a_key_that_others_could_read_opens_nothing_any_more(tmp_path: Path) -> None:
    book = tmp_path / "book.sqlite3"
    known = Door(book).cookie()
    door.key_of(book).chmod(0o644)
    assert not Door(book).knows(known)
    assert stat.S_IMODE(door.key_of(book).stat().st_mode) == 0o600


def test_a_new_key_puts_every_other_browser_out(person: TestClient, open_app: FastAPI) -> None:
    second = browser_of(open_app, follow_redirects=False)
    waiting = door_of(open_app).address()
    assert second.get("/workshop").status_code == 200
    assert saved(person, "/workshop/devices", form_id="end-sessions") == "/workshop/devices"
    shut_out(second.get("/workshop"))
    shut_out(second.get(waiting))
    text = person.get("/workshop/devices").text
    assert "Every other browser of this computer is signed out." in text


def test_a_form_sent_by_a_browser_that_was_put_out_saves_nothing(person: TestClient, open_app: FastAPI) -> None:
    form = Page(person.get("/workshop/rods/new").text).forms["form"]
    door_of(open_app).change_key()
    answer = person.post(form.action, data={**form.fields, "name": "Put out", "diameter": "19 mm"})
    shut_out(answer)
    assert "nothing of it was saved" in answer.text
    assert "Put out" not in browser_of(open_app).get("/workshop/rods").text


def test_no_copy_and_no_export_holds_the_key(tmp_path: Path, empty_book: Path) -> None:
    book = tmp_path / "book.sqlite3"
    book.write_bytes(empty_book.read_bytes())
    Door(book)
    _, token = door.new_token(book)
    key = door.key_of(book).read_text()
    for command, name in (("backup", "copy.sqlite3"), ("export", "copy.zip")):
        assert main([command, str(tmp_path / name), "--book", str(book)]) == 0
        found = (tmp_path / name).read_bytes()
        assert key.encode() not in found
        assert token.encode() not in found


# --- Scripts -------------------------------------------------------------------------------------


@pytest.fixture
def token(open_app: FastAPI) -> str:
    return door.new_token(book_of(open_app))[1]


@pytest.mark.promise(
    "A script's token opens the calculations and nothing of the book", figure="every other route refuses it"
)
def test_a_token_opens_the_compute_api_and_nothing_else(other: TestClient, token: str) -> None:
    head = {"authorization": f"Bearer {token}"}
    assert other.post(API, json=SCALE, headers=head).status_code == 200
    assert other.post(API, json=SCALE, headers={"authorization": f"bearer  {token} "}).status_code == 200
    assert other.get("/api/v1/openapi.json", headers=head).json()["security"] == [{"token": []}]
    for method, path in every(app_of(other)):
        if not path.startswith("/api/"):
            shut_out(other.request(method, filled(path), headers=head))
    for path in ("/workshop?x=/api/", "/API/v1/openapi.json", "//api/v1/x"):
        shut_out(other.get(path, headers=head))


def test_without_a_token_a_script_is_told_how_to_get_one(other: TestClient) -> None:
    answer = other.post(API, json=SCALE)
    assert (answer.status_code, answer.headers["www-authenticate"]) == (401, "Bearer")
    assert "grainbook token" in answer.json()["detail"]


@pytest.mark.parametrize(
    "sent", ["", "Bearer", "Bearer ", "Bearer grainbook-", "Basic eDp5", "Bearer x", "Bearer \u00e4"]
)
def test_what_is_no_token_opens_nothing(other: TestClient, token: str, sent: str) -> None:
    assert other.post(API, json=SCALE, headers={b"authorization": sent.encode()}).status_code == 401


def test_a_token_is_kept_as_a_digest_listed_and_withdrawn(
    tmp_path: Path, empty_book: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    book = tmp_path / "book.sqlite3"
    book.write_bytes(empty_book.read_bytes())

    def command(*words: str) -> tuple[int, str, str]:
        status = main([*words, "--book", str(book)])
        said = capsys.readouterr()
        return status, said.out, said.err

    assert command("tokens") == (0, "No token holds. “grainbook token” makes one.\n", "")
    first, second = (command("token")[1].strip() for _ in range(2))
    assert re.fullmatch(r"grainbook-[0-9a-f]{64}", first)
    kept = door.tokens_of(book)
    assert first not in kept.read_text()
    if sys.platform != "win32":
        assert stat.S_IMODE(kept.stat().st_mode) == 0o600
    assert [line.partition(",")[0] for line in command("tokens")[1].splitlines()] == ["Token 1", "Token 2"]
    opened = Door(book)
    assert opened.allows(first)
    assert not opened.allows(json.loads(kept.read_text())[0]["digest"])
    assert command("withdraw", "1")[0] == 0
    assert not opened.allows(first)
    assert opened.allows(second)
    for number in ("1", "9", "x", "-1", "²"):
        status, _, words = command("withdraw", number)
        assert status == 1
        assert words == f"There is no token “{number}”. Nothing was changed. “grainbook tokens” tells which hold.\n"
    kept.write_text("[{]")
    assert not opened.allows(second)  # a file that cannot be read lets nobody in


# --- The program as it is started ----------------------------------------------------------------


def test_the_program_prints_and_opens_addresses_that_let_in(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    home = tmp_path / "home"
    book = home / "book.sqlite3"
    with clock.turned_to(datetime.now(UTC), runs=True), running(home) as address:  # the program's own clock
        assert asked(address)[0] == 403
        assert main(["address", "--book", str(book)]) == 0
        one_time = ONE_TIME.search(capsys.readouterr().out)
        assert one_time is not None
        cookie = entered(one_time[0])
        assert asked(one_time[0])[0] == 403
        assert asked(address, cookie)[0] == 200
        run = json.loads(lock_of(book).read_text())["run"]
    assert main(["address", "--book", str(book)]) == 1
    assert "is not open" in capsys.readouterr().err
    with running(home) as address:
        assert json.loads(lock_of(book).read_text())["run"] != run
        assert asked(address, cookie)[0] == 200  # a bookmark works after a restart


AS_NOBODY = """
import encodings.idna, os, socket, sys
os.setuid(65534)
port = int(sys.argv[1])
for line in sys.argv[2:4]:
    body = "name=Other&diameter=19+mm&once=abc"
    kind = "Content-Type: application/x-www-form-urlencoded"
    head = f"Host: 127.0.0.1:{port}\\r\\n{kind}\\r\\nContent-Length: {len(body)}"
    with socket.create_connection(("127.0.0.1", port)) as to:
        to.sendall(f"{line} HTTP/1.1\\r\\n{head}\\r\\nConnection: close\\r\\n\\r\\n{body}".encode())
        print(to.recv(100).split()[1].decode())
try:
    open(sys.argv[4])
except PermissionError:
    print("no key")
"""


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root can become another account")
def test_another_account_is_kept_out_even_with_the_address_that_a_browser_is_started_with(tmp_path: Path) -> None:
    """A real other account (65534, nobody), which sees in the list of programs what a browser was started with."""
    home = tmp_path / "home"
    book = home / "book.sqlite3"
    with running(home) as address:
        command = [sys.executable, "-m", "app", "address", "--book", str(book)]
        one_time = subprocess.run(command, capture_output=True, text=True, check=True).stdout.strip()
        port, path = re.findall(r":(\d+)(/.*)", one_time)[0]
        asks = (port, "POST /workshop/rods/new", f"GET {path}", str(door.key_of(book)))
        command = [sys.executable, "-c", AS_NOBODY, *asks]
        other = subprocess.run(command, capture_output=True, text=True, check=True)
        assert other.stdout.split("\n")[:3] == ["403", "403" if sys.platform == "linux" else "303", "no key"]
        if sys.platform == "linux":
            cookie = entered(one_time)  # the attempt did not use it up
            assert "Other" not in asked(f"{address}workshop/rods", cookie)[2]


def test_the_command_that_is_printed_is_of_the_book_that_is_open(tmp_path: Path) -> None:
    assert typed("address", "", book_path()) == "grainbook address"
    assert typed("address", "", book_path(demo=True)) == "grainbook address --demo"
    assert (
        typed("address", "", tmp_path / "my book.sqlite3") == f'grainbook address --book "{tmp_path}/my book.sqlite3"'
    )


def test_a_connection_of_this_account_is_known_as_its_own(tmp_path: Path) -> None:
    assert not system.of_another_account("127.0.0.1", 1)  # no such connection: not known to be another's
    assert not system.of_another_account("::1", 1)
    assert not system.of_another_account("testclient", 50000)


def test_a_token_of_a_form_is_no_way_in(other: TestClient, person: TestClient) -> None:
    """The once-only token of a form says nothing of who sends it."""
    form = Page(person.get("/workshop/rods/new").text).forms["form"]
    shut_out(other.post(form.action, data={**form.fields, "name": "Rod", "diameter": "19 mm"}))
    assert send(person, "/workshop/rods/new", {"name": "Rod", "diameter": "19 mm"}).status_code == 303
