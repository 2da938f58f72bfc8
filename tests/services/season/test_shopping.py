"""What to buy and what it costs, against sums done by hand."""

from collections import Counter
from datetime import timedelta

import pytest
from sqlmodel import Session

from app import clock
from app.errors import Refused
from app.models.buying import ArrivedIn, ConsumableIn, DeliveryIn, PackSizeIn
from app.models.money import Money
from app.services.book import workshop
from app.services.season import costs, overview, shopping
from app.services.season.shopping import Melt
from app.services.stock import consumables, deliveries, sizes, supplies, things
from tests import build


def _things(session: Session) -> dict[str, str]:
    return {name: key for key, name in things.choices(session)}


def _size(session: Session, name: str, amount: str, price: str | None, sold: bool = True) -> None:
    told = {"thing": _things(session)[name], "amount": amount, "price": price, "sold": sold}
    sizes.save(session, PackSizeIn.model_validate(told))


# --- Sizes, consumables, deliveries -----------------------------------------------------------------------------


def test_sizes_come_from_earlier_bags_and_what_is_written_down_stands_for_its_own(session: Session) -> None:
    build.supply(session, "sorbitol", "1.2 kg", cost="€ 7")
    build.supply(session, "sorbitol", "1.2 kg", cost="€ 8")
    build.supply(session, "sorbitol", "5 kg")
    sorbitol = things.read(session, _things(session)["Sorbitol"])
    assert [(size.name, size.price) for size in sizes.of(session, sorbitol)] == [
        ("1.2 kg", Money(8, "€")),
        ("5 kg", None),
    ]
    _size(session, "Sorbitol", "5 kg", "€ 29")
    _size(session, "Sorbitol", "1.2 kg", None, sold=False)
    assert [(size.name, size.price) for size in sizes.of(session, sorbitol)] == [("5 kg", Money(29, "€"))]
    with pytest.raises(Refused, match="written down already"):
        _size(session, "Sorbitol", "5000 g", "€ 1")
    with pytest.raises(Refused, match="a mass"):
        _size(session, "Sorbitol", "ten", None)


def test_a_price_without_a_currency_is_in_the_workshops(session: Session) -> None:
    build.supply(session, "sucrose", "2 kg", cost="2.40")
    workshop.get(session).currency = "€"
    assert sizes.per_kg(session, "sucrose") == Money(1.2, "€")
    assert sizes.per_kg(session, "sorbitol") is None


def test_what_is_used_up_is_counted_from_the_day_it_was_counted(session: Session) -> None:
    igniter = consumables.save(session, ConsumableIn(name="Igniter", in_hand=4))
    igniter.counted_on = clock.today() - timedelta(days=3)
    build.bare_firing(session, build.motor_build(session))
    assert consumables.left(session, igniter) == 3
    consumables.save(session, ConsumableIn(name="Igniter", in_hand=9), igniter, igniter.version)
    assert (igniter.counted_on, consumables.left(session, igniter)) == (clock.today(), 9)
    with pytest.raises(Refused, match="used by each grain"):
        consumables.save(session, ConsumableIn(name="Liner", casting_tube_id=build.tube(session).pk))


def test_a_delivery_becomes_a_bag_or_is_counted_in(session: Session) -> None:
    igniter = consumables.save(session, ConsumableIn(name="Igniter", in_hand=4))
    due = clock.today() + timedelta(days=9)
    told = {"thing": _things(session)["Sorbitol"], "amount": "1.2 kg", "due_on": due, "cost": "€ 8", "seller": "Shop"}
    first = deliveries.save(session, DeliveryIn.model_validate(told))
    second = deliveries.save(
        session, DeliveryIn.model_validate(told | {"thing": _things(session)["Igniter"], "amount": "6"})
    )
    assert deliveries.coming(session) == [first, second]
    with pytest.raises(Refused, match="needs a mark"):
        deliveries.arrive(session, first, ArrivedIn(arrived_on=clock.today()))
    deliveries.arrive(session, first, ArrivedIn(arrived_on=clock.today(), mark="Pail 2"))
    deliveries.arrive(session, second, ArrivedIn(arrived_on=clock.today()))
    (bag,) = supplies.stock(session)
    assert (bag.bag.mark, bag.left, bag.bag.cost, bag.bag.currency) == ("Pail 2", 1.2, 8.0, "€")
    assert consumables.left(session, igniter) == 10
    with pytest.raises(Refused, match="has come already"):
        deliveries.arrive(session, first, ArrivedIn(arrived_on=clock.today(), mark="Pail 3"))
    with pytest.raises(Refused, match="is past"):
        deliveries.save(session, DeliveryIn.model_validate(told | {"due_on": clock.today() - timedelta(days=1)}))


# --- The list ---------------------------------------------------------------------------------------------------


