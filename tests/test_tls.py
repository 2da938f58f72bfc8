"""The network in TLS: real handshakes, by the authority of the book's own.

What a certificate must say: RFC 5280 (4.2.1.9 path length, 4.2.1.10 name constraints); the first byte of a handshake:
RFC 8446, 5.1; how long a browser lets a leaf hold: 398 days (CA/Browser Forum, baseline requirements 6.3.2, from
memory). The outside readers are Python's ssl (OpenSSL) and, where it is installed, the command openssl.
"""

import contextlib
import hashlib
import http.client
import ipaddress
import json
import os
import re
import shutil
import signal
import socket
import ssl
import stat
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest
import uvicorn
from cryptography import x509
from fastapi import FastAPI

from app import clock
from app.__main__ import _listen
from app.access import authority, middleware
from app.access.authority import Authority
from app.access.doorway import Server
from app.access.lan import own_addresses, own_names
from app.access.middleware import CERTIFICATE, COOKIE, TLS_COOKIE
from app.db import writing
from app.main import create_app
from app.models.device import PairIn
from app.services.book import devices
from app.settings import Settings
from tests.behind import book_of, engine_of, lan_of, let_in
from tests.browse import Page
from tests.entering import ONE_TIME, asked, entered

NETWORK = "127.0.0.2"
"""A second address of this machine, which stands in for its address on the network: what asks there is a stranger."""

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="only Linux answers at a second loopback address")
Answer = tuple[int, http.client.HTTPMessage, str]


@dataclass
class Open:
    """A book that is open to the network in TLS."""

    app: FastAPI
    port: int
    authority: Authority

    def trusting(self) -> ssl.SSLContext:
        """A device that trusts the book's authority and no other."""
        return ssl.create_default_context(cafile=self.authority.certificate)

    def ask(
        self,
        method: str,
        path: str,
        context: ssl.SSLContext | None = None,
        data: dict[str, str] | None = None,
        **head: str,
    ) -> Answer:
        """One request over TLS; nothing is followed."""
        connection = http.client.HTTPSConnection(NETWORK, self.port, timeout=20, context=context or self.trusting())
        with contextlib.closing(connection):
            kind = {"Content-Type": "application/x-www-form-urlencoded"} if data is not None else {}
            connection.request(method, path, urlencode(data) if data is not None else None, {**kind, **head})
            answer = connection.getresponse()
            return answer.status, answer.headers, answer.read().decode("utf-8", "replace")

    def plain(self, request: bytes) -> bytes:
        """What is answered to bytes that are no TLS."""
        with socket.create_connection((NETWORK, self.port), timeout=20) as connection:
            connection.sendall(request)
            parts = []
            while part := connection.recv(65536):
                parts.append(part)
            return b"".join(parts)


@contextlib.contextmanager
def served(app: FastAPI) -> Iterator[int]:
    """The app as `--lan` serves it: plain on this computer, TLS at an address of the network; gives the port."""
    found = lan_of(app).authority
    assert found is not None
    here = _listen("127.0.0.1", 19060)
    port = here.getsockname()[1]
    config = uvicorn.Config(app, log_level="warning", access_log=False, proxy_headers=False)
    server = Server(config, (_listen(NETWORK, port, 1), found.context()))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [here]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    try:
        yield port
    finally:
        server.should_exit = True
        thread.join(timeout=20)
        here.close()
        assert not thread.is_alive(), "the server did not go down"


@pytest.fixture(scope="module")
def site(empty_book: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Open]:
    book = tmp_path_factory.mktemp("tls") / "book.sqlite3"
    book.write_bytes(empty_book.read_bytes())
    app = create_app(Settings(book=book, lan=NETWORK))
    found = lan_of(app).authority
    assert found is not None
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(middleware.Gate, "_is_this_machine", lambda _self, scope: scope["server"][0] != NETWORK)
        with served(app) as port:
            yield Open(app, port, found)
    engine_of(app).dispose()


def _pair(site: Open, **more: Any) -> Answer:
    code = lan_of(site.app).desk.new_code().digits
    return site.ask("POST", "/pair", data={"code": code, "name": "bench tablet"}, **more)


# --- What is served ------------------------------------------------------------------------------


