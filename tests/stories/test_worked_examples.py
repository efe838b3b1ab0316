"""Worked examples, recomputed by hand and by program: what the API answers, to the last digit.

The amounts are an invented scenario of a maker's everyday work. Every figure in the assertions
was worked out beside the trade's own formulas, none of it by this project's code.
"""

import time
from decimal import Decimal
from typing import Any

import pytest

from tests.api.client import Client, Coop, open_coop
from tests.running import Running

D = Decimal


@pytest.fixture(scope="module")
def coop(server: Running) -> Coop:
    """A co-op of one maker for each example, so that none sees another's stock."""
    names = "Receipt Scale Dates Costs Reorder Scrap".split()
    return open_coop(server, *(f"{name} Bench" for name in names))


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


def test_a_receipt_by_volume(coop: Coop) -> None:
    """4 × 3785.411784 mL × 1.26 = 19,078.475 g of 34,078.475 g in all. Freight by mass, tax by
    value; $220.28 ÷ 19.078475 kg = $11.5460/kg."""
    maker = coop["Receipt Bench"]
    _, receipt = receive_three(maker)
    humectant, powder, wax = receipt["lines"]
    assert to("0.001", humectant["quantity"]["grams"]) == D("19078.475")
    assert humectant["quantity"]["entered"] == "4 gal"
    assert sum(D(line["quantity"]["grams"]) for line in receipt["lines"]).quantize(
        D("0.001")
    ) == D("34078.475")
    # Freight 23.12, 12.12 and 6.06; tax 11.16, 5.52 and 4.32.
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


# 60 × 250 mL with 2 % overfill at 1.02 g/mL after 3 % loss: % of 16,088.66 g.
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
    lines = [{"material": herb, "percent": "10"}, {"material": humectant, "percent": "90"}]
    body = {
        "name": "Calendula Glycerite",
        "process_loss_percent": "25",
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


def test_scaling_to_units(coop: Coop) -> None:
    """Fill 15,606.00 g; ÷ 0.97 = 16,088.66 g (× 1.03 would give 16,074.18: short)."""
    maker = coop["Scale Bench"]
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
    assert (D(needs[humectant]["grams"]) - direct).quantize(D("0.01")) == D("579.19")


def test_an_intermediate_costs_what_its_marc_cost_too(coop: Coop) -> None:
    """(100 g × $22/kg + 900 g × $11.5460/kg) ÷ 750 g = $16.79/kg, not 12.59."""
    maker = coop["Scale Bench"]
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


def test_first_expiry_first_on_the_day_of_the_batch(coop: Coop) -> None:
    """Planned for 14 May, the lot that expires on the 10th is left alone: 1,450 + 1,550 g for
    $37.54, and $10.26 to write off. On 9 May it would have been 900 + 1,450 + 650 g for $36.19."""
    maker = coop["Dates Bench"]
    oil = maker.material("Prunus Amygdalus Dulcis Oil", cost_formula="lot")
    first = maker.receive(oil, "900 g", "10.26", expires_on="2025-05-10")
    second = maker.receive(oil, "1450 g", "17.545".rstrip("5") + "4", expires_on="2025-06-30")
    third = maker.receive(oil, "2600 g", "33.54")
    body = {"name": "Oil", "phases": [{"name": "", "lines": [{"material": oil, "percent": "100"}]}]}
    formula = maker.post("formulas", body).made()["id"]

    def picks(day: str) -> tuple[str, list[tuple[str, Decimal]]]:
        size = {"formula": formula, "batch": "3 kg", "planned_for": day}
        planned = maker.post("batches", size).made()
        (line,) = planned["lines"]
        assert D(line["short"]) == 0
        return planned["id"], [(pick["lot"], D(pick["grams"])) for pick in line["picks"]]

    early, taken = picks("2025-05-09")
    assert taken == [(first, 900), (second, 1450), (third, 650)]
    maker.post(f"batches/{early}/cancellation", {"reason": "the fair is later"}).made()
    late, taken = picks("2025-05-14")
    assert taken == [(second, 1450), (third, 1550)]
