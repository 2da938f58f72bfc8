"""The shelf: a page at a time, where bags lie, and finding a grain by its label."""

from datetime import timedelta

import pytest
from sqlmodel import Session

from app import clock
from app.errors import NotFound, Refused
from app.models import Grain
from app.models.bag import KeepIn
from app.services.grains import shelf
from app.services.grains.shelf import ShelfIn
from tests import build


def _lots(session: Session, n: int, each: int = 2) -> list[list[Grain]]:
    made = []
    for _ in range(n):
        lot = build.cast(session, each)
        made.append([build.grain(session, lot) for _ in range(each)])
    return made


# --- Finding one -------------------------------------------------------------------------------


def test_a_scanned_label_finds_its_grain(session: Session) -> None:
    ((grain, _),) = _lots(session, 1)
    assert shelf.find(session, f"http://127.0.0.1:8765/shelf/{grain.serial}") is grain
    assert shelf.find(session, grain.serial[:5]) is None
    assert shelf.find(session, "") is None


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("http://[/shelf/2001P-01", "not the label of a grain"),
        ("2001P-01", "no grain 2001P-01 in this book"),
        ("http://127.0.0.1:8765/shelf/2001P-01", "no grain 2001P-01"),
        ("https://example.org/", "not the label of a grain"),
    ],
)
def test_a_wrong_label_is_told(session: Session, text: str, words: str) -> None:
    with pytest.raises(NotFound, match=words):
        shelf.find(session, text)


# --- Pages -------------------------------------------------------------------------------------


def test_newest_lots_come_first_and_the_rest_on_later_pages(session: Session, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shelf, "ON_A_PAGE", 3)
    lots = _lots(session, 4)
    first = shelf.page(session, ShelfIn())
    assert [v.grain for v in first.views] == [*lots[3], *lots[2]], "a lot that begins on a page is shown whole"
    assert first.next_start == 4
    second = shelf.page(session, ShelfIn(start=4))
    assert [v.grain for v in second.views] == [*lots[1], *lots[0]]
    assert second.next_start is None
    assert shelf.page(session, ShelfIn(start=99)).views == []


def test_each_grain_is_on_exactly_one_page(session: Session, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shelf, "ON_A_PAGE", 2)
    grains = {g.serial for lot in _lots(session, 3, each=3) for g in lot}
    for sort in ("lot", "oldest", "mass", "density"):
        seen: list[str] = []
        start: int | None = 0
        while start is not None:
            found = shelf.page(session, ShelfIn(sort=sort, start=start))
            seen += [v.grain.serial for v in found.views]
            start = found.next_start
        assert sorted(seen) == sorted(grains), sort


def test_a_state_that_only_few_have_is_found_behind_many_others(
    session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(shelf, "ON_A_PAGE", 2)
    ripe = build.ready_grains(session, 1)
    _lots(session, 3)
    found = shelf.page(session, ShelfIn(state="ready"))
    assert [v.grain for v in found.views] == ripe
    assert found.next_start is None


def test_each_state_finds_its_grains(session: Session) -> None:
    (ripe,) = build.ready_grains(session, 1)
    lot = build.cast(session)
    made = {
        "ready": ripe,
        "curing": build.grain(session, lot),
        "held": build.grain(session, lot, decision="hold"),
        "rejected": build.grain(session, lot, decision="reject"),
        "weighed": build.grain(session, lot, decision=None),
    }
    made["accepted"] = build.grain(session, lot)
    made["accepted"].bagged_at = None
    session.flush()
    for state, grain in made.items():
        found = shelf.page(session, ShelfIn.model_validate({"state": state}))
        assert [v.grain for v in found.views] == [grain], state


def test_what_a_motor_holds_is_not_on_the_shelf(session: Session) -> None:
    inside, free, burned = build.ready_grains(session, 3)
    build.bare_motor(session, [inside])
    build.bare_firing(session, build.bare_motor(session, [burned]))
    assert [v.grain for v in shelf.page(session, ShelfIn()).views] == [free]
    assert [v.grain for v in shelf.page(session, ShelfIn(state="in motor")).views] == [inside]


# --- Bags --------------------------------------------------------------------------------------


def test_a_bag_is_noted_and_moved_and_the_earlier_place_stays_readable(session: Session) -> None:
    ((one, two),) = _lots(session, 1)
    assert shelf.keep(session, [one.pk, two.pk], KeepIn(place="Box 1", desiccant=True)) == 2
    shelf.keep(session, [one.pk], KeepIn(place="Box 2", desiccant=True, desiccant_on=clock.today()))
    bags = shelf.bags(session, [one.pk, two.pk])
    assert (bags[one.pk].place, bags[two.pk].place) == ("Box 2", "Box 1")
    assert bags[two.pk].desiccant_on == clock.today(), "ticked without a date means today"
    assert [m.place for m in shelf.moves(session, one)] == ["Box 2", "Box 1"]
    assert shelf.places(session) == ["Box 1", "Box 2"]
    assert [v.grain for v in shelf.page(session, ShelfIn(place="Box 1")).views] == [two]
    assert shelf.page(session, ShelfIn()).bags == bags


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({}, "place"),
        ({"place": "Box", "desiccant_on": "2024-01-05"}, "desiccant_on"),
        ({"desiccant": True, "desiccant_on": "2099-01-01"}, "desiccant_on"),
    ],
)
def test_what_says_nothing_or_cannot_be_is_refused(session: Session, more: dict[str, object], field: str) -> None:
    ((one, _),) = _lots(session, 1)
    with pytest.raises(Refused) as refusal:
        shelf.keep(session, [one.pk], KeepIn.model_validate(more))
    assert refusal.value.field == field
    assert shelf.bags(session, [one.pk]) == {}


def test_a_grain_that_is_gone_lies_in_no_bag(session: Session) -> None:
    inside, burned, free = build.ready_grains(session, 3)
    motor = build.bare_motor(session, [inside])
    build.bare_firing(session, build.bare_motor(session, [burned]))
    with pytest.raises(Refused, match=f"is in motor {motor.code}"):
        shelf.keep(session, [free.pk, inside.pk], KeepIn(place="Box"))
    with pytest.raises(Refused, match="was burned in"):
        shelf.keep(session, [burned.pk], KeepIn(place="Box"))
    with pytest.raises(Refused, match="at least one"):
        shelf.keep(session, [], KeepIn(place="Box"))
    assert shelf.bags(session, [free.pk]) == {}, "all or none"


def test_desiccant_keeps_its_day(session: Session) -> None:
    ((one, _),) = _lots(session, 1)
    day = clock.today() - timedelta(days=30)
    shelf.keep(session, [one.pk], KeepIn(desiccant=True, desiccant_on=day))
    assert shelf.bags(session, [one.pk])[one.pk].desiccant_on == day
