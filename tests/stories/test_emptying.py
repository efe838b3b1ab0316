"""Bottles with the wrong label, emptied back into bulk: told through the API.

The amounts are an invented scenario; every figure was worked out by hand beside the rule.
"""

from decimal import Decimal
from typing import Any

from tests.api.client import Client

D = Decimal
DAY = "2025-05-02T09:00:00Z"


class Bench:
    """5 kg of gel at $10/kg, filled into pots of 250 g that cost $0.40 and half a minute each."""

    def __init__(self, maker: Client, name: str) -> None:
        self.maker = maker
        self.gum = maker.material(f"Xanthan Gum {name}")
        self.gum_lot = maker.receive(self.gum, "5 kg", "50", expires_on="2026-01-31")
        self.pot = maker.material(f"Pot {name}", measured_by="count")
        maker.receive(self.pot, "40 each", "16")
        lines = [{"material": self.gum, "percent": "100"}]
        body: dict[str, Any] = {"name": f"Gel {name}", "phases": [{"name": "A", "lines": lines}]}
        self.gel = maker.post("formulas", body).made()
        body = {
            "name": f"Gel pot {name}",
            "formula": self.gel["id"],
            "fill": {"nominal": "250 g"},
            "packaging": [{"material": self.pot, "quantity": "1 each"}],
            "labour": {"minutes_per_unit": "0.5", "hourly_rate": "24"},
        }
        self.product = maker.post("products", body).made()["id"]

    def finish(self, size: dict[str, Any], **facts: Any) -> dict[str, Any]:
        size = {**size, "planned_for": "2025-05-02"}
        batch = self.maker.post("batches", size).made()
        weighing = {"line": batch["lines"][0]["id"], "lot": self.gum_lot, "quantity": "5 kg"}
        path = f"batches/{batch['id']}"
        self.maker.post(f"{path}/weighings", {**weighing, "happened_at": DAY}).made()
        body = {"output": "5 kg", "happened_at": DAY, "release": {"basis": "looks right"}}
        made: dict[str, Any] = self.maker.post(f"{path}/finish", {**body, **facts}).made()
        return made

    def fill(self) -> dict[str, Any]:
        """20 pots of the bulk, in quarantine."""
        made = self.finish({"formula": self.gel["id"], "batch": "5 kg"})
        body = {"product": self.product, "lot": made["lot"]["id"], "units": 20, "happened_at": DAY}
        filled: dict[str, Any] = self.maker.post("fills", body).made()
        return filled

    def empty(self, lot: str, units: int = 12, **facts: Any) -> Any:
        body = {"units": units, "reason": "the wrong label", "happened_at": DAY, **facts}
        return self.maker.post(f"lots/{lot}/emptyings", body)


def test_twelve_pots_go_back_into_bulk(maker: Client) -> None:
    """A pot has $2.50 of gel, $0.40 of packaging and $0.20 of work. 12 are $37.20: $30.00 go with
    3,000 g, and $7.20 are lost."""
    bench = Bench(maker, "A")
    filled = bench.fill()
    pots = filled["lot"]["id"]
    assert filled["total"] == "62.00"
    done = bench.empty(pots).made()
    assert (done["units"], D(done["grams"])) == (12, D(3000))
    assert (done["value"], done["expensed"]) == ("30.00", "7.20")
    bulk = maker.get(f"lots/{done['lot']['id']}", explain=1).made()
    assert (bulk["status"], bulk["value"]) == ("quarantine", "30.00")
    assert (bulk["material"], bulk["expires_on"]) == (bench.gel["material"], "2026-01-31")
    assert bulk["working"]["name"] == "emptied"
    assert bulk["working"]["parts"][0]["name"] == "filled"
    left = maker.get(f"lots/{pots}").made()
    assert (D(left["on_hand"]["count"]), left["value"]) == (D(8), "24.80")

    # A recall goes through: 5,000 g of gum are in 8 pots and in the bulk.
    recall = maker.get(f"lots/{bench.gum_lot}/recall-list").made()
    assert D(recall["balance"]["unexplained"]) == 0
    held = {
        lot["lot"]: D(place["of_recalled"]) for lot in recall["lots"] for place in lot["places"]
    }
    assert (held[pots], held[done["lot"]["id"]]) == (D(2000), D(3000))
    back = maker.get(f"lots/{done['lot']['id']}/trace", direction="back").made()
    assert {pots, bench.gum_lot} <= {lot["lot"] for lot in back["lots"]}

    undo = {"reason": "the label was right", "happened_at": DAY}
    maker.post(f"entries/{done['entry']}/reversal", undo).made()
    assert D(maker.get(f"lots/{pots}").made()["on_hand"]["count"]) == D(20)
    assert D(maker.get(f"lots/{done['lot']['id']}").made()["on_hand"]["grams"]) == 0


def test_what_stays_in_the_pots_is_lost_with_them(maker: Client) -> None:
    """2,900 of 3,000 g: $29.00; what was lost costs $8.20."""
    bench = Bench(maker, "B")
    done = bench.empty(bench.fill()["lot"]["id"], quantity="2900 g").made()
    assert (done["value"], done["expensed"]) == ("29.00", "8.20")


def test_units_of_a_finish_are_emptied_too(maker: Client) -> None:
    """Made and filled at once: the batch's work is in the bulk. 20 pots cost $50.00 + $4.00 of work
    and $8.00 of pots; 10 are $31.00, of which $27.00 go with the gel."""
    bench = Bench(maker, "C")
    made = bench.finish({"product": bench.product, "units": 20}, units=20)
    assert made["cost"]["total"] == "62.00"
    done = bench.empty(made["lot"]["id"], 10).made()
    assert (D(done["grams"]), done["value"], done["expensed"]) == (D(2500), "27.00", "4.00")


def test_a_hold_goes_with_the_bulk(maker: Client) -> None:
    bench = Bench(maker, "D")
    pots = bench.fill()["lot"]["id"]
    maker.post(f"lots/{pots}/decisions", {"decision": "hold", "basis": "smells"}).made()
    assert bench.empty(pots).made()["lot"]["status"] == "hold"
    maker.post(f"lots/{pots}/decisions", {"decision": "reject", "basis": "spoilt"}).made()
    bench.empty(pots, 1).refused(409, "lot_not_released")


def test_what_cannot_be_emptied_is_refused(maker: Client) -> None:
    bench = Bench(maker, "E")
    pots = bench.fill()["lot"]["id"]
    bench.empty(pots, 21).refused(409, "not_enough", "/units")
    bench.empty(pots, quantity="5001 g").refused(409, "not_enough", "/quantity")
    bench.empty(pots, quantity="3 L").refused(422, "density_missing", "/quantity")
    bench.empty(pots, reason=" ").refused(422, "blank", "/reason")
    bench.empty(bench.gum_lot, 1).refused(409, "conflict")
    bench.empty("0198a7b0-0000-7000-8000-00000000ffff", 1).refused(404, "not_found")
    assert D(maker.get(f"lots/{pots}").made()["on_hand"]["count"]) == D(20)
