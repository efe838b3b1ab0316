"""Fills: read as they were kept, narrowed to a product or a lot, and told apart when undone."""

from typing import Any

import pytest

from tests.api.client import Client
from tests.api.population import Populated, populate


@pytest.fixture(scope="module")
def made(north: Client) -> Populated:
    return populate(north, "Dipper")


def test_a_fill_is_read_as_it_was_made(north: Client, made: Populated) -> None:
    """Ten of 50 g from a bulk of 0.9 g/mL, at two minutes each and 18.18 an hour."""
    (id,) = made.ids["fill"]
    bulk, units = made.ids["lot"][2:]
    fill = north.get(f"fills/{id}").made()
    assert (fill["bulk"], fill["lot"]["id"], fill["lot"]["status"]) == (bulk, units, "released")
    assert (fill["units"], fill["used"]["grams"], fill["nominal_grams"]) == (
        10,
        "500.000000",
        "500.000000",
    )
    assert (fill["deviation"], fill["overrode"], fill["state"]) == ("", [], "filled")
    product = made.ids["product"][0]
    for query in ({"product": product}, {"lot": bulk}, {"lot": units}):
        assert north.listed("fills", **query) == [fill]
    assert north.listed("fills", product=product, lot=made.ids["lot"][0]) == []
    assert fill in north.listed("fills")


def test_a_fill_that_overrode_a_rule_and_one_that_was_undone(
    north: Client, made: Populated
) -> None:
    bulk = made.ids["lot"][2]
    decided = {"decision": "hold", "basis": "waiting for the count"}
    north.post(f"lots/{bulk}/decisions", decided).made()
    body = {"product": made.ids["product"][0], "lot": bulk, "units": 1}
    north.post("fills", body).refused(409, "lot_not_released", "/lot")
    body["deviation"] = {"reason": "for a stability test"}
    fill: Any = north.post("fills", body).made()
    assert fill.pop("cautions") == []
    assert (fill["deviation"], fill["overrode"]) == ("for a stability test", ["status"])
    assert north.get(f"entries/{fill['entry']}").made()["details"]["overrode"] == ["status"]
    assert north.get(f"fills/{fill['id']}").made() == fill
    north.post(f"entries/{fill['entry']}/reversal", {"reason": "wrong jar"}).made()
    assert north.get(f"fills/{fill['id']}").made() == {**fill, "state": "reversed"}
    for wrong in ("1 tonne", "1 each"):
        answer = north.post("fills", {**body, "used": wrong})
        assert answer.json["errors"][0]["pointer"] == "/used", answer.raw


def test_a_fill_keeps_the_density_at_which_it_was_filled_and_its_label(
    north: Client, made: Populated
) -> None:
    """100 mL of what has 0.9 g/mL weigh 90 g, though it is filled at 60 degC and 0.8 g/mL; 120 mL
    of that are 96 g. Of 0.85 g/mL at 25 degC, 100 mL are 85 g.
    """
    bulk = by_volume(north, made, "By volume", [])
    warm = {"density": {"value": "0.8 g/mL", "at": "60 degC"}, "label_version": "May"}
    fill = north.post("fills", {**bulk, **warm}).made()
    assert (fill["label_version"], fill["used"]["grams"]) == ("May", "90.000000")
    assert fill["density"] == {"value": "0.8", "at": "60"}
    assert fill.pop("cautions") == []
    assert north.get(f"fills/{fill['id']}").made() == fill
    typed = north.post("fills", {**bulk, **warm, "used": "120 mL"}).made()
    assert (typed["used"]["grams"], typed["nominal_grams"]) == ("96.000000", "90.000000")
    assert typed["reconciliation"]["unexplained"] == "6.000000"
    for at, grams in (("25 degC", "85.000000"), ("14.9 degC", "90.000000"), (None, "85.000000")):
        density = {"value": "0.85 g/mL"} | ({"at": at} if at else {})
        usual = north.post("fills", {**bulk, "density": density}).made()
        assert usual["used"]["grams"] == grams


def test_hot_bulk_is_cautioned_of_once(north: Client, made: Populated) -> None:
    bulk = by_volume(north, made, "Filled hot", [])
    density = {"value": "0.8 g/mL", "at": "60.5 degC"}
    (caution,) = north.post("fills", {**bulk, "density": density}).made()["cautions"]
    assert (caution["code"], caution["about"]) == ("hot", ["60.5 degC"])
    assert "density is not that of the cold batch" in caution["reason"]


