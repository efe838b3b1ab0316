"""A batch that separates, what is kept of it, and where that goes: told through the API.

The amounts are an invented scenario; every figure was worked out by hand beside the rule.
"""

from decimal import Decimal
from typing import Any

from tests.api.client import Client

D = Decimal
DAY = "2025-05-02T09:00:00Z"


def formula_of(maker: Client, name: str, material: str, **facts: Any) -> str:
    lines = [{"material": material, "percent": "100"}]
    body = {"name": name, "phases": [{"name": "A", "lines": lines}], **facts}
    return str(maker.post("formulas", body).made()["id"])


def started(maker: Client, formula: str, size: str, lot: str, poured: str) -> dict[str, Any]:
    """A batch with this much of its one line weighed in."""
    body = {"formula": formula, "batch": size, "planned_for": "2025-05-02"}
    batch: dict[str, Any] = maker.post("batches", body).made()
    weighing = {"line": batch["lines"][0]["id"], "lot": lot, "quantity": poured}
    maker.post(f"batches/{batch['id']}/weighings", {**weighing, "happened_at": DAY}).made()
    return batch


def separated(maker: Client, name: str) -> tuple[dict[str, Any], str, str, str]:
    """10 kg for $160 in a batch whose normal loss is 3 %; the batch, its lot, the formula and the
    material."""
    material = maker.material(f"Emulsion base {name}")
    lot = maker.receive(material, "40 kg", "640")
    formula = formula_of(
        maker, f"Lotion {name}", material, process_loss_percent="3", rework_max_percent="10"
    )
    return started(maker, formula, "10 kg", lot, "10 kg"), lot, formula, material


def test_a_batch_separates_and_a_part_is_kept_for_rework(maker: Client) -> None:
    """160 ÷ 9.7 kg = $16.4948/kg. 2.5 kg kept: $41.24; 7.2 kg abnormal: $118.76; together $160.
    2.5 kg is within 10 % of 30 kg. No input comes back."""
    batch, lot, formula, material = separated(maker, "A")
    before = maker.stock(material)
    scrap = {"kept": {"quantity": "2.5 kg"}, "reason": "separated overnight", "happened_at": DAY}
    done = maker.post(f"batches/{batch['id']}/scrap", scrap).made()
    assert done["state"] == "scrapped"
    assert D(done["cost"]["per_kg"]).quantize(D("0.0001")) == D("16.4948")
    assert (done["cost"]["kept"], done["cost"]["abnormal"]) == ("41.24", "118.76")
    assert done["cost"]["total"] == "160.00"
    assert (D(done["kept_grams"]), D(done["lost_grams"])) == (D(2500), D(7200))
    after = maker.stock(material)
    assert (after["on_hand"], after["value"]) == (before["on_hand"], before["value"])
    assert done["lot"]["status"] == "quarantine"
    assert maker.get(f"lots/{done['lot']['id']}").made()["value"] == "41.24"

    # Into the next batch of 30 kg: 2.5 kg are 8.3333 %.
    following = started(maker, formula, "30 kg", lot, "27.5 kg")
    rework = {
        "lot": done["lot"]["id"],
        "quantity": "2.5 kg",
        "approval": "owner, after the viscosity test",
        "happened_at": DAY,
    }
    reworked = maker.post(f"batches/{following['id']}/reworks", rework).made()
    assert D(reworked["rework_percent"]).quantize(D("0.0001")) == D("8.3333")
    assert (reworked["value"], D(reworked["rework_max_percent"])) == ("41.24", D(10))
    assert "status" in reworked["overrode"]
    finish = {"output": "29 kg", "happened_at": DAY}
    made = maker.post(f"batches/{following['id']}/finish", finish).made()
    assert made["cost"]["materials"] == "481.24"

    # A recall of what went wrong reaches what was made of it.
    trace = maker.get(f"lots/{lot}/trace", direction="forward").made()
    parents = {one["lot"]["id"] if isinstance(one["lot"], dict) else one["lot"]: one["from"]
               for one in trace["lots"]}  # fmt: skip
    assert {done["lot"]["id"], made["lot"]["id"]} <= set(parents)
    into = {step["lot"]: D(step["grams"]) for step in parents[made["lot"]["id"]]}
    assert into == {lot: D(27500), done["lot"]["id"]: D(2500)}
    assert D(trace["balance"]["difference"]) == 0


