"""Rows of good practice that no other test shows as a whole: told through the API."""

from decimal import Decimal
from typing import Any

from tests.api.client import Client
from tests.api.test_quality import made_of, planned, retest, status

D = Decimal
DAY = "2025-05-06"


def at(hour: int, day: str = DAY) -> dict[str, str]:
    return {"happened_at": f"{day}T{hour:02}:00:00Z"}


def pour(maker: Client, batch: dict[str, Any], lot: str, **facts: Any) -> Any:
    """100 g of a lot into the one line of a batch."""
    line = batch["lines"][0]["id"]
    body = {"line": line, "lot": lot, "quantity": "100 g", **at(9), **facts}
    return maker.post(f"batches/{batch['id']}/weighings", body)


def kinds_of(maker: Client, lot: str) -> list[tuple[list[str], str]]:
    return [(row["kinds"], row["reason"]) for row in maker.listed("deviations", lot=lot)]


def test_a_delivery_says_from_whom_which_lot_when_and_how_it_came(north: Client) -> None:
    """6.2 and 6.3, and Article 7: without its lot it is refused, and a trace back ends there."""
    oil, supplier = north.material("Argan oil"), north.supplier()
    line = {"material": oil, "supplier_lot": "AR-9", "quantity": "1 kg", "price": "40.00"}
    whole = {"supplier": supplier, "condition": "sealed, 8 degC", "lines": [line], **at(8)}
    for name, pointer in (("supplier", "/supplier"), ("lines", "/lines")):
        body = {field: value for field, value in whole.items() if field != name}
        north.post("receipts", body).refused(422, "required", pointer)
    unmarked = {field: value for field, value in line.items() if field != "supplier_lot"}
    body = {**whole, "lines": [unmarked]}
    north.post("receipts", body).refused(422, "required", "/lines/0/supplier_lot")
    body = {**whole, "lines": [{**line, "supplier_lot": " "}]}
    north.post("receipts", body).refused(422, "blank", "/lines/0/supplier_lot")
    later = {**whole, **at(8, "2199-01-01")}
    north.post("receipts", later).refused(422, "invalid", "/happened_at")
    assert D(north.stock(oil)["on_hand"]) == 0, "what was refused left nothing behind"

    received = north.post("receipts", whole).made()
    kept = north.get(f"receipts/{received['id']}").made()
    assert (kept["supplier"], kept["condition"]) == (supplier, "sealed, 8 degC")
    lot = north.get(f"lots/{received['lines'][0]['lot']['id']}").made()
    assert (lot["supplier"], lot["supplier_lot"]) == (supplier, "AR-9")
    assert (lot["arrived_on"], lot["status"]) == (DAY, "quarantine")
    north.post(f"lots/{lot['id']}/decisions", {"decision": "release", "basis": "seen"}).made()
    balm = made_of(north, lot["id"], "Argan balm")
    sold = {"lines": [{"lot": balm, "quantity": "10 g"}], "customer": "stall 4"}
    north.post("sales", sold).made()
    back = north.get(f"lots/{balm}/trace", direction="back").made()
    (source,) = [one for one in back["lots"] if one["lot"] == lot["id"]]
    assert (source["supplier_lot"], source["supplier"]) == ("AR-9", supplier)
    (buyer,) = north.get(f"lots/{lot['id']}/recall-list").made()["direct_accounts"]
    assert (buyer["customer"], D(buyer["sold"])) == ("stall 4", D(10))


def test_a_lot_has_its_own_number_and_a_status_that_somebody_decided(north: Client) -> None:
    """6.4: quarantined, released, on hold, rejected; each decision with its reason stays."""
    lot = north.receive(north.material("Shea butter"), "1 kg", "9.00", release=False)
    steps = ["quarantine"]
    for decision in ("release", "hold", "reject"):
        body = {"decision": decision, "basis": f"why: {decision}"}
        steps.append(north.post(f"lots/{lot}/decisions", body).made()["status"])
    assert steps == ["quarantine", "released", "hold", "rejected"]
    shown = north.get(f"lots/{lot}").made()
    assert shown["status"] == "rejected"
    label = north.get(f"lots/{lot}/label", format="html").raw.decode()
    assert shown["code"] in label
    rows = north.listed(f"lots/{lot}/decisions")
    assert [row["basis"] for row in rows] == ["why: reject", "why: hold", "why: release"]
    assert all(row["person"] and row["decided_at"] for row in rows)
    other = north.receive(shown["material"], "1 kg", "9.00")
    assert north.get(f"lots/{other}").made()["code"] != shown["code"]


