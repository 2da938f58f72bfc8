"""How large a millimetre is on a device's glass: told with a bank card, kept as a cookie, served as a style."""

import re

import pytest
from fastapi.testclient import TestClient

from tests.browse import Page, opened, refused, saved, send

CARD_MM = 85.60
"""Width of a bank card: ISO/IEC 7810:2019, ID-1 (85.60 mm x 53.98 mm)."""

URL = "/workshop/glass"


def millimetre(client: TestClient, url: str = "/workshop") -> float | None:
    """What a page's own style says of a millimetre [px]; nothing where the page has none."""
    link = re.search(r'href="(/glass\.css\?mm=[\d.]+)"', client.get(url).text)
    if link is None:
        return None
    answer = client.get(link[1])
    assert answer.headers["content-type"].startswith("text/css")
    found = re.fullmatch(r":root \{ --mm: ([\d.]+)px; \}\n", answer.text)
    assert found is not None, answer.text
    return float(found[1])


@pytest.mark.promise("Sizes at the bench are true on a screen that was told its millimetre by a bank card", figure="4")
@pytest.mark.parametrize("px_per_inch", [96, 112, 132, 160])
def test_a_card_that_fits_tells_the_millimetre(client: TestClient, px_per_inch: int) -> None:
    assert millimetre(client) is None
    saved(client, URL, {"card_px": f"{px_per_inch / 25.4 * CARD_MM:.1f}"}, "glass")
    assert millimetre(client) == pytest.approx(px_per_inch / 25.4, abs=0.001)  # a tenth of a px over a card
    assert f"<strong>{px_per_inch} px/in</strong>" in client.get(URL).text
    assert send(client, URL, form_id="usual").status_code == 303
    assert millimetre(client) is None


def test_the_style_goes_before_the_usual_one_and_a_browser_keeps_it(client: TestClient) -> None:
    saved(client, URL, {"card_px": "400"}, "glass")
    page = client.get(URL).text
    assert page.index("css/glass.css") < page.index("/glass.css?mm=")
    answer = client.get("/glass.css?mm=4.673")
    assert "no-store" not in answer.headers["cache-control"]
    assert "immutable" in answer.headers["cache-control"]


def test_the_card_is_drawn_in_its_own_shape_and_its_buttons_work_without_script(client: TestClient) -> None:
    page = client.get(f"{URL}?card_px=400&by=10").text
    drawn = re.search(r'<svg id="drawn-card" width="([\d.]+)" height="([\d.]+)"', page)
    assert drawn is not None
    assert float(drawn[1]) == 410
    assert float(drawn[2]) / float(drawn[1]) == pytest.approx(53.98 / CARD_MM, abs=0.0005)
    assert Page(page).forms["glass"].fields["card_px"] == "410.0"
    assert millimetre(client) is None  # looking keeps nothing


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("", "Fill this in"),
        ("wide", "Type a number"),
        ("100", "171 and 1027 px"),
        ("1,200.0", "171 and 1027 px"),
        ("-400", "171 and"),
    ],
)
def test_a_screen_that_cannot_be_is_refused_beside_the_field(client: TestClient, typed: str, words: str) -> None:
    page = refused(client, URL, {"card_px": typed}, "glass")
    assert words in page.fault("card_px", "glass"), page.fault("card_px", "glass")
    assert millimetre(client) is None
    looked = client.get(URL, params={"card_px": typed or " ", "by": "0"})
    assert looked.status_code == 422
    assert words in Page(looked.text).fault("card_px", "glass")


@pytest.mark.parametrize("kept", ["1.9", "12.1", "nan", "inf", "4px", "-4", "4.4 --x:1", ""])
def test_a_cookie_that_cannot_be_is_as_none(client: TestClient, kept: str) -> None:
    client.cookies.set("glass", kept)
    assert millimetre(client) is None
    assert "is not set" in client.get(URL).text


def test_a_style_that_cannot_be_is_not_there(client: TestClient) -> None:
    for mm in ("1", "13", "nan", "inf", "x"):
        assert client.get(f"/glass.css?mm={mm}").status_code == 404, mm


def test_two_presses_tell_it_once_and_both_answers_keep_it(client: TestClient) -> None:
    form = opened(client, URL).forms["glass"]
    for _ in range(2):
        answer = client.post(form.action, data={**form.fields, "card_px": "400"}, follow_redirects=False)
        assert answer.status_code == 303
        assert answer.cookies["glass"] == "4.673"
    client.cookies.clear()
