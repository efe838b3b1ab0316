"""One drum of W-31, and where all of it is: two makers, an infusion, a rework, a shop, buyers."""

from decimal import Decimal
from typing import Any

import pytest

from tests.api.client import Client, Coop, open_coop
from tests.api.people import maker_id
from tests.running import Running

D = Decimal
ON = {"happened_at": "2025-05-05T09:00:00Z"}


@pytest.fixture(scope="module")
def pair(server: Running) -> Coop:
    return open_coop(server, "North Bench", "Mill Bench")


def formula(maker: Client, name: str, **line: Any) -> dict[str, Any]:
    lines = [{**line, "percent": "100"}]
    body = {"name": name, "phases": [{"name": "A", "lines": lines}]}
    return dict(maker.post("formulas", body).made())


def product(maker: Client, of: dict[str, Any], grams: str) -> str:
    body = {"name": f"{of['name']} {grams}", "formula": of["id"], "fill": {"nominal": grams}}
    return str(maker.post("products", {**body, "packaging": []}).made()["id"])


def make(
    maker: Client, plan: dict[str, Any], lot: str, grams: str, *more: dict[str, Any], **out: Any
) -> str:
    """A batch of one line, finished and released; the lot that was made."""
    batch = maker.post("batches", {**plan, "planned_for": "2025-05-05"}).made()
    line = {"line": batch["lines"][0]["id"], "lot": lot, "quantity": grams}
    for weighing in (line, *more):
        maker.post(f"batches/{batch['id']}/weighings", {**weighing, **ON}).made()
    body = {**out, **ON, "release": {"basis": "looks right"}}
    return str(maker.post(f"batches/{batch['id']}/finish", body).made()["lot"]["id"])


def move(maker: Client, path: str, lot: str, quantity: str, **facts: Any) -> str:
    body = {"lines": [{"lot": lot, "quantity": quantity}], **ON, **facts}
    return str(maker.post(path, body).made()["entry"])


def away(maker: Client, lot: str, sold: int, retained: int) -> str:
    """Retained units, and a sale to a buyer of that lot; the sale."""
    move(maker, "issues", lot, f"{retained} each", purpose="retained", reason="for its shelf life")
    return move(maker, "sales", lot, f"{sold} each", customer=f"buyer of {lot[-4:]}")


def made_of_it(north: Client, w31: str, shea: str) -> dict[str, str]:
    """S-11 of 1.20 kg; INF-5 of 0.90; of it L-20 and L-22, and L-25 by rework of L-22's rest."""
    soap = formula(north, "Soap", material=shea)
    plan = {"product": product(north, soap, "10 g"), "units": 118}
    lots = {"S-11": make(north, plan, w31, "1.20 kg", output="1180 g", units=118)}
    infusion = formula(north, "Infusion", material=shea)
    lots["INF-5"] = make(
        north, {"formula": infusion["id"], "batch": "900 g"}, w31, "0.90 kg", output="860 g"
    )
    lotion = formula(north, "Lotion", formula=infusion["id"])
    jar = product(north, lotion, "5 g")
    lots["L-20"] = make(
        north, {"product": jar, "units": 52}, lots["INF-5"], "430 g", output="425 g", units=52
    )
    bulk = make(
        north, {"formula": lotion["id"], "batch": "430 g"}, lots["INF-5"], "430 g", output="430 g"
    )
    fill = {"product": jar, "lot": bulk, "units": 47, **ON, "release": {"basis": "looks right"}}
    lots["L-22"] = str(north.post("fills", fill).made()["lot"]["id"])
    clean = north.material("Clean base")
    fresh = north.receive(clean, "1 kg", "5.00")
    base = formula(north, "Second lotion", material=clean)
    rework = {"line": None, "material": lotion["material"], "lot": bulk, "quantity": "195 g"}
    plan = {"product": product(north, base, "5 g"), "units": 60}
    lots["L-25"] = make(north, plan, fresh, "300 g", rework, output="490 g", units=60)
    return lots


def units_at(found: list[dict[str, Any]], place: str) -> int:
    return sum(
        int(one["quantity"])
        for recall in found
        for lot in recall["lots"]
        if lot["unit"] == "each"
        for one in lot["places"]
        if one["place"].startswith(place)
    )


