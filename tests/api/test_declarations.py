"""Declarations of ingredients, as a program asks for them."""

from typing import Any

import pytest

from tests.api.client import Client


def shampoo(maker: Client, name: str, **facts: Any) -> str:
    """A product with water, a blend that preserves and a scent; its id."""
    water = maker.material(f"Water {name}", stocked=False, density="1 g/mL", inci_name="Aqua")
    blend = maker.material(
        f"Preservative {name}",
        composition=[
            {"inci_name": "Phenoxyethanol", "percent": "90"},
            {"inci_name": "Ethylhexylglycerin", "percent": "10"},
        ],
    )
    scent = maker.material(
        f"Scent {name}",
        inci_name="Parfum",
        allergens=[{"inci_name": "Linalool", "percent": "3"}],
    )
    lines = [
        {"material": water, "balance": True},
        {"material": blend, "percent": "1"},
        {"material": scent, "percent": "0.5"},
    ]
    formula = {
        "name": name,
        "density": {"value": "1.02 g/mL"},
        "phases": [{"name": "A", "lines": lines}],
    }
    made = maker.post("formulas", formula).made()
    body = {
        "name": f"{name} 250",
        "formula": made["id"],
        "fill": {"nominal": "250 mL"},
        "packaging": [],
        **facts,
    }
    return str(maker.post("products", body).made()["id"])


def test_a_declaration(north: Client) -> None:
    product = shampoo(north, "Meadow", use="rinse_off")
    said = north.get(f"products/{product}/declaration").made()
    assert said["text"] == "Aqua, Phenoxyethanol, Parfum, Ethylhexylglycerin, Linalool"
    assert (said["market"], said["basis"], said["version"]) == ("eu", "formula", 1)
    assert said["ingredients"][1] == {
        "inci_name": "Phenoxyethanol",
        "percent": "0.900000",
        "group": "up_to_1_percent",
        "materials": ["Preservative Meadow"],
    }
    assert said["allergens"] == [
        {"inci_name": "Linalool", "percent": "0.015000", "above_threshold": True}
    ]
    assert said["threshold_percent"] == "0.01"
    us = north.get(f"products/{product}/declaration", market="us").made()
    assert us["text"] == "Water, Phenoxyethanol, Fragrance, Ethylhexylglycerin"
    batch = north.post("batches", {"product": product, "units": 2, "planned_for": "2025-05-08"})
    said = north.get(f"batches/{batch.made()['id']}/declaration").made()
    assert said["basis"] == "plan"
    assert said["text"].startswith("Aqua, Phenoxyethanol")


@pytest.mark.parametrize(
    ("query", "code", "pointer"),
    [
        ({"market": "mars"}, "invalid_choice", "/market"),
        ({"water_lost_percent": "-1"}, "out_of_range", "/water_lost_percent"),
        ({"water_lost_percent": "98.6"}, "water_lost_too_much", "/water_lost_percent"),
        ({"colour": "red"}, "unknown_field", "/colour"),
    ],
)
def test_refused_queries(north: Client, query: dict[str, str], code: str, pointer: str) -> None:
    product = shampoo(north, f"Meadow {code}", use="rinse_off")
    north.get(f"products/{product}/declaration", **query).refused(422, code, pointer)


def test_a_missing_name_says_of_which_material(north: Client) -> None:
    wax = north.material("Wax without a name")
    formula = {
        "name": "Plain",
        "phases": [{"name": "A", "lines": [{"material": wax, "percent": "100"}]}],
    }
    made = north.post("formulas", formula).made()
    body = {
        "name": "Plain 50",
        "formula": made["id"],
        "fill": {"nominal": "50 g"},
        "packaging": [],
    }
    product = north.post("products", body).made()["id"]
    error = north.get(f"products/{product}/declaration").refused(422, "inci_missing")
    assert error["materials"] == ["Wax without a name"]


def test_what_a_material_is_made_of(north: Client) -> None:
    parts = [{"inci_name": "Glycerin", "percent": "60"}, {"inci_name": "Aqua", "percent": "40"}]
    body = {"name": "Extract", "measured_by": "mass", "composition": parts}
    made = north.post("materials", body)
    assert made.made()["composition"] == parts
    assert made.json["allergens"] == []
    assert made.json["declared_as"] == "ingredient"
    path, etag = f"materials/{made.json['id']}", made.headers["ETag"]
    short = [{"inci_name": "Glycerin", "percent": "60"}]
    refused = north.change("PATCH", path, {"composition": short}, etag)
    refused.refused(422, "percent_not_100", "/composition")
    changed = north.change("PATCH", path, {"declared_as": "absent", "composition": []}, etag)
    assert changed.made()["composition"] == []
    assert changed.json["declared_as"] == "absent"
    wrong = {"composition": [{"inci_name": "Aqua", "percent": "101"}]}
    refused = north.change("PATCH", path, wrong, changed.headers["ETag"])
    refused.refused(422, "out_of_range", "/composition/0/percent")
