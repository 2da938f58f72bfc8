"""Pages of what is bought: sizes, what is used up besides, deliveries and drills, with what cannot be told beside."""

from datetime import timedelta

from fastapi.testclient import TestClient

from app import clock
from tests.browse import opened, refused, saved

DUE = (clock.today() + timedelta(days=9)).isoformat()


def test_what_is_bought_is_written_down_changed_and_comes_in(client: TestClient) -> None:
    assert saved(client, "/workshop/consumables/new", {"name": "Igniter", "in_hand": "4"}) == "/workshop/consumables"
    page = refused(client, "/workshop/sizes/new", {"thing": "consumable-1", "amount": "six", "price": "1,250"})
    assert "Write an amount" in page.fault("price")
    page = refused(client, "/workshop/sizes/new", {"thing": "consumable-1", "amount": "six"})
    assert "whole number of pieces" in page.fault("amount")
    saved(client, "/workshop/sizes/new", {"thing": "consumable-1", "amount": "6", "price": "€ 9"})
    form = opened(client, "/workshop/sizes/1").forms["form"]
    assert (form.fields["amount"], form.fields["price"], form.fields["sold"]) == ("6", "9.00 €", "on")
    saved(client, "/workshop/sizes/1", {"amount": "8"})
    assert "pack of 8" in opened(client, "/workshop/sizes").texts["main"]
    page = refused(client, "/workshop/deliveries/new", {"thing": "ingredient-sorbitol", "amount": "six", "due_on": DUE})
    assert "a mass" in page.fault("amount")
    told = {"thing": "ingredient-sorbitol", "amount": "1.2 kg", "due_on": DUE, "cost": "€ 8"}
    saved(client, "/workshop/deliveries/new", told)
    assert "1.2 kg" in opened(client, "/workshop/deliveries").texts["main"]
    page = refused(client, "/workshop/deliveries/1", {}, "arrive")
    assert "needs a mark" in page.fault("mark", "arrive")
    assert saved(client, "/workshop/deliveries/1", {"mark": "Pail 2"}, "arrive") == "/workshop/supplies/1"
    assert opened(client, "/workshop/supplies/1").forms["form"].fields["cost"] == "8.00 €"
    saved(client, "/workshop/deliveries/new", {**told, "thing": "consumable-1", "amount": "6"})
    assert saved(client, "/workshop/deliveries/2", {}, "arrive") == "/workshop/consumables"
    assert "10" in opened(client, "/workshop/consumables").texts["main"]
    saved(client, "/workshop/deliveries/new", told)
    saved(client, "/workshop/deliveries/3", {"why": "Sold out."}, "off")
    assert "Sold out." in opened(client, "/workshop/deliveries").texts["main"]
    assert refused(client, "/workshop/deliveries/3", {"amount": "2 kg"}).texts["main"].count("called off")


def test_a_drill_is_entered_once(client: TestClient) -> None:
    saved(client, "/workshop/drills/new", {"diameter": "8.5 mm"})
    page = refused(client, "/workshop/drills/new", {"diameter": "8.5 mm"})
    assert "in the book already" in page.fault("diameter")
    assert "8.50 mm" in opened(client, "/workshop/drills").texts["main"]
