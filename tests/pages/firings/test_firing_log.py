"""The log of a firing, walked without script: igniter to ejection, a failure told to its end, pictures."""

import re

import httpx2
import pytest
from fastapi.testclient import TestClient
from sqlmodel import select

from app.book import filestore
from app.models import Firing, FiringFinding, FiringPicture, FiringReference, SuspectGrain
from app.services.book import kept_pictures, stored_files
from app.services.firings import media
from tests import build
from tests.browse import Page, opened, refused, saved, send
from tests.pages.firings.test_firings import STATIC, fired, motor
from tests.pages.motors.test_builds import book, count
from tests.test_picture_places import exif, told
from tests.test_picture_places import saved as pictured
from tests.test_pictures import EXTENDED, jpeg, png


def bare(client: TestClient, result: str = "good") -> str:
    """The address of a static test of a bare motor of three grains."""
    with book(client) as session:
        built = build.bare_motor(session, build.ready_grains(session, 3))
        return f"/firings/{build.bare_firing(session, built, result).pk}"


def post(
    client: TestClient, url: str, raw: bytes, caption: str = "", name: str = "a.jpg", once: str = "", **more: str
) -> httpx2.Response:
    form = opened(client, f"{url}/pictures").forms["form"]
    data = {"once": once or form.fields["once"], "caption": caption, **more}
    return client.post(form.action, data=data, files={"file": (name, raw, "text/html")}, follow_redirects=False)


# --- The log -------------------------------------------------------------------------------------


def test_all_of_the_log_is_kept_shown_and_opens_as_typed(client: TestClient) -> None:
    typed = {
        "igniter": "Dipped bridge wire, at the forward grain",
        "igniter_made": "Two dips, dried a day",
        "delay_planned": "6 s",
        "delay_seen": "7,5 s",
        "delay_words": "Past the top, on its way down",
        "air_temperature": "8 C",
        "humidity": "71 %",
        "air_pressure": "1009",
        "wind": "3 m/s",
        "wind_from": "SW",
        "smoke": "dark",
        "lit_after": "0.8 s",
        "chuffed": "on",
        "spat": "on",
        "nozzle_seen": "crust",
    }
    url = fired(client, **typed)
    text = client.get(url).text
    for words in (
        "Dipped bridge wire, at the forward grain",
        "Two dips, dried a day",
        "6 s planned",
        "7,5 s as it was",
        "Past the top",
        "71 % humid",
        "1009 hPa",
        "from the south-west",
        "smoke: dark or sooty",
        "lit late by 0.8 s",
        "it chuffed",
        "it spat out burning pieces",
        "nozzle afterwards: crust in the throat",
    ):
        assert words in text, words
    with book(client) as session:
        firing = session.exec(select(Firing)).one()
        assert (firing.delay_seen_s, firing.humidity_share, firing.lit_after_s) == (7.5, 0.71, 0.8)
        assert firing.air_pressure_pa == pytest.approx(100_900)
    fields = opened(client, f"{url}/edit").forms["form"].fields
    assert {k: fields[k] for k in typed} == typed | {"air_pressure": "1009 hPa"}
    assert saved(client, f"{url}/edit", {"delay_seen": "7 s", "why": "Read again from the film."}) == url
    assert "7 s as it was" in client.get(url).text


@pytest.mark.parametrize(
    ("typed", "name", "words"),
    [
        ({"humidity": "140 %"}, "humidity", "at most"),
        ({"air_pressure": "10 hPa"}, "air_pressure", "at least"),
        ({"delay_planned": "six"}, "delay_planned", "is not a time"),
        ({"wind_from": "up"}, "wind_from", "Choose one of the list"),
        ({"result": "no_light", "lit_after": "2 s"}, "lit_after", "did not light"),
        ({"result": "no_light", "delay_seen": "2 s"}, "delay_seen", "did not light"),
    ],
)
def test_bad_input_of_the_log_is_told_beside_the_field(
    client: TestClient, typed: dict[str, str], name: str, words: str
) -> None:
    page = refused(client, f"/firings/new?motor={motor(client)}", {**STATIC, **typed})
    assert words in page.fault(name)
    assert count(client, Firing) == 0


# --- A failure -----------------------------------------------------------------------------------


