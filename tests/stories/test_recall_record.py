"""The recall of W-31 as it went: opened, both makers at work, buyers told, 61 of 143 back, closed.

The drum is that of tests/stories/test_recall.py.
"""

import time
from dataclasses import dataclass
from typing import Any

import pytest

from tests.api.client import Client, Coop, open_coop
from tests.api.people import maker_id
from tests.running import Running
from tests.stories.test_recall import ON, away, formula, made_of_it, make, move, product


@dataclass(frozen=True)
class Drum:
    """The lot of it, what was made of it where, and the sales of that."""

    north: Client
    mill: Client
    third: Client
    lot: str
    made: dict[str, str]
    sales: dict[str, str]


@pytest.fixture(scope="module")
def drum(server: Running) -> Drum:
    coop: Coop = open_coop(server, "North Bench", "Mill Bench", "Third Bench")
    north, mill = coop["North Bench"], coop["Mill Bench"]
    shea = north.material("Shea butter")
    w31 = north.receive(shea, "6.00 kg", "60.00", supplier_lot="W-31")
    made = made_of_it(north, w31, shea)
    hand_over(north, mill, w31, "1.50 kg", maker_id(coop, "Mill Bench"))
    plan = {"product": product(mill, formula(mill, "Balm", material=shea), "19 g"), "units": 36}
    made["M-4"] = make(mill, plan, w31, "0.70 kg", output="684 g", units=36)
    move(north, "issues", w31, "0.02 kg", purpose="sample", reason="for the laboratory")
    move(north, "issues", w31, "0.08 kg", purpose="spill", reason="dropped a ladle")
    move(north, "consignments", made["S-11"], "15 each", shop="quay shop")
    move(north, "issues", made["S-11"], "4 each", purpose="tester", reason="market stall")
    sold = {"S-11": (60, 3), "L-20": (25, 2), "L-22": (20, 2), "L-25": (28, 2), "M-4": (10, 1)}
    sales = {
        name: away(mill if name == "M-4" else north, made[name], units, kept)
        for name, (units, kept) in sold.items()
    }
    hand_over(mill, coop["Third Bench"], w31, "0.10 kg", maker_id(coop, "Third Bench"))
    return Drum(north, mill, coop["Third Bench"], w31, made, sales)


def hand_over(giver: Client, taker: Client, lot: str, quantity: str, to: Any) -> None:
    body = {"maker": str(to), "lot": lot, "quantity": quantity, **ON}
    id = giver.post("transfers", body).made()["id"]
    taker.post(f"transfers/{id}/acceptance", {**ON, "release": {"basis": "seal whole"}}).made()


def status(maker: Client, lot: str) -> str:
    return str(maker.get(f"lots/{lot}").made()["status"])


def notice_to(maker: Client) -> dict[str, Any]:
    (notice,) = maker.get("recall-notices", direction="in").made()["results"]
    return dict(notice)


def called_back(maker: Client, state: str) -> list[dict[str, Any]]:
    """The alerts of lots that others call back, as soon as the worker has looked."""
    end = time.monotonic() + 90
    while time.monotonic() < end:
        found = maker.get("alerts", state=state, kind="called_back").made()["results"]
        if found:
            return list(found)
        time.sleep(0.1)
    raise AssertionError(f"no {state} alert of a lot that is called back")


def units(counts: dict[str, Any], *names: str) -> list[str]:
    return [counts[name]["units"] for name in names]


def test_a_recall_from_the_first_hold_to_the_last_word(drum: Drum) -> None:
    north, mill, third = drum.north, drum.mill, drum.third
    body = {"lot": drum.lot, "reason": "mould in the drum", "depth": "retail", **ON}
    opened = north.post("recalls", body).made()
    path = f"recalls/{opened['id']}"
    assert (opened["state"], opened["depth"], opened["classification"]) == ("open", "retail", None)
    # Of the infusion nothing is left, and the balm is another maker's.
    here = {drum.lot, *(drum.made[name] for name in ("S-11", "L-20", "L-22", "L-25"))}
    assert {status(north, lot) for lot in here} == {"hold"}
    assert opened["progress"]["tally"]["held"] == opened["progress"]["tally"]["in_reach"]
    north.post("recalls", body).refused(409, "conflict")

    assert_the_other_maker_answers(drum, path)
    assert_it_is_passed_on(drum, path)
    summed = north.get(path).made()["progress"]["all_makers"]
    assert units(summed, "in_reach", "held", "sold") == ["156", "156", "143"]
    assert summed["held"]["grams"] == "3100.000000"
    assert_buyers_are_told(drum, path)

    for maker, name, count in ((north, "S-11", 40), (north, "L-20", 15), (mill, "M-4", 6)):
        back = {"sale": drum.sales[name], "reason": "recalled"}
        move(maker, "customer-returns", drum.made[name], f"{count} each", **back)
    mill.post(f"recall-notices/{notice_to(mill)['id']}/answer", {}).made()
    found = north.get(path).made()
    assert units(found["progress"]["all_makers"], "sold", "returned") == ["143", "61"]
    assert found["progress"]["all_makers"]["percent_back"] == "42.7"
    (sale,) = found["progress"]["sales"]
    assert (sale["sold"], sale["returned"], sale["destroyed"], sale["left"]) == (
        *("133", "55"),
        *("4", "74"),
    )
    assert found["progress"]["tally"]["unexplained"] == "0.000000"
    kept = {lot["code"]: lot["places"] for lot in found["listed"]["lots"]}
    assert kept == {lot["code"]: lot["places"] for lot in opened["listed"]["lots"]}, "as it was"

    closed = north.post(f"{path}/closure", {"reason": "all have answered"}).made()
    assert (closed["state"], closed["closure"]["reason"]) == ("closed", "all have answered")
    assert status(north, drum.made["S-11"]) == "hold", "what is held stays held"
    north.post(f"{path}/closure", {"reason": "again"}).refused(409, "conflict")
    told = {"customer_reference": "quay shop", "how": "phone", "on": "2025-05-09"}
    north.post(f"{path}/contacts", told).refused(409, "conflict")
    (row,) = north.get("recalls", lot=drum.lot).made()["results"]
    assert (row["id"], row["state"]) == (opened["id"], "closed")
    again = north.post("recalls", body).made()
    assert again["id"] != opened["id"], "a closed recall does not stand in the way of another"
    assert third.get("recalls").made()["results"] == []


