"""Worked examples, recomputed by hand and by program: what the API answers, to the last digit.

The amounts are an invented scenario of a maker's everyday work. Every figure in the assertions
was worked out beside the trade's own formulas, none of it by this project's code.
"""

import time
from decimal import Decimal
from typing import Any

import pytest

from tests.api.client import Client

D = Decimal


def cents(amount: str) -> Decimal:
    return D(amount).quantize(D("0.01"))


def to(digits: str, amount: str) -> Decimal:
    """An amount to as many digits as the example prints."""
    return D(amount).quantize(D(digits))


def receive_three(maker: Client) -> tuple[dict[str, str], Any]:
    """4 US gallons of a humectant (1.26 g/mL) for $186, a powder and a wax; freight and tax."""
    bought = {
        "humectant": maker.material("Glycerin", density="1.26 g/mL"),
        "powder": maker.material("Xanthan Gum"),
        "wax": maker.material("Cera Alba"),
    }
    wanted = {"humectant": ("4 gal", "186"), "powder": ("10 kg", "92"), "wax": ("5 kg", "72")}
    lines = [
        {"material": bought[name], "supplier_lot": name, "quantity": quantity, "price": price}
        for name, (quantity, price) in wanted.items()
    ]
    charges = [
        {"kind": "freight", "amount": "41.30", "spread_by": "mass"},
        {"kind": "tax", "amount": "21", "spread_by": "value"},
    ]
    body = {
        "supplier": maker.supplier(),
        "happened_at": "2025-05-01T09:00:00Z",
        "lines": lines,
        "charges": charges,
        "release": {"basis": "certificate agrees with specification"},
    }
    return bought, maker.post("receipts", body).made()


def test_a_receipt_by_volume(maker: Client) -> None:
    """4 x 3785.411784 mL x 1.26 = 19,078.475 g of 34,078.475 g in all. Freight by mass, tax by
    value; $220.28 ÷ 19.078475 kg = $11.5460/kg."""
    _, receipt = receive_three(maker)
    humectant, *_ = receipt["lines"]
    assert to("0.001", humectant["quantity"]["grams"]) == D("19078.475")
    assert humectant["quantity"]["entered"] == "4 gal"
    grams = sum((D(line["quantity"]["grams"]) for line in receipt["lines"]), D(0))
    assert to("0.001", str(grams)) == D("34078.475")
    kept = maker.get(f"receipts/{receipt['id']}").made()
    shares = [[D(share["amount"]) for share in line["shares"]] for line in kept["lines"]]
    assert shares == [
        [D("23.12"), D("11.16")],
        [D("12.12"), D("5.52")],
        [D("6.06"), D("4.32")],
    ]
    assert [D(line["charges"]) for line in receipt["lines"]] == [
        D("23.12") + D("11.16"),
        D("12.12") + D("5.52"),
        D("6.06") + D("4.32"),
    ]
    assert D(humectant["landed_cost"]) == D("220.28")
    assert [to("0.0001", line["unit_cost"]["amount"]) for line in receipt["lines"]] == [
        D("11.5460"),
        D("10.9640"),
        D("16.4760"),
    ]
    assert {line["unit_cost"]["per"] for line in receipt["lines"]} == {"kg"}
    assert D(receipt["total"]) == D("412.30")
    assert sum(D(line["landed_cost"]) for line in receipt["lines"]) == D("412.30")
    lot = maker.get(f"lots/{humectant['lot']['id']}").made()
    assert D(lot["value"]) == D("220.28")
    assert to("0.001", lot["on_hand"]["grams"]) == D("19078.475")


# 60 x 250 mL with 2 % overfill at 1.02 g/mL after 3 % loss: % of 16,088.66 g.
LOTION = {
    "Aqua": ("57.80", "9299.25"),
    "Glycerin": ("5", "804.43"),
    "Disodium EDTA": ("0.10", "16.09"),
    "Cocamidopropyl Betaine": ("12", "1930.64"),
    "Sodium Laureth Sulfate": ("15", "2413.30"),
    "Decyl Glucoside": ("3.50", "563.10"),
    "Calendula Glycerite": ("3", "482.66"),
    "Hydrolyzed Wheat Protein": ("1.50", "241.33"),
    "Phenoxyethanol": ("1", "160.89"),
    "Parfum": ("0.60", "96.53"),
    "Sodium Chloride": ("0.30", "48.27"),
    "Citric Acid": ("0.20", "32.18"),
}


