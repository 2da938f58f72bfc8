"""What Grainbook promises, read from the tests that keep it; `python -m tests.promises` prints it as a table.

A test says what it promises by `@pytest.mark.promise("…", figure="…")`; the figure is how often that was tried. So
`pytest -m promise` runs one test of each promise, or a measuring command of `tests/reliability` is named instead.
"""

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

TESTS = Path(__file__).parent


@dataclass(frozen=True)
class Promise:
    """One promise beside one test: its words, how often it was tried, and where it is kept."""

    words: str
    figure: str
    file: Path
    function: str

    @property
    def is_test(self) -> bool:
        """Whether pytest collects it, or else a command measures it."""
        return self.file.name.startswith("test_") and self.function.startswith("test_")

    @property
    def kept_by(self) -> str:
        """The file of the test as pytest takes it, or the command."""
        path = self.file.relative_to(TESTS.parent)
        return path.as_posix() if self.is_test else "python -m " + ".".join(path.with_suffix("").parts)


def promises() -> Iterator[Promise]:
    """Every promise in the order of its file's name."""
    for file in sorted(TESTS.rglob("*.py")):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.FunctionDef):
                continue
            for mark in node.decorator_list:
                if isinstance(mark, ast.Call) and ast.unparse(mark.func) == "pytest.mark.promise":
                    said = [ast.literal_eval(value) for value in (*mark.args, *(word.value for word in mark.keywords))]
                    yield Promise(said[0], said[1] if said[1:] else "", file, node.name)


def table() -> str:
    """The promises as a table in Markdown, each once with all that keeps it."""
    kept: dict[str, list[Promise]] = {}
    for one in promises():
        kept.setdefault(one.words, []).append(one)
    lines = ["| Promise | Kept by | Figure |", "|---|---|---|"]
    for words, ones in kept.items():
        by = ", ".join(f"`{one.kept_by}`" for one in ones)
        lines.append(f"| {words} | {by} | {'; '.join(one.figure for one in ones if one.figure) or '–'} |")
    return "\n".join(lines)


if __name__ == "__main__":
    print(table())
