"""How fast the pages are on a big book: 500 lots, 5,000 grains, 1,500 firings.

python -m pytest tests/benchmarks/test_book_bench.py --benchmark-only

One lot goes through the services, the others are copied from it row by row in SQL, with the guards off meanwhile.
"""

import re
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine
from sqlmodel import Session, SQLModel, select

from app import clock, guards
from app.db import open_engine, writing
from app.main import create_app
from app.models import Batch, Grain
from app.services import review, workshop
from app.settings import Settings
from tests import build

LOTS, GRAINS, FIRINGS = 500, 10, 3
COPIED = ("batch", "batch_item", "batch_part", "weigh_out", "cast_session", "cast_step", "grain", "motor_build",
          "build_grain", "prediction", "firing")  # fmt: skip
STRIDE = 1000
"""Identities of a copy are those of the first lot and so many times a thousand."""


def _first_lot(session: Session) -> str:
    """A lot of ten grains cast through the services, nine of them burned in three motors."""
    workshop.get(session).person = "Ada"
    for ingredient in ("potassium nitrate", "sorbitol", "sucrose"):
        build.supply(session, ingredient, "100 kg")
    shares = [0.950 + 0.002 * i for i in range(GRAINS)]
    with clock.turned_to(clock.now() - timedelta(days=20)):
        lot = build.cast(session, GRAINS)
        made = [build.grain(session, lot, share) for share in shares]
    for i in range(FIRINGS):
        built = build.bare_motor(session, made[3 * i : 3 * i + 3], predicted=500.0)
        build.bare_firing(session, built, measured_impulse_ns=450.0 + 10 * i)
    return lot.code


def _copy(value: Any, column: Any, k: int, code: str, table: str) -> Any:
    """A value of the first lot as it stands in copy k."""
    if value is None:
        return None
    if column.name == "id" or any(key.column.table.name in COPIED for key in column.foreign_keys):
        return value + k * STRIDE
    if column.name == "serial" or (table == "batch" and column.name == "code"):
        return re.sub(f"^{code}", f"{k:04d}", value)
    if table == "motor_build" and column.name == "code":
        return f"{value}-{k}"
    if isinstance(value, datetime):
        return value - timedelta(days=k)
    if column.name == "planned_for":
        return value - timedelta(days=k)
    if column.name == "density_share":
        return value + 1e-4 * (k % 7)
    return value


def fill(engine: Engine) -> str:
    """Fill a book; the code of the first lot."""
    with writing(engine) as session:
        code = _first_lot(session)
        session.commit()
    with writing(engine) as session:
        connection = session.connection()
        guards.remove(connection)
        for name in COPIED:
            table = SQLModel.metadata.tables[name]
            rows = connection.execute(table.select()).mappings().all()
            copies = [
                {c.name: _copy(row[c.name], c, k, code, name) for c in table.columns}
                for k in range(1, LOTS) for row in rows
            ]  # fmt: skip
            connection.execute(table.insert(), copies)
        guards.install(connection)
        session.commit()
    return code


@pytest.fixture(scope="module")
def book(empty_book: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """The big book's file, and the code of its first lot."""
    path = tmp_path_factory.mktemp("big") / "book.sqlite3"
    path.write_bytes(empty_book.read_bytes())
    engine = open_engine(path)
    code = fill(engine)
    with Session(engine) as session:
        assert len(session.exec(select(Grain.id)).all()) == LOTS * GRAINS
        assert review.lots(session, review.ReviewIn()).total == LOTS
    engine.dispose()
    return path, code


@pytest.fixture(scope="module")
def client(book: tuple[Path, str]) -> Iterator[TestClient]:
    with TestClient(create_app(Settings(book=book[0])), base_url="http://localhost") as client:
        yield client


@pytest.mark.parametrize(
    "address",
    ["/review", "/review?sort=density", "/review?sort=ratio&order=up", "/review?result=good&since=2020-01-01",
     "/review/{code}", "/cast/{code}/grains", "/shelf"],
)  # fmt: skip
def test_a_page(benchmark: Any, client: TestClient, book: tuple[Path, str], address: str) -> None:
    page = benchmark(client.get, address.format(code=book[1]))
    assert page.status_code == 200
    benchmark.extra_info["kB"] = len(page.content) // 1000


def test_a_weight_saved_and_its_verdict_shown(benchmark: Any, client: TestClient) -> None:
    """The press of Enter to the page with the verdict: the save, on disk, and the page that it leads to."""
    engine = client.app.state.engine  # type: ignore[attr-defined]
    with writing(engine) as session:
        lot = build.cast(session, 12)
        code, pattern_id = lot.code, lot.items[0].pattern_id
        session.commit()
    number = iter(range(1, 1000))

    def again() -> tuple[tuple[()], dict[str, Any]]:
        n = next(number)
        return (), {"data": {"once": f"{code}-{n}", "pattern_id": pattern_id, "number": n, "gross": "ST,GS,+0172.3g"}}

    def weigh(data: dict[str, Any]) -> Any:
        return client.post(f"/cast/{code}/grains", data=data)

    page = benchmark.pedantic(weigh, setup=again, rounds=12, warmup_rounds=1)
    assert page.status_code == 200
    assert "Weighed last" in page.text
    with Session(engine) as session:
        batch = session.exec(select(Batch).where(Batch.code == code)).one()
        assert len(session.exec(select(Grain.id).where(Grain.batch_id == batch.pk)).all()) == 13