def test_warm_bulk_needs_room_in_its_container(north: Client, made: Populated) -> None:
    """90 g at 0.8 g/mL take 112.5 mL, and 108 mL of water, about, are what the bottle holds."""
    bottle = north.material("Bottle of 100 mL", measured_by="count")
    north.receive(bottle, "10 each", "5.00")
    north.change("PUT", f"containers/{bottle}", {"nominal": "100 mL"}).made()
    water = {"level": "usable", "at": "20 degC", "pieces": [{"gross": "117.7 g", "tare": "10 g"}]}
    north.post(f"containers/{bottle}/water-fills", water).made()
    bulk = by_volume(north, made, "Bottled", [{"material": bottle, "quantity": "1 each"}])
    warm = {**bulk, "density": {"value": "0.8 g/mL", "at": "60 degC"}}
    refusal = north.post("fills", warm).refused(422, "container_too_small", "/density")
    assert "112.50 mL" in refusal["detail"]
    # 86 g take 107.5 mL, and 90 g at 0.85 g/mL 105.88 mL.
    assert north.post("fills", {**warm, "mean_net": "86 g"}).made()["nominal_grams"] == "90.000000"
    cooler = {**bulk, "density": {"value": "0.85 g/mL", "at": "40 degC"}}
    assert north.post("fills", cooler).made()["used"]["grams"] == "90.000000"


def by_volume(
    north: Client, made: Populated, name: str, packaging: list[dict[str, Any]]
) -> dict[str, Any]:
    """One piece of 100 mL from the bulk, as it is asked for."""
    product: dict[str, Any] = {"name": name, "formula": made.ids["formula"][0]}
    product |= {"fill": {"nominal": "100 mL"}, "packaging": packaging}
    id = north.post("products", product).made()["id"]
    about = {"lot": made.ids["lot"][2], "deviation": {"reason": "for a trial"}}
    return {"product": id, "units": 1, **about}


def test_who_did_it_is_an_id_like_others(north: Client, made: Populated) -> None:
    """All ids are strings, those of people too."""
    lot, formula, batch = made.ids["lot"][0], made.ids["formula"][0], made.ids["batch"][1]
    told = [
        north.get(f"lots/{lot}/decisions").made()["results"][0],
        north.get(f"formulas/{formula}/versions").made()["results"][0],
        north.get(f"entries/{made.ids['entry'][0]}").made(),
        north.get(f"batches/{batch}").made()["weighings"][0],
        north.get(f"fills/{made.ids['fill'][0]}").made(),
    ]
    (person,) = {one["person"] for one in told}
    assert isinstance(person, str)
    assert person.isdecimal()


def test_an_alert_and_a_sale_with_a_reason(north: Client, made: Populated) -> None:
    (id,) = made.ids["alert"]
    alert = north.get(f"alerts/{id}").made()
    assert alert in north.listed("alerts")
    assert (alert["id"], alert["material"]) == (id, made.ids["material"][0])
    lot = north.receive(north.material("Tester"), "1 kg", "1.00", release=False)
    sale = {"lines": [{"lot": lot, "quantity": "1 g"}], "customer": "stall"}
    north.post("sales", sale).refused(409, "lot_not_released")
    sold = north.post("sales", {**sale, "deviation": {"reason": "sold as a trial"}}).made()
    assert north.get(f"entries/{sold['entry']}").made()["deviation"] == "sold as a trial"
    refused = north.post("sales", {**sale, "deviation": "sold"})
    assert (refused.status, refused.json["errors"][0]["pointer"]) == (422, "/deviation")


@pytest.mark.parametrize(
    ("output", "noted"), [("990 g", False), ("1000 g", False), ("10 kg", True)]
)
def test_more_out_than_in_is_noted(north: Client, output: str, noted: bool) -> None:
    """It is kept as it was typed, since an addition may be missing; but it is not passed over."""
    oil = north.material("Helianthus Annuus Seed Oil")
    lot = north.receive(oil, "2 kg", "10.00")
    phases = [{"name": "A", "lines": [{"material": oil, "percent": "100"}]}]
    formula = north.post("formulas", {"name": "Base oil", "phases": phases}).made()["id"]
    wanted = {"formula": formula, "batch": "1 kg", "planned_for": "2026-01-05"}
    batch = north.post("batches", wanted).made()
    weighing = {"line": batch["lines"][0]["id"], "lot": lot, "quantity": "1 kg"}
    north.post(f"batches/{batch['id']}/weighings", weighing).made()
    finished = north.post(f"batches/{batch['id']}/finish", {"output": output}).made()
    assert ("More came out" in finished["note"]) == noted