def write_glycerite(maker: Client, humectant: str) -> tuple[str, str]:
    """100 g of herb and 900 g of humectant give 750 g; the herb costs $22/kg."""
    herb = maker.material("Calendula Officinalis Flower")
    maker.receive(herb, "1 kg", "22")
    lines: list[dict[str, Any]] = [
        {"material": herb, "percent": "10", "spent": True},
        {"material": humectant, "percent": "90"},
    ]
    body = {
        "name": "Calendula Glycerite",
        "infusion": {"retention": "1.5"},
        "phases": [{"name": "steep", "lines": lines}],
    }
    return herb, maker.post("formulas", body).made()["id"]


def write_wash(maker: Client, humectant: str, glycerite: str) -> str:
    """The wash, by its lines in % w/w."""
    lines = []
    for name, (percent, _) in LOTION.items():
        line = {"percent": percent}
        if name == "Calendula Glycerite":
            line["formula"] = glycerite
        elif name == "Glycerin":
            line["material"] = humectant
        elif name == "Aqua":
            line["material"] = maker.material(name, density="1 g/mL", stocked=False)
        else:
            line["material"] = maker.material(name)
        lines.append(line)
    body = {
        "name": "Hand wash",
        "process_loss_percent": "3",
        "density": {"value": "1.02 g/mL"},
        "phases": [{"name": "all", "lines": lines}],
    }
    return str(maker.post("formulas", body).made()["id"])


def test_scaling_to_units(maker: Client) -> None:
    """Fill 15,606.00 g; ÷ 0.97 = 16,088.66 g (x 1.03 would give 16,074.18: short)."""
    bought, _ = receive_three(maker)
    humectant = bought["humectant"]
    herb, glycerite = write_glycerite(maker, humectant)
    formula = write_wash(maker, humectant, glycerite)
    product = maker.post(
        "products",
        {
            "name": "Hand wash 250",
            "formula": formula,
            "fill": {"nominal": "250 mL", "overfill_percent": "2"},
            "packaging": [],
        },
    ).made()["id"]
    answer = maker.raw("POST", f"products/{product}/scaling", b'{"units": 60}')
    assert answer.status == 200
    scaled = answer.json
    assert D(scaled["fill_grams"]) == D("260.10")
    assert cents(scaled["output_grams"]) == D("15606.00")
    assert cents(scaled["batch_grams"]) == D("16088.66")
    lines = {line["name"]: line for line in scaled["lines"]}
    # The lines rounded one by one make 16,088.67: the water gives 0.01 back.
    printed = {name: D(grams) for name, (_, grams) in LOTION.items()}
    assert sum(printed.values()) == D("16088.67")
    printed["Aqua"] -= D("0.01")
    assert {name: cents(line["grams"]) for name, line in lines.items()} == printed
    assert sum(D(line["grams"]) for line in lines.values()) == D(scaled["batch_grams"])
    needs = {need["material"]: need for need in scaled["materials"]}
    assert cents(needs[herb]["grams"]) == D("64.35")
    assert cents(needs[humectant]["grams"]) == D("1383.62")
    assert cents(needs[humectant]["millilitres"]) == D("1098.11")
    # Of the humectant 579.19 g are in the glycerite: 643.55 g of charge less the herb.
    direct = D(lines["Glycerin"]["grams"])
    steeped = D(needs[humectant]["grams"]) - direct
    assert steeped.quantize(D("0.01")) == D("579.19")
    planned = maker.post("batches", {"product": product, "units": 60, "planned_for": "2025-05-06"})
    (charge,) = planned.made()["advice"]["intermediates"]
    assert cents(charge["batch_grams"]) == D("643.55")


def test_an_intermediate_costs_what_its_marc_cost_too(maker: Client) -> None:
    """(100 g x $22/kg + 900 g x $11.5460/kg) ÷ 750 g = $16.79/kg, not 12.59."""
    bought, _ = receive_three(maker)
    _, glycerite = write_glycerite(maker, bought["humectant"])
    batch = make_batch(maker, {"formula": glycerite, "output": "750 g"})
    done = maker.post(
        f"batches/{batch['id']}/finish",
        {"output": "750 g", "happened_at": "2025-05-06T16:00:00Z", "release": {"basis": "clear"}},
    ).made()
    assert cents(done["cost"]["per_kg"]) == D("16.79")
    assert D(done["cost"]["total"]) == D("12.59")
    assert done["yield_percent"].startswith("75.0")
    assert D(done["plan_percent"]) == 100


