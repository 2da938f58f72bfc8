"""A wet grain on its page, at the scale, in its motor, in the list of firings and on the page of what it taught."""

from fastapi.testclient import TestClient
from sqlmodel import Session, select

from app.db import writing
from app.models import Grain
from app.models.bag import ReWeighIn
from app.services.grains import reweighs
from app.services.motors import builds
from tests import build
from tests.behind import engine_of
from tests.browse import opened, refused, saved


def _wet_one(client: TestClient) -> str:
    engine = engine_of(client)
    with writing(engine) as session:
        grain = build.ready_grains(session, 1)[0]
        weigh(session, grain)
        session.commit()
        return grain.serial


def weigh(session: Session, grain: Grain) -> None:
    gross = f"{1000 * grain.mass_kg + 1.2:.1f} g"
    reweighs.weigh(session, ReWeighIn.model_validate({"serial": grain.serial, "gross": gross}))


def _built(client: TestClient, serial: str) -> str:
    engine = engine_of(client)
    with writing(engine) as session:
        grain = session.exec(select(Grain).where(Grain.serial == serial)).one()
        code = builds.build(session, build.build_in(session, grains=[grain])).code
        session.commit()
        return code


def test_a_wet_grain_is_held_and_accepted_with_a_reason_and_held_again(client: TestClient) -> None:
    serial = _wet_one(client)
    page = client.get(f"/shelf/{serial}").text
    assert "It goes into no motor until it is dried and weighed again" in page
    assert "Build one with it" not in page
    assert "wet" in client.get("/shelf").text
    assert serial in client.get("/shelf?state=wet").text
    assert serial not in client.get("/shelf?state=ready").text
    assert "1 wet" in client.get("/").text
    assert "wet at its re-weigh" in client.get("/motors/new").text
    assert "Its page" in client.get("/shelf/reweigh").text
    page_of = refused(client, f"/shelf/{serial}", {"why": ""}, "accept-wet")
    assert page_of.fault("why", "accept-wet")
    saved(client, f"/shelf/{serial}", {"why": "Paper tube drew it.", "person": "Ada"}, "accept-wet")
    page = client.get(f"/shelf/{serial}").text
    assert "Paper tube drew it." in page
    assert "wet, accepted" in page
    assert "Build one with it" in page
    saved(client, f"/shelf/{serial}", form_id="wet-back")
    assert "It goes into no motor until" in client.get(f"/shelf/{serial}").text


def test_its_motor_and_its_firing_say_so(client: TestClient) -> None:
    serial = _wet_one(client)
    saved(client, f"/shelf/{serial}", {"why": "Paper tube drew it.", "person": "Ada"}, "accept-wet")
    code = _built(client, serial)
    page = client.get(f"/motors/{code}").text
    assert f"Ready to fire, with wet {serial}" in page
    assert "Paper tube drew it." in page
    saved(client, f"/shelf/{serial}", form_id="wet-back")
    page = client.get(f"/motors/{code}").text
    assert f"Held: wet {serial}" in page
    assert "Take the motor apart and dry it" in page
    assert f"Held: wet {serial}" in client.get("/motors").text
    assert f"{code} (held: wet {serial.lower()})" in client.get(f"/firings/new?motor={code}").text
    form = opened(client, f"/firings/new?motor={code}").forms["form"]
    answer = client.post(form.action, data={**form.fields, "kind": "static", "result": "good"}, follow_redirects=False)
    assert answer.status_code == 303, "what happened is written down all the same"
    firing = answer.headers["location"].split("?")[0].split("#")[0]
    assert "Predictions do not learn from this firing unless" in client.get(firing).text
    assert "wet grain" in client.get("/firings").text
    taught = f"/review/learned{firing.replace('/firings', '/firing')}"
    assert "wet at the last re-weigh" in client.get(taught).text
    saved(client, taught, {"why": "The water was in the paper."}, "let-wet-in")
    assert "The water was in the paper." in client.get(taught).text
    assert "learn from this firing all the same" in client.get(firing).text
    saved(client, taught, form_id="wet-out")
    assert "Predictions do not learn from this firing unless" in client.get(firing).text
