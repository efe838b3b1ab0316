"""The deviation register: everything that was overridden, by whom, when and why."""

from typing import Any

import pytest

from tests.api.client import Client, open_coop
from tests.running import Running

DAY = "2025-05-14"


@pytest.fixture(scope="module")
def maker(server: Running) -> Client:
    return open_coop(server, "North Bench")["North Bench"]


@pytest.fixture(scope="module")
def happened(maker: Client) -> dict[str, Any]:
    """One of each: an old lot, an unreleased one, too much, too hot, unlisted, a sale, a note."""
    oil, acid, dye = (maker.material(name) for name in ("Squalane", "Lactic Acid", "CI 19140"))
    old = maker.receive(oil, "5 kg", "50.00", expires_on="2025-05-10")
    fresh = maker.receive(oil, "5 kg", "50.00", release=False)
    sour = maker.receive(acid, "1 kg", "9.00")
    colour = maker.receive(dye, "1 kg", "9.00")
    effect = {"typical_percent": "1", "max_percent": "2"}
    lines = [
        {"material": oil, "balance": True},
        {"material": acid, "to_effect": effect, "max_temperature": "40 degC"},
    ]
    formula = maker.post("formulas", {"name": "Oil", "phases": [{"name": "A", "lines": lines}]})
    size = {"formula": formula.made()["id"], "batch": "1 kg", "planned_for": DAY}
    batch = maker.post("batches", size).made()
    path, (base, effected) = f"batches/{batch['id']}", (line["id"] for line in batch["lines"])

    def weigh(lot: str, grams: str, why: str, **facts: Any) -> str:
        body = {"lot": lot, "quantity": f"{grams} g", "happened_at": f"{DAY}T10:00:00Z", **facts}
        if why:
            body["deviation"] = {"reason": why}
        return str(maker.post(f"{path}/weighings", body).made()["entry"])

    hot = {"measure": "temperature", "value": "70 degC", "happened_at": f"{DAY}T09:00:00Z"}
    maker.post(f"{path}/measurements", hot).made()
    sale = {
        "lines": [{"lot": old, "quantity": "1 g"}],
        "customer": "stall 4",
        "happened_at": f"{DAY}T12:00:00Z",
        "deviation": {"reason": "sold as old stock"},
    }
    return {
        "batch": batch,
        "old": old,
        "last_usable_day": weigh(old, "500", "retested today", line=base),
        "status": weigh(fresh, "400", "the certificate is on its way", line=base),
        "too_much": weigh(sour, "50", "pH still 7", line=effected),
        "listed": weigh(colour, "1", "the customer's wish", line=None, material=dye),
        "unlisted": weigh(colour, "1", "", line=None, material=dye),
        "sale": maker.post("sales", sale).made()["entry"],
    }


def entries(rows: list[dict[str, Any]]) -> list[str]:
    return [row["entry"] for row in rows]


def test_everything_that_was_overridden_is_in_it(maker: Client, happened: dict[str, Any]) -> None:
    rows = maker.listed("deviations", limit=2)
    order = ["sale", "unlisted", "listed", "too_much", "status", "last_usable_day"]
    assert entries(rows) == [happened[name] for name in order], "page by page, the latest first"
    told = {row["entry"]: row for row in rows}
    kinds = {name: told[happened[name]]["kinds"] for name in order}
    assert kinds == {
        "sale": ["last_usable_day"],
        "unlisted": ["not_in_formula"],
        "listed": ["not_in_formula"],
        "too_much": ["maximum_percent", "maximum_temperature"],
        "status": ["status"],
        "last_usable_day": ["last_usable_day"],
    }
    row = told[happened["too_much"]]
    assert (row["reason"], row["event"], row["happened_at"][:10]) == ("pH still 7", "draw", DAY)
    assert (row["batch"], row["batch_code"]) == (happened["batch"]["id"], happened["batch"]["code"])
    assert row["person_name"].startswith("owner-")
    assert told[happened["unlisted"]]["reason"] == ""
    assert told[happened["sale"]]["batch"] is None
    assert told[happened["sale"]]["lots"] == [happened["old"]]


