"""How fast the pages are on a ten-year book: 500 lots, 5,000 grains, 1,500 firings with curves of 5,000 samples.

python -m pytest tests/benchmarks/test_book_bench.py --benchmark-only

One lot goes through the services, the others are copied from it row by row in SQL, with the guards off meanwhile. The
filled book (some 270 MB) is kept in pytest's cache and filled anew when the schema or this file changes.
"""

import hashlib
import re
import shutil
import time
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine
from sqlmodel import Session, SQLModel, col, select

from app import clock
from app.book import filestore, guards
from app.calc.record.plain_text import plain_text
from app.db import open_engine, writing
from app.main import create_app
from app.models import Batch, Curve, CurveFile, Firing, Grain, Prediction
from app.models.bag import ReWeighIn
from app.models.batch import TestPiecesIn
from app.models.cast import CloseIn, TemperatureIn
from app.models.curve import ReadIn
from app.services.book import stored_files, workshop
from app.services.cast import casting, leftovers, pan
from app.services.firings import reading
from app.services.firings.doubts import Motor
from app.services.firings.opened_files import as_typed
from app.services.grains import reweighs
from app.services.review import lots_review
from app.settings import Settings
from tests import build
from tests.behind import browser_of, copied_with_files, engine_of
from tests.benchmarks.bench import Benchmark

LOTS, GRAINS, FIRINGS, SAMPLES = 500, 10, 3, 5_000
COPIED = (
    "batch",
    "batch_item",
    "batch_part",
    "weigh_out",
    "checklist",
    "checklist_answer",
    "cast_session",
    "session_opening",
    "melt",
    "cast_step",
    "temperature_reading",
    "grain",
    "re_weigh",
    "motor_build",
    "build_grain",
    "prediction",
    "firing",
    "curve_file",
    "curve",
)
STRIDE = 1000
"""Identities of a copy are those of the first lot and so many times a thousand."""


HOW = ReadIn.model_validate(
    {
        "delimiter": "comma",
        "decimal": ".",
        "first_line": 2,
        "time_column": 1,
        "time_unit": "s",
        "force_column": 2,
        "force_unit": "N",
        "pressure_column": 3,
        "pressure_unit": "MPa",
        "stand": "level",
    }
)


def _first_lot(session: Session) -> str:
    """A lot of ten grains cast through the services, nine of them burned in three motors with curves."""
    workshop.get(session).person = "Ada"
    for ingredient in ("potassium nitrate", "sorbitol", "sucrose"):
        build.supply(session, ingredient, "100 kg")
    shares = [0.950 + 0.002 * i for i in range(GRAINS)]
    with clock.turned_to(clock.now() - timedelta(days=20)) as turn:
        lot = build.weighed_batch(session, GRAINS)
        pan.record_temperature(session, lot, TemperatureIn.model_validate({"temperature": "118 C"}))
        turn(clock.now() + timedelta(minutes=1))
        for step in casting.the_open(session, lot).steps:
            step.done_at = clock.now()
            if step.key == "pour":
                break
        made = [build.grain(session, lot, share) for share in shares]
        leftovers.tell_test_pieces(session, lot, TestPiecesIn.model_validate({"test_pieces": "10 g"}))
        casting.close(session, lot, CloseIn(why="Enough for a benchmark."))
        turn(clock.now() + timedelta(days=10))
        for i, grain in enumerate(made):
            again = {"serial": grain.serial, "gross": f"{grain.mass_kg * 1000 + 0.1 * (i % 2):.1f} g"}
            reweighs.weigh(session, ReWeighIn.model_validate(again))
    for i in range(FIRINGS):
        built = build.motor_build(session, grains=made[3 * i : 3 * i + 3])
        told = session.exec(select(Prediction).where(Prediction.motor_build_id == built.pk)).one()
        shot = build.bare_firing(
            session,
            built,
            measured_impulse_ns=(0.94 + 0.02 * i) * told.total_impulse_ns,
            measured_burn_time_s=1.05 * told.burn_time_s,
            measured_peak_pressure_pa=0.97 * told.peak_pressure_pa,
            humidity_share=0.5 + 0.1 * i,
        )
        _curve(session, shot)
    return lot.code


