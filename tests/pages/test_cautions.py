"""Every caution of hot casting and of motors stands on the page of its act (common practice, no source)."""

from html import unescape

import pytest

from app.db import writing
from app.services.cast import checklists
from tests import build
from tests.behind import browser_of, engine_of

SHOWN = [
    ("/checklist", "The heat is electric with a control, preferably an induction plate"),
    ("/checklist", "no element that can light a spill"),
    ("/checklist", "No gas flame, no exposed element"),
    ("/checklist", "outbuilding or outdoors"),
    ("/checklist", "at the sides and above"),
    ("/checklist", "An extinguisher stands on the way out"),
    ("/checklist", "Water for burns and small fires is at hand"),
    ("/checklist", "carries its own oxygen"),
    ("/checklist", "Nobody else is near"),
    ("/checklist", "The way out is clear"),
    ("/checklist", "Face shield, leather gloves, cotton or leather clothes"),
    ("/checklist", "The batch is small"),
    ("/checklist", "The scale shows"),
    ("/checklist", "The thermometer is checked"),
    ("/checklist", "never ground or milled together"),
    ("/checklist", "dry, labelled and closed, and away from igniters"),
    ("/checklist", "cool running water for 20 minutes"),
    ("/checklist", "Local law, the launch site's rules and licensed practice come before"),
    ("/plan/new", "Small batches first"),
    ("/plan/new", "never ground or milled together"),
    ("/cast", "Electric heat with control, never a flame or an exposed element"),
    ("/cast", "Face shield, leather gloves"),
    ("/cast", "Nobody else near, the way out clear"),
    ("/cast", "carries its own oxygen"),
    ("/cast", "cool running water for 20 minutes"),
    ("/cast", "never ground together"),
    ("/cast", "Local law, the launch site's rules"),
    ("/workshop/supplies", "dry, closed and labelled"),
    ("/workshop/supplies", "never oxidiser together with a sugar"),
    ("/workshop/supplies/new", "away from heat, sparks and igniters"),
    ("/shelf", "dry, sealed and labelled, away from heat, sparks and igniters"),
    ("/motors/new", "A prediction is not a promise"),
    ("/motors/design", "A prediction is not a promise. It stands on what it assumes"),
    ("/motor", "A prediction is not a promise"),
    ("/motor", "Local law, the launch site's rules and licensed practice"),
    ("/firings/new", "with nobody in line with either end"),
    ("/firings/new", "The igniter goes in last"),
    ("/help", "cool running water for 20 minutes"),
]


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """The text of each page of an act, in a book in which every act is going on."""
    from app.main import create_app
    from app.settings import Settings

    app = create_app(Settings(book=tmp_path_factory.mktemp("cautions") / "book.sqlite3"))
    with browser_of(app) as client:
        with writing(engine_of(app)) as session:
            blend, shape = build.formula(session), build.pattern(session)
            tools = {"case": build.case(session), "nozzle": build.nozzle(session)}
            lot = build.ready_grains(session, 2, blend=blend, shape=shape)
            motor = build.motor_build(session, grains=lot[:1], **tools).code
            running = build.cast(session, blend=blend, shape=shape).code
            planned = build.batch(session, blend=blend, shape=shape)
            lines = [line.item.pk for line in checklists.lines(session, checklists.start(session, planned))]
            code = planned.code
            session.commit()
        at = {
            "/checklist": f"/plan/{code}/checklist",
            "/cast": f"/cast/{running}",
            "/motor": f"/motors/{motor}",
            "/motors/design": "/motors/design?formula_id=1&pattern_id=1&count=1&case_id=1&throat_d=12.7+mm"
            "&density=95+%25&field_elevation=12+m&grain_temperature=20+C",
        }
        found = {place: unescape(client.get(at.get(place, place)).text) for place, _ in SHOWN}
        each = [unescape(client.get(f"{at['/checklist']}?line={line}").text) for line in lines]  # one at a time
        found["/checklist"] = "".join(text.replace("</main>", "") for text in each) + "</main>"
        return found


@pytest.mark.parametrize(("place", "words"), SHOWN)
def test_a_caution_stands_where_its_act_is(pages: dict[str, str], place: str, words: str) -> None:
    text = " ".join(pages[place].replace('<a href="#assumes">', "").replace("</a>", "").split())
    main = text[text.index("<main") : text.index("</main>")]
    assert words in main


def test_no_page_calls_a_motor_safe(pages: dict[str, str]) -> None:
    for place, text in pages.items():
        main = text[text.index("<main") : text.index("</main>")].replace("safety", "")
        assert " safe" not in main, place
