"""The README's commands are the ones that are run."""

import re
from pathlib import Path

from tests.test_layers import ROOMS

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
    run = [line.strip() for line in (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()]
    assert checks == [line for line in run if line.startswith((".venv/bin/ruff", ".venv/bin/mypy"))]


GUIDE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_the_guide_names_only_what_is_there() -> None:
    """A file by its path, from the top or from `app/`; a file of the folder named last by its name alone."""
    folders = [ROOT, ROOT / "app"]
    named = re.findall(
        r"(?<![\w/.])(?:[\w.*-]+/)*[\w.*-]+\.(?:py|md|html|csv|lock|toml)\b|(?<![\w/.])(?:[\w.]+/)+(?![\w*.])", GUIDE
    )
    assert len(named) > 30
    for name in named:
        assert any(any(folder.glob(name)) for folder in folders), name
        path = next(folder for folder in folders if any(folder.glob(name))) / name
        folders = [*folders[:2], path.parent]


def test_the_guide_tells_the_order_of_rooms_that_the_tests_keep() -> None:
    for layer in ("calc", "services"):
        assert f"- `{layer}`: {' · '.join(ROOMS[layer])}\n" in GUIDE


def test_the_guide_has_two_pages() -> None:
    assert len(GUIDE.splitlines()) <= 120
    assert "python -m tests.promises" in GUIDE
