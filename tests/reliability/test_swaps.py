"""A kill in the middle of a restore or of a change of schema leaves one whole book: the old one or the new one.

python -m pytest tests/reliability/test_swaps.py --long     ten times as many kills
"""

import json
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs fork")


@pytest.mark.promise(
    "A kill in a restore or a step leaves one whole book, which comes up the next time",
    figure="40 and 10 kills (`--long`: 400 and 100)",
)
@pytest.mark.parametrize(("what", "kills"), [("restores", 40), ("steps", 10)])
def test_a_kill_leaves_a_whole_book(tmp_path: Path, pytestconfig: pytest.Config, what: str, kills: int) -> None:
    number = kills * (10 if pytestconfig.getoption("long") else 1)
    run = subprocess.run(
        [sys.executable, "-m", "tests.reliability.swaps", what, str(tmp_path), str(number), f"{what}"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 0, run.stderr
    found = json.loads(run.stdout)
    print(found)
    assert found["kills"] == number
    assert found["wrong"] == []
    assert set(found["at"]) - {"nothing", "whole"}, "no kill fell in the middle of anything"
