"""A drum is drawn off into lots, its heel shared, and settled to the cent."""

from typing import Any

import pytest

from tests.api.client import Client, Coop, open_coop, sign_in
from tests.api.files import pdf
from tests.api.people import maker_id, member
from tests.running import Running

ON = {"happened_at": "2025-05-05T09:00:00Z"}
LATER = {"happened_at": "2025-05-06T09:00:00Z"}
BENCHES = ("Arch Bench", "Brook Bench", "Cove Bench", "Dell Bench")


@pytest.fixture(scope="module")
def coop(server: Running) -> Coop:
    return open_coop(server, *BENCHES)


@pytest.fixture(scope="module")
def drum(coop: Coop) -> dict[str, Any]:
    """200 kg for 760.00, with tax and with freight that another maker has paid."""
    holder = coop["Arch Bench"]
    material = holder.material("Decyl glucoside", density="1.10 g/mL", inci_name="Decyl Glucoside")
    line = {
        "material": material,
        "supplier_lot": "DG-200",
        "quantity": "200 kg",
        "price": "760.00",
        "expires_on": "2027-05-01",
        "retest_on": "2026-05-01",
    }
    receipt = {
        "supplier": holder.supplier(),
        "lines": [line],
        "charges": [
            {"kind": "tax", "amount": "45.60", "spread_by": "value"},
            {"kind": "freight", "amount": "83.97", "spread_by": "mass"},
        ],
        "release": {"basis": "certificate seen"},
        **ON,
    }
    made = holder.post("receipts", receipt).made()
    assert made["total"] == "889.57"
    lot = made["lines"][0]["lot"]
    holder.upload(f"lots/{lot['id']}/documents", pdf("drum"), kind="coa").made()
    deposit = {"supplier": receipt["supplier"], "amount": "25.00", "lot": lot["id"], **ON}
    kept = holder.post("deposits", deposit).made()
    return {**lot, "material": material, "deposit": kept}


@pytest.fixture(scope="module")
def decanted(coop: Coop, drum: dict[str, Any]) -> dict[str, Any]:
    to = {name: str(maker_id(coop, name)) for name in BENCHES}
    body = {
        "draws": [
            {"gross": "80.8 kg", "tare": "2 kg"},
            {"net": "59.1 kg", "maker": to["Brook Bench"]},
            {"net": "34.4 kg", "maker": to["Cove Bench"]},
            {"net": "24.5 kg", "maker": to["Dell Bench"]},
        ],
        "paid": [
            {"maker": to["Brook Bench"], "amount": "83.97", "note": "freight, to the carrier"}
        ],
        **ON,
    }
    return dict(coop["Arch Bench"].post(f"lots/{drum['id']}/decantings", body).made())


def balances(maker: Client) -> dict[str, str]:
    answer = maker.get("settlement").made()
    return {one["maker"]["name"]: one["balance"] for one in answer["results"]}


def test_the_drum_is_shared_to_the_cent(
    coop: Coop, drum: dict[str, Any], decanted: dict[str, Any]
) -> None:
    assert (decanted["cost"], decanted["drawn"], decanted["heel"]) == (
        "889.57",
        "196800.000000",
        "3200.000000",
    )
    # 889.57 / 196.8 kg
    assert decanted["unit_cost"] == {"amount": "4.520173", "per": "kg"}
    assert [one["share"] for one in decanted["draws"]] == ["356.19", "267.14", "155.49", "110.75"]
    first = decanted["draws"][0]
    assert (first["gross"], first["tare"], first["transfer"]) == (
        "80800.000000",
        "2000.000000",
        None,
    )
    names = {str(maker_id(coop, name)): name for name in BENCHES}
    settled = {names[one["maker"]]: one["receives"] for one in decanted["settlement"]}
    assert settled == {
        "Arch Bench": "449.41",
        "Brook Bench": "-183.17",
        "Cove Bench": "-155.49",
        "Dell Bench": "-110.75",
    }
    assert "accountant" in decanted["caution"]
    holder = coop["Arch Bench"]
    assert holder.get(f"lots/{drum['id']}").made()["on_hand"] == {"grams": "0.000000"}
    assert holder.get(f"lots/{first['lot']['id']}").made()["value"] == "356.19"


