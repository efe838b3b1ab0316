"""A lot that runs out on the day: the worked example of a top-up, as the API answers it."""

from decimal import Decimal
from typing import Any

from tests.api.client import Client

D = Decimal


INCI, OTHER_INCI = "Sodium Laureth Sulfate", "Sodium Myreth Sulfate"


def take(maker: Client, lot: str, quantity: str) -> None:
    body = {
        "lines": [{"lot": lot, "quantity": quantity}],
        "purpose": "gift",
        "reason": "to a neighbour",
        "happened_at": "2025-05-02T09:00:00Z",
    }
    maker.post("issues", body).made()


def write_wash(maker: Client) -> dict[str, Any]:
    """52 % water, 15 % of a paste of 70 % active with a grade of 28 % as its alternate."""
    kind = {"function": "surfactant", "cost_formula": "lot"}
    paste = maker.material("SLES paste", inci_name=INCI, brings=[], **kind)
    brought: dict[str, Any] = {"brings": ["preservative", "salts"], **kind}
    grade = maker.material("SLES 28", inci_name=OTHER_INCI, **brought)
    rest = maker.material("Glycerin", inci_name="Glycerin")
    water = maker.material("Water", inci_name="Aqua", stocked=False)
    alternates = [{"material": grade, "active_percent": "28"}]
    lines = [
        {"material": water, "balance": True},
        {
            "material": paste,
            "percent": "15",
            "active_percent": "70",
            "alternates": alternates,
        },
        {"material": rest, "percent": "33"},
    ]
    body = {"name": "Wash", "phases": [{"name": "A", "lines": lines}]}
    formula = maker.post("formulas", body).made()
    line = formula["phases"][0]["lines"][1]
    assert line["active_percent"] == "70"
    assert line["alternates"] == [{"material": grade, "name": "SLES 28", "active_percent": "28"}]
    maker.receive(rest, "20 kg", "40")
    return {"paste": paste, "grade": grade, "formula": formula["id"]}


def test_the_rest_of_a_lot_made_up_by_active_matter(maker: Client) -> None:
    """1,500 g of 70 % = 1,050 g active; 820 g left = 574; 476 ÷ 0.28 = 1,700 g of 28 %, which bring
    1,020 g more, so the water goes from 5,200 to 4,180 g. 4.838 + 3.995 = 8.833, plan 8.850."""
    wash = write_wash(maker)
    left = maker.receive(wash["paste"], "10 kg", "59.00")
    take(maker, left, "9180 g")
    other = maker.receive(wash["grade"], "10 kg", "23.50")
    size = {"formula": wash["formula"], "batch": "10 kg", "planned_for": "2025-05-06"}
    batch = maker.post("batches", size).made()
    water, line, _ = batch["lines"]
    assert [D(line["grams"]), D(line["short"])] == [1500, 680]
    path = f"batches/{batch['id']}"
    done = maker.post(f"{path}/top-ups", {"line": line["id"], "lot": left}).made()

    active = {name: D(grams) for name, grams in done["active"].items()}
    assert active == {
        "needed_grams": 1050,
        "kept_grams": 574,
        "short_grams": 476,
        "unmatched_grams": 0,
    }
    assert [D(done["kept_grams"]), D(done["other_grams"])] == [820, 1700]
    assert D(done["brought_grams"]) == 1020
    balance = done["balance"]
    assert [D(balance["before_grams"]), D(balance["after_grams"])] == [5200, 4180]
    assert done["balance"]["line"] == water["id"]
    assert {name: D(amount) for name, amount in done["cost"].items()} == {
        "kept": D("4.838"),
        "other": D("3.995"),
        "total": D("8.833"),
        "planned": D("8.850"),
    }
    cautions = {one["code"]: one["text"] for one in done["cautions"]}
    carried = {"preservative_carried", "salts_carried"}
    assert set(cautions) == {"inci_changed", "check_ph", "balance_changed", *carried}
    assert all(name in cautions["inci_changed"] for name in (INCI, OTHER_INCI))
    shown = maker.get(path).made()
    assert [D(one["grams"]) for one in shown["lines"]] == [4180, 2520, 3300]
    assert [D(one["planned_grams"]) for one in shown["lines"]] == [5200, 1500, 3300]
    own, its = shown["lines"][1]["shares"]
    assert (own["picks"][0]["lot"], D(own["picks"][0]["grams"])) == (left, D(820))
    assert (its["picks"][0]["lot"], D(its["picks"][0]["grams"])) == (other, D(1700))
    the_sheet_says_so(maker, path)
    finished = weigh_and_finish(maker, shown)
    assert D(finished["cost"]["materials"]) == D("15.43")  # 8.833 + 3.3 kg at 2.00
    assert D(finished["yield_percent"]) == 100
    trace = maker.get(f"lots/{finished['lot']['id']}/trace", direction="back").made()
    assert {left, other} <= {row["lot"] for row in trace["lots"]}


def the_sheet_says_so(maker: Client, path: str) -> None:
    """What is printed after a top-up is what it left, not the plan before it."""
    sheet = maker.get(f"{path}/sheet", format="html").raw.decode()
    assert all(amount in sheet for amount in ("4,180", "820", "1,700"))
    assert "5,200" not in sheet


