"""Each public calculation says its units and where it comes from, and nothing that says nothing."""

import ast
import importlib
import inspect
import pkgutil
import re
import textwrap
from collections.abc import Callable, Iterator
from typing import Any, NamedTuple, get_args, get_origin, get_type_hints

import numpy as np
import pint
import pytest

import app.calc
from app.calc.base import errors

UNIT = re.compile(r"\[[^\[\]\n]{1,40}\]")
SOURCE = re.compile(r"^\s*(References|Source)s?\b", re.MULTILINE)

EMPTY = re.compile(r"\ANone\b|^\s*Never\b", re.MULTILINE)

INNER = {
    *("app.calc.motor.chamber", "app.calc.motor.course", "app.calc.motor.law_lines"),
    *("app.calc.flight.ascent", "app.calc.flight.landing"),
}
"""The inside of an engine: its module says equations and sources once; `motor` and `flight` are what is public."""

ENTRY = re.compile(r"^(?=\S)", re.MULTILINE)

ureg: pint.UnitRegistry[float] = pint.UnitRegistry()


def public_functions() -> Iterator[tuple[str, Callable[..., object]]]:
    for module_info in pkgutil.walk_packages(app.calc.__path__, "app.calc."):
        if module_info.name in INNER:
            continue
        module = importlib.import_module(module_info.name)
        for name, thing in vars(module).items():
            if name.startswith("_") or not inspect.isfunction(thing) or thing.__module__ != module.__name__:
                continue
            yield f"{module.__name__.removeprefix('app.calc.')}.{name}", thing


FUNCTIONS = dict(public_functions())


def test_there_is_something_to_check() -> None:
    assert len(FUNCTIONS) > 20


NO_FORMULA = {
    "base.constants.finite_array",
    "base.constants.positive",
    "base.constants.within",
    "base.notes.joined",
    "base.notes.sentence",
    "base.notes.strong_first",
    "fit.sample_blocks.blocks",
    "fit.pressure_fit.local_exponent",
    "fit.thrust_fit.respond",
    "flight.launch.batch_of",
    "flight.recovery.checked_recovery",
    "motor.assembly.motor_arrays",
    "propellant.damp.unknown_parts",
    "propellant.thermochem.between",
    "record.cell_text.cell_pattern",
    "record.cell_text.clock_pattern",
    "record.cell_text.kind",
    "record.cell_text.number_pattern",
    "record.cell_text.to_number",
    "record.curve.gaps",
    "record.logger_text.first_lines",
    "record.logger_text.first_numbers",
    "record.logger_text.guess_layout",
    "record.logger_text.grouped",
    "record.logger_text.sample_lines",
    "record.logger_text.split",
    "record.moments.milliseconds_of",
    "record.one_line.turned",
    "record.reduction.between",
    "record.runs.read_table",
    "record.shapes.shape_of",
    "season.season.day_words",
    "stats.coverage.place",
}
"""What only checks, reads, counts, averages or lays out; everything else says where it comes from."""
FORMULAS = {name: one for name, one in FUNCTIONS.items() if name not in NO_FORMULA}


def sections(said: str) -> dict[str, str]:
    """The parts of a docstring by their underlined headings."""
    parts = re.split(r"^(\w+)\n-{3,}\n", said, flags=re.MULTILINE)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


def raised_itself(function: Callable[..., object]) -> set[str]:
    """The errors that its own lines raise by name."""
    found = set()
    for node in ast.walk(ast.parse(textwrap.dedent(inspect.getsource(function)))):
        thrown = node.exc if isinstance(node, ast.Raise) else None
        thrown = thrown.func if isinstance(thrown, ast.Call) else thrown
        if isinstance(thrown, ast.Name) and thrown.id[0].isupper():
            found.add(thrown.id)
    return found


@pytest.mark.parametrize("function", FORMULAS.values(), ids=FORMULAS)
def test_says_its_source(function: Callable[..., object]) -> None:
    assert SOURCE.search(inspect.getdoc(function) or ""), "no References or Source section"


def test_what_is_no_formula_is_there() -> None:
    assert set(FUNCTIONS) >= NO_FORMULA


@pytest.mark.parametrize("function", FUNCTIONS.values(), ids=FUNCTIONS)
def test_says_nothing_that_says_nothing(function: Callable[..., object]) -> None:
    for heading, text in sections(inspect.getdoc(function) or "").items():
        assert not EMPTY.search(text.strip()), f"leave {heading} out where there is none"


@pytest.mark.parametrize("function", FUNCTIONS.values(), ids=FUNCTIONS)
def test_names_the_errors_it_raises(function: Callable[..., object]) -> None:
    said = sections(inspect.getdoc(function) or "").get("Raises", "")
    named = {name for line in re.findall(r"^(\w.*)$", said, re.MULTILINE) for name in line.split(", ")}
    for error in raised_itself(function):
        assert named & {kind.__name__ for kind in getattr(errors, error).__mro__}, f"Raises does not name {error}"


