"""A form in any code of text, in parts of any kind: read as UTF-8 or refused in words, never a fault of the program."""

import encodings
import pkgutil
from collections.abc import Iterator
from itertools import cycle
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlmodel import Session, col, select

from app.db import writing
from app.main import create_app
from app.models import CoringRod
from app.models.firing import Firing
from app.settings import Settings
from tests import build
from tests.behind import browser_of, engine_of
from tests.browse import Person
from tests.routes import declared

CODECS = sorted(
    {one.name for one in pkgutil.iter_modules(encodings.__path__)} | {"rot13", "hex", "base64", "zip", "bz2"}
)
"""Every name that Python has a codec for, of text or not."""
ALIASES = [
    "",
    "UTF-8",
    '"utf-8"',
    "utf8",
    "utf-8; x=y",
    "us-ascii",
    "nothing-such",
    "*",
    "%00",
    "utf-8'en'punycode",
    "\\x",
    "u" * 300,
]
OURS = {"utf_8", "UTF-8", '"utf-8"', "utf8", "utf-8; x=y"}
NEW = "/workshop/rods/new"
ANSWERS = {303, 400, 409, 413, 415, 422}


@pytest.fixture(scope="module")
def site(empty_book: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Person]:
    book = tmp_path_factory.mktemp("codes") / "book.sqlite3"
    book.write_bytes(empty_book.read_bytes())
    with browser_of(create_app(Settings(book=book)), Person) as client:
        with writing(engine_of(client)) as session:
            build.firing(session)
            session.commit()
        yield client


def _part(name: str, text: bytes, more: str = "") -> bytes:
    return f'--x\r\nContent-Disposition: form-data; name="{name}"\r\n{more}\r\n'.encode() + text + b"\r\n"


def _names(site: Person) -> list[str]:
    with Session(engine_of(site)) as session:
        return list(session.exec(select(CoringRod.name)))


def _firing(site: Person) -> int:
    with Session(engine_of(site)) as session:
        return session.exec(select(Firing).order_by(col(Firing.id))).one().pk


@pytest.mark.promise("A form in any code of text is read as UTF-8 or refused in words", figure="every codec of Python")
@pytest.mark.parametrize("code", [*CODECS, *ALIASES])
def test_every_codec_is_utf_8_or_refused_in_words(site: Person, code: str) -> None:
    for kind, body in (
        ("application/x-www-form-urlencoded", b"once=%s&name=R%%C3%%B6d+%s&diameter=19+mm"),
        (
            "multipart/form-data; boundary=x",
            _part("once", b"%s") + _part("name", b"R\xc3\xb6d %s") + _part("diameter", b"19 mm") + b"--x--\r\n",
        ),
    ):
        token = f"{abs(hash((code, kind)))}".encode()
        sent = body % (token, token)
        answer = site.post(
            NEW, content=sent, headers={"content-type": f"{kind}; charset={code}"}, follow_redirects=False
        )
        if code in OURS:
            assert answer.status_code == 303, code
            assert f"Röd {token.decode()}" in _names(site)
        else:
            assert answer.status_code == 415, code
            assert "UTF-8" in answer.text
            assert f"{token.decode()}" not in str(_names(site))


OTHERS = cycle(["utf-7", "punycode", "unicode_escape", "undefined", "idna", "rot13", "base64", "utf-16"])
"""By turns: the test above sends every code to one form."""
FORMS = [path for path in declared("POST") if not path.startswith("/api/")]


@pytest.mark.parametrize(("path", "code"), list(zip(FORMS, OTHERS, strict=False)))
def test_every_form_and_file_form_refuses_other_codes(site: Person, path: str, code: str) -> None:
    address = path.replace("{firing_id}", str(_firing(site)))
    for part in ("{code}", "{serial}"):
        address = address.replace(part, "2611P-01" if part == "{serial}" else "2611P")
    while "{" in address:
        address = address[: address.index("{")] + "1" + address[address.index("}") + 1 :]
    body = (
        _part("once", b"t")
        + b'--x\r\nContent-Disposition: form-data; name="file"; filename="+2AA-.csv"\r\n\r\n+2AA-\r\n--x--\r\n'
    )
    kind = {"content-type": f"multipart/form-data; boundary=x; charset={code}"}
    answer = site.post(f"{address}?page=/x", content=body, headers=kind, follow_redirects=False)
    assert answer.status_code in (404, 415) or path == "/pair", answer.text[:200]