def assert_the_other_maker_answers(drum: Drum, path: str) -> None:
    """It is told the lot and the reason, and answers with quantities: nothing more is seen."""
    north, mill = drum.north, drum.mill
    notice = notice_to(mill)
    (alert,) = called_back(mill, "open")
    assert (alert["lot"]["id"], alert["called_back"]) == (
        drum.lot,
        {"notice": notice["id"], "by": "North Bench", "reason": "mould in the drum"},
    )
    assert (notice["quantity"], notice["unit"], notice["reason"]) == (
        *("1500.000000", "g"),
        "mould in the drum",
    )
    assert (notice["from"]["name"], notice["lot"]["supplier_lot"]) == ("North Bench", "W-31")
    assert status(mill, drum.made["M-4"]) == "released", "to hold it is its holder's decision"
    answer = f"recall-notices/{notice['id']}/answer"
    north.post(answer, {}).refused(422, "invalid")
    wrong = {"corrected": [{"what": "elsewhere", "units": "2"}]}
    mill.post(answer, wrong).refused(422, "invalid", "/reason")
    mill.get(path).refused(404, "not_found")
    told = mill.post(answer, {"hold": True}).made()["answer"]
    assert (told["held"], told["tally"]["makings"]) == (True, 1)
    assert told["tally"]["unexplained"] == "0.000000"
    assert units(told["tally"], "made", "in_reach", "held", "sold") == ["36", "25", "25", "10"]
    assert status(mill, drum.made["M-4"]) == "hold"
    seen = north.get(path).made()["progress"]["makers"][0]
    assert seen["tally"] == told["tally"]
    assert (seen["quantity"], seen["held"], seen["counts"]) == ("1500.000000", True, True)
    assert drum.made["M-4"] not in str(north.get(path).json)
    assert called_back(mill, "closed")[0]["id"] == alert["id"], "what is answered is no news"


def assert_it_is_passed_on(drum: Drum, path: str) -> None:
    """Whoever has some by way of another is told by that one, and counts in the sum."""
    third = drum.third
    notice = notice_to(third)
    assert (notice["from"]["name"], notice["quantity"]) == ("Mill Bench", "100.000000")
    body: dict[str, Any] = {
        "hold": True,
        "corrected": [{"what": "in_reach", "grams": "100"}, {"what": "elsewhere", "grams": "0"}],
        "reason": "weighed again: nothing is gone",
    }
    answer = f"recall-notices/{notice['id']}/answer"
    twice = [*body["corrected"], {"what": "in_reach", "units": "1"}]
    third.post(answer, {**body, "corrected": twice}).refused(422, "invalid", "/corrected/2/what")
    told = third.post(answer, body).made()["answer"]
    assert told["corrected"] == ["elsewhere", "in_reach"]
    mill, passed = drum.north.get(path).made()["progress"]["makers"]
    assert mill["tally"]["passed_on"]["grams"] == "100.000000"
    assert (passed["maker"], passed["quantity"]) == (None, "100.000000")
    assert passed["reason"] == "weighed again: nothing is gone"


def assert_buyers_are_told(drum: Drum, path: str) -> None:
    north = drum.north
    customer = f"buyer of {drum.made['S-11'][-4:]}"
    told = {"customer_reference": customer, "how": "phone", "on": "2025-05-09"}
    for name in ("quay shop", customer):
        north.post(f"{path}/contacts", {**told, "customer_reference": name}).made()
    gone = {"answered": True, "lot": drum.made["S-11"], "outcome": "destroyed"}
    kept = north.post(f"{path}/contacts", {**told, **gone, "quantity": "4 each"}).made()
    assert (kept["quantity"], kept["outcome"]) == ("4", "destroyed")
    north.post(f"{path}/contacts", {**told, **gone, "quantity": "57 each"}).refused(
        409, "not_enough", "/quantity"
    )
    for wrong, pointer in (
        ({"customer_reference": "nobody"}, "/customer_reference"),
        ({"on": "2199-01-01"}, "/on"),
        ({"outcome": "destroyed"}, "/outcome"),
        ({**gone, "answered": False, "quantity": "1 each"}, "/answered"),
    ):
        north.post(f"{path}/contacts", {**told, **wrong}).refused(422, "invalid", pointer)
    assert len(north.listed(f"{path}/contacts")) == 3
    progress = north.get(path).made()["progress"]
    assert progress["told"] == {"known": 5, "contacted": 2, "answered": 1}
    (buyer,) = (one for one in progress["buyers"] if one["customer_reference"] == customer)
    assert (buyer["contacts"], buyer["last_contact_on"], buyer["answered"]) == (
        *(2, "2025-05-09"),
        True,
    )
    (shop,) = (one for one in progress["buyers"] if one["customer_reference"] == "quay shop")
    assert (shop["lines"], shop["at_shop"]["units"]) == ([], "15")
