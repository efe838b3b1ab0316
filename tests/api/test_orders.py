"""Orders from suppliers: what is written counts as on order, and every change is a dated fact."""

import time
from typing import Any

from tests.api.client import Client
from tests.api.people import member


def ordered(north: Client, *lines: dict[str, Any], **facts: Any) -> dict[str, Any]:
    """An order to a supplier of its own."""
    body = {"supplier": north.supplier(), "happened_at": "2025-04-22T08:00:00Z", "lines": lines}
    return dict(north.post("orders", {**body, **facts}).made())


def kinds(order: dict[str, Any]) -> list[str]:
    return [fact["kind"] for fact in order["facts"]]


def test_packs_are_typed_as_they_are_sold(north: Client) -> None:
    """2 x 4 US gal at 1.26 g/mL are 2 x 19,078.475391 g; the price is of both."""
    glycerin = north.material("Glycerin by the drum", density="1.26 g/mL")
    jar = north.material("Jar by the case", measured_by="count")
    drums = {"material": glycerin, "packs": 2, "pack": "4 gal", "price": "372.00"}
    cases = {"material": jar, "packs": 3, "pack": "24 each", "price": "43.20"}
    order = ordered(north, {**drums, "expected_on": "2025-05-06"}, cases, note="ring first")
    assert order["number"].partition("-P")[2].isdigit()
    assert len(order["number"]) < 12
    assert (order["state"], order["total"], order["note"]) == ("open", "415.20", "ring first")
    first, second = order["lines"]
    assert (first["packs"], first["pack"], first["unit"]) == (2, "4 gal", "g")
    assert first["ordered"] == first["open"] == "38156.950782"
    assert (first["received"], first["over"], first["late"]) == ("0.000000", "0", True)
    assert (second["open"], second["unit"], second["late"]) == ("72", "each", False)
    assert kinds(order) == ["written"]
    assert north.get(f"orders/{order['id']}").made() == order
    assert north.stock(glycerin)["on_order"] == "38156.950782"
    row = north.stock(jar)
    assert (row["on_order"], row["position"], row["on_hand"]) == ("72", "72", "0")


def test_a_correction_stands_beside_what_was_written(north: Client) -> None:
    clay = north.material("Kaolin on order")
    order = ordered(north, {"material": clay, "packs": 4, "pack": "5 kg", "price": "48.00"})
    (line,) = order["lines"]
    path = f"orders/{order['id']}"
    change = {"order_line": line["id"], "packs": 3, "price": "36.00", "reason": "three are left"}
    told = north.post(f"{path}/corrections", change).made()
    assert (told["lines"][0]["ordered"], told["total"]) == ("15000.000000", "36.00")
    assert north.stock(clay)["on_order"] == "15000.000000"
    fact = told["facts"][1]
    assert (fact["kind"], fact["packs"], fact["pack"]) == ("corrected", 3, "5 kg")
    assert (fact["quantity"], fact["price"], fact["reason"]) == (
        "15000.000000",
        "36.00",
        "three are left",
    )
    # Another pack; the number of packs and the day stay as they were last said to be.
    change = {"order_line": line["id"], "pack": "4 kg", "price": "30.00", "reason": "smaller"}
    day = {"order_line": line["id"], "expected_on": "2025-05-20", "reason": "told on the phone"}
    north.post(f"{path}/corrections", change).made()
    told = north.post(f"{path}/corrections", day).made()
    (line,) = told["lines"]
    assert (line["packs"], line["pack"], line["ordered"]) == (3, "4 kg", "12000.000000")
    assert (line["expected_on"], line["price"], line["late"]) == ("2025-05-20", "30.00", True)
    no_day = {"order_line": line["id"], "expected_on": None, "reason": "nobody knows"}
    told = north.post(f"{path}/corrections", no_day).made()
    assert (told["lines"][0]["expected_on"], told["late"]) == (None, False)


def test_nothing_more_is_expected(north: Client) -> None:
    clay, chalk = north.material("Bentonite on order"), north.material("Chalk on order")
    lines = [{"material": one, "pack": "1 kg", "price": "5.00"} for one in (clay, chalk)]
    order = ordered(north, *lines)
    path, first = f"orders/{order['id']}", order["lines"][0]["id"]
    ended = {"order_line": first, "reason": "out of it"}
    told = north.post(f"{path}/endings", ended).made()
    assert [line["ended"] for line in told["lines"]] == [True, False]
    assert (north.stock(clay)["on_order"], told["state"]) == ("0", "open")
    north.post(f"{path}/endings", ended).refused(409, "conflict")
    told = north.post(f"{path}/endings", {"reason": "the shop has closed"}).made()
    assert (told["state"], north.stock(chalk)["on_order"]) == ("closed", "0")
    # A fact after it opens the line again.
    again = {"order_line": first, "packs": 1, "price": "5.00", "reason": "it comes after all"}
    told = north.post(f"{path}/corrections", again).made()
    assert (told["state"], north.stock(clay)["on_order"]) == ("open", "1000.000000")
    assert kinds(told) == ["written", "ended", "ended", "corrected"]


