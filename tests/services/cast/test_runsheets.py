"""The run sheet: editions like the checklist's, an order that can be worked in, and the steps made from it."""

from typing import Any

import pytest
from sqlmodel import Session

from app.errors import Conflict, Refused
from app.models import RunSheet
from app.models.runsheet import RunSheetIn
from app.services.book import workshop
from app.services.cast import editions, runsheets
from tests import build


def lines_of(session: Session) -> list[dict[str, Any]]:
    """The newest edition as its form would send it."""
    return [
        {
            "kind": line.kind,
            "words": line.words,
            "after": line.after,
            "wait": None if line.after_s is None else f"{line.after_s / 60:g} min",
            "pan_low": None,
            "pan_high": None,
        }
        for line in editions.now_used(session, RunSheet).lines
    ]


def sheet(lines: list[dict[str, Any]], note: str = "") -> RunSheetIn:
    return RunSheetIn.model_validate({"lines": lines, "note": note})


def line(lines: list[dict[str, Any]], kind: str) -> dict[str, Any]:
    return next(one for one in lines if one["kind"] == kind)


def test_a_book_starts_with_the_usual_times(session: Session) -> None:
    """Minutes after the pour: core 3, compact 18, 28, 38, pull 90, bag in the evening: common practice, no source."""
    batch = build.batch(session)
    made = runsheets.lay_out(session, batch)
    usual = {step.key: runsheets.usual_s(made, step) for step in made}
    minutes = {key: None if s is None else s / 60 for key, s in usual.items()}
    assert minutes == {
        "weigh": None,
        "melt:sorbitol": None,
        "melt:sucrose": None,
        "oxidiser:1": None,
        "oxidiser:2": None,
        "oxidiser:3": None,
        "pour": 0,
        "core": 3,
        "compact:1": 18,
        "compact:2": 28,
        "compact:3": 38,
        "pull": 90,
        "bag": 360,
    }


def test_hot_steps_have_the_workshops_band_unless_a_line_has_its_own(session: Session) -> None:
    """220-250 °F, common practice, no source."""
    shop, lines = workshop.get(session), lines_of(session)
    line(lines, "pour").update(pan_low="230 F", pan_high="240 F")
    runsheets.new_edition(session, sheet(lines))
    bands = {s.key: (s.pan_low_k, s.pan_high_k) for s in runsheets.lay_out(session, build.batch(session))}
    assert bands["melt:sorbitol"] == (shop.pan_low_k, shop.pan_limit_k)
    assert bands["pour"] == pytest.approx(((230 + 459.67) * 5 / 9, (240 + 459.67) * 5 / 9))
    assert bands["compact:1"] == bands["weigh"] == (None, None)


def test_a_new_edition_leaves_the_sessions_made_from_the_old_one(session: Session) -> None:
    old = build.opened_session(session, build.batch(session)).melts[0]
    before = [(step.key, step.words, step.after_s) for step in old.steps]
    lines = lines_of(session)
    line(lines, "sugar")["words"] = "Slowly now."
    line(lines, "pull")["wait"] = "100"
    lines.insert(-1, {"kind": "other", "words": "Look for cracks.", "after": "before", "wait": "5"})
    second = runsheets.new_edition(session, sheet(lines, "slower"), seen=1)
    assert (second.edition, second.note, editions.now_used(session, RunSheet)) == (2, "slower", second)
    session.refresh(old)
    assert [(step.key, step.words, step.after_s) for step in old.steps] == before
    of_old = runsheets.of_melt(session, old)
    assert of_old is not None
    assert of_old.edition == 1
    new = build.opened_session(session, build.batch(session)).melts[-1]
    steps = {step.key: step for step in new.steps}
    assert steps["melt:sorbitol"].words == "Melt the sorbitol. Slowly now."
    assert steps["pull"].after_s == 6000
    assert (steps["other:1"].after_key, steps["other:1"].after_s) == ("pull", 300)


def test_an_edition_made_from_an_older_one_is_a_conflict(session: Session) -> None:
    lines = lines_of(session)
    line(lines, "pour")["words"] = "Pour, slowly."
    runsheets.new_edition(session, sheet(lines), seen=1)
    line(lines, "pour")["words"] = "Pour, quickly."
    with pytest.raises(Conflict, match="Edition 2 of the run sheet was made after"):
        runsheets.new_edition(session, sheet(lines), seen=1)
    assert editions.now_used(session, RunSheet).edition == 2


def test_nothing_changed_makes_no_edition(session: Session) -> None:
    with pytest.raises(Refused, match="Nothing differs from edition 1"):
        runsheets.new_edition(session, sheet(lines_of(session)))


@pytest.mark.parametrize(
    ("kind", "change", "field", "words"),
    [
        ("core", {"after": ""}, "after", "counted from"),
        ("core", {"wait": None}, "wait", "how long after"),
        ("sugar", {"after": "pour", "wait": "5"}, "after", "before the pour"),
        ("weigh", {"after": "before", "wait": "5"}, "after", "no step before the first"),
        ("pour", {"pan_low": "240 F", "pan_high": "230 F"}, "pan_high", "above 240 F"),
        ("pour", {"pan_high": "260 F"}, "pan_high", "workshop's own limit"),
        ("pour", {"pan_low": "255 F"}, "pan_low", "not below the workshop's own limit"),
    ],
)
def test_lines_that_do_not_hold_together(
    session: Session, kind: str, change: dict[str, Any], field: str, words: str
) -> None:
    lines = lines_of(session)
    line(lines, kind).update(change)
    with pytest.raises(Refused, match=words) as caught:
        runsheets.new_edition(session, sheet(lines))
    assert caught.value.field == f"lines.{[one['kind'] for one in lines].index(kind)}.{field}"


@pytest.mark.parametrize(
    ("order", "words"),
    [
        (["weigh", "oxidiser", "sugar", "remelt", "pour", "core", "pull", "bag"], "sugars melt before"),
        (["sugar", "weigh", "remelt", "oxidiser", "pour", "core", "pull", "bag"], "comes first"),
        (["weigh", "sugar", "oxidiser", "pour", "remelt", "core", "pull", "bag"], "comes before the pour"),
        (["weigh", "sugar", "remelt", "oxidiser", "core", "pour", "pull", "bag"], "comes after the pour"),
        (["weigh", "sugar", "remelt", "oxidiser", "pour", "pull", "core", "bag"], "set, then pulled"),
        (["weigh", "sugar", "remelt", "oxidiser", "core", "pull", "bag"], "“Pour” is missing"),
        (["weigh", "sugar", "remelt", "oxidiser", "pour", "pour", "core", "pull", "bag"], "more than once"),
    ],
)
def test_an_order_that_cannot_be_worked_in(session: Session, order: list[str], words: str) -> None:
    lines = [{"kind": kind, "words": "Do it."} for kind in order]
    with pytest.raises(Refused, match=words):
        runsheets.new_edition(session, sheet(lines))
    assert editions.now_used(session, RunSheet).edition == 1
