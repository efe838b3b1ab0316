"""Freight that comes a month late, a corrected price, a credit note: told through the API.

The amounts are invented; each figure was worked out by hand beside the rule.
"""

from decimal import Decimal
from typing import Any

import pytest

from tests.api.client import Client

D = Decimal


def received(maker: Client, formula: str, *lots: tuple[str, str]) -> tuple[dict[str, Any], str]:
    """Lots of a new material in one delivery, by quantity and price; the receipt and material."""
    material = maker.material(f"Glycerin {formula} {len(lots)}", cost_formula=formula)
    body = {
        "supplier": maker.supplier(),
        "happened_at": "2025-05-01T09:00:00Z",
        "lines": [
            {"material": material, "supplier_lot": f"L{n}", "quantity": quantity, "price": price}
            for n, (quantity, price) in enumerate(lots)
        ],
        "release": {"basis": "certificate seen"},
    }
    return maker.post("receipts", body).made(), material


def batch_of(maker: Client, material: str, *poured: tuple[str, str]) -> dict[str, Any]:
    """A finished batch of one material, poured from these lots."""
    formula = maker.post(
        "formulas",
        {
            "name": f"Base {poured}",
            "phases": [{"name": "A", "lines": [{"material": material, "percent": "100"}]}],
        },
    ).made()
    body = {"formula": formula["id"], "batch": "1 kg", "planned_for": "2025-05-02"}
    batch = maker.post("batches", body).made()
    for lot, quantity in poured:
        weighing = {
            "line": batch["lines"][0]["id"],
            "lot": lot,
            "quantity": quantity,
            "happened_at": "2025-05-02T09:00:00Z",
        }
        maker.post(f"batches/{batch['id']}/weighings", weighing).made()
    body = {"output": "1 kg", "happened_at": "2025-05-02T12:00:00Z"}
    done: dict[str, Any] = maker.post(f"batches/{batch['id']}/finish", body).made()
    return done


def bill(maker: Client, receipt: dict[str, Any], path: str, **body: Any) -> dict[str, Any]:
    made: dict[str, Any] = maker.post(f"receipts/{receipt['id']}/{path}", body).made()
    return made


@pytest.mark.parametrize("formula", ["lot", "fifo", "average"])
def test_late_freight_falls_on_what_is_left_and_on_the_batch(maker: Client, formula: str) -> None:
    """10 kg for $100; 4 kg made into a batch and 1 kg sampled. Freight of $20: 5 kg are left, so
    $10 goes to the shelf; $8 to the batch, $2 to the sample. The shelf is then worth $60."""
    receipt, material = received(maker, formula, ("10 kg", "100"))
    lot = receipt["lines"][0]["lot"]["id"]
    batch = batch_of(maker, material, (lot, "4 kg"))
    sample = {"lines": [{"lot": lot, "quantity": "1 kg"}], "purpose": "sample", "reason": "lab"}
    maker.post("issues", sample).made()
    before = maker.get(f"batches/{batch['id']}").made()
    assert before["later_bills"] == {"total": "0.00", "bills": []}

    late = bill(maker, receipt, "charges", kind="freight", amount="20.00", spread_by="mass")
    assert (late["to_stock"], late["to_used"]) == ("10.00", "10.00")
    (line,) = late["lines"]
    assert [(use["code"], use["place"], use["amount"]) for use in line["uses"]] == [
        (batch["code"], f"batch {batch['code']}", "8.00"),
        (None, "sample", "2.00"),
    ]
    assert D(maker.stock(material)["value"]) == D("60.00")
    after = maker.get(f"batches/{batch['id']}", explain="1").made()
    assert after["finished"]["cost"] == before["finished"]["cost"]
    assert after["later_bills"]["total"] == "8.00"
    (told,) = [part for part in after["working"]["parts"] if part["name"] == "later bills"]
    assert D(told["amount"]) == D("8")

    undone = maker.post(f"entries/{late['entry']}/reversal", {"reason": "billed twice"}).made()
    assert undone["reverses"] == late["entry"]
    assert D(maker.stock(material)["value"]) == D("50.00")
    assert maker.get(f"batches/{batch['id']}").made()["later_bills"]["total"] == "0.00"
    (listed,) = maker.get(f"receipts/{receipt['id']}/bills").made()["results"]
    assert listed["undone"] is True


