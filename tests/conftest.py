"""A fresh book for each test, in a temporary folder."""

import gc
import os
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, suppress
from functools import cache
from importlib import import_module
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from hypothesis import settings
from jinja2 import FileSystemBytecodeCache
from sqlalchemy import Engine
from sqlmodel import Session

from app import clock, first_run, main, system
from app.book import encryption, instance
from app.db import migrate, open_engine, writing
from app.main import create_app
from app.settings import Settings
from app.templating import templates
from tests import build, moment, scenes
from tests.behind import book_of, browser_of, engine_of, renew, unsynced
from tests.browse import Person

settings.register_profile("book", deadline=None)  # a busy machine is no fault of the code
settings.load_profile("book")


def pytest_addoption(parser: pytest.Parser) -> None:
    """How long the reliability tests go on, and when and where every test takes place."""
    parser.addoption("--long", action="store_true", help="1,000 kills instead of 120, and ten times the random acts")
    parser.addoption("--at", default=moment.AT, help=f"what the clock on the wall shows as a test begins: {moment.AT}")
    parser.addoption("--zone", default=moment.ZONE, help=f"the zone it hangs in: {moment.ZONE}")


_HELD = ExitStack()


def pytest_configure(config: pytest.Config) -> None:
    """Hold the clock before any test file is read: days in them, and what is made once for many, are of that moment.

    Several workers share the tests out in long runs, and one that is done takes over from another: neighbours want the
    same book or server, which is then made once, and nobody waits at the end for a long file.
    """
    if config.getoption("dist", "no") == "load":
        config.option.dist = "worksteal"
    # Books are locked by their numbers on the disk: what one worker threw away is another's new one at once.
    cache_home = Path(_HELD.enter_context(TemporaryDirectory()))
    os.environ["XDG_CACHE_HOME"], instance.LOCKS = str(cache_home), cache_home / "grainbook" / "open"
    moment.stand_in(config.getoption("--zone"))
    _HELD.enter_context(clock.turned_to(moment.wall(config.getoption("--at"))))


def pytest_collection(session: pytest.Session) -> None:
    """Let each worker read its own share of the test files first: what one has compiled is ready for the others.

    They all begin at the same file otherwise, and each compiles every file of a fresh checkout itself.
    """
    if "PYTEST_XDIST_WORKER" in os.environ and not sys.dont_write_bytecode:
        number, count = int(os.environ["PYTEST_XDIST_WORKER"][2:]), int(os.environ["PYTEST_XDIST_WORKER_COUNT"])
        files = sorted(Path(__file__).parent.rglob("test_*.py"))
        for file in files[number::count]:
            with suppress(Exception):  # the collection comes upon it again, and says so
                import_module(".".join(file.relative_to(session.config.rootpath).with_suffix("").parts))


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave to `--long` what is tried in another way in every run."""
    if not config.getoption("--long"):
        left = [item for item in items if item.get_closest_marker("long")]
        items[:] = [item for item in items if item not in left]
        config.hook.pytest_deselected(items=left)


def pytest_collection_finish() -> None:
    """Take all that stands for the whole run out of the garbage collector's rounds, as the served program does."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(*main.ROUNDS)


def pytest_unconfigure() -> None:
    """Let the clock go."""
    _HELD.close()


@pytest.fixture(autouse=True)
def _clock(request: pytest.FixtureRequest) -> Iterator[None]:
    """The clock, running from the same moment in every test; one that alters the program makes its scenes itself."""
    altered = "monkeypatch" in request.fixturenames
    with clock.turned_to(moment.wall(request.config.getoption("--at")), runs=True), scenes.made_always(altered):
        yield


