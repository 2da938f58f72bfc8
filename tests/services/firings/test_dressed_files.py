"""A known burn in every dress of `tests/calc/record`: read right or asked for in three choices, never silently wrong.

The truth is a trapezoid in closed form; the files are invented. Each file is taken twice: as a person fills the form in
who knows the stand, and as it is proposed, with nothing said at all.
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

import pytest

from app.calc.base.constants import STANDARD_GRAVITY
from app.calc.record.plain_text import plain_text
from app.errors import Refused
from app.forms import from_texts
from app.models.curve import ReadIn
from app.services.firings import curves, reading
from app.services.firings.doubts import Motor
from app.services.firings.reading import Result
from app.units import METRIC
from tests.calc.record.dressed import ALONE, Dressed, crossed, dress, possible
from tests.calc.record.stands import ODD

MOST_CHOICES = 3
ISP = 118.0
FIGURES = ("total_impulse_ns", "burn_time_s", "peak_thrust_n")


@dataclass(frozen=True)
class Came:
    """What came of a file: right, asked, asked much, refused or wrong, with words; of what is proposed: right, asked,
    said (wrong, and doubted beside it) or silent (wrong, and nothing said); how many ranges hold the truth."""

    what: str
    words: str
    proposed: str
    inside: int = len(FIGURES)


def read(text: bytes, texts: dict[str, str], case: Dressed) -> Result:
    form = from_texts(ReadIn, [*texts.items()], "form", "/", {})
    data = form.check(METRIC)
    assert isinstance(data, ReadIn), form.errors
    return reading.read_curve(text, data, Motor(case.burn.impulse / (ISP * STANDARD_GRAVITY), 0.02))


def truth(case: Dressed) -> dict[str, float]:
    return dict(zip(FIGURES, (case.burn.impulse, case.burn.burn_time, case.burn.peak), strict=True))


def off(found: Result, case: Dressed) -> dict[str, str]:
    """The figures that are not right."""
    slack = 0.02 + 2 / (case.burn.rate * case.burn.burn_time)
    shares = {name: getattr(found, name) / value - 1 for name, value in truth(case).items()}
    return {name: f"{share:+.1%}" for name, share in shares.items() if abs(share) > slack}


def taken(text: bytes, texts: dict[str, str], case: Dressed) -> Result | Refused:
    try:
        return read(text, texts, case)
    except Refused as fault:
        return fault


def proposed(found: Result | Refused, case: Dressed) -> str:
    """What comes of a file when nobody says anything."""
    if isinstance(found, Refused):
        return "asked"
    if not off(found, case):
        return "right"
    return "said" if found.asked or found.cautions else "silent"


def outcome(case: Dressed) -> Came:
    try:
        text = plain_text(case.raw)
        texts = curves.begun(text)
    except Refused as fault:
        return Came("refused", str(fault), "asked")
    chosen = {name: value for name, value in case.known.items() if texts.get(name, "") != value}
    if texts["pressure_column"]:
        chosen["pressure_column"] = ""
    as_it_is = taken(text, texts, case)
    found = taken(text, {**texts, **chosen}, case) if chosen else as_it_is
    unsaid = proposed(as_it_is, case)
    if isinstance(found, Refused):
        return Came("refused", str(found), unsaid)
    choices = {name.split(".")[0] for name in chosen} | {one.field for one in found.asked}  # known masses are one
    ranges = found.sure.ranges if found.sure else {}
    if case.cut:
        said = [one for one in found.cautions if "still burns" in str(one) or "burns already" in str(one)]
        open_end = ranges["total_impulse_ns"].high is None
        return Came("asked" if said and open_end else "wrong", "an end is missing", unsaid)
    if wrong := off(found, case):
        return Came("wrong", f"{wrong} {sorted(choices)}", unsaid)
    inside = sum(
        one.low is not None and one.low <= value and (one.high is None or value <= one.high)
        for one, value in ((ranges[name], value) for name, value in truth(case).items())
    )
    what = "asked much" if len(choices) > MOST_CHOICES else "asked" if choices else "right"
    return Came(what, ", ".join(sorted(choices)), unsaid, inside)


WHAT, PROPOSED = ("right", "asked", "asked much", "refused", "wrong"), ("right", "asked", "said", "silent")


def show(found: Iterable[tuple[str, Came]]) -> None:
    """The table of kinds: what comes of them as a person says, and as it is proposed."""
    table: dict[str, list[Came]] = {}
    for kind, came in found:
        table.setdefault(kind, []).append(came)
    print(f"{'kind':52} {'  '.join(WHAT)} | proposed: {'  '.join(PROPOSED)}")
    for kind, all_of in sorted(table.items()):
        told, unsaid = Counter(came.what for came in all_of), Counter(came.proposed for came in all_of)
        left = "  ".join(f"{told[one] or '':>{len(one)}}" for one in WHAT)
        right = "  ".join(f"{unsaid[one] or '':>{len(one)}}" for one in PROPOSED)
        print(f"{kind:52} {left} |           {right}")


def keep_what_is_promised(found: dict[str, Came]) -> None:
    """Nothing wrong and nothing refused (but one in a thousand, where that many are tried); nothing wrong without a
    word; three choices for nine in ten; honest ranges."""
    spoilt = {name: one for name, one in found.items() if one.what in ("wrong", "refused")}
    assert len(spoilt) <= len(found) // 1000, spoilt
    assert [name for name, one in found.items() if one.proposed == "silent"] == []
    assert sum(one.what == "asked much" for one in found.values()) <= 0.1 * len(found)
    assert sum(one.inside for one in found.values()) >= 0.9 * len(FIGURES) * len(found)


KEPT = {name: kinds for name, kinds in ALONE.items() if possible(kinds)}


def test_each_kind_of_file_by_itself() -> None:
    cases = {**{name: dress(kinds) for name, kinds in KEPT.items()}, **{name: make() for name, make in ODD.items()}}
    assert len(cases) >= 140
    found = {name: outcome(case) for name, case in cases.items()}
    show(found.items())
    print(Counter(one.what for one in found.values()), Counter(one.proposed for one in found.values()))
    keep_what_is_promised(found)


FEW, MANY = 80, 2000


@pytest.mark.parametrize("count", [FEW, pytest.param(MANY, marks=pytest.mark.long)])
def test_kinds_crossed_at_random(count: int) -> None:
    cases = {seed: crossed(seed) for seed in range(count)}
    found = {seed: outcome(case) for seed, case in cases.items()}
    show((f"{axis}: {kind}", found[seed]) for seed, case in cases.items() for axis, kind in case.kinds.items())
    keep_what_is_promised({f"{seed}: {cases[seed].kinds}": one for seed, one in found.items()})
