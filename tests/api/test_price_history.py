"""What was offered beside what it cost on the shelf, and how long suppliers really take."""

from datetime import UTC, datetime, timedelta
from typing import Any

from tests.api.client import Client, Coop
from tests.api.people import member

YEAR = {"from": "2025-01-01", "to": "2025-12-31"}


def ago(days: int) -> str:
    """The day so many days ago: the co-op keeps UTC."""
    return (datetime.now(UTC) - timedelta(days=days)).date().isoformat()


def received(maker: Client, supplier: str, day: str, **line: Any) -> dict[str, Any]:
    line = {"supplier_lot": "S", "quantity": "10 kg", "price": "50.00", **line}
    charges = [{"kind": "freight", "amount": "5.00", "spread_by": "value"}]
    body: dict[str, Any] = {"supplier": supplier, "lines": [line]}
    body |= {"happened_at": f"{day}T09:00:00Z"}
    body |= {"charges": charges, "release": {"basis": "certificate seen"}}
    return dict(maker.post("receipts", body).made())


def test_both_series_of_a_material(north: Client, mill: Client) -> None:
    material, supplier = north.material("Oil of two series"), north.supplier()
    pack = {"supplier": supplier, "material": material, "pack": "5 kg"}
    own = north.post("offers", {**pack, "price": "24.00", "valid_from": "2025-01-10"}).made()
    path = f"offers/{own['id']}"
    north.post(f"{path}/prices", {"valid_from": "2025-03-10", "price": "265"}).made()
    right = {"valid_from": "2025-03-10", "price": "26.50"}
    north.post(f"{path}/prices", right).made()
    north.post(f"{path}/end", {"valid_from": "2025-06-01"}).made()
    receipt = received(north, supplier, "2025-02-01", material=material)
    undone = received(north, supplier, "2025-02-02", material=material)
    north.post(f"entries/{undone['entry']}/reversal", {"reason": "counted twice"}).made()
    bill = {"kind": "freight", "amount": "10.00", "spread_by": "value"}
    north.post(f"receipts/{receipt['id']}/charges", bill).made()
    found = north.get(f"materials/{material}/price-history", **YEAR).made()
    offered = [(one["on"], one["price"], one["unit_price"]) for one in found["offered"]]
    assert offered == [
        ("2025-06-01", None, None),
        ("2025-03-10", "26.5", "5.300000"),
        ("2025-01-10", "24", "4.800000"),
    ]
    (landed,) = found["landed"]
    # 50.00 and freight of 5.00 and 10.00 on ten kilograms.
    assert (landed["on"], landed["goods"], landed["landed"]) == (
        "2025-02-01",
        "5.000000",
        "6.500000",
    )
    assert (landed["receipt"], landed["supplier"]) == (receipt["id"], supplier)
    assert (found["per"], found["more"]) == ("kg", False)
    within = {"from": "2025-02-01", "to": "2025-03-10"}
    fewer = north.get(f"materials/{material}/price-history", **within).made()
    assert (len(fewer["offered"]), len(fewer["landed"])) == (1, 1)
    others = mill.get(f"materials/{material}/price-history", **YEAR).made()
    assert (others["offered"], others["landed"]) == ([], [])
    turned = {"from": "2025-02-02", "to": "2025-02-01"}
    north.get(f"materials/{material}/price-history", **turned).refused(422, "invalid", "/to")


def test_the_coordinator_sees_what_is_opened_and_no_costs(coop: Coop, north: Client) -> None:
    material, supplier = north.material("Oil for all"), north.supplier()
    pack = {"supplier": supplier, "material": material, "pack": "5 kg", "price": "24.00"}
    north.post("offers", {**pack, "valid_from": "2025-01-10", "open": True}).made()
    received(north, supplier, "2025-02-01", material=material)
    path = f"materials/{material}/price-history"
    seen = member(coop, None, "coordinator").get(path, **YEAR).made()
    assert (len(seen["offered"]), seen["landed"]) == (1, [])
    member(coop, "North Bench", "bench").get(path, **YEAR).refused(403, "forbidden")


def test_lead_times_are_measured(north: Client, mill: Client) -> None:
    """Ordered three times, and here after 9, 7 and 11 days."""
    material, supplier = north.material("Oil that takes its time"), north.supplier()
    path = f"suppliers/{supplier}/lead-times"
    assert north.get(path).made()["measured"] is None
    pack = {"supplier": supplier, "material": material, "pack": "10 kg", "price": "50"}
    north.post("offers", {**pack, "valid_from": "2026-01-01", "lead_time_days": 4}).made()
    for ordered, came in ((90, 81), (60, 53), (30, 19)):
        line = {"material": material, "packs": 1, "pack": "10 kg", "price": "50.00"}
        order = {"supplier": supplier, "lines": [line], "happened_at": f"{ago(ordered)}T09:00:00Z"}
        (written,) = north.post("orders", order).made()["lines"]
        received(north, supplier, ago(came), material=material, order_line=written["id"])
    found = north.get(path).made()
    assert found["measured"] == {
        "deliveries": 3,
        "mean_days": "9",
        "spread_days": "2",
        "shortest_days": 7,
        "longest_days": 11,
    }
    assert [one["material"] for one in found["materials"]] == [material]
    assert mill.get(path).made()["measured"] is None
