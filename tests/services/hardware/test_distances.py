"""How far people stay away: printed tables, and a person's own figures, which come first."""

from typing import Any

import pytest
from sqlmodel import Session

from app.errors import Conflict, Refused
from app.models.distance import DistancesIn
from app.services.hardware import distances


def line(letter: str = "J", single: str = "100 m", **more: Any) -> dict[str, Any]:
    return {"impulse_class": letter, "single": single, "source": "Our club's table", "dated": "2026-03-01", **more}


def save(session: Session, *lines: dict[str, Any]) -> None:
    distances.save(session, DistancesIn.model_validate({"lines": list(lines)}))


def test_published_distances_are_grouped_by_class_and_dated() -> None:
    # Published tables as DESIGN.md section 5 has them: research code of 2016, K 250/350 ft; O 1500/2000 ft.
    (research, lines), (_, other) = distances.printed()
    assert research.dated == "2016"
    by_class = {line.classes: (line.single_ft, line.complex_ft) for line in lines}
    assert by_class == {
        "A to J": (200, 250),
        "K": (250, 350),
        "L": (300, 500),
        "M": (500, 1000),
        "N": (1000, 1500),
        "O": (1500, 2000),
    }
    assert {line.classes: (line.single_ft, line.complex_ft) for line in other} == {
        "H to J": (100, 200),
        "K": (200, 300),
        "L": (300, 500),
        "M": (500, 1000),
    }
    assert lines[0].single_m == pytest.approx(60.96)


def test_own_figures_come_before_the_printed_ones(session: Session) -> None:
    printed = distances.least(session, "K")
    assert printed is not None
    assert (printed.is_own, printed.dated) == (False, "2016")
    assert printed.single_m == pytest.approx(250 * 0.3048)  # the farther of the two tables
    save(session, line("k", "60 m", complex="90 m"), line("J"))
    own = distances.least(session, "K")
    assert own is not None
    assert (own.is_own, own.single_m, own.complex_m, own.dated) == (True, 60, 90, "1 Mar 2026")
    assert [row.impulse_class for row in distances.own(session)] == ["J", "K"]
    save(session, line("K", "70 m"))
    assert [(row.impulse_class, row.single_m) for row in distances.own(session)] == [("K", 70)]
    assert distances.least(session, "1/8A") is None


@pytest.mark.parametrize(
    ("lines", "field", "words"),
    [
        ([line("Q")], "lines.0.impulse_class", "no class"),
        ([line("J"), line("j")], "lines.1.impulse_class", "twice"),
        ([line("J", "100 m", complex="50 m")], "lines.0.complex", "at least the distance of a single"),
    ],
)
def test_what_is_no_distance(session: Session, lines: list[dict[str, Any]], field: str, words: str) -> None:
    with pytest.raises(Refused, match=words) as fault:
        save(session, *lines)
    assert fault.value.field == field


def test_a_stale_page_is_told(session: Session) -> None:
    save(session, line("J"))
    seen = distances.version(session)
    save(session, line("J", "120 m"))
    with pytest.raises(Conflict):
        distances.save(session, DistancesIn.model_validate({"lines": [line("J")]}), seen)
