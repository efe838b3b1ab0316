"""Net contents through HTTP: overfill priced, the lowest fill, containers, where the bulk went."""

from decimal import Decimal
from typing import Any

import pytest

from tests.api.client import Client

D: Any = Decimal


@pytest.fixture
def shampoo(north: Client) -> dict[str, Any]:
    """32 kg of a bulk of 1.02 g/mL for 320.00, and bottles; 250 mL with 2 % more."""
    base = north.material("Coco-Glucoside")
    lot = north.receive(base, "32 kg", "320.00")
    bottle = north.material("Bottle 250", measured_by="count")
    north.receive(bottle, "200 each", "100.00")
    phases = [{"name": "A", "lines": [{"material": base, "percent": "100"}]}]
    body = {"name": "Shampoo", "density": {"value": "1.02 g/mL", "at": "20 degC"}, "phases": phases}
    formula = north.post("formulas", body).made()["id"]
    size = {"formula": formula, "batch": "32 kg", "planned_for": "2025-05-06"}
    batch = north.post("batches", size).made()
    weighing = {"line": batch["lines"][0]["id"], "lot": lot, "quantity": "32 kg"}
    north.post(f"batches/{batch['id']}/weighings", weighing).made()
    finish = {"output": "32 kg", "release": {"basis": "clear"}}
    bulk = north.post(f"batches/{batch['id']}/finish", finish).made()["lot"]["id"]
    packaging = [{"material": bottle, "quantity": "1 each"}]
    draft = {
        "name": "Shampoo 250",
        "formula": formula,
        "fill": {"nominal": "250 mL", "overfill_percent": "2"},
        "packaging": packaging,
    }
    product = north.post("products", draft).made()["id"]
    return {"product": product, "bulk": bulk, "bottle": bottle, "draft": draft, "batch": batch}


def ruled(north: Client, shampoo: dict[str, Any], rule: str = "eu", **more: Any) -> Any:
    path = f"products/{shampoo['product']}/net-contents"
    return north.change("PUT", path, {"rule": rule, **more}).made()


def filled(north: Client, shampoo: dict[str, Any], units: int = 60, **more: Any) -> Any:
    body = {"product": shampoo["product"], "lot": shampoo["bulk"], "units": units, **more}
    return north.post("fills", {"release": {"basis": "sealed"}, **body}).made()


def test_one_percent_instead_of_two_saves_153_grams(north: Client, shampoo: dict[str, Any]) -> None:
    """Sixty of 250 mL at 1.02 g/mL: 15,606 g with 2 % more, 15,453 g with 1 %."""
    path = f"products/{shampoo['product']}/fill-target"
    north.post(path, {"units": 60}).refused(409, "rule_missing")
    limits = ruled(north, shampoo)["limits"]
    assert (limits["nominal"], limits["short"], limits["least"]) == ("250", "241", "232")
    north.post(path, {"units": 60}).refused(422, "spread_missing", "/standard_deviation")
    asked = {"standard_deviation": "1.2 g", "overfill_percent": "1"}
    north.post(path, asked).refused(422, "invalid", "/units")
    fill = filled(north, shampoo)
    assert D(fill["used"]["grams"]) == 15606
    target = north.post(path, asked).made()
    assert target["units"] == 60
    assert D(target["limits"]["nominal"]) == 255
    now, one = target["now"], target["asked"]
    assert (D(now["percent"]), D(now["grams"]), D(now["batch_grams"])) == (2, D("260.1"), 15606)
    assert (D(one["percent"]), D(one["grams"]), D(one["batch_grams"])) == (1, D("257.55"), 15453)
    assert one["keeps_the_rule"] is True
    # At 10.00 a kilogram 153 g are 1.53; as many units in a year as this one batch.
    assert (D(one["saving"]["grams"]), one["saving"]["money"]) == (153, "1.53")
    assert one["saving_year"] == one["saving"]
    # 255 + 1.959964 · 1.2 ÷ √60 = 255.304, to the scale's step.
    assert (target["lowest"]["grams"], target["governed_by"]) == ("255.310000", "mean")
    wide = north.post(path, {**asked, "standard_deviation": "9 g"}).made()
    assert wide["asked"]["keeps_the_rule"] is False
    assert wide["governed_by"] == "least"


