"""The README's commands are the ones that are run."""

import re
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent


def test_ci_calls_exactly_the_readmes_test_command() -> None:
    readme = (ROOT / "README.md").read_text()
    section = readme.split("## Test it")[1]
    command = re.search(r"```sh\n(.+?)\n```", section)
    assert command is not None
    assert command[1] in (ROOT / ".ci" / "run").read_text().splitlines()


def test_first_paragraph_states_the_job() -> None:
    first = (ROOT / "README.md").read_text().split("\n\n")[1]
    for word in ("cast", "grains", "predicts", "case", "learns"):
        assert word in first


def test_ci_checks_what_the_guide_tells_to_check() -> None:
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    (told,) = (line for line in guide.splitlines() if line.startswith(".venv/bin/ruff check"))
    checks = [check.replace("ruff format", "ruff format --check") for check in told.split(" && ")]
    run = (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()
    assert checks == [line for line in run if line.startswith((".venv/bin/ruff", ".venv/bin/mypy"))]
