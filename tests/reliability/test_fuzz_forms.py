"""Fuzz of every form: each POST route found from the app, on a filled book, with fields of that route's own form.

A field holds what suits it or anything else: numbers, huge and odd ones, text of any kind, NUL, the same name twice,
nothing. Whatever is sent, the answer is a page in time and no fault of the program; what is saved is taken back.
"""

import asyncio
import re
import sqlite3
import threading
from collections import Counter
from collections.abc import Iterator
from contextlib import closing
from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import httpx
import pytest
from fastapi import FastAPI
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel

from app.forms import Form
from app.forms.fields import locate, row_model
from app.main import create_app
from app.models.base import FormIn, measure_of
from app.settings import Settings
from app.units import KINDS, UnitSystem
from tests.behind import copied_with_files, engine_of, let_in, unsynced
from tests.browse import Page
from tests.reliability.fuzz import CASES, TIMEOUT_S, enough, tried
from tests.routes import declared, filled

ROUTES = [path for path in declared("POST") if not path.startswith("/api/")]
ANSWERS = {204, 303, 400, 403, 404, 409, 413, 422, 429}
Fields = list[tuple[str, str]]

_ODD = st.one_of(
    st.text(max_size=20),
    st.sampled_from(
        [
            "",
            " ",
            "0",
            "-1",
            "1e309",
            "NaN",
            "inf",
            "9" * 400,
            "1/0",
            "²",
            "٣",
            "\x00",
            "a\x00b",
            "L" * 20_000,
            "<b>x</b>",
            "\U0001f600" * 20,
            "' OR 1=1 --",
            "../../etc/passwd",
            "=1+1",
            "\r\n",
            "2026-13-45",
            "0001-01-01",
            "9999-12-31",
            "2026-11-25T25:61",
            "None",
            "true",
            "[]",
            "{}",
            "\u202eabc",
            "1 2 3",
            "-0",
            "1_0",
        ]
    ),
    st.integers(-(10**20), 10**20).map(str),
    st.floats().map(repr),
)


class Book:
    """A filled book, asked without a network, and the way back to how it was."""

    def __init__(self, file: Path, demo: Path) -> None:
        copied_with_files(demo, file)
        self.file, self.kept = file, sqlite3.connect(":memory:", check_same_thread=False)
        with sqlite3.connect(file) as now:
            now.backup(self.kept)
        self.app: FastAPI = create_app(Settings(book=file))
        unsynced(engine_of(self.app))
        self.loop = asyncio.new_event_loop()
        self.thread = threading.Thread(target=self.loop.run_forever)  # a browser test leaves a loop in the main one
        self.thread.start()
        transport = httpx.ASGITransport(app=self.app, raise_app_exceptions=True)
        self.client = httpx.AsyncClient(transport=transport, base_url="http://localhost", cookies=let_in(file))
        self.saved = 0

    def ask(self, method: str, address: str, **more: Any) -> httpx.Response:
        """One request, answered in time."""
        asked = asyncio.wait_for(self.client.request(method, address, **more), TIMEOUT_S)
        return asyncio.run_coroutine_threadsafe(asked, self.loop).result()

    def back(self) -> None:
        """The book as it was."""
        self.client.cookies = httpx.Cookies(let_in(self.file))
        with sqlite3.connect(self.file) as now:
            self.kept.backup(now)

    def close(self) -> None:
        for end in (self.client.aclose(), self.loop.shutdown_default_executor()):
            asyncio.run_coroutine_threadsafe(end, self.loop).result()
        self.loop.call_soon_threadsafe(self.loop.stop)
        self.thread.join()
        self.loop.close()
        engine_of(self.app).dispose()


@pytest.fixture(scope="module")
def book(demo_book: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Book]:
    made = Book(tmp_path_factory.mktemp("fuzz") / "book.sqlite3", demo_book)
    yield made
    made.close()


