"""Where the work can hurt or cost someone, one short caution with its reason, at its step."""

from typing import Any

from tests.api.client import Client


def codes(answer: Any) -> list[str]:
    return [one["code"] for one in answer["cautions"]]


def write_soap(maker: Client) -> tuple[Any, dict[str, str], str, str]:
    """A soap of water, lye, an infused oil and a scent: the formula, the lots, two materials."""
    water = maker.material("Water", inci_name="Aqua", stocked=False)
    lye = maker.material("Potassium Hydroxide", cautions=["lye"])
    almond = maker.material("Almond Oil", cautions=["nut"])
    scent = maker.material(
        "Parfum",
        cautions=["fragrance"],
        max_percent="0.5",
        certificate_category="hand wash",
        certificate_until="2025-04-30",
    )
    lots = {one: maker.receive(one, "1 kg", "9.00") for one in (lye, almond, scent)}
    # An intermediate brings what is in it.
    whole = [{"material": almond, "percent": "100"}]
    oil = {"name": "Infused oil", "phases": [{"name": "A", "lines": whole}]}
    infused = maker.post("formulas", oil).made()["id"]
    lines = [
        {"material": water, "balance": True},
        {"material": lye, "percent": "5"},
        {"formula": infused, "percent": "20"},
        {"material": scent, "percent": "1"},
    ]
    body = {
        "name": "Soap",
        "phases": [{"name": "A", "lines": lines}],
        "windows": [{"measure": "ph", "low": "9", "high": "10"}],
    }
    return maker.post("formulas", body).made(), lots, lye, almond


def test_a_soap_is_cautioned_at_every_step_and_nowhere_twice(maker: Client) -> None:
    formula, lots, lye, almond = write_soap(maker)
    assert codes(formula) == ["water_unpreserved", "above_certificate", "allergen_origin"]
    assert formula["cautions"][1]["about"] == ["Parfum: 1 %, at most 0.5 % for hand wash"]
    assert formula["cautions"][2]["about"] == ["Almond Oil"]
    product = {
        "name": "Soap that heals 50 g",
        "formula": formula["id"],
        "fill": {"nominal": "50 g"},
        "packaging": [],
        "use": "leave_on",
    }
    told = codes(maker.post("products", product).made())
    assert set(told) > {"stricter_review", "claim", "allergen_origin"}
    said = {"function": "Antibacterial wash", "warnings": "Use a sunscreen."}
    plain = {**product, "name": "Soap 60 g", "labelling": said}
    claims = [
        one["about"]
        for one in maker.post("products", plain).made()["cautions"]
        if one["code"] == "claim"
    ]
    assert claims == [["antibacterial"]], "a label is read like a name"
    size = {"formula": formula["id"], "batch": "1 kg", "planned_for": "2025-05-06"}
    batch = maker.post("batches", size).made()
    assert codes(batch) == ["certificate_expired", "allergen_origin", "lot_undated"]
    assert batch["cautions"][1]["about"] == ["Almond Oil"], "it is in the intermediate"
    path = f"batches/{batch['id']}"
    at = {"happened_at": "2025-05-06T09:00:00Z"}
    weighing = {"line": batch["lines"][1]["id"], "lot": lots[lye], "quantity": "50 g", **at}
    weighed = maker.post(f"{path}/weighings", weighing).made()
    assert codes(weighed) == ["lye"]
    assert "goggles" in weighed["cautions"][0]["text"].lower()
    addition = {"material": almond, "lot": lots[almond], "quantity": "5 g", **at}
    assert codes(maker.post(f"{path}/weighings", addition).made()) == ["beyond_formula"]
    hot = {"measure": "temperature", "value": "72 degC", **at}
    assert codes(maker.post(f"{path}/measurements", hot).made()) == ["hot"]
    sharp = {"measure": "ph", "value": "11.2", **at}
    assert codes(maker.post(f"{path}/measurements", sharp).made()) == ["ph_outside"]
    done = maker.post(f"{path}/finish", {"output": "50 g", **at}).made()
    assert codes(done) == ["hot", "ph_outside", "beyond_formula"]
    finished = maker.get(path).made()
    assert codes(finished) == [], "what the plan said is past"
    assert codes(finished["finished"]) == ["hot", "ph_outside", "beyond_formula"]


def test_a_batch_is_filled_as_hot_as_it_was_last_measured_within_a_day(maker: Client) -> None:
    """72 degC in the morning: at noon it is cautioned of, unless it is said to be cool by then."""
    wax = maker.material("Beeswax")
    lot = maker.receive(wax, "1 kg", "9.00")
    whole = [{"name": "A", "lines": [{"material": wax, "percent": "100"}]}]
    formula = maker.post("formulas", {"name": "Balm", "phases": whole}).made()["id"]
    jar = {"name": "Balm 50 g", "formula": formula, "fill": {"nominal": "50 g"}, "packaging": []}
    product = maker.post("products", jar).made()["id"]
    size = {"formula": formula, "batch": "500 g", "planned_for": "2025-05-06"}
    batch = maker.post("batches", size).made()
    path, at = f"batches/{batch['id']}", {"happened_at": "2025-05-06T09:00:00Z"}
    weighing = {"line": batch["lines"][0]["id"], "lot": lot, "quantity": "500 g", **at}
    maker.post(f"{path}/weighings", weighing).made()
    hot = {"measure": "temperature", "value": "72 degC", **at}
    maker.post(f"{path}/measurements", hot).made()
    done = {"output": "500 g", "release": {"basis": "looks right"}, **at}
    bulk = maker.post(f"{path}/finish", done).made()["lot"]["id"]

    def cautions(day_and_hour: str, **more: Any) -> Any:
        jars = {"product": product, "lot": bulk, "units": 1, **more}
        answer = maker.post("fills", {**jars, "happened_at": f"2025-05-{day_and_hour}:00:00Z"})
        return [(one["code"], one["about"]) for one in answer.made()["cautions"]]

    assert cautions("06T12") == [("hot", ["72 degC"])]
    assert cautions("06T13", density={"value": "0.95 g/mL", "at": "30 degC"}) == []
    assert cautions("07T10") == []


def test_what_a_material_says_of_itself_is_kept_and_in_order(maker: Client) -> None:
    facts = {"cautions": ["nut", "botanical", "nut"], "min_percent": "0.5", "max_percent": "2"}
    body = {"name": "Walnut shell", "measured_by": "mass", **facts}
    made = maker.post("materials", body).made()
    assert made["cautions"] == ["botanical", "nut"]
    assert (made["min_percent"], made["max_percent"]) == ("0.5", "2")
    wrong = {**body, "min_percent": "3"}
    maker.post("materials", wrong).refused(422, "invalid", "/min_percent")
    unknown = {**body, "cautions": ["magic"]}
    maker.post("materials", unknown).refused(422, "invalid_choice", "/cautions/0")