def test_the_list_is_asked_by_what_is_to_come(north: Client) -> None:
    clay = north.material("Clay of the list")
    line = {"material": clay, "pack": "1 kg", "price": "5.00"}
    late = ordered(north, {**line, "expected_on": "2025-05-01"})
    soon = ordered(north, {**line, "expected_on": "2999-01-01"})
    done = ordered(north, {**line, "expected_on": "2025-05-01"})
    north.post(f"orders/{done['id']}/endings", {"reason": "not needed"}).made()

    def listed(**query: str) -> list[str]:
        return [one["id"] for one in north.listed("orders", material=clay, **query)]

    assert listed() == [done["id"], soon["id"], late["id"]]
    assert listed(state="open") == [soon["id"], late["id"]]
    assert listed(state="late") == [late["id"]]
    assert listed(state="closed") == [done["id"]]
    assert listed(supplier=soon["supplier"]) == [soon["id"]]


def test_an_alert_closes_when_an_order_is_written(north: Client) -> None:
    """Low is judged by the position, which counts what is on order."""
    clay = north.material("Clay that runs low")
    north.receive(clay, "2 kg", "9.00")
    north.change("PUT", f"watches/{clay}", {"reorder_point": "5 kg"}).made()
    _until(north, clay, "open")
    order = ordered(north, {"material": clay, "pack": "10 kg", "price": "40.00"})
    assert north.stock(clay)["position"] == "12000.000000"
    assert not north.stock(clay)["low"]
    _until(north, clay, "closed")
    north.post(f"orders/{order['id']}/endings", {"reason": "the shop has closed"}).made()
    _until(north, clay, "open")


def _until(north: Client, material: str, state: str) -> None:
    """Wait for the worker."""
    end = time.monotonic() + 90
    while time.monotonic() < end:
        mine = [one for one in north.listed("alerts") if one["material"] == material]
        if mine and mine[0]["state"] == state:
            return
        time.sleep(0.2)
    raise AssertionError(f"no alert became {state}")


def test_what_an_order_may_not_say(north: Client) -> None:
    clay = north.material("Clay that is refused")
    water = north.material("Water of an order", stocked=False)
    oil = north.material("Oil without density")
    line = {"material": clay, "pack": "1 kg", "price": "5.00"}
    body = {"supplier": north.supplier(), "happened_at": "2025-04-22T08:00:00Z"}

    def refused(code: str, pointer: str, *, status: int = 422, **change: Any) -> None:
        lines = [line, {**line, **change}]
        north.post("orders", {**body, "lines": lines}).refused(status, code, pointer)

    refused("money_too_fine", "/lines/1/price", price="5.005")
    refused("invalid", "/lines/1/material", material=water)
    refused("density_missing", "/lines/1/pack", material=oil, pack="1 gal")
    refused("unit_ambiguous", "/lines/1/pack", pack="8 oz")
    refused("invalid", "/lines/1/expected_on", expected_on="2025-04-21")
    refused("out_of_range", "/lines/1/price", price="-1")
    assert north.stock(clay)["on_order"] == "0"
    order = north.post("orders", {**body, "lines": [line]}).made()
    path, (kept,) = f"orders/{order['id']}", order["lines"]
    change = {"order_line": kept["id"], "reason": "a slip"}
    north.post(f"{path}/corrections", change).refused(422, "invalid")
    north.post(f"{path}/corrections", {**change, "packs": 2}).refused(422, "invalid", "/price")
    early = {"reason": "a slip", "happened_at": "2025-04-21T08:00:00Z"}
    north.post(f"{path}/endings", early).refused(422, "invalid", "/happened_at")
    late = {**body, "lines": [line], "happened_at": "2100-01-01T00:00:00Z"}
    north.post("orders", late).refused(422, "invalid", "/happened_at")
    other = ordered(north, line)["lines"][0]["id"]
    stray = {"order_line": other, "reason": "a slip"}
    north.post(f"{path}/endings", stray).refused(422, "not_found", "/order_line")


def test_prices_are_for_who_may_see_them(north: Client, coop: Any) -> None:
    clay = north.material("Clay of the bench")
    order = ordered(north, {"material": clay, "pack": "1 kg", "price": "5.00"})
    bench = member(coop, "North Bench", "bench")
    seen = bench.get(f"orders/{order['id']}").made()
    assert (seen["total"], seen["lines"][0]["price"]) == (None, None)
    assert seen["lines"][0]["open"] == "1000.000000"
