"""What comes out beside the main product, and samples for their purposes: told through the API.

The amounts are an invented scenario; every figure was worked out by hand beside the rule.
"""

from decimal import Decimal
from typing import Any

from tests.api.client import Client

D = Decimal
DAY = "2025-05-02T09:00:00Z"


class Rendering:
    """4 kg of comb for $40, rendered: wax, and slum that others burn."""

    def __init__(self, maker: Client, name: str) -> None:
        self.maker = maker
        self.comb = maker.material(f"Comb {name}")
        self.slum = maker.material(f"Slum {name}", shelf_life_days=30)
        self.lot = maker.receive(self.comb, "4 kg", "40")
        lines = [{"material": self.comb, "percent": "100"}]
        body = {"name": f"Cera Alba {name}", "phases": [{"name": "melt", "lines": lines}]}
        self.made = maker.post("formulas", {**body, "process_loss_percent": "5"}).made()

    def batch(self, **size: Any) -> str:
        """4 kg weighed in."""
        size = size or {"formula": self.made["id"], "batch": "4 kg"}
        batch = self.maker.post("batches", {**size, "planned_for": "2025-05-02"}).made()
        weighing = {"line": batch["lines"][0]["id"], "lot": self.lot, "quantity": "4 kg"}
        path = f"batches/{batch['id']}"
        self.maker.post(f"{path}/weighings", {**weighing, "happened_at": DAY}).made()
        return str(batch["id"])

    def beside(self, **facts: Any) -> dict[str, Any]:
        return {"material": self.slum, "quantity": "800 g", "nrv": "4.00", **facts}

    def finish(self, batch: str, **facts: Any) -> Any:
        body = {"output": "3 kg", "happened_at": DAY, "by_products": [self.beside()], **facts}
        return self.maker.post(f"batches/{batch}/finish", body)


def test_what_a_by_product_brings_is_deducted(maker: Client) -> None:
    """$40 - $4 = $36 for 3 kg of wax: $12 a kilogram. 200 g are lost, as 5 % of 4 kg should be."""
    rendering = Rendering(maker, "A")
    batch = rendering.batch()
    made = rendering.finish(batch).made()
    cost = made["cost"]
    assert (cost["inputs"], cost["by_products"], cost["total"]) == ("40.00", "4.00", "36.00")
    assert D(cost["per_kg"]) == D(12)
    assert D(made["loss"]["actual_grams"]) == D(made["loss"]["expected_grams"]) == D(200)
    places = {one["place"]: D(one["grams"]) for one in made["mass_balance"]["places"]}
    assert places == {"output": D(3000), "by-products": D(800), "process loss": D(200)}
    (beside,) = made["by_products"]
    assert (D(beside["grams"]), beside["nrv"]) == (D(800), "4.00")
    lot = maker.get(f"lots/{beside['lot']}", explain=1).made()
    assert (lot["value"], lot["status"], lot["expires_on"]) == ("4.00", "quarantine", "2025-06-01")
    assert lot["working"]["name"] == "by-product"
    assert maker.get(f"lots/{made['lot']['id']}").made()["value"] == "36.00"
    working = maker.get(f"batches/{batch}", explain=1).made()["working"]["parts"]
    total = next(part for part in working if part["name"] == "total")
    assert [part["name"] for part in total["parts"]] == ["inputs", "by-products", "abnormal"]


def test_both_are_traced_and_taken_back_together(maker: Client) -> None:
    """All of the comb is in the two lots by their mass: 4,000 g as 3,000 to 800."""
    rendering = Rendering(maker, "B")
    batch = rendering.batch()
    made = rendering.finish(batch).made()
    (beside,) = made["by_products"]
    trace = maker.get(f"lots/{rendering.lot}/trace", direction="forward").made()
    assert {lot["lot"] for lot in trace["lots"]} == {
        rendering.lot,
        made["lot"]["id"],
        beside["lot"],
    }
    places = {one["place"]: D(one["quantity"]) for one in trace["balance"]["places"]}
    assert places == {f"made into {made['lot']['code']}, {beside['code']}": D(4000)}
    recall = maker.get(f"lots/{rendering.lot}/recall-list").made()
    assert D(recall["balance"]["unexplained"]) == 0
    shares = {lot["lot"]: lot["places"] for lot in recall["lots"]}
    (in_slum,) = shares[beside["lot"]]
    assert D(in_slum["of_recalled"]).quantize(D("0.01")) == D("842.11")

    undo = {"reason": "the wrong scale", "happened_at": DAY}
    maker.post(f"entries/{made['entry']}/reversal", undo).made()
    assert maker.get(f"batches/{batch}").made()["state"] == "planned"
    assert D(maker.stock(rendering.slum)["on_hand"]) == 0
    again = rendering.finish(batch, by_products=[]).made()
    assert (again["by_products"], again["cost"]["by_products"]) == ([], "0.00")
    assert again["cost"]["total"] == "40.00"