def _curve(session: Session, firing: Firing) -> None:
    """What a logger of 1,000 samples a second wrote of a burn, and what is read out of it."""
    t = np.arange(SAMPLES) / 1000
    shape = np.interp(t, [0.0, 1.0, 1.1, 2.4, 2.6, 5.0], [0.0, 0.0, 1.0, 0.9, 0.0, 0.0])
    noise = np.random.default_rng(firing.pk).normal(0.0, 1.0, (2, SAMPLES))
    table = np.column_stack((t, 300 * shape + noise[0], 4 * shape + 0.01 * noise[1]))
    raw = b"t,F,p\n" + "\n".join(f"{a:.3f},{b:.2f},{c:.3f}" for a, b, c in table).encode()
    row = CurveFile(firing_id=firing.pk, name="stand.csv", sha256=stored_files.keep(session, raw), size_bytes=len(raw))
    session.add(row)
    session.flush()
    found = reading.read_curve(plain_text(raw), HOW, Motor(0.5, 0.0127))
    session.add(
        Curve(
            firing_id=firing.pk,
            curve_file_id=row.pk,
            designation=found.designation,
            total_impulse_ns=found.total_impulse_ns,
            burn_time_s=found.burn_time_s,
            mean_thrust_n=found.mean_thrust_n,
            peak_thrust_n=found.peak_thrust_n,
            peak_pressure_pa=found.peak_pressure_pa,
            reading_json=as_typed(HOW),
            result_json=found.model_dump_json(),
        )
    )
    session.flush()


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
    if column.name == "measured_impulse_ns":
        return value * (0.97 + 0.01 * (k % 6))
    if column.name == "result" and k % 5 == 0:
        return "weak"
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
                for k in range(1, LOTS)
                for row in rows
            ]
            connection.execute(table.insert(), copies)
        guards.install(connection)
        session.commit()
    return code


def _key(empty: Path) -> str:
    """What the filled book depends on: the schema and this file."""
    engine = open_engine(empty)
    with engine.connect() as connection:
        schema = connection.exec_driver_sql("SELECT coalesce(sql, '') FROM sqlite_master ORDER BY name").scalars().all()
    engine.dispose()
    return hashlib.sha256("\n".join([*schema, Path(__file__).read_text()]).encode()).hexdigest()[:16]


@pytest.fixture(scope="module")
def book(
    empty_book: Path, tmp_path_factory: pytest.TempPathFactory, request: pytest.FixtureRequest
) -> tuple[Path, str]:
    """The big book's file, and the code of its first lot."""
    room = request.config.cache.mkdir("ten-years")
    kept = room / f"{_key(empty_book)}.sqlite3"
    if not kept.exists():
        shutil.rmtree(room)
        room.mkdir()
        unfinished = room / "unfinished.sqlite3"
        unfinished.write_bytes(empty_book.read_bytes())
        engine = open_engine(unfinished)
        fill(engine)
        with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
        engine.dispose()
        filestore.folder_of(unfinished).rename(filestore.folder_of(kept))
        unfinished.replace(kept)
    path = tmp_path_factory.mktemp("big") / "book.sqlite3"
    copied_with_files(kept, path)
    engine = open_engine(path)
    with Session(engine) as session:
        assert len(session.exec(select(Grain.id)).all()) == LOTS * GRAINS
        assert len(session.exec(select(Curve.id)).all()) == LOTS * FIRINGS
        assert lots_review.lots(session, lots_review.ReviewIn()).total == LOTS
        code = session.exec(select(Batch.code).order_by(col(Batch.id))).first()
    engine.dispose()
    assert code is not None
    return path, code


@pytest.fixture(scope="module")
def client(book: tuple[Path, str]) -> Iterator[TestClient]:
    with browser_of(create_app(Settings(book=book[0]))) as client:
        yield client


def _cpu_ms(client: TestClient, address: str) -> float:
    """What a page costs of one core, which does not count what else the machine is doing."""
    start = time.process_time()
    client.get(address)
    return 1000 * (time.process_time() - start)


@pytest.mark.parametrize(
    "address",
    [
        "/review",
        "/review?sort=density",
        "/review?sort=ratio&order=up",
        "/review?result=good&since=2020-01-01",
        "/review/{code}",
        "/review/delivered",
        "/review/delivered?by=lot",
        "/review/delivered?by=case",
        "/review/delivered?by=lot&of={code}",
        "/review/together",
        "/review/good",
        "/review/calibration",
        "/review/learned",
        "/cast/{code}/grains",
        "/shelf",
    ],
)
def test_a_page(benchmark: Benchmark, client: TestClient, book: tuple[Path, str], address: str) -> None:
    page = benchmark(client.get, address.format(code=book[1]))
    assert page.status_code == 200
    benchmark.extra_info["kB"] = len(page.content) // 1000
    benchmark.extra_info["CPU, ms, least"] = min(_cpu_ms(client, address.format(code=book[1])) for _ in range(5))


@pytest.mark.parametrize(("name", "rows"), [("lots", LOTS), ("grains", LOTS * GRAINS), ("firings", LOTS * FIRINGS)])
def test_a_table_taken_along(benchmark: Benchmark, client: TestClient, name: str, rows: int) -> None:
    table = benchmark.pedantic(client.get, (f"/review/{name}.csv",), rounds=3, warmup_rounds=1)
    assert table.text.count("\r\n") == rows + 1


def test_a_weight_saved_and_its_verdict_shown(benchmark: Benchmark, client: TestClient) -> None:
    """The press of Enter to the page with the verdict: the save, on disk, and the page that it leads to."""
    engine = engine_of(client)
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
