"""Whatever is sent to whatever form: a clear answer, never a fault of the program, and nothing saved by a refusal."""

import re
import secrets
import sqlite3
from collections.abc import Iterator
from itertools import cycle
from pathlib import Path
from typing import Annotated, Any, Literal, get_args, get_origin

import pytest
from httpx2 import Response
from pydantic import BaseModel

from app import first_run
from app.db import migrate, open_engine, writing
from app.forms import from_texts
from app.main import create_app
from app.models.base import FormIn, measure_of
from app.routers import ROUTERS
from app.services.cast import checklists
from app.settings import Settings
from app.units import METRIC
from tests import build
from tests.behind import browser_of
from tests.browse import Page, Person

NEVER_A_NUMBER = [
    "1e309",
    "NaN",
    "inf",
    "-inf",
    "1/0",
    "9" * 5000,
    "1" * 400 + "/1",
    "²",
    "٣",
    "x",
    "19 furlong",
    "0x1F",
    "1_000",
    "1;2",
    "--5",
    "a\x00b",
    "2026-13-45",
    "0001-01-01",
    "1 2 3",
    "__import__('os')",
]
"""Not readable as a number with a unit, a whole number or a day, wherever such a thing is asked for."""

WORDS = [
    "",
    "   ",
    "-1",
    "0",
    "-0",
    "1,5",
    "<b>x</b>&\"'",
    "\U0001f600" * 30,
    "L" * 100_000,
    "' OR 1=1 --",
    "%_",
    "../x",
]
HOUSEKEEPING = ('INSERT INTO "draft"', 'INSERT INTO "once_token"')
FormsMet = dict[str, tuple[str, dict[str, str]]]


class Book:
    """A book with something of everything, a browser without script on it, and the way back to how it was."""

    def __init__(self, folder: Path) -> None:
        self.file, self.kept = folder / "book.sqlite3", sqlite3.connect(":memory:", check_same_thread=False)
        migrate(self.file)
        engine = open_engine(self.file)
        first_run.prepare(engine)
        with writing(engine) as session:
            blend, shape = build.formula(session), build.pattern(session)
            shape.casting_tube_id, shape.coring_rod_id = build.tube(session).pk, build.rod(session).pk
            more: dict[str, Any] = {"blend": blend, "shape": shape}
            tools = {"case": build.case(session), "nozzle": build.nozzle(session)}
            build.field(session)
            fired = build.motor_build(session, grains=build.ready_grains(session, 1, **more), **tools)
            build.firing(session, fired, kind="flight", rocket_id=build.rocket(session).pk)
            self.motor = build.motor_build(session, grains=build.ready_grains(session, 1, **more), **tools).code
            build.ready_grains(session, 1, **more)
            build.cast(session, 2, **more)
            build.grain(session, build.weighed_batch(session, 1, **more), decision=None)
            build.batch(session, 2, **more)
            build.checklist(session, build.batch(session, 1, **more))
            checklists.start(session, build.batch(session, 1, **more))
            to_sign = checklists.start(session, build.batch(session, 1, **more))
            for line in checklists.lines(session, to_sign):
                checklists.answer(session, to_sign, line.item.pk, build.done(line.item))
            build.supply(session, "sorbitol")
            session.commit()
        engine.dispose()
        with sqlite3.connect(self.file) as now:
            now.backup(self.kept)
        self.client = browser_of(create_app(Settings(book=self.file)), Person)
        self.dump = self.contents()

    def contents(self) -> list[str]:
        """Everything in the book but its housekeeping."""
        with sqlite3.connect(self.file) as now:
            return [
                line
                for line in now.iterdump()
                if not line.startswith(tuple(f'INSERT INTO "{t}"' for t in HOUSEKEEPING))
            ]

    def back(self) -> None:
        """The book as it was."""
        with sqlite3.connect(self.file) as now:
            self.kept.backup(now)

    def post(self, address: str, data: dict[str, str | list[str]]) -> Response:
        """Send a form; a refusal must leave the book as it was, and an answer must be no fault of the program's."""
        answer = self.client.post(address, data=data, follow_redirects=False)
        about = address, {name: str(text)[:60] for name, text in data.items()}
        if "attachment" in answer.headers.get("content-disposition", ""):  # a copy is handed out, and nothing stored
            return answer
        assert answer.status_code in (204, 303, 404, 409, 422), about
        assert "<b>x</b>" not in answer.text, about
        if answer.status_code == 303:
            after = self.client.get(answer.headers["location"])
            assert after.status_code < 400, about
            assert "<b>x</b>" not in after.text, about
            self.back()
        elif answer.status_code in (409, 422):
            assert 'role="alert"' in answer.text, about
        return answer


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Book]:
    """One book for all tests here; each save is taken back."""
    made = Book(tmp_path_factory.mktemp("bad"))
    with made.client:
        yield made