@pytest.mark.promise(
    "What goes over the network is encrypted unless `--lan-plain`",
    figure="TLS 1.2 and 1.3 by real handshakes; a plain request there gets a way to https and nothing else",
)
def test_a_device_that_trusts_the_authority_pairs_and_works(site: Open) -> None:
    status, _, page = site.ask("GET", "/pair")
    assert status == 200
    assert site.authority.fingerprint().whole in page
    assert "not encrypted" not in page.lower()
    status, head, page = _pair(site, Origin=f"https://{NETWORK}:{site.port}")
    assert (status, head["location"]) == (303, "/"), page
    assert "strict-transport-security" not in head  # names change, and --lan-plain stays possible
    cookies = {one.partition("=")[0]: one for one in head.get_all("set-cookie") or []}
    assert set(cookies) == {TLS_COOKIE, "notice"}
    assert all("; secure" in one.lower() for one in cookies.values()), cookies
    for part in ("HttpOnly", "SameSite=strict", "Path=/", "Max-Age=2592000"):
        assert part in cookies[TLS_COOKIE]
    secret = cookies[TLS_COOKIE].partition(";")[0]
    status, _, page = site.ask("GET", "/plan/new", Cookie=secret)
    assert status == 200
    assert "open to your network, encrypted" in page
    assert site.ask("GET", "/workshop")[1]["location"] == "/pair"


@pytest.mark.parametrize("version", [ssl.TLSVersion.TLSv1_2, ssl.TLSVersion.TLSv1_3])
def test_tls_1_2_and_newer(site: Open, version: ssl.TLSVersion) -> None:
    context = site.trusting()
    context.minimum_version = context.maximum_version = version
    assert site.ask("GET", "/pair", context)[0] == 200


@pytest.mark.filterwarnings("ignore:ssl.TLSVersion.TLSv1_1 is deprecated:DeprecationWarning")
def test_older_tls_is_refused(site: Open) -> None:
    context = site.trusting()
    context.set_ciphers("ALL:@SECLEVEL=0")
    context.minimum_version = context.maximum_version = ssl.TLSVersion.TLSv1_1
    with pytest.raises((ssl.SSLError, ConnectionError)):
        site.ask("GET", "/pair", context)


def test_a_device_that_does_not_trust_it_is_warned(site: Open) -> None:
    with pytest.raises(ssl.SSLCertVerificationError, match=r"self-signed|unable to get local issuer"):
        site.ask("GET", "/pair", ssl.create_default_context())


def test_another_books_authority_is_another(site: Open, tmp_path: Path) -> None:
    another = authority.of_book(tmp_path / "book.sqlite3", own_names(), [NETWORK])
    assert another.fingerprint() != site.authority.fingerprint()
    with pytest.raises(ssl.SSLCertVerificationError):
        site.ask("GET", "/pair", ssl.create_default_context(cafile=another.certificate))


@pytest.mark.parametrize("name", ["evil.example", "192.168.77.77", "other.local"])
def test_a_name_that_is_not_this_computers_fails_in_the_handshake(site: Open, name: str) -> None:
    with (
        socket.create_connection((NETWORK, site.port), timeout=20) as raw,
        pytest.raises(ssl.SSLCertVerificationError, match=r"mismatch|not valid for"),
    ):
        site.trusting().wrap_socket(raw, server_hostname=name)


def test_a_foreign_host_or_site_is_refused_over_tls_too(site: Open) -> None:
    assert site.ask("GET", "/pair", Host="evil.example")[0] == 400
    for origin in (f"http://{NETWORK}:{site.port}", "https://evil.example", f"https://{NETWORK}", "null"):
        assert _pair(site, Origin=origin)[0] == 403, origin


def test_plain_http_on_the_network_is_led_to_https(site: Open) -> None:
    host = f"{NETWORK}:{site.port}"
    answer = site.plain(f"GET /shelf?find=1 HTTP/1.1\r\nHost: {host}\r\nAccept: */*\r\n\r\n".encode())
    assert answer.startswith(b"HTTP/1.1 307 ")
    assert f"\r\nLocation: https://{host}/shelf?find=1\r\n".encode() in answer
    for request in (
        f"POST /pair HTTP/1.1\r\nHost: {host}\r\nContent-Length: 0\r\n\r\n",
        "GET /\r\n\r\n",
        f"GET /a\tb HTTP/1.1\r\nHost: {host}\r\n\r\n",
        "GET / HTTP/1.1\r\nHost: a b\r\n\r\n",
        "\x00\x01\x02",
    ):
        answer = site.plain(request.encode())
        assert answer.startswith(b"HTTP/1.1 403 "), answer
        assert b"encrypted" in answer
        assert b"Location" not in answer


