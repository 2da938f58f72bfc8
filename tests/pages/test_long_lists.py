"""Lists that grow for years come by the page, newest first, and every row is on one of the pages."""

import re

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session, col, select

from app import clock
from app.db import writing
from app.models import CastSession, MotorBuild
from app.services.book import repository
from app.services.motors import builds
from tests import build
from tests.behind import engine_of


@pytest.fixture
def _few_on_a_page(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(repository, "ON_A_PAGE", 2)


def _fill(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        more = {"blend": build.formula(session), "shape": build.pattern(session)}
        tools = {"case": build.case(session), "nozzle": build.nozzle(session)}
        for _ in range(5):
            grains = build.ready_grains(session, 1, **more)
            build.firing(session, build.motor_build(session, grains=grains, **tools))
            for cast in session.exec(select(CastSession).where(col(CastSession.closed_at).is_(None))):
                cast.closed_at = clock.now()
        session.commit()


@pytest.mark.promise("Long lists come by the page", figure="50 rows")
@pytest.mark.usefixtures("_few_on_a_page")
@pytest.mark.parametrize(
    ("address", "row"),
    [
        ("/motors", r'th scope="row"><a href="/motors/([^"]+)'),
        ("/firings", r'th scope="row"><a href="/firings/(\d+)'),
        ("/cast", r'th scope="row"><a href="/cast/([^"]+)'),
    ],
)
def test_every_row_is_on_one_page(client: TestClient, address: str, row: str) -> None:
    _fill(client)
    met: list[str] = []
    href: str | None = address
    while href:
        page = client.get(href)
        assert page.status_code == 200
        found = re.findall(row, page.text)
        assert 1 <= len(found) <= 2
        met += found
        older = re.search(r'href="([^"]+)">Older', page.text)
        assert ("Newer" in page.text) == (href != address)
        href = older[1] if older else None
    assert len(met) == len(set(met)) == 5
    assert re.findall(row, client.get(f"{address}?page=99").text) == met[-1:]  # beyond the last: the last
    for odd in ("0", "-1", "x", "9" * 30, ""):
        assert client.get(f"{address}?page={odd}").status_code == 404


@pytest.mark.usefixtures("_few_on_a_page")
def test_plans_of_the_past_come_by_the_page_and_those_to_do_are_all_there(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        shape = build.pattern(session)
        blend = build.formula(session)
        for i in range(8):
            build.batch(session, 1, blend=blend, shape=shape).state = "planned" if i < 4 else "dropped"
        session.commit()
    page = client.get("/plan").text
    assert page.count('th scope="row"') == 4 + 2
    assert "Page 1 of 2, 4 in all" in page


@pytest.mark.usefixtures("_few_on_a_page")
def test_a_motor_that_is_ready_is_found_however_old(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        more = {"blend": build.formula(session), "shape": build.pattern(session)}
        first = build.motor_build(session, grains=build.ready_grains(session, 1, **more))
        code = first.code
        session.commit()
    _fill_more(client)
    with Session(engine_of(client)) as session:
        assert [built.build.code for built in builds.ready(session)] == [code]
        assert builds.listed(session).total == len(session.exec(select(MotorBuild.id)).all())
    assert code in client.get("/firings/new").text
    assert code in client.get("/").text


def _fill_more(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        for i in range(3):
            more = {"blend": build.formula(session, name=f"F{i}"), "shape": build.pattern(session, name=f"P{i}")}
            tools = {"case": build.case(session, name=f"C{i}"), "nozzle": build.nozzle(session, name=f"N{i}")}
            made = build.motor_build(session, grains=build.ready_grains(session, 1, **more), **tools)
            build.firing(session, made)
        session.commit()
