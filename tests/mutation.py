"""Mutation testing of calculations and services: which small change of a module does no test see?

    python -m tests.mutation                                  # what differs from main
    python -m tests.mutation app/calc/motor/chamber.py        # this module, with the tests of its room
    python -m tests.mutation app/calc/motor/chamber.py "*3"   # one mutant in ten, by mutmut's own pattern
    python -m tests.mutation app/services/motors/builds.py tests/services/motors/test_builds.py

mutmut makes the mutants and runs the tests (not on Windows: it forks). It wants to be told the modules and the tests in
pyproject.toml and writes beside them, so it works in a copy of the tree, in a folder of its own that goes again.
"""

import shutil
import subprocess
import sys
from fnmatch import fnmatch
from pathlib import Path
from tempfile import TemporaryDirectory

ROOT = Path(__file__).parent.parent

ROOMS = ("app/calc/*.py", "app/services/*.py")
"""What is mutated where nothing is named."""

RAISES = "raise [A-Z]"
"""Lines left alone: that a refusal is made is tested by its condition, and its words by those who read them."""

MUTMUT = [sys.executable, "-m", "mutmut"]

LIVES = ("survived", "no tests")
"""What mutmut calls a mutant that no test killed."""


def changed() -> list[str]:
    """Modules of calculations and services that differ from the main branch, those not committed too."""
    base = _git("merge-base", "main", "HEAD")[0]
    names = {*_git("diff", "--name-only", "--diff-filter=d", base), *_git("ls-files", "-o", "--exclude-standard")}
    return sorted(name for name in names if any(fnmatch(name, room) for room in ROOMS))


def tests_of(module: str) -> str:
    """The tests of its room. Its own examples are not asked: mutmut writes them out anew beside each of its mutants."""
    room = Path("tests", *Path(module).parts[1:-1])
    return str(room if (ROOT / room).is_dir() else Path("tests", f"test_{room.name}.py"))


def copy_of_tree(to: Path) -> None:
    """What git keeps or would keep of the tree, as it stands."""
    for name in _git("ls-files", "-co", "--exclude-standard"):
        if (ROOT / name).is_file():
            (to / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, to / name)


def configure(tree: Path, modules: list[str], tests: list[str]) -> None:
    """Add to the copy's pyproject.toml what mutmut is to mutate, and with which tests."""
    settings = {
        "source_paths": ["app"],
        "only_mutate": modules,
        "do_not_mutate_patterns": [RAISES],
        "pytest_add_cli_args_test_selection": tests,
        "also_copy": [path.name for path in tree.iterdir() if path.name not in ("app", "tests")],
    }
    with (tree / "pyproject.toml").open("a") as file:
        file.write("\n[tool.mutmut]\n" + "".join(f"{key} = {value!r}\n" for key, value in settings.items()))


def in_words_only(changes: list[str]) -> bool:
    """Whether a mutant differs in nothing but the letters of its texts."""
    was, now = ([line[1:].replace("XX", "").lower() for line in changes if line[0] == sign] for sign in "-+")
    return was == now


def report(tree: Path, module: str, states: dict[str, str]) -> None:
    """The share killed, and what each mutant that lives has changed."""
    dotted = module.removesuffix(".py").replace("/", ".")
    mine = {name: state for name, state in states.items() if name.startswith(f"{dotted}.") and state != "not checked"}
    words = lives = 0
    for name, state in mine.items():
        if state in LIVES:
            shown = _lines([*MUTMUT, "show", name], tree)
            changes = [line for line in shown if line[:1] in ("-", "+") and line[:3] not in ("---", "+++")]
            if in_words_only(changes):
                words += 1
            else:
                lives += 1
                print(f"\n{name} ({state})", *changes, sep="\n")
    counted = len(mine) - words
    share = (counted - lives) / max(counted, 1)
    print(f"\n{module}: {counted - lives} of {counted} killed ({share:.0%}), and {words} live that change words alone")


def main(asked: list[str]) -> int:
    """Mutate the modules asked for, and say what lives."""
    modules = [name for name in asked if name.startswith("app/")] or changed()
    tests = [name for name in asked if name.startswith("tests/")]
    patterns = [name for name in asked if not name.startswith(("app/", "tests/"))]
    if not modules:
        print("No module of calculations or services differs from main; name one.")
        return 0
    with TemporaryDirectory(prefix="grainbook-mutants-") as folder:
        tree = Path(folder)
        copy_of_tree(tree)
        configure(tree, modules, sorted({*tests} or {*map(tests_of, modules)}))
        if subprocess.run([*MUTMUT, "run", *patterns], cwd=tree, check=False).returncode:
            print("The tests do not pass as they are, or none is there: nothing is told of mutants.")
            return 1
        told = _lines([*MUTMUT, "results", "--all", "true"], tree)
        states = dict(line.strip().rsplit(": ", 1) for line in told if ": " in line)
        for module in modules:
            report(tree, module, states)
    return 0


def _git(*what: str) -> list[str]:
    return _lines(["git", *what], ROOT)


def _lines(command: list[str], folder: Path) -> list[str]:
    return subprocess.run(command, cwd=folder, check=True, capture_output=True, text=True).stdout.splitlines()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
