"""What filling bulk cost beside its standards: a fill worked by hand, and what it is judged by."""

from decimal import Decimal
from typing import Any

import pytest

from tests.api.client import Client, Coop
from tests.api.people import member
from tests.api.test_variances import adds_up, amounts

D: Any = Decimal
DAY, FIRST = "2025-05-06", "2025-05-01"


@pytest.fixture
def balm(north: Client) -> dict[str, Any]:
    """1.8 kg of bulk out of oil at 10.00 and wax at 20.00, which lost a quarter; jars at 0.50."""
    oil, wax = north.material("Oil of a fill"), north.material("Wax of a fill")
    jar = north.material("Jar of a fill", measured_by="count")
    lots = {oil: north.receive(oil, "10 kg", "100.00"), wax: north.receive(wax, "10 kg", "200.00")}
    north.receive(jar, "100 each", "50.00")
    lines = [{"material": oil, "percent": "50"}, {"material": wax, "percent": "50"}]
    recipe: dict[str, Any] = {"name": "Balm to fill", "process_loss_percent": "20"}
    recipe |= {"phases": [{"name": "A", "lines": lines}]}
    formula = north.post("formulas", recipe).made()["id"]
    product = {
        "name": "Balm of 100 g",
        "formula": formula,
        "fill": {"nominal": "100 g"},
        "packaging": [{"material": jar, "quantity": "1 each"}],
        "labour": {"minutes_per_batch": "30", "minutes_per_unit": "1", "hourly_rate": "24"},
        "overhead": {"per_batch": "2", "percent_of_materials": "10"},
    }
    made = north.post("products", product).made()["id"]
    body = {"formula": formula, "batch": "2400 g", "planned_for": DAY}
    batch = north.post("batches", body).made()
    for line in batch["lines"]:
        weighing = {"line": line["id"], "lot": lots[line["material"]], "quantity": "1200 g"}
        weighing["happened_at"] = f"{DAY}T09:00:00Z"
        north.post(f"batches/{batch['id']}/weighings", weighing).made()
    end = {"output": "1800 g", "happened_at": f"{DAY}T12:00:00Z", "release": {"basis": "smooth"}}
    bulk = north.post(f"batches/{batch['id']}/finish", end).made()["lot"]["id"]
    return {"formula": formula, "product": made, "oil": oil, "jar": jar, "bulk": bulk}


def filled(north: Client, balm: dict[str, Any]) -> str:
    """Eight jars out of 920 g, of which 20 g stayed in the filler, and one jar was rejected."""
    body = {
        "product": balm["product"],
        "lot": balm["bulk"],
        "units": 8,
        "used": "920 g",
        "heel": {"quantity": "20 g", "reason": "in the hopper"},
        "rejects": [{"quantity": "1 each", "reason": "a cracked lid"}],
        "happened_at": f"{DAY}T15:00:00Z",
    }
    return str(north.post("fills", body).made()["id"])


def standard(north: Client, balm: dict[str, Any], of: str, valid_from: str) -> Any:
    """Oil at 13.00, or a jar at 0.45 with half a minute of work at 21.00 an hour."""
    prices = {"formula": ("oil", "13"), "product": ("jar", "0.45")}
    material, price = prices[of]
    body: dict[str, Any] = {"valid_from": valid_from}
    body["prices"] = [{"material": balm[material], "price": price}]
    if of == "product":
        body["labour"] = {"hourly_rate": "21", "minutes_per_unit": "0.5"}
    return north.post(f"{of}s/{balm[of]}/standard-costs", body)


def test_a_fill_worked_by_hand(north: Client, balm: dict[str, Any]) -> None:
    """2,400 g for 12.00 + 24.00 gave 1,800 g: 0.02 a gram, and 920 g of it are 18.40.

    By the standard a kilogram that goes in costs (13 + 20) ÷ 2 = 16.50, and one that comes out
    16.50 ÷ 0.8 = 20.625. The 800 g that eight jars hold are 16.50, the 920 g that went in 18.975.
      price 18.40 - 18.975 = -0.575   mix 0   yield 18.975 - 16.50 = 2.475
    Nine jars cost 4.50, by the standard 4.05, and eight of them 3.60: price 0.45, usage 0.45.
    Eight minutes at 24.00 are 3.20; at 21.00 they are 2.80; the four of the standard are 1.40.
      rate 0.40   efficiency 1.40
    Of 26.10 in all the rejected jar takes 100 g for 2.00 and 0.50 for itself.
    """
    standard(north, balm, "formula", FIRST).made()
    standard(north, balm, "product", FIRST).made()
    fill = filled(north, balm)
    told = north.get(f"fills/{fill}/variances").made()
    assert (D(told["actual"]), D(told["standard"])) == (D("26.1"), D("21.5"))
    assert (D(told["total"]["amount"]), told["total"]["direction"]) == (D("4.6"), "adverse")
    assert (told["units"], D(told["nominal_grams"]), told["filled_on"]) == (8, 800, DAY)
    (bulk,) = told["materials"]["lines"]
    assert (bulk["name"], D(bulk["grams"]), D(bulk["standard_grams"])) == ("Balm to fill", 920, 800)
    figures = {"price": D("-0.575"), "mix": D(0), "yield": D("2.475"), "usage": D("2.475")}
    assert amounts(bulk) == amounts(told["materials"]) == {**figures, "total": D("1.9")}
    packaging, labour, overhead = told["packaging"], told["labour"], told["overhead"]
    assert amounts(packaging) == {"price": D("0.45"), "usage": D("0.45"), "total": D("0.9")}
    assert (labour["minutes"], labour["standard_minutes"]) == ("8", "4")
    assert labour["minutes_from"] == "policy"
    assert amounts(labour) == {"rate": D("0.4"), "efficiency": D("1.4"), "total": D("1.8")}
    assert amounts(overhead) == {"rate": D(0), "base": D(0), "total": D(0)}
    heads = [amounts(one)["total"] for one in (told["materials"], packaging, labour, overhead)]
    assert sum(heads) == D(told["total"]["amount"])
    assert (D(told["rejected"]), D(told["carried"])) == (D("2.5"), D("23.6"))
    assert D(north.get(f"fills/{fill}").made()["total"]) == D(told["carried"])
    working = north.get(f"fills/{fill}/variances", explain=1).made()["working"]
    assert adds_up(working) == D("4.6")


def test_a_fill_keeps_the_standards_that_it_was_judged_by(
    north: Client, mill: Client, coop: Coop, balm: dict[str, Any]
) -> None:
    path = f"fills/{filled(north, balm)}/variances"
    missing = north.get(path).refused(409, "standard_missing")
    assert "Balm to fill, version 1" in missing["detail"]
    standard(north, balm, "formula", FIRST).made()
    assert "Balm of 100 g" in north.get(path).refused(409, "standard_missing")["detail"]
    standard(north, balm, "product", FIRST).made()
    assert D(north.get(path).made()["total"]["amount"]) == D("4.6")
    for of in ("formula", "product"):
        standard(north, balm, of, DAY).refused(409, "standard_kept", "/valid_from")
        standard(north, balm, of, "2025-05-07").made()
    assert D(north.get(path).made()["total"]["amount"]) == D("4.6")
    mill.get(path).refused(404, "not_found")
    member(coop, "North Bench", "bench").get(path).refused(403, "forbidden")
    entry = north.get(path.removesuffix("/variances")).made()["entry"]
    north.post(f"entries/{entry}/reversal", {"reason": "the wrong jars"}).made()
    north.get(path).refused(409, "conflict")