@pytest.fixture(scope="module")
def met(book: Book) -> dict[str, list[tuple[str, Fields]]]:
    """For each POST route the forms that a walk through the book meets: their address and what stands in them."""
    patterns = {path: re.compile(re.sub(r"\{[^}]+\}", "[^/]+", path)) for path in ROUTES}
    found: dict[str, list[tuple[str, Fields]]] = {}
    waiting, seen, kinds = ["/"], {"/"}, Counter[str]()
    while waiting:
        answer = book.ask("GET", waiting.pop(0))
        if not answer.headers.get("content-type", "").startswith("text/html"):
            continue  # a picture, a table or a zip
        text = answer.text
        for form in Page(text).forms.values():
            for path, pattern in patterns.items():
                if pattern.fullmatch(form.action) and len(found.setdefault(path, [])) < 3:
                    found[path].append((form.action, [(n, t) for n, t in form.fields.items() if n != "once"]))
                    break
        for address in re.findall(r'href="(/[^"#?]*)', text):
            kind = re.sub(r"/(M?\d+[A-Z]*\d*(-\d+)?)(?=/|$)", "/-", address)
            if address not in seen and not address.startswith("/static") and kinds[kind] < 3:
                kinds[kind] += 1
                waiting.append(address)
            seen.add(address)
    return found


def _model_of(book: Book, address: str, monkeypatch: pytest.MonkeyPatch) -> type[FormIn] | None:
    """The form data that a route reads, seen by sending it an empty form."""
    models: list[type[FormIn]] = []
    check = Form.check

    def seen(form: Form, units: UnitSystem) -> FormIn | None:
        models.append(form.model)
        return check(form, units)

    with monkeypatch.context() as patch:
        patch.setattr(Form, "check", seen)
        book.ask("POST", address, data={"once": "fuzz-empty"})
    book.back()
    return models[0] if models else None


def _made_up(book: Book, path: str) -> list[str]:
    """Addresses of a route whose form no page of the book shows at this moment: of real rows all the same."""
    codes = [code for (code,) in book.kept.execute("SELECT code FROM batch ORDER BY id DESC LIMIT 3")]
    serials = [serial for (serial,) in book.kept.execute("SELECT serial FROM grain ORDER BY id DESC LIMIT 3")]
    if "{code}" in path:
        serials = [s for s in serials if s.split("-")[0] in codes] or serials
    found = []
    for serial in serials:
        lot, _, number = serial.partition("-")
        real = {"code": lot, "serial": serial, "number": str(int(number))}

        def put(part: re.Match[str], real: dict[str, str] = real) -> str:
            return real.get(part[1], "1")

        found.append(re.sub(r"\{(\w+)\}", put, path))
    return [*found, filled(path)]


@cache
def _fitting(model: type[FormIn], name: str) -> st.SearchStrategy[str]:
    """Texts that suit a field, as far as its kind tells."""
    holder: type[BaseModel] = model
    field = name
    if "." in name:
        holder, _ = locate(model, name)
        field = name.split(".")[-1]
    bound = Form(model, "form", "/").field(name)
    measure = measure_of(holder, field)
    if bound.choices:
        return st.sampled_from([value for value, _ in bound.choices])
    if measure is not None:
        unit = next(iter(KINDS[measure.kind].accepted))
        number = st.floats(0.001, 500).map(lambda x: f"{x:.3g} {unit}")
        return st.one_of(st.just(KINDS[measure.kind].example.split(" or ")[0]), number)
    if field.endswith("_id") or bound.control in ("whole", "many"):
        return st.integers(0, 12).map(str)
    kinds = {
        "checkbox": st.sampled_from(["on", ""]),
        "date": st.sampled_from(["2026-11-25", "2026-11-01", "2025-01-31"]),
        "datetime-local": st.sampled_from(["2026-11-25T09:30", "2026-11-24 14:00"]),
        "number": st.floats(0, 100).map(lambda x: f"{x:.3f}"),
    }
    return kinds.get(bound.control, st.sampled_from(["A name", "2611P", "x", "good", "Dry and clear."]))


