"""A balm at the bench: planned with all of it in store, and weighed as its page asks."""

from decimal import Decimal
from typing import Any

from playwright.sync_api import Page

from tests.api.client import Client


def balm(north: Client) -> dict[str, Any]:
    """The formula of a balm of oil, wax, and scent to effect, all of it in store."""
    oil, wax, scent = (north.material(name) for name in ("Olive oil", "Beeswax", "Lavender oil"))
    for material, quantity in ((oil, "90 kg"), (wax, "20 kg"), (scent, "9 kg")):
        north.receive(material, quantity, "100.00")
    lines = [
        {"material": oil, "percent": "80"},
        {"material": wax, "balance": True},
        {"material": scent, "to_effect": {"typical_percent": "1", "max_percent": "2"}},
    ]
    made = north.post("formulas", {"name": "Hand balm", "phases": [{"name": "A", "lines": lines}]})
    return dict(made.made())


def batch_of(north: Client, formula: dict[str, Any]) -> dict[str, Any]:
    """A kilogram of it, planned."""
    body = {"formula": formula["id"], "batch": "1 kg", "planned_for": "2025-05-06"}
    return dict(north.post("batches", body).made())


def weighed(north: Client, batch: dict[str, Any]) -> list[int]:
    """How many grams each weighing of the batch was, as the server has it; the least first."""
    rows = north.get(f"batches/{batch['id']}").made()["weighings"]
    return sorted(int(Decimal(row["quantity"]["grams"])) for row in rows)


def type_weight(page: Page, quantity: str, lot: str = "") -> None:
    """Type the lot that is meant to be poured, or another, and what the scale shows."""
    if not lot:
        lot = page.locator("section.turn strong").first.inner_text()
    page.get_by_label("Lot", exact=True).fill(lot.lower())
    page.get_by_label("On the scale").fill(quantity)


def weigh(page: Page, quantity: str, lot: str = "") -> None:
    type_weight(page, quantity, lot)
    page.get_by_role("button", name="It is in").click()


def filled(north: Client, name: str) -> dict[str, Any]:
    """Ten jars of 50 g of an oil, in which a batch was finished; enough of both is left."""
    oil, jar = north.material(f"{name} oil"), north.material(f"{name} jar", measured_by="count")
    lot = north.receive(oil, "2 kg", "40.00")
    north.receive(jar, "60 each", "30.00")
    phases = [{"name": "A", "lines": [{"material": oil, "percent": "100"}]}]
    formula = north.post("formulas", {"name": name, "phases": phases}).made()["id"]
    packaging = [{"material": jar, "quantity": "1 each"}]
    product = {"name": f"{name} 50 g", "formula": formula, "packaging": packaging}
    sold = north.post("products", {**product, "fill": {"nominal": "50 g"}}).made()["id"]
    plan = {"product": sold, "units": 10, "planned_for": "2025-05-06"}
    batch = north.post("batches", plan).made()
    weighing = {"line": batch["lines"][0]["id"], "lot": lot, "quantity": "500 g"}
    north.post(f"batches/{batch['id']}/weighings", weighing).made()
    done = {"output": "500 g", "units": 10, "release": {"basis": "looks right"}}
    return dict(north.post(f"batches/{batch['id']}/finish", done).made())
