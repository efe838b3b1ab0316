"""Five makers order together of three suppliers: pledges, one order, a fair split, no gossip."""

import json
import time
from typing import Any

from tests.api.client import Client, Coop
from tests.api.people import maker_id
from tests.stories.buying import BENCHES, LATER, PATHS, PLEDGES, came, reckoned


def cents(amount: str) -> int:
    whole, _, part = amount.partition(".")
    assert len(part) == 2, amount
    return int(whole + part)


def test_pledges_are_revised_and_withdrawn_and_nothing_is_rewritten(
    coop: Coop, coordinator: Client, goods: dict[str, str]
) -> None:
    north = coop["North Bench"]
    buyer = str(maker_id(coop, "North Bench"))
    body = {"name": "Scratch", "closes_at": LATER, "buyer": buyer}
    round = str(north.post("order-rounds", body).made()["id"])
    path, wax = f"order-rounds/{round}/pledges", goods["Cera Alba"]
    first = north.post(path, {"material": wax, "quantity": "5 lb", "highest_price": "12.5"}).made()
    assert first["quantity"] == {"entered": "5 lb", "grams": "2267.961850"}
    second = north.post(path, {"material": wax, "quantity": "3 kg"}).made()
    withdrawn = f"order-rounds/{round}/pledge-withdrawals"
    north.post(withdrawn, {"material": wax}).made()
    north.post(withdrawn, {"material": wax}).refused(422, "invalid", "/material")
    rows = north.listed(path)
    assert [row["id"] for row in rows[1:]] == [second["id"], first["id"]]
    assert [(row["counts"], row["withdrawn"]) for row in rows] == [
        (True, True),
        (False, False),
        (False, False),
    ]
    for bad, code, pointer in (
        ({"material": wax}, "invalid", "/quantity"),
        ({"material": wax, "quantity": "3 oz"}, "unit_ambiguous", "/quantity"),
        ({"material": wax, "quantity": "3 each"}, "unit_wrong", "/quantity"),
        ({"material": wax, "quantity": "1 kg", "highest_price": "0"}, "out_of_range", None),
    ):
        answer = north.post(path, bad)
        answer.refused(answer.status if answer.status == 400 else 422, code, pointer)
    # A closed round takes nothing more in, and is closed once.
    coop["Mill Bench"].post(f"order-rounds/{round}/closing", {}).refused(403, "forbidden")
    closed = north.post(f"order-rounds/{round}/closing", {}).made()
    assert (closed["state"], closed["pledged"]) == ("closed", [])
    north.post(path, {"material": wax, "quantity": "1 kg"}).refused(409, "conflict")
    north.post(f"order-rounds/{round}/closing", {}).refused(409, "conflict")
    found = reckoned(north, round)
    assert (found["shares"], found["orders"], found["fairness"]) == ([], [], None)
    assert found["how"] == ["Nothing is ordered: no pledge took part."]


def test_a_round_closes_by_the_clock(coop: Coop, goods: dict[str, str]) -> None:
    north = coop["North Bench"]
    soon = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(time.time() + 3))
    body = {"name": "Short", "closes_at": soon, "buyer": str(maker_id(coop, "North Bench"))}
    round = str(north.post("order-rounds", body).made()["id"])
    path = f"order-rounds/{round}/pledges"
    pledge = {"material": goods["Squalane"], "quantity": "2 kg"}
    north.post(path, pledge).made()
    found = reckoned(north, round)
    north.post(path, pledge).refused(409, "conflict")
    shown = north.get(f"order-rounds/{round}").made()
    assert (shown["state"], shown["time_zone"]) == ("reckoned", "UTC")
    assert shown["closed_at"] == shown["closes_at"]
    (share,) = found["shares"]
    assert (share["alone"], share["together"], share["saved"]) == ("75.50", "75.50", "0.00")
    late = {**body, "closes_at": "2025-01-01T00:00:00Z"}
    north.post("order-rounds", late).refused(422, "invalid", "/closes_at")
    other = {**body, "closes_at": LATER, "buyer": str(maker_id(coop, "Mill Bench"))}
    north.post("order-rounds", other).refused(422, "invalid", "/buyer")