HEADS = st.sampled_from(
    [
        "Content-Type: text/plain; charset=utf-7",
        "Content-Type: text/plain; charset=undefined",
        "Content-Type: application/json",
        "Content-Type: multipart/mixed; boundary=y",
        'Content-Type: ;;;=="',
        "Content-Type: \xff\xfe",
        "Content-Transfer-Encoding: base64",
        "Content-Transfer-Encoding: quoted-printable",
        "Content-Transfer-Encoding: 7bit, 8bit",
        "Content-Length: -1",
        "X-A: " + "b" * 5000,
        "",
    ]
)
DISPOSITIONS = st.sampled_from(
    [
        'form-data; name="name"',
        "form-data; name=name",
        "form-data; name*=utf-8''na%6De",
        "form-data; name*=undefined''na%6De",
        "form-data; name*=utf-7'en'+2AA-",
        'form-data; name="name"; filename="a.csv"',
        "form-data; name=\"file\"; filename*=punycode''%ff%fe",
        "form-data; name=\"file\"; filename*=unicode_escape''%5Cud800",
        'form-data; name="na\\"me"',
        'form-data; name="\xed\xa0\x80"',
        'form-data; name=""',
        "form-data",
        "attachment",
        ";;;",
        'form-data; name="file"; filename="' + "x" * 4000 + '"',
        '"',
        "",
    ]
)


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")  # the file of a part that never ends
@settings(max_examples=250, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(
    parts=st.lists(st.tuples(DISPOSITIONS, HEADS, st.binary(max_size=30)), max_size=4),
    boundary=st.sampled_from(["x", '"x"', "", "x" * 300, "x y", "\xff", "--", "x;charset=utf-8", "x*0=a", "x%00"]),
    ends=st.sampled_from([b"--x--\r\n", b"--x--", b"--x\r\n", b"", b"\r\n", b"--y--\r\n"]),
)
def test_odd_parts_and_boundaries_are_answered_in_words(
    site: Person, parts: list[tuple[str, str, bytes]], boundary: str, ends: bytes
) -> None:
    body = b"".join(
        b"--x\r\nContent-Disposition: %s\r\n%s\r\n%s\r\n"
        % (one.encode("latin-1"), f"{head}\r\n".encode("latin-1") if head else b"", text)
        for one, head, text in parts
    )
    kind = {"content-type": f"multipart/form-data; boundary={boundary}".encode("latin-1")}
    for address in (NEW, f"/firings/{_firing(site)}/pictures", f"/firings/{_firing(site)}/curve", "/drafts?page=/x"):
        answer = site.post(address, content=body + ends, headers=kind, follow_redirects=False)
        assert answer.status_code in ANSWERS | {204}, (address, answer.status_code)


@settings(max_examples=150, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(
    kind=st.one_of(
        st.sampled_from(
            [
                "",
                ";",
                "multipart/form-data",
                "multipart/form-data;boundary",
                "multipart/form-data; boundary==",
                "text/plain",
                "application/x-www-form-urlencoded;;",
                "application/json",
                "multipart/mixed; boundary=x",
            ]
        ),
        st.text(
            alphabet=st.characters(min_codepoint=32, max_codepoint=255, exclude_characters="\x7f"), max_size=60
        ).map(lambda text: f"multipart/form-data; {text}"),
    ),
    body=st.binary(max_size=200),
)
def test_odd_kinds_of_bodies_are_answered_in_words(site: Person, kind: str, body: bytes) -> None:
    for address in (NEW, f"/firings/{_firing(site)}/pictures"):
        answer = site.post(
            address, content=body, headers={"content-type": kind.encode("latin-1").strip()}, follow_redirects=False
        )
        assert answer.status_code in ANSWERS, (address, answer.status_code)
