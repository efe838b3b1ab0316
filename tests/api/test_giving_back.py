"""Goods that come back: what was claimed is returned, what was lent is replaced in kind."""

from typing import Any

import pytest

from tests.api.client import Client, Coop, open_coop
from tests.api.people import maker_id
from tests.running import Running

ON = {"happened_at": "2025-05-02T09:00:00Z"}


@pytest.fixture(scope="module")
def pair(server: Running) -> Coop:
    return open_coop(server, "Lending Bench", "Borrowing Bench", "Third Bench")


def moved(pair: Coop, lot: str, quantity: str, **facts: Any) -> Any:
    """So much of a lot from the first to the second, accepted and released."""
    to = str(maker_id(pair, "Borrowing Bench"))
    body = {"maker": to, "lot": lot, "quantity": quantity, **ON, **facts}
    return accepted(
        pair["Borrowing Bench"], pair["Lending Bench"].post("transfers", body).made()["id"]
    )


def accepted(maker: Client, transfer: str) -> Any:
    body = {**ON, "release": {"basis": "seal whole"}}
    return maker.post(f"transfers/{transfer}/acceptance", body).made()


def balances(maker: Client) -> dict[str, str]:
    answer = maker.get("settlement").made()
    return {one["maker"]["name"]: one["balance"] for one in answer["results"]}


def test_claimed_goods_go_back_at_the_price_at_which_they_came(pair: Coop) -> None:
    lending, borrowing = pair["Lending Bench"], pair["Borrowing Bench"]
    lot = lending.receive(lending.material("Isoamyl laurate"), "3 kg", "30.00")
    came = moved(pair, lot, "3 kg", price="40.00")
    assert came["gain"] is None, "what it brought is its giver's to know"
    assert lending.get(f"transfers/{came['id']}").made()["gain"] == "10.00"
    assert balances(lending) == {"Borrowing Bench": "40.00"}
    path = f"transfers/{came['id']}/returns"
    borrowing.post(path, {"quantity": "4 kg", **ON}).refused(409, "not_enough", "/quantity")
    lending.post(path, ON).refused(409, "conflict")
    pair["Third Bench"].post(path, ON).refused(404, "not_found")
    first, twice = (borrowing.post(path, {"quantity": "2 kg", **ON}).made() for _ in range(2))
    assert (first["answers"], first["state"]) == (came["id"], "open")
    back = accepted(lending, first["id"])
    assert back["amount"] == "26.67"
    told = lending.post(f"transfers/{twice['id']}/acceptance", ON).refused(409, "not_enough")
    assert told["left"] == "1000.000000"
    rest = borrowing.post(path, ON).made()
    assert rest["quantity"] == {"entered": "1000 g", "grams": "1000.000000"}
    # The last gram brings the last cent.
    assert accepted(lending, rest["id"])["amount"] == "13.33"
    assert balances(lending) == {"Borrowing Bench": "0.00"}
    borrowing.post(path, ON).refused(409, "not_enough", "/quantity")
    borrowing.post(f"transfers/{rest['id']}/returns", ON).refused(409, "conflict")
    lending.post(f"transfers/{rest['id']}/returns", ON).refused(409, "conflict")


def test_what_was_borrowed_is_replaced_in_kind(pair: Coop) -> None:
    lending, borrowing = pair["Lending Bench"], pair["Borrowing Bench"]
    material = lending.material("Cetearyl alcohol")
    lot = lending.receive(material, "5 kg", "50.00")
    before = balances(lending)
    lent = moved(pair, lot, "2 kg", in_kind=True)
    assert (lent["in_kind"], lent["amount"]) == (True, "20.00")
    assert balances(lending) == before, "nothing is owed in money"
    (owed,) = borrowing.get("debts-in-kind").made()["results"]
    assert (owed["lent"], owed["owed"], owed["owed_value"]) == (False, "2000.000000", "20.00")
    assert owed["maker"]["name"] == "Lending Bench"
    assert lending.get("debts-in-kind").made()["results"][0]["lent"]
    other = borrowing.receive(material, "3 kg", "36.00")
    path = f"transfers/{lent['id']}/returns"
    wax = borrowing.receive(borrowing.material("Candelilla wax"), "1 kg", "9.00")
    borrowing.post(path, {"lot": wax, **ON}).refused(422, "invalid", "/lot")
    replaced = borrowing.post(path, {"lot": other, "quantity": "1500 g", **ON}).made()
    done = accepted(lending, replaced["id"])
    assert (done["amount"], done["in_kind"], done["answers"]) == ("15.00", True, lent["id"])
    # The average of 20.00 for 2 kg and 36.00 for 3 kg is 11.20: 16.80 of goods for 15.00 of debt.
    assert borrowing.get(f"transfers/{replaced['id']}").made()["gain"] == "-1.80"
    (owed,) = lending.get("debts-in-kind").made()["results"]
    assert (owed["owed"], owed["owed_value"]) == ("500.000000", "5.00")
    assert lending.get(f"lots/{other}").made()["value"] == "15.00"
    rest = borrowing.post(path, {"lot": other, **ON}).made()
    assert accepted(lending, rest["id"])["amount"] == "5.00"
    assert lending.get("debts-in-kind").made()["results"] == []
    assert balances(lending) == before
    for maker, one in ((lending, lot), (borrowing, lot), (lending, other), (borrowing, other)):
        trace = maker.get(f"lots/{one}/trace", direction="forward").made()
        assert trace["balance"]["difference"] == "0.000000"
    places = lending.get(f"lots/{lot}/trace", direction="forward").made()["balance"]["places"]
    assert {"place": "moved to Borrowing Bench", "quantity": "2000.000000"} in places
    recall = lending.post("recalls", {"lot": lot, "reason": "mould", **ON}).made()
    assert len(recall["progress"]["makers"]) == 1
    done = pair.server.manage("verify_ledger")
    assert done.returncode == 0, done.stdout