def test_a_child_lot_is_what_the_drum_was(
    coop: Coop, drum: dict[str, Any], decanted: dict[str, Any]
) -> None:
    holder = coop["Arch Bench"]
    was = holder.get(f"lots/{drum['id']}").made()
    for draw in decanted["draws"]:
        child = holder.get(f"lots/{draw['lot']['id']}").made()
        for name in ("supplier", "supplier_lot", "expires_on", "retest_on", "material", "status"):
            assert child[name] == was[name], name
        (paper,) = holder.get(f"lots/{child['id']}/documents").made()["results"]
        assert paper["kind"] == "coa"
        (decision,) = holder.get(f"lots/{child['id']}/decisions").made()["results"]
        assert decision["basis"] == f"drawn from {was['code']}, released as it was"
    codes = {draw["lot"]["code"] for draw in decanted["draws"]}
    assert len(codes) == 4
    assert holder.get(f"decantings/{decanted['id']}").made()["draws"] == decanted["draws"]
    (listed,) = holder.get(f"lots/{drum['id']}/decantings").made()["results"]
    assert listed["id"] == decanted["id"]
    coop["Brook Bench"].get(f"decantings/{decanted['id']}").refused(404, "not_found")
    bench = member(coop, "Arch Bench", "bench")
    seen = bench.get(f"decantings/{decanted['id']}").made()
    assert (seen["cost"], seen["draws"][0]["share"]) == (None, None)


def test_a_trace_follows_through_what_was_drawn(
    coop: Coop, drum: dict[str, Any], decanted: dict[str, Any]
) -> None:
    holder = coop["Arch Bench"]
    children = {draw["lot"]["id"] for draw in decanted["draws"]}
    found = holder.get(f"lots/{drum['id']}/trace", direction="forward").made()
    assert {row["lot"] for row in found["lots"]} == {drum["id"], *children}
    assert found["balance"]["difference"] == "0.000000"
    assert {"place": "heel", "quantity": "3200.000000"} in found["balance"]["places"]
    back = holder.get(f"lots/{children.copy().pop()}/trace", direction="back").made()
    assert drum["id"] in {row["lot"] for row in back["lots"]}
    listed = holder.get(f"lots/{drum['id']}/recall-list").made()
    assert {row["lot"] for row in listed["lots"]} == {drum["id"], *children}


def test_it_is_settled_by_the_month_s_end(
    coop: Coop, drum: dict[str, Any], decanted: dict[str, Any]
) -> None:
    taken = dict(zip(BENCHES[1:], decanted["draws"][1:], strict=True))
    for name, draw in taken.items():
        answer = coop[name].post(
            f"transfers/{draw['transfer']}/acceptance", {**LATER, "release": {"basis": "seen"}}
        )
        assert answer.made()["amount"] == draw["share"]
        here = coop[name].get(f"lots/{draw['lot']['id']}").made()
        assert (here["value"], here["supplier_lot"]) == (draw["share"], "DG-200")
        (paper,) = coop[name].get(f"lots/{draw['lot']['id']}/documents").made()["results"]
        assert paper["kind"] == "coa"
        working = coop[name].get(f"lots/{draw['lot']['id']}", explain=1).made()["working"]
        assert (working["name"], working["facts"]["from"]) == ("moved", "Arch Bench")
    holder = coop["Arch Bench"]
    working = holder.get(f"lots/{taken['Cove Bench']['lot']['id']}", explain=1).made()["working"]
    assert (working["name"], working["amount"]) == ("decanted", "155.490000")
    assert working["parts"][0]["amount"] == "889.570000"
    assert balances(holder) == {
        "Brook Bench": "183.17",
        "Cove Bench": "155.49",
        "Dell Bench": "110.75",
    }
    token = sign_in(coop.server, coop.coordinator).made()["token"]
    coordinator = Client(coop.server.port, token)
    asked = coordinator.get("settlement").made()
    assert {one["maker"]["name"]: one["balance"] for one in asked["results"]} == {
        "Arch Bench": "449.41",
        "Brook Bench": "-183.17",
        "Cove Bench": "-155.49",
        "Dell Bench": "-110.75",
    }
    # A recall of the drum reaches whoever has some of it.
    listed = holder.get(f"lots/{drum['id']}/recall-list").made()
    assert sum("moved to" in str(row) for row in listed["lots"]) == 3
    for due in asked["clearing"]["payments"]:
        body = {
            "maker": due["payee"]["id"],
            "direction": "paid",
            "amount": due["amount"],
            "note": "bank transfer",
        }
        coop[due["payer"]["name"]].post("payments", body).made()
    assert {one["balance"] for one in coordinator.get("settlement").made()["results"]} == {"0.00"}
    done = coop.server.manage("verify_ledger")
    assert done.returncode == 0, done.stdout


