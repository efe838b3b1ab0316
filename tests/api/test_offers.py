"""Offers of suppliers: what a pack costs from which day, and who sees it."""

import time
from datetime import UTC, datetime
from typing import Any

import pytest

from tests.api.client import Client, Coop
from tests.api.people import member

BREAKS = [
    {"at_least": "25 kg", "price": "4.60"},
    {"at_least": "50 kg", "price": "4.10"},
    {"at_least": "75 kg", "price": "3.80"},
]


def offered(maker: Client, **facts: Any) -> dict[str, Any]:
    """An offer of a kilogram at 5.20 from a new supplier, unless said otherwise."""
    given = {"pack": "1 kg", "price": "5.20", "valid_from": "2025-01-01", **facts}
    for name, made in (("supplier", maker.supplier), ("material", lambda: maker.material("Base"))):
        given.setdefault(name, made())
    return dict(maker.post("offers", given).made())


@pytest.fixture(scope="module")
def coordinator(coop: Coop) -> Client:
    return member(coop, None, "coordinator")


def test_an_offer_with_breaks(north: Client) -> None:
    offer = offered(north, breaks=BREAKS, article_code="B-1", lead_time_days=9, least_packs=5)
    assert offer["pack"] == {"entered": "1 kg", "grams": "1000.000000"}
    assert (offer["open"], offer["offered"], offer["density"]) == (False, True, None)
    price = offer["current"]
    assert (price["price"], price["own_price"], price["currency"]) == ("5.2", "5.2", "USD")
    assert price["unit_price"] == {"amount": "5.200000", "per": "kg"}
    assert (price["least_packs"], price["lead_time_days"]) == (5, 9)
    told = [(one["at_least"]["grams"], one["price"]) for one in price["breaks"]]
    assert told == [("25000.000000", "4.6"), ("50000.000000", "4.1"), ("75000.000000", "3.8")]
    assert north.get(f"offers/{offer['id']}", on="2025-01-01").made() == offer
    before = north.get(f"offers/{offer['id']}", on="2024-12-31").made()
    assert (before["offered"], before["current"]) == (False, None)


def test_a_pack_by_volume_needs_a_density(north: Client) -> None:
    """The offer's own, before the material's; four gallons of 1.26 g/mL are 19,078.475 g."""
    bare = north.material("Humectant of no density")
    supplier = north.supplier()
    facts = {"supplier": supplier, "material": bare, "price": "186.00", "valid_from": "2025-01-01"}
    north.post("offers", {**facts, "pack": "4 gal"}).refused(422, "density_missing", "/pack")
    stated = {**facts, "pack": "4 gal", "density": {"value": "1.26 g/mL", "at": "20 degC"}}
    offer = north.post("offers", stated).made()
    assert offer["pack"] == {"entered": "4 gal", "grams": "19078.475391"}
    assert (offer["density_of"], offer["density"]["value"]) == ("offer", "1.26")
    assert offer["current"]["unit_price"]["amount"] == "9.749207"
    known = north.material("Humectant", density="1.25 g/mL")
    by_material = north.post("offers", {**facts, "material": known, "pack": "1 L"}).made()
    assert (by_material["density_of"], by_material["pack"]["grams"]) == ("material", "1250.000000")
    north.post("offers", {**facts, "pack": "4 oz"}).refused(422, "unit_ambiguous")
    jars = north.material("Jar to buy", measured_by="count")
    counted = offered(north, material=jars, pack="60 each", price="30")
    assert counted["pack"] == {"entered": "60 each", "count": "60"}
    assert counted["current"]["unit_price"] == {"amount": "0.500000", "per": "each"}


def test_a_new_price_is_a_new_row(north: Client) -> None:
    offer = offered(north, breaks=BREAKS)
    path = f"offers/{offer['id']}"
    north.post(f"{path}/prices", {"valid_from": "2025-06-01", "price": "5.50"}).made()
    wrong = north.post(f"{path}/prices", {"valid_from": "2025-09-01", "price": "57.00"}).made()
    right = north.post(f"{path}/prices", {"valid_from": "2025-09-01", "price": "5.70"}).made()
    assert (wrong["current"]["price"], right["current"]["price"]) == ("57", "5.7")
    told = {
        day: north.get(path, on=day).made()["current"]["price"]
        for day in ("2025-05-31", "2025-06-01", "2025-08-31", "2025-09-01")
    }
    assert list(told.values()) == ["5.2", "5.5", "5.5", "5.7"]
    history = north.listed(f"{path}/prices", limit=2)
    assert [row["price"] for row in history] == ["5.7", "57", "5.5", "5.2"]
    assert len(history[-1]["breaks"]) == 3
    gone = north.post(f"{path}/end", {"valid_from": "2025-10-01", "note": "not in the list"}).made()
    assert (gone["offered"], gone["current"]["note"]) == (False, "not in the list")
    assert north.get(path, on="2025-09-30").made()["offered"]
    north.post(f"{path}/prices", {"valid_from": "2025-11-01", "price": "5.80"}).made()
    assert north.get(path).made()["offered"]


