"""One batch, several products, none of them a by-product: what each carries, told through the API.

The amounts are an invented scenario; every figure was worked out by hand beside the rule.
"""

from decimal import Decimal
from typing import Any

from tests.api.client import Client

D = Decimal
DAY = "2025-05-02T09:00:00Z"


class Distilling:
    """10 kg of herb for $60, distilled: 200 g of oil, and the water that comes over with it."""

    def __init__(self, maker: Client, name: str) -> None:
        self.maker = maker
        self.herb = maker.material(f"Herb {name}")
        self.water = maker.material(f"Hydrosol {name}", shelf_life_days=90)
        self.lot = maker.receive(self.herb, "10 kg", "60")
        lines = [{"material": self.herb, "percent": "100"}]
        body = {"name": f"Oil {name}", "phases": [{"name": "still", "lines": lines}]}
        self.made = maker.post("formulas", {**body, "process_loss_percent": "60"}).made()

    def batch(self) -> str:
        size = {"formula": self.made["id"], "batch": "10 kg", "planned_for": "2025-05-02"}
        batch = self.maker.post("batches", size).made()
        weighing = {"line": batch["lines"][0]["id"], "lot": self.lot, "quantity": "10 kg"}
        path = f"batches/{batch['id']}/weighings"
        self.maker.post(path, {**weighing, "happened_at": DAY}).made()
        return str(batch["id"])

    def joint(self, base: str, *figures: tuple[str, str], water: str = "3800 g") -> dict[str, Any]:
        """By a base; of oil and water what all of it fetches, and what it still costs."""
        told = [{"sales_value": value, "further_cost": cost} for value, cost in figures]
        oil, hydrosol = told or [{}, {}]
        products = [{"material": self.water, "quantity": water, **hydrosol}]
        return {"base": base, **oil, "products": products}

    def finish(self, batch: str, joint: dict[str, Any], **facts: Any) -> Any:
        body = {"output": "200 g", "happened_at": DAY, "joint": joint, **facts}
        return self.maker.post(f"batches/{batch}/finish", body)


def test_by_mass_each_kilogram_costs_the_same(maker: Client) -> None:
    """$60 for 4 kg: $3 of oil, $57 of hydrosol, and what a trace finds goes by mass as well."""
    still = Distilling(maker, "by mass")
    standard = {"valid_from": "2025-05-01"}
    maker.post(f"formulas/{still.made['id']}/standard-costs", standard).made()
    batch = still.batch()
    made = still.finish(batch, still.joint("mass")).made()
    cost = made["cost"]
    assert (cost["inputs"], cost["joint_products"], cost["total"]) == ("60.00", "57.00", "3.00")
    assert D(cost["per_kg"]) == D(15)
    oil, water = made["joint"]["products"]
    assert (made["joint"]["base"], oil["value"], water["value"]) == ("mass", "3.00", "57.00")
    assert (oil["lot"], oil["sales_value"]) == (made["lot"]["id"], None)
    places = {one["place"]: D(one["grams"]) for one in made["mass_balance"]["places"]}
    assert places == {"output": D(200), "joint products": D(3800), "process loss": D(6000)}
    assert D(made["loss"]["actual_grams"]) == D(made["loss"]["expected_grams"]) == D(6000)

    lot = maker.get(f"lots/{water['lot']}", explain=1).made()
    assert (lot["value"], lot["status"], lot["expires_on"]) == ("57.00", "quarantine", "2025-07-31")
    told = lot["working"]
    assert (told["name"], told["how"]) == ("joint product", "its part of the joint cost, by mass")
    assert told["parts"][0]["name"] == "made"
    parts = maker.get(f"batches/{batch}", explain=1).made()["working"]["parts"]
    total = next(part for part in parts if part["name"] == "total")
    assert [part["name"] for part in total["parts"]] == ["inputs", "joint products", "abnormal"]
    judged = maker.get(f"batches/{batch}/variances").made()
    amounts = [D(judged[name]) for name in ("actual", "joint_products", "carried")]
    assert amounts == [D(60), D(57), D(3)]

    recall = maker.get(f"lots/{still.lot}/recall-list").made()
    held = {
        one["lot"]: D(one["places"][0]["of_recalled"]) for one in recall["lots"] if one["places"]
    }
    assert held == {oil["lot"]: D(500), water["lot"]: D(9500)}


