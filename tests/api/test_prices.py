"""Unit costs, prices and ladders through HTTP."""

from decimal import Decimal
from typing import Any

import pytest

from tests.api.client import Client

D = Decimal


@pytest.fixture(scope="module")
def balm(north: Client) -> str:
    """A tin of 60 g: 10 kg of wax for 120, tins at 0.40, half an hour a batch at 20."""
    wax = north.material("Cera Alba")
    tin = north.material("Tin", measured_by="count")
    north.receive(wax, "10 kg", "120.00")
    north.receive(tin, "100 each", "40.00")
    formula = north.post(
        "formulas",
        {
            "name": "Wax balm",
            "process_loss_percent": "4",
            "phases": [{"name": "A", "lines": [{"material": wax, "percent": "100"}]}],
        },
    ).made()["id"]
    body = {
        "name": "Wax balm 60 g",
        "formula": formula,
        "fill": {"nominal": "60 g"},
        "packaging": [{"material": tin, "quantity": "1 each"}],
        "labour": {"minutes_per_batch": "30", "hourly_rate": "20.00"},
    }
    return str(north.post("products", body).made()["id"])


def test_the_unit_cost_of_today(north: Client, balm: str) -> None:
    """12.00 ÷ 0.96 · 0.06 = 0.75, a tin, and a fortieth of half an hour: 1.40."""
    cost = north.get(f"products/{balm}/cost", units=40).made()
    assert D(cost["per_unit"]) == D("1.4")
    assert cost["batch"] == {
        "materials": "30.00",
        "packaging": "16.00",
        "labour": "10.00",
        "overhead": "0.00",
        "total": "56.00",
    }
    (wax,) = cost["materials"]
    assert (wax["quantity"], wax["unit"], wax["cost"]) == ("62.500000", "g", "12.000000")
    assert (wax["basis"], cost["last"]) == ("store", [])
    north.get(f"products/{balm}/cost", units=0).refused(422, "min_value", "/units")


def test_a_price_without_a_batch_needs_its_cost(north: Client, balm: str) -> None:
    terms = {"margin_percent": "60"}
    path = f"products/{balm}/price"
    north.post(path, terms).refused(422, "unit_cost_missing", "/unit_cost")
    present = north.post(path, {**terms, "cost_from": "present", "units": 40}).made()
    assert (present["unit_cost"], present["price"]) == ("1.400000", "3.500000")


def test_margin_or_markup_never_both(north: Client, balm: str) -> None:
    path = f"products/{balm}/price"
    markup = north.post(path, {"unit_cost": "2.35", "markup_percent": "60"}).made()
    assert D(markup["price"]) == D("3.76")
    both = {"unit_cost": "2.35", "markup_percent": "60", "margin_percent": "60"}
    north.post(path, both).refused(422, "invalid", "/markup_percent")
    north.post(path, {"unit_cost": "2.35"}).refused(422, "invalid", "/margin_percent")


def test_the_price_of_the_worked_example(north: Client, balm: str) -> None:
    """(2.35 + 0.30) ÷ (1 - 0.60 - 0.065) = 7.9104; it ends in .95, and tax stands apart."""
    body: dict[str, Any] = {
        "unit_cost": "2.35",
        "fixed_fee": "0.30",
        "margin_percent": "60",
        "fee_percent": "6.5",
        "ending": {"every": "1", "ends_in": "0.95"},
    }
    path = f"products/{balm}/price"
    plain = north.post(path, body).made()
    assert D(plain["price"]).quantize(D("0.0001")) == D("7.9104")
    assert D(plain["margin_percent"]) == 60
    assert plain["cautions"] == []
    assert (plain["listed"]["gross"], plain["listed"]["tax"]) == ("7.95", "0.00")
    taxed = north.post(path, {**body, "tax_percent": "20"}).made()
    assert taxed["price"] == plain["price"]
    listed = taxed["listed"]
    assert (listed["gross"], listed["net"], listed["tax"]) == ("9.95", "8.29", "1.66")
    assert "tax adviser" in taxed["cautions"][0]


def test_below_cost_only_knowingly(north: Client, balm: str) -> None:
    path = f"products/{balm}/price"
    body = {"unit_cost": "2.35", "price": "2.50", "fee_percent": "10"}
    refused = north.post(path, body).refused(422, "below_cost", "")
    assert (refused["received"], refused["unit_cost"]) == ("2.250000", "2.35")
    sold = north.post(path, {**body, "confirm_below_cost": True}).made()
    assert (sold["below_cost"], sold["listed"]["left"]) == (True, "-0.100000")


def test_a_ladder(north: Client, balm: str) -> None:
    wholesale = {"name": "Wholesale", "margin_percent": "40", "shown": "net"}
    shop = {"name": "Shop", "margin_percent": "60", "fee_percent": "6.5", "tax_percent": "20"}
    body = {
        "cost_from": "present",
        "units": 40,
        "channels": [wholesale, {**shop, "ending": {"every": "0.5"}}],
        "fixed": {"cost": "1800", "batch_units": 40},
    }
    path = f"products/{balm}/ladder"
    ladder = north.post(path, body).made()
    assert (ladder["unit_cost"], ladder["cost_from"]) == ("1.400000", "present")
    first, second = ladder["channels"]
    # 1.40 ÷ 0.60 = 2.3333 -> 2.34; 0.94 a unit: 1,914.89 units, 48 batches of 40.
    assert (first["name"], first["listed"]["net"]) == ("Wholesale", "2.34")
    assert first["break_even"]["whole_units"] == 1915
    assert (first["break_even"]["batches"], first["break_even"]["units"]) == (48, "1914.893617")
    # 1.40 ÷ 0.335 = 4.179104; with tax 5.014925 -> 5.50, of which 4.58 is net.
    assert (second["price"], second["listed"]["gross"]) == ("4.179104", "5.50")
    assert second["listed"]["net"] == "4.58"
    twice = {**body, "channels": [wholesale, wholesale]}
    north.post(path, twice).refused(422, "invalid", "/channels/1/name")
    low = {**body, "channels": [wholesale, {"name": "Fair", "price": "1"}]}
    north.post(path, low).refused(422, "below_cost", "/channels/1")
    north.post(path, {"channels": []}).refused(422, "min_length", "/channels")


def test_what_if_a_material_cost_more(north: Client, balm: str) -> None:
    """Wax from 12 to 15 a kilogram: 3 ÷ 0.96 dearer, 0.1875 for 60 g."""
    cost = north.get(f"products/{balm}/cost", units=40).made()
    wax = cost["materials"][0]["material"]
    change = {"material": wax, "change_percent": "25"}
    body = {"materials": [change], "batch_units": 40, "margin_percent": "60"}
    found = north.post("what-if", body).made()
    (formula,), (product,) = found["formulas"], found["products"]
    assert formula["per_kg"] == {"old": "12.500000", "new": "15.625000"}
    assert (product["product"], product["per_unit"]["old"]) == (balm, cost["per_unit"])
    assert product["per_unit"]["new"] == "1.587500"
    assert product["price"] == {"old": "3.500000", "new": "3.968750"}
    both = {"materials": [{**change, "price": "15"}]}
    north.post("what-if", both).refused(422, "invalid", "/materials/0")
    nobody = {"materials": [{"material": "nobody", "price": "15"}]}
    north.post("what-if", nobody).refused(422, "not_found", "/materials/0/material")
