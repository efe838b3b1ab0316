"""A lot opened to the co-op: what others see of it, how it is claimed, and what moves then."""

from typing import Any

import pytest

from tests.api.client import Answer, Client, Coop, open_coop
from tests.api.files import pdf
from tests.api.people import member
from tests.running import Running

ON = {"happened_at": "2025-05-02T09:00:00Z"}
FUTURE, PAST = "2199-01-01T00:00:00Z", "2025-05-03T09:00:00Z"


@pytest.fixture(scope="module")
def trio(server: Running) -> Coop:
    return open_coop(server, "Giving Bench", "Taking Bench", "Third Bench")


def shared(trio: Coop, lot: str, quantity: str | None = None, **facts: Any) -> Any:
    body = {"lot": lot, **ON, **facts} | ({"quantity": quantity} if quantity else {})
    return trio["Giving Bench"].post("shares", body).made()


def claim(maker: Client, share: str, quantity: str, **facts: Any) -> Answer:
    return maker.post(f"shares/{share}/claims", {"quantity": quantity, **ON, **facts})


def test_what_is_open_is_seen_with_its_papers_and_not_its_cost(trio: Coop) -> None:
    giving, taking = trio["Giving Bench"], trio["Taking Bench"]
    oil = giving.material("Squalane", inci_name="Squalane")
    lot = giving.receive(
        oil,
        "3 kg",
        "90.00",
        supplier_lot="SQ-7",
        expires_on="2027-05-01",
        density={"value": "0.81 g/mL"},
    )
    paper = giving.upload(f"lots/{lot}/documents", pdf("squalane"), kind="coa").made()["id"]
    taking.get(f"documents/{paper}/file").refused(404, "not_found")
    made = shared(trio, lot, price="34.00")
    (seen,) = taking.get("shares", of="others", material=oil).made()["results"]
    assert seen == taking.get(f"shares/{made['id']}").made()
    assert seen["giver"]["name"] == "Giving Bench"
    assert (seen["claimable"], seen["terms"]) == ("3000.000000", "price")
    assert seen["price"] == {"amount": "34.000000", "per": "kg"}
    assert seen["lot"]["supplier_lot"] == "SQ-7"
    assert (seen["lot"]["status"], seen["lot"]["expires_on"]) == ("released", "2027-05-01")
    assert seen["lot"]["density"]["value"] == "0.81"
    assert [one["id"] for one in seen["lot"]["documents"]] == [paper]
    assert "accountant" in seen["caution"]
    assert '"90' not in str(seen)
    assert taking.get(f"documents/{paper}/file").status == 200
    taking.get(f"lots/{lot}").refused(404, "not_found")
    bench = member(trio, "Taking Bench", "bench")
    assert bench.get(f"shares/{made['id']}").made()["price"] is None
    assert giving.get("shares", of="others").made()["results"] == []
    trio["Third Bench"].post(f"shares/{made['id']}/closure", {"reason": "no"}).refused(
        403, "forbidden"
    )
    closed = giving.post(f"shares/{made['id']}/closure", {"reason": "needed here"}).made()
    assert closed["claimable"] == "0"
    giving.post(f"shares/{made['id']}/closure", {"reason": "again"}).refused(409, "conflict")
    claim(taking, made["id"], "1 kg").refused(409, "conflict")
    assert taking.get("shares", of="others").made()["results"] == []
    taking.get(f"documents/{paper}/file").refused(404, "not_found")


def test_a_claim_that_is_accepted_moves_the_lot_and_the_value(trio: Coop) -> None:
    giving, taking = trio["Giving Bench"], trio["Taking Bench"]
    lot = giving.receive(giving.material("Betaine"), "10 kg", "50.00", expires_on="2027-05-01")
    share = shared(trio, lot, "8 kg", percent="10")
    assert share["price"] == {"amount": "5.500000", "per": "kg"}
    made = claim(taking, share["id"], "3 kg", note="for the wash").made()
    assert (made["state"], made["incoming"], made["amount"]) == ("open", False, None)
    assert giving.stock(share["lot"]["material"])["on_hand"] == "10000.000000"
    taking.post(f"claims/{made['id']}/acceptance", ON).refused(403, "forbidden")
    trio["Third Bench"].get(f"claims/{made['id']}").refused(404, "not_found")
    (seen,) = giving.get("claims", direction="in", state="open").made()["results"]
    assert (seen["id"], seen["to"]["name"]) == (made["id"], "Taking Bench")
    accepted = giving.post(f"claims/{made['id']}/acceptance", ON).made()
    # 15.00 of cost and ten percent; the giver's margin is its gain.
    assert (accepted["state"], accepted["amount"]) == ("accepted", "16.50")
    entry = giving.get(f"transfers/{accepted['transfer']}").made()["entry"]
    lines = giving.get(f"entries/{entry}").made()["postings"]
    assert {(line["account_kind"], line["value"]) for line in lines} == {
        ("store", "-15.000000"),
        ("settlement", "15.000000"),
        ("settlement", "1.500000"),
        ("transfer", "-1.500000"),
    }
    here = taking.get(f"lots/{lot}").made()
    assert (here["status"], here["expires_on"], here["value"]) == (
        "released",
        "2027-05-01",
        "16.50",
    )
    (decision,) = taking.get(f"lots/{lot}/decisions").made()["results"]
    assert decision["basis"] == "released by Giving Bench, as it came"
    assert taking.get(f"shares/{share['id']}").made()["claimable"] == "5000.000000"
    giving.post(f"claims/{made['id']}/acceptance", ON).refused(409, "conflict")
    giving.post(f"claims/{made['id']}/refusal", {"reason": "late"}).refused(409, "conflict")


