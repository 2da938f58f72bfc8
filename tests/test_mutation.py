"""The command that runs mutation testing: what it mutates, with which tests, and what it calls words."""

import tomllib
from pathlib import Path

from tests import mutation


def test_each_calculation_and_service_has_tests_of_its_room() -> None:
    modules = [path for layer in ("calc", "services") for path in (mutation.ROOT / "app" / layer).glob("*/[a-z]*.py")]
    tests = {mutation.tests_of(path.relative_to(mutation.ROOT).as_posix()) for path in modules}
    assert {"tests/calc/motor", "tests/services/motors", "tests/test_api.py"} <= tests
    assert [name for name in tests if not (mutation.ROOT / name).exists()] == []


def test_the_copy_tells_mutmut_what_it_is_to_do(tmp_path: Path) -> None:
    (tmp_path / "pyproject.toml").write_text((mutation.ROOT / "pyproject.toml").read_text())
    mutation.configure(tmp_path, ["app/calc/motor/chamber.py"], ["tests/calc/motor"])
    told = tomllib.loads((tmp_path / "pyproject.toml").read_text())["tool"]["mutmut"]
    assert (told["only_mutate"], told["also_copy"]) == (["app/calc/motor/chamber.py"], ["pyproject.toml"])
    assert told["pytest_add_cli_args_test_selection"] == ["tests/calc/motor"]


def test_a_changed_text_is_told_from_a_changed_act() -> None:
    assert mutation.in_words_only(['-    return "Count again."', '+    return "XXCount again.XX"'])
    assert mutation.in_words_only(['-    return "Count again."', '+    return "COUNT AGAIN."'])
    assert not mutation.in_words_only(['-    return a + b, "Count."', '+    return a - b, "Count."'])
