"""A maker's first week: a delivery in gallons becomes a jar with a price and a history.

Monday the owner signs in and takes a delivery. Tuesday the lots are released. Wednesday a batch
is weighed and finished. Thursday somebody asks what it cost and where it came from; and a slip
of Friday's is taken back.
"""

from decimal import Decimal
from typing import Any

from tests.api.client import Client, open_coop, sign_in
from tests.running import Running

D = Decimal


def test_the_first_week(server: Running) -> None:
    coop = open_coop(server, "North Bench")
    answer = sign_in(server, coop.owners["North Bench"])
    assert answer.status == 201
    signed_in = answer.json
    assert [(maker["name"], maker["role"]) for maker in signed_in["makers"]] == [
        ("North Bench", "owner")
    ]
    bench = Client(server.port, signed_in["token"])

    glycerin, lot = monday_a_delivery(bench)
    tuesday_the_lot_is_released(bench, glycerin, lot)
    batch = wednesday_a_batch(bench, glycerin, lot)
    thursday_what_did_it_cost(bench, batch)
    thursday_where_did_it_come_from(bench, lot, batch["lot"]["id"])
    friday_a_slip(bench, glycerin, lot, batch)
    assert server.command("verify_ledger").returncode == 0


def monday_a_delivery(bench: Client) -> tuple[str, str]:
    """4 US gallons of glycerin for $186 and freight of $12.40: $198.40 for 19.078475 kg."""
    glycerin = bench.material("Glycerin", inci_name="Glycerin", density="1.26 g/mL")
    supplier = bench.post("suppliers", {"name": "Bulk oils and glycols"}).made()["id"]
    line = {"material": glycerin, "supplier_lot": "G-77", "quantity": "4 gal", "price": "186.00"}
    body = {
        "supplier": supplier,
        "happened_at": "2025-05-05T09:30:00Z",
        "lines": [{**line, "expires_on": "2027-04-30"}],
        "charges": [{"kind": "freight", "amount": "12.40", "spread_by": "mass"}],
    }
    receipt = bench.post("receipts", body).made()
    assert D(receipt["total"]) == D("198.40")
    (line,) = receipt["lines"]
    assert line["quantity"] == {"entered": "4 gal", "grams": "19078.475391"}
    assert D(line["unit_cost"]["amount"]).quantize(D("0.0001")) == D("10.3992")
    assert line["lot"]["status"] == "quarantine"
    return glycerin, line["lot"]["id"]


def tuesday_the_lot_is_released(bench: Client, glycerin: str, lot: str) -> None:
    stock = bench.stock(glycerin)
    assert D(stock["on_hand"]) == D("19078.475391")
    assert D(stock["usable"]) == 0, "what waits for a decision cannot be used"
    decision = {"decision": "release", "basis": "certificate agrees with specification"}
    assert bench.post(f"lots/{lot}/decisions", decision).made()["status"] == "released"
    assert D(bench.stock(glycerin)["usable"]) == D("19078.475391")


def wednesday_a_batch(bench: Client, glycerin: str, lot: str) -> dict[str, Any]:
    """2 kg of hand gel, 40 % glycerin in water, 2 % lost in the pot: 32 jars of 60 g."""
    water = bench.material("Aqua", stocked=False)
    jar = bench.material("Jar 60", measured_by="count")
    bench.receive(jar, "50 each", "25.00", happened_at="2025-05-05T10:00:00Z")
    lines = [{"material": glycerin, "percent": "40"}, {"material": water, "balance": True}]
    formula = {
        "name": "Hand gel",
        "process_loss_percent": "2",
        "phases": [{"name": "A", "lines": lines}],
    }
    product = {
        "name": "Hand gel 60 g",
        "formula": bench.post("formulas", formula).made()["id"],
        "fill": {"nominal": "60 g"},
        "packaging": [{"material": jar, "quantity": "1 each"}],
        "labour": {"minutes_per_batch": "30", "hourly_rate": "20.00"},
    }
    id = bench.post("products", product).made()["id"]
    body = {"product": id, "units": 32, "planned_for": "2025-05-07"}
    batch = bench.post("batches", body).made()
    # 32 jars of 60 g are 1,920 g, and 1,959.18 g must be weighed in.
    assert (batch["state"], batch["batch_grams"]) == ("planned", "1959.180000")
    of_glycerin, of_water = batch["lines"]
    assert of_glycerin["picks"] == [{"lot": lot, "code": "NB1", "grams": "783.670000"}]
    assert D(bench.stock(glycerin)["reserved"]) == D("783.67")
    weigh(bench, batch, of_glycerin["id"], "783.67 g", lot)
    weigh(bench, batch, of_water["id"], "1175.51 g")
    assert D(bench.stock(glycerin)["reserved"]) == 0
    done = bench.post(
        f"batches/{batch['id']}/finish",
        {
            "output": "1920 g",
            "units": 32,
            "happened_at": "2025-05-07T15:00:00Z",
            "samples": [{"quantity": "1 each", "reason": "retained"}],
            "release": {"basis": "pH 5.4, clear"},
        },
    ).made()
    assert done["state"] == "finished"
    return dict(done)