@pytest.fixture(scope="module")
def forms(book: Book) -> FormsMet:
    """Every kind of form that a walk through the book's pages meets: its address and what stands in it."""
    waiting, seen = ["/"], {"/"}
    met: FormsMet = {}
    kinds: dict[str, int] = {}
    while waiting:
        text = book.client.get(waiting.pop(0)).text
        for form in Page(text).forms.values():
            if f'<form method="post" action="{form.action}"' in text:
                met.setdefault(_kind(form.action), (form.action, dict.fromkeys(form.choices, "") | form.fields))
        for address in re.findall(r'href="(/[^"#?]*)', text):
            kinds[_kind(address)] = kinds.get(_kind(address), 0) + (address not in seen)
            if address not in seen and not address.startswith("/static") and kinds[_kind(address)] <= 9:
                waiting.append(address)
            seen.add(address)
    return met


def _kind(address: str) -> str:
    """An address without its codes and numbers."""
    return re.sub(r"/(\d+[P-Z]*(-\d+)?)(?=/|$)", "/-", address)


def _paths(method: str) -> list[str]:
    """The addresses the app answers to a method, but for the compute API, which has tests of its own."""
    routes = [route for router in ROUTERS for route in router.routes if method in getattr(route, "methods", ())]
    return sorted({path for route in routes if not (path := str(getattr(route, "path", ""))).startswith("/api/")})


def test_the_walk_meets_the_forms_of_the_whole_job(forms: FormsMet) -> None:
    job = {
        "/plan/new",
        "/plan/-/edit",
        "/plan/-/drop",
        "/plan/-/checklist/-/sign",
        "/cast/-/open",
        "/cast/-/weigh/-",
        "/cast/-/step/-",
        "/cast/-/temperature",
        "/cast/-/close",
        "/cast/-/grains",
        "/cast/-/grains/-/decision",
        "/shelf/-/measure",
        "/shelf/-/decision",
        "/motors/new",
        "/motors/-/take-apart",
        "/firings/new",
        "/firings/-/edit",
        "/workshop/settings",
        "/workshop/checklist",
        "/workshop/supplies/-/corrections",
        "/workshop/nozzles/-/measures",
    }
    assert job - set(forms) == set()


POSTS = _paths("POST")
REAL, IMPOSSIBLE = ["1", "2611P"], ["99999999999999999999", "%00", "²"]


def _parts(path: str) -> list[str]:
    """What may be the name of a row, and one of the texts that are none, by turns: each is read in one place for all.

    `%00` is sent to every address by `tests/test_every_route.py`, the others are in every page's address below.
    """
    return [*REAL, IMPOSSIBLE[POSTS.index(path) % 3]] if "{" in path else REAL[:1]