def test_a_failure_walks_on_to_what_was_found_and_its_grains_and_lot_tell_it(client: TestClient) -> None:
    new = f"/firings/new?motor={motor(client)}"
    there = saved(client, new, {**STATIC, "result": "burst", "words": "A bang at half a second."})
    assert there.endswith("/found")
    url = there.removesuffix("/found")
    assert "Not entered yet" in client.get(url).text
    assert "Not entered yet: what was found" in client.get("/firings").text
    page = refused(
        client,
        there,
        {"case_found": "split", "closure_found": "held", "nozzle_found": "held", "remains_found": "pieces"},
    )
    assert "write where and how" in page.fault("case_words")
    grain_ids = re.findall(r'name="grain_ids" value="(\d+)"', client.get(there).text)
    assert len(grain_ids) == 4
    form = opened(client, there).forms["form"]
    typed = {
        **form.fields,
        "case_found": "split",
        "case_words": "Along its length, from the forward ring.",
        "closure_found": "held",
        "nozzle_found": "held",
        "remains_found": "pieces",
        "grain_ids": grain_ids[:1],
        "suspicion": "A hollow in its piece.",
    }
    answer = client.post(there, data=typed, follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, url)
    text = client.get(url).text
    assert "Not entered yet" not in text
    assert "Not entered yet" not in client.get("/firings").text
    for words in ("Split or torn open: Along its length", "Unburned pieces", "(grain 1)", "A hollow in its piece."):
        assert words in text, words
    assert count(client, SuspectGrain) == 1
    serial, lot = re.findall(r'href="/shelf/((\d{4}[P-Z])-0\d)"', text)[0]
    for address in (f"/shelf/{serial}", f"/review/{lot}"):
        told = client.get(address).text
        assert "What was found of failures" in told, address
        assert "Along its length, from the forward ring." in told, address
    again = client.get(there).text
    assert "Entered so far" in again
    assert f'value="{grain_ids[0]}" checked' in again
    saved(client, there, {"case_words": "From the aft ring, seen again."})
    assert count(client, FiringFinding) == 2
    assert "From the aft ring" in client.get(url).text


def test_a_double_click_tells_it_once(client: TestClient) -> None:
    url = f"{bare(client, 'burst')}/found"
    form = opened(client, url).forms["form"]
    typed = {
        **form.fields,
        "case_found": "holed",
        "case_words": "Aft.",
        "closure_found": "held",
        "nozzle_found": "held",
        "remains_found": "none",
    }
    first, second = (client.post(url, data=typed, follow_redirects=False) for _ in range(2))
    assert first.headers["location"] == second.headers["location"]
    assert count(client, FiringFinding) == 1


def test_a_correction_to_a_failure_asks_too(client: TestClient) -> None:
    url = fired(client)
    assert saved(client, f"{url}/edit", {"result": "nozzle", "words": "The nozzle left."}) == f"{url}/found"


# --- Pictures ------------------------------------------------------------------------------------


def test_a_picture_is_kept_by_its_bytes_and_served_as_what_it_is(client: TestClient) -> None:
    url = bare(client)
    raw = png(30, 20)
    assert post(client, url, raw, "The <crust> in the throat", "../../etc/<b>passwd.html").status_code == 303
    page = client.get(url).text
    assert 'alt="The &lt;crust&gt; in the throat"' in page
    assert 'width="30" height="20"' in page
    address = re.findall(rf'src="({url}/pictures/\d+)"', page)[0]
    got = client.get(address)
    assert got.content == raw
    assert got.headers["content-type"] == "image/png"
    assert got.headers["x-content-type-options"] == "nosniff"
    assert got.headers["cache-control"] == "no-store"
    assert got.headers["content-disposition"] == 'inline; filename="firing-1-1.png"'
    assert "passwd" not in str(got.headers)
    assert "<b>passwd" not in client.get(f"{url}/pictures").text
    for more in (jpeg(), EXTENDED):
        assert post(client, url, more).status_code == 303
    assert client.get(f"{url}/pictures/2").headers["content-type"] == "image/jpeg"
    assert client.get(f"{url}/pictures/3").headers["content-type"] == "image/webp"
    assert count(client, FiringPicture) == 3
    assert post(client, url, raw).status_code == 303
    assert count(client, FiringPicture) == 3, "the same picture again is the one that is there"


def test_the_place_a_picture_names_is_left_out_and_told_unless_it_is_to_be_kept(client: TestClient) -> None:
    url, raw = bare(client), pictured("JPEG", exif=exif())
    assert "Keep where it was taken, if the picture says so" in client.get(f"{url}/pictures").text
    assert post(client, url, raw).status_code == 303
    assert "The picture said where it was taken; that was left out." in client.get(f"{url}/pictures").text
    got = client.get(f"{url}/pictures/1").content
    assert got != raw
    assert told(got)[2] == {}
    assert post(client, url, raw).status_code == 303
    assert count(client, FiringPicture) == 1, "sent again it is the one that is there"
    assert post(client, url, raw, keep_location="on").status_code == 303
    assert "that was kept, as asked" in client.get(f"{url}/pictures").text
    assert client.get(f"{url}/pictures/2").content == raw
    broken = raw.replace(b"Exif\0\0MM", b"Exif\0\0XX").replace(b"Exif\0\0II", b"Exif\0\0XX")
    assert post(client, url, broken).status_code == 303
    assert "it was left out whole" in client.get(f"{url}/pictures").text