def test_weighed_units_are_judged_and_priced(north: Client, shampoo: dict[str, Any]) -> None:
    fill = filled(north, shampoo)
    path = f"fills/{fill['id']}/unit-weighings"
    body = {"tare": "28.4 g", "weighings": [{"gross": "288.5 g"}, {"net": "260.1 g"}]}
    plain = north.post(path, body).made()
    assert (plain["verdict"], plain["limits"], plain["lowest_target"]) == (None, None, None)
    ruled(north, shampoo)
    weighed = north.post(path, {"weighings": [{"net": "259.1 g"}, {"net": "261.1 g"}] * 6}).made()
    assert (D(weighed["mean_grams"]), weighed["units"]) == (D("260.1"), 12)
    # Twelve at one gram from their mean: the square root of 12 ÷ 11.
    assert weighed["standard_deviation_grams"] == "1.044466"
    assert (weighed["verdict"], weighed["below_short"], weighed["reasons"]) == ("holds", 0, [])
    assert (D(weighed["limits"]["short"]), D(weighed["limits"]["least"])) == (
        D("245.82"),
        D("236.64"),
    )
    # 5.10 g above nominal in each of 60, at 10.00 a kilogram.
    assert D(weighed["giveaway"]["grams"]) == 306
    assert weighed["giveaway"]["money"] == "3.06"
    assert weighed["giveaway_year"]["units"] == 60
    assert weighed["lowest_target"]["grams"] == "255.27"
    assert D(weighed["saving"]["grams"]) == D("4.83") * 60
    assert weighed["notes"] == []
    assert "local authority" in weighed["caution"]
    short = {"weighings": [{"net": "245.8 g"}, {"net": "260 g"}]}
    doubtful = north.post(path, short).made()
    assert (doubtful["verdict"], doubtful["below_short"]) == ("marginal", 1)
    assert len(doubtful["notes"]) == 1
    assert len(north.listed(path)) == 3
    target = north.post(f"products/{shampoo['product']}/fill-target", {}).made()
    assert target["weighing"] == doubtful["id"]


def test_a_warm_density_is_not_what_a_label_is_judged_by(
    north: Client, shampoo: dict[str, Any]
) -> None:
    """250 mL at 1.02 g/mL and 20 degC weigh 255 g, though one says 0.98 g/mL at 60 degC."""
    ruled(north, shampoo)
    warm = {"density": {"value": "0.98 g/mL", "at": "60 degC"}}
    unused = "The density at 60 degC that was given is not used"
    fill = filled(north, shampoo)
    for path, body in (
        (f"fills/{fill['id']}/unit-weighings", {"weighings": [{"net": "256 g"}] * 3}),
        (f"products/{shampoo['product']}/fill-target", {"standard_deviation": "1.2 g"}),
    ):
        by_20 = north.post(path, body).made()
        said = north.post(path, {**body, **warm}).made()
        assert said["limits"] == by_20["limits"]
        assert D(said["limits"]["nominal"]) == 255
        assert not any(unused in note for note in by_20["notes"])
        assert [unused in note for note in said["notes"]].count(True) == 1


def test_a_year_is_of_what_stands(north: Client, shampoo: dict[str, Any]) -> None:
    """Another fill adds to the year, one that was undone does not."""
    ruled(north, shampoo)
    first, second = filled(north, shampoo, 10), filled(north, shampoo, 30)
    north.post(f"entries/{second['entry']}/reversal", {"reason": "wrong bottle"}).made()
    filled(north, shampoo, 20)
    body = {"weighings": [{"net": "258 g"}]}
    done = north.post(f"fills/{first['id']}/unit-weighings", body).made()
    assert (done["giveaway"]["units"], done["giveaway_year"]["units"]) == (10, 30)
    assert (D(done["giveaway"]["grams"]), D(done["giveaway_year"]["grams"])) == (30, 90)
    undone = f"fills/{second['id']}/unit-weighings"
    north.post(undone, body).refused(409, "conflict")
    assert north.listed(undone) == []