def test_what_is_kept_is_worth_no_more_than_it_will_bring(maker: Client) -> None:
    """$41.24 by cost, but $30.00 by what it will bring: $130.00 is expensed."""
    batch, *_ = separated(maker, "B")
    kept = {"quantity": "2.5 kg", "nrv": "30.00"}
    scrap = {"kept": kept, "reason": "separated", "happened_at": DAY}
    done = maker.post(f"batches/{batch['id']}/scrap", scrap).made()
    assert (done["cost"]["kept"], done["cost"]["abnormal"]) == ("30.00", "130.00")
    assert maker.get(f"lots/{done['lot']['id']}").made()["value"] == "30.00"


def test_all_of_it_is_scrapped_and_the_scrap_is_undone(maker: Client) -> None:
    """Nothing kept: $160 is expensed, and the trace says that the lot was scrapped. Undone, the
    batch is at work again with all that was in it."""
    batch, lot, *_ = separated(maker, "C")
    scrap = {"reason": "burnt", "happened_at": DAY}
    done = maker.post(f"batches/{batch['id']}/scrap", scrap).made()
    assert (done["lot"], done["cost"]["abnormal"]) == (None, "160.00")
    places = maker.get(f"lots/{lot}/trace", direction="forward").made()["balance"]["places"]
    assert {"place": "scrap", "quantity": "10000.000000"} in places
    again = maker.post(f"batches/{batch['id']}/scrap", scrap)
    again.refused(409, "already_finished")
    undo = {"reason": "the wrong batch", "happened_at": DAY}
    maker.post(f"entries/{done['entry']}/reversal", undo).made()
    assert maker.get(f"batches/{batch['id']}").made()["state"] == "planned"
    finish = {"output": "9.7 kg", "happened_at": DAY}
    made = maker.post(f"batches/{batch['id']}/finish", finish).made()
    assert made["cost"]["total"] == "160.00"


def test_a_part_is_scrapped_and_the_batch_goes_on(maker: Client) -> None:
    """A quarter of the pot is spilt: $40 of $160; $120 goes on."""
    batch, *_ = separated(maker, "D")
    spilt = {"quantity": "2.5 kg", "reason": "boiled over", "happened_at": DAY}
    part = maker.post(f"batches/{batch['id']}/scrap", spilt).made()
    assert (part["state"], part["cost"]["abnormal"]) == ("planned", "40.00")
    too_much = {"quantity": "7.6 kg", "reason": "more", "happened_at": DAY}
    maker.post(f"batches/{batch['id']}/scrap", too_much).refused(409, "not_enough", "/quantity")
    whole = {"quantity": "7.5 kg", "reason": "rest", "happened_at": DAY}
    maker.post(f"batches/{batch['id']}/scrap", whole).refused(422, "invalid", "/quantity")
    finish = {"output": "7 kg", "happened_at": DAY}
    made = maker.post(f"batches/{batch['id']}/finish", finish).made()
    assert made["cost"]["total"] == "120.00"
    stays = maker.post(f"entries/{part['entry']}/reversal", {"reason": "not so much"})
    stays.refused(409, "already_finished")