def test_a_declared_loss_costs_what_is_left_after_the_by_product(maker: Client) -> None:
    """500 g of (3,000 + 500) g at $36: $5.14 are expensed, and $30.86 go on."""
    rendering = Rendering(maker, "C")
    lost = {"quantity": "500 g", "reason": "spilt"}
    made = rendering.finish(rendering.batch(), abnormal_loss=lost).made()
    assert (made["cost"]["abnormal"], made["cost"]["total"]) == ("5.14", "30.86")
    assert D(made["loss"]["actual_grams"]) == D(-300)


def test_units_and_grams_share_a_recalled_lot_by_their_mass(maker: Client) -> None:
    """60 pots of 50 g beside 800 g: 3,000 to 800 of the 4,000 g, not 60 to 800."""
    rendering = Rendering(maker, "D")
    body = {"name": "Wax pot", "formula": rendering.made["id"], "fill": {"nominal": "50 g"}}
    product = maker.post("products", {**body, "packaging": []}).made()["id"]
    batch = rendering.batch(product=product, units=60)
    made = rendering.finish(batch, units=60).made()
    assert made["cost"]["total"] == "36.00"
    recall = maker.get(f"lots/{rendering.lot}/recall-list").made()
    held = {
        lot["lot"]: D(place["of_recalled"]).quantize(D("0.01"))
        for lot in recall["lots"]
        for place in lot["places"]
    }
    assert held[made["lot"]["id"]] == D("3157.89")
    assert held[made["by_products"][0]["lot"]] == D("842.11")


def test_by_products_that_cannot_be_are_refused(maker: Client) -> None:
    rendering = Rendering(maker, "E")
    batch = rendering.batch()
    jar = maker.material("Jar beside", measured_by="count")
    tap = maker.material("Aqua beside", stocked=False)
    place = "/by_products/0"

    def refused(status: int, code: str, pointer: str, **facts: Any) -> None:
        sent = rendering.finish(batch, by_products=[rendering.beside(**facts)])
        sent.refused(status, code, pointer)

    refused(422, "invalid", "/by_products", nrv="40.01")
    refused(422, "money_too_fine", f"{place}/nrv", nrv="1.005")
    refused(422, "out_of_range", f"{place}/nrv", nrv="-1")
    refused(422, "density_missing", f"{place}/quantity", quantity="800 mL")
    refused(422, "unit_wrong", f"{place}/quantity", quantity="8 each")
    refused(422, "invalid", f"{place}/material", material=jar)
    refused(422, "invalid", f"{place}/material", material=tap)
    refused(422, "invalid", f"{place}/material", material=rendering.made["material"])
    foreign = "0198a7b0-0000-7000-8000-00000000ffff"
    refused(422, "not_found", f"{place}/material", material=foreign)
    assert maker.get(f"batches/{batch}").made()["state"] == "planned"
    all_of_it = rendering.finish(batch, by_products=[rendering.beside(nrv="40.00")]).made()
    assert (all_of_it["cost"]["total"], D(all_of_it["cost"]["per_kg"])) == ("0.00", D(0))


def test_samples_are_told_by_their_purpose(maker: Client) -> None:
    """At a finish and at a fill; a sample that says no purpose stays a plain one."""
    rendering = Rendering(maker, "F")
    samples = [
        {"quantity": "20 g", "reason": "until the expiry", "purpose": "retained"},
        {"quantity": "10 g", "reason": "melting point", "purpose": "quality"},
        {"quantity": "5 g", "reason": "to see"},
    ]
    made = rendering.finish(
        rendering.batch(), by_products=[], samples=samples, release={"basis": "looks right"}
    ).made()
    assert places_of(maker, made["lot"]["id"]) == {
        "retained": D(20),
        "quality": D(10),
        "sample": D(5),
        "in store": D(2965),
    }
    body = {"name": "Wax tin", "formula": rendering.made["id"], "fill": {"nominal": "50 g"}}
    product = maker.post("products", {**body, "packaging": []}).made()["id"]
    samples = [
        {"quantity": "2 each", "reason": "for the shop", "purpose": "tester"},
        {"quantity": "1 each", "reason": "a thank you", "purpose": "gift"},
    ]
    fill = {"product": product, "lot": made["lot"]["id"], "units": 10, "samples": samples}
    filled = maker.post("fills", fill).made()
    assert places_of(maker, filled["lot"]["id"]) == {
        "tester": D(2),
        "gift": D(1),
        "in store": D(7),
    }
    assert D(filled["reconciliation"]["samples"]) == D(150)
    wrong = {**fill, "samples": [{"quantity": "1 each", "reason": "x", "purpose": "loss"}]}
    assert maker.post("fills", wrong).status == 422


def places_of(maker: Client, lot: str) -> dict[str, Decimal]:
    """Where all of a lot is."""
    balance = maker.get(f"lots/{lot}/trace", direction="forward").made()["balance"]
    return {one["place"]: D(one["quantity"]) for one in balance["places"]}
