"""What five makers order together of three suppliers."""

import time
from decimal import Decimal
from typing import Any

from tests.api.client import Client

LATER = "2199-01-01T12:00:00Z"
# All that the API tells about a round.
PATHS = ("", "/result", "/pledges", "/hand-out", "/late-bills")
BENCHES = ("North Bench", "Mill Bench", "Quay Bench", "Hill Bench", "Lane Bench")
# In quantities of which each is known by its digits wherever it stands.
PLEDGES: dict[str, list[dict[str, Any]]] = {
    "North Bench": [
        {"material": "Glycerin", "quantity": "40.017 kg"},
        {"material": "Cera Alba", "quantity": "6.053 kg"},
        {"material": "Jar", "quantity": "203 each"},
    ],
    "Mill Bench": [
        {"material": "Glycerin", "quantity": "30.029 kg", "takes_leftover": True},
        {"material": "Squalane", "quantity": "2.531 kg"},
    ],
    "Quay Bench": [
        {"material": "Cera Alba", "quantity": "12.041 kg"},
        {"material": "Squalane", "quantity": "1.013 kg"},
        {"material": "Jar", "quantity": "127 each"},
    ],
    "Hill Bench": [
        {"material": "Glycerin", "quantity": "11 lb"},
        {"material": "Jar", "quantity": "109 each"},
    ],
    # Nobody sells beeswax at this price.
    "Lane Bench": [
        {"material": "Squalane", "quantity": "1.247 kg", "highest_price": "45"},
        {"material": "Cera Alba", "quantity": "0.503 kg", "highest_price": "3.21"},
    ],
}


def offered(coordinator: Client) -> dict[str, str]:
    """Three materials and a jar, which three suppliers offer to all."""
    made = {name: coordinator.material(name) for name in ("Glycerin", "Cera Alba", "Squalane")}
    made["Jar"] = coordinator.material("Jar", measured_by="count", mass_each="120 g")
    far, near, glass = (coordinator.supplier() for _ in range(3))
    since = {"valid_from": "2025-01-01", "open": True}
    for supplier, material, pack, price, breaks in (
        (far, "Glycerin", "25 kg", "92.50", [("100 kg", "81.25")]),
        (near, "Glycerin", "5 kg", "24.00", []),
        (far, "Cera Alba", "10 kg", "118.00", [("20 kg", "104.00")]),
        (near, "Cera Alba", "1 kg", "14.90", []),
        (near, "Squalane", "1 kg", "33.00", [("5 kg", "29.50")]),
        (glass, "Jar", "144 each", "95.04", [("432 each", "79.20")]),
    ):
        steps = [{"at_least": least, "price": each} for least, each in breaks]
        offer = {"supplier": supplier, "material": made[material], "pack": pack, "price": price}
        coordinator.post("offers", {**offer, **since, "breaks": steps}).made()
    for supplier, freight in (
        (far, {"freight_kind": "flat", "freight": "38.00", "free_from": "500.00"}),
        (near, {"freight_kind": "flat", "freight": "9.50", "free_from": "250.00"}),
        (glass, {"freight_kind": "mass", "freight": "0.40"}),
    ):
        coordinator.post(f"suppliers/{supplier}/terms", {**since, **freight}).made()
    return made


def reckoned(client: Client, round: str) -> dict[str, Any]:
    """What came of it, as soon as the worker has reckoned."""
    end = time.monotonic() + 90
    while time.monotonic() < end:
        found: dict[str, Any] = client.get(f"order-rounds/{round}/result").made()
        if found["reckoned_at"]:
            return found
        time.sleep(0.3)
    raise AssertionError("the worker has not reckoned the round")


def many(quantity: dict[str, str]) -> str:
    """A quantity as it is typed."""
    return f"{quantity['grams']} g" if "grams" in quantity else f"{quantity['count']} each"


def came(
    buyer: Client, order: dict[str, Any], written: dict[str, Any], short: dict[str, tuple[str, str]]
) -> dict[str, str]:
    """A delivery of an order of a round, as ordered but for what came short, at its price; the lots
    by the names of their materials."""
    lines = []
    for line, ordered in zip(written["lines"], order["lines"], strict=True):
        name = ordered["material_name"]
        quantity, price = short.get(name, (many(ordered["quantity"]), line["price"]))
        lines.append(
            {
                "material": line["material"],
                "order_line": line["id"],
                "supplier_lot": f"S-{name}",
                "quantity": quantity,
                "price": price,
                "expires_on": "2199-01-01",
            }
        )
    freight = {"kind": "freight", "amount": order["freight"], "spread_by": "mass"}
    body = {
        "supplier": order["supplier"]["id"],
        "order": written["id"],
        "lines": lines,
        "charges": [freight] if Decimal(order["freight"]) else [],
        "release": {"basis": "came released"},
    }
    receipt = buyer.post("receipts", body).made()
    names = [ordered["material_name"] for ordered in order["lines"]]
    return {name: line["lot"]["id"] for name, line in zip(names, receipt["lines"], strict=True)}