def test_this_computer_is_answered_in_plain(site: Open) -> None:
    address = f"http://127.0.0.1:{site.port}/workshop/devices"
    cookie = "; ".join("=".join(one) for one in let_in(book_of(site.app)).items())
    status, _, page = asked(address, cookie)
    assert status == 200
    assert site.authority.fingerprint().whole == " ".join(Page(page).texts["fingerprint"].split())
    assert "is not encrypted" not in page


def test_silent_and_broken_connections_hold_nobody_up(site: Open) -> None:
    with contextlib.ExitStack() as stack:
        for i in range(60):
            silent = stack.enter_context(socket.create_connection((NETWORK, site.port), timeout=20))
            if i % 2:
                silent.sendall(b"\x16\x03\x01")  # a handshake that does not go on
        assert site.ask("GET", "/pair")[0] == 200
    assert site.ask("GET", "/pair")[0] == 200


def test_a_secret_that_went_in_plain_is_none_over_tls(site: Open) -> None:
    with writing(engine_of(site.app)) as session:
        _, plain = devices.pair(session, PairIn(code="1", name="old tablet"))
        _, secret = devices.pair(session, PairIn(code="1", name="tablet"), encrypted=True)
        session.commit()
    for name, value in ((TLS_COOKIE, plain), (COOKIE, plain), (COOKIE, secret), (TLS_COOKIE, f"tls-{plain}")):
        assert site.ask("GET", "/workshop", Cookie=f"{name}={value}")[0] == 303, (name, value)
    assert site.ask("GET", "/workshop", Cookie=f"{TLS_COOKIE}={secret}")[0] == 200


# --- The authority -------------------------------------------------------------------------------


def test_the_certificate_is_fetched_from_the_pairing_page_and_its_fingerprint_is_the_one_shown(site: Open) -> None:
    unproved = ssl.create_default_context()
    unproved.check_hostname, unproved.verify_mode = False, ssl.CERT_NONE  # who passed the browser's warning
    connection = http.client.HTTPSConnection(NETWORK, site.port, timeout=20, context=unproved)
    with contextlib.closing(connection):
        connection.request("GET", CERTIFICATE)
        answer = connection.getresponse()
        assert answer.headers["content-type"] == "application/x-x509-ca-cert"
        der = answer.read()
    fingerprint = site.authority.fingerprint()
    assert hashlib.sha256(der).hexdigest().upper() == fingerprint.whole.replace(" ", "")
    first, last = fingerprint.short.split(" … ")
    assert fingerprint.whole.startswith(f"{first} ")
    assert fingerprint.whole.endswith(f" {last}")
    if openssl := shutil.which("openssl"):
        command = [openssl, "x509", "-inform", "DER", "-noout", "-fingerprint", "-sha256"]
        read = subprocess.run(command, input=der, capture_output=True, check=True).stdout.decode()
        assert read.strip().partition("=")[2].replace(":", "") == fingerprint.whole.replace(" ", "")
    assert site.ask("GET", f"{CERTIFICATE}/x")[1]["location"] == "/pair"


def _openssl(*words: object) -> subprocess.CompletedProcess[str]:
    openssl = shutil.which("openssl")
    if openssl is None:
        pytest.skip("no openssl here to judge")
    return subprocess.run([openssl, *map(str, words)], capture_output=True, text=True)


def test_the_certificates_say_what_they_must(tmp_path: Path) -> None:
    found = authority.of_book(tmp_path / "book.sqlite3", {"bench", "bench.local"}, ["192.168.1.5", "fe80::1"])
    root = x509.load_pem_x509_certificate(found.certificate.read_bytes())
    leaf = x509.load_pem_x509_certificate(found.leaf.read_bytes())
    leaf.verify_directly_issued_by(root)
    assert root.extensions.get_extension_for_class(x509.BasicConstraints).critical
    assert root.extensions.get_extension_for_class(x509.BasicConstraints).value == x509.BasicConstraints(True, 0)
    circle = root.extensions.get_extension_for_class(x509.NameConstraints)
    assert circle.critical
    for subtree in circle.value.permitted_subtrees or []:
        if isinstance(subtree, x509.IPAddress):
            assert not ipaddress.ip_network(str(subtree.value)).is_global
        else:
            assert subtree.value in {"bench", "bench.local", "local", "localhost"}
    names = leaf.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert names.get_values_for_type(x509.DNSName) == ["bench", "bench.local", "localhost"]
    assert [str(one) for one in names.get_values_for_type(x509.IPAddress)] == ["127.0.0.1", "192.168.1.5", "fe80::1"]
    assert not leaf.extensions.get_extension_for_class(x509.BasicConstraints).value.ca
    assert leaf.not_valid_after_utc - leaf.not_valid_before_utc <= timedelta(days=398)