def weigh(
    bench: Client, batch: dict[str, Any], line: str, quantity: str, lot: str | None = None
) -> None:
    body = {"line": line, "quantity": quantity, "happened_at": "2025-05-07T10:00:00Z"}
    bench.post(f"batches/{batch['id']}/weighings", body | ({"lot": lot} if lot else {})).made()


def thursday_what_did_it_cost(bench: Client, done: dict[str, Any]) -> None:
    """0.78367 kg at $10.3992 is $8.15; 32 jars at 50 cents; half an hour at $20."""
    cost = done["cost"]
    assert cost == {
        "materials": "8.15",
        "packaging": "16.00",
        "labour": "10.00",
        "overhead": "0.00",
        "inputs": "34.15",
        "by_products": "0.00",
        "joint_products": "0.00",
        "abnormal": "0.00",
        "total": "34.15",
        "per_kg": cost["per_kg"],
        "per_unit": cost["per_unit"],
    }
    # (8.149512 + 10) ÷ 1.920 kg, and all of it ÷ 32.
    assert D(cost["per_kg"]).quantize(D("0.0001")) == D("9.4529")
    assert D(cost["per_unit"]).quantize(D("0.0001")) == D("1.0672")
    assert D(done["yield_percent"]).quantize(D("0.01")) == D("98.00")
    assert D(done["plan_percent"]) == 100

    working = bench.get(f"batches/{done['id']}", explain=1).made()["working"]
    told = list(figures(working))
    names = {figure["name"] for figure in told}
    assert {"total", "inputs", "materials", "packaging", "labour", "landed cost"} <= names
    facts = {value for figure in told for value in figure["facts"].values()}
    assert {"NB1", "G-77", "4 gal", "783.67 g"} <= facts, "down to the supplier's lot"
    freight = [figure for figure in told if "freight" in figure["name"]]
    assert [D(figure["amount"]) for figure in freight] == [D("12.40")]


def figures(figure: dict[str, Any]) -> Any:
    yield figure
    for part in figure["parts"]:
        yield from figures(part)


def thursday_where_did_it_come_from(bench: Client, lot: str, made: str) -> None:
    back = bench.get(f"lots/{made}/trace", direction="back").made()
    parents = {row["lot"]: row["from"] for row in back["lots"]}
    assert lot in parents
    assert {"lot": lot, "grams": "783.670000"} in parents[made]
    forward = bench.get(f"lots/{lot}/trace", direction="forward").made()
    assert made in {row["lot"] for row in forward["lots"]}
    balance = forward["balance"]
    assert D(balance["received"]) == D("19078.475391") == D(balance["accounted"])
    assert D(balance["difference"]) == 0


def friday_a_slip(bench: Client, glycerin: str, lot: str, done: dict[str, Any]) -> None:
    """A gift is booked of the wrong lot, and taken back. What was made of cannot be."""
    before = bench.stock(glycerin)
    gift = {
        "lines": [{"lot": lot, "quantity": "1 lb"}],
        "purpose": "gift",
        "reason": "open day",
        "happened_at": "2025-05-09T10:00:00Z",
    }
    given = bench.post("issues", gift).made()
    assert given["lines"][0]["quantity"] == {"entered": "1 lb", "grams": "453.592370"}
    undo = {"reason": "it was the other drum"}
    undone = bench.post(f"entries/{given['entry']}/reversal", undo).made()
    assert undone["reverses"] == given["entry"]
    bench.post(f"entries/{given['entry']}/reversal", undo).refused(409, "already_reversed")
    bench.post(f"entries/{undone['entry']}/reversal", undo).refused(409, "conflict")
    assert bench.stock(glycerin) == before

    sale = {
        "lines": [{"lot": done["lot"]["id"], "quantity": "2 each"}],
        "customer": "market stall 4",
        "happened_at": "2025-05-09T11:00:00Z",
    }
    sold = bench.post("sales", sale).made()
    assert D(sold["value"]) == D("2.13")
    refused = bench.post(f"entries/{done['entry']}/reversal", undo).refused(409, "used_since")
    assert sold["entry"] in refused["entries"], "it says which entry stands in the way"
