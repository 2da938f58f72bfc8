"""Five files of five kinds, walked on their page without script: the right impulse with at most three choices.

The truth is the trapezoid of tests/calc/record/dressed.py in closed form; the files are invented.
"""

import random
from collections.abc import Callable
from urllib.parse import parse_qsl

import pytest
from fastapi.testclient import TestClient
from sqlmodel import select

from app.models import Curve
from tests import build
from tests.browse import Page
from tests.calc.record.dressed import USUAL, Burn, Dressed, dress
from tests.calc.record.stands import ODD
from tests.pages.firings.test_curves import post
from tests.pages.motors.test_builds import book

MOST = 3


def serial_monitor() -> Dressed:
    """A board's boot messages, then lines that a serial monitor wrote its clock before; grams, no heads."""
    burn = Burn(rate=80.0)
    times, forces = burn.samples(random.Random(11))
    rows = [
        f"12:31:{2 + t + 0.004 * (i % 3):06.3f} -> {1e3 * t + 731:.0f}, {1000 * f / 9.80665:.2f}"
        for i, (t, f) in enumerate(zip(times, forces, strict=True))
    ]
    boot = ["Booting...", "SD card ok, 14 files", "HX 24 bit, gain 128", "Ready", "12:31:01.900 -> success"]
    known = {"force_column": "3", "force_unit": "gf", "time_unit": "s"}
    return Dressed("\n".join([*boot, *rows[:90], "button is pressed...", *rows[90:]]).encode(), burn, known, False)


def two_pulses() -> Dressed:
    """A motor, and 3.4 s after it another one half as strong, with two stray samples in the first."""
    burn, chance = Burn(), random.Random(5)
    times, forces = burn.samples(chance)
    later = [0.5 * force for force in forces]
    length = times[-1] + 1 / burn.rate
    both = [*zip(times, forces, strict=True), *((t + length, f) for t, f in zip(times, later, strict=True))]
    rows = [f"{t:.4f},{1950.0 if i in (260, 301) else f:.2f}" for i, (t, f) in enumerate(both)]
    known = {"pulse": "1", "leave_out": "on", "force_unit": "N", "force_column": "2", "time_unit": "s"}
    return Dressed("\n".join(["Time (s),Thrust (N)", *rows]).encode(), burn, known, True)


FIVE: dict[str, tuple[str, Callable[[], Dressed]]] = {
    "boot messages and clock prefixes in grams": ("log.txt", serial_monitor),
    "counts of 24 bits": ("raw.csv", ODD["counts of 24 bits"]),
    "decimal commas with a second table, in German": (
        "schub.csv",
        lambda: dress({**USUAL, "style": "decimal commas", "head": "German", "unit": "kgf", "junk": "a table beside"}),
    ),
    "a sheet of a workbook": ("stand.xlsx", ODD["sheet of an .xlsx"]),
    "two pulses with spikes": ("two.csv", two_pulses),
}


def walk(client: TestClient, url: str, known: dict[str, str]) -> list[str]:
    """Answer what the page asks as somebody does who knows the stand, then save; gives what was chosen, in order."""
    chosen: list[str] = []
    page = Page(client.get(url).text)
    for _ in range(6):
        form = page.forms["form"]
        questions = [name for name in form.choices if name.startswith("choose.")]
        pick = next(
            (
                (name, value)
                for name in questions
                for value in sorted(form.choices[name])
                if form.fields.get(name) != value
                and all(known.get(key, "") == text for key, text in parse_qsl(value, keep_blank_values=True))
            ),
            None,
        )
        if pick is None:
            break
        chosen.append(pick[0])
        page = Page(client.post(url, data={**form.fields, pick[0]: pick[1], "look": "on"}).text)
    form = page.forms["form"]
    typed = {name: text for name, text in known.items() if form.fields.get(name, "") != text}
    chosen += sorted({name.split(".")[0] for name in typed} - {"of_stand"})
    answer = client.post(url, data={**form.fields, **typed}, follow_redirects=False)
    assert answer.status_code == 303, (chosen, Page(answer.text).texts["main"][:1500])
    return chosen


def test_a_file_of_each_kind_comes_to_the_right_impulse_in_three_choices(client: TestClient) -> None:
    counted: dict[str, list[str]] = {}
    for kind, (name, make) in FIVE.items():
        case = make()
        with book(client) as session:
            count = round(case.burn.impulse / (130 * 9.80665) / 0.1717)  # grains of 171.7 g give 130 s
            number = build.bare_firing(session, build.bare_motor(session, build.ready_grains(session, count))).pk
            url = f"/firings/{number}/curve"
        known = {**case.known, "of_stand": ""}  # each of another stand
        counted[kind] = walk(client, str(post(client, url, case.raw, name).headers["location"]), known)
        with book(client) as session:
            curve = session.exec(select(Curve).where(Curve.firing_id == number)).one()
            assert curve.total_impulse_ns == pytest.approx(case.burn.impulse, rel=0.01), kind
            assert curve.burn_time_s == pytest.approx(case.burn.burn_time, rel=0.02), kind
            assert curve.peak_thrust_n == pytest.approx(case.burn.peak, rel=0.02), kind
    for kind, chosen in counted.items():
        print(f"{kind}: {', '.join(chosen) or 'nothing'}")
    assert max(map(len, counted.values())) <= MOST
