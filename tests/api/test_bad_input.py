"""What cannot be accepted is refused, with its place, its code and what to do; no trace is left."""

import json
import uuid
from collections.abc import Iterator
from typing import Any

import pytest

from tests.api.client import Answer, Client, Coop, open_coop
from tests.api.people import coop_id, sql
from tests.running import Running

# What the API keeps of a refusal itself, and what the worker does meanwhile.
NOT_THE_BOOKS = {"api_answer", "api_token", "ledger_outbox"}


@pytest.fixture(scope="module")
def own(server: Running) -> Coop:
    """A co-op in which nobody else does anything meanwhile."""
    return open_coop(server, "North Bench")


@pytest.fixture(scope="module")
def bench(own: Coop) -> "Bench":
    return Bench(own["North Bench"])


@pytest.fixture
def unchanged(own: Coop) -> Iterator[None]:
    """The books of the co-op are the same after the test as before it, row by row."""
    before = books(own)
    assert sum(1 for rows in before.values() if rows) > 15
    yield
    assert books(own) == before


def books(coop: Coop) -> dict[str, Any]:
    """A digest of every table of the co-op."""
    tables = sql(
        coop.server,
        "select table_name from information_schema.columns"
        " where table_schema = 'public' and column_name = 'coop_id'",
    )
    # One statement for all of them: each would be a connection of its own.
    digests = [
        f"select '{table}', md5(string_agg(t::text, '|' order by t::text)) from {table} t"
        " where coop_id = %s"
        for (table,) in tables
        if table not in NOT_THE_BOOKS
    ]
    return dict(sql(coop.server, " union all ".join(digests), *[coop_id(coop)] * len(digests)))


class Bench:
    """A maker with one of everything that can be got wrong."""

    def __init__(self, maker: Client) -> None:
        self.maker = maker
        self.oil = maker.material("Ricinus Communis Seed Oil", density="0.96 g/mL")
        self.powder = maker.material("Kaolin")
        self.jar = maker.material("Jar", measured_by="count")
        self.supplier = maker.supplier()
        self.lot = maker.receive(self.oil, "10 kg", "100.00")
        self.waiting = maker.receive(self.oil, "1 kg", "10.00", release=False)
        self.expired = maker.receive(self.oil, "1 kg", "10.00", expires_on="2025-05-02")
        self.formula = self.write("Oil", self.oil)
        self.batch = self.plan()
        (self.line,) = (line["id"] for line in self.batch["lines"])
        self.finished = self.make()
        self.given = self.issue("1 g").made()["entry"]
        self.undo(self.given).made()

    def write(self, name: str, material: str) -> str:
        body = formula(line=({"material": material}, "100"), name=name)
        return str(self.maker.post("formulas", body).made()["id"])

    def plan(self) -> Any:
        body = {"formula": self.formula, "batch": "1 kg", "planned_for": "2025-05-06"}
        return self.maker.post("batches", body).made()

    def make(self) -> Any:
        batch = self.plan()
        line = batch["lines"][0]
        assert self.weigh(batch["id"], line=line["id"], lot=self.lot, quantity="1 kg").status == 201
        done = self.finish(batch["id"]).made()
        sale = {"lines": [{"lot": done["lot"]["id"], "quantity": "1 g"}], "customer": "stall"}
        self.maker.post("sales", sale).made()
        return done

    def weigh(self, batch: str, **facts: Any) -> Answer:
        return self.maker.post(
            f"batches/{batch}/weighings", {"happened_at": "2025-05-06T09:00:00Z", **facts}
        )

    def finish(self, batch: str) -> Answer:
        body = {
            "output": "1 kg",
            "happened_at": "2025-05-06T12:00:00Z",
            "release": {"basis": "seen"},
        }
        return self.maker.post(f"batches/{batch}/finish", body)

    def issue(self, quantity: Any, **facts: Any) -> Answer:
        lines = [{"lot": self.lot, "quantity": quantity}]
        body = {"lines": lines, "purpose": "gift", "reason": "open day", **facts}
        return self.maker.post("issues", body)

    def undo(self, entry: str) -> Answer:
        return self.maker.post(f"entries/{entry}/reversal", {"reason": "a slip"})

    def receive(self, **line: Any) -> Answer:
        """A delivery whose second line is wrong."""
        good: dict[str, Any] = {
            "material": self.oil,
            "supplier_lot": "S1",
            "quantity": "1 kg",
            "price": "10.00",
        }
        body = {
            "supplier": self.supplier,
            "happened_at": "2025-05-05T09:00:00Z",
            "lines": [good, {**good, **line}],
        }
        return self.maker.post("receipts", body)


