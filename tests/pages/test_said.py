"""What every page tells without script: a pan that is or may be too hot, with the way to it and in the title."""

import re

from fastapi.testclient import TestClient

from app.db import writing
from app.models.cast import TemperatureIn
from app.services.cast import pan
from app.services.stock import batches
from tests import build
from tests.behind import engine_of
from tests.pages.test_titles import PAGES


def read(client: TestClient, typed: str) -> None:
    with writing(engine_of(client)) as session:
        data = TemperatureIn.model_validate({"temperature": typed})
        pan.record_temperature(session, batches.by_code(session, "2611P"), data)
        session.commit()


def test_every_page_tells_a_pan_that_is_too_hot(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        build.cast(session, until="oxidiser:3", planned_for="2026-11-25")
        session.commit()
    read(client, "300 F")
    for address in [*PAGES, "/cast/2611P", "/no-such-page"]:
        page = client.get(address).text
        told = re.search(r'<div id="hot" aria-live="assertive">(.*?)</div>', page)
        assert told is not None, address
        assert "2611P: The pan was read at" in told[1], address
        assert '<a href="/bench/1">' in told[1], address
        assert "<title>TOO HOT 2611P · " in page, address
    told_devices = client.get("/timers").json()
    assert [(one["code"], one["href"]) for one in told_devices["hot"]] == [("2611P", "/bench/1")]
    assert "300 F, above the limit. Heat off, add nothing." in told_devices["hot"][0]["words"]
    read(client, "240 F")
    assert '<div id="hot" aria-live="assertive"></div>' in client.get("/shelf").text
    assert client.get("/timers").json()["hot"] == []
