"""Each public calculation says its units and where it comes from, and nothing that says nothing."""

import ast
import importlib
import inspect
import pkgutil
import re
import textwrap
from collections.abc import Callable, Iterator
from typing import Any

import pytest

import app.calc
from app.calc.base import errors

UNIT = re.compile(r"\[[^\[\]\n]{1,40}\]")
SOURCE = re.compile(r"^\s*(References|Source)s?\b", re.MULTILINE)

EMPTY = re.compile(r"\ANone\b|^\s*Never\b", re.MULTILINE)

INNER = {"app.calc.motor.chamber", "app.calc.flight.ascent", "app.calc.flight.landing"}
"""The inside of an engine: its module says equations and sources once; `motor` and `flight` are what is public."""


def public_functions() -> Iterator[Any]:
    for module_info in pkgutil.walk_packages(app.calc.__path__, "app.calc."):
        if module_info.name in INNER:
            continue
        module = importlib.import_module(module_info.name)
        for name, thing in vars(module).items():
            if name.startswith("_") or not inspect.isfunction(thing) or thing.__module__ != module.__name__:
                continue
            yield pytest.param(thing, id=f"{module.__name__.removeprefix('app.calc.')}.{name}")


FUNCTIONS = list(public_functions())


def test_there_is_something_to_check() -> None:
    assert len(FUNCTIONS) > 20


NO_FORMULA = {
    "base.constants.finite_array",
    "base.constants.positive",
    "base.constants.within",
    "base.notes.joined",
    "base.notes.sentence",
    "base.notes.strong_first",
    "fit.pressure_fit.blocks",
    "fit.pressure_fit.local_exponent",
    "fit.thrust_fit.respond",
    "flight.launch.batch_of",
    "flight.recovery.checked_recovery",
    "motor.assembly.motor_arrays",
    "propellant.damp.unknown_parts",
    "propellant.thermochem.between",
    "record.columns.sample_times",
    "record.curve.gaps",
    "record.logger_text.first_lines",
    "record.logger_text.first_numbers",
    "record.logger_text.guess_layout",
    "record.logger_text.line_of",
    "record.logger_text.read_columns",
    "record.reduction.between",
    "stats.coverage.place",
}
"""What only checks, reads, counts, averages or lays out; everything else says where it comes from."""


def sections(said: str) -> dict[str, str]:
    """The parts of a docstring by their underlined headings."""
    parts = re.split(r"^(\w+)\n-{3,}\n", said, flags=re.MULTILINE)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


def raised_itself(function: Callable[..., Any]) -> set[str]:
    """The errors that its own lines raise by name."""
    found = set()
    for node in ast.walk(ast.parse(textwrap.dedent(inspect.getsource(function)))):
        thrown = node.exc if isinstance(node, ast.Raise) else None
        thrown = thrown.func if isinstance(thrown, ast.Call) else thrown
        if isinstance(thrown, ast.Name) and thrown.id[0].isupper():
            found.add(thrown.id)
    return found


@pytest.mark.parametrize("function", FUNCTIONS)
def test_says_units(function: Callable[..., Any]) -> None:
    assert UNIT.search(inspect.getdoc(function) or ""), "no unit in square brackets, as [m] or [-]"


@pytest.mark.parametrize("function", [p for p in FUNCTIONS if p.id not in NO_FORMULA])
def test_says_its_source(function: Callable[..., Any]) -> None:
    assert SOURCE.search(inspect.getdoc(function) or ""), "no References or Source section"


def test_what_is_no_formula_is_there() -> None:
    assert {p.id for p in FUNCTIONS} >= NO_FORMULA


@pytest.mark.parametrize("function", FUNCTIONS)
def test_says_nothing_that_says_nothing(function: Callable[..., Any]) -> None:
    for heading, text in sections(inspect.getdoc(function) or "").items():
        assert not EMPTY.search(text.strip()), f"leave {heading} out where there is none"


@pytest.mark.parametrize("function", FUNCTIONS)
def test_names_the_errors_it_raises(function: Callable[..., Any]) -> None:
    said = sections(inspect.getdoc(function) or "").get("Raises", "")
    named = {name for line in re.findall(r"^(\w.*)$", said, re.MULTILINE) for name in line.split(", ")}
    for error in raised_itself(function):
        assert named & {kind.__name__ for kind in getattr(errors, error).__mro__}, f"Raises does not name {error}"


@pytest.mark.parametrize("function", FUNCTIONS)
def test_names_every_argument(function: Callable[..., Any]) -> None:
    said = sections(inspect.getdoc(function) or "").get("Parameters", "")
    named = {
        name.strip("* ") for names in re.findall(r"^(\S.*?)(?: :|$)", said, re.MULTILINE) for name in names.split(",")
    }
    assert set(inspect.signature(function).parameters) <= named
