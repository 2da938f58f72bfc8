"""A known burn in every dress of `tests/calc/record/dressed.py`: read right or asked for in three choices, never wrong.

The truth is a trapezoid in closed form; the files are invented.
"""

from collections import Counter

import pytest

from app.calc.record.plain_text import plain_text
from app.errors import Refused
from app.forms import from_texts
from app.models.curve import ReadIn
from app.services.firings import curves, reading
from app.services.firings.doubts import Motor
from app.units import METRIC
from tests.calc.record.dressed import ALONE, Dressed, crossed, dress, possible
from tests.calc.record.stands import ODD

MOTOR = Motor(2.0, 0.02)
MOST_CHOICES = 3


def outcome(case: Dressed) -> tuple[str, str]:
    """right, asked, refused or wrong; and in words what was chosen or came out."""
    try:
        text = plain_text(case.raw)
        texts = curves.begun(text)
        chosen = {name: value for name, value in case.known.items() if texts.get(name, "") != value}
        if texts["pressure_column"]:
            chosen["pressure_column"] = ""
        form = from_texts(ReadIn, [*{**texts, **chosen}.items()], "form", "/", {})
        data = form.check(METRIC)
        assert isinstance(data, ReadIn), form.errors
        chosen = {name.split(".")[0]: value for name, value in chosen.items()}  # known masses are one choice
        found = reading.read_curve(text, data, MOTOR)
    except Refused as fault:
        return "refused", str(fault)
    chosen |= {one.field: str(one.question) for one in found.asked}
    if case.cut:
        said = (
            found.sure is not None
            and not found.sure.whole
            and any("still burns" in str(w) or "burns already" in str(w) for w in found.cautions)
        )
        return ("asked" if said else "wrong"), "an end is missing"
    slack = 0.02 + 2 / (case.burn.rate * case.burn.burn_time)
    off = {
        "impulse": found.total_impulse_ns / case.burn.impulse - 1,
        "burn time": found.burn_time_s / case.burn.burn_time - 1,
        "peak": found.peak_thrust_n / case.burn.peak - 1,
    }
    wrong = {name: f"{share:+.1%}" for name, share in off.items() if abs(share) > slack}
    if wrong:
        return "wrong", f"{wrong} {chosen}"
    if len(chosen) > MOST_CHOICES:
        return "asked much", ", ".join(chosen)
    return ("asked" if chosen else "right"), ", ".join(chosen)


KEPT = {name: kinds for name, kinds in ALONE.items() if possible(kinds)}


def test_each_kind_of_file_by_itself() -> None:
    cases = {**{name: dress(kinds) for name, kinds in KEPT.items()}, **{name: make() for name, make in ODD.items()}}
    assert len(cases) >= 60
    found = {name: outcome(case) for name, case in cases.items()}
    for name, (what, words) in found.items():
        print(f"{name:40} {what:8} {words}")
    print(Counter(what for what, _ in found.values()))
    assert {name: one for name, one in found.items() if one[0] in ("wrong", "refused")} == {}


FEW, MANY = 150, 2000


@pytest.mark.parametrize("count", [FEW, pytest.param(MANY, marks=pytest.mark.long)])
def test_kinds_crossed_at_random(count: int) -> None:
    table: dict[str, Counter[str]] = {}
    wrong: dict[int, tuple[dict[str, str], str]] = {}
    for seed in range(count):
        case = crossed(seed)
        what, words = outcome(case)
        for axis, kind in case.kinds.items():
            table.setdefault(f"{axis}: {kind}", Counter())[what] += 1
        if what in ("wrong", "refused"):
            wrong[seed] = (case.kinds, f"{what}: {words}")
    print(f"{'kind':40} right  asked  asked much  refused  wrong")
    for kind, times in sorted(table.items()):
        print(
            f"{kind:40} {times['right']:5} {times['asked']:6} {times['asked much']:11} {times['refused']:8} "
            f"{times['wrong']:6}"
        )
    assert wrong == {}
    total = Counter(what for times in table.values() for what in times.elements())
    assert total["asked much"] < 0.1 * total.total()