def test_another_currency_has_the_rate_of_the_day(north: Client) -> None:
    offer = offered(north, currency="EUR", rate="1.0845", price="4.90", breaks=BREAKS[1:2])
    price = offer["current"]
    assert (price["price"], price["currency"], price["rate"]) == ("4.9", "EUR", "1.0845")
    assert price["own_price"] == "5.31405"
    assert price["breaks"][0]["own_price"] == "4.44645"
    path = f"offers/{offer['id']}/prices"
    day = {"valid_from": "2025-06-01", "price": "5"}
    north.post(path, {**day, "currency": "EUR"}).refused(422, "invalid", "/rate")
    north.post(path, {**day, "rate": "2"}).refused(422, "invalid", "/rate")
    north.post(path, {**day, "currency": "XAU", "rate": "2"}).refused(
        422, "currency_unknown", "/currency"
    )


def test_what_is_no_price_is_refused(north: Client) -> None:
    offer = offered(north)
    path, day = f"offers/{offer['id']}/prices", {"valid_from": "2025-06-01", "price": "5.20"}
    for breaks, pointer in (
        ([{"at_least": "1 kg", "price": "5"}], "/breaks/0/at_least"),
        ([{"at_least": "25 kg", "price": "115.00"}], "/breaks/0/price"),
        ([BREAKS[1], BREAKS[0]], "/breaks/1/at_least"),
    ):
        north.post(path, {**day, "breaks": breaks}).refused(422, "invalid", pointer)
    north.post(path, {**day, "price": "0"}).refused(422, "out_of_range", "/price")
    same = {"supplier": offer["supplier"], "material": offer["material"], "pack": "1000 g", **day}
    there = north.post("offers", same).refused(409, "conflict")
    assert there["offer"] == offer["id"]


def test_terms_of_a_whole_order(north: Client) -> None:
    path = f"suppliers/{north.supplier()}/terms"
    terms = {"valid_from": "2025-01-01", "freight_kind": "flat", "freight": "28"}
    made = north.post(path, {**terms, "free_from": "200", "minimum": "50"}).made()
    assert (made["own_freight"], made["own_free_from"], made["own_minimum"]) == ("28", "200", "50")
    abroad = {**terms, "currency": "EUR", "rate": "1.1", "freight_kind": "mass", "freight": "0.90"}
    assert north.post(path, abroad).made()["own_freight"] == "0.99"
    assert [row["freight_kind"] for row in north.listed(path)] == ["mass", "flat"]
    north.post(path, {**terms, "freight_kind": "none"}).refused(422, "invalid", "/freight")
    none = {"valid_from": "2025-01-01", "freight_kind": "none", "free_from": "200"}
    north.post(path, none).refused(422, "invalid", "/free_from")
    north.post(path, {**terms, "freight": None}).refused(422, "invalid", "/freight")


def test_prices_are_private_unless_they_are_opened(
    north: Client, mill: Client, coordinator: Client
) -> None:
    own = offered(north)
    for other in (mill, coordinator):
        other.get(f"offers/{own['id']}").refused(404, "not_found")
        assert own["id"] not in [row["id"] for row in other.listed("offers")]
        more = {"valid_from": "2025-02-01", "price": "1"}
        other.post(f"offers/{own['id']}/prices", more).refused(404, "not_found")
    shared = offered(north, open=True)
    assert mill.get(f"offers/{shared['id']}").made()["current"]["price"] == "5.2"
    for_all = offered(coordinator, supplier=own["supplier"], material=own["material"], price="4.90")
    assert for_all["open"]
    listed = mill.listed("offers", material=own["material"])
    assert [row["id"] for row in listed] == [for_all["id"]]
    both = north.listed("offers", supplier=own["supplier"])
    assert [row["current"]["price"] for row in both] == ["4.9", "5.2"]
    # Whoever may write offers adds to what all see.
    mill.post(f"offers/{shared['id']}/prices", {"valid_from": "2025-02-01", "price": "6"}).made()
    assert north.get(f"offers/{shared['id']}").made()["current"]["price"] == "6"


def test_a_price_that_jumps_is_told_at_once(coop: Coop, north: Client) -> None:
    offer = offered(north)
    today = datetime.now(UTC).date().isoformat()
    dearer = {"valid_from": today, "price": "6.50"}
    north.post(f"offers/{offer['id']}/prices", dearer).made()
    end = time.monotonic() + 90
    while not (found := north.listed("alerts", kind="price_jump", state="open")):
        assert time.monotonic() < end, "the worker tells of it"
        time.sleep(0.1)
    (alert,) = found
    assert (alert["material"], alert["name"]) == (offer["material"], "Base")
    assert alert["price"] == {
        "supplier": offer["supplier_name"],
        "was": "5.200000",
        "now": "6.500000",
        "unit": "USD/kg",
        "percent": "25.00",
    }
    # The bench, which sees no price, hears of none.
    bench, path = member(coop, "North Bench", "bench"), f"alerts/{alert['id']}"
    assert alert["id"] not in {one["id"] for one in bench.listed("alerts")}
    bench.get(path).refused(404, "not_found")
    bench.post(f"{path}/acknowledgement", {}).refused(404, "not_found")
    seen = member(coop, "North Bench", "read-only").get(path).made()
    assert seen["price"] == alert["price"]


def test_what_a_maker_makes_is_not_opened(north: Client) -> None:
    lines = [{"material": north.material("Base of a bulk"), "percent": "100"}]
    formula = {"name": "Bulk for sale", "phases": [{"name": "A", "lines": lines}]}
    made = north.post("formulas", formula).made()["material"]
    facts = {"supplier": north.supplier(), "material": made, "pack": "1 kg", "price": "5"}
    day = {"valid_from": "2025-01-01"}
    north.post("offers", {**facts, **day, "open": True}).refused(422, "invalid", "/material")
    assert not north.post("offers", {**facts, **day}).made()["open"]
