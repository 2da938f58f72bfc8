"""The same thing done twice at the same moment, over real connections: it is done once, and the other is told."""

import http.client
import random
import re
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from app.db import writing
from app.main import create_app
from app.models.batch import LeftoverIn
from app.services.cast import leftovers
from app.services.stock import batches, supplies
from app.settings import Settings
from tests import build
from tests.behind import browser_of, engine_of
from tests.browse import Page, opened
from tests.reliability.bench_acts import Bench, post, prepare
from tests.reliability.nursery import needs_fork
from tests.reliability.servers import forked

pytestmark = [pytest.mark.reliability, needs_fork]

HANDS = 8
Sent = tuple[str, dict[str, str]]


@dataclass
class Shop:
    """A served book, the forms of its pages as they stood, and what waits in it to be fought over."""

    file: Path
    bench: Bench
    forms: dict[str, Sent]
    facts: dict[str, Any]
    port: int = 0
    cookie: str = ""

    def form(self, name: str, **typed: str) -> Sent:
        """A form of a page as one more tab has it: with a token of its own."""
        url, fields = self.forms[name]
        token = f"{name}-{random.SystemRandom().getrandbits(64):x}"
        return url, {**fields, "once": token, **typed}

    def at_once(self, *forms: Sent) -> list[tuple[int, str]]:
        """Send forms at the same moment, each over a connection of its own; what each was told, in their order."""
        gate, told = threading.Barrier(len(forms)), dict[int, tuple[int, str]]()

        def hand(number: int, url: str, fields: dict[str, str]) -> None:
            with closing(http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)) as connection:
                connection.connect()
                gate.wait(30)
                told[number] = post(connection, self.cookie, url, fields)

        hands = [threading.Thread(target=hand, args=(i, *form)) for i, form in enumerate(forms)]
        for thread in hands:
            thread.start()
        for thread in hands:
            thread.join(90)
        return [told[i] for i in range(len(forms))]

    def one_wins(self, words: str, *forms: Sent) -> None:
        """Send forms at once: one is done, every other is refused and told so in these words (a pattern)."""
        told = self.at_once(*forms)
        assert [status for status, _ in told].count(303) == 1, [(s, Page(p).texts.get("main", p)) for s, p in told]
        for status, page in told:
            if status != 303:
                assert status in (409, 422), page
                assert re.search(words, " ".join(page.split())), Page(page).texts.get("main", page)

    def count(self, sql: str, *values: object) -> int:
        """A count in the book."""
        with closing(sqlite3.connect(self.file)) as book:
            return int(book.execute(f"SELECT count(*) FROM {sql}", values).fetchone()[0])


