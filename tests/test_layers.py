"""The layers hold: routers over services over models, calc alone, no database in a router, and nothing above the book.

Imports are read from the source, those inside functions included, so nothing hides in a branch.
"""

import ast
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import pytest

APP = Path(__file__).parent.parent / "app"
TEMPLATES = APP.parent / "templates"
CALC_MAY_USE = {"numpy", "scipy", "cantera", "python_calamine"}
# A router may commit: the request is the transaction. It may not read or write rows by itself.
QUERIES = {"add", "add_all", "delete", "exec", "execute", "flush", "merge", "scalar", "scalars"}


ROOMS = {
    "calc": ("base", "stats", "propellant", "grain", "motor", "case", "record", "fit", "flight", "season"),
    "services": (
        "book",
        "stock",
        "hardware",
        "cast",
        "grains",
        "learning",
        "motors",
        "flight",
        "firings",
        "review",
        "season",
        "today",
        "api",
    ),
    "routers": (
        "book",
        "stock",
        "hardware",
        "cast",
        "grains",
        "bench",
        "flight",
        "motors",
        "learning",
        "firings",
        "review",
        "season",
        "today",
        "api",
    ),
}
"""The rooms of each layer in order: a room imports only from rooms before it, so that there are no circles."""


def modules(folder: str) -> list[Path]:
    return sorted((APP / folder).rglob("*.py")) if (APP / folder).is_dir() else [APP / f"{folder}.py"]


def imported(tree: ast.AST) -> Iterator[tuple[str, str]]:
    """Each import as (module, name); name is empty for `import module`."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((alias.name, "") for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "relative imports hide which layer is meant"
            yield from ((node.module or "", alias.name) for alias in node.names)


def reaches(module: str, name: str, *packages: str) -> bool:
    """Whether `from module import name` touches one of the packages."""
    full = (f"{module}.{name}" if name else module) + "."
    return any((module + ".").startswith(p + ".") or full.startswith(p + ".") for p in packages)


def faults_of_calc(tree: ast.AST) -> list[str]:
    allowed = CALC_MAY_USE | sys.stdlib_module_names
    return [
        f"{module}.{name}"
        for module, name in imported(tree)
        if module.partition(".")[0] not in allowed and not reaches(module, name, "app.calc")
    ]


EVERYWHERE = {"clock", "errors"}
"""What time it is, and refusals."""

MAY_USE = {
    "models": EVERYWHERE | {"models", "units", "scale_lines", "calc.base.notes"},
    "services": EVERYWHERE
    | {
        "services",
        "models",
        "calc",
        "units",
        "book.record",
        "book.filestore",
        "book.gate_rule",
        "pens",
        "drawings.evening_line.Act",
        "drawings.evening_line.Row",
        "drawings.marks.Kind",
        "drawings.marks.State",
        "drawings.season_line.Happening",
        "tables",
        "pictures",
        "picture_places",
        "troubles",
        "logbook",
    },
    "routers": EVERYWHERE
    | {
        "routers",
        "routing",
        "services",
        "models",
        "units",
        "web",
        "page",
        "forms",
        "charts",
        "drawings",
        "scatters",
        "tables",
        "uploads",
    }
    | {"downloads", "pictures", "access", "book.backup_thread.Standing", "point_charts", "height_charts"}
    | {"book.elsewhere_standing.Elsewhere", "book.logs.InFile", "book.notices.Notice"},
    "drawings": {"clock", "drawings", "pens"},
    "book": EVERYWHERE
    | {"book", "models", "units", "tables", "db", "settings", "system", "downloads"}
    | {"troubles", "logbook"},
    "access": EVERYWHERE | {"access", "db", "services.book", "settings", "system"},
    "web": EVERYWHERE
    | {
        "frames",
        "page",
        "forms",
        "models",
        "units",
        "uploads",
        "calc.base",
        "db",
        "troubles",
        "logbook",
        "services.book",
        "book.elsewhere_standing.Elsewhere",
    },
    "frames": EVERYWHERE
    | {"page", "models", "units", "calc.base", "templating", "services.book", "book.left_out"}
    | {"services.cast.pan", "services.today.lacking"},
    "templating": EVERYWHERE
    | {"page", "units", "calc.base", "settings", "services.stock.supplies", "drawings.ruler", "forms.marks", "terms"},
}
"""Of `app`, what each layer may import. Models take numbers of calc too, such as limits and defaults: see below."""

SERVES_HTTP = ("fastapi", "starlette")


def faults_of(layer: str, tree: ast.AST) -> list[str]:
    allowed = tuple(f"app.{name}" for name in MAY_USE[layer])
    return [
        f"{module}.{name}"
        for module, name in imported(tree)
        if (reaches(module, name, "app") and not reaches(module, name, *allowed))
        or (layer in ("models", "services", "drawings", "book") and reaches(module, name, *SERVES_HTTP))
    ]


def faults_of_models(tree: ast.AST) -> list[str]:
    """A form's limit and a column's default are the calculation's own: models may know its constants, and no more."""
    return [
        fault
        for fault in faults_of("models", tree)
        if not (fault.startswith("app.calc.") and fault.rpartition(".")[2].isupper())
    ]