def test_a_share_may_accept_by_itself_and_says_what_is_left(trio: Coop) -> None:
    giving, taking, third = trio["Giving Bench"], trio["Taking Bench"], trio["Third Bench"]
    lot = giving.receive(giving.material("Panthenol"), "2 kg", "40.00")
    share = shared(trio, lot, "1500 g", accepts_itself=True)
    taken = claim(taking, share["id"], "1 kg", quarantine=True).made()
    assert (taken["state"], taken["amount"]) == ("accepted", "20.00")
    assert taking.get(f"lots/{lot}").made()["status"] == "quarantine"
    refused = claim(third, share["id"], "1 kg").refused(409, "not_enough", "/quantity")
    assert refused["left"] == "500.000000"
    books = member(trio, "Third Bench", "books")
    claim(books, share["id"], "500 g").made()
    assert third.get(f"lots/{lot}").made()["status"] == "quarantine", "who may not release"
    claim(giving, share["id"], "1 g").refused(403, "forbidden")
    claim(third, share["id"], "3 each").refused(422, "unit_wrong", "/quantity")


def test_what_a_batch_was_promised_cannot_be_given(trio: Coop) -> None:
    giving, taking = trio["Giving Bench"], trio["Taking Bench"]
    material = giving.material("Allantoin")
    lot = giving.receive(material, "1 kg", "10.00")
    share = shared(trio, lot)
    assert share["quantity"] == {"entered": "1000 g", "grams": "1000.000000"}
    made = claim(taking, share["id"], "600 g").made()
    itself = shared(trio, lot, accepts_itself=True)
    lines = [{"material": material, "percent": "100"}]
    formula = giving.post("formulas", {"name": "Base", "phases": [{"name": "A", "lines": lines}]})
    plan = {"formula": formula.made()["id"], "batch": "700 g", "planned_for": "2025-05-02"}
    batch = giving.post("batches", plan).made()
    told = giving.post(f"claims/{made['id']}/acceptance", ON).refused(409, "not_enough")
    assert (told["left"], told["reserved_for"]) == ("300.000000", [batch["code"]])
    assert batch["code"] in told["detail"]
    told = giving.post("shares", {"lot": lot, "quantity": "1 kg"}).refused(409, "not_enough")
    assert (told["left"], told["reserved_for"]) == ("300.000000", [batch["code"]])
    # The other maker hears what is free, and no word of the batch.
    for share_id in (share["id"], itself["id"]):
        told = claim(taking, share_id, "600 g").refused(409, "not_enough", "/quantity")
        assert told["left"] == "300.000000"
        assert batch["code"] not in str(told)
    giving.post(f"lots/{lot}/decisions", {"decision": "hold", "basis": "smells odd"}).made()
    giving.post("shares", {"lot": lot}).refused(409, "lot_not_released", "/lot")
    claim(taking, itself["id"], "1 g").refused(409, "lot_not_released")
    giving.post("shares", {"lot": lot, "percent": "1", "price": "1"}).refused(
        422, "invalid", "/price"
    )
    giving.post("shares", {"lot": lot, "price": "1.001"}).refused(422, "money_too_fine", "/price")


def test_a_claim_is_withdrawn_declined_or_runs_out(trio: Coop) -> None:
    giving, taking = trio["Giving Bench"], trio["Taking Bench"]
    lot = giving.receive(giving.material("Xanthan gum"), "1 kg", "10.00")
    share = shared(trio, lot)["id"]
    one, two, three = (
        claim(taking, share, "100 g", expires_at=moment).made() for moment in (FUTURE, None, PAST)
    )
    assert [one["state"], three["state"]] == ["open", "expired"]
    giving.post(f"claims/{one['id']}/withdrawal", {"reason": "no"}).refused(422, "invalid")
    taking.post(f"claims/{one['id']}/refusal", {"reason": "no"}).refused(422, "invalid")
    withdrawn = taking.post(f"claims/{one['id']}/withdrawal", {"reason": "found some"}).made()
    assert (withdrawn["state"], withdrawn["reason"]) == ("withdrawn", "found some")
    declined = giving.post(f"claims/{two['id']}/refusal", {"reason": "needed here"}).made()
    assert declined["state"] == "declined"
    giving.post(f"claims/{three['id']}/acceptance", ON).refused(409, "conflict")
    for state, id in (("withdrawn", one["id"]), ("declined", two["id"]), ("expired", three["id"])):
        found = taking.get("claims", state=state).made()["results"]
        assert id in [row["id"] for row in found]
    assert three["id"] not in [
        row["id"] for row in taking.get("claims", state="open").made()["results"]
    ]
    early = {"happened_at": "2025-05-01T09:00:00Z"}
    four = claim(taking, share, "100 g").made()["id"]
    giving.post(f"claims/{four}/acceptance", early).refused(422, "invalid", "/happened_at")