def weigh_and_finish(maker: Client, batch: dict[str, Any]) -> dict[str, Any]:
    """All of it weighed, each share from its own lots, and finished without a loss."""
    path, at = f"batches/{batch['id']}", "2025-05-06T10:00:00Z"
    for line in batch["lines"]:
        pours: list[dict[str, Any]] = [
            {"lot": pick["lot"], "quantity": f"{pick['grams']} g"} for pick in line["picks"]
        ]
        for pour in pours or [{"quantity": f"{line['grams']} g"}]:
            body = {"line": line["id"], "happened_at": at, **pour}
            maker.post(f"{path}/weighings", body).made()
    weighed = maker.get(path).made()
    assert [line["weighed"] for line in weighed["lines"]] == [
        line["grams"] for line in weighed["lines"]
    ]
    body = {"output": "10 kg", "happened_at": "2025-05-06T15:00:00Z"}
    return dict(maker.post(f"{path}/finish", body).made())


def test_what_a_top_up_touches_is_told(maker: Client) -> None:
    """One fragrance and one preservative for another, each one to one, and neither in silence."""
    scent: dict[str, Any] = {"inci_name": "Parfum", "function": "fragrance"}
    geraniol, limonene = ({"inci_name": one, "percent": "2"} for one in ("Geraniol", "Limonene"))
    rose = maker.material("Rose scent", allergens=[geraniol], **scent)
    lime = maker.material("Lime scent", allergens=[limonene], **scent)
    keeps: dict[str, Any] = {"function": "preservative", "brings": []}
    old = maker.material("Old preservative", inci_name="Phenoxyethanol", **keeps)
    new = maker.material("New preservative", inci_name="Benzyl Alcohol", **keeps)
    water = maker.material("Water", inci_name="Aqua", stocked=False)
    lines = [
        {"material": water, "balance": True},
        {"material": rose, "percent": "1", "alternates": [{"material": lime}]},
        {"material": old, "percent": "1", "alternates": [{"material": new}]},
    ]
    body = {"name": "Spray", "phases": [{"name": "A", "lines": lines}]}
    formula = maker.post("formulas", body).made()["id"]
    for one in (lime, new):
        maker.receive(one, "1 kg", "20.00")
    size = {"formula": formula, "batch": "10 kg", "planned_for": "2025-05-06"}
    batch = maker.post("batches", size).made()
    told = []
    for line in batch["lines"][1:]:
        done = maker.post(f"batches/{batch['id']}/top-ups", {"line": line["id"]}).made()
        told.append({one["code"]: one["text"] for one in done["cautions"]})
    assert set(told[0]) == {"allergens_carried", "carried_unknown"}
    assert set(told[1]) == {"inci_changed", "preservation_changed"}
    assert "challenge test" in told[1]["preservation_changed"]
    assert maker.get(f"batches/{batch['id']}").made()["top_ups"] != []


def test_what_cannot_be_topped_up(maker: Client) -> None:
    wash = write_wash(maker)
    lot = maker.receive(wash["paste"], "1 kg", "5.90")
    grade = maker.receive(wash["grade"], "1 kg", "2.35")
    size = {"formula": wash["formula"], "batch": "10 kg", "planned_for": "2025-05-06"}
    batch = maker.post("batches", size).made()
    water, line, rest = (one["id"] for one in batch["lines"])
    path = f"batches/{batch['id']}/top-ups"
    refused = maker.post(
        f"batches/{batch['id']}/weighings",
        {"line": line, "lot": grade, "quantity": "10 g", "happened_at": "2025-05-06T10:00:00Z"},
    ).refused(422, "invalid", "/lot")
    assert "top-up" in refused["detail"]
    oil = maker.material("Olive oil")
    maker.post(path, {"line": line, "lot": lot, "material": oil}).refused(
        422, "not_an_alternate", "/material"
    )
    maker.post(path, {"line": rest, "lot": lot}).refused(422, "invalid", "/lot")
    maker.post(path, {"line": water}).refused(422, "invalid", "/line")
    maker.post(path, {"line": line, "lot": lot, "amount": "1"}).refused(422, "unknown_field")
    late = maker.receive(wash["grade"], "9 kg", "1.00", release=False)
    maker.post(path, {"line": line, "lot": lot, "other_lot": late}).refused(
        409, "lot_not_released", "/other_lot"
    )
    # Nothing of it was kept.
    assert maker.get(f"batches/{batch['id']}").made()["top_ups"] == []


def test_goods_that_arrive_after_the_plan(maker: Client) -> None:
    wash = write_wash(maker)
    size = {"formula": wash["formula"], "batch": "10 kg", "planned_for": "2025-05-06"}
    batch = maker.post("batches", size).made()
    assert D(batch["lines"][1]["short"]) == 1500
    late = maker.receive(wash["paste"], "2 kg", "11.80")
    again = maker.post(f"batches/{batch['id']}/reservations", {}).made()
    assert D(again["lines"][1]["short"]) == 0
    assert [pick["lot"] for pick in again["lines"][1]["picks"]] == [late]
    stock = maker.stock(wash["paste"])
    assert [D(stock["reserved"]), D(stock["position"])] == [1500, 500]
    maker.post(f"batches/{batch['id']}/cancellation", {"reason": "not today"}).made()
    maker.post(f"batches/{batch['id']}/reservations", {}).refused(409, "already_finished")
