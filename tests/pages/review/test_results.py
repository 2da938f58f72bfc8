"""What motors delivered, what goes together, what the good ones share, and the tables to take along."""

import csv
import io
import re
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient

from app import clock
from app.db import writing
from app.models import MotorBuild, Workshop
from app.models.firing_log import FindingIn
from app.services.firings import findings
from app.services.stock import batches, formulas
from tests import build
from tests.behind import engine_of

PAGES = ["/review/delivered", "/review/together", "/review/good"]


def _words(page: str) -> str:
    main = re.search(r"<main.*</main>", page, re.DOTALL)
    assert main
    return " ".join(
        re.sub(r"<[^>]+>", " ", re.sub(r"<svg.*?</svg>|<span popover.*?</span>", " ", main[0], flags=re.DOTALL)).split()
    )


def _table(client: TestClient, address: str) -> list[dict[str, str]]:
    answer = client.get(address)
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "text/csv; charset=utf-8; header=present"
    assert re.fullmatch(
        r'attachment; filename="grainbook-\w+-\d{4}-\d\d-\d\d\.csv"', answer.headers["content-disposition"]
    )
    return list(csv.DictReader(io.StringIO(answer.text, newline=""), strict=True))


def _motors(client: TestClient, good: int = 4, weak: int = 3) -> list[str]:
    """Motors of one grain each, of lots of their own: dense ones burned well, light ones weakly."""
    codes = []
    with writing(engine_of(client)) as session:
        made = {blend.name: blend for blend in formulas.current(session)}
        usual, other = (made.get(name) or build.formula(session, name) for name in ("Usual", "Other"))
        shape = build.pattern(session)
        start = clock.now() - timedelta(days=200)
        for i in range(good + weak):
            well = i < good
            with clock.turned_to(start + timedelta(days=10 * i)) as turn:
                lot = build.cast(session, 1, blend=usual if well else other, shape=shape)
                grain = build.grain(session, lot, (0.965 if well else 0.93) + 0.001 * (i % 3))
                turn(start + timedelta(days=10 * i + 8))
                motor = build.bare_motor(session, [grain], predicted=500.0)
                ratio = (0.99 if well else 0.85) + 0.004 * (i % 3)
                build.bare_firing(session, motor, "good" if well else "weak", measured_impulse_ns=500 * ratio)
            codes.append(lot.code)
        session.commit()
    return codes


@pytest.mark.parametrize("address", PAGES)
def test_an_empty_book_says_what_comes_first(client: TestClient, address: str) -> None:
    page = client.get(address)
    assert page.status_code == 200
    assert "No motor has burned yet" in page.text


@pytest.mark.parametrize("address", PAGES)
def test_a_filter_that_is_none_is_told(client: TestClient, address: str) -> None:
    _motors(client, 1, 0)
    page = client.get(f"{address}?since=yesterday")
    assert page.status_code == 422
    assert "Type a date" in page.text
    assert "No motor that burned is like that" in client.get(f"{address}?until=2001-01-01").text


@pytest.mark.parametrize("address", ["/review", *PAGES])
def test_the_pages_of_the_review_lead_to_each_other(client: TestClient, address: str) -> None:
    page = client.get(address).text
    nav = re.search(r'<nav class="tabs".*?</nav>', page, re.DOTALL)
    assert nav
    assert set(re.findall(r'href="([^"]+)"', nav[0])) >= {"/review", *PAGES}
    assert re.search(rf'href="{address}" aria-current="page"', nav[0])


@pytest.mark.parametrize("by", ["formula", "pattern", "case", "lot"])
def test_delivered_is_told_by_group_with_its_interval(client: TestClient, by: str) -> None:
    codes = _motors(client)
    page = client.get(f"/review/delivered?by={by}")
    assert page.status_code == 200
    words = _words(page.text)
    assert "7 motors burned" in words
    if by == "formula":
        assert "Usual v1 4 0.99" in words
        assert "Usual v1 delivered more of what was predicted than Other v1." in words
        assert re.search(r"Usual v1 over Other v1: 0\.99 \(0\.\d\d to 1\.00, n = 4\) against 0\.85", words)
        answer, cell, sure = (page.text.index(f) for f in ('class="answer-words"', 'class="row-plot"', "How sure?"))
        assert answer < cell < sure
    if by == "lot":
        assert f"{codes[0]} 1 0.99 no interval, n 1" in words