def test_nobody_pays_more_than_alone_and_cents_are_exact(
    results: dict[str, dict[str, Any]],
) -> None:
    found = results["coordinator"]
    shares = {share["maker"]["name"]: share for share in found["shares"]}
    assert set(shares) == set(BENCHES)
    for share in shares.values():
        assert 0 < cents(share["together"]) <= cents(share["alone"])
        assert cents(share["saved"]) == cents(share["alone"]) - cents(share["together"])
        assert cents(share["to_pay"]) == cents(share["together"]) + cents(share["leftover_amount"])
        amounts = sum(cents(line["amount"]) for line in share["lines"])
        assert amounts == cents(share["together"])
    paid = sum(cents(share["to_pay"]) for share in shares.values())
    ordered = sum(cents(order["cost"]) for order in found["orders"])
    assert paid == ordered == cents(found["totals"]["together"])
    apart = sum(cents(share["alone"]) for share in shares.values())
    assert apart == cents(found["totals"]["apart"]) > ordered
    assert len({order["supplier"]["id"] for order in found["orders"]}) == 3
    fairness = found["fairness"]
    assert (fairness["groups"], fairness["all_groups"], fairness["proven"]) == (31, 31, True)
    assert fairness["core_is_empty"] == (not fairness["least_excess"].startswith("-"))


def test_every_gram_ordered_is_somebody_s(results: dict[str, dict[str, Any]]) -> None:
    found = results["coordinator"]

    def quantity(of: dict[str, str]) -> int:
        return int((of.get("grams") or of["count"] + ".000000").replace(".", ""))

    ordered: dict[str, int] = {}
    for order in found["orders"]:
        for line in order["lines"]:
            name = line["material_name"]
            ordered[name] = ordered.get(name, 0) + quantity(line["quantity"])
    given: dict[str, int] = {}
    for share in found["shares"]:
        for line in share["lines"]:
            name = line["material_name"]
            got = quantity(line["quantity"]) + quantity(line["leftover"])
            given[name] = given.get(name, 0) + got
    assert ordered == given
    takers = {
        share["maker"]["name"]
        for share in found["shares"]
        for line in share["lines"]
        if line["leftover_amount"] != "0.00"
    }
    assert takers <= {"Mill Bench"}


def test_what_would_cost_too_much_is_not_ordered(results: dict[str, dict[str, Any]]) -> None:
    (share,) = results["Lane Bench"]["shares"]
    lines = {line["material_name"]: line for line in share["lines"]}
    dear = lines["Cera Alba"]
    assert (dear["dropped"], dear["amount"], dear["highest_price"]) == (
        "too_dear",
        "0.00",
        "3.210000",
    )
    assert float(dear["price"]) > 3.21
    assert lines["Squalane"]["dropped"] is None
    assert float(lines["Squalane"]["price"]) <= 45


def test_each_sees_its_own_figures_and_the_totals_and_no_more(
    coop: Coop,
    coordinator: Client,
    goods: dict[str, str],
    opened: str,
    results: dict[str, dict[str, Any]],
) -> None:
    everything = {share["maker"]["name"]: share for share in results["coordinator"]["shares"]}
    for bench in BENCHES:
        seen = results[bench]
        (share,) = seen["shares"]
        assert share["maker"]["name"] == bench
        assert share["together"] == everything[bench]["together"]
        assert share["alone_orders"]
        assert f"{bench}: alone {share['alone']}, together {share['together']}." in seen["how"]
        assert seen["totals"] == results["coordinator"]["totals"]
        assert bool(seen["orders"]) == (bench == "Mill Bench"), "the buyer orders for all"
        said = [coop[bench].get(f"order-rounds/{opened}{path}").made() for path in PATHS]
        own = {row["material_name"] for row in said[2]["results"]}
        assert own == {pledge["material"] for pledge in PLEDGES[bench]}
        totals = {row["material_name"]: row["makers"] for row in said[0]["pledged"]}
        assert totals == {"Glycerin": 3, "Cera Alba": 3, "Squalane": 3, "Jar": 3}
    # Whoever acts for the co-op orders and hands out, and needs nobody's highest price.
    whole = json.dumps(results["coordinator"])
    assert "3.21" not in whole
    assert not any(share["alone_orders"] for share in everything.values())
    coordinator.get(f"order-rounds/{opened}/pledges").refused(403, "forbidden")


def test_of_two_makers_the_totals_are_not_told(coop: Coop, goods: dict[str, str]) -> None:
    """Less its own share, each would know the other's."""
    north, quay = coop["North Bench"], coop["Quay Bench"]
    body = {"name": "Two", "closes_at": LATER, "buyer": str(maker_id(coop, "North Bench"))}
    round = str(north.post("order-rounds", body).made()["id"])
    for bench in (north, quay):
        pledge = {"material": goods["Cera Alba"], "quantity": "4 kg"}
        bench.post(f"order-rounds/{round}/pledges", pledge).made()
    assert north.get(f"order-rounds/{round}").made()["pledged"] == []
    north.post(f"order-rounds/{round}/closing", {}).made()
    found = reckoned(quay, round)
    assert (found["totals"], found["orders"]) == (None, [])
    assert found["fairness"]["core_is_empty"] is False
    assert quay.get(f"order-rounds/{round}").made()["pledged"] == []