@pytest.mark.parametrize(
    ("asked_for", "good"),
    [
        (["-verify_ip", "192.168.1.5"], True),
        (["-verify_hostname", "bench.local"], True),
        (["-purpose", "sslserver"], True),
        (["-verify_ip", "192.168.1.6"], False),
        (["-verify_hostname", "bench.example"], False),
        (["-purpose", "sslclient"], False),
    ],
)
def test_openssl_judges_the_certificate_strictly(tmp_path: Path, asked_for: list[str], good: bool) -> None:
    found = authority.of_book(tmp_path / "book.sqlite3", {"bench", "bench.local"}, ["192.168.1.5"])
    judged = _openssl("verify", "-x509_strict", "-CAfile", found.certificate, *asked_for, found.leaf)
    assert (judged.returncode == 0) is good, judged


@pytest.mark.parametrize("name", ["bank.example", "8.8.8.8"])
def test_what_the_authority_may_not_vouch_for_is_not_believed_though_it_signs_it(tmp_path: Path, name: str) -> None:
    """Somebody who has stolen the key still fools no device that trusts it about a site of the internet."""
    found = authority.of_book(tmp_path / "book.sqlite3", {"bench"}, ["192.168.1.5"])
    root = x509.load_pem_x509_certificate(found.certificate.read_bytes())
    told: x509.GeneralName = x509.DNSName(name)
    with contextlib.suppress(ValueError):
        told = x509.IPAddress(ipaddress.ip_address(name))
    authority._make_leaf(found, root, [told])
    judged = _openssl("verify", "-CAfile", found.certificate, found.leaf)
    assert judged.returncode != 0
    assert "permitted subtree violation" in judged.stderr


def test_its_keys_are_for_one_account(tmp_path: Path) -> None:
    before = os.umask(0)
    try:
        found = authority.of_book(tmp_path / "book.sqlite3", {"bench"}, [])
    finally:
        os.umask(before)
    assert stat.S_IMODE(found.folder.stat().st_mode) == 0o700
    assert {stat.S_IMODE(file.stat().st_mode) for file in found.folder.iterdir()} == {0o600}


def test_the_leaf_is_renewed_and_the_authority_stays(tmp_path: Path) -> None:
    book = tmp_path / "book.sqlite3"
    first = authority.of_book(book, {"bench"}, ["192.168.1.5"]).fingerprint()

    def leaf(*addresses: str, names: frozenset[str] = frozenset({"bench"})) -> bytes:
        found = authority.of_book(book, names, addresses)
        assert found.fingerprint() == first
        found.context()
        return found.leaf.read_bytes()

    moment = clock.now()
    with clock.turned_to(moment) as turn:
        here = leaf("192.168.1.5")
        assert leaf("192.168.1.5") == here
        moved = leaf("192.168.1.6")  # another address from the router
        assert moved != here
        assert leaf("192.168.1.6", "8.8.8.8") == moved  # an address of the internet is none that it vouches for
        assert leaf("192.168.1.6", names=frozenset({"bench", "shed.local"})) != moved  # a name that .local covers
        moved = leaf("192.168.1.6")
        turn(moment + authority.AHEAD - authority.RENEWED_BEFORE + timedelta(days=1))
        later = leaf("192.168.1.6")
        assert later != moved  # it was about to end
        turn(moment - timedelta(days=300))
        assert leaf("192.168.1.6") != later  # the clock stood ahead and is right again


