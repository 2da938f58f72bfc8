"""A person at the bench who never stops writing, and a ledger of what the server said it had saved.

Each act is one form sent with its once-only token, and the rows that it must leave in the book: all of them when it
was done, none of them when it was not.
"""

import hashlib
import http.client
import random
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import httpx
from fastapi.testclient import TestClient
from sqlmodel import select

from app import clock
from app.db import writing
from app.models import Batch, CastSession
from app.services.grains import grains
from tests import build
from tests.behind import engine_of
from tests.browse import Page, opened

Check = tuple[str, tuple[Any, ...], int]
"""A count in SQL, its parameters, and what it comes to once the act is done; before, it is 0."""

MOTORS = 10
MOST_GRAINS = 990


@dataclass
class Act:
    """A form to send, and what it leaves in the book."""

    kind: str
    url: str
    fields: dict[str, str]
    checks: list[Check]
    acknowledged: bool = False
    thing: str = ""
    raw: bytes = b""
    """A file that is sent with it."""


@dataclass
class Bench:
    """What the person can do next; safe to be asked by several threads.

    The amounts are weighed ones by identity and version; the dud is a motor that never lights.
    """

    chance: random.Random
    forms: dict[str, tuple[str, dict[str, str]]]
    lots: list[str]
    parts: list[tuple[str, str]]
    motors: list[tuple[str, str]]
    lock: threading.Lock = field(default_factory=threading.Lock)
    dud: tuple[str, str] = ("", "")
    number: int = 0
    weighed: int = 0
    amounts: list[tuple[int, int]] = field(default_factory=list)
    whole_grains: list[str] = field(default_factory=list)
    versions: dict[str, int] = field(default_factory=dict)
    """By the address of a form that changes a row: the row's version as far as the bench knows."""

    def next(self) -> Act:
        """An act of a kind drawn by lot."""
        with self.lock:
            self.number += 1
            kinds: dict[Callable[[], Act], int] = {
                self._weigh_out: 5,
                self._temperature: 4,
                self._note: 2,
                self._grain: 5,
                self._leftover: 2,
                self._bag: 1,
                self._no_light: 2,
                self._file: 2,
            }
            if self.amounts:
                kinds[self._strike] = 3
            if self.whole_grains:
                kinds[self._trim] = 3
            if self.motors and self.chance.random() < 0.1:
                kinds[self._burned] = 4
            if self.chance.random() < 0.1:
                kinds[self._plan] = 4
            return self.chance.choices(list(kinds), list(kinds.values()))[0]()

    def done(self, act: Act) -> None:
        """Take note of what an act left that another one can go on with."""
        with self.lock:
            if act.kind == "grain":
                self.whole_grains.append(act.thing)

    def _act(self, form: str, kind: str, typed: dict[str, str], checks: list[Check], thing: str = "") -> Act:
        url, fields = self.forms[form]
        token = f"{kind}-{self.number}-{self.chance.getrandbits(64):x}"
        sent = {name: text for name, text in fields.items() if name != "version"}
        if url in self.versions:
            sent["version"] = str(self.versions[url])
        return Act(kind, url, {**sent, **typed, "once": token}, checks, thing=thing)

    def _weigh_out(self) -> Act:
        part, bag = self.chance.choice(self.parts)
        typed = f"0.1{self.number:07d} g"
        check = ("SELECT count(*) FROM weigh_out WHERE mass_typed = ?", (typed,), 1)
        return self._act(
            f"weigh-{part}",
            "weigh-out",
            {"supply_id": bag, "mass": typed, "sure.likely.mass": typed, "sure.usual.mass": typed},
            [check],
        )

    def _strike(self) -> Act:
        row, version = self.amounts.pop(self.chance.randrange(len(self.amounts)))
        why = f"wrong cup {self.number}"
        check = ("SELECT count(*) FROM weigh_out WHERE id = ? AND voided_why = ?", (row, why), 1)
        act = self._act("strike", "strike-out", {"why": why}, [check])
        act.url = act.url.rpartition("/")[0] + f"/{row}"
        act.fields["version"] = str(version)  # as the page had it: nobody else changes the row
        return act

    def _temperature(self) -> Act:
        typed = f"{220 + self.number % 25}.{self.number:06d} °F"
        check = ("SELECT count(*) FROM temperature_reading WHERE temperature_typed = ?", (typed,), 1)
        return self._act("temperature-form", "temperature", {"temperature": typed}, [check])

    def _note(self) -> Act:
        words = f"Stirred, {self.number}."
        check = ("SELECT count(*) FROM session_note WHERE words = ?", (words,), 1)
        return self._act("note-form", "note", {"words": words}, [check])

    def _leftover(self) -> Act:
        mark = f"Cup {self.number}"
        check = ("SELECT count(*) FROM leftover WHERE mark = ?", (mark,), 1)
        return self._act(
            "leftover-form", "leftover", {"mark": mark, "mass": "0.001 g", "sure.usual.mass": "0.001 g"}, [check]
        )

    def _bag(self) -> Act:
        mark = f"Drum {self.number}"
        check = ("SELECT count(*) FROM supply WHERE mark = ?", (mark,), 1)
        return self._act("supply", "bag", {"ingredient": "Sucrose", "mark": mark, "mass": "25 kg"}, [check])

    def _grain(self) -> Act:
        self.weighed += 1
        lot, number = self.lots[self.weighed // MOST_GRAINS], 1 + self.weighed % MOST_GRAINS
        gross = f"170.0{self.number:06d} g"
        serial = f"{lot}-{number:02d}"
        # A grain that was trimmed since keeps this weighing in its history.
        either = "SELECT serial, gross_typed FROM grain UNION ALL SELECT serial, gross_typed FROM grain_measure"
        check = (f"SELECT count(*) FROM ({either}) WHERE serial = ? AND gross_typed = ?", (serial, gross), 1)
        return self._act(
            f"grains-{lot}", "grain", {"number": str(number), "gross": gross, "sure.same.gross": gross}, [check], serial
        )

    def _trim(self) -> Act:
        """Three rows in one act: the grain anew, how it stood before, and what was cut off."""
        serial = self.whole_grains.pop(self.chance.randrange(len(self.whole_grains)))
        lot, number = serial.split("-")
        gross = f"169.9{self.number:06d} g"
        checks: list[Check] = [
            ("SELECT count(*) FROM grain WHERE serial = ? AND gross_typed = ?", (serial, gross), 1),
            ("SELECT count(*) FROM grain_measure WHERE serial = ? AND why LIKE 'Trimmed%'", (serial,), 1),
            ("SELECT count(*) FROM leftover WHERE mark LIKE ?", (f"{serial} offcut%",), 1),
        ]
        typed = {"number": str(int(number)), "gross": gross, "again": "trimmed", "offcut": "remelt"}
        return self._act(f"grains-{lot}", "trim", typed, checks)

    def _file(self) -> Act:
        """What a logger wrote: a row in the book, and the file beside it."""
        lines = (f"{i}.0,{self.number},{self.chance.random():.9f}" for i in range(self.chance.randrange(20, 3000)))
        raw = "\n".join(("t,F,p", *lines)).encode()
        digest = hashlib.sha256(raw).hexdigest()
        check = ("SELECT count(*) FROM curve_file WHERE sha256 = ?", (digest,), 1)
        act = self._act("file", "file", {}, [check], digest)
        act.raw = raw
        return act

    def _no_light(self) -> Act:
        return self._firing(self.dud, "no_light")

    def _burned(self) -> Act:
        return self._firing(self.motors.pop(), "good")

    def _firing(self, motor: tuple[str, str], result: str) -> Act:
        words = f"Seen from the bunker, {self.number}."
        checks: list[Check] = [("SELECT count(*) FROM firing WHERE words = ? AND result = ?", (words, result), 1)]
        typed = {"motor_build_id": motor[0], "kind": "static", "result": result, "words": words}
        if result == "good":  # the throat found afterwards goes into the nozzle's history in the same act
            typed["throat_after"] = "12.8 mm"
            after = f"After firing {motor[1]}%"
            checks.append(("SELECT count(*) FROM nozzle_measure WHERE note LIKE ?", (after,), 1))
        return self._act("firing", f"firing {result}", typed, checks)

    def _plan(self) -> Act:
        note = f"For the spring, {self.number}."
        of_it = "(SELECT id FROM batch WHERE note = ?)"
        checks: list[Check] = [
            ("SELECT count(*) FROM batch WHERE note = ?", (note,), 1),
            (f"SELECT count(*) FROM batch_item WHERE batch_id = {of_it}", (note,), 1),
            (f"SELECT count(*) FROM batch_part WHERE batch_id = {of_it}", (note,), 3),
        ]
        return self._act("plan", "plan", {"note": note}, checks)


def prepare(client: TestClient, chance: random.Random, lots: int) -> Bench:
    """Fill a book with open sessions, big bags and motors, and read the forms of its pages as a browser does."""
    engine = engine_of(client)
    with writing(engine) as session:
        blend, shape = build.formula(session), build.pattern(session)
        great = [build.supply(session, key, "1000 kg") for key in build.EVERYDAY]
        bags = {bag.ingredient: bag for bag in great}
        inside = build.ready_grains(session, MOTORS + 1, blend=blend, shape=shape)
        built = [build.bare_motor(session, [grain], predicted=400.0) for grain in inside]
        motors = [(str(motor.pk), motor.code) for motor in built]
        fired = build.bare_firing(session, build.bare_motor(session, build.ready_grains(session, 1)))
        logged = f"/firings/{fired.pk}/curve"
        for past in session.exec(select(CastSession)):
            past.closed_at = clock.now()  # the evening of those grains; tonight's is another one
        casts: list[Batch] = [build.weighed_batch(session, 2, blend=blend, shape=shape) for _ in range(lots)]
        for lot in casts:
            build.grain(session, lot, decision=None)
        first = casts[0]
        parts = [(str(part.pk), str(bags[part.ingredient or ""].pk)) for part in first.parts]
        code, codes = first.code, [lot.code for lot in casts]
        plan = {"formula_id": str(blend.pk), "items.0.pattern_id": str(shape.pk), "items.0.count": "2"}
        assert grains.next_number(session, first) == 2
        session.commit()
    forms = {}
    cast = opened(client, f"/cast/{code}")
    for key, form in cast.forms.items():
        forms["strike" if key.startswith("strike-") else key] = (form.action, form.fields)
    for lot_code in codes:
        form = opened(client, f"/cast/{lot_code}/grains").forms["next"]
        forms[f"grains-{lot_code}"] = (form.action, form.fields)
    for name, url in (
        ("supply", "/workshop/supplies/new"),
        ("firing", "/firings/new"),
        ("plan", "/plan/new"),
        ("file", logged),
    ):
        form = opened(client, url).forms["form"]
        forms[name] = (url, form.fields)
    forms["plan"] = (forms["plan"][0], {**forms["plan"][1], **plan})
    bench = Bench(chance, forms, codes, parts, motors[1:], dud=motors[0], weighed=1)
    weighing = [forms[f"weigh-{part}"] for part, _ in parts]
    bench.versions = {url: int(fields["version"]) for url, fields in weighing}
    return bench


class Writer(threading.Thread):
    """One connection that sends forms until the server is gone."""

    def __init__(self, port: int, cookie: str, first: list[Act], bench: Bench, seen: threading.Event) -> None:
        super().__init__(daemon=True)
        self.port, self.cookie, self.first, self.bench, self.seen = port, cookie, first, bench, seen
        self.sent: list[Act] = []
        self.refused: list[str] = []

    def run(self) -> None:
        """Send what was not answered last time, then new forms; now and then one twice."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        try:
            while True:
                act = self.first.pop() if self.first else self.bench.next()
                self.sent.append(act)
                self._send(connection, act)
                if self.bench.chance.random() < 0.1:
                    self._send(connection, act)
        except (OSError, http.client.HTTPException):
            return  # the server was killed; what had no answer is sent again to the next one
        finally:
            connection.close()

    def _send(self, connection: http.client.HTTPConnection, act: Act) -> None:
        status, page = post(connection, self.cookie, act.url, act.fields, act.raw)
        while status == 409 and act.url in self.bench.versions:  # another hand was quicker: look again
            connection.request("GET", act.url.partition("/weigh")[0], headers={"Cookie": self.cookie})
            form = Page(connection.getresponse().read().decode()).forms[f"weigh-{act.url.rpartition('/')[2]}"]
            self.bench.versions[act.url] = int(form.fields["version"])
            act.fields["version"] = form.fields["version"]
            status, page = post(connection, self.cookie, act.url, act.fields, act.raw)
        if status == 303:
            if act.url in self.bench.versions and not act.acknowledged:
                self.bench.versions[act.url] = int(act.fields["version"]) + 1
            act.acknowledged = True
            self.seen.set()
        else:
            self.refused.append(f"{act.kind} {act.url} {act.fields}: {status} {page[:4000]}")
            raise http.client.HTTPException("refused")


def post(
    connection: http.client.HTTPConnection, cookie: str, url: str, fields: dict[str, Any], raw: bytes = b""
) -> tuple[int, str]:
    """Send a form, with a file if there is one, as a browser that was let in; gives the status and the page."""
    if raw:
        asked = httpx.Request("POST", "http://localhost", data=fields, files={"file": ("stand.csv", raw, "text/csv")})
        head = {"Content-Type": asked.headers["content-type"], "Cookie": cookie}
        connection.request("POST", url, asked.read(), head)
        answer = connection.getresponse()
        return answer.status, answer.read().decode()
    head = {"Content-Type": "application/x-www-form-urlencoded", "Cookie": cookie}
    connection.request("POST", url, urlencode(fields, doseq=True), head)
    answer = connection.getresponse()
    return answer.status, answer.read().decode()


def copied(book: Path, folder: Path) -> Path:
    """The book as a crash left it: its file and its log, so that the next server has the same to recover from."""
    copy = folder / "seen.sqlite3"
    for end in ("", "-wal"):
        found = book.with_name(book.name + end)
        target = copy.with_name(copy.name + end)
        target.unlink(missing_ok=True)
        if found.exists():
            target.write_bytes(found.read_bytes())
    copy.with_name(copy.name + "-shm").unlink(missing_ok=True)
    return copy
