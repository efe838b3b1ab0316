"""Standard costs through HTTP: set, listed, kept to whoever may see costs."""

from decimal import Decimal
from typing import Any

import pytest

from tests.api.client import Client, Coop
from tests.api.people import member

D: Any = Decimal


@pytest.fixture
def balm(north: Client) -> dict[str, Any]:
    """Half oil at 10.00, half wax at 20.00, of which a fifth is lost; jars at 0.50."""
    oil, wax = north.material("Oil"), north.material("Wax")
    jar = north.material("Jar", measured_by="count")
    north.receive(oil, "10 kg", "100.00")
    north.receive(wax, "10 kg", "200.00")
    north.receive(jar, "100 each", "50.00")
    lines = [{"material": oil, "percent": "50"}, {"material": wax, "percent": "50"}]
    recipe = {"name": "Balm", "process_loss_percent": "20", "phases": [{"name": "A"}]}
    recipe["phases"][0]["lines"] = lines  # type: ignore[index]
    formula = north.post("formulas", recipe).made()["id"]
    product = {
        "name": "Balm 100",
        "formula": formula,
        "fill": {"nominal": "100 g"},
        "packaging": [{"material": jar, "quantity": "1 each"}],
        "labour": {"minutes_per_batch": "30", "minutes_per_unit": "1", "hourly_rate": "24"},
        "overhead": {"per_batch": "2", "percent_of_materials": "10"},
    }
    made = north.post("products", product).made()["id"]
    return {"formula": formula, "product": made, "oil": oil, "wax": wax, "jar": jar}


def test_a_version_costs_what_was_set(north: Client, balm: dict[str, Any]) -> None:
    """In a kilogram of output 625 g of each: 625 · (12.00 + 20.00) ÷ 1000 = 20.00."""
    path = f"formulas/{balm['formula']}/standard-costs"
    body = {"valid_from": "2025-05-01", "prices": [{"material": balm["oil"], "price": "12"}]}
    kept = north.post(path, body).made()
    assert (kept["formula"], kept["version"]) == (balm["formula"], 1)
    assert (kept["valid_from"], kept["process_loss_percent"]) == ("2025-05-01", "20")
    oil, wax = kept["materials"]
    assert (oil["material"], oil["name"], oil["percent"]) == (balm["oil"], "Oil", "50")
    assert (oil["grams_per_kg"], oil["price"], oil["basis"]) == ("625.000000", "12.000000", "given")
    assert (wax["price"], wax["basis"]) == ("20.000000", "store")
    assert kept["cost_per_kg"] == "20.000000"
    later = north.post(path, {"valid_from": "2025-06-01", "note": "dearer"}).made()
    assert later["cost_per_kg"] == "18.750000"
    assert north.listed(path) == [later, kept]
    assert north.listed(path, version=2) == []
    first = north.get(path, limit=1).made()
    assert first["results"] == [later]
    assert north.get(path, limit=1, cursor=first["next"]).made()["results"] == [kept]


def test_a_product_costs_what_was_set(north: Client, balm: dict[str, Any]) -> None:
    path = f"products/{balm['product']}/standard-costs"
    labour = {"hourly_rate": "21.50"}
    kept = north.post(path, {"valid_from": "2025-05-01", "labour": labour}).made()
    (jar,) = kept["packaging"]
    assert (jar["name"], jar["count"], jar["price"], jar["basis"]) == (
        "Jar",
        "1",
        "0.500000",
        "store",
    )
    assert D(kept["packaging_per_unit"]) == D("0.5")
    assert kept["labour"] == {
        "minutes_per_batch": "30",
        "minutes_per_unit": "1",
        "hourly_rate": "21.500000",
    }
    assert kept["overhead"] == {"per_batch": "2.000000", "percent_of_materials": "10"}
    assert north.listed(path) == [kept]


def test_what_cannot_be_a_standard(north: Client, mill: Client, balm: dict[str, Any]) -> None:
    path = f"formulas/{balm['formula']}/standard-costs"
    day = {"valid_from": "2025-05-01"}
    north.post(path, {}).refused(422, "required", "/valid_from")
    north.post(path, {"valid_from": "1066-10-14"}).refused(422, "invalid", "/valid_from")
    north.post(path, {**day, "version": 7}).refused(422, "not_found", "/version")
    foreign = {"material": balm["jar"], "price": "1"}
    north.post(path, {**day, "prices": [foreign]}).refused(422, "not_found", "/prices/0/material")
    unknown = north.material("Unbought")
    lines = [{"material": unknown, "percent": "100"}]
    other = north.post("formulas", {"name": "Other", "phases": [{"name": "A", "lines": lines}]})
    refused = north.post(f"formulas/{other.made()['id']}/standard-costs", day)
    assert refused.refused(422, "cost_unknown", "/prices")["material"] == unknown
    for theirs in (path, f"products/{balm['product']}/standard-costs"):
        mill.post(theirs, day).refused(404, "not_found")
        mill.get(theirs).refused(404, "not_found")


@pytest.mark.parametrize("role", ["bench", "read-only"])
def test_who_may_not_set_them(coop: Coop, balm: dict[str, Any], role: str) -> None:
    person, path = member(coop, "North Bench", role), f"formulas/{balm['formula']}/standard-costs"
    person.post(path, {"valid_from": "2025-05-01"}).refused(403, "forbidden")
    assert person.get(path).status == (403 if role == "bench" else 200)