def test_first_in_first_out_follows_the_layer_and_not_the_jar(maker: Client) -> None:
    """Poured from the second lot, costed from the first: the first lot's bill falls on the batch,
    and the second's stays on the shelf."""
    receipt, material = received(maker, "fifo", ("1 kg", "10"), ("1 kg", "14"))
    first, second = (line["lot"]["id"] for line in receipt["lines"])
    batch = batch_of(maker, material, (second, "1 kg"))
    assert batch["cost"]["materials"] == "10.00"
    one = bill(maker, receipt, "price-corrections", lot=first, amount="3.00")
    two = bill(maker, receipt, "price-corrections", lot=second, amount="5.00")
    assert (one["to_stock"], one["lines"][0]["uses"][0]["batch"]) == ("0.00", batch["id"])
    assert (two["to_stock"], two["lines"][0]["uses"]) == ("5.00", [])
    assert D(maker.stock(material)["value"]) == D("19.00")


def test_a_credit_note_on_an_average_is_capped_by_the_layer(maker: Client) -> None:
    """10 kg for $100 with 9 kg given away: $10 is left on the shelf. A credit of $60 takes $6 off
    it and $54 off the gifts; a further $40 takes the last $4 and $36, and no more than that goes
    back."""
    receipt, material = received(maker, "average", ("10 kg", "100"))
    lot = receipt["lines"][0]["lot"]["id"]
    gift = {"lines": [{"lot": lot, "quantity": "9 kg"}], "purpose": "gift", "reason": "fair"}
    maker.post("issues", gift).made()
    first = bill(maker, receipt, "credit-notes", amount="60.00")
    assert (first["amount"], first["to_stock"], first["to_used"]) == ("-60.00", "-6.00", "-54.00")
    second = bill(maker, receipt, "credit-notes", amount="40.00")
    assert (second["to_stock"], second["to_used"]) == ("-4.00", "-36.00")
    assert D(maker.stock(material)["value"]) == D("0.00")
    too_much = maker.post(f"receipts/{receipt['id']}/credit-notes", {"amount": "0.01"})
    too_much.refused(422, "invalid", "/amount")


def test_what_stands_in_the_way_is_named(maker: Client) -> None:
    """A bill whose goods were drawn since stays, and a delivery stays while its bill stands."""
    receipt, _ = received(maker, "average", ("10 kg", "100"))
    lot = receipt["lines"][0]["lot"]["id"]
    late = bill(maker, receipt, "charges", kind="duty", amount="9.99", spread_by="value")
    reversal = {"reason": "wrong delivery"}
    stays = maker.post(f"entries/{receipt['entry']}/reversal", reversal).refused(409, "used_since")
    assert late["entry"] in stays["detail"]
    gift = {"lines": [{"lot": lot, "quantity": "1 g"}], "purpose": "gift", "reason": "fair"}
    given = maker.post("issues", gift).made()
    stays = maker.post(f"entries/{late['entry']}/reversal", reversal).refused(409, "used_since")
    assert given["entry"] in stays["detail"]
    assert "opposite amount" in stays["detail"]
    maker.post(f"entries/{given['entry']}/reversal", {"reason": "not given"}).made()
    maker.post(f"entries/{late['entry']}/reversal", reversal).made()
    maker.post(f"entries/{receipt['entry']}/reversal", reversal).made()
    late_again = {"kind": "duty", "amount": "9.99", "spread_by": "value"}
    maker.post(f"receipts/{receipt['id']}/charges", late_again).refused(409, "conflict")


@pytest.mark.parametrize(
    ("path", "body", "code", "pointer"),
    [
        (
            "charges",
            {"kind": "freight", "amount": "1.001", "spread_by": "mass"},
            "money_too_fine",
            "/amount",
        ),
        ("price-corrections", {"amount": "0"}, "invalid", "/amount"),
        ("price-corrections", {"amount": "-100.01"}, "invalid", "/amount"),
        (
            "credit-notes",
            {"amount": "1", "happened_at": "2025-04-30T09:00:00Z"},
            "invalid",
            "/happened_at",
        ),
        ("credit-notes", {"amount": "1", "lot": "another"}, "not_found", "/lot"),
    ],
)
def test_what_is_refused(
    maker: Client, path: str, body: dict[str, Any], code: str, pointer: str
) -> None:
    receipt, _ = received(maker, "lot", ("10 kg", "100"))
    if path == "price-corrections":
        body = {"lot": receipt["lines"][0]["lot"]["id"], **body}
    maker.post(f"receipts/{receipt['id']}/{path}", body).refused(422, code, pointer)
    assert maker.get(f"receipts/{receipt['id']}/bills").made()["results"] == []
