"""What is seen of a grain: kept beside its weight, proposing a hold, told where a motor is loaded; pictures of it."""

import struct
import zlib

import pytest
from fastapi.testclient import TestClient
from sqlmodel import select

from app.book import filestore
from app.db import writing
from app.models import Grain, GrainLook, GrainPicture
from app.models.grain_look import GrainLookIn
from app.services.grains import grains, looks
from tests import build
from tests.behind import book_of, engine_of
from tests.browse import Page
from tests.test_pictures import png

SOUND = {"faces": "sound", "outer_face": "sound", "inhibitor": "sound"}


@pytest.fixture
def serials(client: TestClient) -> list[str]:
    """Four grains just weighed, which the numbers accept, with no decision."""
    with writing(engine_of(client)) as session:
        lot = build.cast(session)
        made = [build.grain(session, lot, decision=None).serial for _ in range(4)]
        session.commit()
    return made


@pytest.fixture
def ready(client: TestClient) -> list[str]:
    """Two grains ready for a motor."""
    with writing(engine_of(client)) as session:
        made = [grain.serial for grain in build.ready_grains(session, 2)]
        session.commit()
    return made


def look(client: TestClient, serial: str, **seen: str) -> str:
    answer = client.post(f"/shelf/{serial}/look", data={**SOUND, **seen})
    assert answer.status_code == 200, answer.text
    return answer.text


def test_what_nobody_looked_at_is_told_as_that(client: TestClient, serials: list[str]) -> None:
    lot = serials[-1].split("-")[0]
    assert f"Look at {serials[-1]}: not looked at" in client.get(f"/cast/{lot}/grains").text
    page = client.get(f"/shelf/{serials[0]}").text
    assert "Nobody has looked at it yet." in page
    assert page.count('value="unseen" checked') == 3
    fields = Page(page).forms["look"].fields
    refused = client.post(f"/shelf/{serials[0]}/look", data={**fields, **dict.fromkeys(SOUND, "unseen")})
    assert refused.status_code == 422
    assert 'id="look-faces" tabindex="-1" aria-describedby="look-faces-error"' in refused.text
    assert "Nothing was looked at" in Page(refused.text).texts["look-faces-error"]


def test_a_look_beside_the_weight_leads_back_to_the_scale(client: TestClient, serials: list[str]) -> None:
    lot = serials[-1].split("-")[0]
    page = client.get(f"/cast/{lot}/grains").text
    form = Page(page).forms["look"]
    assert form.action == f"/shelf/{serials[-1]}/look"
    answer = client.post(
        form.action, data={"back": "weigh", "faces": "chipped", "outer_face": "unseen", "inhibitor": "sound"}
    )
    assert answer.url.path == f"/cast/{lot}/grains"
    assert f"Look at {serials[-1]}: a face is chipped" in answer.text
    with writing(engine_of(client)) as session:
        row = session.exec(select(GrainLook)).one()
        assert (row.faces, row.outer_face, row.inhibitor) == ("chipped", "unseen", "sound")


@pytest.mark.parametrize(
    ("seen", "doubt"),
    [
        ({"inhibitor": "loose"}, "the inhibitor is loose"),
        ({"faces": "chipped"}, "a face is chipped"),
        ({"outer_face": "bubbles"}, "bubbles in the outer face"),
        ({"faces": "bubbles", "inhibitor": "bubbles"}, "bubbles in a face, bubbles under the inhibitor"),
    ],
)
def test_what_is_doubtful_proposes_to_hold(
    client: TestClient, serials: list[str], seen: dict[str, str], doubt: str
) -> None:
    page = look(client, serials[0], **seen)
    assert doubt in page
    proposed = f"{doubt[:1].upper()}{doubt[1:]}."
    form = Page(page).forms["decide"]
    assert form.fields["why"] == proposed
    assert 'name="decision" value="hold" checked' in page
    lot = serials[0].split("-")[0]
    at_scale = Page(client.get(f"/cast/{lot}/grains").text).forms
    assert at_scale["decide-1"].fields["why"] == proposed
    assert at_scale["decide-2"].fields.get("why", "") == ""


