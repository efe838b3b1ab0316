"""Deliveries against orders: short, over, wrong, at another price, and undone."""

from decimal import Decimal
from typing import Any

from tests.api.client import Client, Coop
from tests.api.people import member
from tests.api.test_orders import kinds, ordered

WEDNESDAY = "2025-05-07T09:00:00Z"


def came(order: dict[str, Any] | None, supplier: str, *lines: dict[str, Any]) -> dict[str, Any]:
    """A delivery as it is sent."""
    sent = [{"supplier_lot": f"S-{place}", **line} for place, line in enumerate(lines)]
    body = {"supplier": supplier, "happened_at": WEDNESDAY, "lines": sent}
    return body if order is None else {**body, "order": order["id"]}


def one_line(north: Client, name: str, kilograms: int, price: str) -> tuple[str, dict[str, Any]]:
    """A material and an order of so many kilograms of it."""
    material = north.material(name)
    return material, ordered(
        north, {"material": material, "packs": kilograms, "pack": "1 kg", "price": price}
    )


def of(line: dict[str, Any], quantity: str, price: str) -> dict[str, Any]:
    """So much for a line of an order."""
    return {
        "material": line["material"],
        "order_line": line["id"],
        "quantity": quantity,
        "price": price,
    }


def test_short_then_the_rest_and_more(north: Client) -> None:
    """20 kg at 100.00: 8 kg come for 44.00 (40.00 agreed), then 13 kg for 61.75 (65.00 agreed)."""
    oil, order = one_line(north, "Oil that comes in parts", 20, "100.00")
    (line,) = order["lines"]
    first = north.post("receipts", came(order, order["supplier"], of(line, "8 kg", "44.00"))).made()
    assert first["order"] == order["id"]
    assert first["lines"][0]["against"] == {
        "order": order["id"],
        "number": order["number"],
        "order_line": line["id"],
        "ordered": "20000.000000",
        "received": "8000.000000",
        "open": "12000.000000",
        "over": "0",
        "price_variance": {"amount": "4.000000", "direction": "adverse"},
    }
    stock = north.stock(oil)
    assert (stock["on_hand"], stock["on_order"]) == ("8000.000000", "12000.000000")
    assert stock["position"] == "12000.000000", "what is in quarantine may not be used"
    second = came(None, order["supplier"], of(line, "13 kg", "61.75"))
    rest = north.post("receipts", second).made()
    against = rest["lines"][0]["against"]
    assert (against["open"], against["over"]) == ("0.000000", "1000.000000")
    assert against["price_variance"] == {"amount": "-3.250000", "direction": "favourable"}
    assert north.stock(oil)["on_order"] == "0"
    told = north.get(f"orders/{order['id']}").made()
    assert (told["state"], kinds(told)) == ("closed", ["written", "received", "received"])
    (line,) = told["lines"]
    assert (line["received"], line["over"]) == ("21000.000000", "1000.000000")
    assert line["price_variance"] == {"amount": "0.750000", "direction": "adverse"}
    assert [one["receipt"] for one in line["arrivals"]] == [first["id"], rest["id"]]
    kept = north.get(f"receipts/{first['id']}").made()
    assert kept["lines"][0]["against"]["received"] == "21000.000000", "as it stands now"


def test_a_delivery_that_is_undone_is_to_come_again(north: Client) -> None:
    oil, order = one_line(north, "Oil that is typed twice", 5, "25.00")
    (line,) = order["lines"]
    body = came(order, order["supplier"], of(line, "5 kg", "25.00"))
    receipt = north.post("receipts", body).made()
    assert north.stock(oil)["on_order"] == "0"
    undo = {"reason": "it was another's"}
    north.post(f"entries/{receipt['entry']}/reversal", undo).made()
    stock = north.stock(oil)
    assert (stock["on_order"], stock["on_hand"]) == ("5000.000000", "0")
    told = north.get(f"orders/{order['id']}").made()
    assert (told["state"], told["lines"][0]["arrivals"]) == ("open", [])