def make_batch(
    maker: Client, size: dict[str, Any], day: str = "2025-05-06", hour: int = 10
) -> dict[str, Any]:
    """A batch planned for a day and weighed as planned."""
    batch = maker.post("batches", {**size, "planned_for": day}).made()
    for line in batch["lines"]:
        for pick in line["picks"]:
            body = {
                "line": line["id"],
                "lot": pick["lot"],
                "quantity": f"{pick['grams']} g",
                "happened_at": f"{day}T{hour}:00:00Z",
            }
            maker.post(f"batches/{batch['id']}/weighings", body).made()
    return dict(batch)


def finish(maker: Client, batch: dict[str, Any], output: str, at: str, **more: Any) -> Any:
    """A batch finished and released."""
    body = {"output": output, "happened_at": at, "release": {"basis": "looks right"}, **more}
    return maker.post(f"batches/{batch['id']}/finish", body).made()


def pure(maker: Client, name: str, material: str, **facts: Any) -> str:
    """A formula of one material."""
    lines = [{"material": material, "percent": "100"}]
    body = {"name": name, "phases": [{"name": "", "lines": lines}], **facts}
    return str(maker.post("formulas", body).made()["id"])


def picked(batch: dict[str, Any]) -> list[tuple[str, Decimal]]:
    (line,) = batch["lines"]
    assert D(line["short"]) == 0
    return [(pick["lot"], D(pick["grams"])) for pick in line["picks"]]


def test_first_expiry_first_on_the_day_of_the_batch(maker: Client) -> None:
    """Made on 9 May: 900 + 1,450 + 650 g for $36.19. Made on the 14th, the lot that expired on
    the 10th is left alone: 1,450 + 1,550 g for $37.54, and $10.26 to write off."""
    oil = maker.material("Prunus Amygdalus Dulcis Oil", cost_formula="lot")
    first = maker.receive(oil, "900 g", "10.26", expires_on="2025-05-10")
    # $12.10/kg: of two kilograms 550 g are gone already.
    second = maker.receive(oil, "2 kg", "24.20", expires_on="2025-06-30")
    third = maker.receive(oil, "2600 g", "33.54")
    take(maker, second, "550 g", at="2025-05-02T09:00:00Z")
    size = {"formula": pure(maker, "Oil", oil), "batch": "3 kg"}

    early = make_batch(maker, size, "2025-05-09")
    assert picked(early) == [(first, D(900)), (second, D(1450)), (third, D(650))]
    done = finish(maker, early, "3 kg", "2025-05-09T12:00:00Z")
    assert D(done["cost"]["total"]) == D("36.19")
    # It was the wrong day: the finish is undone, and the oil goes home.
    undo = {"reason": "made in thought only", "happened_at": "2025-05-09T13:00:00Z"}
    maker.post(f"entries/{done['entry']}/reversal", undo).made()
    maker.post(f"batches/{early['id']}/cancellation", undo).made()

    late = make_batch(maker, size, "2025-05-14")
    assert picked(late) == [(second, D(1450)), (third, D(1550))]
    done = finish(maker, late, "3 kg", "2025-05-14T12:00:00Z")
    assert D(done["cost"]["total"]) == D("37.54")
    lost = take(maker, first, "900 g", purpose="write-off", at="2025-05-14T18:00:00Z")
    assert D(lost["value"]) == D("10.26")


def take(
    maker: Client, lot: str, quantity: str, *, purpose: str = "sample", at: str
) -> dict[str, Any]:
    """So much of a lot out of the store."""
    body = {
        "lines": [{"lot": lot, "quantity": quantity}],
        "purpose": purpose,
        "reason": "as the example says",
        "happened_at": at,
    }
    return dict(maker.post("issues", body).made())


