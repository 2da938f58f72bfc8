"""What a calculation is called: the imports that its name follows are those that Python's own parser finds."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from app.services.book import calculation_key

APP = Path(__file__).parents[3] / "app"


def by_the_parser(source: str) -> Iterator[str]:
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def test_imports_are_those_of_the_parser() -> None:
    sources = {path: path.read_text(encoding="utf-8") for path in APP.rglob("*.py")}
    assert len(sources) > 200
    for path, source in sources.items():
        found = {one for one in calculation_key._imported(source) if one.startswith("app.")}
        assert found == {one for one in by_the_parser(source) if one.startswith("app.")}, path


@pytest.mark.parametrize(
    "source",
    [
        "from app.calc.base import notes, errors as faults  # words\n",
        "from app.calc.base import (\n    notes,  # with a remark\n    errors as faults,\n)\n",
        "def f():\n    import app.calc.base.notes as notes\n",
        "if True:\n\tfrom app.calc.base.notes import Note\n",
        "import app.calc.base.notes, app.calc.base.errors\n",
    ],
)
def test_every_way_to_write_an_import_is_read(source: str) -> None:
    assert set(by_the_parser(source)) <= set(calculation_key._imported(source))
