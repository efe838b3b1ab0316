"""Variances through HTTP: a batch worked by hand, and a period that adds up."""

from decimal import Decimal
from typing import Any

import pytest

from tests.api.client import Client, Coop
from tests.api.people import member

D: Any = Decimal
DAY = "2025-05-06"


@pytest.fixture
def balm(north: Client) -> dict[str, Any]:
    """Half oil at 10.00, half wax at 20.00, of which a fifth is lost; jars at 0.50."""
    oil, wax = north.material("Oil"), north.material("Wax")
    jar = north.material("Jar", measured_by="count")
    lots = {oil: north.receive(oil, "10 kg", "100.00"), wax: north.receive(wax, "10 kg", "200.00")}
    north.receive(jar, "100 each", "50.00")
    lines = [{"material": oil, "percent": "50"}, {"material": wax, "percent": "50"}]
    phases = [{"name": "A", "lines": lines}]
    recipe = {"name": "Balm", "process_loss_percent": "20", "phases": phases}
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
    kinds = {"oil": oil, "wax": wax, "jar": jar}
    return {"formula": formula, "product": made, "lots": lots, **kinds}


def planned(north: Client, balm: dict[str, Any]) -> dict[str, Any]:
    """Ten units planned, and 650 g of oil and 600 g of wax weighed for them."""
    body = {"product": balm["product"], "units": 10, "planned_for": DAY}
    batch = north.post("batches", body).made()
    for line, quantity in zip(batch["lines"], ("650 g", "600 g"), strict=True):
        weighing = {"line": line["id"], "lot": balm["lots"][line["material"]]}
        weighing |= {"quantity": quantity, "happened_at": f"{DAY}T09:00:00Z"}
        north.post(f"batches/{batch['id']}/weighings", weighing).made()
    return dict(batch)


def finished(north: Client, batch: dict[str, Any], **more: Any) -> None:
    body = {"output": "960 g", "units": 9, "happened_at": f"{DAY}T12:00:00Z", **more}
    north.post(f"batches/{batch['id']}/finish", body).made()


def standards(north: Client, balm: dict[str, Any]) -> None:
    """Oil at 12.00, wax at 20.00, a jar at 0.45; 21.00 an hour; 2.00 and 12 % of materials."""
    body: dict[str, Any] = {"valid_from": "2025-05-01"}
    prices = [{"material": balm["oil"], "price": "12"}]
    north.post(f"formulas/{balm['formula']}/standard-costs", {**body, "prices": prices}).made()
    body["prices"] = [{"material": balm["jar"], "price": "0.45"}]
    body |= {"labour": {"hourly_rate": "21"}, "overhead": {"percent_of_materials": "12"}}
    north.post(f"products/{balm['product']}/standard-costs", body).made()


def amounts(told: dict[str, Any]) -> dict[str, Any]:
    """The variances of one level, each with its sign held against what it is called."""
    found = {}
    for name, one in told.items():
        if isinstance(one, dict) and "direction" in one:
            found[name] = D(one["amount"])
            words = {1: "adverse", -1: "favourable", 0: "none"}
            sign = (found[name] > 0) - (found[name] < 0)
            assert one["direction"] == words[sign], name
    return found


def test_a_batch_worked_by_hand(north: Client, balm: dict[str, Any]) -> None:
    """650 g of oil and 600 g of wax give 960 g in 9 jars; it took 50 minutes, and 10 g were lost.

    The standard takes 960 ÷ 0.8 = 1200 g, 600 of each: 7.20 + 12.00 = 19.20.
    Oil cost 6.50. At standard it is 650 · 0.012 = 7.80; half of the 1250 g would be 7.50.
      price 6.50 - 7.80 = -1.30   mix 7.80 - 7.50 = 0.30   yield 7.50 - 7.20 = 0.30
    Wax cost 12.00. At standard it is 12.00; half of the 1250 g would be 12.50.
      price 0                     mix 12.00 - 12.50 = -0.50   yield 12.50 - 12.00 = 0.50
    Nine jars cost 4.50, by the standard 4.05: price 0.45.
    50 minutes at 24.00 are 20.00; at 21.00 they are 17.50; the 30 + 9 of the standard are 13.65.
      rate 2.50   efficiency 3.85
    Overhead was 2 + 10 % of 18.50 = 3.85. At 12 % it is 4.22 on these materials, and on 19.20
    it is 4.304.   rate -0.37   base -0.084
    """
    standards(north, balm)
    batch = planned(north, balm)
    path = f"batches/{batch['id']}/variances"
    north.get(path).refused(409, "not_finished")
    lost = {"quantity": "10 g", "reason": "boiled over"}
    finished(north, batch, labour_minutes="50", abnormal_loss=lost)
    told = north.get(path).made()
    assert (D(told["actual"]), D(told["standard"])) == (D("46.85"), D("41.204"))
    assert (D(told["total"]["amount"]), told["total"]["direction"]) == (D("5.646"), "adverse")
    materials, packaging = told["materials"], told["packaging"]
    oil, wax = materials["lines"]
    assert (oil["name"], D(oil["grams"]), D(oil["standard_grams"])) == ("Oil", 650, 600)
    figures = {"price": D("-1.3"), "mix": D("0.3"), "yield": D("0.3"), "usage": D("0.6")}
    assert amounts(oil) == {**figures, "total": D("-0.7")}
    figures = {"price": D(0), "mix": D("-0.5"), "yield": D("0.5"), "usage": D(0)}
    assert amounts(wax) == {**figures, "total": D(0)}
    figures = {"price": D("-1.3"), "mix": D("-0.2"), "yield": D("0.8"), "usage": D("0.6")}
    assert amounts(materials) == {**figures, "total": D("-0.7")}
    assert "standard price" in materials["price"]["how"]
    assert amounts(packaging) == {"price": D("0.45"), "usage": D(0), "total": D("0.45")}
    labour, overhead = told["labour"], told["overhead"]
    assert (labour["minutes"], labour["standard_minutes"]) == ("50", "39")
    assert labour["minutes_from"] == "recorded"
    assert amounts(labour) == {"rate": D("2.5"), "efficiency": D("3.85"), "total": D("6.35")}
    assert amounts(overhead) == {"rate": D("-0.37"), "base": D("-0.084"), "total": D("-0.454")}
    heads = [amounts(one)["total"] for one in (materials, packaging, labour, overhead)]
    assert sum(heads) == D(told["total"]["amount"])
    # 10 g were declared lost: 10 ÷ (960 + 10) of the 42.35 that are no packaging.
    beside = (D(told["by_products"]), D(told["abnormal"]), D(told["carried"]))
    assert beside == (0, D("0.436598"), D("46.413402"))
    whole = north.get(f"batches/{batch['id']}").made()["finished"]
    assert (whole["labour_minutes"], whole["cost"]["inputs"]) == ("50", "46.85")
    working = north.get(path, explain=1).made()["working"]
    assert adds_up(working) == D("5.646")
    assert working["facts"]["formula_standard_from"] == "2025-05-01"


