"""Fuzz of every address: each GET route with any text in its parts and in every parameter that it reads.

The parameters are those that a route declares, those that it asks for by name, and the fields of the forms that it
reads. Whatever stands there, the answer is a page in time that says what is wrong, and no fault of the program.
"""

import re
from collections import Counter
from collections.abc import Iterator
from itertools import cycle
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, quote, urlencode

import pytest
from hypothesis import given
from hypothesis import strategies as st
from starlette.datastructures import QueryParams

from app.forms import Form
from app.routing import LateRoute
from tests.addresses import NO_PAGES, complete, of_route, rows
from tests.behind import engine_of
from tests.reliability.fuzz import CASES, enough, tried
from tests.reliability.test_fuzz_forms import Book
from tests.routes import declared

ROUTES = [path for path in declared("GET") if not path.startswith("/api/")]
ANSWERS = {200, 204, 303, 404, 409, 422}
SHARP = ["L" * 21, "L" * 3000, "9" * 21, "a\x00b", "\ud800", "\u0663", "0001-01-01", "9999-12-31T23:59-23:59"]
"""What broke a page once, or is of its kind: by turns one half stands in each parameter of a route; `--long`: all."""

HOURS = ["0001-01-01", "9999-12-31", "0001-01-01 00:00", "9999-12-31 23:59", "9999-12-31T23:59-23:59", "2026-02-30"]
ODD = st.one_of(
    st.sampled_from(
        [
            "",
            " ",
            "L" * 21,
            "L" * 256,
            "L" * 30_000,
            "9" * 21,
            "9" * 5000,
            "-1",
            "0",
            str(2**31),
            str(2**63),
            str(2**64),
            "1e309",
            "NaN",
            "²",
            "٣",
            "\x00",
            "a\x00b",
            "%",
            "%_",
            "*",
            '"',
            "' OR 1=1 --",
            "../../etc/passwd",
            "<b>x</b>",
            "\U0001f600" * 30,
            "\ud800",
            "\r\nX-Evil: 1",
            "//evil.example",
            "\\",
            "[",
            "(",
            "2611P-01",
            "2611P" * 10,
            *HOURS,
        ]
    ),
    st.text(max_size=40),
    st.integers().map(str),
    st.floats().map(repr),
)


@pytest.fixture(scope="module")
def book(demo_book: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Book]:
    made = Book(tmp_path_factory.mktemp("addresses") / "book.sqlite3", demo_book)
    complete(engine_of(made.app))
    yield made
    made.close()


def _route(book: Book, path: str) -> LateRoute:
    return next(
        r for r in book.app.routes if isinstance(r, LateRoute) and r.path == path and "GET" in (r.methods or ())
    )


def _asked(book: Book, path: str, addresses: list[str], monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The names of the parameters that a route reads: as it declares them, asks for them, or reads a form of them."""
    names: set[str] = set()
    fields: set[str] = set()
    make = Form.__init__

    def making(form: Form, model: Any, form_id: str, action: str, *values: Any, **more: Any) -> None:
        if values:  # made of what was sent; a form just opened has none
            fields.update(model.model_fields)
        make(form, model, form_id, action, *values, **more)

    def noting(kept: Any) -> Any:
        def noted(self: QueryParams, name: str, *more: Any) -> Any:
            names.add(name)
            return kept(self, name, *more)

        return noted

    with monkeypatch.context() as patch:
        patch.setattr(Form, "__init__", making)
        for method in ("get", "getlist", "__getitem__"):
            patch.setattr(QueryParams, method, noting(getattr(QueryParams, method)))
        for address in addresses:
            book.ask("GET", address)
    route = _route(book, path)
    route.complete()
    declared_names = {one.alias for one in route.dependant.query_params}
    behind = {name for address in addresses for name, _ in parse_qsl(address.partition("?")[2])}
    return sorted(names | fields | declared_names | behind)


def _try(
    book: Book,
    path: str,
    real: dict[str, str],
    monkeypatch: pytest.MonkeyPatch,
    seen: Counter[str],
    turn: Iterator[int] | None,
) -> None:
    """Ask one route for its share of odd texts, in each of its parts and parameters."""
    addresses = [a.format_map(real) for a in of_route(path)] or [NO_PAGES[path].format_map(real)]
    names = _asked(book, path, addresses, monkeypatch)
    parts = re.findall(r"\{(\w+)\}", path)
    base, _, query = addresses[-1].partition("?")

    def ask(place: str, text: str) -> None:
        odd = quote(text, safe="", errors="surrogatepass") or "%20"
        there = re.sub(r"\{(\w+)\}", lambda part: odd if part[1] == place else "1", path) if place in parts else base
        sent = {**dict(parse_qsl(query)), place: text}
        address = f"{there}?{urlencode(sent, errors='surrogatepass')}"
        answer = book.ask("GET", address)
        seen[str(answer.status_code)] += 1
        assert answer.status_code in ANSWERS, (answer.status_code, address[:200])
        assert "x-evil" not in answer.headers
        assert "<b>x</b>" not in answer.text, address

    for place in (*names, *parts):
        for text in SHARP[next(turn) :: 2] if turn else SHARP:
            ask(place, text)
    tried(-(-CASES["addresses"] // len(ROUTES)))(given(st.sampled_from([*names, *parts] or ["nothing"]), ODD)(ask))()


@pytest.mark.promise(
    "Any text in any part and parameter of an address is answered in words, never by a fault of the program",
    figure="every GET route, 600 cases and 4 sharp ones each (`--long`: 8; `GRAINBOOK_FUZZ=20`: more, new ones)",
)
def test_fuzz_every_address(book: Book, monkeypatch: pytest.MonkeyPatch, pytestconfig: pytest.Config) -> None:
    real = rows(engine_of(book.app))
    turn = None if pytestconfig.getoption("--long") else cycle((0, 1))
    seen: Counter[str] = Counter()
    faults = []
    for path in ROUTES:
        try:
            _try(book, path, real, monkeypatch, seen, turn)
        except Exception as fault:  # the other routes are tried all the same
            fault.add_note(f"GET {path}")
            faults.append(fault)
    if faults:
        raise ExceptionGroup("some addresses broke the program", faults)
    assert seen["200"] > 400  # most of them are pages that know what to make of it
    enough(seen, "addresses")