def test_two_lots_may_come_for_one_line(north: Client) -> None:
    _, order = one_line(north, "Oil of two lots", 6, "30.00")
    (line,) = order["lines"]
    parts = [of(line, "2 kg", "10.00"), of(line, "3 kg", "15.00")]
    receipt = north.post("receipts", came(order, order["supplier"], *parts)).made()
    stands = [one["against"]["open"] for one in receipt["lines"]]
    assert stands == ["1000.000000", "1000.000000"], "as it stands once all has come"


def test_what_is_wrong_is_refused_or_received_as_not_ordered(north: Client) -> None:
    oil, order = one_line(north, "Oil that was asked for", 5, "25.00")
    other, second = one_line(north, "Oil that came instead", 5, "25.00")
    (line,), (strange,) = order["lines"], second["lines"]
    wrong = {**of(line, "5 kg", "25.00"), "material": other}
    error = north.post("receipts", came(order, order["supplier"], wrong)).refused(
        422, "not_as_ordered", "/lines/0/order_line"
    )
    assert "leave order_line out" in error["detail"]
    body = came(order, second["supplier"], of(line, "5 kg", "25.00"))
    north.post("receipts", body).refused(422, "not_as_ordered", "/order")
    body = came(None, second["supplier"], of(line, "5 kg", "25.00"))
    north.post("receipts", body).refused(422, "not_as_ordered", "/lines/0/order_line")
    body = came(order, order["supplier"], of(strange, "5 kg", "25.00"))
    north.post("receipts", body).refused(422, "not_as_ordered", "/lines/0/order_line")
    assert north.stock(oil)["on_order"] == "5000.000000"
    # It lies in the yard: received as not ordered, and told with the order.
    plain = {"material": other, "quantity": "5 kg", "price": "25.00"}
    receipt = north.post("receipts", came(order, order["supplier"], plain)).made()
    assert receipt["lines"][0]["against"] is None
    told = north.get(f"orders/{order['id']}").made()
    (beside,) = told["not_ordered"]
    assert (beside["material"], beside["quantity"]) == (other, "5000.000000")
    assert told["lines"][0]["open"] == "5000.000000"


def test_what_comes_after_the_end_is_received_all_the_same(north: Client) -> None:
    oil, order = one_line(north, "Oil that was given up", 5, "25.00")
    (line,) = order["lines"]
    north.post(f"orders/{order['id']}/endings", {"reason": "the supplier is out of it"}).made()
    body = came(order, order["supplier"], of(line, "2 kg", "10.00"))
    against = north.post("receipts", body).made()["lines"][0]["against"]
    assert (against["received"], against["open"]) == ("2000.000000", "0.000000")
    assert north.stock(oil)["on_order"] == "0"


def test_a_price_that_was_corrected_is_what_it_is_judged_by(north: Client) -> None:
    _, order = one_line(north, "Oil at a new price", 10, "50.00")
    (line,) = order["lines"]
    dearer = {"order_line": line["id"], "price": "55.00", "reason": "told before it was sent"}
    north.post(f"orders/{order['id']}/corrections", dearer).made()
    body = came(order, order["supplier"], of(line, "10 kg", "55.00"))
    against = north.post("receipts", body).made()["lines"][0]["against"]
    assert against["price_variance"] == {"amount": "0.000000", "direction": "none"}


def test_the_bench_receives_and_is_told_no_price(north: Client, coop: Coop) -> None:
    _, order = one_line(north, "Oil for the bench", 4, "20.00")
    (line,) = order["lines"]
    bench = member(coop, "North Bench", "bench")
    body = came(order, order["supplier"], of(line, "4 kg", "24.00"))
    against = bench.post("receipts", body).made()["lines"][0]["against"]
    assert (against["open"], against["price_variance"]) == ("0.000000", None)
    assert Decimal(north.get(f"orders/{order['id']}").json["lines"][0]["price_variance"]["amount"])


def test_another_maker_s_order_is_not_there(north: Client, mill: Client) -> None:
    oil, order = one_line(north, "Oil of the other", 4, "20.00")
    (line,) = order["lines"]
    body = came(None, order["supplier"], of(line, "4 kg", "24.00"))
    mill.post("receipts", body).refused(422, "not_found", "/lines/0/order_line")
    plain = {"material": oil, "quantity": "4 kg", "price": "24.00"}
    body = came(order, order["supplier"], plain)
    mill.post("receipts", body).refused(422, "not_found", "/order")
