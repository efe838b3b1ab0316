"""Who owes whom: statements that open to their movements, payments, disputes, clearing."""

from decimal import Decimal
from typing import Any

import pytest

from tests.api.bodies import NOWHERE
from tests.api.client import Answer, Client, Coop, open_coop, sign_in
from tests.api.people import maker_id, member
from tests.running import Running

BENCHES = ("First Bench", "Second Bench", "Third Bench")


@pytest.fixture(scope="module")
def coop(server: Running) -> Coop:
    return open_coop(server, *BENCHES)


@pytest.fixture(scope="module")
def coordinator(coop: Coop) -> Client:
    return coordinating(coop)


def coordinating(coop: Coop) -> Client:
    token = sign_in(coop.server, coop.coordinator).made()
    return Client(coop.server.port, token["token"])


def pays(coop: Coop, payer: str, payee: str, amount: str, day: str = "2025-05-02") -> Answer:
    body = {
        "maker": str(maker_id(coop, payee)),
        "direction": "paid",
        "amount": amount,
        "note": "bank transfer",
        "happened_at": f"{day}T09:00:00Z",
    }
    return coop[payer].post("payments", body)


def owed(maker: Client) -> dict[str, str]:
    """What each other maker owes this one."""
    answer = maker.get("settlement").made()
    return {one["maker"]["name"]: one["balance"] for one in answer["results"]}


def gives(coop: Coop, giver: str, taker: str, price: str, day: str) -> Any:
    """A kilogram for so much in all."""
    on = {"happened_at": f"{day}T09:00:00Z"}
    lot = coop[giver].receive(coop[giver].material(f"Wax of {day} by {giver}"), "1 kg", "5.00")
    body = {"maker": str(maker_id(coop, taker)), "lot": lot, "quantity": "1 kg", "price": price}
    offer = coop[giver].post("transfers", {**body, **on}).made()
    return coop[taker].post(f"transfers/{offer['id']}/acceptance", on).made()


def test_a_statement_opens_to_its_movements(coop: Coop) -> None:
    first, second, third = (coop[name] for name in BENCHES)
    gives(coop, "First Bench", "Second Bench", "10.00", "2025-05-05")
    taken = gives(coop, "First Bench", "Second Bench", "7.50", "2025-06-10")
    paid = pays(coop, "Second Bench", "First Bench", "12.00", "2025-06-30").made()
    assert (paid["amount"], paid["kind"], paid["maker"]["name"]) == (
        "12.00",
        "payment",
        "First Bench",
    )
    june = first.get("settlement/statement", month="2025-06").made()
    assert (june["opening"], june["closing"]) == ("10.00", "5.50")
    assert [(row["kind"], row["amount"]) for row in june["results"]] == [
        ("payment", "-12.00"),
        ("goods", "7.50"),
    ]
    assert june["balances"][0]["maker"]["name"] == "Second Bench"
    goods = june["results"][1]
    assert goods["transfer"] == taken["id"]
    lines = first.get(f"entries/{goods['entry']}").made()["postings"]
    # 5.00 of cost moved as goods, and the rest of the price.
    assert sorted(line["value"] for line in lines if line["account_kind"] == "settlement") == [
        "2.500000",
        "5.000000",
    ]
    own = second.get(f"movements/{goods['id']}").made()
    assert (own["amount"], own["entry"]) == ("-7.50", taken["entry"])
    may = second.get("settlement/statement", month="2025-05").made()
    assert (may["opening"], may["closing"]) == ("0.00", "-10.00")
    assert third.get("settlement/statement", month="2025-06").made()["results"] == []
    third.get(f"movements/{goods['id']}").refused(404, "not_found")
    first.get("settlement/statement", month="2025-13").refused(422, "not_a_month", "/month")
    assert owed(first) == {"Second Bench": "5.50"}
    assert owed(second) == {"First Bench": "-5.50"}
    member(coop, "First Bench", "bench").get("settlement").refused(403, "forbidden")
    # As it was, for the tests below.
    pays(coop, "Second Bench", "First Bench", "5.50").made()
    assert owed(first) == {"Second Bench": "0.00"}


def test_a_payment_is_taken_back_by_a_reversal_in_both_books(coop: Coop) -> None:
    first, second = coop["First Bench"], coop["Second Bench"]
    paid = pays(coop, "First Bench", "Second Bench", "20.00").made()
    assert owed(second)["First Bench"] == "-20.00"
    first.post(f"entries/{paid['entry']}/reversal", {"reason": "slip"}).refused(409, "conflict")
    undone = second.post(f"movements/{paid['id']}/reversal", {"reason": "never came"}).made()
    assert (undone["reverses"], undone["amount"]) == (paid["id"], "20.00")
    entry = first.get(f"movements/{undone['id']}").made()["entry"]
    assert first.get(f"entries/{entry}").made()["reverses"] == paid["entry"]
    first.post(f"movements/{paid['id']}/reversal", {"reason": "x"}).refused(409, "already_reversed")
    first.post(f"movements/{undone['id']}/reversal", {"reason": "x"}).refused(409, "conflict")
    assert owed(second)["First Bench"] == "0.00"
    pays(coop, "First Bench", "First Bench", "1.00").refused(422, "invalid", "/maker")
    pays(coop, "First Bench", "Second Bench", "1.005").refused(422, "money_too_fine", "/amount")
    pays(coop, "First Bench", "Second Bench", "1.00", "2199-01-01").refused(
        422, "invalid", "/happened_at"
    )


