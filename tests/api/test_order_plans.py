"""What to order, through HTTP: the cheapest packs, what else they cost, and why there are none."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal as D
from typing import Any

from tests.api.client import Client, Coop
from tests.api.people import member

LONG_AGO = "2025-01-01"
BREAKS = [
    {"at_least": "25 kg", "price": "4.60"},
    {"at_least": "50 kg", "price": "4.10"},
    {"at_least": "75 kg", "price": "3.80"},
]


def priced(maker: Client, supplier: str, material: str, pack: str, price: str, **facts: Any) -> str:
    body = {"supplier": supplier, "material": material, "pack": pack, "price": price}
    return str(maker.post("offers", {**body, "valid_from": LONG_AGO, **facts}).made()["id"])


def delivering(maker: Client, **terms: Any) -> str:
    """A supplier with these terms."""
    supplier = maker.supplier()
    freight = {"freight_kind": "none", "valid_from": LONG_AGO, **terms}
    maker.post(f"suppliers/{supplier}/terms", freight).made()
    return str(supplier)


def need(material: str, quantity: str, **facts: str) -> dict[str, str]:
    return {"material": material, "quantity": quantity, **facts}


def test_twelve_kilograms_more_for_two_twenty(north: Client) -> None:
    """38 kg at 4.60 with 28 of freight are 202.80, 44 kg without it 202.40, 50 kg at 4.10 205.00;
    75 kg are 285.00, and of what is used in nine months that is 5.28 a kilogram."""
    mill = delivering(north, freight_kind="flat", freight="28", free_from="200")
    clay = north.material("Kaolin that is bought by breaks")
    priced(north, mill, clay, "1 kg", "5.20", breaks=BREAKS, shelf_life_days=274)
    wanted = [need(clay, "38 kg", use_per_month="6 kg")]
    found = north.post("order-plans", {"needs": wanted}).made()
    assert (found["cost"], found["bound"], found["proven"]) == ("202.40", "202.40", True)
    assert (found["line_by_line"], found["saving"], found["apart"]) == ("202.80", "0.40", "202.40")
    assert found["working"] == "202.40 + 0.00 = 202.40"
    [order] = found["orders"]
    [line] = order["lines"]
    assert (line["packs"], line["quantity"], line["price"]) == (44, "44000", "4.60")
    [told] = found["advice"]
    best = told["best"]
    assert (best["quantity"], best["cost"], best["months"]) == ("50000", "205.00", "8.33")
    assert (best["more"], best["extra"], best["per_usable"]) == ("12000", "2.20", "4.10")
    assert told["text"] == "12 kg more for 2.20"
    assert (best["more_than_planned"], best["extra_than_planned"]) == ("6000", "2.60")
    assert told["instead"] == (
        "50 kg for 205.00 instead of 44 kg for 202.40: 6 kg more than planned for 2.60 more"
    )
    fewest = told["steps"][0]
    assert (fewest["quantity"], fewest["more_than_planned"]) == ("38000", "-6000")
    assert fewest["extra_than_planned"] == "0.40"
    [wasteful] = [step for step in told["steps"] if step["expiring"] != "0"]
    assert (wasteful["cost"], wasteful["per_usable"]) == ("285.00", "5.28")


def test_several_suppliers_with_freight_and_least_amounts(north: Client) -> None:
    """Each material is a little cheaper elsewhere, and one order saves a freight.

    Apart: the oil 2 x 20 + 9 = 49 at the press, the wax 30 + 9 = 39 at the hive. Together at the
    press: 40 + 33 + 9 = 82.
    """
    press = delivering(north, freight_kind="flat", freight="9", minimum="35")
    hive = delivering(north, freight_kind="flat", freight="9")
    oil, wax = north.material("Jojoba oil to order"), north.material("Beeswax to order")
    priced(north, press, oil, "5 kg", "20")
    priced(north, press, wax, "1 kg", "33")
    priced(north, hive, wax, "1 kg", "30")
    wanted = [need(oil, "7 kg"), need(wax, "900 g")]
    found = north.post("order-plans", {"needs": wanted}).made()
    assert (found["cost"], found["apart"], found["line_by_line"]) == ("82.00", "88.00", "88.00")
    assert [order["supplier"] for order in found["orders"]] == [press]
    without = north.post("order-plans", {"needs": wanted, "without": [hive]}).made()
    assert without["cost"] == "82.00"
    body = {"needs": wanted, "budget": "81.99"}
    error = north.post("order-plans", body).refused(409, "budget_too_small")
    assert error["least"] == "82.00"
    body = {"needs": wanted, "without": [press]}
    error = north.post("order-plans", body).refused(409, "nothing_covers")
    assert (error["reason"], error["materials"]) == ("left_out", [oil])
    assert "Jojoba oil to order" in error["detail"]


def test_freight_by_mass_counts_the_mass_of_what_is_counted(north: Client) -> None:
    """40 jars of 85 g are 3.4 kg: at 0.55 a kilogram that is 1.87."""
    kiln = delivering(north, freight_kind="mass", freight="0.55")
    jar = north.material("Jar with a mass", measured_by="count", mass_each="85 g")
    bare = north.material("Jar without a mass", measured_by="count")
    for one in (jar, bare):
        priced(north, kiln, one, "20 each", "6.40")
    found = north.post("order-plans", {"needs": [need(jar, "21 each")]}).made()
    [order] = found["orders"]
    assert (order["goods"], order["freight"], order["cost"]) == ("12.80", "1.87", "14.67")
    wanted = {"needs": [need(bare, "21 each")]}
    north.post("order-plans", wanted).refused(422, "mass_missing")


def used_for_weeks(maker: Client, material: str, *, grams: int, weeks: int) -> None:
    """So much issued in each of the last weeks, and nothing left in store."""
    noon = datetime.now(UTC).replace(hour=12, minute=0, second=0, microsecond=0)
    days = [noon - timedelta(days=1 + 7 * week) for week in range(weeks)]
    came = (days[-1] - timedelta(days=1)).isoformat()
    lot = maker.receive(material, f"{grams * weeks} g", "50.00", happened_at=came)
    for day in days:
        line = {"lot": lot, "quantity": f"{grams} g"}
        body = {"purpose": "sample", "reason": "for a shop", "happened_at": day.isoformat()}
        maker.post("issues", {**body, "lines": [line]}).made()


def test_nothing_that_would_expire_is_bought_unasked(north: Client) -> None:
    """100 g a week are 434.8 g a month: of a pack of 5 kg that keeps a month most would expire."""
    supplier = delivering(north)
    powder = north.material("Vitamin powder that keeps a month")
    used_for_weeks(north, powder, grams=100, weeks=8)
    priced(north, supplier, powder, "5 kg", "50", shelf_life_days=31)
    priced(north, supplier, powder, "200 g", "9", shelf_life_days=31)
    found = north.post("order-plans", {"needs": [need(powder, "300 g")]}).made()
    [used] = found["needs"]
    # Eight issues in the fifty days since the first: 800 / 50 x 30.4375.
    assert used["use_per_month"] == "487"
    assert found["cost"] == "18.00"
    body = {"needs": [need(powder, "700 g")], "allow_expiring": True}
    assert north.post("order-plans", body).made()["cost"] == "36.00"
    strict = {"needs": [need(powder, "700 g", use_per_month="400 g")]}
    error = north.post("order-plans", strict).refused(409, "nothing_covers")
    assert error["reason"] == "would_expire"
    assert "allow_expiring" in error["detail"]


def test_what_is_needed_by_a_day_comes_by_then(north: Client) -> None:
    """The cheaper clay comes in ten days, the dearer in three."""
    clay = north.material("Clay that is needed by a day")
    slow, quick = delivering(north), delivering(north)
    priced(north, slow, clay, "1 kg", "4", lead_time_days=10)
    priced(north, quick, clay, "1 kg", "6", lead_time_days=3)

    def by(days: int) -> Any:
        day = (datetime.now(UTC).date() + timedelta(days=days)).isoformat()
        return north.post("order-plans", {"needs": [need(clay, "2 kg", by=day)]})

    assert [order["supplier"] for order in by(10).made()["orders"]] == [slow]
    assert [order["supplier"] for order in by(9).made()["orders"]] == [quick]
    error = by(2).refused(409, "nothing_covers")
    assert (error["reason"], error["materials"]) == ("too_late", [clay])


def test_refusals(north: Client, coop: Coop) -> None:
    supplier = delivering(north)
    clay = north.material("Clay of refusals")
    north.post("order-plans", {}).refused(422, "invalid")
    both = {"needs": [need(clay, "1 kg")], "until": "2030-01-01"}
    north.post("order-plans", both).refused(422, "invalid")
    bare = {"needs": [need(clay, "1 kg")]}
    error = north.post("order-plans", bare).refused(409, "nothing_covers")
    assert error["reason"] == "not_offered"
    priced(north, supplier, clay, "1 kg", "4")
    twice = {"needs": [need(clay, "1 kg"), need(clay, "2 kg")]}
    north.post("order-plans", twice).refused(422, "invalid", "/needs/1/material")
    wrong = {"needs": [need(clay, "3 oz")]}
    north.post("order-plans", wrong).refused(422, "unit_ambiguous", "/needs/0/quantity")
    nobody = {"needs": [need(clay, "1 kg")], "without": [clay]}
    north.post("order-plans", nobody).refused(422, "not_found", "/without/0")
    before = {"needs": [need(clay, "1 kg")], "day": "2024-12-31"}
    error = north.post("order-plans", before).refused(409, "nothing_covers")
    assert error["reason"] == "not_offered"
    bench = member(coop, "North Bench", "bench")
    bench.post("order-plans", bare).refused(403, "forbidden")


def test_another_makers_offers_are_not_seen(north: Client, mill: Client) -> None:
    clay = north.material("Clay of two makers")
    priced(north, delivering(north), clay, "1 kg", "4")
    wanted = {"needs": [need(clay, "1 kg")]}
    assert D(north.post("order-plans", wanted).made()["cost"]) == 4
    mill.post("order-plans", wanted).refused(409, "nothing_covers")
