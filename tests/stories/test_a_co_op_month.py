"""A co-op's month: five makers order together, a delivery is short, a drum is drawn off, what is
left over is claimed, and at the end of the month nobody owes anybody anything.

Each step stands on the one before it.
"""

from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pytest

from tests.api.client import Client, Coop
from tests.api.people import maker_id
from tests.stories.buying import BENCHES, PLEDGES, came, reckoned

BUYER = "Mill Bench"
OTHERS = [name for name in BENCHES if name != BUYER]
RELEASED = {"release": {"basis": "came released"}}


@pytest.fixture(scope="module")
def found(coop: Coop, coordinator: Client, goods: dict[str, str]) -> dict[str, Any]:
    """What came of the round, and its orders in the buyer's books."""
    body = {
        "name": "Month",
        "closes_at": "2199-01-01T12:00:00Z",
        "buyer": str(maker_id(coop, BUYER)),
    }
    round = coordinator.post("order-rounds", body).made()["id"]
    for bench, pledges in PLEDGES.items():
        for pledge in pledges:
            sent = {**pledge, "material": goods[pledge["material"]]}
            coop[bench].post(f"order-rounds/{round}/pledges", sent).made()
    coordinator.post(f"order-rounds/{round}/closing", {}).made()
    result = reckoned(coordinator, round)
    coop[BUYER].post(f"order-rounds/{round}/buyer-answers", {"agrees": True}).made()
    placed = coop[BUYER].post(f"order-rounds/{round}/orders", {}).made()["orders"]
    return {**result, "placed": {one["supplier"]: one["order"] for one in placed}}


def shares_of(found: dict[str, Any], material: str) -> dict[str, dict[str, Any]]:
    """What each maker takes of a material, by its name."""
    return {
        share["maker"]["name"]: line
        for share in found["shares"]
        for line in share["lines"]
        if line["material_name"] == material and line["dropped"] is None
    }


@pytest.fixture(scope="module")
def arrived(coop: Coop, found: dict[str, Any]) -> dict[str, str]:
    """All has come, but for a kilogram of squalane that will not; lots by material."""
    mill = coop[BUYER]
    lots: dict[str, str] = {}
    for order in found["orders"]:
        written = mill.get(f"orders/{found['placed'][order['supplier']['id']]}").made()
        prices = {
            ordered["material_name"]: Decimal(line["price"])
            for line, ordered in zip(written["lines"], order["lines"], strict=True)
        }
        short = {name: ("4 kg", f"{prices[name] * 4 / 5:.2f}") for name in {"Squalane"} & {*prices}}
        lots |= came(mill, order, written, short)
    return lots


def a_short_delivery_stays_on_order_until_nothing_more_is_expected(
    coop: Coop, goods: dict[str, str], found: dict[str, Any], arrived: dict[str, str]
) -> None:
    mill = coop[BUYER]
    assert set(arrived) == set(goods)
    assert mill.stock(goods["Squalane"])["on_order"] == "1000.000000"
    assert mill.stock(goods["Glycerin"])["on_order"] == "0"
    (late,) = mill.listed("orders", material=goods["Squalane"], state="open")
    told = mill.post(f"orders/{late['id']}/endings", {"reason": "sold out for the season"}).made()
    assert told["state"] == "closed"
    assert mill.stock(goods["Squalane"])["on_order"] == "0"


@pytest.fixture(scope="module")
def drawn(coop: Coop, found: dict[str, Any], arrived: dict[str, str]) -> dict[str, str]:
    """The glycerin is drawn off for each who takes of it, a kilogram stays in the drum."""
    mill, takes = coop[BUYER], shares_of(found, "Glycerin")
    wanted = {name: Decimal(takes[name]["quantity"]["grams"]) for name in takes}
    whole = Decimal(mill.get(f"lots/{arrived['Glycerin']}").made()["on_hand"]["grams"])
    own = whole - 1000 - sum(grams for name, grams in wanted.items() if name != BUYER)
    nets = {**wanted, BUYER: own}
    draws = [{"gross": f"{net + 1850} g", "tare": "1.85 kg"} for net in nets.values()]
    made = mill.post(f"lots/{arrived['Glycerin']}/decantings", {"draws": draws}).made()
    assert (made["heel"], Decimal(made["drawn"])) == ("1000.000000", whole - 1000)
    assert sum(Decimal(one["share"]) for one in made["draws"]) == Decimal(made["cost"])
    return {name: one["lot"]["id"] for name, one in zip(nets, made["draws"], strict=True)}