def test_what_cannot_be_weighed(north: Client, shampoo: dict[str, Any]) -> None:
    path = f"fills/{filled(north, shampoo, 2)['id']}/unit-weighings"

    def refused(body: dict[str, Any], code: str, pointer: str) -> None:
        north.post(path, body).refused(422, code, pointer)

    refused({"weighings": [{"net": "1 g"}] * 3}, "invalid", "/weighings")
    later = {"weighings": [{"net": "1 g"}], "happened_at": "2199-01-01T00:00:00Z"}
    refused(later, "invalid", "/happened_at")
    refused({"weighings": [{}]}, "invalid", "/weighings/0")
    refused({"weighings": [{"net": "1 g", "gross": "2 g"}]}, "invalid", "/weighings/0")
    refused({"weighings": [{"gross": "2 g"}]}, "invalid", "/weighings/0/tare")
    refused({"weighings": [{"gross": "2 g", "tare": "2 g"}]}, "invalid", "/weighings/0/gross")
    refused({"weighings": [{"net": "2 mL"}]}, "unit_wrong", "/weighings/0/net")
    batch = f"batches/{shampoo['batch']['id']}/unit-weighings"
    north.post(batch, {"weighings": [{"net": "2 g"}]}).refused(409, "conflict")
    assert north.listed(batch) == []
    contents = f"products/{shampoo['product']}/net-contents"
    own = {"rule": "us", "allowed_shortage": "9 g"}
    north.change("PUT", contents, own).refused(422, "unit_wrong", "/allowed_shortage")
    own["allowed_shortage"] = "250 mL"
    north.change("PUT", contents, own).refused(422, "invalid", "/allowed_shortage")
    kept = ruled(north, shampoo, "us", allowed_shortage="9.4 mL")
    assert (kept["limits"]["least"], kept["limits"]["short"]) == ("240.6", "240.6")
    assert north.get(contents).made() == kept


def test_units_finished_with_their_batch(north: Client, shampoo: dict[str, Any]) -> None:
    base = north.material("Decyl Glucoside")
    lot = north.receive(base, "1 kg", "20.00")
    phases = [{"name": "A", "lines": [{"material": base, "percent": "100"}]}]
    formula = north.post("formulas", {"name": "Gel", "phases": phases}).made()["id"]
    draft = {"name": "Gel 100", "formula": formula, "fill": {"nominal": "100 g"}, "packaging": []}
    product = north.post("products", draft).made()["id"]
    size = {"product": product, "units": 10, "planned_for": "2025-05-06"}
    batch = north.post("batches", size).made()
    weighing = {"line": batch["lines"][0]["id"], "lot": lot, "quantity": "1 kg"}
    north.post(f"batches/{batch['id']}/weighings", weighing).made()
    finish = {"output": "1 kg", "units": 9}
    north.post(f"batches/{batch['id']}/finish", finish).made()
    north.change("PUT", f"products/{product}/net-contents", {"rule": "us"}).made()
    path = f"batches/{batch['id']}/unit-weighings"
    done = north.post(path, {"weighings": [{"net": "111 g"}, {"net": "109 g"}]}).made()
    assert (done["lot_units"], done["giveaway"]["grams"]) == (9, "90.000000")
    assert done["giveaway"]["money"] == "1.80"
    assert (done["limits"]["allowed_shortage"], done["verdict"]) == ("7.2", "holds")
    assert north.listed(path) == [done]


