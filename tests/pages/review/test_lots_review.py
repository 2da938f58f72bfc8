"""The review of lots and the page of a lot."""

import re

import pytest
from fastapi.testclient import TestClient

from app.db import writing
from app.models.batch import LeftoverIn
from app.routers.review import lots_review as lots_page
from app.services.cast import leftovers
from app.services.review import lots_review
from tests import build
from tests.behind import engine_of


def _fired(client: TestClient) -> tuple[str, str]:
    """Two lots: the first fired well at 0.9 of its prediction, the second not fired and of another formula."""
    with writing(engine_of(client)) as session:
        grains = build.ready_grains(session, 2, blend=build.formula(session, "Usual"))
        motor = build.bare_motor(session, grains, predicted=500.0)
        build.bare_firing(session, motor, "no_light")
        build.bare_firing(session, motor, measured_impulse_ns=450.0)
        other = build.cast(session, blend=build.formula(session, "Other"))
        build.grain(session, other)
        codes = grains[0].serial[:5], other.code
        session.commit()
        return codes


def _rows(page: str) -> list[str]:
    return re.findall(r'<th scope="row"><a href="/review/(\w+)">', page)


def test_an_empty_review_says_what_to_do(client: TestClient) -> None:
    assert "No lot was cast yet" in client.get("/review").text


def test_every_lot_is_there_with_what_it_delivered(client: TestClient) -> None:
    first, second = _fired(client)
    page = client.get("/review").text
    assert _rows(page) == [second, first]
    words = " ".join(re.sub(r"<[^>]+>", " ", page).split())
    assert "0.90 n = 1" in words
    assert "7.0 d: Burned well" in words
    assert "not fired" in words
    assert "The one lot that was fired burned well." in words


@pytest.mark.parametrize(
    ("query", "places"),
    [
        ("formula=Usual", [0]),
        ("result=good", [0]),
        ("result=no_light", [0]),
        ("result=none", [1]),
        ("result=burst", []),
        ("since=2020-01-01&order=up", [0, 1]),
        ("until=2020-01-01", []),
        ("sort=lot&order=up", [0, 1]),
        ("sort=ratio&order=down", [0, 1]),
    ],
)
def test_the_address_filters_and_sorts(client: TestClient, query: str, places: list[int]) -> None:
    codes = _fired(client)
    page = client.get(f"/review?{query}")
    assert page.status_code == 200
    assert _rows(page.text) == [codes[i] for i in places]
    if not places:
        assert "No lot is like that" in page.text


def _lots(client: TestClient, good: int, weak: int) -> list[str]:
    """Lots of one motor each: dense ones burned well, light ones weakly; invented."""
    with writing(engine_of(client)) as session:
        codes = []
        for i in range(good + weak):
            well = i < good
            lot = build.cast(session, 2)
            burned, _ = (build.grain(session, lot, (0.965 if well else 0.93) + 0.001 * i) for _ in range(2))
            motor = build.bare_motor(session, [burned], predicted=500.0)
            ratio = 0.99 if well else 0.85
            build.bare_firing(session, motor, "good" if well else "weak", measured_impulse_ns=500.0 * ratio)
            codes.append(lot.code)
        session.commit()
    return codes


def test_the_first_thing_it_says_is_which_lots_flew_well(client: TestClient) -> None:
    _lots(client, 5, 4)
    page = client.get("/review").text
    answer = re.search(r'class="answer-words">(.*?)</p>', page, re.DOTALL)
    assert answer
    words = re.sub(r"<[^>]+>", "", answer[1])
    assert "All 5 lots that burned well are at 95 % of ideal density or more; none of the 4 lighter ones did." in words
    assert "They delivered 99 %, the lighter ones 85 % of the prediction." in words
    before, after = page[: page.index(answer[0])], page[page.index(answer[0]) :]
    assert "<table" not in before, "nothing but the question stands above the answer"
    assert before.count("<form") <= 1, "only the search of every page"
    assert after.index("<dt>Keep</dt>") < after.index("<table") < after.index("How sure?")
    sure = after[after.index("How sure?") :]
    assert re.search(r"Here chance alone would do it 16 times in 1000", " ".join(re.sub(r"<[^>]+>", "", sure).split()))
    assert "Kolmogorov–Smirnov" in sure
    assert 'class="row-plot"' in page
    assert 'class="parting"' in page


def test_nothing_is_said_where_nothing_parts_them(client: TestClient) -> None:
    _lots(client, 2, 2)
    page = client.get("/review").text
    assert "Nothing separates them yet: 2 of 4 lots that were fired burned well" in page
    assert 'class="parting"' not in page


def test_which_lots_flew_well_is_told_by_shape_and_word(client: TestClient) -> None:
    _lots(client, 1, 1)
    page = client.get("/review").text
    assert re.search(r'class="outcome well"><svg[^>]*class="result well"[^>]*>.*?</svg> burned well</td>', page)
    assert re.search(r'class="outcome weak"><svg[^>]*class="result weak"[^>]*>.*?</svg> weak</td>', page)
    shapes = re.findall(r'class="result \w+"[^>]*><path d="([^"]+)"', page)
    assert len(set(shapes)) == 2