def all_is_handed_out_in_one_act(
    coop: Coop, found: dict[str, Any], arrived: dict[str, str], drawn: dict[str, str]
) -> None:
    """What lacks of one material changes nothing for who takes none; lots stay what they are."""
    mill, path = coop[BUYER], f"order-rounds/{found['round']}/hand-out"
    look = mill.get(path).made()
    assert (look["state"], look["missing"], look["within_alone"]) == ("ready", [], True)
    done = mill.post(path, {}).made()
    assert (done["state"], done["portions"]) == ("handed_out", look["portions"])
    pays = {one["maker"]["name"]: one for one in done["portions"]}
    received = [mill.get(f"receipts/{one['id']}").made() for one in mill.listed("receipts")]
    paid = sum(Decimal(one["total"]) for one in received)
    assert Decimal(done["paid"]) == paid == sum(Decimal(one["amount"]) for one in pays.values())
    for name, share in ((one["maker"]["name"], one) for one in found["shares"]):
        assert pays[name]["split"] == share["to_pay"]
        wants_squalane = name in shares_of(found, "Squalane")
        assert wants_squalane == (pays[name]["amount"] != share["to_pay"])
        assert Decimal(pays[name]["amount"]) <= Decimal(share["to_pay"])
    lines = [line for one in pays.values() for line in one["lines"]]
    squalane = [line["quantity"] for line in lines if line["material_name"] == "Squalane"]
    assert sum(Decimal(quantity["grams"]) for quantity in squalane) == 4000
    owed = mill.get("settlement").made()["results"]
    assert {one["maker"]["name"]: one["balance"] for one in owed} == {
        name: pays[name]["amount"] for name in OTHERS
    }
    makers = {str(maker_id(coop, name)): name for name in OTHERS}
    for move in done["moves"]:
        here = coop[makers[move["maker"]]].get(f"lots/{move['lot']}").made()
        assert (here["value"], here["status"]) == (move["amount"], "released")
        assert (here["supplier_lot"][:2], here["expires_on"]) == ("S-", "2199-01-01")
    cans = {(makers[move["maker"]], move["lot"]) for move in done["moves"]}
    assert set(drawn.items()) - cans == {(BUYER, drawn[BUYER])}, "each has what was drawn for it"
    mill.post(path, {}).refused(409, "conflict")


def what_is_left_over_is_claimed_at_cost(
    coop: Coop, goods: dict[str, str], drawn: dict[str, str]
) -> None:
    mill, hill = coop[BUYER], coop["Hill Bench"]
    open_to_all = {"lot": drawn[BUYER], "quantity": "3 kg", "accepts_itself": True}
    share = mill.post("shares", open_to_all).made()
    before = Decimal(hill.stock(goods["Glycerin"])["on_hand"])
    claim = hill.post(f"shares/{share['id']}/claims", {"quantity": "2 kg"}).made()
    assert claim["state"] == "accepted"
    assert Decimal(hill.stock(goods["Glycerin"])["on_hand"]) == before + 2000
    too_much = coop["Lane Bench"].post(f"shares/{share['id']}/claims", {"quantity": "2 kg"})
    assert too_much.refused(409, "not_enough", "/quantity")["left"] == "1000.000000"


def one_helps_another_out(coop: Coop, arrived: dict[str, str]) -> None:
    """Two kilograms of wax at cost: a fifth debt, in a chain with two of the others."""
    body = {"maker": str(maker_id(coop, "Quay Bench")), "lot": arrived["Cera Alba"]}
    offer = coop["North Bench"].post("transfers", {**body, "quantity": "2 kg"}).made()
    coop["Quay Bench"].post(f"transfers/{offer['id']}/acceptance", RELEASED).made()
    (north, mill) = coop["Quay Bench"].get("settlement").made()["results"]
    assert {north["maker"]["name"], mill["maker"]["name"]} == {"North Bench", BUYER}
    assert all(Decimal(one["balance"]) < 0 for one in (north, mill))


def the_month_ends_and_nobody_owes_anything(
    coop: Coop, coordinator: Client, found: dict[str, Any]
) -> None:
    month = f"{datetime.now(UTC):%Y-%m}"
    for bench in BENCHES:
        told = coop[bench].get("settlement/statement", month=month).made()
        rows = told["results"]
        assert rows, bench
        moved = sum(Decimal(row["amount"]) for row in rows)
        assert Decimal(told["opening"]) + moved == Decimal(told["closing"])
        assert told["closing"] == coop[bench].get("settlement").made()["total"]
        for row in rows:
            assert row["kind"] == "goods"
            lines = coop[bench].get(f"entries/{row['entry']}").made()["postings"]
            assert sum(Decimal(line["value"]) for line in lines) == 0
        if bench == "Hill Bench":
            assert len(rows) == 3, "glycerin and jars of the round, and what it has claimed"
    asked = coordinator.get("settlement").made()
    assert asked["total"] == "0.00"
    assert asked["clearing"]["proven"]
    assert len(asked["clearing"]["payments"]) == asked["clearing"]["at_least"] == len(OTHERS)
    made = coordinator.post("clearings", {"note": "five debts, four payments"}).made()
    for due in made["payments"]:
        paid = {
            "maker": due["payee"]["id"],
            "direction": "paid",
            "amount": due["amount"],
            "note": "bank transfer",
        }
        coop[due["payer"]["name"]].post("payments", paid).made()
    assert {one["balance"] for one in coordinator.get("settlement").made()["results"]} == {"0.00"}
    done = coop.server.manage("verify_ledger")
    assert done.returncode == 0, done.stdout


def test_a_month(
    coop: Coop,
    coordinator: Client,
    goods: dict[str, str],
    found: dict[str, Any],
    arrived: dict[str, str],
    drawn: dict[str, str],
) -> None:
    a_short_delivery_stays_on_order_until_nothing_more_is_expected(coop, goods, found, arrived)
    all_is_handed_out_in_one_act(coop, found, arrived, drawn)
    what_is_left_over_is_claimed_at_cost(coop, goods, drawn)
    one_helps_another_out(coop, arrived)
    the_month_ends_and_nobody_owes_anything(coop, coordinator, found)