def is_class(name: str) -> bool:
    return name[:1].isupper() and not name.isupper()


def faults_of_routers(tree: ast.AST) -> list[str]:
    """A page is declared by the types of what it shows: routers may know the classes of calculations, and no more."""
    faults = [
        fault
        for fault in faults_of("routers", tree)
        if not (fault.startswith("app.calc.") and is_class(fault.rpartition(".")[2]))
    ]
    faults += [
        f"{module}.{name}"
        for module, name in imported(tree)
        if reaches(module, name, "sqlalchemy", "alembic", "sqlite3") or (module == "sqlmodel" and name != "Session")
    ]
    for node in ast.walk(tree):
        if (
            isinstance(node, ast.Call)
            and isinstance(node.func, ast.Attribute)
            and isinstance(node.func.value, ast.Name)
            and node.func.value.id in ("session", "book")
            and node.func.attr in QUERIES
        ):
            faults.append(f"line {node.lineno}: {node.func.value.id}.{node.func.attr}(...) belongs in a service")
    return faults


RULES: dict[str, Callable[[ast.AST], list[str]]] = {
    "calc": faults_of_calc,
    "services": partial(faults_of, "services"),
    "models": faults_of_models,
    "routers": faults_of_routers,
    "drawings": partial(faults_of, "drawings"),
    "book": partial(faults_of, "book"),
    "access": partial(faults_of, "access"),
    "web": partial(faults_of, "web"),
    "frames": partial(faults_of, "frames"),
    "templating": partial(faults_of, "templating"),
}


@pytest.mark.parametrize(
    ("layer", "path"), [pytest.param(layer, p, id=f"{layer}/{p.stem}") for layer in RULES for p in modules(layer)]
)
def test_module_keeps_its_layer(layer: str, path: Path) -> None:
    assert RULES[layer](ast.parse(path.read_text(encoding="utf-8"))) == []


@pytest.mark.parametrize(
    ("layer", "line"),
    [
        ("calc", "from app.units import show"),
        ("calc", "from app import db"),
        ("calc", "def f():\n    import sqlmodel"),
        ("services", "from fastapi import Request"),
        ("services", "from app.routers import plan"),
        ("services", "from app.db import writing"),
        ("services", "from app import web"),
        ("models", "from app.services import rows"),
        ("models", "from app import services"),
        ("models", "from app.calc.motor.spread import rate_spread"),
        ("models", "from app.calc.motor import spread"),
        ("routers", "from app.calc.propellant.ingredients import INGREDIENTS"),
        ("routers", "from app.calc.propellant.burn_rate import law_for_blend"),
        ("routers", "from app.calc.propellant import burn_rate"),
        ("routers", "from app.db import writing"),
        ("routers", "from app.book import backups"),
        ("drawings", "from app.models import CastStep"),
        ("drawings", "from app.units import show"),
        ("services", "from app.drawings.evening_line import evening_line"),
        ("book", "from app.services.book import repository"),
        ("book", "from app import first_run"),
        ("access", "from app.services.stock import batches"),
        ("access", "from app.web import render"),
        ("web", "from app.routers.today import today"),
        ("web", "from app.calc.motor import assembly"),
        ("routers", "from sqlmodel import Session, select"),
        ("routers", "import sqlalchemy.orm"),
        ("routers", "def f(session):\n    session.add(1)"),
    ],
)
def test_a_breach_is_seen(layer: str, line: str) -> None:
    assert RULES[layer](ast.parse(line))


def test_what_is_allowed_passes() -> None:
    assert not faults_of_calc(ast.parse("import math\nimport numpy as np\nfrom app.calc.errors import CalcError"))
    assert not faults_of_routers(ast.parse("from sqlmodel import Session\nfrom app.models import Formula"))
    assert not faults_of_routers(ast.parse("from app.calc.propellant.burn_rate import BurnLaw"))
    assert not faults_of_models(ast.parse("from app.calc.base.constants import ATM\nfrom app import clock"))


def faults_of_rooms(layer: str, room: str, tree: ast.AST) -> list[str]:
    order = ROOMS[layer]
    used = [m.split(".")[2] for m, _ in imported(tree) if m.startswith(f"app.{layer}.")]
    return [f"{room} reaches {other}" for other in used if order.index(other) > order.index(room)]