@pytest.mark.parametrize("spoil", ["no key", "another key", "half a certificate", "a leaf of nothing", "a known key"])
def test_what_does_not_fit_is_made_anew(tmp_path: Path, spoil: str) -> None:
    book = tmp_path / "book.sqlite3"
    found = authority.of_book(book, {"bench"}, [])
    before = found.fingerprint()
    if spoil == "no key":
        found.key.unlink()
    elif spoil == "another key":
        shutil.copy(authority.of_book(tmp_path / "other.sqlite3", {"bench"}, []).key, found.key)
    elif spoil == "half a certificate":
        found.certificate.write_text(found.certificate.read_text()[:200])
    elif spoil == "a leaf of nothing":
        found.leaf.write_text("nothing")
    else:
        found.key.chmod(0o644)
    again = authority.of_book(book, {"bench"}, [])
    assert (again.fingerprint() == before) is (spoil == "a leaf of nothing")
    again.context()
    assert _openssl("verify", "-CAfile", again.certificate, again.leaf).returncode == 0


def test_a_start_without_the_network_loads_no_cryptography(tmp_path: Path) -> None:
    """It costs a tenth of a second and more, and the first page waits for it."""
    code = (
        "import sys; from pathlib import Path\n"
        "from app.main import create_app; from app.settings import Settings\n"
        f"create_app(Settings(book=Path({str(tmp_path / 'book.sqlite3')!r})))\n"
        "print([name for name in sys.modules if name.partition('.')[0] == 'cryptography'])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
    assert not authority.folder_of(tmp_path / "book.sqlite3").exists()


# --- The program ---------------------------------------------------------------------------------


def test_the_command_serves_tls_on_the_network_and_plain_here(tmp_path: Path) -> None:
    """A real process, asked at a real address of this machine that is not loopback."""
    outside = next(iter(own_addresses()), None)
    if outside is None:
        pytest.skip("this machine is on no network, so nothing can come in from one")
    command = [sys.executable, "-m", "app", "--no-browser", "--lan"]
    env = {**os.environ, "GRAINBOOK_HOME": str(tmp_path), "PYTHONUNBUFFERED": "1"}
    with subprocess.Popen(command, env=env, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as process:
        try:
            assert process.stdout is not None
            told = ""
            while not (code := re.search(r"Its code: ([0-9]{4} [0-9]{4})", told)):
                line = process.stdout.readline()
                assert line, told
                told += line
            one_time, port = ONE_TIME.search(told), re.search(r"On the tablet: https://[^ :]+:(\d+)/", told)
            assert one_time is not None
            assert port is not None
            assert "NOT ENCRYPTED" not in told
            found = Authority(authority.folder_of(tmp_path / "book.sqlite3"))
            assert found.fingerprint().whole in told
            _uses_it(http.client.HTTPSConnection, outside, int(port[1]), code[1], found)
            here = f"http://127.0.0.1:{port[1]}/"
            assert asked(here)[0] == 403
            assert asked(here, entered(one_time[0]))[0] == 200
            with socket.create_connection((outside, int(port[1])), timeout=20) as raw:
                raw.sendall(f"GET / HTTP/1.1\r\nHost: {outside}:{port[1]}\r\n\r\n".encode())
                assert raw.recv(1000).startswith(b"HTTP/1.1 307 ")
            process.send_signal(signal.SIGINT)
            rest, _ = process.communicate(timeout=60)
            assert "Exception" not in rest, rest
            assert json.loads((tmp_path / "book.sqlite3.lock").read_text())["address"] == ""
        finally:
            process.kill()


def _uses_it(way: type[http.client.HTTPSConnection], host: str, port: int, code: str, trusted: Authority) -> None:
    """A tablet that trusts the authority comes in by the code, and goes on over one connection."""
    tablet = way(host, port, timeout=20, context=ssl.create_default_context(cafile=trusted.certificate))
    with contextlib.closing(tablet):

        def ask(method: str, path: str, body: str | None = None, **head: str) -> http.client.HTTPResponse:
            tablet.request(method, path, body, head)
            answer = tablet.getresponse()
            answer.read()
            return answer

        assert ask("GET", "/workshop").headers["location"] == "/pair"
        form = {"Content-Type": "application/x-www-form-urlencoded"}
        paired = ask("POST", "/pair", urlencode({"code": code, "name": "tablet"}), **form)
        assert paired.status == 303
        cookie = (paired.headers.get_all("set-cookie") or [""])[-1].partition(";")[0]
        assert cookie.startswith(TLS_COOKIE)
        assert ask("GET", "/workshop", Cookie=cookie).status == 200
