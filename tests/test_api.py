"""The compute API: known answers, refusals that name their field, a document whose examples run, and odd JSON.

The examples' answers are renewed with `python tests/test_api.py` after a calculation has changed on purpose.
"""

import copy
import csv
import html
import json
import math
import operator
import re
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from fastapi.testclient import TestClient
from httpx2 import Response
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app.db import migrate
from app.main import create_app
from app.models import api as models
from app.models import api_choices as choices_models
from app.models import api_flight as flight_models
from app.models import api_motor as motor_models
from app.models import api_season as season_models
from app.settings import Settings
from tests.behind import browser_of, let_in
from tests.entering import asked

EXAMPLES_FILE = Path(models.__file__).with_name("api_examples.json")
EXAMPLES: dict[str, Any] = json.loads(EXAMPLES_FILE.read_text(encoding="utf-8"))
BASE = "/api/v1"


@pytest.fixture(scope="module")
def api(empty_book: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """One client for all: the API stores nothing. A fault of the program comes back as 500, not as an exception."""
    book = tmp_path_factory.mktemp("api") / "book.sqlite3"
    book.write_bytes(empty_book.read_bytes())
    app = create_app(Settings(book=book))
    with browser_of(app, raise_server_exceptions=False) as client:
        yield client


def example(path: str, **changes: Any) -> dict[str, Any]:
    return {**copy.deepcopy(EXAMPLES[path]["request"]), **changes}


def ask(client: TestClient, path: str, body: Any) -> dict[str, Any]:
    response = client.post(BASE + path, json=body)
    assert response.status_code == 200, response.text
    answer: dict[str, Any] = response.json()
    return answer


# --- The way in ----------------------------------------------------------------------------------


def test_the_script_of_the_help_page_judges_a_spreadsheet(empty_book: Path, tmp_path: Path) -> None:
    """The script as a person copies it off the page, on its own, asks the program as it is served.

    By hand: 169 g as in `test_density_of_a_grain_by_hand`: 95.1 %; 10 % lighter is 85.6 %, 20 % lighter 76.1 %.
    """
    book = tmp_path / "book.sqlite3"
    book.write_bytes(empty_book.read_bytes())
    script, sheet = tmp_path / "judge.py", tmp_path / "grains.csv"
    rows = [f"{name},{grams},44.45,19.05,76.2" for name, grams in (("A-01", 169), ("A-02", 152.1), ("A-03", 135.2))]
    sheet.write_text("\n".join(["grain,grams,outer mm,core mm,length mm", *rows]))
    with serving(book) as address:
        status, _, page = asked(f"{address}/help/api", "; ".join("=".join(one) for one in let_in(book).items()))
        found = re.search(r'<pre id="script"[^>]*>(.*?)</pre>', page, re.DOTALL)
        assert found is not None, status
        script.write_text(html.unescape(found[1]))
        token = _command(book, "token")
        (tmp_path / "token.txt").write_text(token)
        command = [sys.executable, str(script), str(sheet)]
        judged = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=True)
        assert "Token 1, made" in _command(book, "tokens")
        _command(book, "withdraw", "1")
        refused = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
        assert "401" in refused.stderr
    assert list(csv.reader(judged.stdout.splitlines())) == [
        ["grain", "share of ideal density", "verdict"],
        ["A-01", "0.951", "accept"],
        ["A-02", "0.856", "look"],
        ["A-03", "0.761", "reject"],
    ]


def _command(book: Path, *words: str) -> str:
    """What a command prints of a book, also while it is open."""
    command = [sys.executable, "-m", "app", *words, "--book", str(book)]
    return subprocess.run(command, capture_output=True, text=True, check=True).stdout


