"""How fast learning is on a big book: 1,500 firings that each say something, with stored predictions of full size.

python -m pytest tests/benchmarks/test_learning_bench.py --benchmark-only
"""

import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from fastapi.testclient import TestClient
from sqlmodel import select

from app.book import guards
from app.calc.fit.pressure_fit import fit_pressure
from app.calc.motor.simulation import example, simulate
from app.db import open_engine, reading, writing
from app.main import create_app
from app.models import FiringFit, Prediction
from app.services.learning import fit_records, learning
from app.services.learning.fit_records import FitRecord, Row
from app.services.motors import builds
from app.services.review import coverage
from app.settings import Settings
from tests import build
from tests.behind import browser_of
from tests.benchmarks.bench import Benchmark
from tests.benchmarks.test_book_bench import FIRINGS, LOTS, fill


@pytest.fixture(scope="module")
def book(empty_book: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The big book, with a fit for each firing and each prediction as large as a real one."""
    path = tmp_path_factory.mktemp("taught") / "book.sqlite3"
    path.write_bytes(empty_book.read_bytes())
    engine = open_engine(path)
    fill(engine)
    chance = np.random.default_rng(1)
    with writing(engine) as session:
        told = builds.around(session, build.motor_build(session)).predictions[0]
        guards.remove(session.connection())
        session.connection().exec_driver_sql(
            "UPDATE prediction SET result_json = ?, inputs_json = ? WHERE id <> ?",
            (told.result_json, told.inputs_json, told.pk),
        )
        guards.install(session.connection())
        for firing_id, key in fit_records.keys(session).items():
            rows = [
                Row(what=what, mixture=mixture, value=float(v), error=0.02)
                for what, mixture, v in zip(
                    ("burn rate", "c* efficiency", "nozzle efficiency"),
                    ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
                    chance.normal((-4.8, -0.05, -0.1), 0.03),
                    strict=True,
                )
            ]
            made = FitRecord(how="pressure", pressure_pa=2.9e6, rows=rows).model_dump_json()
            session.add(FiringFit(firing_id=firing_id, key=key, fit_json=made))
        session.commit()
    engine.dispose()
    return path


@pytest.fixture(scope="module")
def client(book: Path) -> Iterator[TestClient]:
    with browser_of(create_app(Settings(book=book))) as client:
        yield client


@pytest.mark.parametrize(
    "address", ["/review/learned", "/review/learned/1", "/review/learned/firing/1", "/review/calibration"]
)
def test_a_page_of_what_was_learned(benchmark: Benchmark, client: TestClient, address: str) -> None:
    """Wanted: 150 ms."""
    page = benchmark(client.get, address)
    assert page.status_code == 200


def test_learning_beside_a_prediction(benchmark: Benchmark, book: Path) -> None:
    """What a prediction pays for it: gather 1,500 fits and put them together."""
    engine = open_engine(book)
    with reading(engine) as session:
        formula = next(iter(learning.evidence(session).formulas.values()))
        taught = benchmark(learning.factors, session, formula, None)
        assert len(taught.firing_ids) == LOTS * FIRINGS
        assert taught.rate.spread < 0.05
    engine.dispose()


def test_a_figure_by_figure_check_of_every_firing(benchmark: Benchmark, book: Path) -> None:
    engine = open_engine(book)
    with reading(engine) as session:
        found = benchmark(coverage.coverage_of, session)
        assert len(found.records[0].held) == LOTS * FIRINGS
        row = session.exec(select(Prediction)).first()
        assert row is not None
        whole = json.loads(row.result_json)  # the head is read as the whole is
        head = coverage.stored_ranges(row.result_json[: coverage.HEAD])
        assert head["mean_thrust"] == tuple(whole["mean_thrust"][k] for k in ("mid", "low", "high"))
    engine.dispose()


def test_a_fit_of_a_pressure_curve(benchmark: Benchmark) -> None:
    run = simulate(example())
    t = np.linspace(0.0, run.time[-1], 5000)
    p = np.interp(t, run.time, run.pressure) + np.random.default_rng(2).normal(0, 2e4, t.size)
    found = benchmark(fit_pressure, example(), t, p)
    assert abs(found.rate.value) < 0.005
