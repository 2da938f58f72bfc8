"""What is installed is what was locked: every file by its hash, and an SQLite that keeps the book."""

import json
import os
import re
import subprocess
import sys
import tomllib
from collections.abc import Mapping
from pathlib import Path

import pytest
from packaging.markers import Marker
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

from app.__main__ import main
from app.book import sqlite_needs
from tests import audit

ROOT = Path(__file__).resolve().parent.parent
RUN, DEV = ROOT / "requirements.lock", ROOT / ".ci" / "dev.lock"
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
ASKED = PROJECT["project"]["dependencies"] + PROJECT["dependency-groups"]["build"]
ASKED_DEV = PROJECT["project"]["optional-dependencies"]["dev"]

PIN = re.compile(r"(?P<name>[a-z0-9-]+)==(?P<version>[^ ]+)(?: ; (?P<marker>.+?))? \\")
HASH = re.compile(r"    --hash=sha256:[0-9a-f]{64}(?: \\)?")


def locked(lock: Path) -> dict[str, list[tuple[Version, str]]]:
    """Every package of a lock with its versions and their markers; each line is a pin, a hash or the one option."""
    found: dict[str, list[tuple[Version, str]]] = {}
    lines = lock.read_text(encoding="utf-8").splitlines()
    assert lines[:2] == ["--only-binary :all:", ""]
    goes_on = False
    for line in lines[2:]:
        if pin := PIN.fullmatch(line):
            assert not goes_on, line
            found.setdefault(pin["name"], []).append((Version(pin["version"]), pin["marker"] or ""))
        else:
            assert HASH.fullmatch(line), line
            assert goes_on, line
        goes_on = line.endswith("\\")
    assert not goes_on
    return found


@pytest.mark.promise(
    "What is installed is locked by the hash of each file, what runs apart from development", figure="every line"
)
@pytest.mark.parametrize(("lock", "asked"), [(RUN, ASKED), (DEV, ASKED + ASKED_DEV)], ids=["run", "dev"])
def test_a_lock_holds_what_the_project_asks_for_with_a_hash_at_each(lock: Path, asked: list[str]) -> None:
    pins = locked(lock)
    for text in asked:
        wanted = Requirement(text)
        versions = [version for version, _ in pins[canonicalize_name(wanted.name)]]
        assert all(wanted.specifier.contains(version) for version in versions), text


def test_what_runs_is_apart_from_what_tests_it_and_the_same_in_both() -> None:
    run, dev = locked(RUN), locked(DEV)
    assert {canonicalize_name(Requirement(text).name) for text in ASKED_DEV}.isdisjoint(run)
    assert {name: dev.get(name) for name in run} == run


def test_each_marker_of_a_lock_is_one_that_pip_reads() -> None:
    for lock in (RUN, DEV):
        for pins in locked(lock).values():
            for _, marker in pins:
                assert not marker or isinstance(Marker(marker).evaluate(), bool)


def test_the_build_backend_is_locked_too() -> None:
    (backend,) = PROJECT["build-system"]["requires"]
    assert canonicalize_name(Requirement(backend).name) in locked(RUN)


def test_the_readmes_commands_install_by_hash_alone() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    commands = re.findall(r"```(?:sh|bat)\n(.+)\n```", readme)
    assert [re.findall(r"-r ([\w./]+)", command) for command in commands] == [
        ["requirements.lock"],
        ["requirements.lock"],
        [".ci/dev.lock"],
    ]
    for command in commands:
        installs = [part for part in command.split(" && ") if "pip install" in part]
        assert "--require-hashes" in installs[0]
        assert "--no-deps --no-build-isolation -e ." in installs[1]
        assert len(installs) == 2


# --- Known faults ----------------------------------------------------------------------------------------


def _answer(*dependencies: Mapping[str, object]) -> str:
    return json.dumps({"dependencies": dependencies, "fixes": []})