@cache
def _names(model: type[FormIn]) -> list[str]:
    """The names of a form's fields, those of the first rows of its lists too."""
    found = []
    for name, info in model.model_fields.items():
        try:
            inner = row_model(info)
        except TypeError:
            found.append(name)
        else:
            found += [f"{name}.{i}.{field}" for i in (0, 1) for field in inner.model_fields]
    return found


@st.composite
def _sent(draw: st.DrawFn, model: type[FormIn] | None, stands: list[Fields]) -> Fields:
    """The fields of one post: what the page shows, some of it changed, or a form made up from nothing."""
    fields: dict[str, str] = {}
    as_shown = draw(st.integers(0, 3)) if stands else 0
    if as_shown:
        fields = dict(draw(st.sampled_from(stands)))
    names = [*(_names(model) if model else []), *fields] or ["name"]
    wild = draw(st.integers(0, 3)) == 0
    if not fields and model is not None:
        for name in _names(model):
            if draw(st.integers(0, 5)):
                fields[name] = draw(_fitting(model, name))
        fields["once"] = draw(st.uuids()).hex
    for name in draw(st.lists(st.sampled_from(names), max_size=4 if wild else 2)):
        fits = model is not None and name in _names(model) and not wild
        fields[name] = draw(st.one_of(_fitting(model, name), _ODD)) if fits and model else draw(_ODD)
    sent = list(fields.items())
    if wild:
        sent += draw(st.lists(st.tuples(st.one_of(st.sampled_from(names), st.text(max_size=8)), _ODD), max_size=3))
        sent = draw(st.permutations(sent)) if len(sent) < 30 else sent
        sent += draw(st.sampled_from([[], [], [("version", "1")], [("version", "²")], [("once", "x" * 5000)]]))
    return sent


def _send(book: Book, address: str, sent: Fields, raw: bytes | None) -> httpx.Response:
    """Send a form as a browser would; lone halves of characters are replaced, as browsers do."""
    clean = [(n.encode("utf-8", "replace").decode(), t.encode("utf-8", "replace").decode()) for n, t in sent]
    if raw is None:
        content = urlencode(clean).encode()
        return book.ask("POST", address, content=content, headers={"content-type": "application/x-www-form-urlencoded"})
    texts: dict[str, Any] = {}
    for name, text in clean:
        texts.setdefault(name or "x", []).append(text)
    return book.ask("POST", address, data=texts, files={"file": (dict(clean).get("file", "x.csv") or "x.csv", raw)})


def _check(book: Book, answer: httpx.Response, about: object) -> None:
    if "attachment" in answer.headers.get("content-disposition", ""):  # a copy is handed out, and nothing stored
        return
    assert answer.status_code in ANSWERS, about
    assert "<b>x</b>" not in answer.text, about
    if answer.status_code == 303:
        after = book.ask("GET", answer.headers["location"])
        assert after.status_code in (200, 422), (about, after.status_code, answer.headers["location"])
        assert "<b>x</b>" not in after.text, about
        book.saved += 1
        book.back()


