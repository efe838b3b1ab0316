"""What planned batches need week by week, through intermediates, and orders made of it."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from tests.api.client import Client, open_coop
from tests.api.test_needs import used
from tests.api.test_order_plans import delivering, priced
from tests.running import Running


@pytest.fixture(scope="module")
def own(server: Running) -> Client:
    """A maker of its own, of which nothing else is low."""
    return open_coop(server, "Reed Bench")["Reed Bench"]


def day(after: int) -> str:
    """So many days from today: the co-op keeps UTC."""
    return (datetime.now(UTC).date() + timedelta(days=after)).isoformat()


def row_of(maker: Client, material: str, **query: str) -> Any:
    found = maker.get("requirements", **query).made()
    [row] = [one for one in found["materials"] if one["material"] == material]
    return row


def figures(row: Any, name: str) -> list[str]:
    return [week[name] for week in row["weeks"]]


def recipe(maker: Client, name: str, *lines: dict[str, str], loss: str = "0") -> Any:
    body = {
        "name": name,
        "process_loss_percent": loss,
        "phases": [{"name": "A", "lines": list(lines)}],
    }
    return maker.post("formulas", body).made()


def planned(maker: Client, formula: Any, batch: str, after: int) -> Any:
    body = {"formula": formula["id"], "batch": batch, "planned_for": day(after)}
    return maker.post("batches", body).made()


def test_through_an_intermediate(north: Client) -> None:
    """10 kg of balm with 30 percent of an infusion (loss 25 percent) of equal parts herb and oil.

    The infusion lacks 3 kg, which takes 4 kg of herb and oil: 2 kg each. With 7 kg of oil in the
    balm itself that is 9 kg, of which 1 kg is there.
    """
    herb, oil = north.material("Dried herb of the weeks"), north.material("Oil of the weeks")
    north.receive(oil, "1 kg", "8.00")
    half = ({"material": herb, "percent": "50"}, {"material": oil, "percent": "50"})
    infusion = recipe(north, "Infusion of the weeks", *half, loss="25")
    balm = recipe(
        north,
        "Balm of the weeks",
        {"formula": infusion["id"], "percent": "30"},
        {"material": oil, "percent": "70"},
    )
    planned(north, balm, "10 kg", 16)
    until = day(20)
    made = row_of(north, infusion["material"], until=until)
    assert (made["formula"], made["net"]) == (infusion["id"], "3000")
    assert figures(made, "gross") == figures(made, "release") == ["0", "0", "3000"]
    assert (row_of(north, herb, until=until)["net"], row_of(north, oil, until=until)["usable"]) == (
        "2000",
        "1000",
    )
    bought = row_of(north, oil, until=until)
    assert figures(bought, "gross") == ["0", "0", "9000"]
    assert figures(bought, "projected") == ["1000", "1000", "0"]
    assert figures(bought, "net") == ["0", "0", "8000"]
    assert bought["lead_time_days"] is None
    # A batch of the infusion is planned: it is to come, and what it takes is needed a week sooner.
    planned(north, infusion, "4 kg", 9)
    made = row_of(north, infusion["material"], until=until)
    assert figures(made, "scheduled") == ["0", "3000", "0"]
    assert made["net"] == "0"
    assert figures(row_of(north, oil, until=until), "gross") == ["0", "2000", "7000"]


def test_a_lead_time_brings_the_order_forward(north: Client) -> None:
    """Ten days are two weeks: what the third week needs is ordered in the first."""
    clay = north.material("Clay that comes late")
    mask = recipe(north, "Mask of late clay", {"material": clay, "percent": "100"})
    priced(north, delivering(north), clay, "1 kg", "4", lead_time_days=10)
    planned(north, mask, "2 kg", 15)
    planned(north, mask, "1 kg", 2)
    row = row_of(north, clay, until=day(20))
    assert row["lead_time_days"] == 10
    assert figures(row, "net") == ["1000", "0", "2000"]
    assert figures(row, "release") == ["3000", "0", "0"]
    assert figures(row, "late") == ["1000", "0", "0"]


def test_what_expires_before_and_what_is_quarantined_covers_nothing(north: Client) -> None:
    """900 g expire in four days, 500 g are not released, 1 kg keeps: of 3 kg in ten days, 2 kg are
    lacking."""
    oil = north.material("Oil that expires soon")
    north.receive(oil, "900 g", "9.00", expires_on=day(4))
    north.receive(oil, "1 kg", "9.00", expires_on=day(90))
    north.receive(oil, "500 g", "9.00", release=False)
    rub = recipe(north, "Rub of soon", {"material": oil, "percent": "100"})
    planned(north, rub, "3 kg", 10)
    row = row_of(north, oil, until=day(13))
    assert row["usable"] == "1900"
    assert figures(row, "expiring") == ["900", "0"]
    assert figures(row, "projected") == ["1000", "0"]
    assert figures(row, "net") == ["0", "2000"]


def test_what_is_on_order_covers_the_week_in_which_it_comes(north: Client) -> None:
    """2 kg are expected in ten days, 500 g without a day; 3 kg are needed now and 1 kg later."""
    clay = north.material("Clay that is on order")
    mask = recipe(north, "Mask of ordered clay", {"material": clay, "percent": "100"})
    packs = {"material": clay, "pack": "500 g", "price": "4.00"}
    lines = [{**packs, "packs": 4, "expected_on": day(10)}, packs]
    written = {"supplier": north.supplier(), "happened_at": "2025-04-22T08:00:00Z"}
    north.post("orders", {**written, "lines": lines}).made()
    planned(north, mask, "3 kg", 1)
    planned(north, mask, "1 kg", 15)
    row = row_of(north, clay, until=day(20))
    assert figures(row, "scheduled") == ["500", "2000", "0"]
    assert figures(row, "projected") == ["0", "2000", "1000"]
    assert figures(row, "net") == ["2500", "0", "0"]


def test_orders_of_what_planned_batches_lack(north: Client) -> None:
    """2.4 kg are lacking: three kilograms, or one pack of five for less."""
    clay = north.material("Clay of planned batches")
    north.receive(clay, "600 g", "3.00")
    mask = recipe(north, "Mask of planned batches", {"material": clay, "percent": "100"})
    supplier = delivering(north)
    priced(north, supplier, clay, "1 kg", "4")
    priced(north, supplier, clay, "5 kg", "11")
    planned(north, mask, "3 kg", 5)
    found = row_of(north, clay, until=day(6))
    assert found["net"] == "2400"
    others = [
        row["material"]
        for row in north.get("requirements", until=day(6)).made()["materials"]
        if row["net"] != "0" and row["formula"] is None and row["material"] != clay
    ]
    for other in others:
        priced(north, supplier, other, "100 kg", "1")
    plan = north.post("order-plans", {"until": day(6)}).made()
    [line] = [one for order in plan["orders"] for one in order["lines"] if one["material"] == clay]
    assert (line["packs"], line["pack"], line["amount"]) == (1, "5 kg", "11.00")


def test_what_is_low_is_ordered_above_its_point_without_any_batch(own: Client) -> None:
    """700 g a week since eight weeks. Of 3 kg that are left the point is 5 kg: 2 kg lift it to the
    point, and a week's use above it. Of what was never used a gram more than its point."""
    oil = used(own, "Oil that runs low", [700] * 8, "8.6 kg")
    wax = own.material("Wax that nobody used")
    own.receive(wax, "2 kg", "20.00")
    for material, point in ((oil, "5 kg"), (wax, "2 kg")):
        own.change("PUT", f"watches/{material}", {"reorder_point": point}).made()
    low = row_of(own, oil, until=day(20))
    assert (low["net"], low["safety"]) == ("0", "0")
    told = low["reorder"]
    assert (told["point"], told["position"]) == ("5000", "3000")
    # 5.6 kg in the fifty days since the first are 784 g in seven.
    assert (told["up_to"], told["quantity"], low["to_order"]) == ("5784", "2784", "2784")
    assert row_of(own, wax, until=day(20))["to_order"] == "1"
    # Nobody offers them, and no batch lacks them: that is told, and nothing is refused.
    plan = own.post("order-plans", {"until": day(20)}).made()
    assert {one["material"] for one in plan["not_offered"]} == {oil, wax}
    assert plan["orders"] == []
    supplier = delivering(own)
    priced(own, supplier, oil, "1 kg", "9")
    plan = own.post("order-plans", {"until": day(20), "only": [oil]}).made()
    [wanted] = plan["needs"]
    assert (wanted["quantity"], wanted["reorder_point"], wanted["order_up_to"]) == (
        "2784",
        "5000",
        "5784",
    )
    [[line]] = [order["lines"] for order in plan["orders"]]
    assert (line["packs"], plan["not_offered"]) == (3, [])
    # What a batch needs beside that counts, and what is ordered counts against it.
    rub = recipe(own, "Rub of what runs low", {"material": oil, "percent": "100"})
    planned(own, rub, "4 kg", 10)
    low = row_of(own, oil, until=day(20))
    assert (low["net"], low["reorder"]["position"], low["to_order"]) == ("1000", "-1000", "6784")
    packs = {"material": oil, "pack": "1 kg", "packs": 7, "price": "63.00"}
    own.post("orders", {"supplier": supplier, "lines": [packs]}).made()
    assert row_of(own, oil, until=day(20))["reorder"] is None


