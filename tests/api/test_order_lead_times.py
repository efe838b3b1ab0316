"""How long orders really take, and what is on its way when weeks ahead are reckoned."""

import time
from typing import Any

from tests.api.client import Client
from tests.api.test_needs import days_ago
from tests.api.test_orders import ordered
from tests.api.test_requirements import day, figures, planned, recipe, row_of

ADVICE = {"service_level_percent": "95", "use": {"per_day": "1 kg"}}


def took(north: Client, material: str, days: int, *, release: bool = True) -> dict[str, Any]:
    """An order that came so many days later; the receipt."""
    order = ordered(
        north,
        {"material": material, "pack": "1 kg", "price": "5.00"},
        happened_at=days_ago(days + 3),
    )
    line = {
        "material": material,
        "order_line": order["lines"][0]["id"],
        "supplier_lot": "S-1",
        "quantity": "1 kg",
        "price": "5.00",
    }
    body = {"supplier": order["supplier"], "happened_at": days_ago(3), "lines": [line]}
    if release:
        body["release"] = {"basis": "certificate seen"}
    return dict(north.post("receipts", body).made())


def test_the_reorder_point_takes_the_lead_time_that_was_measured(north: Client) -> None:
    """7, 9 and 11 days: 9 in the mean, with a spread of 2. 1 kg a day: 9 + 1.6449 x 2 = 12.29."""
    clay = north.material("Clay that takes its time")
    for days in (7, 9):
        took(north, clay, days)
    error = north.post(f"materials/{clay}/reorder-point", ADVICE).refused(409, "conflict")
    assert "Say how many days it takes" in error["detail"]
    took(north, clay, 11)
    undone = took(north, clay, 40)
    north.post(f"entries/{undone['entry']}/reversal", {"reason": "typed twice"}).made()
    found = north.post(f"materials/{clay}/reorder-point", ADVICE).made()
    assert found["lead_time"] == {"days": "9", "spread_days": "2", "deliveries": 3}
    assert found["reorder_point"][:5] == "12289"
    said = {**ADVICE, "lead_time": {"days": "5"}}
    found = north.post(f"materials/{clay}/reorder-point", said).made()
    assert found["lead_time"] == {"days": "5", "spread_days": "0", "deliveries": None}


def test_a_short_batch_is_told_to_order_by_the_lead_time_that_was_measured(north: Client) -> None:
    """Stated as 30 days; after three deliveries it is the 9 that they took in the mean."""
    clay = north.material("Clay that runs short")
    north.change("PUT", f"watches/{clay}", {"reorder_point": "1 g", "lead_days": 30}).made()
    for days in (7, 9, 11):
        took(north, clay, days)
    mask = recipe(north, "Mask of clay that runs short", {"material": clay, "percent": "100"})
    wanted = {"formula": mask["id"], "batch": "10 kg", "planned_for": "2031-03-31"}
    batch = north.post("batches", wanted).made()["id"]
    end = time.monotonic() + 90
    found: list[Any] = []
    while not found and time.monotonic() < end:
        alerts = north.listed("alerts", kind="batch_short", state="open")
        found = [one["batch"] for one in alerts if one["batch"]["id"] == batch]
    ((short,),) = [one["short"] for one in found]
    assert (short["quantity"], short["order_by"]) == ("7000.000000", "2031-03-22")


def test_what_came_counts_from_when_it_may_be_used(north: Client) -> None:
    """It came after 6 days, and was released 3 days later."""
    clay = north.material("Clay in quarantine")
    receipt = took(north, clay, 6, release=False)

    def deliveries() -> list[dict[str, Any]]:
        return list(north.get(f"suppliers/{receipt['supplier']}/lead-times").made()["materials"])

    assert deliveries() == []
    lot = receipt["lines"][0]["lot"]["id"]
    released = {"decision": "release", "basis": "certificate came"}
    north.post(f"lots/{lot}/decisions", released).made()
    (found,) = deliveries()
    assert found["material"] == clay
    assert found["measured"]["mean_days"] == "9"


def test_what_is_late_may_come_today(north: Client) -> None:
    clay = north.material("Clay that is late")
    mask = recipe(north, "Mask of late clay on order", {"material": clay, "percent": "100"})
    planned(north, mask, "10 kg", 16)
    line = {"material": clay, "pack": "1 kg", "price": "3.00", "expected_on": "2025-05-01"}
    order = ordered(north, line)
    row = row_of(north, clay, until=day(20))
    assert (figures(row, "scheduled"), row["net"]) == (["1000", "0", "0"], "9000")
    north.post(f"orders/{order['id']}/endings", {"reason": "the shop has closed"}).made()
    assert row_of(north, clay, until=day(20))["net"] == "10000"
