"""What a motor's page answers first, what is drawn of it, and two motors on the same axes; walked without script."""

import re

from fastapi.testclient import TestClient
from sqlmodel import select

from app.models import Firing, MotorBuild, Prediction
from app.services.learning import prediction_record
from tests import build
from tests.pages.motors.test_builds import book


def words_of(page: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page))


def test_the_first_screen_answers_and_the_rest_is_folded_under_it(client: TestClient) -> None:
    with book(client) as session:
        code = build.motor_build(session, case=build.case(session, rated_pressure="8 MPa")).code
        told = prediction_record.from_row(session.exec(select(Prediction)).one())
    page = client.get(f"/motors/{code}").text
    answer = page[page.index('<section class="answer"') : page.index("</section>")]
    said = words_of(answer)
    share = told.peak_pressure.mid / 8e6
    for words in (
        told.designation,
        f"{told.total_impulse.mid:.0f} N·s",
        f"{told.burn_time.mid:.2f} s",
        f"{told.peak_pressure.mid / 1e6:.2f} MPa , is {100 * share:.0f} % of the rating in the book",
        "No firing taught it anything",
    ):
        assert words.replace(" ,", ",") in said.replace(" ,", ","), words
    assert "Log its firing" in answer
    # the caution stands after the answer, one line and a fold; the pictures follow, then what explains them
    places = [
        page.index(words) for words in ("</section>", "Before it is fired", "motor-first", "What drives the peak")
    ]
    assert places == sorted(places)
    caution = page[page.index('<div class="caution"') :]
    assert "the igniter last" in caution[: caution.index("</summary>")]
    assert "A prediction is not a promise" in caution[caution.index("</summary>") : caution.index("</details>")]
    drawn = page[page.index("motor-first") : page.index("motor-cards")]
    for title in ("The motor in section", "The burn in four steps of the web", "Thrust, pressure and Kn"):
        assert f">{title}</title>" in drawn, title
    assert f"Kn {told.kn_start:.0f}" in drawn
    assert f"Port {told.port_to_throat:.2f} × throat" in drawn
    # no panel of figures: flux stands with its evidence, each of the others at its place
    flux = f"{told.peak_mass_flux:.0f} kg/(m²·s)"
    assert page.count(flux) == 1
    assert page.index('id="cores"') < page.index(flux) < page.index('id="figures"')
    open_words = words_of(re.sub(r"<details.*?</details>", "", page[page.index("<main") :], flags=re.DOTALL))
    assert open_words.count(f"{told.total_impulse.mid:.0f} N·s") == 1
    assert not re.search(r"\b1[ ,]?400\b", words_of(page))


def test_a_range_over_the_limit_of_the_case_is_said_first(client: TestClient) -> None:
    with book(client) as session:
        code = build.motor_build(session, case=build.case(session, rated_pressure="2.2 MPa")).code
    page = client.get(f"/motors/{code}").text
    assert "Over the limit of its case" in page
    assert "do not fire it so" in page[page.index("Over the limit of its case") :][:200]
    assert ">Rated, 2.2 MPa<" in page  # near the curve the limit is drawn over it, and named


def test_two_of_a_list_are_laid_on_the_same_axes(client: TestClient) -> None:
    with book(client) as session:
        made = build.motor_build(session)
        shot = build.firing(session, made, measured_impulse="700 N·s", measured_burn_time="1.5 s").pk
        code = session.exec(select(MotorBuild.code)).one()
        assert session.exec(select(Firing.id)).one() == shot
    for listing, key in (("/motors", f"motor:{code}"), ("/firings", f"firing:{shot}")):
        text = client.get(listing).text
        assert f'name="pick" value="{key}"' in text
        assert '<form method="get" action="/compare">' in text
    page = client.get("/compare", params={"pick": [f"motor:{code}", f"firing:{shot}"]})
    assert page.status_code == 200
    told = words_of(page.text)
    assert "Differs by" in told
    assert "nine in ten" in told  # an expected curve never without its range
    assert re.search(r"impulse than Motor " + code, told)
    assert client.get("/compare", params={"a": f"motor:{code}", "b": f"firing:{shot}"}).text.count("<svg") >= 1
    row = told[told.index("Impulse ") : told.index("Burn time ")]
    assert "700" in row


def test_what_cannot_be_compared_is_told_and_can_be_chosen(client: TestClient) -> None:
    with book(client) as session:
        code = build.motor_build(session).code
    assert "Choose two different" in client.get(f"/compare?a=motor:{code}&b=motor:{code}").text
    for odd in ("motor:99-999", "firing:77", "firing:x", "grain:1", "motor:", "%00"):
        answer = client.get(f"/compare?a=motor:{code}&b={odd}")
        assert answer.status_code == 422
        assert f'<option value="motor:{code}" selected>' in answer.text
    three = client.get(f"/compare?pick=motor:{code}&pick=firing:1&pick=firing:2")
    assert "two can be compared at a time" in three.text
    assert client.get("/compare").status_code == 200