@pytest.mark.parametrize("layer", ROOMS)
def test_the_rooms_are_those_of_the_list_and_say_what_is_in_them(layer: str) -> None:
    found = {path.parent.name: path for path in (APP / layer).glob("*/__init__.py")}
    assert set(found) == set(ROOMS[layer])
    for path in found.values():
        said = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))
        assert said, path
        assert layer == "routers" or (
            " In: " in f" {said}".replace("\n", " ") and " Out: " in said.replace("\n", " ")
        ), path


@pytest.mark.parametrize("room", ROOMS["services"])
def test_a_room_of_services_names_its_modules(room: str) -> None:
    """A verb is found by its module, and the module by what its room says of it."""
    folder = APP / "services" / room
    said = set(re.findall(r"`(\w+)`", (folder / "__init__.py").read_text(encoding="utf-8")))
    assert {path.stem for path in folder.glob("*.py")} - {"__init__"} <= said


@pytest.mark.parametrize("layer", ROOMS)
def test_a_room_imports_only_from_rooms_before_it(layer: str) -> None:
    faults = {
        str(path.relative_to(APP)): found
        for path in modules(layer)
        if path.parent != APP / layer
        and (found := faults_of_rooms(layer, path.parent.name, ast.parse(path.read_text(encoding="utf-8"))))
    }
    assert faults == {}


def test_a_look_into_a_later_room_is_seen() -> None:
    tree = ast.parse("from app.services.review import trace\nfrom app.services.book import drafts")
    assert faults_of_rooms("services", "cast", tree) == ["cast reaches review"]
    assert faults_of_rooms("services", "api", tree) == []


def test_a_page_is_drawn_by_a_template_of_its_own_room() -> None:
    """One table of pages serves every room (`crud_pages`); its own template is the room's too."""
    folders = {path.name for path in TEMPLATES.iterdir() if path.is_dir()}
    assert folders == set(ROOMS["routers"])
    for path in (APP / "routers").glob("*/*.py"):
        for room, name in re.findall(r'"([a-z]+)/([a-z_]+\.html)"', path.read_text(encoding="utf-8")):
            assert (TEMPLATES / room / name).exists(), (path, room, name)
            assert room == path.parent.name, (path, room, name)


WRITTEN_ONCE = {
    "the area of a ring": (r"(pi / 4|0\.785\d+) \* \([\w.]+\*\*2 - [\w.]+\*\*2\)", "calc/base/areas.py"),
    "a midnight": (r"datetime\.combine\([^\n]*(min\.time\(\)|time\.min)", "clock.py"),
}


@pytest.mark.parametrize("what", WRITTEN_ONCE)
def test_one_question_is_answered_in_one_place(what: str) -> None:
    pattern, place = WRITTEN_ONCE[what]
    found = {
        str(path.relative_to(APP)) for path in modules(".") if re.search(pattern, path.read_text(encoding="utf-8"))
    }
    assert found == {place}


MOST_LINES = {"module": 400, "stylesheet": 150}


def test_modules_and_stylesheets_are_short_enough_to_be_read_at_once() -> None:
    files = {"module": modules("."), "stylesheet": sorted((APP.parent / "static").rglob("*.css"))}
    long = {
        path.name: lines
        for kind, paths in files.items()
        for path in paths
        if (lines := len(path.read_text(encoding="utf-8").splitlines())) > MOST_LINES[kind]
    }
    assert long == {}


COLOUR = re.compile(r"(?<=[:,( ])(?:#[0-9a-fA-F]{3,8}\b|(?:light-dark|rgb|hsl|oklch)\()")
ON_WHITE = {"print.css", "labels.css"}
"""Paper has colours of its own."""


def test_a_colour_has_its_one_place_and_gives_way_to_those_a_person_has_set() -> None:
    sheets = {path.name: path.read_text(encoding="utf-8") for path in (APP.parent / "static" / "css").glob("*.css")}
    elsewhere = {
        f"{name}: {line.strip()}"
        for name, text in sheets.items()
        if name not in ON_WHITE | {"tokens.css"}
        for line in text.splitlines()
        if COLOUR.search(line) and ".qr-code" not in line
    }
    assert elsewhere == set()
    usual, _, forced = sheets["tokens.css"].partition("@media (forced-colors: active)")
    named = set(re.findall(r"(--[a-z0-9-]+): light-dark", usual))
    assert len(named) > 15
    assert named - set(re.findall(r"(--[a-z0-9-]+):", forced)) == set(), "drawn in a colour that may not be seen"


SLOW_TO_LOAD = {"alembic", "cantera", "icalendar", "pint", "scipy", "segno"}
"""What the start does without: each is imported in the function that needs it."""


def test_the_start_loads_nothing_that_is_slow_and_seldom_needed() -> None:
    code = f"import app.main, sys; print(sorted({SLOW_TO_LOAD} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], cwd=APP.parent, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
