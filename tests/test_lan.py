"""The book open to the network: who gets what, by which name, and how a device comes in and is put out."""

import os
import re
import socket
import subprocess
import sys
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from httpx2 import Response
from sqlmodel import Session, select

from app import clock, commands
from app.__main__ import _listen
from app.access import middleware
from app.access.lan import EVERYWHERE, Lan, listeners, of_own_network, opened, own_addresses, own_names
from app.access.middleware import COOKIE, host_of
from app.access.pairing import Desk
from app.db import open_engine, writing
from app.main import create_app
from app.models import Draft, PairedDevice
from app.models.device import PairIn
from app.services.book import devices
from app.settings import Settings
from tests.behind import app_of, browser_of, engine_of, lan_of
from tests.browse import Page, saved
from tests.entering import ONE_TIME, asked, entered
from tests.routes import every, filled

LAPTOP, TABLET = "192.168.1.5", ("192.168.1.40", 50123)
ADDRESS = f"http://{LAPTOP}:8765"


@pytest.fixture(scope="module")
def _book(empty_book: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    book = tmp_path_factory.mktemp("lan") / "book.sqlite3"
    book.write_bytes(empty_book.read_bytes())
    return book


@pytest.fixture(scope="module")
def open_app(_book: Path) -> Iterator[FastAPI]:
    app = create_app(Settings(book=_book, lan=EVERYWHERE, plain=True))
    yield app
    engine_of(app).dispose()


@pytest.fixture
def laptop(open_app: FastAPI) -> TestClient:
    """A browser on the machine itself; the pairing desk is a new one, with a code."""
    lan_of(open_app).desk = Desk()
    lan_of(open_app).desk.new_code()
    with Session(engine_of(open_app)) as session:
        for device in session.exec(select(PairedDevice)):
            session.delete(device)
        session.commit()
    return browser_of(open_app, base_url="http://localhost:8765", client=("127.0.0.1", 50000))


@pytest.fixture
def tablet(open_app: FastAPI, laptop: TestClient) -> TestClient:
    """A browser on another device, not paired."""
    return TestClient(open_app, base_url=ADDRESS, client=TABLET)


def _code(laptop: TestClient) -> str:
    return Page(laptop.get("/workshop/devices").text).texts["pairing-code"]


def _pair(tablet: TestClient, code: str, name: str = "bench tablet", **more: Any) -> Response:
    data = {"code": code, "name": name}
    return tablet.post("/pair", data=data, follow_redirects=False, **more)


# --- A stranger ----------------------------------------------------------------------------------


@pytest.mark.promise(
    "This computer alone, unless `--lan`; a device that is not paired gets the pairing page and static files",
    figure="every route and odd methods; proxies' words not believed, by a real process",
)
def test_a_device_that_is_not_paired_gets_the_pairing_page_and_static_files_only(tablet: TestClient) -> None:
    tried = [(method, filled(path)) for method, path in every(app_of(tablet))]
    assert len(tried) > 100
    assert ("POST", "/drafts") in tried
    assert ("POST", "/api/v1/motor/run") in tried
    for method, path in tried:
        answer = tablet.request(method, path, follow_redirects=False)
        if path == middleware.PAIR:
            assert answer.status_code in (200, 422), (method, path)
        elif method in ("GET", "HEAD") and not path.startswith("/api/"):
            assert (answer.status_code, answer.headers["location"]) == (303, "/pair"), (method, path)
        else:
            assert answer.status_code == 403, (method, path)
            assert "not paired" in answer.text
    for name in ("css/base.css", "js/forms.js", "vendor/htmx.min.js"):
        assert tablet.get(f"/static/{name}").status_code == 200


@pytest.mark.parametrize(
    "path",
    [
        "/healthz",
        "/health",
        "/openapi.json",
        "/docs",
        "/static",
        "/static/../workshop",
        "/static/%2e%2e/workshop",
        "//workshop",
        "/pair/../workshop",
        "/PAIR",
        "/pair/",
        "/pair/1",
        "/workshop/devices?x=/pair",
        "/static/none.css",
    ],
)
def test_no_other_address_gives_a_stranger_anything(tablet: TestClient, path: str) -> None:
    for method in ("GET", "HEAD", "POST", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "BREW"):
        answer = tablet.request(method, path, follow_redirects=False)
        assert answer.status_code in (303, 403, 404), (method, path)
        assert "<nav" not in answer.text
        assert "Today" not in answer.text


def test_a_strangers_pairing_page_shows_nothing_of_the_book(tablet: TestClient, laptop: TestClient) -> None:
    saved(laptop, "/workshop/rods/new", {"name": "Rod of the book", "diameter": "19 mm"})
    for answer in (tablet.get("/pair"), _pair(tablet, "1"), tablet.post("/pair", data={"code": "\x00" * 50})):
        assert "Pair this device" in answer.text
        assert not re.search(r"Rod of|Workshop</a>|href=\"/(?!static)", answer.text)


def test_a_strangers_request_never_writes_to_the_book(tablet: TestClient) -> None:
    engine = engine_of(tablet)
    with engine.connect() as connection:
        before = connection.exec_driver_sql("PRAGMA data_version").scalar()
        for _ in range(3):
            _pair(tablet, "00000000")
        tablet.post("/drafts?page=/plan/new", data={"name": "x"})
        tablet.get("/drafts/discard?page=/plan/new&back=/")
        assert connection.exec_driver_sql("PRAGMA data_version").scalar() == before
    with Session(engine) as session:
        assert session.exec(select(PairedDevice)).all() == []
        assert session.get(Draft, "/plan/new") is None


def test_a_strangers_request_may_not_be_long(tablet: TestClient) -> None:
    assert _pair(tablet, "1" * 20_000).status_code == 413

    def endless() -> Iterator[bytes]:
        for _ in range(200):
            yield b"code=" + b"1" * 1000 + b"&"

    answer = tablet.post("/pair", content=endless(), headers={"content-type": "application/x-www-form-urlencoded"})
    assert answer.status_code == 413
    assert "<nav" not in answer.text


@pytest.mark.parametrize("client", [("8.8.8.8", 1), ("2001:4860:4860::8888", 1), ("testclient", 1)])
def test_nobody_from_beyond_the_own_network_gets_even_that(
    open_app: FastAPI, laptop: TestClient, client: tuple[str, int]
) -> None:
    far = TestClient(open_app, base_url=ADDRESS, client=client)
    answer = far.get("/pair", follow_redirects=False)
    if client[0] == "testclient":  # an address that cannot be read is a stranger's, never this machine's
        assert far.get("/", follow_redirects=False).headers["location"] == "/pair"
    else:
        assert answer.status_code == 403


@pytest.mark.parametrize(
    "header",
    [
        {"x-forwarded-for": "127.0.0.1"},
        {"forwarded": "for=127.0.0.1;host=localhost"},
        {"x-real-ip": "127.0.0.1"},
        {"x-forwarded-host": "localhost", "x-forwarded-proto": "http"},
        {"client-ip": "127.0.0.1"},
    ],
)
def test_what_a_proxy_says_of_a_client_is_not_believed(tablet: TestClient, header: dict[str, str]) -> None:
    answer = tablet.get("/workshop", headers=header, follow_redirects=False)
    assert answer.headers["location"] == "/pair"


# --- Names ---------------------------------------------------------------------------------------

FOREIGN = [
    "evil.example",
    "localhost",
    "127.0.0.1:8765",
    "[::1]",
    "192.168.1.6",
    f"{LAPTOP}.evil.example",
    "",
    "a b",
    "0.0.0.0",
    "192.168.1.5@evil.example",
    "3232235781",
    "0xc0a80105",
    "192.168.1.05",
]


@pytest.mark.parametrize("host", FOREIGN)
def test_a_name_that_is_not_this_machines_own_is_refused(tablet: TestClient, host: str) -> None:
    for path in ("/pair", "/workshop", "/static/css/base.css", "/api/v1/openapi.json"):
        assert tablet.get(path, headers={"host": host}, follow_redirects=False).status_code == 400, path


def test_the_laptop_too_is_asked_by_its_own_names_only(laptop: TestClient) -> None:
    for host in ("localhost:8765", "127.0.0.1", "[::1]:8765", "LOCALHOST", *own_names()):
        assert laptop.get("/workshop", headers={"host": host}).status_code == 200, host
    for host in ("evil.example", "localhost.evil.example", "192.168.1.6"):
        assert laptop.get("/workshop", headers={"host": host}).status_code == 400, host


def test_the_machines_names_and_the_address_it_was_reached_at_are_served(tablet: TestClient) -> None:
    for host in (f"{LAPTOP}:8765", LAPTOP, *own_names(), f"{next(iter(own_names()))}:8765"):
        assert tablet.get("/pair", headers={"host": host}).status_code == 200, host


@pytest.mark.parametrize(
    "origin",
    [
        "http://evil.example",
        "null",
        "http://localhost:8765",
        f"https://{LAPTOP}:8765",
        f"http://{LAPTOP}",
        f"http://{LAPTOP}:9999",
        "http://192.168.1.6:8765",
        "",
    ],
)
def test_a_device_is_not_paired_by_another_sites_page(tablet: TestClient, laptop: TestClient, origin: str) -> None:
    answer = _pair(tablet, _code(laptop), headers={"origin": origin})
    assert answer.status_code == 403
    assert COOKIE not in answer.cookies


def test_a_browser_that_tells_of_a_cross_site_request_is_believed(tablet: TestClient, laptop: TestClient) -> None:
    for site, status in (("cross-site", 403), ("same-site", 403), ("same-origin", 303)):
        assert _pair(tablet, _code(laptop), headers={"sec-fetch-site": site}).status_code == status


@pytest.mark.parametrize(
    ("header", "host"),
    [
        ("localhost", "localhost"),
        ("LocalHost:80", "localhost"),
        ("[::1]:8765", "::1"),
        ("a.b.", "a.b"),
        ("", ""),
        ("[::1", ""),
        ("a:b", ""),
        ("a:1:2", ""),
        ("a b", ""),
        ("a\n", ""),
        ("::1", ""),
        ("[]", ""),
        ("a:123456", ""),
    ],
)
def test_the_host_in_a_header(header: str, host: str) -> None:
    assert host_of(header) == host


# --- Coming in -----------------------------------------------------------------------------------


def test_a_device_with_the_code_comes_in_by_a_cookie_of_its_own(tablet: TestClient, laptop: TestClient) -> None:
    answer = _pair(tablet, _code(laptop), headers={"origin": ADDRESS})
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    cookie = next(c for c in answer.headers.get_list("set-cookie") if c.startswith(COOKIE))
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie
    assert "Max-Age=2592000" in cookie  # 30 days
    secret = cookie.split("=", 1)[1].split(";")[0]
    assert len(secret) == 43  # 256 bits in base64url
    page = tablet.get("/")
    assert page.status_code == 200
    assert "paired as “bench tablet”" in page.text
    assert tablet.get("/workshop/rods").status_code == 200
    with Session(engine_of(tablet)) as session:
        row = session.exec(select(PairedDevice)).one()
        assert row.name == "bench tablet"
        assert secret not in row.model_dump_json()
        assert row.token_hash == devices.digest(secret)
    assert "bench tablet" in laptop.get("/workshop/devices").text


def test_a_code_pairs_one_device(tablet: TestClient, laptop: TestClient, open_app: FastAPI) -> None:
    code = _code(laptop)
    assert _pair(tablet, code).status_code == 303
    other = TestClient(open_app, base_url=ADDRESS, client=("192.168.1.41", 1))
    answer = _pair(other, code)
    assert answer.status_code == 422
    assert "does not hold" in answer.text
    assert "No code holds at this moment" in laptop.get("/workshop/devices").text
    saved(laptop, "/workshop/devices", form_id="code")
    third = TestClient(open_app, base_url=ADDRESS, client=("192.168.1.42", 1))
    assert _pair(third, _code(laptop), "phone").status_code == 303  # at once, beside the one that guessed wrong


def test_a_device_is_let_in_at_once_while_another_guesses(
    tablet: TestClient, laptop: TestClient, open_app: FastAPI
) -> None:
    code = _code(laptop)
    guesser = TestClient(open_app, base_url=ADDRESS, client=("192.168.1.66", 1))
    statuses = [_pair(guesser, f"{i:08d}").status_code for i in range(40)]
    assert set(statuses) == {422, 429}
    assert _pair(tablet, code).status_code == 303


def test_wrong_codes_are_answered_with_growing_waits(tablet: TestClient, laptop: TestClient) -> None:
    code = _code(laptop)
    wrong = "0" * 8 if not code.startswith("0") else "1" * 8
    assert _pair(tablet, wrong).status_code == 422
    answer = _pair(tablet, code)
    assert answer.status_code == 429
    assert 1 <= int(answer.headers["retry-after"]) <= 2
    assert "Wait" in Page(answer.text).fault("code")
    assert COOKIE not in answer.cookies


def test_what_was_typed_is_kept_and_never_markup(tablet: TestClient, laptop: TestClient) -> None:
    answer = _pair(tablet, "12", '"><script>x</script>')
    assert answer.status_code == 422
    assert "<script>x" not in answer.text
    assert Page(answer.text).forms["form"].fields["name"] == '"><script>x</script>'
    answer = _pair(tablet, _code(laptop), "")
    assert "Write at least" in answer.text or "Fill this in" in answer.text
    assert laptop.get("/workshop/devices").text.count("Holds until") == 1  # a form with a fault uses no code up


def test_a_device_that_is_in_needs_no_code(tablet: TestClient, laptop: TestClient) -> None:
    _pair(tablet, _code(laptop))
    for answer in (tablet.get("/pair", follow_redirects=False), _pair(tablet, "1")):
        assert (answer.status_code, answer.headers["location"]) == (303, "/")
    assert laptop.get("/pair", follow_redirects=False).headers["location"] == "/"


@pytest.mark.parametrize("secret", ["", "x", "a" * 43, "A" * 5000, "' OR 1=1 --", "%00"])
def test_an_invented_secret_lets_nobody_in(tablet: TestClient, laptop: TestClient, secret: str) -> None:
    _pair(tablet, _code(laptop))
    tablet.cookies.clear()
    answer = tablet.get("/workshop", headers={"cookie": f"{COOKIE}={secret}"}, follow_redirects=False)
    assert answer.headers["location"] == "/pair"


def test_the_digest_of_the_book_is_no_secret(tablet: TestClient, laptop: TestClient) -> None:
    _pair(tablet, _code(laptop))
    with Session(engine_of(tablet)) as session:
        kept = session.exec(select(PairedDevice)).one().token_hash
    tablet.cookies.clear()
    answer = tablet.get("/workshop", headers={"cookie": f"{COOKIE}={kept}"}, follow_redirects=False)
    assert answer.headers["location"] == "/pair"


# --- On the laptop -------------------------------------------------------------------------------


def test_the_laptop_needs_no_pairing_and_says_on_each_page_that_the_network_is_let_in(laptop: TestClient) -> None:
    for path in ("/", "/workshop", "/plan/new", "/help", "/no-such-page"):
        assert "open to your network, and the traffic is not encrypted" in laptop.get(path).text, path


def test_a_book_that_is_closed_to_the_network_does_not_say_so(client: TestClient) -> None:
    assert "open to your network" not in client.get("/").text
    page = client.get("/workshop/devices")
    assert "open to this computer alone" in page.text
    assert "--lan" in page.text
    answer = client.post("/workshop/devices/code", data={"once": "x"})
    assert answer.status_code == 422
    assert "start it with --lan" in answer.text


def test_a_device_put_out_is_out_at_once(tablet: TestClient, laptop: TestClient) -> None:
    _pair(tablet, _code(laptop))
    assert tablet.get("/workshop").status_code == 200
    with Session(engine_of(tablet)) as session:
        identity = session.exec(select(PairedDevice)).one().pk
    saved(laptop, "/workshop/devices", form_id=f"revoke-{identity}")
    assert tablet.get("/workshop", follow_redirects=False).headers["location"] == "/pair"
    assert tablet.post("/workshop/rods/new", data={}).status_code == 403
    text = laptop.get("/workshop/devices").text
    assert "No device is paired." in text
    assert "signed out" in text


def test_a_pairing_ends_by_itself(tablet: TestClient, laptop: TestClient) -> None:
    _pair(tablet, _code(laptop))
    moment = clock.now()
    with clock.turned_to(moment + devices.HOLDS - timedelta(minutes=1)) as turn:
        assert tablet.get("/workshop").status_code == 200
        turn(moment + devices.HOLDS)
        assert tablet.get("/workshop", follow_redirects=False).headers["location"] == "/pair"
        assert "No device is paired." in laptop.get("/workshop/devices").text


def test_when_a_device_was_here_is_noted_every_few_minutes(tablet: TestClient, laptop: TestClient) -> None:
    _pair(tablet, _code(laptop))

    def seen() -> object:
        with Session(engine_of(tablet)) as session:
            return session.exec(select(PairedDevice)).one().last_seen_at

    first = clock.now()
    with clock.turned_to(first + timedelta(minutes=2)) as turn:
        before = seen()
        tablet.get("/workshop")
        assert seen() == before
        turn(first + timedelta(minutes=9))
        tablet.get("/workshop")
        assert seen() == first + timedelta(minutes=9)


def test_a_paired_device_neither_sees_codes_nor_puts_devices_out(tablet: TestClient, laptop: TestClient) -> None:
    _pair(tablet, _code(laptop))
    saved(laptop, "/workshop/devices", form_id="code")
    code = _code(laptop)
    for answer in (
        tablet.get("/workshop/devices"),
        tablet.post("/workshop/devices/code", data={"once": "a"}),
        tablet.post("/workshop/devices/1/revoke", data={"once": "b"}),
    ):
        assert answer.status_code == 422
        assert "on the computer that Grainbook runs on" in answer.text
        assert code not in answer.text
    assert tablet.get("/workshop").status_code == 200
    assert _code(laptop) == code


def test_every_device_can_be_put_out_at_once(tablet: TestClient, laptop: TestClient) -> None:
    """A restored or copied book lets nobody in by what stood in it."""
    _pair(tablet, _code(laptop))
    with Session(engine_of(tablet)) as session:
        devices.revoke_all(session)
        session.commit()
    assert tablet.get("/", follow_redirects=False).headers["location"] == "/pair"


@pytest.mark.promise("A restored book lets no device in that was paired in it", figure="restore and import")
@pytest.mark.parametrize("back", ["restore", "take_in"])
def test_a_book_put_back_lets_no_device_in_that_was_paired_in_it(tmp_path: Path, empty_book: Path, back: str) -> None:
    book, kept = tmp_path / "book.sqlite3", tmp_path / ("kept.sqlite3" if back == "restore" else "kept.zip")
    book.write_bytes(empty_book.read_bytes())
    engine = open_engine(book)
    with writing(engine) as session:
        _, token = devices.pair(session, PairIn(code="1", name="lost tablet"))
        session.commit()
    engine.dispose()
    commands.backup(book, kept, False) if back == "restore" else commands.export(book, kept, False)
    again = tmp_path / "again" / "book.sqlite3"
    told = getattr(commands, back)(again, kept)
    assert "are signed out (1)" in told
    engine = open_engine(again)
    with Session(engine) as session:
        assert session.exec(select(PairedDevice.name)).all() == ["lost tablet"]
        assert devices.of_token(session, token) is None
    engine.dispose()


def test_the_picture_of_the_address_holds_no_code(laptop: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    from app.services.grains import labels

    drawn: list[str] = []
    picture = labels.qr_code

    def seen(text: str) -> str:
        drawn.append(text)
        return picture(text)

    monkeypatch.setattr(labels, "qr_code", seen)
    monkeypatch.setattr(lan_of(laptop), "addresses", [f"{ADDRESS}/"])
    assert "<svg" in laptop.get("/workshop/devices").text
    assert drawn == [f"{ADDRESS}/"]


# --- At the start --------------------------------------------------------------------------------


def test_the_terminal_warns_and_tells_address_and_code() -> None:
    lan = Lan()
    words = opened(lan, LAPTOP, 8765)
    assert "NOT ENCRYPTED" in words
    assert "your own network only" in words
    assert f"{ADDRESS}/" in words
    code = lan.desk.code()
    assert code is not None
    assert str(code) in words


@pytest.mark.parametrize("text", ["127.0.0.1", "8.8.8.8", "224.0.0.1", "serve", "", "::1", "192.168.1.5:80", "1.2.3"])
def test_an_address_that_is_none_of_the_own_network_is_refused(text: str) -> None:
    with pytest.raises(Exception, match="no address"):
        of_own_network(text)


def test_an_address_of_the_own_network_is_taken() -> None:
    assert of_own_network("192.168.1.5") == "192.168.1.5"
    assert of_own_network(EVERYWHERE) == EVERYWHERE


def test_one_port_answers_this_machine_and_the_network() -> None:
    here = _listen("127.0.0.1", 18950)
    port = here.getsockname()[1]
    (everywhere,) = listeners(here, EVERYWHERE, lambda host, port: _listen(host, port))
    with everywhere:
        assert everywhere.getsockname() == (EVERYWHERE, port)
    here = _listen("127.0.0.1", 18950)
    both = listeners(here, "127.0.0.2", lambda host, port: _listen(host, port))  # stands in for an address outside
    assert [one.getsockname() for one in both] == [("127.0.0.1", port), ("127.0.0.2", port)]
    for one in both:
        one.close()


def test_an_address_of_another_machine_cannot_be_listened_at() -> None:
    here = _listen("127.0.0.1", 18950)
    with pytest.raises(OSError, match="address"):
        listeners(here, "198.51.100.7", lambda host, port: _listen(host, port))
    assert here.fileno() == -1  # closed with it


def test_the_command_opens_to_the_network_and_believes_no_proxy(tmp_path: Path) -> None:
    """A real process, asked at a real address of this machine that is not loopback."""
    outside = next(iter(own_addresses()), None)
    if outside is None:
        pytest.skip("this machine is on no network, so nothing can come in from one")
    command = [sys.executable, "-m", "app", "--no-browser", "--lan-plain"]
    env = {**os.environ, "GRAINBOOK_HOME": str(tmp_path), "PYTHONUNBUFFERED": "1", "FORWARDED_ALLOW_IPS": "*"}
    with subprocess.Popen(command, env=env, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as process:
        try:
            assert process.stdout is not None
            told = ""
            while not (code := re.search(r"Its code: ([0-9]{4} [0-9]{4})", told)):
                line = process.stdout.readline()
                assert line, told
                told += line
            assert "NOT ENCRYPTED" in told
            one_time = ONE_TIME.search(told)
            assert one_time is not None
            port = re.search(r"http://127\.0\.0\.1:(\d+)/", told)
            assert port is not None
            address = f"http://{outside}:{port[1]}"
            assert address in told
            with httpx.Client(timeout=20) as tablet:
                lies = {"x-forwarded-for": "127.0.0.1", "x-forwarded-proto": "http"}
                assert tablet.get(f"{address}/workshop", headers=lies).headers["location"] == "/pair"
                assert tablet.post(f"{address}/drafts?page=/x", headers=lies).status_code == 403
                assert tablet.get(f"{address}/workshop", headers={"host": "evil.example"}).status_code == 400
                answer = tablet.post(f"{address}/pair", data={"code": code[1], "name": "tablet"})
                assert answer.status_code == 303
                assert tablet.get(f"{address}/workshop").status_code == 200
                devices_page = f"http://127.0.0.1:{port[1]}/workshop/devices"
                assert asked(devices_page)[0] == 403
                assert asked(devices_page, entered(one_time[0]))[0] == 200
        finally:
            process.terminate()


def test_addresses_are_those_of_this_machine() -> None:
    for found in own_addresses():
        with socket.socket() as mine:
            mine.bind((found, 0))  # only an address of this machine can be bound