@contextmanager
def serving(book: Path) -> Iterator[str]:
    """The app on a book at a free port of this machine."""
    listener = socket.create_server(("127.0.0.1", 0))
    server = uvicorn.Server(uvicorn.Config(create_app(Settings(book=book)), log_level="warning"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
    thread.start()
    try:
        while not server.started and thread.is_alive():
            time.sleep(0.01)
        yield f"http://127.0.0.1:{listener.getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join(timeout=20)
        listener.close()


# --- Known answers -----------------------------------------------------------------------------


def test_a_400_g_batch_of_65_28_7(api: TestClient) -> None:
    """Common practice, no source: 260/112/28 g."""
    parts = {"KNO3": 0.65, "sorbitol": 0.28, "sugar": 0.07}
    answer = ask(api, "/recipe/scale", {"parts": parts, "mass_kg": 0.4, "resolution_kg": 0.001})
    grams = {key: round(1000 * mass, 9) for key, mass in answer["masses_kg"].items()}
    assert grams == {"potassium_nitrate": 260, "sorbitol": 112, "sucrose": 28}
    assert answer["fresh_mass_kg"] == pytest.approx(0.4)
    assert [step["ingredient"] for step in answer["melt_order"]][:2] == ["sorbitol", "sucrose"]


def test_a_remelt_counts_by_its_own_composition(api: TestClient) -> None:
    """By hand: 400 g of 65/35 needs 260/140; 40 g of 60/40 brings 24/16; 236/124 are left to weigh out."""
    body = {
        "parts": {"potassium_nitrate": 0.65, "sorbitol": 0.35},
        "mass_kg": 0.4,
        "resolution_kg": 0.001,
        "remelts": [{"parts": {"potassium_nitrate": 0.6, "sorbitol": 0.4}, "mass_kg": 0.04}],
    }
    answer = ask(api, "/recipe/scale", body)
    assert [round(1000 * m, 9) for m in answer["masses_kg"].values()] == [236, 124]


def test_density_of_a_grain_by_hand(api: TestClient) -> None:
    """44.45 x 19.05 x 76.2 mm: pi/4 (44.45^2 - 19.05^2) 76.2 = 96,527 mm3; 169 g gives 1751 kg/m3; ideal 1841
    (R. Nakka's page on 65/35 with sorbitol, from memory): 95.1 %."""
    answer = ask(api, "/grain/check", example("/grain/check"))
    assert answer["volume_m3"] * 1e9 == pytest.approx(96_527, abs=1)
    assert answer["density_kg_m3"] == pytest.approx(1750.8, abs=0.1)
    assert answer["share"] == pytest.approx(0.951, abs=0.001)
    assert answer["verdict"] == "accept"


@pytest.mark.parametrize(("sugar", "temperature", "c_star"), [("sorbitol", 1600, 911), ("dextrose", 1710, 912)])
def test_published_blend_states(api: TestClient, sugar: str, temperature: float, c_star: float) -> None:
    """Sorbitol: DARE, TU Delft (published). Dextrose: R. Nakka's page, from memory. At 68 atm."""
    answer = ask(api, "/blend/state", {"parts": {"potassium_nitrate": 0.65, sugar: 0.35}})
    assert answer["temperature_k"] == pytest.approx(temperature, abs=3)
    assert answer["c_star_m_s"] == pytest.approx(c_star, rel=0.005)
    assert answer["balance_error"] < 1e-6


def test_a_motor_keeps_its_mass_and_its_impulse(api: TestClient) -> None:
    """Conservation, and the definition of specific impulse with standard gravity (3rd CGPM)."""
    answer = ask(api, "/motor/run", example("/motor/run", curve_points=1000))
    assert abs(answer["mass_balance"]) < 1e-6
    assert answer["propellant_mass_kg"] == pytest.approx(4 * 0.169)
    assert answer["specific_impulse_s"] == pytest.approx(answer["total_impulse_n_s"] / (4 * 0.169 * 9.80665))
    assert answer["designation"].startswith(answer["impulse_class"])
    curve = answer["curve"]
    steps = zip(curve["time_s"], curve["time_s"][1:], curve["thrust_n"], curve["thrust_n"][1:], strict=False)
    impulse = sum((b - a) * (f + g) / 2 for a, b, f, g in steps)
    assert impulse == pytest.approx(answer["total_impulse_n_s"], rel=0.01)
    assert max(curve["pressure_pa"]) == pytest.approx(answer["peak_pressure_pa"], rel=1e-4)  # it may lie between two


def test_less_air_gives_more_thrust_by_its_pressure_on_the_exit(api: TestClient) -> None:
    """F rises by (difference of ambient pressure) x exit area where flow is attached: momentum balance."""
    exit_d = 0.030
    low, high = (
        ask(api, "/motor/run", example("/motor/run", ambient_pressure_pa=p, exit_d_m=exit_d))
        for p in (101325.0, 70121.0)
    )
    gain = (101325.0 - 70121.0) * 3.141592653589793 / 4 * exit_d**2
    assert high["peak_thrust_n"] - low["peak_thrust_n"] == pytest.approx(gain, rel=1e-3)


def test_an_own_law_that_repeats_the_published_one_changes_nothing(api: TestClient) -> None:
    """65/35 with sucrose: r = 8.26 P^0.319 mm/s, P in MPa (R. Nakka, from memory)."""
    parts = {"potassium_nitrate": 0.65, "sucrose": 0.35}
    own = {"rate_at_1_mpa_m_s": 8.26e-3, "exponent": 0.319, "p_min_pa": 1.03e5, "p_max_pa": 1.03e7}
    published = ask(api, "/motor/run", example("/motor/run", parts=parts))
    ours = ask(api, "/motor/run", example("/motor/run", parts=parts, burn_law=own))
    assert ours["total_impulse_n_s"] == pytest.approx(published["total_impulse_n_s"], rel=1e-9)
    assert ours["peak_pressure_pa"] == pytest.approx(published["peak_pressure_pa"], rel=1e-9)


def test_a_range_is_the_same_twice_and_holds_the_single_run(api: TestClient) -> None:
    body = example("/motor/range", samples=64)
    first, again = ask(api, "/motor/range", body), ask(api, "/motor/range", body)
    assert first == again
    single = ask(api, "/motor/run", example("/motor/run"))
    assert first["peak_pressure_pa"]["low"] < single["peak_pressure_pa"] < first["peak_pressure_pa"]["high"]
    assert sum(first["classes"].values()) == pytest.approx(1.0)
    other = ask(api, "/motor/range", {**body, "seed": 21})
    assert other["peak_pressure_pa"] != first["peak_pressure_pa"]


def test_a_spread_left_at_zero_drives_nothing(api: TestClient) -> None:
    spread = {
        "density": 0.0,
        "c_star": 0.0,
        "nozzle": 0.0,
        "throat_d_m": 0.0,
        "core_d_m": 0.0,
        "temperature_k": 0.0,
        "extra_area": 0.0,
        "burn_rate": 0.05,
    }
    answer = ask(api, "/motor/range", example("/motor/range", samples=16, spread=spread))
    assert [driver["input"] for driver in answer["drivers"]] == ["burn_rate"]


def test_a_field_by_its_elevation_is_the_field_by_its_air_pressure(api: TestClient) -> None:
    """US Standard Atmosphere 1976: 79,501 Pa at 2,000 m."""
    by_pressure = ask(api, "/motor/run", example("/motor/run", ambient_pressure_pa=79501.0))
    by_height = ask(
        api,
        "/motor/run",
        {k: v for k, v in example("/motor/run").items() if k != "ambient_pressure_pa"} | {"elevation_m": 2000.0},
    )
    assert by_height["total_impulse_n_s"] == pytest.approx(by_pressure["total_impulse_n_s"], rel=1e-5)


def test_the_wind_of_a_rail_and_what_is_said_of_more(api: TestClient) -> None:
    """Plane trigonometry: w = v tan(angle) off an upright rail; above it a note. 20 mph: common practice, no source."""
    calm = ask(api, "/flight/run", example("/flight/run", tilt_rad=0.0, wind_m_s=0.0, rail_length_m=2.0))
    speed = calm["rail_exit_speed_m_s"]
    assert calm["rail_wind_limit_m_s"] == pytest.approx(speed * math.tan(math.radians(20)), rel=1e-4)
    assert calm["notes"] == []
    body = {"tilt_rad": 0.0, "wind_m_s": 13.4, "rail_length_m": 2.0, "largest_angle_rad": math.radians(15)}
    stormy = ask(api, "/flight/run", example("/flight/run", **body))
    assert stormy["exit_angle_rad"] == pytest.approx(math.atan(13.4 / speed), rel=1e-3)
    assert stormy["exit_angle_gust_rad"] > stormy["exit_angle_rad"]
    assert stormy["rail_wind_limit_m_s"] == pytest.approx(speed * math.tan(math.radians(15)), rel=1e-3)
    assert any(note.startswith("Too much wind for this rail") for note in stormy["notes"])
    assert any("20 mph" in note for note in stormy["notes"])


def test_a_flight_in_the_closed_form_of_hardly_any_drag(api: TestClient) -> None:
    """Tsiolkovsky with gravity, and a coast of v²/2g, where a thin heavy rod feels no air."""
    body = {
        "time_s": [0.0, 2.0],
        "thrust_n": [400.0, 400.0],
        "propellant_mass_kg": 0.7,
        "dry_mass_kg": 6.5,
        "diameter_m": 0.001,
        "drag_coefficient": 0.01,
        "rail_length_m": 2.0,
        "path_points": 0,
    }
    answer = ask(api, "/flight/run", body)
    exhaust, g = 800 / 0.7, 9.80665
    speed = exhaust * math.log(7.2 / 6.5) - g * 2
    height = exhaust * 2 * (1 - math.log(7.2 / 6.5) / (7.2 / 6.5 - 1)) - g * 2
    assert answer["burnout_speed_m_s"] == pytest.approx(speed, rel=1e-5)
    assert answer["apogee_m"] == pytest.approx(height + speed**2 / (2 * g), rel=1e-5)
    assert answer["opening_time_s"] is None
    assert answer["path"] is None


def test_a_core_askew_by_nothing_is_the_closed_form(api: TestClient) -> None:
    plain = ask(api, "/motor/run", example("/motor/run", grains=grain()))
    askew = ask(api, "/motor/run", example("/motor/run", grains=grain(core_offset_aft_m=0.0)))
    assert askew["total_impulse_n_s"] == pytest.approx(plain["total_impulse_n_s"], rel=1e-4)
    assert askew["peak_pressure_pa"] == pytest.approx(plain["peak_pressure_pa"], rel=1e-4)


def test_a_core_of_many_corners_is_nearly_round(api: TestClient) -> None:
    """A polygon of 64 corners on the core's circle has 0.16 % less area than the circle."""
    plain = ask(api, "/motor/run", example("/motor/run", grains=grain()))
    r = example("/motor/run")["grains"][0]["core_d_m"] / 2
    turn = [2 * math.pi * i / 64 for i in range(64)]
    corners = [[r * math.cos(t), r * math.sin(t)] for t in turn]
    found = ask(api, "/motor/run", example("/motor/run", grains=grain(core_d_m=0.0, core_outline_m=corners)))
    assert found["total_impulse_n_s"] == pytest.approx(plain["total_impulse_n_s"], rel=2e-3)
    assert found["peak_pressure_pa"] == pytest.approx(plain["peak_pressure_pa"], rel=1e-2)


def test_a_motor_chosen_is_the_motor_run_and_flown_by_itself(api: TestClient) -> None:
    """Each possible design asked of /motor/run, /motor/range and /flight/run: the same figures, height included."""
    body = example("/motor/choices")
    answer = ask(api, "/motor/choices", body)
    assert [answer["designs"][i]["rank"] for i in answer["best"]] == [1, 2, 3]
    (formula,), (case,), (nozzle,) = body["formulas"], body["cases"], body["nozzles"]
    grains, rocket, field = {g["name"]: g for g in body["grains"]}, body["rocket"], body["field"]
    for i in answer["best"]:
        chosen = answer["designs"][i]
        motor = {
            "parts": formula["parts"],
            "grains": [
                {key: value for key, value in grains[of["pattern"]].items() if key != "name"}
                for of in chosen["grains"]
                for _ in range(of["count"])
            ],
            "throat_d_m": chosen["throat_d_m"],
            "exit_d_m": nozzle["exit_d_m"],
            "case_inner_d_m": case["case_inner_d_m"],
            "chamber_length_m": case["chamber_length_m"],
            "elevation_m": field["elevation_m"],
        }
        run = ask(api, "/motor/run", {**motor, "curve_points": 1000})
        for name in ("peak_pressure_pa", "total_impulse_n_s", "burn_time_s", "propellant_mass_kg", "port_to_throat"):
            assert chosen[name] == pytest.approx(run[name], rel=1e-9), name
        drawn = ask(api, "/motor/range", {**motor, "samples": 64, "spread": formula["spread"]})
        assert chosen["ranges"]["peak_pressure_pa"] == drawn["peak_pressure_pa"]
        assert drawn["peak_pressure_pa"]["high"] < case["rated_pressure_pa"]
        flown = {
            "time_s": run["curve"]["time_s"],
            "thrust_n": run["curve"]["thrust_n"],
            "propellant_mass_kg": run["propellant_mass_kg"],
            **rocket,
            "dry_mass_kg": rocket["dry_mass_kg"] + case["empty_mass_kg"],
            **{name: field[name] for name in ("elevation_m", "wind_m_s")},
        }
        times = zip(flown["time_s"], flown["thrust_n"], strict=True)
        kept = [(t, f) for k, (t, f) in enumerate(times) if not k or t > flown["time_s"][k - 1] + 1e-9]
        flown |= {"time_s": [t for t, _ in kept], "thrust_n": [f for _, f in kept]}
        flight = ask(api, "/flight/run", flown)
        assert chosen["apogee_m"] == pytest.approx(flight["apogee_m"], rel=1e-6)
        assert chosen["rail_exit_speed_m_s"] == pytest.approx(flight["rail_exit_speed_m_s"], rel=1e-6)
        assert 500.0 < flight["apogee_m"] < 700.0


def test_a_search_tells_why_nothing_is_possible(api: TestClient) -> None:
    """A weak case, no case, and one that nothing goes into: each in words, with what would help."""
    low = ask(api, "/motor/choices", example("/motor/choices", wish_low_m=None, most_ranged=0))
    assert (low["possible"], low["refused"] + low["not_ranged"]) == (0, len(low["designs"]))
    weak = example("/motor/choices")
    weak["cases"][0] |= {"rated_pressure_pa": 2.2e6}
    answer = ask(api, "/motor/choices", weak)
    over = [d for d in answer["designs"] if any(r["kind"] == "over the case" for r in d["reasons"])]
    assert any("wider throat" in str(r["change"]) for d in over for r in d["reasons"])
    weaker = example("/motor/choices")
    weaker["cases"][0] |= {"rated_pressure_pa": 1e6}
    assert "Over the case" in ask(api, "/motor/choices", weaker)["why_not"]
    none = ask(api, "/motor/choices", example("/motor/choices", cases=[]))
    assert none["why_not"] == "There is no case to make a motor of."
    wide = example("/motor/choices")
    wide["cases"][0] |= {"case_inner_d_m": 0.04}
    found = ask(api, "/motor/choices", wide)
    assert found["designs"] == []
    assert "usual is 4.45 mm too wide for long 54." in found["left_out"]
    on_the_bench = ask(api, "/motor/choices", example("/motor/choices", rocket=None, field=None))
    assert on_the_bench["possible"] == 3
    assert all(d["apogee_m"] is None for d in on_the_bench["designs"])


@pytest.mark.parametrize(
    ("method", "path", "status"),
    [("GET", "/motor/run", 405), ("POST", "/motor/fly", 404), ("GET", "/", 404), ("DELETE", "/case/check", 405)],
)
def test_what_is_not_there_is_told_in_json(api: TestClient, method: str, path: str, status: int) -> None:
    answer = api.request(method, BASE + path)
    assert answer.status_code == status
    assert set(answer.json()) == {"detail"}
    page = api.request(method, "/no-such-page")
    assert page.headers["content-type"].startswith("text/html")


def test_only_the_compute_api_is_documented(api: TestClient) -> None:
    assert api.get("/openapi.json").status_code == 404
    assert all(path.startswith(BASE) for path in api.get(BASE + "/openapi.json").json()["paths"])


def test_published_burst_case(api: TestClient) -> None:
    """A published case of 6061-T6, 5 in outside, 0.125 in wall: 2250 psi = Su t / r_outer with 45 ksi. Here the least
    strength (260 MPa, 37.7 ksi) bursts it in proportion."""
    inch, psi = 0.0254, 6894.757
    body = {"peak_pressure_pa": 1e6, "inner_d_m": 4.75 * inch, "outer_d_m": 5 * inch, "material": "aluminium_6061_t6"}
    answer = ask(api, "/case/check", body)
    assert answer["burst_pressure_pa"] == pytest.approx(2250 * psi * 260e6 / (45_000 * psi), rel=1e-3)
    radii = (2.5**2 + 2.375**2) / (2.5**2 - 2.375**2)
    assert answer["bore_stress_pa"] == pytest.approx(1e6 * radii, rel=1e-9)  # Lamé, by hand


def test_bolts_by_hand(api: TestClient) -> None:
    """Bearing of eight 4.2 mm bolts in the wall against the push on the bore; 240 MPa: 6061-T6, minimum."""
    bolts = {"count": 8, "hole_d_m": 0.005, "shank_d_m": 0.0042, "edge_m": 0.012, "bolt_yield_pa": 640e6}
    asked = example(
        "/case/check", bolts=bolts, inner_d_m=0.0482, outer_d_m=0.054, rated_pressure_pa=None, proof_pressure_pa=None
    )
    answer = ask(api, "/case/check", asked)
    crushed = 8 * 0.0042 * 0.0029 * 240e6 / (math.pi / 4 * 0.0482**2)
    assert answer["closures"][0]["words"] == "holes crushed"
    assert answer["closures"][0]["pressure_pa"] == pytest.approx(crushed)
    assert answer["set_by_closures"]
    assert answer["limit_pa"] == pytest.approx(crushed / 2)


def test_an_unknown_burst_is_null_not_nan(api: TestClient) -> None:
    answer = ask(api, "/case/check", example("/case/check", material="other", yield_strength_pa=2e8))
    assert answer["burst_pressure_pa"] is None


# --- Refusals ----------------------------------------------------------------------------------


def change(path: str, **changes: Any) -> tuple[str, dict[str, Any]]:
    return path, example(path, **changes)


def grain(**changes: Any) -> list[dict[str, Any]]:
    good = EXAMPLES["/motor/run"]["request"]["grains"]
    return [good[0], {**good[1], **changes}]


def choice(*place: str | int, **changes: Any) -> tuple[str, dict[str, Any]]:
    """The search's example with something changed in it."""
    body = example("/motor/choices")
    value: Any = body
    for key in place:
        value = value[key] if key != "" else value
    value |= changes
    return "/motor/choices", body


MANY = [{**EXAMPLES["/motor/choices"]["request"]["cases"][0], "name": f"case {i}"} for i in range(6)]

KNSB = {"potassium_nitrate": 0.65, "sorbitol": 0.35}
HALF = {"potassium_nitrate": 0.45, "sorbitol": 0.55}
MACH = {"mach": 0.5, "coefficient": 0.5}
NO_CHUTE = {"diameter_m": 0.0, "drag_coefficient": 1.5}
LAW = {"rate_at_1_mpa_m_s": 8e-3, "exponent": 0.3, "p_min_pa": 2e6, "p_max_pa": 1e6}

FLIGHT: dict[str, Any] = {"name": "Knot", "count": 5, "grains": {"Gull 54": 3}, "by": "2027-06-06"}
SHELF: dict[str, Any] = {"pattern": "Gull 54", "count": 2, "ready": "2027-01-10"}
GRAINS = ["flights", 0, "grains", "Gull 54"]

BAD: list[tuple[str, tuple[str, dict[str, Any]], list[Any]]] = [
    ("no mass", change("/recipe/scale", mass_kg=0), ["mass_kg"]),
    ("too weak to lift", change("/flight/run", dry_mass_kg=150.0), ["thrust_n"]),
    ("times that fall", change("/flight/run", time_s=[0.0, 0.05, 0.6, 1.4, 1.8, 1.8]), ["time_s"]),
    ("a gust below the wind", change("/flight/run", gust_m_s=3.0), ["gust_m_s"]),
    ("a rail too far from upright", change("/flight/run", tilt_rad=0.5), ["tilt_rad"]),
    ("a drag table that falls", change("/flight/run", drag_table=[MACH, MACH]), ["drag_table"]),
    (
        "two bases of drag",
        change("/flight/run", reference_diameter_m=0.1, reference_area_m2=0.01),
        ["reference_area_m2"],
    ),
    ("both parachutes at once", change("/flight/run", main_height_m=None), ["main_height_m"]),
    ("a parachute of nothing", change("/flight/run", drogue=NO_CHUTE), ["drogue", "diameter_m"]),
    ("no such weather", change("/flight/run", temperature_k=225.0, elevation_m=-400.0), ["temperature_k"]),
    ("negative", change("/recipe/scale", mass_kg=-1), ["mass_kg"]),
    ("text for a number", change("/recipe/scale", mass_kg="0.4"), ["mass_kg"]),
    ("true for a number", change("/recipe/scale", mass_kg=True), ["mass_kg"]),
    ("unknown field", change("/recipe/scale", mass_g=400), ["mass_g"]),
    ("unknown ingredient", change("/recipe/scale", parts={"KNO3": 0.65, "epoxy": 0.35}), ["parts", "epoxy"]),
    (
        "other oxidiser",
        change("/blend/state", parts={"ammonium perchlorate": 0.7, "sucrose": 0.3}),
        ["parts", "ammonium perchlorate"],
    ),
    ("shares of 90 %", change("/recipe/scale", parts={"KNO3": 0.6, "sorbitol": 0.3}), ["parts"]),
    ("share above one", change("/recipe/scale", parts={"KNO3": 1.6, "sorbitol": 0.3}), ["parts", "KNO3"]),
    ("blend outside the range", change("/recipe/scale", parts=HALF), ["parts", "potassium_nitrate"]),
    ("below a step of the scale", change("/recipe/scale", mass_kg=0.001), ["resolution_kg"]),
    ("too much remelt", change("/recipe/scale", remelts=[{"parts": KNSB, "mass_kg": 0.2}]), ["remelts"]),
    (
        "an odd remelt",
        change("/recipe/scale", remelts=[{"parts": KNSB, "mass_kg": 0.01}, {"parts": {"rust": 1.0}, "mass_kg": 0.01}]),
        ["remelts", 1, "parts", "rust"],
    ),
    ("core wider than grain", change("/grain/check", core_d_m=0.05), ["core_d_m"]),
    ("tube heavier than all", change("/grain/check", tube_tare_kg=0.5), ["tube_tare_kg"]),
    ("limits the wrong way", change("/grain/check", accept_share=0.5, reject_share=0.9), ["accept_share"]),
    ("blend and density", change("/grain/check", ideal_density_kg_m3=1841.0), ["ideal_density_kg_m3"]),
    ("neither of them", change("/grain/check", parts=None), ["ideal_density_kg_m3"]),
    ("pressure too low", change("/blend/state", pressure_pa=1e5), ["pressure_pa"]),
    ("blend out of range", change("/blend/state", parts=HALF), ["parts", "potassium_nitrate"]),
    ("throat of nothing", change("/motor/run", throat_d_m=0.0), ["throat_d_m"]),
    ("throat wider than the port", change("/motor/run", throat_d_m=0.025), ["throat_d_m"]),
    ("a motor that cannot choke", change("/motor/run", grains=grain()[:1], throat_d_m=0.019), ["throat_d_m"]),
    ("exit narrower than throat", change("/motor/run", exit_d_m=0.01), ["exit_d_m"]),
    ("no free volume", change("/motor/run", free_volume_extra_m3=-0.0003), ["free_volume_extra_m3"]),
    ("grains too long", change("/motor/run", chamber_length_m=0.2), ["chamber_length_m"]),
    ("grains too wide", change("/motor/run", case_inner_d_m=0.04), ["case_inner_d_m"]),
    ("no grain", change("/motor/run", grains=[]), ["grains"]),
    ("second grain's core", change("/motor/run", grains=grain(core_d_m=0.05)), ["grains", 1, "core_d_m"]),
    ("second grain's mass", change("/motor/run", grains=grain(mass_kg=-1)), ["grains", 1, "mass_kg"]),
    ("core through the side", change("/motor/run", grains=grain(core_offset_m=0.02)), ["grains", 1, "core_offset_m"]),
    (
        "an askew core through the side",
        change("/motor/run", grains=grain(core_offset_aft_m=-0.02)),
        ["grains", 1, "core_offset_aft_m"],
    ),
    (
        "an outline beyond the grain",
        change("/motor/run", grains=grain(core_d_m=0.0, core_outline_m=[[0.0, 0.0], [0.05, 0.0], [0.0, 0.05]])),
        ["grains", 1, "core_outline_m"],
    ),
    (
        "an outline and a core",
        change("/motor/run", grains=grain(core_outline_m=[[0.0, 0.0], [0.01, 0.0], [0.0, 0.01]])),
        ["grains", 1, "core_outline_m"],
    ),
    (
        "an outline of nothing",
        change("/motor/run", grains=grain(core_d_m=0.0, core_outline_m=[[0.0, 0.0], [0.01, 0.0], [0.02, 0.0]])),
        ["grains", 1, "core_outline_m"],
    ),
    ("height and pressure", change("/motor/run", ambient_pressure_pa=1e5, elevation_m=100.0), ["elevation_m"]),
    ("a plug in the way", change("/motor/run", grains=grain(core_d_m=0.0, burns_core=False)), ["grains"]),
    ("igniter too weak", change("/motor/run", igniter_pressure_pa=1.2e5), ["igniter_pressure_pa"]),
    ("too hot", change("/motor/run", initial_temperature_k=400), ["initial_temperature_k"]),
    ("law upside down", change("/motor/run", burn_law=LAW), ["burn_law", "p_max_pa"]),
    ("exponent of one", change("/motor/run", burn_law={**LAW, "exponent": 1.0}), ["burn_law", "exponent"]),
    ("too many draws", change("/motor/range", samples=10**6), ["samples"]),
    ("negative spread", change("/motor/range", spread={"burn_rate": -0.1}), ["spread", "burn_rate"]),
    (
        "nothing is uncertain",
        change("/motor/range", spread=dict.fromkeys(list(motor_models.SpreadIn.model_fields), 0.0)),
        ["spread"],
    ),
    ("a rocket without a field", choice("", field=None), ["field"]),
    ("a wish upside down", choice("", wish_low_m=900.0), ["wish_high_m"]),
    ("a rocket without mass", choice("rocket", dry_mass_kg=0.0), ["rocket", "dry_mass_kg"]),
    ("a rocket without drag", choice("rocket", drag_coefficient=0.0), ["rocket", "drag_coefficient"]),
    ("drag that falls", choice("rocket", drag_table=[MACH, MACH]), ["rocket", "drag_table"]),
    ("no such air", choice("field", temperature_k=225.0, elevation_m=-400.0), ["field", "temperature_k"]),
    ("a pad off its field", choice("field", outline_m=[[1.0, 1.0], [2.0, 1.0], [1.0, 2.0]]), ["field", "outline_m"]),
    ("a gust below its wind", choice("field", gust_m_s=1.0), ["field", "gust_m_s"]),
    ("no such class", choice("field", distances_m={"j": 30.0}), ["field", "distances_m", "j"]),
    ("air twice", choice("", ambient_pressure_pa=1e5), ["ambient_pressure_pa"]),
    ("a name twice", choice("", cases=2 * EXAMPLES["/motor/choices"]["request"]["cases"]), ["cases", 1, "name"]),
    ("a grain of no formula", choice("grains", 0, formula="none"), ["grains", 0, "formula"]),
    ("a grain too light", choice("grains", 0, mass_kg=0.01), ["grains", 0, "mass_kg"]),
    ("a narrow tube", choice("grains", 0, tube_outer_d_m=0.04), ["grains", 0, "tube_outer_d_m"]),
    ("an odd core", choice("grains", 1, core_d_m=0.05), ["grains", 1, "core_d_m"]),
    ("an exit inside the throat", choice("nozzles", 0, exit_d_m=0.01), ["nozzles", 0, "exit_d_m"]),
    ("a case without a limit", choice("cases", 0, rated_pressure_pa=None), ["cases", 0, "outer_d_m"]),
    (
        "a case of no wall",
        choice("cases", 0, rated_pressure_pa=None, outer_d_m=0.04, material="aluminium_6061_t6"),
        ["cases", 0, "outer_d_m"],
    ),
    ("another oxidiser", choice("formulas", 0, parts={"rust": 1.0}), ["formulas", 0, "parts", "rust"]),
    ("a law the wrong way", choice("formulas", 0, burn_law=LAW), ["formulas", 0, "burn_law", "p_max_pa"]),
    ("more than is looked at", choice("", drills_m=[0.012 + 5e-5 * i for i in range(400)], cases=MANY), ["drills_m"]),
    ("an igniter that does not choke", choice("", igniter_pressure_pa=1.2e5), ["igniter_pressure_pa"]),
    ("unknown material", change("/case/check", material="unobtainium"), ["material"]),
    ("a brittle pipe", change("/case/check", material="PVC"), ["material"]),
    ("no wall", change("/case/check", outer_d_m=0.0472), ["outer_d_m"]),
    (
        "a groove outside the wall",
        change(
            "/case/check", ring={"groove_d_m": 0.06, "land_m": 0.006, "ring_thickness_m": 0.0016, "ring_yield_pa": 1e9}
        ),
        ["ring", "groove_d_m"],
    ),
    (
        "holes that meet",
        change(
            "/case/check",
            bolts={"count": 60, "hole_d_m": 0.005, "shank_d_m": 0.0042, "edge_m": 0.012, "bolt_yield_pa": 640e6},
        ),
        ["bolts", "count"],
    ),
    ("hotter than its data", change("/case/check", wall_temperature_k=600.0), ["wall_temperature_k"]),
    ("a day that is none", change("/season/plan", evenings=["2027-02-30"]), ["evenings", 0]),
    ("a day in other words", change("/season/plan", evenings=["18.2.2027"]), ["evenings", 0]),
    ("a day of the first year", change("/season/plan", evenings=["0001-01-01"]), ["evenings", 0]),
    ("an evening twice", change("/season/plan", evenings=["2027-02-18", "2027-02-18"]), ["evenings", 1]),
    ("no melt in an evening", change("/season/plan", melts_per_evening=0), ["melts_per_evening"]),
    ("half a grain", change("/season/plan", flights=[{**FLIGHT, "grains": {"Gull 54": 1.5}}]), GRAINS),
    ("no grain", change("/season/plan", flights=[{**FLIGHT, "grains": {}}]), ["flights", 0, "grains"]),
    ("an unknown pattern", change("/season/plan", flights=[{**FLIGHT, "grains": {"Tern": 1}}]), [*GRAINS[:3], "Tern"]),
    ("one on the shelf", change("/season/plan", shelf=[{**SHELF, "pattern": "Tern"}]), ["shelf", 0, "pattern"]),
    ("tools for none", change("/season/plan", tools={"Tern": 2}), ["tools", "Tern"]),
    ("more rejects than grains", change("/season/plan", rejects={"Gull 54": [5, 4]}), ["rejects", "Gull 54"]),
    ("rejects of what", change("/season/plan", rejects={"Gull 54": [5]}), ["rejects", "Gull 54"]),
    ("certainty", change("/season/plan", confidence=1.0), ["confidence"]),
    ("a blend of nothing", change("/season/plan", formulas={"tar": {"KNO3": 1.0}}), ["formulas", "tar"]),
    ("a blend amiss", change("/season/plan", formulas={"marram": {"KNO3": 0.5}}), ["formulas", "marram"]),
    (
        "a delivery of rust",
        change("/season/plan", deliveries=[{"ingredient": "rust", "kg": 1.0, "on": "2027-01-01"}]),
        ["deliveries", 0, "ingredient"],
    ),
    ("ten thousand flights", change("/season/plan", flights=[{**FLIGHT, "count": 10_000}]), ["flights", 0, "count"]),
    ("ten thousand grains", change("/season/plan", flights=[{**FLIGHT, "count": 999}] * 4), ["flights"]),
]


def refused(response: Response) -> list[dict[str, Any]]:
    """The faults of a 422, after checking that it has the one shape."""
    assert response.status_code == 422, response.text
    body = response.json()
    assert set(body) == {"detail"}
    assert body["detail"]
    for fault in body["detail"]:
        assert set(fault) == {"loc", "msg", "type"}
        assert fault["loc"][0] == "body"
        assert fault["msg"]
    faults: list[dict[str, Any]] = body["detail"]
    return faults


@pytest.mark.parametrize(("request_", "loc"), [pytest.param(r, loc, id=name) for name, r, loc in BAD])
def test_wrong_input_names_its_field(api: TestClient, request_: tuple[str, Any], loc: list[Any]) -> None:
    path, body = request_
    faults = refused(api.post(BASE + path, json=body))
    assert ["body", *loc] in [fault["loc"] for fault in faults], faults


@pytest.mark.parametrize("path", EXAMPLES)
@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity", "1e999", "1" + "0" * 400])
def test_no_number_passes_that_is_none(api: TestClient, path: str, number: str) -> None:
    """Each number of the example in turn, nested ones too; JSON has no NaN, but Python's parser takes it."""
    seen = 0
    for loc in numbers(EXAMPLES[path]["request"]):
        body = example(path)
        put(body, loc, "@")
        text = json.dumps(body).replace('"@"', number)
        faults = refused(api.post(BASE + path, content=text, headers={"content-type": "application/json"}))
        assert ["body", *loc] in [fault["loc"] for fault in faults], faults
        seen += 1
    assert seen > 2


def numbers(value: Any, *loc: str | int) -> Iterator[tuple[str | int, ...]]:
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from numbers(inner, *loc, key)
    elif isinstance(value, list):
        for i, inner in enumerate(value[:1]):
            yield from numbers(inner, *loc, i)
    elif isinstance(value, int | float):
        yield loc


def put(body: Any, loc: tuple[str | int, ...], value: Any) -> None:
    for key in loc[:-1]:
        body = body[key]
    body[loc[-1]] = value


@pytest.mark.parametrize(
    "content", [b"", b"{", b"[]", b"null", b"3", b'"text"', b"\xff\xfe{}", b"[" * 50_000], ids=lambda c: repr(c[:8])
)
def test_what_is_no_object_is_refused_in_the_same_shape(api: TestClient, content: bytes) -> None:
    refused(api.post(BASE + "/recipe/scale", content=content, headers={"content-type": "application/json"}))


def test_another_site_cannot_ask(api: TestClient) -> None:
    answer = api.post(BASE + "/recipe/scale", json=example("/recipe/scale"), headers={"origin": "http://elsewhere"})
    assert answer.status_code == 403


# --- The document ------------------------------------------------------------------------------


def test_the_document_lists_all_and_nothing_else(api: TestClient) -> None:
    document = api.get(BASE + "/openapi.json").json()
    assert document["openapi"].startswith("3.")
    assert set(document["paths"]) == {BASE + path for path in EXAMPLES}
    for methods in document["paths"].values():
        assert set(methods) == {"post"}
        assert {"200", "422"} <= set(methods["post"]["responses"])


def test_each_number_has_its_unit_or_has_none_by_nature() -> None:
    """A number is a length, mass, pressure... with its unit in its name, or a plain ratio or count."""
    units = (
        "_m",
        "_kg",
        "_pa",
        "_k",
        "_s",
        "_n",
        "_rad",
        "_m2",
        "_m3",
        "_kg_m3",
        "_m_s",
        "_n_s",
        "_kg_mol",
        "_m2_s",
        "_per_k",
    )
    plain = {
        "accept_share",
        "reject_share",
        "share",
        "share_uncertainty",
        "remelt_limit",
        "deviation",
        "oxygen_balance",
        "condensed_fraction",
        "gamma_frozen",
        "gamma_effective",
        "balance_error",
        "exponent",
        "c_star_efficiency",
        "nozzle_efficiency",
        "extra_area",
        "sigma_p",
        "curve_points",
        "samples",
        "seed",
        "kn",
        "kn_start",
        "kn_peak",
        "port_to_throat",
        "mass_balance",
        "density",
        "burn_rate",
        "c_star",
        "nozzle",
        "low",
        "mid",
        "high",
        "over_limit",
        "factor",
        "margin",
        "count",
        "of_rated",
        "of_proof",
        "mach",
        "coefficient",
        "drag_coefficient",
        "turning",
        "path_points",
        "thrust_to_weight",
        "thrust_to_weight_rail",
        "max_mach",
        "priority",
        "over_pour",
        "melts_per_evening",
        "cure_days",
        "confidence",
        "tube_held_h",
        "kg",
        "evening_count",
        "melt_count",
        "gap",
        "fired",
        "most_grains",
        "least_port_to_throat",
        "wanted",
        "most_ranged",
        "flights",
        "rank",
        "slenderness",
        "of_limit",
        "above_ceiling",
        "outside_field",
        "possible",
        "refused",
        "not_ranged",
        "best",
    }
    for model in [
        value
        for area in (models, motor_models, flight_models, choices_models, season_models)
        for value in vars(area).values()
    ]:
        if isinstance(model, type) and issubclass(model, models.ApiIn | models.ApiOut):
            for name, info in model.model_fields.items():
                if any(word in str(info.annotation) for word in ("float", "int'")) and "dict" not in str(
                    info.annotation
                ):
                    assert name.endswith(units) or name in plain, f"{model.__name__}.{name}"


def test_the_examples_run_and_give_the_answers_printed(api: TestClient) -> None:
    document = api.get(BASE + "/openapi.json").json()
    for path, methods in document["paths"].items():
        asked = methods["post"]["requestBody"]["content"]["application/json"]["examples"]["example"]["value"]
        printed = methods["post"]["responses"]["200"]["content"]["application/json"]["example"]
        alike(ask(api, path.removeprefix(BASE), asked), printed, path)


def alike(answer: Any, printed: Any, where: str) -> None:
    """Same keys, same numbers to a thousandth (whatever is below 1e-9 counts as nothing); words may be put better."""
    if isinstance(printed, dict):
        assert set(answer) == set(printed), where
        for key in printed:
            alike(answer[key], printed[key], f"{where}.{key}")
    elif isinstance(printed, list) and printed and not isinstance(printed[0], str):
        assert len(answer) == len(printed), where
        for i, one in enumerate(printed):
            alike(answer[i], one, f"{where}.{i}")
    elif isinstance(printed, float):
        assert answer == pytest.approx(printed, rel=1e-3, abs=1e-9), where
    else:
        assert type(answer) is type(printed), where


def test_the_help_page_shows_each_endpoint_and_field(api: TestClient) -> None:
    page = api.get("/help/api")
    assert page.status_code == 200
    for path in EXAMPLES:
        assert f"POST {BASE}{path}" in page.text
    for field in ("throat_d_m", "grains.core_d_m", "spread.burn_rate", "wall_temperature_k"):
        assert field in page.text


# --- Odd JSON ----------------------------------------------------------------------------------

_odd = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.sampled_from([0.0, -0.0, 5e-324, 1e-300, 1e-12, 1e-6, 1.0, 9.99, 1e3, 1e12, 1e300]),
    st.text(max_size=12),
    st.lists(st.floats(), max_size=2),
    st.dictionaries(st.text(max_size=6), st.floats(), max_size=2),
)
_near = st.floats(0.2, 5.0)


@pytest.mark.parametrize("path", EXAMPLES)
@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_odd_json_is_answered_or_refused_but_never_breaks(api: TestClient, path: str, data: st.DataObject) -> None:
    """A few values of the example replaced by odd ones, or stretched, so that the calculations are reached too."""
    body = example(path)
    if path == "/motor/range":
        body["samples"] = 16
    if path == "/motor/choices":  # a few designs, each ranged by as few draws as are taken
        body |= {"samples": 16, "flights": 16, "wanted": 1, "most_ranged": 1, "drills_m": [0.0135]}
    places = list(numbers(body))
    for loc in data.draw(st.lists(st.sampled_from(places), min_size=1, max_size=4, unique=True)):
        value: Any = body
        for key in loc:
            value = value[key]
        stretched = _near.map(partial(operator.mul, value))
        put(body, loc, data.draw(st.one_of(stretched, stretched, _odd)))
    text = json.dumps(body)
    response = api.post(BASE + path, content=text, headers={"content-type": "application/json"})
    assert response.status_code in (200, 422), f"{response.status_code} for {text}"
    if response.status_code == 422:
        refused(response)
    else:
        response.json()


@pytest.mark.parametrize("path", EXAMPLES)
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(body=st.recursive(_odd, lambda inner: st.dictionaries(st.text(max_size=10), inner, max_size=4), max_leaves=8))
def test_any_json_at_all(api: TestClient, path: str, body: Any) -> None:
    refused(api.post(BASE + path, content=json.dumps(body), headers={"content-type": "application/json"}))


def _rounded(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _rounded(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [_rounded(inner) for inner in value]
    return float(f"{value:.6g}") if isinstance(value, float) else value


def renew() -> None:
    """Write the examples' answers anew."""
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        book = Path(folder) / "book.sqlite3"
        migrate(book)
        with browser_of(create_app(Settings(book=book))) as client:
            for path, one in EXAMPLES.items():
                one["response"] = _rounded(ask(client, path, one["request"]))
    EXAMPLES_FILE.write_text(json.dumps(EXAMPLES, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


if __name__ == "__main__":
    renew()