def test_what_is_doubtful_is_accepted_by_nobody_without_a_reason(client: TestClient, serials: list[str]) -> None:
    lot = serials[0].split("-")[0]
    look(client, serials[0], inhibitor="loose")
    look(client, serials[1])
    decision = f"/shelf/{serials[0]}/decision"
    refused = client.post(decision, data={"decision": "accept", "person": "Ada", "why": ""})
    assert refused.status_code == 422
    assert "the inhibitor is loose" in Page(refused.text).fault("why", "decide")
    client.post(f"/cast/{lot}/grains/accept", data={"person": "Ada"})
    with writing(engine_of(client)) as session:
        decided = {grain.serial: grain.decision for grain in session.exec(select(Grain))}
    assert decided == {serials[0]: None, **dict.fromkeys(serials[1:], "accept")}
    page = client.post(decision, data={"decision": "accept", "person": "Ada", "why": "Glued again, and held."}).text
    assert "Glued again, and held." in page


def test_a_motor_that_is_loaded_with_it_says_so(client: TestClient, ready: list[str]) -> None:
    look(client, ready[0], faces="chipped")
    page = client.get("/motors/new").text
    assert "Looked at: a face is chipped" in page
    assert page.count("Looked at:") == 1
    with writing(engine_of(client)) as session:
        inside = [grains.by_serial(session, serial) for serial in ready]
        motor = build.bare_motor(session, inside).code
        session.commit()
    page = client.get(f"/motors/{motor}").text
    caution = page[page.index('class="caution"') :]
    assert f"{ready[0]}, looked at:</strong> a face is chipped." in caution[: caution.index("</div>")]


def test_looking_again_counts_and_the_look_before_stays(client: TestClient, serials: list[str]) -> None:
    look(client, serials[0], faces="chipped")
    page = look(client, serials[0])
    assert "Doubtful:" not in page
    assert "faces: chipped" in page
    page = client.post(f"/shelf/{serials[0]}/look/2/strike", data={"why": "That was the next grain."}).text
    assert "Doubtful:" in page
    assert "That was the next grain." in page
    elsewhere = client.post(f"/shelf/{serials[1]}/look/1/strike", data={"why": "Not here.", "version": "1"})
    assert elsewhere.status_code == 404


def test_one_question_for_any_number_of_grains(client: TestClient, serials: list[str]) -> None:
    with writing(engine_of(client)) as session:
        every = list(session.exec(select(Grain)))
        for grain in every[:2]:
            looks.look(session, grain, GrainLookIn(faces="bubbles"), "Ada")
        found = looks.doubts(session, every)
    assert found == {grain.pk: "bubbles in a face" for grain in every[:2]}


# --- Pictures ------------------------------------------------------------------------------------


def located() -> bytes:
    """A picture that says where it was taken, in words that its format has for that (ISO/IEC 15948, tEXt)."""
    plain = png()
    words = b"Comment\0GPSLatitude 52.1 N"
    chunk = struct.pack(">I", len(words)) + b"tEXt" + words + struct.pack(">I", zlib.crc32(b"tEXt" + words))
    at = plain.index(b"IDAT") - 4
    return plain[:at] + chunk + plain[at:]


def send(client: TestClient, serial: str, raw: bytes, **typed: str) -> str:
    form = Page(client.get(f"/shelf/{serial}").text).forms["picture"]
    answer = client.post(
        form.action, data={"once": form.fields["once"], **typed}, files={"file": ("face.png", raw, "image/png")}
    )
    return answer.text


def test_a_picture_is_kept_without_its_place_once_and_beside_the_book(client: TestClient, serials: list[str]) -> None:
    store = filestore.folder_of(book_of(client))
    before = set(store.glob("??/*"))  # of other tests of this run
    page = send(client, serials[0], located(), caption="Upper face")
    assert "Upper face" in page
    assert "that was left out" in page
    kept = client.get(f"/shelf/{serials[0]}/pictures/1")
    assert kept.headers["content-type"] == "image/png"
    assert b"GPSLatitude" not in kept.content
    assert kept.content == png()
    send(client, serials[1], located(), caption="The same bytes")
    with writing(engine_of(client)) as session:
        rows = session.exec(select(GrainPicture)).all()
        assert len(rows) == 2
        (digest,) = {row.sha256 for row in rows}
    beside = set(store.glob("??/*"))
    assert beside - before <= {filestore.place(store, digest)} <= beside


def test_a_picture_that_is_none_is_told_and_one_is_taken_away(client: TestClient, serials: list[str]) -> None:
    assert "Not saved." in send(client, serials[0], b"GIF89a")
    send(client, serials[0], png(), caption="Upper face")
    page = client.post(f"/shelf/{serials[0]}/pictures/1/strike", data={"why": "Of another grain."}).text
    assert "Of another grain." in page
    assert "<img" not in page[page.index('id="looks"') :]
    assert client.get(f"/shelf/{serials[0]}/pictures/1").status_code == 200
    assert client.get(f"/shelf/{serials[1]}/pictures/1").status_code == 404
