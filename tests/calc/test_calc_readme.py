"""The page on the calculations keeps up with them: every module is in it, and every test it names is there."""

import pkgutil
import re
from pathlib import Path

import app.calc
from tests.calc import deviations

HERE = Path(__file__).parent
PAGE = (Path(app.calc.__file__).parent / "README.md").read_text(encoding="utf-8")


def test_each_module_is_on_the_page() -> None:
    found = [m.name.rpartition(".")[2] for m in pkgutil.walk_packages(app.calc.__path__, "app.calc.") if not m.ispkg]
    assert len(found) > 50
    missing = [name for name in found if f"`{name}`" not in PAGE]
    assert missing == []


def test_each_test_it_names_exists() -> None:
    named = re.findall(r"`(\w+/test_\w+\.py)::(\w+)`", PAGE)
    assert len(named) > 30
    gone = [(file, test) for file, test in named if f"def {test}(" not in (HERE / file).read_text(encoding="utf-8")]
    assert gone == []


def test_the_table_has_a_row_for_each_comparison() -> None:
    _, _, measured = PAGE.partition(deviations.BEGIN)
    rows = measured.partition(deviations.END)[0].strip().splitlines()[2:]
    assert [row.split(" | ")[1] for row in rows] == [what for _, what, *_ in deviations.ROWS]


def test_a_number_is_measured_not_written_down() -> None:
    """Two quick ones anew: NACA 1135 (half a unit of the last digit) and the published burst."""
    assert deviations.naca() < 0.51
    assert f"{deviations.naca():.2g} of the last digit" in PAGE
    assert deviations.burst() < 1e-3