@pytest.mark.promise(
    "No fault and no stuck worker, whatever is sent",
    figure="300 cases (`GRAINBOOK_FUZZ=20`: twenty times as many, new ones)",
)
def test_fuzz_every_form(book: Book, met: dict[str, list[tuple[str, Fields]]], monkeypatch: pytest.MonkeyPatch) -> None:
    seen: Counter[str] = Counter()
    each = -(-CASES["forms"] // len(ROUTES))
    unknown, faults = [], []
    for path in ROUTES:
        places = met.get(path, [])
        addresses = [address for address, _ in places] or _made_up(book, path)
        if path == "/drafts":
            addresses = ["/drafts?page=/plan/new", "/drafts?page=%00", "/drafts"]
        model = _model_of(book, addresses[0], monkeypatch)
        if model is None and not places:
            unknown.append(path)
        files = (
            st.one_of(st.none(), st.binary(max_size=200), st.just(b"0,1\n0.1,2\n0.2,1\n"))
            if "curve" in path
            else st.none()
        )

        @tried(each)
        @given(st.sampled_from(addresses), _sent(model, [fields for _, fields in places]), files)
        def post(address: str, sent: Fields, raw: bytes | None) -> None:
            answer = _send(book, address, sent, raw)
            seen[str(answer.status_code)] += 1
            _check(book, answer, (address, sent))

        try:
            post()
        except Exception as fault:  # the other routes are tried all the same
            fault.add_note(f"POST {path}")
            faults.append(fault)
            book.back()
    if faults:
        raise ExceptionGroup("some forms broke the program", faults)
    enough(seen, "forms")
    # Drafts take the texts of any form; the others have nothing to act on in this book, which is tried all the same.
    assert set(unknown) <= {"/drafts", "/pair", "/workshop/people/{row_id}/away"}, f"no form known for {unknown}"
    assert book.saved > 20  # sound forms are sent too


ANY_STATE = {"/cast/{code}/air"}
"""Forms of a row that go by a reason instead of its version: see `app.services.cast.air`."""


def test_no_form_stores_anything_without_its_token_or_its_version(
    book: Book, met: dict[str, list[tuple[str, Fields]]], pytestconfig: pytest.Config
) -> None:
    """Every POST route but the stateless compute API; a form as its page shows it, but for its token or version.

    One row of each route is asked for without a token or with an empty one, by turns; all and with both by `--long`: a
    form is told by its token, of whatever row it is. A version is its row's own, and is tried at three.
    """
    every_row = pytestconfig.getoption("--long")
    refused, saved_whole = Counter[str](), 0
    with closing(sqlite3.connect(book.file)) as watch:

        def kept() -> object:
            # An answer that a page worked out is nobody's act: it is kept beside the book's record, by no form's token.
            return watch.execute("SELECT count(*) FROM kept_answer").fetchone()

        def acts() -> object:
            return watch.execute("SELECT (SELECT count(*) FROM change), (SELECT count(*) FROM once_token)").fetchone()

        def stored(address: str, sent: dict[str, str]) -> bool:
            before, answers, recorded = watch.execute("PRAGMA data_version").fetchone(), kept(), acts()
            answer = book.ask("POST", address, data=sent)
            changed: bool = watch.execute("PRAGMA data_version").fetchone() != before
            if kept() != answers:
                changed = acts() != recorded
            assert changed or answer.status_code in ANSWERS | {200}, address  # a copy is handed out, and nothing stored
            book.client.cookies = httpx.Cookies(let_in(book.file))
            return changed

        for path in ROUTES:
            shown = met.get(path) or [(address, []) for address in _made_up(book, path)]
            for number, (address, stands) in enumerate(shown):
                if every_row or number == 0:
                    asked = f"{address}?page=/plan/new" if path == "/drafts" else address
                    if every_row or len(refused) % 2:
                        assert not stored(asked, dict(stands)), f"{path} stores without a token"
                    if every_row or not len(refused) % 2:
                        assert not stored(asked, {**dict(stands), "once": ""}), f"{path} stores with an empty token"
                    refused[path] += 1
                if "version" in dict(stands) and path not in ANY_STATE:
                    sent = {name: text for name, text in stands if name != "version"}
                    assert not stored(address, {**sent, "once": f"{path} {number}"[-60:]}), f"{path} without a version"
                    refused["version"] += 1
                    if stored(address, {**dict(stands), "once": f"{path} {number} whole"[-60:]}):
                        saved_whole += 1
                        book.back()
    assert set(refused) == {*ROUTES, "version"}
    assert saved_whole > 20  # the same forms, whole
    assert refused["version"] > 40