def adds_up(figure: dict[str, Any]) -> Any:
    """The amount of a figure, each of which is the sum of its parts."""
    amount = D(figure["amount"])
    if figure["parts"]:
        assert sum(adds_up(part) for part in figure["parts"]) == amount, figure["name"]
    return amount


def test_without_a_standard_it_says_what_to_set(
    north: Client, mill: Client, coop: Coop, balm: dict[str, Any]
) -> None:
    batch = planned(north, balm)
    finished(north, batch)
    path, day = f"batches/{batch['id']}/variances", {"valid_from": DAY}
    assert "Balm, version 1" in north.get(path).refused(409, "standard_missing")["detail"]
    north.post(f"formulas/{balm['formula']}/standard-costs", day).made()
    assert "Balm 100" in north.get(path).refused(409, "standard_missing")["detail"]
    late = {"valid_from": "2025-05-07"}
    north.post(f"products/{balm['product']}/standard-costs", late).made()
    north.get(path).refused(409, "standard_missing")
    north.post(f"products/{balm['product']}/standard-costs", day).made()
    told = north.get(path).made()
    # At today's costs and by the policy of today only mix and yield are left.
    assert amounts(told["labour"]) == {"rate": 0, "efficiency": 0, "total": 0}
    assert told["labour"]["minutes_from"] == "policy"
    assert D(told["materials"]["price"]["amount"]) == 0
    kept = north.post(f"formulas/{balm['formula']}/standard-costs", day)
    assert kept.refused(409, "standard_kept", "/valid_from")["batch"] == batch["code"]
    mill.get(path).refused(404, "not_found")
    bench = member(coop, "North Bench", "bench")
    bench.get(path).refused(403, "forbidden")
    period = {"from": DAY, "to": DAY}
    bench.get("variances", **period).refused(403, "forbidden")
    assert mill.get("variances", **period).made()["results"] == []


def test_a_period_adds_up(north: Client, balm: dict[str, Any]) -> None:
    """Three batches, first without any standard, then with theirs."""
    for output in ("960 g", "955 g", "1 kg"):
        finished(north, planned(north, balm), output=output)
    period = {"from": DAY, "to": DAY, "formula": balm["formula"]}
    bare = north.get("variances", **period).made()
    assert (bare["sum"]["batches"], bare["sum"]["without_standard"]) == (3, 3)
    assert D(bare["sum"]["actual"]) == 0
    assert bare["results"][0]["missing"] == "Balm, version 1"
    assert bare["results"][0]["variances"] is None
    standards(north, balm)
    whole = north.get("variances", **period).made()
    rows, total = whole["results"], whole["sum"]
    assert (len(rows), total["batches"], total["without_standard"]) == (3, 3, 0)
    for row in rows:
        heads = amounts(row["variances"])
        assert heads.pop("total") == sum(heads.values()) == D(row["actual"]) - D(row["standard"])
    for name in total["variances"]:
        one = amounts(total["variances"])[name]
        assert one == sum(amounts(row["variances"])[name] for row in rows), name
    first = north.get("variances", **period, limit=2).made()
    second = north.get("variances", **period, limit=2, cursor=first["next"]).made()
    assert first["results"] + second["results"] == rows
    assert (first["sum"], second["sum"], second["next"]) == (total, None, None)
    assert north.listed("variances", **period, product=balm["product"]) == rows
    north.get("variances", **{**period, "to": "2025-05-05"}).refused(422, "invalid", "/to")
    north.get("variances", **{**period, "to": "2026-05-07"}).refused(422, "invalid", "/to")
    north.get("variances").refused(422, "required")
