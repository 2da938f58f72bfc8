"""Nothing in the program is of one operating system alone, except in `app/system.py`, which has both branches.

Sources: the Python library reference marks what is "Availability: Unix" or "Windows" (modules os, signal, socket and
the chapters "Unix-specific services" and "MS Windows-specific services"), warns that flags within strftime directives
are the platform's own and that `os.rename` fails on Windows where the target exists, and that `open` without an
encoding takes the platform's.
"""

import ast
import re
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from app import clock

ROOT = Path(__file__).parent.parent
BOTH = ROOT / "app" / "system.py"
PROGRAM = sorted(p for top in ("app", "migrations") for p in (ROOT / top).rglob("*.py"))

MODULES = {
    "fcntl",
    "grp",
    "posix",
    "pty",
    "pwd",
    "resource",
    "signal",
    "syslog",
    "termios",
    "tty",
    "_winapi",
    "msvcrt",
    "nt",
    "winreg",
    "winsound",
}
NAMES = {
    "os": {
        "O_DIRECTORY",
        "chmod",
        "chown",
        "fchmod",
        "fork",
        "forkpty",
        "fsync",
        "geteuid",
        "getpgid",
        "getuid",
        "kill",
        "killpg",
        "link",
        "mkfifo",
        "name",
        "nice",
        "open",
        "rename",
        "renames",
        "replace",
        "setsid",
        "startfile",
        "symlink",
        "sync",
        "umask",
        "uname",
        "wait",
        "waitpid",
    },
    "socket": {"AF_UNIX", "SO_EXCLUSIVEADDRUSE", "SO_REUSEADDR", "SO_REUSEPORT"},
    "sys": {"getwindowsversion", "platform"},
    "time": {"tzset"},
}
FLAGGED = re.compile(r"%[-#_^0][A-Za-z]")
DIRECTIVES = set("aAbBcdfHIjmMpSUwWxXyYzZ%")
"""What the library reference lists for every platform."""


def texts(tree: ast.AST) -> Iterator[tuple[int, str]]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.lineno, node.value


def date_formats(tree: ast.AST) -> Iterator[tuple[int, str]]:
    for node in ast.walk(tree):
        if isinstance(node, ast.FormattedValue) and node.format_spec is not None:
            yield from texts(node.format_spec)
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "strftime":
            yield from (found for given in node.args for found in texts(given))


def moves_a_file(node: ast.Call) -> bool:
    """Path.replace and Path.rename take one argument; str.replace takes two, datetime.replace and the like names."""
    return (
        isinstance(node.func, ast.Attribute)
        and node.func.attr in ("replace", "rename")
        and len(node.args) == 1
        and not node.keywords
    )


def reads_in_the_platforms_letters(node: ast.Call) -> bool:
    name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
    if name not in ("open", "read_text", "write_text") or any(k.arg == "encoding" for k in node.keywords):
        return False
    if name != "open":
        return True
    mode = node.args[0] if node.args else None  # of a path; in an archive a name comes first, and all is bytes
    return isinstance(node.func, ast.Name) or (
        isinstance(mode, ast.Constant) and re.fullmatch(r"[rwax]\+?t?", str(mode.value)) is not None
    )


def faults(tree: ast.AST) -> list[str]:
    found = [f"line {line}: {text!r}" for line, text in texts(tree) if FLAGGED.search(text)]
    found += [
        f"line {line}: %{letter} in {text!r}"
        for line, text in date_formats(tree)
        for letter in re.findall(r"%(.)", text)
        if letter not in DIRECTIVES
    ]
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found += [f"line {node.lineno}: {a.name}" for a in node.names if a.name.partition(".")[0] in MODULES]
        elif isinstance(node, ast.ImportFrom):
            barred = NAMES.get(node.module or "", set())
            found += [
                f"line {node.lineno}: {node.module}.{a.name}"
                for a in node.names
                if node.module in MODULES or a.name in barred
            ]
        elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            if node.attr in NAMES.get(node.value.id, ()):
                found.append(f"line {node.lineno}: {node.value.id}.{node.attr}")
        elif isinstance(node, ast.Call):
            if moves_a_file(node):
                found.append(f"line {node.lineno}: moves a file")
            if reads_in_the_platforms_letters(node):
                found.append(f"line {node.lineno}: no encoding")
    return found


@pytest.mark.parametrize("path", [pytest.param(p, id=p.relative_to(ROOT).as_posix()) for p in PROGRAM if p != BOTH])
def test_runs_on_every_system(path: Path) -> None:
    assert faults(ast.parse(path.read_text(encoding="utf-8"))) == []


@pytest.mark.parametrize("path", sorted((ROOT / "templates").rglob("*.*")), ids=lambda p: p.name)
def test_no_page_formats_a_date_by_itself(path: Path) -> None:
    assert "strftime" not in path.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "line",
    [
        'f"{day:%-d %b}"',
        'f"{day:%#d %b}"',
        'f"{day:%e %b}"',
        'day.strftime("%s")',
        'form = "%-H:%M"',
        "import fcntl",
        "def f():\n    import msvcrt",
        "from signal import SIGHUP",
        "from os import kill",
        "os.rename(a, b)",
        "new.replace(book)",
        "new.rename(book)",
        "if os.name == 'nt': pass",
        "s.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)",
        "path.read_text()",
        "path.open('w')",
        "open(path)",
    ],
)
def test_a_breach_is_seen(line: str) -> None:
    assert faults(ast.parse(line))


@pytest.mark.parametrize(
    "line",
    [
        'f"{day:%d %b %Y, %H:%M:%S}{share:.1%}"',
        'text.replace("a", "b")',
        "moment.replace(hour=0)",
        'path.open("rb+")',
        'path.open("a+", encoding="utf-8")',
        "zipped.open(name)",
        'zipped.open(name, "w")',
        "os.environ.get('X')",
    ],
)
def test_what_every_system_knows_passes(line: str) -> None:
    assert faults(ast.parse(line)) == []


def test_the_one_module_has_both_branches() -> None:
    assert {"msvcrt", "fcntl"} <= {m for f in faults(ast.parse(BOTH.read_text(encoding="utf-8"))) for m in f.split()}


def test_a_day_is_written_without_its_nought() -> None:
    assert clock.day(date(2026, 11, 3)) == "3 Nov 2026"
    assert clock.day(date(2026, 11, 30)) == "30 Nov 2026"


def test_a_moment_is_written_by_the_time_at_the_bench(monkeypatch: pytest.MonkeyPatch) -> None:
    there = datetime.fromisoformat("2026-11-03T23:05+14:00").tzinfo
    monkeypatch.setattr(clock, "local", lambda moment: moment.astimezone(there))
    moment = datetime(2026, 11, 2, 11, 30, tzinfo=UTC)
    assert clock.day(moment) == "3 Nov 2026"
    assert clock.day_and_time(moment) == "3 Nov 2026, 01:30"