def test_a_safety_stock_is_kept_in_every_week(own: Client) -> None:
    """3 kg, of which 1 kg is to stay: of 2.4 kg in the second week 400 g are lacking."""
    clay = own.material("Clay of which some is kept")
    own.receive(clay, "3 kg", "20.00")
    watch = {"reorder_point": "1.5 kg", "safety_stock": "1 kg", "lead_days": 7}
    kept = own.change("PUT", f"watches/{clay}", watch).made()
    assert (kept["safety_stock"], kept["lead_days"]) == ("1000.000000", 7)
    mask = recipe(own, "Mask of kept clay", {"material": clay, "percent": "100"})
    planned(own, mask, "2.4 kg", 8)
    row = row_of(own, clay, until=day(13))
    assert (row["safety"], row["lead_time_days"]) == ("1000", 7)
    assert figures(row, "projected") == ["3000", "1000"]
    assert figures(row, "net") == ["0", "400"]
    assert figures(row, "release") == ["400", "0"]
    above = {"reorder_point": "1 kg", "safety_stock": "1001 g"}
    own.change("PUT", f"watches/{clay}", above).refused(422, "invalid", "/safety_stock")


def test_what_is_asked_must_lie_ahead(north: Client) -> None:
    north.get("requirements", until=day(-1)).refused(422, "invalid", "/until")
    north.get("requirements", until=day(400)).refused(422, "invalid", "/until")
    assert len(north.get("requirements").made()) == 3
