"""Moves between makers: both books close, the lot stays what it is, and neither sees the other."""

from typing import Any

import pytest

from tests.api.client import Client, Coop, open_coop
from tests.api.people import maker_id, member
from tests.running import Running

ON = {"happened_at": "2025-05-02T09:00:00Z"}


@pytest.fixture(scope="module")
def pair(server: Running) -> Coop:
    return open_coop(server, "Giving Bench", "Taking Bench", "Third Bench")


def offer(pair: Coop, lot: str, quantity: str, to: str = "Taking Bench", **facts: Any) -> Any:
    body = {"maker": str(maker_id(pair, to)), "lot": lot, "quantity": quantity, **ON, **facts}
    return pair["Giving Bench"].post("transfers", body)


def accept(maker: Client, transfer: str, **facts: Any) -> Any:
    return maker.post(f"transfers/{transfer}/acceptance", {**ON, **facts})


def postings(maker: Client, entry: str) -> list[tuple[str, str, str]]:
    rows = maker.get(f"entries/{entry}").made()["postings"]
    return [(row["account_kind"], row["quantity"], row["value"]) for row in rows]


def test_at_cost_the_lot_moves_and_both_books_close(pair: Coop) -> None:
    giving, taking = pair["Giving Bench"], pair["Taking Bench"]
    oil = giving.material("Squalane")
    lot = giving.receive(oil, "3 kg", "100.00", expires_on="2027-05-01")
    made = offer(pair, lot, "1 kg").made()
    assert (made["state"], made["amount"], made["price"]) == ("open", None, None)
    assert "whether this is resale" in made["caution"]
    assert giving.stock(oil)["on_hand"] == "3000.000000", "an offer moves nothing"
    (seen,) = taking.get("transfers", direction="in", state="open").made()["results"]
    assert seen["incoming"]
    assert seen["from"]["name"] == "Giving Bench"
    assert seen["lot"]["status_at_giver"] == seen["lot"]["status_at_origin"] == "released"
    assert seen["lot"]["expires_on"] == "2027-05-01"
    taking.get(f"lots/{lot}").refused(404, "not_found")
    taken = accept(taking, made["id"]).made()
    assert (taken["state"], taken["amount"]) == ("accepted", "33.33")
    assert "Ask an accountant" in taken["caution"]
    assert "caution" not in seen, "once, where goods change hands"
    assert postings(taking, taken["entry"]) == [
        ("settlement", "-1000.000000", "-33.330000"),
        ("store", "1000.000000", "33.330000"),
    ]
    given = giving.get(f"transfers/{made['id']}").made()
    assert postings(giving, given["entry"]) == [
        ("store", "-1000.000000", "-33.333333"),
        ("settlement", "1000.000000", "33.333333"),
        ("settlement", "0.000000", "-0.003333"),
        ("transfer", "0.000000", "0.003333"),
    ]
    shown = taking.get(f"lots/{lot}").made()
    assert (shown["status"], shown["code"]) == ("quarantine", seen["lot"]["code"])
    assert shown["value"] == "33.33"
    giving.get(f"entries/{taken['entry']}").refused(404, "not_found")
    taking.get(f"entries/{given['entry']}").refused(404, "not_found")
    pair["Third Bench"].get(f"transfers/{made['id']}").refused(404, "not_found")
    trace = taking.get(f"lots/{lot}/trace", direction="back").made()
    assert trace["balance"]["received"] == "1000.000000"
    assert trace["balance"]["difference"] == "0.000000"
    trace = giving.get(f"lots/{lot}/trace", direction="forward").made()
    assert {"place": "moved to Taking Bench", "quantity": "1000.000000"} in trace["balance"][
        "places"
    ]
    assert trace["balance"]["difference"] == "0.000000"