class Entry(NamedTuple):
    """What a docstring says of one argument or result, or of several in one line."""

    names: list[str]
    told: str


def entries(section: str) -> list[Entry]:
    """The entries of a section: each begins with its names at the margin."""
    found = []
    for part in ENTRY.split(section)[1:]:
        names, _, told = part.partition("\n")
        found.append(Entry([name.strip("* ") for name in names.partition(" : ")[0].split(",")], told))
    return found


def numeric(hint: Any) -> bool:
    """Whether a type holds numbers that have a unit: no text, no flag, and nothing that says its own units."""
    if get_origin(hint) is np.ndarray:
        return np.bool_ not in get_args(get_args(hint)[1])
    return hint in (int, float, complex) or any(numeric(part) for part in get_args(hint) or ())


def known_unit(unit: str) -> bool:
    """Whether it is none, or one of SI as pint knows them, or a word that stands for one."""
    if unit in {"-", "text", "SI", "their unit", "m/s at 1 MPa"}:
        return True
    if not re.fullmatch(r"[\w/() ²³]+", unit):
        return False
    unit = re.sub(r"^ln[ (]+(.*?)\)?$", r"\1", unit.replace("²", "2").replace("³", "3"))
    try:
        ureg.parse_units(re.sub(r"(?<=[a-z])(\d)", r"**\1", unit.replace(" ", "*")))
    except pint.UndefinedUnitError:
        return False
    return True


def faults(function: Callable[..., object], said: str) -> list[str]:
    """What a docstring leaves out of a function's arguments and result, or says of what is not there."""
    parts, hints = sections(said), get_type_hints(function)
    told = {name: entry for entry in entries(parts.get("Parameters", "")) for name in entry.names}
    takes = set(inspect.signature(function).parameters)
    found = [f"{name}: not told" for name in takes - set(told)]
    found += [f"{name}: no such argument" for name in set(told) - takes]
    for name in takes & set(told):
        units, names = UNIT.findall(told[name].told), told[name].names
        if numeric(hints[name]) and (not units or (len(names) > 1 and len(units) not in (1, len(names)))):
            found.append(f"{name}: no unit in square brackets, as [m] or [-]")
    gives, numbers = parts.get("Returns", ""), numeric(hints["return"])
    if hints["return"] is not type(None) and not gives.strip():
        found.append("Returns: not told")
    elif numbers:
        found += [f"Returns: {', '.join(e.names)}: no unit" for e in entries(gives) if not UNIT.search(e.told)]
    written = UNIT.findall("".join(e.told for part in ("Parameters", "Returns") for e in entries(parts.get(part, ""))))
    return found + [f"[{unit}] is no unit" for unit in {u.strip("[]") for u in written} if not known_unit(unit)]


@pytest.mark.parametrize("function", FUNCTIONS.values(), ids=FUNCTIONS)
def test_tells_each_argument_and_result_with_its_unit(function: Callable[..., object]) -> None:
    assert faults(function, inspect.getdoc(function) or "") == []


def with_one_changed(said: str, heading: str, change: Callable[[str], str]) -> Iterator[tuple[list[str], str]]:
    """The docstring with one entry of a section changed after the other, and what that one is of."""
    section = sections(said).get(heading, "")
    parts = ENTRY.split(section)
    for i in range(1, len(parts)):
        changed = "".join([*parts[:i], change(parts[i]), *parts[i + 1 :]])
        yield entries(parts[i])[0].names, said.replace(section, changed or "\n", 1)


@pytest.mark.parametrize("function", FUNCTIONS.values(), ids=FUNCTIONS)
def test_what_is_left_out_of_any_of_them_is_found(function: Callable[..., object]) -> None:
    """Units and whole entries taken out of its docstring, one after the other: the check above sees each."""
    said, hints = inspect.getdoc(function) or "", get_type_hints(function)
    for names, without in with_one_changed(said, "Parameters", lambda entry: UNIT.sub("", entry)):
        found = faults(function, without)
        assert [n for n in names if numeric(hints[n]) and not any(f.startswith(f"{n}: no unit") for f in found)] == []
    for names, without in with_one_changed(said, "Parameters", lambda _: ""):
        assert {f"{name}: not told" for name in names} <= set(faults(function, without))
    for _, without in with_one_changed(said, "Returns", lambda entry: UNIT.sub("", entry)):
        assert not numeric(hints["return"]) or faults(function, without)
    if "Returns" in sections(said):
        assert faults(function, said.replace(sections(said)["Returns"], "\n", 1)) == ["Returns: not told"]


def test_what_is_no_unit_is_found() -> None:
    assert [u for u in ("m2", "kg/m³", "J/(kg K)", "ln Pa", "ln(m/s)", "kmol/kg", "N s") if not known_unit(u)] == []
    assert [u for u in ("see below", "metre per", "kgg", "N, s", "") if known_unit(u)] == []