def test_what_nobody_released_is_used_only_by_a_named_deviation(north: Client) -> None:
    """6.5: a draw and a sale are refused; by a deviation it goes, and the register says why."""
    lot = north.receive(north.material("Jojoba oil"), "1 kg", "30.00", release=False)
    formula = formula_of(north, lot, "Jojoba balm")
    size = {"formula": formula, "batch": "100 g", "planned_for": DAY}
    batch = north.post("batches", size).made()
    pour(north, batch, lot).refused(409, "lot_not_released")
    sale = {"lines": [{"lot": lot, "quantity": "1 g"}], "customer": "stall 4", **at(10)}
    north.post("sales", sale).refused(409, "lot_not_released")
    assert kinds_of(north, lot) == []
    why = {"deviation": {"reason": "the certificate is on its way"}}
    assert pour(north, batch, lot, **why).made()["overrode"] == ["status"]
    assert kinds_of(north, lot) == [(["status"], "the certificate is on its way")]


def test_what_comes_back_is_on_hold_until_somebody_has_looked(north: Client) -> None:
    """8 and returns examined: the lot and what was made of it; a decision frees it again."""
    lot = north.receive(north.material("Mango butter"), "1 kg", "30.00")
    balm = made_of(north, lot, "Mango balm")
    lines = [{"lot": lot, "quantity": "100 g"}]
    sale = north.post("sales", {"lines": lines, "customer": "stall 4", **at(13)}).made()["entry"]
    back = {"sale": sale, "lines": [{"lot": lot, "quantity": "40 g"}], "reason": "opened", **at(14)}
    north.post("customer-returns", {**back, "hold": {"basis": " "}}).refused(
        422, "blank", "/hold/basis"
    )
    assert status(north, lot) == "released", "what was refused holds nothing"
    north.post("customer-returns", {**back, "hold": {"basis": "opened, to be looked at"}}).made()
    assert [status(north, one) for one in (lot, balm)] == ["hold", "hold"]
    (latest, *_) = north.listed(f"lots/{lot}/decisions")
    assert (latest["decision"], latest["basis"]) == ("hold", "opened, to be looked at")
    again = {"lines": [{"lot": lot, "quantity": "1 g"}], "customer": "stall 5", **at(15)}
    north.post("sales", again).refused(409, "lot_not_released")
    body = {"decision": "release", "basis": "seal whole"}
    north.post(f"lots/{lot}/decisions", body).made()
    north.post("sales", again).made()
    north.post("customer-returns", {**back, "hold": None}).made()
    assert status(north, lot) == "released", "who asks for no hold gets none"


def test_after_its_retest_date_a_lot_waits_until_it_is_tested_again(north: Client) -> None:
    """6.7: the day after it is used no more; a test moves the date, and then it is."""
    lot = north.receive(
        north.material("Rosehip oil"),
        "1 kg",
        "20.00",
        retest_on="2025-05-05",
        expires_on="2026-06-01",
    )
    formula = formula_of(north, lot, "Rosehip balm")
    size = {"formula": formula, "batch": "100 g", "planned_for": DAY}
    batch = north.post("batches", size).made()
    assert D(batch["lines"][0]["short"]) == 100, "no plan counts on it"
    pour(north, batch, lot).refused(409, "lot_expired")
    retest(north, lot, retest_on="2025-12-01", tested_on=DAY).made()
    pour(north, batch, lot, **at(12)).made()
    shown = north.get(f"lots/{lot}").made()
    assert (shown["retest_on"], shown["expires_on"]) == ("2025-12-01", "2026-06-01")
    assert kinds_of(north, lot) == [], "nobody had to override anything"


def test_surplus_goes_back_weighed_to_its_lot_and_keeps_its_status(north: Client) -> None:
    """7.2.7: 100 g went in, 30 come back at the value that they went in with; put on hold
    meanwhile, the lot stays on hold."""
    lot = north.receive(north.material("Squalane"), "1 kg", "50.00")
    formula = formula_of(north, lot, "Squalane balm")
    batch = planned(north, formula, lot, "100")
    north.post(f"lots/{lot}/decisions", {"decision": "hold", "basis": "cloudy"}).made()
    line = batch["lines"][0]["id"]
    back = {"line": line, "lot": lot, "quantity": "30 g", **at(11)}
    done = north.post(f"batches/{batch['id']}/weigh-backs", back).made()
    assert (D(done["quantity"]["grams"]), done["value"]) == (D(-30), "-1.50")
    shown = north.get(f"lots/{lot}").made()
    assert (shown["status"], D(shown["on_hand"]["grams"])) == ("hold", D(930))
    assert (shown["value"], shown["code"]) == ("46.50", back_label(north, lot))