def assert_the_drum_itself(here: dict[str, Any], there: dict[str, Any], reworked: str) -> None:
    """And the 60 units that would be missed without the link of the rework."""
    assert [one["total"] for one in here["lots"] if one["lot"] == reworked] == ["60"]
    root = {one["place"]: one["quantity"] for one in here["lots"][0]["places"]}
    assert root == {
        "in store": "2300.000000",
        "moved to Mill Bench": "1500.000000",
        "sample": "20.000000",
        "spill": "80.000000",
    }
    assert here["lots"][0]["used"] == "2100.000000"
    assert there["lots"][0]["places"][0]["quantity"] == "800.000000"


def assert_it_closes(both: list[dict[str, Any]]) -> None:
    for recall in both:
        assert {lot["unexplained"] for lot in recall["lots"]} <= {"0", "0.000000"}
        assert recall["balance"]["unexplained"] == "0.000000"
        assert recall["balance"]["accounted"] == recall["balance"]["received"]


def test_where_all_of_the_drum_is(pair: Coop) -> None:
    north, mill = pair["North Bench"], pair["Mill Bench"]
    shea = north.material("Shea butter")
    w31 = north.receive(shea, "6.00 kg", "60.00", supplier_lot="W-31")
    lots = made_of_it(north, w31, shea)
    offer = {"maker": str(maker_id(pair, "Mill Bench")), "lot": w31, "quantity": "1.50 kg", **ON}
    id = north.post("transfers", offer).made()["id"]
    mill.post(f"transfers/{id}/acceptance", {**ON, "release": {"basis": "seal whole"}}).made()
    plan = {"product": product(mill, formula(mill, "Balm", material=shea), "19 g"), "units": 36}
    m4 = make(mill, plan, w31, "0.70 kg", output="684 g", units=36)
    move(north, "issues", w31, "0.02 kg", purpose="sample", reason="for the laboratory")
    move(north, "issues", w31, "0.08 kg", purpose="spill", reason="dropped a ladle")
    move(north, "consignments", lots["S-11"], "15 each", shop="quay shop")
    move(north, "issues", lots["S-11"], "4 each", purpose="tester", reason="market stall")
    sales = [
        away(maker, lot, sold, kept)
        for maker, lot, sold, kept in (
            (north, lots["S-11"], 60, 3),
            (north, lots["L-20"], 25, 2),
            (north, lots["L-22"], 20, 2),
            (north, lots["L-25"], 28, 2),
            (mill, m4, 10, 1),
        )
    ]
    here, there = (maker.get(f"lots/{w31}/recall-list").made() for maker in (north, mill))
    both = [here, there]
    reached = {lot["lot"] for lot in here["lots"]}
    assert set(lots.values()) < reached, "the rework included"
    assert_the_drum_itself(here, there, lots["L-25"])
    made = [lot for recall in both for lot in recall["lots"] if lot["unit"] == "each"]
    assert sorted(int(lot["total"]) for lot in made) == [36, 47, 52, 60, 118]
    assert sum(int(lot["total"]) for lot in made) == 313
    places = ("sold", "on consignment", "in store", "tester", "retained")
    assert [units_at(both, place) for place in places] == [143, 15, 141, 4, 10]
    assert sum(int(recall["within_reach"]["units"]) for recall in both) == 156
    assert sum(D(recall["within_reach"]["grams"]) for recall in both) == 3100
    assert sum(int(one["sold"]) for recall in both for one in recall["direct_accounts"]) == 143
    assert_it_closes(both)
    assert here["balance"]["received"] == "6000.000000"
    for maker, lot, sale, count in (
        (north, lots["S-11"], sales[0], 40),
        (north, lots["L-20"], sales[1], 15),
        (mill, m4, sales[4], 6),
    ):
        move(maker, "customer-returns", lot, f"{count} each", sale=sale, reason="recalled")
    both = [maker.get(f"lots/{w31}/recall-list").made() for maker in (north, mill)]
    sold, back = (sum(int(one["sold"][name]) for one in both) for name in ("units", "returned"))
    assert (sold, back, round(D(100 * back) / sold, 1)) == (143, 61, D("42.7"))
    assert both[1]["sold"]["percent_back"] == "60.0"
    assert str(m4) not in str(here), "another maker's lots are its own"