def test_a_picture_whose_file_is_lost_is_told_in_its_place(client: TestClient) -> None:
    url = bare(client)
    assert post(client, url, png(31, 21), "Crust").status_code == 303
    with book(client) as session:
        row = session.exec(select(FiringPicture)).one()
        filestore.place(stored_files.folder(session), row.sha256).unlink()
    for page in (url, f"{url}/pictures"):
        answer = client.get(page)
        assert answer.status_code == 200
        assert "The file a.jpg is missing" in answer.text
        assert f'src="{url}/pictures/1"' not in answer.text
    lost = client.get(f"{url}/pictures/1")
    assert lost.status_code == 404
    assert "The file a.jpg is missing" in lost.text


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (b"", "Choose a picture"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "no JPEG, PNG or WebP"),
        (b"<html><script>alert(1)</script>", "no JPEG"),
        (png()[:-5], "cut off"),
        (png() + b"\0" * kept_pictures.LIMIT, "larger than 2 MB"),
    ],
)
def test_what_is_no_small_picture_is_refused_and_not_kept(client: TestClient, raw: bytes, words: str) -> None:
    answer = post(client, bare(client), raw, "Kept words", "a.png")
    assert answer.status_code == 422
    page = Page(answer.text)
    assert words in page.fault("file")
    assert page.forms["form"].fields["caption"] == "Kept words"
    assert count(client, FiringPicture) == 0


def test_far_too_much_is_not_even_read(client: TestClient) -> None:
    answer = post(client, bare(client), png() + b"\0" * (2 * kept_pictures.LIMIT))
    assert answer.status_code == 413
    assert "larger than 2 MB" in Page(answer.text).fault("file")
    assert count(client, FiringPicture) == 0


def test_only_so_many_pictures_fit(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(kept_pictures, "MOST", 2)
    url = bare(client)
    for width in (1, 2):
        assert post(client, url, png(width)).status_code == 303
    answer = post(client, url, png(3))
    assert "2 pictures at most" in Page(answer.text).fault("file")


def test_a_picture_is_taken_away_only_with_a_reason_and_its_row_stays(client: TestClient) -> None:
    url = bare(client)
    post(client, url, png(), "Wrong motor")
    pictures = f"{url}/pictures"
    for why in ("", "x"):
        assert refused(client, pictures, {"why": why}, "strike-picture-1").fault("why", "strike-picture-1")
    once = opened(client, pictures).forms["strike-picture-1"]
    assert saved(client, pictures, {"why": "Of another motor."}, "strike-picture-1") == pictures
    assert "<img" not in client.get(url).text
    text = client.get(pictures).text
    assert "Removed (1)" in text
    assert "Of another motor." in text
    stale = client.post(once.action, data={**once.fields, "once": "other", "why": "Again."}, follow_redirects=False)
    assert stale.status_code in (409, 422)
    assert count(client, FiringPicture) == 1
    assert "was taken away: Of another motor." in Page(post(client, url, png()).text).fault("file")


def test_a_reference_is_words_and_a_link_only_for_the_web(client: TestClient) -> None:
    url = bare(client)
    told = [
        ("https://films.example/a?b=1&c=<x>", True),
        ("http://[::1", False),
        ("javascript:alert(1)", False),
        ("data:text/html,x", False),
        ("D:\\films\\26K.mp4", False),
        ("https://a b.example", False),
        ("//films.example/a", False),
        ("blue disk, folder 3", False),
        ("file:///etc/passwd", False),
    ]
    for address, _ in told:
        saved(client, f"{url}/pictures", {"address": address, "caption": "From the side"}, "refer")
    text = client.get(url).text
    hrefs = re.findall(r'<a class="wrap" href="([^"]*)"', text)
    assert hrefs == ["https://films.example/a?b=1&amp;c=&lt;x&gt;"]
    assert 'rel="noopener noreferrer nofollow"' in text
    assert "blue disk, folder 3" in text
    assert count(client, FiringReference) == len(told)
    assert [media.is_link(address) for address, _ in told] == [link for _, link in told]
    saved(client, f"{url}/pictures", {"why": "The film is gone."}, "strike-reference-1")
    assert "films.example/a?b" not in client.get(url).text
    assert "The film is gone." in client.get(f"{url}/pictures").text
    assert refused(client, f"{url}/pictures", {"address": ""}, "refer").fault("address", "refer")


def test_addresses_that_are_not(client: TestClient) -> None:
    url, other = bare(client), bare(client)
    post(client, url, png())
    for address in ("/firings/99/found", "/firings/99/pictures", f"{url}/pictures/9", f"{other}/pictures/1"):
        assert client.get(address).status_code == 404, address
    answer = client.post(f"{other}/pictures/1/strike", data={"once": "x", "why": "Not mine."}, follow_redirects=False)
    assert answer.status_code == 404
    assert send(client, f"{url}/pictures", {"why": "Of another one."}, "strike-picture-1").status_code == 303