def test_the_coordinator_sees_totals_while_the_round_is_open(
    coop: Coop, coordinator: Client, goods: dict[str, str]
) -> None:
    body = {"name": "Open", "closes_at": LATER, "buyer": str(maker_id(coop, "Hill Bench"))}
    round = str(coordinator.post("order-rounds", body).made()["id"])
    for bench in BENCHES[:3]:
        pledge = {"material": goods["Jar"], "quantity": "50 each"}
        coop[bench].post(f"order-rounds/{round}/pledges", pledge).made()
    (row,) = coordinator.get(f"order-rounds/{round}").made()["pledged"]
    assert (row["makers"], row["quantity"]) == (3, {"count": "150"})
    assert coop["North Bench"].get(f"order-rounds/{round}").made()["pledged"] == []
    assert round in {row["id"] for row in coop["Lane Bench"].listed("order-rounds")}
    assert round in {row["id"] for row in coordinator.listed("order-rounds")}


def test_another_is_asked_where_a_buyer_declines(coop: Coop, coordinator: Client) -> None:
    quay, lane = coop["Quay Bench"], coop["Lane Bench"]
    body = {"name": "Asked", "closes_at": LATER, "buyer": str(maker_id(coop, "Quay Bench"))}
    path = f"order-rounds/{coordinator.post('order-rounds', body).made()['id']}"
    other = {"buyer": str(maker_id(coop, "Lane Bench"))}
    quay.post(f"{path}/buyer-answers", {"agrees": False, "reason": "away"}).made()
    quay.post(f"{path}/buyers", other).refused(403, "forbidden")
    coordinator.post(f"{path}/buyers", {"buyer": body["buyer"]}).refused(422, "invalid", "/buyer")
    found = coordinator.post(f"{path}/buyers", other).made()
    assert (found["buyer"]["name"], found["buyer_agrees"]) == ("Lane Bench", None)
    quay.post(f"{path}/buyer-answers", {"agrees": True}).refused(403, "forbidden")
    lane.post(f"{path}/buyer-answers", {"agrees": True}).made()
    coordinator.post(f"{path}/buyers", {"buyer": body["buyer"]}).refused(409, "conflict")
    asked = quay.get(path).made()["asked"]
    assert [(one["maker"]["name"], one["agrees"], one["said"]) for one in asked] == [
        ("Quay Bench", False, "away"),
        ("Lane Bench", True, ""),
    ]


def test_the_buyer_writes_the_orders_in_its_own_books(
    coop: Coop, coordinator: Client, opened: str, results: dict[str, dict[str, Any]]
) -> None:
    mill, path = coop["Mill Bench"], f"order-rounds/{opened}/orders"
    coop["North Bench"].post(path, {}).refused(403, "forbidden")
    # The coordinator named it, so it is asked first; and sees its answer.
    answers = f"order-rounds/{opened}/buyer-answers"
    (asked,) = [one for one in coordinator.listed("order-rounds") if one["id"] == opened]
    assert (asked["buyer_agrees"], asked["buyer_answered_at"]) == (None, None)
    assert "has not agreed" in mill.post(path, {}).refused(409, "conflict")["detail"]
    coop["North Bench"].post(answers, {"agrees": True}).refused(403, "forbidden")
    mill.post(answers, {"agrees": False}).refused(422, "invalid", "/reason")
    mill.post(answers, {"agrees": False, "reason": "no room for it"}).made()
    mill.post(path, {}).refused(409, "conflict")
    said = coordinator.get(f"order-rounds/{opened}").made()
    assert (said["buyer_agrees"], said["buyer_said"]) == (False, "no room for it")
    assert mill.post(answers, {"agrees": True}).made()["buyer_agrees"] is True
    written = mill.post(path, {}).made()["orders"]
    mill.post(path, {}).refused(409, "conflict")
    too_late = {"agrees": False, "reason": "after all"}
    mill.post(answers, too_late).refused(409, "conflict")
    ordered = {order["supplier"]["id"]: order for order in results["coordinator"]["orders"]}
    assert {one["supplier"] for one in written} == set(ordered)
    seen = coordinator.get(f"order-rounds/{opened}/result").made()["orders"]
    assert {one["written_as"] for one in seen} == {one["number"] for one in written}
    for one in written:
        lines = mill.get(f"orders/{one['order']}").made()["lines"]
        packs = {line["material"]: line["packs"] for line in lines}
        wanted = ordered[one["supplier"]]["lines"]
        assert packs == {line["material"]: line["packs"] for line in wanted}