def test_what_is_short_is_bought_in_the_cheapest_packs_by_the_day_it_runs_out(session: Session) -> None:
    """By hand: three melts of 1 kg at 35 % sorbitol take 1.05 kg; 0.5 kg are there, so the second melt is short, by
    0.55 kg: one pail of 1.2 kg; a delivery that comes after the last melt is no help.
    """
    season = build.season(session, budget="€ 5")
    formula = build.formula(session, "Plain", {"potassium nitrate": "65 %", "sorbitol": "35 %"})
    build.supply(session, mass="10 kg", cost="€ 38")
    build.supply(session, "sorbitol", "0.5 kg", mark="Old", cost="€ 4")
    _size(session, "Sorbitol", "1.2 kg", "€ 7.80")
    _size(session, "Sorbitol", "5 kg", "€ 29")
    days = [clock.today() + timedelta(days=n) for n in (7, 14, 21)]
    melts = [Melt(day, formula, Counter(), 1.0) for day in days]
    late = {"thing": _things(session)["Sorbitol"], "amount": "5 kg", "due_on": days[2] + timedelta(days=1)}
    deliveries.save(session, DeliveryIn.model_validate(late))
    found = shopping.of(session, season, overview.of(session, season), melts)
    (row,) = found.short
    assert (row.thing.name, row.there, row.by) == ("Sorbitol", 0.5, days[1])
    assert (row.needed, row.short) == pytest.approx((1.05, 0.55))
    assert [(buy.count, buy.size.name) for buy in row.buy] == [(1, "1.2 kg")]
    assert row.bags == [("Old", 0.5)]
    assert found.total == Money(7.8, "€")
    assert found.over_budget == pytest.approx(2.8)
    deliveries.save(session, DeliveryIn.model_validate(late | {"amount": "1 kg", "due_on": days[0]}))
    assert shopping.of(session, season, overview.of(session, season), melts).short == []


def test_a_book_without_prices_leaves_costs_out_and_says_so(session: Session) -> None:
    season = build.season(session)
    build.chosen(session, build.wish(session, season))
    found = costs.of(session, overview.of(session, season))
    assert not found.any
    assert (found.total, found.reject) == (None, None)
    assert "Sorbitol" in found.lacks


def test_a_flight_costs_its_grains_its_share_of_the_pan_and_what_is_used_besides(
    session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By hand: four grains of pure prices 3.80 €/kg nitrate and 5.80 €/kg sorbitol, 5 % left in the pan, one igniter
    of a pack of six for 9 €; one grain in five rejected makes 24 good ones out of 30.
    """
    monkeypatch.setattr(costs, "reject_record", lambda _: (2, 10))
    season = build.season(session)
    formula = build.formula(session, "Plain", {"potassium nitrate": "65 %", "sorbitol": "35 %"})
    build.supply(session, mass="10 kg", cost="€ 38")
    build.supply(session, "sorbitol", "5 kg", cost="€ 29")
    consumables.save(session, ConsumableIn(name="Igniter", in_hand=4))
    _size(session, "Igniter", "6", "€ 9")
    wish = build.wish(session, season, count=6)
    build.chosen(session, wish, formula_id=formula.pk, figures={"impulse_ns": [400.0, 500.0, 600.0]})
    found = costs.of(session, overview.of(session, season))
    (line,) = found.of_lines
    (pattern, _) = line.grain[0]
    grain = costs.Prices(session).grain_kg(formula, pattern)
    by_hand = 4 * grain * 1.05 * (0.65 * 3.8 + 0.35 * 5.8) + 1.5
    assert line.each is not None
    assert line.each.amount == pytest.approx(by_hand)
    assert line.per_ns is not None
    assert line.per_ns.amount == pytest.approx(by_hand / 500)
    assert found.total is not None
    assert found.total.amount == pytest.approx(6 * by_hand)
    assert found.reject is not None
    assert found.remelt is not None
    assert found.spoiled is not None
    assert found.remelt.amount == pytest.approx(found.reject.amount / 1.05)
    assert found.spoiled.amount == pytest.approx(6 * found.reject.amount)
    build.supply(session, "sorbitol", "1 kg", cost="$ 9")
    mixed = costs.of(session, overview.of(session, season))
    assert mixed.mixed
    assert mixed.total is None


def test_lacking_grains_are_melts_with_what_is_rejected_on_top(session: Session) -> None:
    season = build.season(session)
    lot = build.cast(session)
    for decision in ("accept", "accept", "accept", "reject"):
        build.grain(session, lot, decision=decision)
    pattern = build.pattern(session)
    build.chosen(session, build.wish(session, season, count=3), (pattern, 4))
    seen = overview.of(session, season)
    assert sum(seen.lacking.values()) == 12
    (melt,) = shopping.melts_without_plan(session, seen)
    assert melt.grains == {pattern.pk: 16}  # 12 of which a quarter is rejected