def back_label(maker: Client, lot: str) -> str:
    """The code on the label that is stuck on what came back: the one that it had."""
    code = str(maker.get(f"lots/{lot}").made()["code"])
    assert code in maker.get(f"lots/{lot}/label", format="html").raw.decode()
    return code


def test_a_change_is_a_new_version_and_a_batch_keeps_its_own(north: Client) -> None:
    """7.2, 13 and 15: what was planned by version 1 stays so when version 2 is written."""
    lot = north.receive(north.material("Kaolin"), "2 kg", "10.00")
    formula = formula_of(north, lot, "Clay mask")
    old = planned(north, formula, lot, "100")
    material = north.get(f"lots/{lot}").made()["material"]
    water = north.material("Aqua", stocked=False)
    lines = [{"material": water, "balance": True}, {"material": material, "percent": "40"}]
    read = north.get(f"formulas/{formula}")
    changed = {"name": "Clay mask", "phases": [{"name": "A", "lines": lines}]}
    written = north.post(f"formulas/{formula}/versions", changed, If_Match=read.headers["ETag"])
    assert written.made()["version"] == 2
    kept = north.get(f"batches/{old['id']}").made()
    assert (kept["version"], [D(one["grams"]) for one in kept["lines"]]) == (1, [D(100)])
    size = {"formula": formula, "batch": "100 g", "planned_for": DAY}
    new = north.post("batches", size).made()
    assert (new["version"], [D(one["grams"]) for one in new["lines"]]) == (2, [D(60), D(40)])


def test_nothing_that_was_written_down_can_be_removed(north: Client) -> None:
    """17 and Articles 10 and 11: of a batch and all that it rests on there is no removal."""
    lot = north.receive(north.material("Candelilla wax"), "1 kg", "30.00")
    formula = formula_of(north, lot, "Candelilla balm")
    batch = planned(north, formula, lot, "100")
    paths = [f"lots/{lot}", f"formulas/{formula}", f"batches/{batch['id']}"]
    entry = north.get(paths[-1]).made()["weighings"][0]["entry"]
    for path in (*paths, f"entries/{entry}", f"lots/{lot}/decisions"):
        assert north.raw("DELETE", path).status == 405, path
        assert north.get(path).status == 200, path


def test_a_scent_is_held_against_its_certificate_for_that_kind_of_product(north: Client) -> None:
    """0.6 % of a scent: too much for what stays on, of which 0.5 % may be; not for rinsed off."""
    maxima = [
        {"kind": "leave_on", "max_percent": "0.5"},
        {"kind": "rinse_off", "max_percent": "2", "category": "category 9"},
    ]
    scent = north.material("Parfum of lilies", cautions=["fragrance"], maxima=maxima)
    base = north.material("Lotion base")
    lines = [{"material": base, "balance": True}, {"material": scent, "percent": "0.6"}]
    body: dict[str, Any] = {"name": "Lily lotion", "phases": [{"name": "A", "lines": lines}]}
    formula = north.post("formulas", body).made()["id"]
    told = {}
    for use in ("leave_on", "rinse_off", None):
        body = {"name": f"Lily {use}", "formula": formula, "fill": {"nominal": "100 g"}}
        made = north.post("products", {**body, "packaging": [], "use": use}).made()
        cautions = north.get(f"products/{made['id']}").made()["cautions"]
        told[use] = {one["code"]: one["about"] for one in cautions}
    too_much = ["Parfum of lilies: 0.6 %, at most 0.5 % for leave-on"]
    assert told["leave_on"]["above_certificate"] == too_much
    assert "above_certificate" not in told["rinse_off"]
    assert too_much[0] in told[None]["above_certificate"], "of no kind that is known, all count"


def formula_of(maker: Client, lot: str, name: str) -> str:
    """A formula of nothing but what the lot is of."""
    material = maker.get(f"lots/{lot}").made()["material"]
    phases = [{"name": "A", "lines": [{"material": material, "percent": "100"}]}]
    return str(maker.post("formulas", {"name": name, "phases": phases}).made()["id"])
