"""Sentences of calculations: their numbers keep a kind, so that words are made in the reader's units at the edge."""

import ast
import re
from pathlib import Path

import pytest

from app.calc.base.notes import Amount, Note, joined, sentence

CALC = Path(__file__).parents[3] / "app" / "calc"
UNIT = re.compile(
    r"(?:\d|\x00) ?(?:mm|cm|m|km|g|kg|K|°C|°F|N|s|MPa|kPa|Pa|bar|psi|m/s|mm/s|N·s|N s|kg/\S+|m³|kelvin)(?![\w°])"
)
"""A number, or a place for one, with a unit behind it."""

NO_SENTENCE = {
    "1e9 kg/m^3",  # read by Cantera
    "NIST Chemistry WebBook, 149-32-6 (enthalpy -217.61 kcal/mol, Parks et al. 1946, listed there as liquid; fusion "
    "390.9 K); density from memory",  # a source, as it is printed
}


def _said(module: Path) -> list[str]:
    """The sentences that a module can say: texts and f-strings with a blank in them, docstrings left out."""
    tree = ast.parse(module.read_text("utf-8"))
    doc = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    parts = {id(value) for node in ast.walk(tree) if isinstance(node, ast.JoinedStr) for value in node.values}
    loose = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            found.append("".join(str(v.value) if isinstance(v, ast.Constant) else "\x00" for v in node.values))
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in doc | parts | loose:
            found.append(node.value)
    return [text for text in found if " " in text]


@pytest.mark.parametrize("module", sorted(CALC.rglob("[!_]*.py")), ids=lambda path: path.stem)
def test_no_calculation_writes_a_unit_behind_a_number(module: Path) -> None:
    assert [text for text in _said(module) if UNIT.search(text) and text not in NO_SENTENCE] == []


def test_the_search_finds_what_it_looks_for(tmp_path: Path) -> None:
    module = tmp_path / "old.py"
    module.write_text('x = f"core ±{a:.2f} mm"\ny = "from 13 to 15 m/s"\nz = "a day of 7 hours"\n')
    assert [bool(UNIT.search(text)) for text in _said(module)] == [True, True, False]


def test_notes_put_together_keep_their_numbers_apart() -> None:
    core = Note("{size} is too wide", {"size": Amount(0.02, "length")})
    both = joined(core, "{as typed}", Note("for {size}.", {"size": Amount(0.05, "length")}))
    assert both.words == "{n0_size} is too wide {{as typed}} for {n2_size}."
    assert [amount.value for amount in both.amounts.values()] == [0.02, 0.05]
    assert joined("", core).words == "{n1_size} is too wide"


def test_a_sentence_begins_with_a_capital() -> None:
    assert sentence("must lie above.").words == "Must lie above."


def test_a_note_in_a_log_tells_si_and_says_so() -> None:
    assert str(Note("above {p}", {"p": Amount(5e5, "pressure")})) == "above 500000 [SI, pressure]"