@pytest.fixture(scope="module")
def shop(empty_book: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    file = tmp_path_factory.mktemp("hands") / "book.sqlite3"
    file.write_bytes(empty_book.read_bytes())
    app = create_app(Settings(book=file))
    with browser_of(app) as client:
        bench = prepare(client, random.Random(1), lots=1)
        facts = _stocked(client)
        found = Shop(file, bench, _forms(client, facts), facts)
    engine_of(app).dispose()
    with forked(file) as servers:
        found.port, found.cookie = servers.start(), servers.cookie
        yield found


def _stocked(client: TestClient) -> dict[str, Any]:
    """What two people can want at once."""
    with writing(engine_of(client)) as session:
        blend, shape = build.formula(session), build.pattern(session)
        free = build.ready_grains(session, 2, blend=blend, shape=shape)
        hardware = [(build.case(session).pk, build.nozzle(session).pk) for _ in "ab"]
        lot = build.weighed_batch(session, 2, blend=blend, shape=shape)
        last = build.supply(session, lot.parts[0].ingredient or "", "100 g", received_on="2024-01-09")
        bad = build.grain(session, lot, decision="reject")
        ready = build.batch(session, 2, blend=blend, shape=shape)
        build.stock(session, ready)
        checklist = build.checklist(session, ready)
        typed = LeftoverIn.model_validate({"mark": "Cup", "mass": "50 g"})
        cup = leftovers.keep(session, lot, typed)
        melts = []
        for share in ("30 g", "20 g"):
            remelt = [{"leftover_id": cup.pk, "mass": share}]
            melts.append(build.batch(session, 4, blend=blend, shape=shape, remelts=remelt))
        for melt in melts:
            build.opened_session(session, melt)
        facts = {
            "grains": [str(g.pk) for g in free],
            "hardware": hardware,
            "lot": lot.code,
            "last": str(last.pk),
            "parts": [part.pk for part in lot.parts],
            "bad": bad.number,
            "bad id": bad.pk,
            "ready": ready.code,
            "checklist": checklist.pk,
            "cup": cup.pk,
            "melts": [(m.code, next(p.pk for p in m.parts if p.leftover_id)) for m in melts],
        }
        assert supplies.remaining(session)[last.pk] == pytest.approx(0.1)
        assert batches.leftovers_left(session)[cup.pk] == pytest.approx(0.05)
        session.commit()
    return facts


def _forms(client: TestClient, facts: dict[str, Any]) -> dict[str, Sent]:
    wanted = {
        "motor": ("/motors/new", "form"),
        "draw": (f"/cast/{facts['lot']}", f"weigh-{facts['parts'][0]}"),
        "same": (f"/cast/{facts['lot']}", f"weigh-{facts['parts'][1]}"),
        "gone": (f"/cast/{facts['lot']}/grains", f"gone-{facts['bad']}"),
        "open": (f"/plan/{facts['ready']}/checklist", "open"),
        "firing": ("/firings/new", "form"),
        **{f"melt {i}": (f"/cast/{code}", f"weigh-{part}") for i, (code, part) in enumerate(facts["melts"])},
    }
    found = {}
    for name, (page, form_id) in wanted.items():
        form = opened(client, page).forms[form_id]
        found[name] = (form.action, form.fields)
    return found


SURE = "sure.likely.mass"
"""The field that answers the question about an amount far off its target."""


@pytest.mark.promise("The same form from 2 and 8 hands at once is saved once", figure="8 kinds of form")
@pytest.mark.parametrize("kind", ["weigh_out", "note", "grain", "bag", "plan", "leftover", "no_light", "burned"])
@pytest.mark.parametrize("hands", [2, HANDS])
def test_a_form_sent_by_several_hands_at_once_is_saved_once(shop: Shop, kind: str, hands: int) -> None:
    shop.bench.number += 1
    act = getattr(shop.bench, f"_{kind}")()
    told = shop.at_once(*[(act.url, act.fields)] * hands)
    assert [status for status, _ in told] == [303] * hands, told
    if act.url in shop.bench.versions:
        shop.bench.versions[act.url] += 1
    for sql, values, wanted in act.checks:
        assert shop.count(sql.removeprefix("SELECT count(*) FROM "), *values) == wanted
    assert shop.count("once_token WHERE token = ?", act.fields["once"]) == 1


@pytest.mark.promise(
    "One grain, bag, leftover, motor, checklist wanted by several at once: one gets it, the others are told",
    figure="7 things",
)
def test_a_grain_goes_into_one_of_two_motors(shop: Shop) -> None:
    builds = []
    for case, nozzle in shop.facts["hardware"]:
        url, fields = shop.form("motor", case_id=str(case), nozzle_id=str(nozzle), throat_d="12.7 mm")
        builds.append((url, {**fields, "grain_ids": shop.facts["grains"]}))
    shop.one_wins("take that motor apart first", *builds)
    assert shop.count("build_grain WHERE grain_id = ? AND released_at IS NULL", shop.facts["grains"][0]) == 1


def test_the_last_grams_of_a_bag_go_into_one_pan(shop: Shop) -> None:
    draws = [
        shop.form("draw", supply_id=shop.facts["last"], mass=f"{mass} g", **{SURE: f"{mass} g"}) for mass in (99, 98)
    ]
    shop.one_wins("changed in another tab", *draws)
    assert shop.count("weigh_out WHERE supply_id = ?", shop.facts["last"]) == 1


@pytest.mark.promise("A form without its token or its version stores nothing", figure="50 hands at once; every form")
@pytest.mark.parametrize("lacks", ["once", "version"])
def test_of_fifty_hands_without_token_or_version_none_is_stored(shop: Shop, lacks: str) -> None:
    draws = [shop.form("draw", mass="1.25 g", **{SURE: "1.25 g"}) for _ in range(50)]
    for _, fields in draws:
        del fields[lacks]
    told = shop.at_once(*draws)
    assert {status for status, _ in told} == {422 if lacks == "once" else 409}
    assert shop.count("weigh_out WHERE mass_typed = '1.25 g'") == 0


def test_two_tabs_that_weigh_the_same_part_do_not_both_book(shop: Shop) -> None:
    shop.one_wins("changed in another tab", *[shop.form("same", mass="1.5 g", **{SURE: "1.5 g"}) for _ in "ab"])
    assert shop.count("weigh_out WHERE batch_part_id = ? AND mass_typed = '1.5 g'", shop.facts["parts"][1]) == 1


def test_the_last_grams_of_a_leftover_are_melted_once(shop: Shop) -> None:
    shop.one_wins("holds", *[shop.form(f"melt {i}", mass="40 g", **{SURE: "40 g"}) for i in range(2)])
    assert shop.count("weigh_out WHERE leftover_id = ?", shop.facts["cup"]) == 1


def test_a_rejected_grain_goes_to_one_place(shop: Shop) -> None:
    shop.one_wins(
        "changed in another tab|Bring it back first",
        *[shop.form("gone", to=to) for to in ("remelt", "scrap", "remelt")],
    )
    to_remelt = shop.count("grain WHERE id = ? AND gone_to = 'remelt'", shop.facts["bad id"])
    assert shop.count("leftover WHERE grain_id = ?", shop.facts["bad id"]) == to_remelt


def test_a_motor_burns_once(shop: Shop) -> None:
    motor, _ = shop.bench.motors.pop()
    shots = [shop.form("firing", motor_build_id=motor, kind="static", result=r) for r in ("good", "weak", "rough")]
    shop.one_wins("a motor fires once|Choose one of", *shots)
    assert shop.count("firing WHERE motor_build_id = ?", motor) == 1


def test_a_checklist_opens_a_session_once(shop: Shop) -> None:
    shop.one_wins("open already", *[shop.form("open") for _ in range(4)])
    assert shop.count("session_opening WHERE checklist_id = ?", shop.facts["checklist"]) == 1