def test_where_the_bulk_went(north: Client, shampoo: dict[str, Any]) -> None:
    """15,900 g in: 60 of 260.1 g, two of them samples; 120 g heel; 150 g spilt, and 24 g more."""
    fill = filled(
        north,
        shampoo,
        used="15900 g",
        samples=[{"quantity": "2 each", "reason": "retained"}],
        heel={"quantity": "120 g", "reason": "left in the hopper"},
        rejects=[{"quantity": "150 g", "reason": "hose slipped"}],
    )
    told = fill["reconciliation"]
    wanted = {
        "bulk_in": 15900,
        "filled": D("15085.8"),
        "samples": D("520.2"),
        "heel": 120,
        "rejects": 150,
        "unexplained": 24,
    }
    assert {name: D(told[name]) for name in wanted} == wanted
    assert told["filled_by"] == "nominal"
    # Rejects are expensed at 10.00 a kilogram; the heel and what nobody explains are in the cost.
    assert (fill["rejected"], fill["total"]) == ("1.50", "187.50")
    balance = north.get(f"lots/{shampoo['bulk']}/trace", direction="forward").made()["balance"]
    places = {one["place"]: D(one["quantity"]) for one in balance["places"]}
    assert places["heel"] == 120
    assert places["reject"] == 150
    assert D(balance["difference"]) == 0
    body = {"weighings": [{"net": "260.5 g"}]}
    north.post(f"fills/{fill['id']}/unit-weighings", body).made()
    after = north.get(f"fills/{fill['id']}").made()["reconciliation"]
    assert (after["filled_by"], D(after["unexplained"])) == ("weighed", 0)
    assert north.listed("fills", product=shampoo["product"])[0]["reconciliation"] == after
    entry = north.get(f"entries/{fill['entry']}").made()
    assert entry["details"]["heel"]["reason"] == "left in the hopper"
    north.post(f"entries/{fill['entry']}/reversal", {"reason": "wrong bottle"}).made()
    lot = north.get(f"lots/{shampoo['bulk']}").made()
    assert (D(lot["on_hand"]["grams"]), D(lot["value"])) == (32000, 320)


def test_rejected_units_take_their_packaging_with_them(
    north: Client, shampoo: dict[str, Any]
) -> None:
    """Eight good and two crooked of 260 g: their bulk 5.20 and bottles 1.00 are expensed."""
    fill = filled(
        north,
        shampoo,
        8,
        mean_net="260 g",
        rejects=[{"quantity": "2 each", "reason": "crooked cap"}],
    )
    assert D(fill["used"]["grams"]) == 2600
    assert (fill["rejected"], fill["total"]) == ("6.20", "24.80")
    assert fill["rejects"] == [
        {"entered": "2 each", "grams": "520.000000", "reason": "crooked cap", "units": 2}
    ]
    told = fill["reconciliation"]
    assert (told["filled_by"], D(told["unexplained"])) == ("said", 0)
    (stock,) = north.get("stock", material=shampoo["bottle"]).made()["results"]
    assert D(stock["on_hand"]) == 190


def test_nothing_left_for_the_units(north: Client, shampoo: dict[str, Any]) -> None:
    body = {"product": shampoo["product"], "lot": shampoo["bulk"], "units": 1, "used": "300 g"}
    heel = {"quantity": "300 g", "reason": "left in the hose"}
    north.post("fills", {**body, "heel": heel}).refused(422, "invalid", "/used")
    counted = {"heel": {"quantity": "1 each", "reason": "x"}}
    north.post("fills", {**body, **counted}).refused(422, "unit_wrong", "/heel/quantity")
    silent = {"rejects": [{"quantity": "1 g", "reason": " "}]}
    assert north.post("fills", {**body, **silent}).status in (400, 422)