CLEAN = {"name": "good", "version": "1.0", "vulns": []}
UNASKED = {"name": "away", "skip_reason": "not found"}
BAD = {"name": "bad", "version": "2.0", "vulns": [{"id": "PYSEC-1", "fix_versions": ["2.1"], "description": ""}]}


@pytest.mark.parametrize(
    ("answer", "words", "code"),
    [
        ("", "No list of advisories could be reached: nothing was audited.", 2),
        (_answer(UNASKED), "No list of advisories could be reached: nothing was audited.", 2),
        (_answer(CLEAN, UNASKED), "Nothing is known of 1; not asked about: away.", 2),
        (_answer(CLEAN, BAD, UNASKED), "bad 2.0: PYSEC-1, mended in ['2.1']", 1),
        (_answer(CLEAN), "Nothing is known against any of 1 packages.", 0),
    ],
)
def test_an_audit_says_whether_it_was_one(answer: str, words: str, code: int) -> None:
    assert audit.verdict(answer) == (words, code)


# --- SQLite ----------------------------------------------------------------------------------------------


@pytest.mark.promise(
    "An SQLite that cannot keep a book is told with what it lacks; nothing is opened", figure="3 kinds"
)
@pytest.mark.parametrize(
    ("version", "json", "lacks"),
    [
        ((3, 34, 1), True, "cannot take a column out"),
        ((3, 35, 0), True, "a fault that can damage a file"),
        ((3, 37, 1), True, "a fault that can damage a file"),
        ((3, 40, 1), False, "without JSON"),
    ],
)
def test_an_old_sqlite_is_told_with_what_it_lacks(
    version: tuple[int, int, int],
    json: bool,
    lacks: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr("sqlite3.sqlite_version_info", version)
    monkeypatch.setattr("sqlite3.sqlite_version", ".".join(map(str, version)))
    monkeypatch.setattr(sqlite_needs, "_knows_json", lambda: json)
    for command in ([], ["migrate"]):
        assert main([*command, "--book", str(tmp_path / "book.sqlite3")]) == 1
        said = capsys.readouterr().err
        assert "needs SQLite 3.37.2 or newer" in said
        assert f"this Python has {version[0]}.{version[1]}.{version[2]}" in said
        assert lacks in said
        assert "No book was opened" in said
    assert list(tmp_path.iterdir()) == []


def test_the_least_sqlite_will_do() -> None:
    assert sqlite_needs.lacking(sqlite_needs.LEAST, json=True) == []


def test_this_sqlite_is_asked_for_json() -> None:
    assert sqlite_needs._knows_json()


@pytest.mark.parametrize(
    ("version", "has_it"),
    [
        ((3, 37, 2), True),
        ((3, 44, 5), True),
        ((3, 44, 6), False),
        ((3, 45, 0), True),
        ((3, 50, 7), False),
        ((3, 51, 2), True),
        ((3, 51, 3), False),
        ((3, 53, 0), False),
    ],
)
def test_a_rare_fault_of_an_sqlite_is_named(version: tuple[int, int, int], has_it: bool) -> None:
    """Which have it: sqlite.org/wal.html#walresetbug (3.7.0 to 3.51.2, but for 3.44.6 and 3.50.7)."""
    assert ("walresetbug" in sqlite_needs.known_fault(version)) == has_it


def test_a_real_start_asks_for_sqlite_before_it_looks_at_a_book(tmp_path: Path) -> None:
    old = "import sqlite3; sqlite3.sqlite_version_info = (3, 31, 1); sqlite3.sqlite_version = '3.31.1'; "
    start = subprocess.run(
        [sys.executable, "-c", old + "from app.__main__ import main; raise SystemExit(main(['--no-browser']))"],
        env={**os.environ, "GRAINBOOK_HOME": str(tmp_path)},
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert start.returncode == 1
    assert "this Python has 3.31.1" in start.stderr
    assert list(tmp_path.iterdir()) == []