def test_a_group_is_looked_at_over_time(client: TestClient) -> None:
    _motors(client)
    page = client.get("/review/delivered?by=formula&of=Usual+v1").text
    assert "Over time: Usual v1" in page
    assert "4 motors: points and mean only" in page
    assert "Limits:" not in page
    every = client.get("/review/delivered").text
    assert "Over time: all these motors" in every
    many = _motors(client, 2, 0)
    assert many
    whole = client.get("/review/delivered").text
    assert "Running average (EWMA): all these motors" in whole
    assert "NIST/SEMATECH e-Handbook 6.3.2.2" in whole
    assert "No motor of these is of that formula" in client.get("/review/delivered?of=nothing").text


def test_what_goes_together_stands_with_its_measure(client: TestClient) -> None:
    _motors(client, 4, 3)
    words = _words(client.get("/review/together").text)
    assert "Too few to say: it takes 10 motors of 5 lots with a measured impulse." in words
    assert "Too few to say: 7 motors have both" in words
    _motors(client, 4, 0)
    page = client.get("/review/together").text
    words = _words(page)
    assert "Motors that were denser delivered more of what was predicted" in words
    assert "Among 11 motors of 11 lots, those that were denser delivered more" in words
    assert re.search(r"Spearman’s ρ 95 % interval By chance alone Density of the grains, mean 11 11 [01]\.\d\d", words)
    assert "Density of the grains, mean, % goes together" in words
    assert page.count("<figure") == 1, "all charts are one set"
    assert page.index('class="answer-words"') < page.index('class="multiples"') < page.index("How sure?")


def test_the_good_ones_are_told_with_the_motors_behind(client: TestClient) -> None:
    codes = _motors(client)
    page = client.get("/review/good").text
    words = _words(page)
    assert "4 motors burned well, 3 did not" in words
    assert (
        "Those that burned well were denser, had a denser lightest grain and were more often of formula “Usual v1”; "
        "nothing else known of them differs beyond chance."
    ) in words
    assert re.search(r"Density of the grains, mean % differs 96\.\d 93\.\d", words)
    assert "4 of 4 lots, 96." in words, "how sure: motors, lots and the interval"
    assert (
        "0 of 0 lots 0 of 0 lots it takes 3 of 3 lots on each side. Write down the humidity with the firing." in words
    )
    behind = page[page.index("The motors behind it") :]
    assert all(f'href="/review/{code}"' in behind for code in codes)
    means = re.search(r"differs</span>\s*</th>\s*<td class=\"num\">([\d.]+)<", page)
    assert means
    sure = page[page.index("How sure?") : page.index("The motors behind it")]
    assert means[1] not in sure, "no figure stands twice"


def test_nothing_is_said_of_too_few(client: TestClient) -> None:
    _motors(client, 3, 1)
    words = _words(client.get("/review/good").text)
    assert "Nothing can be compared yet" in words
    assert "Those that burned well" not in words