def test_a_container_is_measured_by_water(north: Client, shampoo: dict[str, Any]) -> None:
    """A bottle sold as 250 mL holds 271 mL to the brim: filled by eye, that is the usual leak."""
    path = f"containers/{shampoo['bottle']}"
    north.get(path).refused(404, "not_found")
    body = {"nominal": "250 mL", "headspace_percent": "4"}
    empty = north.change("PUT", path, body).made()
    assert (empty["usable_ml"], empty["beyond_nominal"]) == (None, None)
    pieces = [{"gross": "298.4 g", "tare": "28.4 g"}, {"gross": "299.4 g", "tare": "28.4 g"}]
    water = {"level": "brimful", "at": "20 degC", "pieces": pieces}
    done = north.post(f"{path}/water-fills", water).made()
    assert (done["least_ml"], done["mean_ml"], done["most_ml"]) == ("270.77", "271.27", "271.77")
    told = north.get(path).made()
    assert D(told["usable_ml"]) == D("259.94")
    assert D(told["beyond_nominal"]["millilitres"]) == D("10.42")
    usable = [{"gross": "288.4 g", "tare": "28.4 g"}]
    north.post(f"{path}/water-fills", {**water, "level": "usable", "pieces": usable}).made()
    told = north.get(path).made()
    assert (D(told["usable_ml"]), told["usable"]["mean_ml"]) == (D("260.74"), "260.740000")
    assert told in north.listed("containers")
    assert [one["level"] for one in north.listed(f"{path}/water-fills")] == ["usable", "brimful"]
    full = [{"gross": "308.4 g", "tare": "28.4 g"}]
    above = {**water, "level": "usable", "pieces": full}
    north.post(f"{path}/water-fills", above).refused(409, "conflict", "/pieces")
    target = {"standard_deviation": "1 g", "units": 60}
    ruled(north, shampoo)
    shown = north.post(f"products/{shampoo['product']}/fill-target", target).made()
    assert D(shown["usable_ml"]) == D("260.74")


def test_a_fill_needs_room_in_its_container(north: Client, shampoo: dict[str, Any]) -> None:
    path = f"containers/{shampoo['bottle']}"
    north.change("PUT", path, {"nominal": "250 mL"}).made()
    water = {"level": "usable", "at": "20 degC"}
    pieces = [{"gross": "283.4 g", "tare": "28.4 g"}]
    north.post(f"{path}/water-fills", {**water, "pieces": pieces}).made()
    draft = shampoo["draft"]
    fits = {**draft, "fill": {"nominal": "250 mL", "overfill_percent": "2"}}
    north.post("products", fits).made()
    over = {**draft, "fill": {"nominal": "250 mL", "overfill_percent": "3"}}
    error = north.post("products", over).refused(422, "container_too_small", "/fill/nominal")
    assert "255.73" in error["detail"]
    assert "257.50" in error["detail"]
    by_mass = {**draft, "fill": {"nominal": "261 g"}}
    north.post("products", by_mass).refused(422, "container_too_small", "/fill/nominal")
    changed = f"products/{shampoo['product']}"
    etag = north.get(changed).headers["ETag"]
    north.change("PUT", changed, over, etag).refused(422, "container_too_small", "/fill/nominal")


def test_what_is_no_container(north: Client, shampoo: dict[str, Any]) -> None:
    oil = north.material("Helianthus Annuus Seed Oil")
    body = {"nominal": "250 mL"}
    north.change("PUT", f"containers/{oil}", body).refused(422, "invalid")
    path = f"containers/{shampoo['bottle']}"
    north.change("PUT", path, {"nominal": "250 g"}).refused(422, "unit_wrong", "/nominal")
    water = {"level": "brimful", "at": "20 degC", "pieces": [{"gross": "9 g", "tare": "1 g"}]}
    north.post(f"{path}/water-fills", water).refused(404, "not_found")
    first = north.change("PUT", path, body)
    etag = first.headers["ETag"]
    assert north.change("PUT", path, {"nominal": "260 mL"}, etag).made()["version"] == 2
    north.change("PUT", path, body, etag).refused(412, "stale")
    for wrong, pointer in (
        ({**water, "at": "120 degC"}, None),
        ({**water, "pieces": [{"gross": "1 g", "tare": "1 g"}]}, "/pieces/0/gross"),
        ({**water, "pieces": [{"gross": "9 mL", "tare": "1 g"}]}, "/pieces/0/gross"),
    ):
        answer = north.post(f"{path}/water-fills", wrong)
        assert answer.status == 422, answer.raw
        assert pointer is None or answer.json["errors"][0]["pointer"] == pointer


def test_costs_are_for_who_may_see_them(north: Client, shampoo: dict[str, Any]) -> None:
    """The same figures in grams without money stand elsewhere; here a seer is told both."""
    ruled(north, shampoo)
    fill = filled(north, shampoo, 2)
    done = north.post(
        f"fills/{fill['id']}/unit-weighings", {"weighings": [{"net": "260 g"}]}
    ).made()
    assert done["giveaway"]["money"] == "0.10"
