"""Sets from the ready grains."""

from datetime import timedelta

import pytest
from sqlmodel import Session

from app.errors import Refused
from app.services.grains import sets
from app.services.grains.sets import SetsIn
from tests import build


def _kind(session: Session, *lots: list[str]) -> sets.Kind:
    blend, shape = build.formula(session), build.pattern(session)
    for masses in lots:
        for grain, mass in zip(build.ready_grains(session, len(masses), blend=blend, shape=shape), masses, strict=True):
            grain.mass_kg = float(mass) / 1000
    session.flush()
    (kind,) = sets.kinds(session)
    return kind


def _masses(one: sets.Proposal) -> list[float]:
    return [round(v.grain.mass_kg * 1000, 1) for v in one.views]


def test_the_most_even_set_of_a_kind(session: Session) -> None:
    kind = _kind(session, ["170", "172.1", "168", "172.0", "172.3"])
    (one,) = sets.propose(kind, SetsIn(kind=kind.key, size=3))
    assert _masses(one) == [172.0, 172.1, 172.3]
    assert one.spread == pytest.approx(0.0003)
    assert one.mass == pytest.approx(0.5164)


def test_several_sets_share_no_grain(session: Session) -> None:
    kind = _kind(session, ["170", "172", "171", "173.5", "176"])
    made = sets.propose(kind, SetsIn(kind=kind.key, size=2, count=2))
    assert [_masses(one) for one in made] == [[170, 171], [172, 173.5]]


def test_each_set_from_one_lot(session: Session) -> None:
    kind = _kind(session, ["170", "171", "174"], ["170", "171.5", "174", "174.1"])
    (mixed,) = sets.propose(kind, SetsIn(kind=kind.key, size=2))
    assert mixed.spread == 0
    assert len(mixed.lots) == 2
    last = max((v.batch for v in mixed.views), key=lambda batch: batch.code)
    last.planned_for -= timedelta(days=30)
    session.flush()
    (mixed,) = sets.propose(kind, SetsIn(kind=kind.key, size=2))
    assert mixed.lots[0] == last.code, "by time, not by code: older books have other codes"
    made = sets.propose(kind, SetsIn(kind=kind.key, size=2, count=3, one_lot=True))
    assert [_masses(one) for one in made] == [[174, 174.1], [170, 171], [170, 171.5]]
    assert all(len(one.lots) == 1 for one in made)


def test_other_formulas_and_patterns_are_other_kinds(session: Session) -> None:
    build.ready_grains(session, 2)
    build.ready_grains(session, 3)
    build.grain(session, build.cast(session))  # still curing
    assert [len(kind.views) for kind in sets.kinds(session)] == [3, 2]


def test_too_few_grains_are_told(session: Session) -> None:
    kind = _kind(session, ["170", "171"], ["172", "173"])
    for wanted, field, words in (
        ({"size": 5}, "size", "4 ready grains of this kind"),
        ({"size": 3, "one_lot": True}, "size", "2 ready grains in any one lot"),
        ({"size": 2, "count": 3}, "count", "enough ready grains for 2 sets of 2"),
    ):
        with pytest.raises(Refused, match=words) as refusal:
            sets.propose(kind, SetsIn.model_validate({"kind": kind.key, **wanted}))
        assert refusal.value.field == field