def formula(line: tuple[dict[str, str], str], name: str = "Balm") -> dict[str, Any]:
    what, percent = line
    return {"name": name, "phases": [{"name": "A", "lines": [{**what, "percent": percent}]}]}


@pytest.mark.usefixtures("unchanged")
@pytest.mark.parametrize(
    ("quantity", "code"),
    [
        ("1 furlong", "unit_unknown"),
        ("16 oz", "unit_ambiguous"),
        ("NaN kg", None),
        ("Infinity kg", None),
        ("1e309 kg", None),
        ("-1 kg", "quantity_not_positive"),
        ("0 kg", "quantity_not_positive"),
        ("0.0000001 g", "quantity_too_small"),
        ("1,5 kg", None),
        ("12", "unit_missing"),
        ("", None),
        ("kg", None),
        ("3 each", None),
        (5, None),
        (None, None),
        (True, None),
        ([], None),
        ({"amount": "1 kg"}, None),
        ("9" * 70 + " kg", None),
        ("1 kg\u202e", None),
    ],
)
def test_a_quantity_that_is_none(bench: Bench, quantity: Any, code: str | None) -> None:
    for answer, pointer in (
        (bench.receive(quantity=quantity), "/lines/1/quantity"),
        (bench.issue(quantity), "/lines/0/quantity"),
    ):
        error = refused(answer, 422, pointer)
        assert code in (None, error["code"]), error


@pytest.mark.usefixtures("unchanged")
def test_a_volume_without_a_density(bench: Bench) -> None:
    error = refused(
        bench.receive(material=bench.powder, quantity="1 gal"), 422, "/lines/1/quantity"
    )
    assert error["code"] == "density_missing"
    assert "Kaolin" in error["detail"], "it says which density is missing"


@pytest.mark.usefixtures("unchanged")
@pytest.mark.parametrize(
    ("density", "pointer"),
    [
        ({"value": "0 g/mL"}, "value"),
        ({"value": "-1 g/mL"}, "value"),
        ({"value": "NaN g/mL"}, "value"),
        ({"value": "1e309 g/mL"}, "value"),
        ({"value": "900 g/mL"}, "value"),
        ({"value": "1.26"}, "value"),
        ({"value": 1.26}, "value"),
        ({"value": "1.26 g/mL", "at": "warm"}, "at"),
        ({"value": "1.26 g/mL", "at": "5000 degC"}, "at"),
        ({}, "value"),
        ({"value": "1.26 g/mL", "of": "oil"}, "of"),
    ],
)
def test_a_density_that_is_none(bench: Bench, density: Any, pointer: str) -> None:
    body = {"name": "Glycerin", "measured_by": "mass", "density": density}
    refused(bench.maker.post("materials", body), 422, f"/density/{pointer}")
    refused(bench.receive(density=density), 422, f"/lines/1/density/{pointer}")


@pytest.mark.usefixtures("unchanged")
@pytest.mark.parametrize(
    "price", ["NaN", "Infinity", "1e309", "-1", "1.001", "12,50", "", "1_000", 12.5, None, "9" * 30]
)
def test_a_price_that_is_none(bench: Bench, price: Any) -> None:
    refused(bench.receive(price=price), 422, "/lines/1/price")


