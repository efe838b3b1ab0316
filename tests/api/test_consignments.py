"""Goods at a shop stay the maker's own: not in the store, never below zero, sold from there."""

from typing import Any

from tests.api.client import Client

ON = {"happened_at": "2025-05-03T09:00:00Z"}


def test_goods_at_a_shop(north: Client) -> None:
    soap = north.material("Bar in a box", measured_by="count")
    lot = north.receive(soap, "40 each", "60.00")

    def send(path: str, quantity: str, **facts: Any) -> Any:
        lines = [{"lot": lot, "quantity": quantity}]
        return north.post(path, {"lines": lines, "shop": "quay shop", **ON, **facts})

    send("consignments/sales", "1 each").refused(422, "not_found", "/shop")
    gone = send("consignments", "15 each").made()
    assert gone["value"] == "22.50"
    assert north.stock(soap)["on_hand"] == "25"
    rows = [row for row in north.listed("consignments") if row["lot"] == lot]
    assert [(row["shop"], row["quantity"], row["value"]) for row in rows] == [
        ("quay shop", "15", "22.50")
    ]
    sale = send("consignments/sales", "4 each").made()
    assert sale["value"] == "6.00"
    details = north.get(f"entries/{sale['entry']}").made()["details"]
    assert (details["customer"], details["shop"]) == ("quay shop", "quay shop")
    refused = send("consignments/sales", "12 each").refused(409, "not_enough", "/lines/0/quantity")
    assert refused["left"] == "11.000000"
    north.post(f"lots/{lot}/decisions", {"decision": "hold", "basis": "labels fade"}).made()
    send("consignments/sales", "1 each").refused(409, "lot_not_released")
    send("consignments", "1 each").refused(409, "lot_not_released")
    send("consignments/returns", "12 each", reason="over").refused(409, "not_enough")
    back = send("consignments/returns", "11 each", reason="labels fade").made()
    assert (back["value"], north.stock(soap)["on_hand"]) == ("16.50", "36")
    assert north.stock(soap)["value"] == "54.00"
    used = north.post(f"entries/{gone['entry']}/reversal", {"reason": "a slip"})
    used.refused(409, "used_since")
    balance = north.get(f"lots/{lot}/trace", direction="forward").made()["balance"]
    assert balance["places"] == [
        {"place": "in store", "quantity": "36"},
        {"place": "sold", "quantity": "4"},
    ]