@pytest.fixture(autouse=True, scope="session")
def _keys_once() -> Iterator[None]:
    """Making or opening a key takes a second, which is what guessing its passphrase takes; once for each will do."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(encryption, "new_key", cache(encryption.new_key))
        patch.setattr(encryption, "secret_of", cache(encryption.secret_of))
        yield


@pytest.fixture(autouse=True, scope="session")
def _templates_once(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """A template is made into code once in a run: the workers share what one of them made."""
    folder = _shared(tmp_path_factory) / "templates"
    folder.mkdir(exist_ok=True)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(templates, "bytecode_cache", FileSystemBytecodeCache(str(folder)))
        yield


def _shared(folders: pytest.TempPathFactory) -> Path:
    """The folder of a run that all its workers see."""
    folder = folders.getbasetemp()
    return folder.parent if "PYTEST_XDIST_WORKER" in os.environ else folder


def once_in_a_run(folders: pytest.TempPathFactory, name: str, make: Callable[[Path], None]) -> Path:
    """A file that all workers of a run share: whoever wants it first makes it, the others wait for it.

    `make` lets the file appear only when all of it is in.
    """
    shared = _shared(folders) / name
    with shared.with_suffix(".lock").open("w") as door:
        while True:
            try:
                system.lock(door)
            except BlockingIOError:
                time.sleep(0.05)
            else:
                break
        if not shared.exists():
            make(shared)
    return shared


@pytest.fixture(scope="session")
def new_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book as the first start leaves it; copy it before writing to it."""
    book = tmp_path_factory.mktemp("book") / "new.sqlite3"
    migrate(book)
    engine = open_engine(book)
    first_run.prepare(engine)
    with engine.connect() as connection:
        connection.exec_driver_sql("SELECT 1")
    engine.dispose()
    return book


@pytest.fixture(scope="session")
def empty_book(new_book: Path) -> Path:
    """The same of a workshop that has stated its pan: most tests plan and are not about its size."""
    book = new_book.with_name("empty.sqlite3")
    book.write_bytes(new_book.read_bytes())
    engine = open_engine(book)
    with writing(engine) as session:
        build.state_pan(session)
        session.commit()
    engine.dispose()
    return book


@pytest.fixture(scope="session")
def demo_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demonstration book, made once for all; copy it before writing to it."""
    from app.demo import fill

    return once_in_a_run(tmp_path_factory, "demo.sqlite3", fill)


@pytest.fixture(scope="session")
def _kept_engine(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Engine, Path]]:
    book = tmp_path_factory.mktemp("services") / "book.sqlite3"
    engine = unsynced(open_engine(book))
    yield engine, book
    engine.dispose()


@pytest.fixture
def engine(_kept_engine: tuple[Engine, Path], empty_book: Path) -> Iterator[Engine]:
    """An engine on a fresh, empty book."""
    engine, book = _kept_engine
    renew(engine, book, empty_book)
    yield engine
    engine.dispose()


@pytest.fixture
def session(engine: Engine) -> Iterator[Session]:
    """A writing session on a fresh book."""
    with writing(engine) as session:
        yield session


@pytest.fixture(scope="session")
def _kept_app(tmp_path_factory: pytest.TempPathFactory) -> FastAPI:
    app = create_app(Settings(book=tmp_path_factory.mktemp("pages") / "book.sqlite3"))
    unsynced(engine_of(app))
    return app


@pytest.fixture
def client(_kept_app: FastAPI, empty_book: Path) -> Iterator[TestClient]:
    """A browser without script on a fresh, empty book."""
    renew(engine_of(_kept_app), book_of(_kept_app), empty_book)
    with browser_of(_kept_app, Person) as client:
        yield client


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say loudly when the browser tests were not run."""
    missed = [r for r in terminalreporter.stats.get("skipped", []) if "NO CHROMIUM" in str(r.longrepr)]
    if missed:
        terminalreporter.section("BROWSER TESTS WERE NOT RUN", sep="!", red=True, bold=True)
        terminalreporter.write_line(
            f"{len(missed)} browser tests were skipped: no Chromium or Chrome was found. Install one "
            "(apt install chromium-headless-shell) or set CHROMIUM to its path, and run the tests again."
        )