def test_what_all_owe_is_cleared_by_the_fewest_payments(coop: Coop, coordinator: Client) -> None:
    """Ten, five and fifteen in a ring, as published: two payments clear three debts."""
    for lender, borrower, amount in ((1, 0, "10.00"), (2, 1, "5.00"), (0, 2, "15.00")):
        pays(coop, BENCHES[lender], BENCHES[borrower], amount).made()
    disputed = pays(coop, "First Bench", "Second Bench", "3.00").made()
    words = {"reason": "it was cash, and two"}
    seen = coop["Second Bench"].post(f"movements/{disputed['id']}/disputes", words).made()
    assert seen["dispute"]["reason"] == words["reason"]
    coop["First Bench"].post(
        f"movements/{disputed['id']}/disputes", {"reason": "no", "disputed": False}
    ).refused(409, "conflict")
    asked = coordinator.get("settlement").made()
    found = {one["maker"]["name"]: (one["balance"], one["disputed"]) for one in asked["results"]}
    assert found == {
        "First Bench": ("8.00", "3.00"),
        "Second Bench": ("2.00", "-3.00"),
        "Third Bench": ("-10.00", "0.00"),
    }
    assert asked["total"] == "0.00"
    due = {
        (one["payer"]["name"], one["payee"]["name"], one["amount"])
        for one in asked["clearing"]["payments"]
    }
    assert due == {
        ("Third Bench", "First Bench", "5.00"),
        ("Third Bench", "Second Bench", "5.00"),
    }
    assert (asked["clearing"]["at_least"], asked["clearing"]["proven"]) == (2, True)
    coop["First Bench"].post("clearings", {}).refused(403, "forbidden")
    made = coordinator.post("clearings", {"note": "May"}).made()
    assert len(made["payments"]) == 2
    (own,) = coop["First Bench"].get("clearings").made()["results"]
    assert [one["amount"] for one in own["payments"]] == ["5.00"]
    assert owed(coop["First Bench"]) == {"Second Bench": "3.00", "Third Bench": "5.00"}
    assert owed(coop["Third Bench"]) == {"First Bench": "-5.00", "Second Bench": "-5.00"}
    for to in ("First Bench", "Second Bench"):
        pays(coop, "Third Bench", to, "5.00", "2025-06-30").made()
    assert owed(coop["Third Bench"]) == {"First Bench": "0.00", "Second Bench": "0.00"}
    over = {"reason": "found the receipt", "disputed": False}
    seen = coop["Second Bench"].post(f"movements/{disputed['id']}/disputes", over).made()
    assert seen["dispute"] is None
    pays(coop, "Second Bench", "First Bench", "3.00").made()
    assert {one["balance"] for one in coordinator.get("settlement").made()["results"]} == {"0.00"}
    coordinator.post("clearings", {}).refused(409, "conflict")
    assert coordinator.get("shares").status == 403, "balances, and no prices of lots"
    done = coop.server.manage("verify_ledger")
    assert done.returncode == 0, done.stdout


def test_the_co_op_s_store_is_named_and_told(coop: Coop, coordinator: Client) -> None:
    first, (_, second, _) = coop["First Bench"], BENCHES
    keeper = {"id": str(maker_id(coop, second)), "name": second}
    path, none = "co-op-store", {"maker": None}
    assert first.get(path).made() == none
    named = {"maker": keeper["id"]}
    first.change("PUT", path, named).refused(403, "forbidden")
    coordinator.change("PUT", path, {"maker": NOWHERE}).refused(422, "not_found", "/maker")
    assert coordinator.change("PUT", path, named).made() == {"maker": keeper}
    assert first.get(path).made() == {"maker": keeper}
    for seen in (first.get("settlement"), coordinator.get("settlement")):
        assert seen.made()["store"] == keeper
    assert first.get("settlement/statement", month="2025-05").made()["store"] == keeper
    assert coordinator.change("PUT", path, none).made() == none
    assert first.get("settlement").made()["store"] is None


def test_makers_that_are_quits_among_themselves_are_cleared_apart(server: Running) -> None:
    """Nine and six are owed; six, five and four are due. Whoever pays the largest first needs four
    payments; six clears six, so three do (makers less groups that are quits; common practice)."""
    coop = open_coop(server, *(f"Bench {letter}" for letter in "ABCDE"))
    for payer, payee, amount in (("A", "C", 6), ("A", "D", 3), ("B", "D", 2), ("B", "E", 4)):
        pays(coop, f"Bench {payer}", f"Bench {payee}", f"{amount}.00").made()
    clearing = coordinating(coop).get("settlement").made()["clearing"]
    assert (clearing["at_least"], clearing["proven"]) == (3, True)
    due = {
        (one["payer"]["name"], one["payee"]["name"], one["amount"]) for one in clearing["payments"]
    }
    assert due == {
        ("Bench C", "Bench B", "6.00"),
        ("Bench D", "Bench A", "5.00"),
        ("Bench E", "Bench A", "4.00"),
    }


def test_of_many_makers_it_is_said_how_few_payments_there_might_be(server: Running) -> None:
    """Sixteen makers in pairs, owing each other what no other pair does, and a bit around."""
    names = [f"Bench {number}" for number in range(16)]
    coop = open_coop(server, *names)
    for number in range(0, 16, 2):
        pays(coop, names[number], names[number + 1], f"{number + 1}.{number:02}").made()
    for payer, payee in zip(names, (*names[1:], names[0]), strict=True):
        pays(coop, payer, payee, "0.50").made()
    asked = coordinating(coop).get("settlement").made()
    clearing = asked["clearing"]
    assert len(clearing["payments"]) == clearing["at_least"] == 8
    left = {one["maker"]["name"]: Decimal(one["balance"]) for one in asked["results"]}
    for one in clearing["payments"]:
        left[one["payer"]["name"]] += Decimal(one["amount"])
        left[one["payee"]["name"]] -= Decimal(one["amount"])
    assert set(left.values()) == {Decimal(0)}