def test_a_deposit_is_owed_and_never_a_cost(coop: Coop, drum: dict[str, Any]) -> None:
    holder, kept = coop["Arch Bench"], drum["deposit"]
    lines = holder.get(f"entries/{kept['entry']}").made()["postings"]
    assert {(line["account_kind"], line["value"]) for line in lines} == {
        ("supplier", "-25.000000"),
        ("deposit", "25.000000"),
    }
    (due,) = holder.get("deposits", state="due").made()["results"]
    assert (due["amount"], due["lot"], due["returned_at"]) == ("25.00", drum["id"], None)
    holder.post(f"deposits/{kept['id']}/return", {"happened_at": "2025-05-01T09:00:00Z"}).refused(
        422, "invalid", "/happened_at"
    )
    holder.post(f"entries/{kept['entry']}/reversal", {"reason": "x"}).refused(409, "conflict")
    back = holder.post(f"deposits/{kept['id']}/return", {"happened_at": "2025-05-25T09:00:00Z"})
    assert back.made()["days_out"] == 20
    holder.post(f"deposits/{kept['id']}/return", {}).refused(409, "conflict")
    assert holder.get("deposits", state="due").made()["results"] == []


def test_what_cannot_be_drawn_is_refused(coop: Coop) -> None:
    holder = coop["Brook Bench"]
    oil = holder.material("Grapeseed oil", density="0.92 g/mL")
    lot = holder.receive(oil, "10 kg", "50.00")
    path = f"lots/{lot}/decantings"

    def draws(*some: dict[str, str], **facts: Any) -> Any:
        return holder.post(path, {"draws": list(some), **ON, **facts})

    told = draws({"net": "11 kg"}).refused(409, "not_enough", "/draws")
    assert told["left"] == "10000.000000"
    draws({"gross": "1 kg"}).refused(422, "invalid", "/draws/0")
    draws({"gross": "1 kg", "tare": "1 kg"}).refused(422, "quantity_not_positive", "/draws/0/gross")
    draws({"net": "1 each"}).refused(422, "unit_wrong", "/draws/0/net")
    over = {"maker": str(maker_id(coop, "Cove Bench")), "amount": "50.01", "note": "all of it"}
    draws({"net": "1 kg"}, paid=[over]).refused(422, "invalid", "/paid")
    # By volume, and the rest stays in the drum.
    made = draws({"net": "2 L"}, emptied=False).made()
    assert (made["drawn"], made["heel"], made["cost"]) == ("1840.000000", "0", "9.20")
    assert holder.get(f"lots/{lot}").made()["on_hand"]["grams"] == "8160.000000"
    holder.post(f"entries/{made['entry']}/reversal", {"reason": "wrong drum"}).made()
    assert holder.get(f"decantings/{made['id']}").made()["reversed"]
    assert holder.get(f"lots/{lot}").made()["on_hand"]["grams"] == "10000.000000"
    holder.post(f"lots/{lot}/decisions", {"decision": "hold", "basis": "cloudy"}).made()
    draws({"net": "1 kg"}).refused(409, "lot_not_released")