def test_older_lots_fold(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    codes = _lots(client, 2, 2)
    monkeypatch.setattr(lots_page, "SHOWN", 3)
    page = client.get("/review").text
    shown, folded = page.split("1 older lot<", 1)
    assert sorted(_rows(page)) == sorted(codes)
    assert _rows(shown) == _rows(page)[:3]
    assert _rows(folded) == _rows(page)[3:]
    assert "1 more lot<" in client.get("/review?sort=density").text


def test_a_column_s_head_sorts_and_keeps_the_filter(client: TestClient) -> None:
    _fired(client)
    page = client.get("/review?result=good&sort=density&order=down").text
    assert re.search(
        r'aria-sort="descending"><a href="/review\?result=good&amp;sort=density&amp;order=up">Density', page
    )
    assert re.search(r'aria-sort="none"><a href="/review\?result=good&amp;sort=lot&amp;order=down">Lot', page)


@pytest.mark.parametrize("query", ["since=yesterday", "result=nonsense", "sort=nonsense", "pattern_id=x"])
def test_a_filter_that_is_none_is_told_and_the_lots_stay(client: TestClient, query: str) -> None:
    _fired(client)
    page = client.get(f"/review?{query}")
    assert page.status_code == 422
    assert 'class="refusal"' in page.text
    assert len(_rows(page.text)) == 2


def test_a_lot_shows_the_walk_from_bag_to_firing(client: TestClient) -> None:
    first, _ = _fired(client)
    page = client.get(f"/review/{first}").text
    for words in ("weighed in", "How even the lot is", "J400 predicted", "Burned well", "Did not light"):
        assert words in page
    assert re.search(r'Sorbitol from <a href="/workshop/supplies/\d+">bag ', page)
    assert len(re.findall(rf'<th scope="row"><a href="/shelf/{first}-\d\d">', page)) == 2


def test_a_lot_shows_the_bags_behind_its_remelt(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        blend = build.formula(session)
        first = build.cast(session, blend=blend)
        kept = leftovers.keep(session, first, LeftoverIn.model_validate({"mark": "L-1", "mass": "40 g"}))
        remelts = [{"leftover_id": kept.pk, "mass": "40 g"}]
        second = build.cast(session, blend=blend, remelts=remelts)
        codes = first.code, second.code
        session.commit()
    page = client.get(f"/review/{codes[1]}").text
    assert "Remelt “L-1” (40.0 g) came from" in page
    assert f'aria-label="Origin of {codes[0]}"' in page


def test_a_bag_shows_the_lots_and_firings_it_fed(client: TestClient) -> None:
    first, _ = _fired(client)
    bag = re.search(r'"(/workshop/supplies/\d+)"', client.get(f"/review/{first}").text)
    assert bag
    page = client.get(bag[1]).text
    assert f'href="/review/{first}"' in page
    assert re.search(r'href="/firings/\d+">Static test of motor T\d+</a>', page)


def test_a_lot_without_grains_says_what_comes_next(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        code = build.batch(session).code
        session.commit()
    page = client.get(f"/review/{code}")
    assert page.status_code == 200
    assert f'href="/cast/{code}/grains"' in page.text
    assert client.get("/review/99Z9").status_code == 404


def test_what_was_typed_is_shown_as_text(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        build.cast(session, blend=build.formula(session, "<script>alert(1)</script>"))
        session.commit()
    assert "<script>alert" not in client.get("/review").text


def test_many_lots_come_by_the_page_and_keep_the_filter(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    first, second = _fired(client)
    monkeypatch.setattr(lots_review, "PAGE", 1)
    page = client.get("/review?since=2020-01-01").text
    assert _rows(page) == [second]
    assert "2 lots, here 1 to 1" in page
    link = re.search(r'href="([^"]*)">Older lots</a>', page)
    assert link
    page = client.get(link[1].replace("&amp;", "&")).text
    assert _rows(page) == [first]
    assert re.search(r'href="[^"]*since=2020-01-01[^"]*">Newer lots</a>', page)
    assert "Older lots" not in page
    assert client.get("/review?page=0").status_code == 422
    assert "Lots after" in client.get("/review?sort=density").text


def test_a_lot_is_not_called_denser_on_a_few_grains(client: TestClient) -> None:
    with writing(engine_of(client)) as session:
        blend = build.formula(session)
        codes = []
        for shares in ((0.95, 0.96), (0.96, 0.97)):
            lot = build.cast(session, 2, blend=blend)
            for share in shares:
                build.grain(session, lot, share)
            codes.append(lot.code)
        session.commit()
    page = client.get(f"/review/{codes[1]}").text
    assert "Against the lot of this formula before it" in page
    assert "neither lot can be called the denser one" in page
    assert "Against the lot of this formula before it" not in client.get(f"/review/{codes[0]}").text