@pytest.mark.usefixtures("unchanged")
@pytest.mark.parametrize(
    ("name", "value", "code"),
    [
        ("expires_on", "2025-05-04", "invalid"),
        ("retest_on", "2025-05-04", "invalid"),
        ("expires_on", "2025-02-30", "invalid"),
        ("expires_on", "soon", "invalid"),
        ("expires_on", 20250504, "invalid"),
        ("supplier_lot", "", "blank"),
        ("supplier_lot", "x" * 81, "max_length"),
        ("supplier_lot", 12, "not_a_text"),
        ("colour", "amber", "unknown_field"),
    ],
)
def test_a_line_that_is_wrong(bench: Bench, name: str, value: Any, code: str) -> None:
    error = refused(bench.receive(**{name: value}), 422, f"/lines/1/{name}")
    assert error["code"] == code


@pytest.mark.usefixtures("unchanged")
@pytest.mark.parametrize(
    ("moment", "code"),
    [
        ("2099-01-01T00:00:00Z", "invalid"),
        ("2999-01-01T00:00:00Z", "out_of_range"),
        ("2025-05-06T09:00:00", "offset_missing"),
        ("2025-05-06", "offset_missing"),
        ("yesterday", "offset_missing"),
        ("0001-01-01T00:00:00+23:59", None),
        ("9999-12-31T23:59:59-23:59", None),
        (1746522000, None),
    ],
)
def test_a_moment_that_is_none(bench: Bench, moment: Any, code: str | None) -> None:
    error = refused(bench.issue("1 g", happened_at=moment), 422, "/happened_at")
    assert code in (None, error["code"]), error


@pytest.mark.usefixtures("unchanged")
def test_lines_that_do_not_make_a_hundred(bench: Bench) -> None:
    error = refused(
        bench.maker.post("formulas", formula(({"material": bench.oil}, "99.9"))), 422, "/phases"
    )
    assert (error["code"], "99.9" in error["detail"]) == ("percent_not_100", True)
    for percent in ("0", "-1", "100.1", "NaN", "1e2"):
        body = formula(({"material": bench.oil}, percent))
        refused(bench.maker.post("formulas", body), 422, "/phases/0/lines/0/percent")


def test_more_of_a_line_to_effect_than_its_maximum(bench: Bench, own: Coop) -> None:
    """At most 0.5 % of the final mass: 5 g would do for a kilogram, 6 g would not."""
    lines = [
        {"material": bench.oil, "balance": True},
        {
            "material": bench.powder,
            "to_effect": {"typical_percent": "0.2", "max_percent": "0.5"},
        },
    ]
    body = {"name": "Thickened", "phases": [{"name": "A", "lines": lines}]}
    formula = bench.maker.post("formulas", body).made()["id"]
    lot = bench.maker.receive(bench.powder, "1 kg", "8.00")
    size = {"formula": formula, "batch": "1 kg", "planned_for": "2025-05-06"}
    batch = bench.maker.post("batches", size).made()
    line = batch["lines"][1]["id"]
    before = books(own)
    error = refused(bench.weigh(batch["id"], line=line, lot=lot, quantity="6 g"), 422, "/quantity")
    assert error["code"] == "over_maximum"
    assert books(own) == before
    weighed = bench.weigh(batch["id"], line=line, lot=lot, quantity="5 g").made()
    assert weighed["headroom_grams"] is not None


@pytest.mark.usefixtures("unchanged")
def test_a_charge_by_mass_over_what_is_counted(bench: Bench) -> None:
    body = {
        "supplier": bench.supplier,
        "lines": [
            {"material": bench.jar, "supplier_lot": "J", "quantity": "9 each", "price": "9.00"}
        ],
        "charges": [{"kind": "freight", "amount": "1.00", "spread_by": "mass"}],
    }
    assert refused(bench.maker.post("receipts", body), 422)["code"] == "mass_missing"
    charge = {"kind": "freight", "amount": "-1.00", "spread_by": "value"}
    body["charges"] = [charge]
    refused(bench.maker.post("receipts", body), 422, "/charges/0/amount")


@pytest.mark.usefixtures("unchanged")
def test_a_formula_in_itself(bench: Bench) -> None:
    body = formula(({"formula": bench.formula}, "100"))
    answer = bench.maker.post(f"formulas/{bench.formula}/versions", body, If_Match="*")
    error = refused(answer, 422, "/phases/0/lines/0/formula")
    assert error["code"] == "formula_cycle"