@pytest.mark.parametrize(("path", "part"), [(path, part) for path in POSTS for part in _parts(path)])
def test_every_address_takes_an_empty_and_an_odd_form(book: Book, path: str, part: str) -> None:
    address = re.sub(r"\{[^}]+\}", part, path) + ("?page=/x" if path == "/drafts" else "")
    once = {} if part == "1" else {"once": secrets.token_urlsafe(18)}  # no page has a form of what is not there
    for data in ({}, {"version": "²", "items.0.x.y": "1", "parts.9999999.percent": "1", "": "x"}):
        book.post(address, {**once, **data})


JUNK = ["9" * 5000, "<b>x</b>", "\U0001f600" * 30]


def test_every_form_answers_nonsense_in_all_its_fields(
    book: Book, forms: FormsMet, pytestconfig: pytest.Config
) -> None:
    """Each kind of junk in a third of a form's fields; all in each with `--long`.

    `tests/reliability/test_fuzz_forms.py` sends their like to single fields of every form.
    """
    turns = 3 if pytestconfig.getoption("--long") else 1
    for number, (address, fields) in enumerate(forms.values()):
        names = [name for name in fields if name != "once"]
        for turn in range(number, number + turns):
            book.post(address, {name: [JUNK[(turn + n) % 3], "a\x00b"] for n, name in enumerate(names)})
    assert book.contents() == book.dump


def test_every_field_answers_nonsense_among_good_words(
    book: Book, forms: FormsMet, pytestconfig: pytest.Config
) -> None:
    """One field in five; all of them with `--long`, for `tests/reliability/test_fuzz_forms.py` tries every form too."""
    each = 1 if pytestconfig.getoption("--long") else 5
    fields = [
        (address, fields, name)
        for address, fields in forms.values()
        for name in (*fields, "version")
        if not re.search(r"\.([2-9]|[0-9]{2})\.", name)
    ]
    assert len(fields) > 400
    for (address, stands, name), junk in zip(fields[::each], cycle([*NEVER_A_NUMBER, *WORDS]), strict=False):
        answer = book.post(address, {**stands, name: junk})
        if answer.status_code not in (200, 303) and name == "version":  # 200: a copy, which changes nothing
            assert answer.status_code in (404, 409, 422)
    assert book.contents() == book.dump


# --- Every field of every form, without a page ---------------------------------------------------


def _forms(model: type[FormIn] = FormIn) -> list[type[FormIn]]:
    return [
        found for one in model.__subclasses__() for found in [one, *_forms(one)] if one.__module__.startswith("app.")
    ]


def _fields() -> list[tuple[type[FormIn], str]]:
    """Fields that want a number, a measure or a day, of every form of the app."""
    return [(model, name) for model in _forms() for name in model.model_fields if _wants_a_number(model, name)]


def _wants_a_number(model: type[BaseModel], name: str) -> bool:
    wanted = model.model_fields[name].annotation
    inner = [one for one in (get_args(wanted) or (wanted,)) if one is not type(None)]
    plain = get_args(inner[0])[0] if get_origin(inner[0]) is Annotated else inner[0]
    if get_origin(wanted) is Literal:
        return False
    return measure_of(model, name) is not None or getattr(plain, "__name__", "") in ("int", "float", "date", "datetime")


def chosen(model: type[FormIn], name: str) -> list[tuple[str, str]]:
    """The choices with which a form asks for a field."""
    return [(one.choice, "good" if one.unless else one.values[0]) for one in model.whens if name in one.fields]


@pytest.mark.parametrize(("model", "name"), _fields(), ids=lambda part: getattr(part, "__name__", part))
def test_no_number_field_takes_nonsense(model: type[FormIn], name: str) -> None:
    for typed in NEVER_A_NUMBER:
        form = from_texts(model, [*chosen(model, name), (name, typed)], "form", "/", {})
        assert form.check(METRIC) is None
        assert form.errors.get(name, ""), (typed[:20], "was taken")
        assert "Value error" not in form.errors[name]
        assert len(form.errors[name]) < 250, "an answer, not an echo"
        assert form.text(name) == typed, "what was typed is kept"


