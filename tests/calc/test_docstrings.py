"""Each public calculation says its units and where it comes from."""

import importlib
import inspect
import pkgutil
import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest

import app.calc

UNIT = re.compile(r"\[[^\[\]\n]{1,40}\]")
SOURCE = re.compile(r"^\s*(References|Source)s?\b", re.MULTILINE)

INNER = {"app.calc.chamber", "app.calc.ascent", "app.calc.landing"}
"""The inside of an engine: its module says equations and sources once; `motor` and `flight` are what is public."""


def public_functions() -> Iterator[Any]:
    for module_info in pkgutil.iter_modules(app.calc.__path__, "app.calc."):
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


@pytest.mark.parametrize("function", FUNCTIONS)
def test_says_units_and_source(function: Callable[..., Any]) -> None:
    said = inspect.getdoc(function) or ""
    assert UNIT.search(said), "no unit in square brackets, as [m] or [-]"
    assert SOURCE.search(said), "no References or Source section"


@pytest.mark.parametrize("function", FUNCTIONS)
def test_names_every_argument(function: Callable[..., Any]) -> None:
    said = inspect.getdoc(function) or ""
    for name in inspect.signature(function).parameters:
        assert re.search(rf"\b{re.escape(name)}\b", said), f"the docstring does not name {name}"