def test_what_came_is_handed_out_at_what_was_split(
    coop: Coop, coordinator: Client, opened: str, results: dict[str, dict[str, Any]]
) -> None:
    """To the cent, in one act that is done once, and nobody sees more than its own."""
    mill, path = coop["Mill Bench"], f"order-rounds/{opened}/hand-out"
    waiting = {name: coop[name].get(path).made() for name in ("Mill Bench", "North Bench")}
    assert "Still to come: " in waiting["Mill Bench"]["missing"][0]
    assert waiting["North Bench"]["missing"] == ["Not all that was ordered has come yet."]
    mill.post(path, {}).refused(409, "conflict")
    for order in results["coordinator"]["orders"]:
        (written,) = mill.listed("orders", supplier=order["supplier"]["id"])
        came(mill, order, mill.get(f"orders/{written['id']}").made(), {})
    looks = {name: coop[name].get(path).made() for name in BENCHES}
    coop["North Bench"].post(path, {}).refused(403, "forbidden")
    done = mill.post(path, {"note": "fetch it on Saturday"}, key="handing out").made()
    assert mill.post(path, {"note": "fetch it on Saturday"}, key="handing out").json == done
    mill.post(path, {}).refused(409, "conflict")
    shares = {share["maker"]["name"]: share for share in results["coordinator"]["shares"]}
    assert done["paid"] == results["coordinator"]["totals"]["together"]
    assert (done["state"], done["within_alone"], done["note"][:5]) == ("handed_out", True, "fetch")
    assert coordinator.get(path).made()["portions"] == done["portions"]
    assert {one["maker"]["name"] for one in done["portions"]} == set(BENCHES)
    for one in done["portions"]:
        name = one["maker"]["name"]
        assert one["amount"] == one["split"] == shares[name]["to_pay"]
        assert all(line["quantity"] == line["promised"] for line in one["lines"])
        seen = coop[name].get(path).made()
        (before,) = [part for part in looks[name]["portions"] if part["maker"] == one["maker"]]
        assert before["split"] == one["split"]
        assert before["amount"] == (one["amount"] if name == "Mill Bench" else None)
        assert seen["paid"] == done["paid"]
        if name != "Mill Bench":
            assert seen["portions"] == [one]
            assert {move["maker"] for move in seen["moves"]} == {one["maker"]["id"]}
            said = json.dumps([looks[name], seen])
            assert not [other for other in set(BENCHES) - {name} if other in said]
            (balance,) = coop[name].get("settlement").made()["results"]
            assert balance["balance"] == f"-{one['amount']}"


def test_what_is_billed_later_is_shared_among_who_got_the_goods(
    coop: Coop, coordinator: Client, opened: str
) -> None:
    """Exactly, in the books of all, and each sees its own."""
    mill, path = coop["Mill Bench"], f"order-rounds/{opened}/late-bills"
    before = {name: coop[name].get("settlement").made()["total"] for name in BENCHES}
    mill.post(path, {}).refused(409, "conflict")
    receipt = mill.listed("receipts")[0]["id"]
    freight = {"kind": "freight", "amount": "7.77", "spread_by": "value"}
    mill.post(f"receipts/{receipt}/charges", freight).made()
    look = mill.get(path).made()
    assert sum(cents(one["amount"]) for one in look["waiting"]) == 777
    nothing = {"round": opened, "waiting": [], "shared": [], "above": []}
    assert coop["North Bench"].get(path).made() == nothing
    assert coordinator.get(path).made()["waiting"] == look["waiting"]
    coop["North Bench"].post(path, {}).refused(403, "forbidden")
    done = mill.post(path, {"note": "the carrier's bill"}, key="sharing").made()
    assert mill.post(path, {"note": "the carrier's bill"}, key="sharing").json == done
    (shared,) = done["shared"]
    assert (shared["amount"], done["waiting"], shared["note"]) == ("7.77", [], "the carrier's bill")
    for bench in set(BENCHES) - {"Mill Bench"}:
        own = [one for one in shared["parts"] if one["maker"]["name"] == bench]
        (seen,) = coop[bench].get(path).made()["shared"]
        assert seen["parts"] == own
        more = sum(cents(one["amount"]) for one in own)
        total = coop[bench].get("settlement").made()["total"]
        assert cents(total.strip("-")) == cents(before[bench].strip("-")) + more
        for one in own:
            moved = coop[bench].get(f"movements/{one['movement']}").made()
            assert (moved["kind"], moved["amount"]) == ("bill", f"-{one['amount']}")
            entry = coop[bench].get(f"entries/{moved['entry']}").made()
            assert entry["kind"] == "shared_bill"