def test_the_fields_are_found() -> None:
    assert len(_fields()) > 60


# --- Forms that do not come from a page ------------------------------------------------------------


def test_halves_of_characters_are_replaced_before_they_reach_the_book(book: Book) -> None:
    """Half a character, percent-encoded, which no sound browser sends."""
    answer = book.client.post(
        "/workshop/rods/new",
        content=b"once=halves&diameter=19+mm&name=%ED%A0%80",
        headers={"content-type": "application/x-www-form-urlencoded"},
        follow_redirects=False,
    )
    assert answer.status_code == 303
    assert book.client.get("/workshop/rods").status_code == 200
    book.back()


@pytest.mark.parametrize(
    ("body", "kind"),
    [
        (b'{"name": 1}', "application/json"),
        (b"garbage", "multipart/form-data; boundary=x"),
        (b"", "multipart/form-data"),
        (b"&".join(b"a%d=1" % i for i in range(2000)), "application/x-www-form-urlencoded"),
        (b"\xff\xfe\x00=\xed\xa0\x80", "application/x-www-form-urlencoded"),
    ],
)
def test_a_body_that_is_no_form_is_refused(book: Book, body: bytes, kind: str) -> None:
    answer = book.client.post("/workshop/rods/new", content=body, headers={"content-type": kind})
    assert answer.status_code in (400, 422)
    assert book.contents() == book.dump


def test_a_spoiled_draft_does_not_lock_its_page(book: Book) -> None:
    junk = {"version": "²", "diameter": "9" * 5000, "name": "a\x00b", "x.y.z": "1", "name.0.x": "1"}
    assert book.client.post("/drafts?page=/workshop/rods/new", data=junk).status_code == 204
    assert book.client.get("/workshop/rods/new").status_code == 200
    book.back()


# --- Addresses -----------------------------------------------------------------------------------

ODD = [
    "99999999999999999999",
    "-1",
    "²",
    "٣",
    "a\x00b",
    "x" * 3000,
    "1e309",
    "' OR 1=1 --",
    "%",
    "9" * 5000,
    "0001-01-01",
]


@pytest.mark.parametrize("path", [path for path in _paths("GET") if "{" in path and "ticket" not in path])
def test_an_address_that_names_nothing_is_not_found(book: Book, path: str) -> None:
    for part in ["99999999999999999999", "-1", "0", "%C2%B2", "%00", "%ED%A0%80", "x" * 3000, "%F0%9F%98%80"]:
        answer = book.client.get(re.sub(r"\{[^}]+\}", part, path))
        assert answer.status_code == 404, part
        assert "Nothing was changed" in answer.text


QUESTIONS = {
    "/motors/design": {
        "formula_id": "1",
        "pattern_id": "1",
        "count": "1",
        "case_id": "1",
        "throat_d": "12.7 mm",
        "density": "95 %",
        "field_elevation": "12 m",
        "grain_temperature": "20 C",
    },
    "/motors/new": {"grain": "1", "nozzle_id": "1"},
    "a motor's flight": {"rocket_id": "1", "launch_field_id": "1", "rail": "2 m", "empty_motor": "1 kg"},
    "/shelf": {"find": "", "state": "", "sort": ""},
    "/review": {"formula": "", "pattern_id": "", "result": "", "since": "", "until": "", "sort": "", "order": ""},
    "/firings/new": {"motor": ""},
}


@pytest.mark.parametrize(("path", "name"), [(path, name) for path, asked in QUESTIONS.items() for name in asked])
def test_an_address_with_an_odd_question_is_answered(book: Book, path: str, name: str) -> None:
    asked = QUESTIONS[path]
    if path.startswith("a motor"):
        path = f"/motors/{book.motor}"
    for text in ODD:
        answer = book.client.get(path, params={**asked, name: text}, follow_redirects=False)
        assert answer.status_code in (200, 303, 404, 422), text[:20]