def test_what_was_found_after_failures_is_put_together(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        shots = []
        for _ in range(3):
            grain = build.grain(session, build.cast(session, 1))
            shots.append(build.bare_firing(session, build.bare_motor(session, [grain]), "burst"))
        case = {"case_found": "split", "case_words": "Along the seam."}
        texts = {**case, "closure_found": "held", "nozzle_found": "held"}
        for shot, remains in ((shots[0], "unseen"), (shots[0], "pieces"), (shots[1], "pieces")):  # looked at twice
            findings.write_down(session, shot, FindingIn.model_validate({**texts, "remains_found": remains}))
        codes = [session.get_one(MotorBuild, shot.motor_build_id).code for shot in shots]
        session.commit()
    words = _words(client.get("/review/good").text)
    assert f"Nothing was entered yet of what was found of {codes[2]} . What was found after failures 3 motors" in words
    assert f"Case Split or torn open 2 {codes[0]} (" in words
    assert "Grain remains Unburned pieces 2" in words
    assert "Not looked at" not in words, "only the newest account counts"


# --- Tables ------------------------------------------------------------------------------------


def test_firings_are_taken_along_with_units_in_their_heads(client: TestClient) -> None:
    codes = _motors(client)
    rows = _table(client, "/review/firings.csv")
    assert [row["Lots"] for row in rows] == codes
    first = rows[0]
    assert float(first["Measured impulse (N·s)"]) == pytest.approx(495)
    assert float(first["Impulse, measured over predicted"]) == pytest.approx(0.99)
    assert float(first["Age of youngest grains (days)"]) == pytest.approx(8)
    assert first["Humidity (%)"] == ""
    assert first["Kind"] == "Static test"
    filtered = _table(client, "/review/firings.csv?formula=Other")
    assert [row["Lots"] for row in filtered] == codes[4:]


def test_an_attempt_that_did_not_light_is_taken_along_too(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        motor = build.bare_motor(session, [build.grain(session, build.cast(session, 1))])
        build.bare_firing(session, motor, "no_light", words="-2 igniters, none took")
        session.commit()
    (row,) = _table(client, "/review/firings.csv")
    assert (row["Result"], row["Impulse, measured over predicted"]) == ("Did not light", "")
    assert row["What was seen"] == "'-2 igniters, none took"


def test_lots_and_grains_are_taken_along_as_filtered(client: TestClient) -> None:
    codes = _motors(client)
    assert [row["Lot"] for row in _table(client, "/review/lots.csv?sort=date&order=up")] == codes
    assert [row["Lot"] for row in _table(client, "/review/lots.csv?result=weak&order=up")] == codes[4:]
    grains = _table(client, "/review/grains.csv?formula=Usual&order=up")
    assert [row["Serial"] for row in grains] == [f"{code}-01" for code in codes[:4]]
    assert float(grains[0]["Density of ideal (%)"]) == pytest.approx(96.5, abs=0.1)
    assert grains[0]["State"] == "Fired"


def test_the_heads_are_in_the_workshop_s_units(client: TestClient) -> None:
    _motors(client, 1, 0)
    (metric,) = _table(client, "/review/grains.csv")
    with writing(engine_of(client)) as session:
        session.get_one(Workshop, 1).mass_unit = "oz"
        session.commit()
    (ounces,) = _table(client, "/review/grains.csv")
    # 1 oz is 28.349523125 g: exact, NIST SP 811
    assert float(ounces["Mass (oz)"]) * 28.349523125 == pytest.approx(float(metric["Mass (g)"]), rel=1e-8)


def test_words_that_a_spreadsheet_would_run_are_made_harmless(client: TestClient) -> None:
    (code,) = _motors(client, 1, 0)
    with writing(engine_of(client)) as session:
        batches.by_code(session, code).note = '=HYPERLINK("http://example.org";"x")'
        session.commit()
    assert _table(client, "/review/lots.csv")[0]["Note"] == '\'=HYPERLINK("http://example.org";"x")'


def test_a_table_of_something_that_cannot_be_is_refused_in_words(client: TestClient) -> None:
    for name in ("firings", "lots", "grains"):
        answer = client.get(f"/review/{name}.csv?since=soon")
        assert answer.status_code == 422
        assert "Type a date" in answer.text


def test_the_pages_offer_the_table_of_what_they_show(client: TestClient) -> None:
    _motors(client, 1, 1)
    assert "/review/firings.csv?formula=Other" in client.get("/review/good?formula=Other").text
    lots = client.get("/review?formula=Other&sort=density").text
    assert "/review/lots.csv?formula=Other&amp;sort=density" in lots
    assert "/review/grains.csv?formula=Other&amp;sort=density" in lots