@pytest.mark.parametrize(
    ("cost_formula", "second_issue", "closing"),
    [("fifo", "143.20", "108.80"), ("average", "150.00", "102.00"), ("lot", "160.00", "92.00")],
)
def test_the_cost_formula_decides_what_leaves(
    maker: Client, cost_formula: str, second_issue: str, closing: str
) -> None:
    """20 kg at 5.00, of which 8 kg are issued; 30 kg at 6.40; then 25 kg, poured from the second
    lot whatever the cost formula. 40 + second issue + closing = 292 each time."""
    material = maker.material(
        f"Butyrospermum Parkii Butter {cost_formula}", cost_formula=cost_formula
    )
    first = maker.receive(material, "20 kg", "100", happened_at="2025-05-01T09:00:00Z")
    assert D(take(maker, first, "8 kg", at="2025-05-02T09:00:00Z")["value"]) == D("40.00")
    second = maker.receive(material, "30 kg", "192", happened_at="2025-05-03T09:00:00Z")
    issued = take(maker, second, "25 kg", at="2025-05-04T09:00:00Z")
    assert D(issued["value"]) == D(second_issue)
    stock = maker.stock(material)
    assert (D(stock["on_hand"]), D(stock["value"])) == (D("17000"), D(closing))
    assert D(40) + D(second_issue) + D(closing) == D(292)
    # Which lot was poured is known all the same.
    assert D(maker.get(f"lots/{second}").made()["on_hand"]["grams"]) == D("5000")
    assert D(maker.get(f"lots/{first}").made()["on_hand"]["grams"]) == D("12000")


def test_a_watch_looks_at_the_position(maker: Client) -> None:
    """26.0 kg on hand, less 4.5 in quarantine and 3.0 reserved: 18.5 is at or below 22.82, so one
    alert opens, where the sum of all stock would have stayed silent."""
    material = maker.material("Cocos Nucifera Oil")
    maker.receive(material, "21.5 kg", "215")
    maker.receive(material, "4.5 kg", "45", release=False)
    size = {"formula": pure(maker, "Coconut balm", material), "batch": "3 kg"}
    maker.post("batches", {**size, "planned_for": "2025-05-06"}).made()
    answer = maker.change("PUT", f"watches/{material}", {"reorder_point": "22.82 kg"})
    assert (answer.status, D(answer.json["reorder_point"])) == (200, D("22820"))
    stock = maker.stock(material)
    kilograms = {name: D(stock[name]) / 1000 for name in ("on_hand", "reserved", "position")}
    assert kilograms == {"on_hand": D("26.0"), "reserved": D("3.0"), "position": D("18.5")}
    assert stock["low"] is True
    alerts: list[Any] = []
    end = time.monotonic() + 90
    while not alerts and time.monotonic() < end:
        every = maker.get("alerts", state="open").made()["results"]
        alerts = [one for one in every if one["material"] == material]
        time.sleep(0.1)
    (alert,) = alerts
    assert (alert["kind"], alert["material"]) == ("low_stock", material)
    assert (D(alert["position"]), D(alert["reorder_point"])) == (D("18500"), D("22820"))


def test_what_a_scrapped_batch_costs(maker: Client) -> None:
    """$160 for 10 kg with 3 % of normal loss: 160 ÷ 9.7 = $16.4948/kg. Of it 2.5 kg ($41.24) can
    be used in another batch; 7.2 kg are abnormal loss, an expense of $118.76."""
    material = maker.material("Cetearyl Alcohol")
    maker.receive(material, "20 kg", "320")
    formula = pure(maker, "Lotion", material, process_loss_percent="3")

    whole = make_batch(maker, {"formula": formula, "batch": "10 kg"})
    done = finish(maker, whole, "9700 g", "2025-05-06T16:00:00Z")
    assert to("0.0001", done["cost"]["per_kg"]) == D("16.4948")
    assert D(done["cost"]["inputs"]) == D("160.00")
    assert D(done["loss"]["beyond_grams"]) == 0
    scrapped = take(
        maker, done["lot"]["id"], "7200 g", purpose="write-off", at="2025-05-07T09:00:00Z"
    )
    assert D(scrapped["value"]) == D("118.76")
    assert D(maker.get(f"lots/{done['lot']['id']}").made()["value"]) == D("41.24")

    # The same when it is seen before the batch is finished.
    seen = make_batch(maker, {"formula": formula, "batch": "10 kg"})
    loss = {"quantity": "7200 g", "reason": "separated"}
    cost = finish(maker, seen, "2500 g", "2025-05-06T16:00:00Z", abnormal_loss=loss)["cost"]
    assert (D(cost["abnormal"]), D(cost["total"])) == (D("118.76"), D("41.24"))
    assert D(cost["abnormal"]) + D(cost["total"]) == D(cost["inputs"]) == D("160.00")
    # Rounded to the cent first, 41.24 ÷ 2.5 would be 16.4960.
    assert to("0.0001", cost["per_kg"]) == D("16.4948")