@pytest.mark.parametrize(
    ("wanted", "names"),
    [
        ({"kind": "maximum_temperature"}, ["too_much"]),
        ({"kind": "not_in_formula"}, ["unlisted", "listed"]),
        ({"kind": "last_usable_day"}, ["sale", "last_usable_day"]),
        ({"kind": "noted"}, []),
        ({"since": "2025-05-15"}, []),
        ({"since": DAY, "kind": "status"}, ["status"]),
    ],
)
def test_the_register_is_asked_for_some_of_it(
    maker: Client, happened: dict[str, Any], wanted: dict[str, str], names: list[str]
) -> None:
    assert entries(maker.listed("deviations", **wanted)) == [happened[name] for name in names]


def test_by_batch_and_by_lot(maker: Client, happened: dict[str, Any]) -> None:
    of_batch = entries(maker.listed("deviations", batch=happened["batch"]["id"]))
    assert len(of_batch) == 5
    assert happened["sale"] not in of_batch
    of_lot = entries(maker.listed("deviations", lot=happened["old"]))
    assert of_lot == [happened["sale"], happened["last_usable_day"]]
    maker.get("deviations", kind="whim").refused(422, "invalid_choice", "/kind")


def test_a_reason_in_no_rules_way_is_noted_and_a_reversal_is_shown(maker: Client) -> None:
    oil = maker.material("Squalane")
    lot = maker.receive(oil, "1 kg", "50.00")
    sale = {
        "lines": [{"lot": lot, "quantity": "1 g"}],
        "customer": "stall 4",
        "happened_at": f"{DAY}T12:00:00Z",
        "deviation": {"reason": "smells stronger than usual"},
    }
    entry = maker.post("sales", sale).made()["entry"]
    (row,) = maker.listed("deviations", lot=lot)
    assert (row["kinds"], row["reversed_by"]) == (["noted"], None)
    assert entry in entries(maker.listed("deviations", kind="noted"))
    undone = maker.post(f"entries/{entry}/reversal", {"reason": "it was the other lot"}).made()
    (row,) = maker.listed("deviations", lot=lot)
    assert row["reversed_by"] == undone["entry"]


def test_an_older_lot_is_named_and_never_stands_in_the_way(maker: Client) -> None:
    """A program that pours the lot it chose goes on as before; the register has it either way."""
    oil = maker.material("Jojoba oil")
    old = maker.receive(oil, "1 kg", "50.00", expires_on="2025-07-01")
    new = maker.receive(oil, "1 kg", "50.00", expires_on="2025-09-01")
    phases = [{"name": "A", "lines": [{"material": oil, "percent": "100"}]}]
    formula = maker.post("formulas", {"name": "Jojoba", "phases": phases}).made()
    size = {"formula": formula["id"], "batch": "100 g", "planned_for": DAY}
    batch = maker.post("batches", size).made()
    line = batch["lines"][0]["id"]

    def weigh(lot: str, **facts: Any) -> dict[str, Any]:
        body = {"line": line, "lot": lot, "quantity": "10 g", "happened_at": f"{DAY}T10:00:00Z"}
        return dict(maker.post(f"batches/{batch['id']}/weighings", {**body, **facts}).made())

    silent, told = weigh(new), weigh(new, deviation={"reason": "the old one is at the back"})
    assert (silent["earlier_lot"]["id"], silent["earlier_lot"]["last_day"]) == (old, "2025-07-01")
    assert weigh(old)["earlier_lot"] is None
    rows = maker.listed("deviations", kind="newer_lot")
    assert entries(rows) == [told["entry"], silent["entry"]]
    assert [row["reason"] for row in rows] == ["the old one is at the back", ""]