def test_by_what_they_fetch_and_by_what_they_will_bring(maker: Client) -> None:
    """80 to 40 is 2 to 1; 80 - 8 to 40 - 16 is 3 to 1. A by-product goes off before."""
    still = Distilling(maker, "by value")
    figures = ("80.00", "8.00"), ("40.00", "16.00")
    batch = still.batch()
    made = still.finish(batch, still.joint("sales_value", *figures)).made()
    assert [one["value"] for one in made["joint"]["products"]] == ["40.00", "20.00"]
    undo = {"reason": "the wrong scale", "happened_at": DAY}
    maker.post(f"entries/{made['entry']}/reversal", undo).made()
    assert D(maker.stock(still.water)["on_hand"]) == 0
    again = still.finish(batch, still.joint("net_realisable_value", *figures)).made()
    assert [one["value"] for one in again["joint"]["products"]] == ["45.00", "15.00"]
    assert [one["further_cost"] for one in again["joint"]["products"]] == ["8.00", "16.00"]
    maker.post(f"entries/{again['entry']}/reversal", undo).made()
    compost = maker.material("Compost")
    beside = [{"material": compost, "quantity": "5 kg", "nrv": "6.00"}]
    joint = still.joint("net_realisable_value", *figures)
    last = still.finish(batch, joint, by_products=beside).made()
    cost = last["cost"]
    assert (cost["by_products"], cost["joint_products"]) == ("6.00", "13.50")
    assert (cost["total"], last["joint"]["products"][0]["value"]) == ("40.50", "40.50")


def test_a_declared_loss_is_of_the_main_product(maker: Client) -> None:
    """50 of 250 g of oil are spilt: $3.75 of $60 by mass, of which $0.75 is expensed."""
    still = Distilling(maker, "spilt")
    lost = {"quantity": "50 g", "reason": "the flask fell"}
    joint = still.joint("mass", water="3750 g")
    made = still.finish(still.batch(), joint, abnormal_loss=lost).made()
    cost = made["cost"]
    assert (cost["joint_products"], cost["abnormal"], cost["total"]) == ("56.25", "0.75", "3.00")
    assert [one["value"] for one in made["joint"]["products"]] == ["3.75", "56.25"]


def test_what_cannot_be_split_is_refused(maker: Client) -> None:
    still = Distilling(maker, "refused")
    batch = still.batch()
    jar = maker.material("Jar of hydrosol", measured_by="count")

    def refused(code: str, pointer: str, joint: dict[str, Any], **facts: Any) -> None:
        still.finish(batch, joint, **facts).refused(422, code, pointer)

    place = "/joint/products/0"
    priced = ("80.00", "0"), ("40.00", "40.00")
    refused("invalid", "/joint/sales_value", still.joint("sales_value"))
    refused("invalid", f"{place}/sales_value", still.joint("net_realisable_value", *priced))
    fine = still.joint("sales_value", ("80.00", "0"), ("40.005", "0"))
    refused("money_too_fine", f"{place}/sales_value", fine)
    other = still.joint("mass")
    refused("invalid_choice", "/joint/base", {**other, "base": "colour"})
    refused("min_length", "/joint/products", {**other, "products": []})
    product = other["products"][0]
    for material, code in (
        (jar, "invalid"),
        (still.made["material"], "invalid"),
        ("0198a7b0-0000-7000-8000-00000000ffff", "not_found"),
    ):
        sent = {**other, "products": [{**product, "material": material}]}
        refused(code, f"{place}/material", sent)
    by_product = [{"material": still.herb, "quantity": "1 kg", "nrv": "60.01"}]
    refused("invalid", "/by_products", other, by_products=by_product)
    assert maker.get(f"batches/{batch}").made()["state"] == "planned"