@pytest.mark.usefixtures("unchanged")
@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"phases": []}, "/phases"),
        ({"phases": [{"name": "A", "lines": []}]}, "/phases/0/lines"),
        ({"phases": [{"name": "A", "lines": [{}]}]}, "/phases/0/lines/0"),
        ({"phases": [{"name": "A", "lines": ["water"]}]}, "/phases/0/lines/0"),
        ({"phases": "A"}, "/phases"),
        ({"phases": [{"lines": [], "name": "A", "heat": "70 degC"}]}, "/phases/0/heat"),
    ],
)
def test_a_formula_that_is_none(bench: Bench, body: Any, pointer: str) -> None:
    refused(bench.maker.post("formulas", {"name": "Balm", **body}), 422, pointer)


@pytest.mark.usefixtures("unchanged")
def test_a_lot_that_may_not_be_used(bench: Bench) -> None:
    for lot, code in ((bench.waiting, "lot_not_released"), (bench.expired, "lot_expired")):
        answer = bench.weigh(bench.batch["id"], line=bench.line, lot=lot, quantity="1 g")
        assert refused(answer, 409, "/lot")["code"] == code
        sale = {
            "lines": [{"lot": lot, "quantity": "1 g"}],
            "customer": "stall",
            "happened_at": "2025-05-06T09:00:00Z",
        }
        error = refused(bench.maker.post("sales", sale), 409)
        assert error["code"] == code


@pytest.mark.usefixtures("unchanged")
def test_more_than_is_there(bench: Bench) -> None:
    sale = {"lines": [{"lot": bench.lot, "quantity": "1 tonne"}], "customer": "stall"}
    weighed = bench.weigh(bench.batch["id"], line=bench.line, lot=bench.lot, quantity="1 tonne")
    for answer, pointer in (
        (bench.issue("1 tonne"), "/lines/0/quantity"),
        (bench.maker.post("sales", sale), "/lines/0/quantity"),
        (weighed, "/quantity"),
    ):
        error = refused(answer, 409, pointer)
        assert error["code"] == "not_enough"
        # 10 kg came, 1 kg went into a batch, and 1 kg is promised to another.
        assert error["left"].startswith(("9000", "8000"))
        assert error["left"].split(".")[0] in error["detail"].replace(",", "")


@pytest.mark.usefixtures("unchanged")
def test_what_has_been_done_already(bench: Bench) -> None:
    assert refused(bench.finish(bench.finished["id"]), 409)["code"] == "already_finished"
    assert refused(bench.undo(bench.given), 409)["code"] == "already_reversed"
    error = refused(bench.undo(bench.finished["entry"]), 409)
    assert error["code"] == "used_since"
    assert error["entries"], "it says which entries stand in the way"


@pytest.mark.usefixtures("unchanged")
def test_an_id_that_is_nowhere(bench: Bench) -> None:
    for id in (str(uuid.uuid4()), "1", "no id", "%00", "x" * 64):
        error = refused(bench.receive(material=id), 422, "/lines/1/material")
        assert error["code"] == "not_found"
    refused(bench.receive(material="x" * 65), 422, "/lines/1/material")


@pytest.mark.usefixtures("unchanged")
def test_every_wrong_value_is_told_at_once(bench: Bench) -> None:
    answer = bench.receive(quantity="1 oz", price="free", colour="amber")
    assert answer.status == 422
    pointers = {error["pointer"] for error in answer.json["errors"]}
    assert "/lines/1/colour" in pointers
    answer = bench.receive(quantity="1 oz", price="free")
    pointers = {error["pointer"] for error in answer.json["errors"]}
    assert pointers == {"/lines/1/quantity", "/lines/1/price"}
    assert answer.json["detail"] == "2 values are wrong."


def refused(answer: Answer, status: int, pointer: str | None = None) -> dict[str, Any]:
    """A problem whose first error says where, what, and what to do."""
    problem = json.loads(answer.raw)
    error: dict[str, Any] = answer.refused(status, problem["errors"][0]["code"], pointer)
    assert error["code"] not in ("refused", "malformed", "error")
    return error
