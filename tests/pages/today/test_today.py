"""The day's page."""

from fastapi.testclient import TestClient

from app.db import writing
from tests import build
from tests.behind import engine_of


def test_an_empty_book_says_where_to_begin(client: TestClient) -> None:
    page = client.get("/").text
    places = ("/workshop/supplies", "/workshop/formulas", "/workshop/patterns", "/workshop/cases", "/plan/new")
    for href in places:
        assert f'href="{href}"' in page
    assert [page.index(f'href="{href}"') for href in places] == sorted(page.index(f'href="{h}"') for h in places)
    for href in places:
        assert client.get(href).status_code == 200, href


def test_planned_short_running_and_ready(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        build.batch(session, planned_for="2026-11-25")
        session.commit()
    page = client.get("/").text
    assert 'href="/plan/2611P"' in page
    assert "Short for what is planned" in page
    with writing(engine_of(client)) as session:
        build.ready_grains(session, 2)
        session.commit()
    page = client.get("/").text
    assert "Running" in page
    assert "cured and ready for a motor" in page