def test_at_a_price_the_gain_is_the_giver_s(pair: Coop) -> None:
    giving, taking = pair["Giving Bench"], pair["Taking Bench"]
    lot = giving.receive(giving.material("Bisabolol"), "1 kg", "80.00")
    made = offer(pair, lot, "250 g", price="25.00").made()
    taken = accept(taking, made["id"], release={"basis": "seal whole"}).made()
    assert taken["amount"] == "25.00"
    assert taking.get(f"lots/{lot}").made()["status"] == "released"
    decisions = taking.get(f"lots/{lot}/decisions").made()["results"]
    assert [one["basis"] for one in decisions] == ["seal whole"]
    entry = giving.get(f"transfers/{made['id']}").made()["entry"]
    assert ("transfer", "0.000000", "-5.000000") in postings(giving, entry)
    bench = member(pair, "Taking Bench", "bench")
    assert bench.get(f"transfers/{made['id']}").made()["amount"] is None
    # Neither side alone takes it back; the goods are offered back.
    for maker, id in ((giving, entry), (taking, taken["entry"])):
        maker.post(f"entries/{id}/reversal", {"reason": "a slip"}).refused(409, "conflict")
    sent = {"lines": [{"lot": lot, "quantity": "1 g"}], "reason": "dented"}
    taking.post("supplier-returns", sent).refused(409, "conflict", "/lines/0/lot")
    body = {"decision": "release", "basis": "again", "retest_on": "2030-01-01"}
    taking.post(f"lots/{lot}/decisions", body).refused(422, "invalid", "/retest_on")
    back = {"maker": str(maker_id(pair, "Giving Bench")), "lot": lot, "quantity": "50 g"}
    returned = taking.post("transfers", {**back, **ON}).made()
    assert accept(giving, returned["id"]).made()["amount"] == "5.00"
    for maker in (giving, taking):
        trace = maker.get(f"lots/{lot}/trace", direction="forward").made()
        assert trace["balance"]["difference"] == "0.000000"


def test_what_is_answered_stays_answered(pair: Coop) -> None:
    giving, taking = pair["Giving Bench"], pair["Taking Bench"]
    lot = giving.receive(giving.material("Panthenol"), "1 kg", "10.00")
    one = offer(pair, lot, "1 kg").made()["id"]
    giving.post(f"transfers/{one}/acceptance", ON).refused(422, "invalid")
    giving.post(f"transfers/{one}/refusal", {"reason": "no"}).refused(422, "invalid")
    taking.post(f"transfers/{one}/withdrawal", {"reason": "no"}).refused(422, "invalid")
    declined = taking.post(f"transfers/{one}/refusal", {"reason": "no room"}).made()
    assert (declined["state"], declined["reason"]) == ("declined", "no room")
    accept(taking, one).refused(409, "conflict")
    two = offer(pair, lot, "1 kg").made()["id"]
    giving.post(f"transfers/{two}/withdrawal", {"reason": "needed here"}).made()
    accept(taking, two).refused(409, "conflict")
    three = offer(pair, lot, "1 kg").made()["id"]
    early = {"happened_at": "2025-05-01T09:00:00Z"}
    taking.post(f"transfers/{three}/acceptance", early).refused(422, "invalid", "/happened_at")
    accept(taking, three, release={"basis": " "}).refused(422, "blank", "/release/basis")
    accept(taking, three).made()
    accept(taking, three).refused(409, "conflict")


def test_what_cannot_be_given_is_refused(pair: Coop) -> None:
    giving, taking = pair["Giving Bench"], pair["Taking Bench"]
    material = giving.material("Allantoin")
    lot = giving.receive(material, "1 kg", "10.00")
    offer(pair, lot, "1 kg", to="Giving Bench").refused(422, "invalid", "/maker")
    assert offer(pair, lot, "2 kg").refused(409, "not_enough", "/quantity")["left"]
    offer(pair, lot, "1 g", price="0.001").refused(422, "money_too_fine", "/price")
    made = offer(pair, lot, "600 g").made()["id"]
    # Promised to a batch meanwhile: the other maker hears what is free, and no word of the batch.
    lines = [{"material": material, "percent": "100"}]
    formula = giving.post(
        "formulas", {"name": "Secret base", "phases": [{"name": "A", "lines": lines}]}
    )
    plan = {"formula": formula.made()["id"], "batch": "700 g", "planned_for": "2025-05-02"}
    batch = giving.post("batches", plan).made()
    refused = accept(taking, made).refused(409, "not_enough")
    assert refused["left"] == "300.000000"
    assert batch["code"] not in str(refused)
    assert "Secret" not in str(refused)
    giving.post(f"batches/{batch['id']}/cancellation", {"reason": "not now"}).made()
    giving.post(f"lots/{lot}/decisions", {"decision": "hold", "basis": "smells odd"}).made()
    assert taking.get(f"transfers/{made}").made()["lot"]["status_at_giver"] == "hold"
    accept(taking, made).refused(409, "lot_not_released")
    offer(pair, lot, "1 g").refused(409, "lot_not_released", "/lot")
    own = giving.get(f"formulas/{formula.json['id']}").made()["material"]
    assert own
    giving.post(f"lots/{lot}/decisions", {"decision": "release", "basis": "aired"}).made()
    assert accept(taking, made).made()["state"] == "accepted"
