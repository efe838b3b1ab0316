"""Added until it does its work: what was added, what share it makes, and what may still go in.

The amounts are an invented scenario; every figure was worked out by hand beside the algebra of a
mass fraction, x = max · m ÷ (1 - max).
"""

from typing import Any

from tests.api.client import Answer, Client
from tests.factories import D


def to(digits: str, amount: str) -> D:
    return D(amount).quantize(D(digits))


class Shampoo:
    """12 kg of base with its preservative, thickened, to be brought to its pH by an acid."""

    def __init__(self, maker: Client) -> None:
        self.maker = maker
        names = ("Aqua", "Phenoxyethanol", "Sodium Chloride", "Lactic Acid")
        materials = [maker.material(name) for name in names]
        self.lots = [maker.receive(material, "20 kg", "40.00") for material in materials]
        water, preservative, thickener, acid = materials
        effect = {"typical_percent": "0.3", "max_percent": "0.50"}
        lines = [
            {"material": water, "balance": True},
            {"material": preservative, "percent": "1"},
            {"material": thickener, "percent": "0.3"},
            {"material": acid, "to_effect": effect},
        ]
        body = {"name": "Shampoo", "phases": [{"name": "A", "lines": lines}]}
        self.formula = maker.post("formulas", body).made()["id"]
        size = {"formula": self.formula, "batch": "12 kg", "planned_for": "2025-05-06"}
        self.batch = maker.post("batches", size).made()

    def weigh(self, place: int, grams: str, **facts: Any) -> Answer:
        body = {
            "line": self.batch["lines"][place]["id"],
            "lot": self.lots[place],
            "quantity": f"{grams} g",
            "happened_at": "2025-05-06T09:00:00Z",
            **facts,
        }
        return self.maker.post(f"batches/{self.batch['id']}/weighings", body)

    def now(self) -> Any:
        return self.maker.get(f"batches/{self.batch['id']}").made()


def test_the_headroom_counts_down_to_the_gram(maker: Client) -> None:
    """Base 12,000 + thickener 36; at most 0.50 % of the final mass: 0.005 x 12,036 ÷ 0.995 =
    60.48 g. After 24 + 18, 18.48 remain; 20 more would make 62 ÷ 12,098 = 0.5125 %. The
    preservative is then 120 ÷ 12,098 = 0.9919 %."""
    shampoo = Shampoo(maker)
    for place, grams in enumerate(("11880", "120", "36")):
        assert shampoo.weigh(place, grams).made()["effect"] is None
    acid = shampoo.now()["lines"][3]
    assert to("0.01", acid["headroom_grams"]) == D("60.48")
    first = shampoo.weigh(3, "24").made()["effect"]
    assert (D(first["added_grams"]), D(first["total_grams"])) == (D(24), D(24))
    assert D(first["mass_grams"]) == 12060
    assert to("0.0001", first["share_percent"]) == D("0.1990")
    assert to("0.01", first["headroom_grams"]) == D("36.48")
    second = shampoo.weigh(3, "18").made()["effect"]
    assert (D(second["added_grams"]), D(second["total_grams"])) == (D(18), D(42))
    assert to("0.01", second["headroom_grams"]) == D("18.48")
    refused = shampoo.weigh(3, "20").refused(422, "over_maximum", "/quantity")
    assert "0.5125 %" in refused["detail"]
    assert "18.48 g" in refused["detail"]
    assert to("0.0001", refused["percent"]) == D("0.5125")
    assert to("0.01", refused["headroom_grams"]) == D("18.48")
    assert D(shampoo.now()["lines"][3]["weighed"]) == 42, "a refusal weighs nothing"
    over = shampoo.weigh(3, "20", deviation={"reason": "pH still 6.2, trial agreed"}).made()
    assert over["overrode"] == ["maximum_percent"]
    assert to("0.0001", over["effect"]["share_percent"]) == D("0.5125")
    assert D(over["effect"]["headroom_grams"]) == 0
    lines = shampoo.now()["lines"]
    assert to("0.0001", lines[1]["share_percent"]) == D("0.9919")
    assert to("0.0001", lines[3]["share_percent"]) == D("0.5125")
    assert [line["headroom_grams"] for line in lines[:3]] == [None] * 3


def test_weighing_back_gives_the_headroom_back(maker: Client) -> None:
    shampoo = Shampoo(maker)
    for place, grams in enumerate(("11880", "120", "36", "42")):
        shampoo.weigh(place, grams).made()
    body = {
        "line": shampoo.batch["lines"][3]["id"],
        "lot": shampoo.lots[3],
        "quantity": "18 g",
        "happened_at": "2025-05-06T10:00:00Z",
    }
    back = maker.post(f"batches/{shampoo.batch['id']}/weigh-backs", body).made()["effect"]
    assert (D(back["added_grams"]), D(back["total_grams"])) == (D(-18), D(24))
    assert to("0.01", back["headroom_grams"]) == D("36.48")


def test_what_the_last_batch_came_to_is_offered_at_the_next(maker: Client) -> None:
    """48 ÷ 12,000 is 0.4 %; beside the 11,964 g planned of the rest that is 48.05 g."""
    shampoo = Shampoo(maker)
    assert shampoo.batch["lines"][3]["learned"] is None
    for place, grams in enumerate(("11796", "120", "36", "48")):
        shampoo.weigh(place, grams).made()
    done = {"output": "11900 g", "happened_at": "2025-05-06T12:00:00Z"}
    maker.post(f"batches/{shampoo.batch['id']}/finish", done).made()
    size = {"formula": shampoo.formula, "batch": "12 kg", "planned_for": "2025-05-07"}
    lines = maker.post("batches", size).made()["lines"]
    assert lines[3]["learned"] == {
        "batches": 1,
        "median_percent": "0.4",
        "spread": "range",
        "low_percent": "0.4",
        "high_percent": "0.4",
        "median_grams": "48.05",
    }
    assert [line["learned"] for line in lines[:3]] == [None] * 3