def test_rework_stays_within_its_maximum(maker: Client) -> None:
    """10 % of 10 kg is 1 kg: 1.001 kg is refused, with a deviation it goes in, and 1 g more not
    without one. What was bought is no rework, and a formula that says nothing allows none."""
    batch, lot, formula, material = separated(maker, "E")
    scrap = {"kept": {"quantity": "5 kg"}, "reason": "separated", "happened_at": DAY}
    kept = maker.post(f"batches/{batch['id']}/scrap", scrap).made()["lot"]["id"]
    following = started(maker, formula, "10 kg", lot, "8 kg")
    path = f"batches/{following['id']}/reworks"
    body = {"lot": kept, "quantity": "1001 g", "approval": "owner", "happened_at": DAY}
    refused = maker.post(path, body).refused(422, "over_maximum", "/quantity")
    assert "1000.00 g" in refused["detail"]
    maker.post(path, {**body, "quantity": "1 kg"}).made()
    maker.post(path, {**body, "quantity": "1 g"}).refused(422, "over_maximum", "/quantity")
    more = {**body, "quantity": "1 g", "deviation": {"reason": "last of it, tested"}}
    assert D(maker.post(path, more).made()["rework_percent"]) == D("10.01")
    # What is weighed back makes room again.
    back = {"lot": kept, "quantity": "101 g", "happened_at": DAY}
    maker.post(f"batches/{following['id']}/weigh-backs", back).made()
    assert D(maker.post(path, {**body, "quantity": "100 g"}).made()["rework_percent"]) == D(10)
    maker.post(path, {**body, "lot": lot}).refused(422, "invalid", "/lot")
    maker.post(path, {**body, "approval": " "}).refused(422, "blank", "/approval")
    # Ten times what was planned is another batch, whoever approves it.
    small = started(maker, formula, "10 g", lot, "1 g")
    most = {**more, "quantity": "100 g"}
    refused = maker.post(f"batches/{small['id']}/reworks", most).refused(
        422, "over_maximum", "/quantity"
    )
    assert "plan one for" in refused["detail"]
    maker.post(f"batches/{small['id']}/reworks", {**most, "quantity": "99.99 g"}).made()
    silent = formula_of(maker, "Lotion of one making", material)
    other = started(maker, silent, "10 kg", lot, "1 kg")
    maker.post(f"batches/{other['id']}/reworks", {**body, "quantity": "1 g"}).refused(
        422, "over_maximum", "/quantity"
    )
    decision = {"decision": "reject", "basis": "smells"}
    maker.post(f"lots/{kept}/decisions", decision).made()
    maker.post(path, more).refused(409, "lot_not_released")


def test_what_is_retained_is_counted_apart(maker: Client) -> None:
    """Ten retained, four testers, and one scrapped, each in a place of its own."""
    lot = maker.receive(maker.material("Jar of cream", measured_by="count"), "40 each", "80")
    for purpose, count in (("retained", "10 each"), ("tester", "4 each"), ("scrap", "1 each")):
        body = {"lines": [{"lot": lot, "quantity": count}], "purpose": purpose, "reason": "stated"}
        maker.post("issues", body).made()
    places = maker.get(f"lots/{lot}/trace", direction="forward").made()["balance"]["places"]
    found = {place["place"]: D(place["quantity"]) for place in places}
    assert found == {"retained": D(10), "tester": D(4), "scrap": D(1), "in store": D(25)}


def test_no_more_comes_back_off_a_line_than_was_weighed_for_it(maker: Client) -> None:
    """One lot on two lines, 3 kg and 1 kg: 2 kg do not come off the second."""
    material = maker.material("Glycerin on two lines")
    lot = maker.receive(material, "10 kg", "100")
    lines = [{"material": material, "percent": percent} for percent in ("75", "25")]
    body = {"name": "Two lines", "phases": [{"name": "A", "lines": lines}]}
    formula = maker.post("formulas", body).made()["id"]
    body = {"formula": formula, "batch": "4 kg", "planned_for": "2025-05-02"}
    batch = maker.post("batches", body).made()
    first, second = (line["id"] for line in batch["lines"])
    for line, quantity in ((first, "3 kg"), (second, "1 kg")):
        weighing = {"line": line, "lot": lot, "quantity": quantity, "happened_at": DAY}
        maker.post(f"batches/{batch['id']}/weighings", weighing).made()
    path = f"batches/{batch['id']}/weigh-backs"
    back = {"line": second, "lot": lot, "quantity": "2 kg", "happened_at": DAY}
    maker.post(path, back).refused(409, "not_enough", "/quantity")
    maker.post(path, {**back, "line": first}).made()
