"""Cost layers and landed cost against published figures; each row carries its source."""

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal as D
from typing import Any

import pytest

from ledger.costing import (
    Charge,
    ChargeKind,
    CostFormula,
    Draw,
    Layer,
    Measure,
    ReceivedLine,
    SpreadBy,
    land,
    merge,
    put,
    take,
    unit_cost,
)
from tests.published.rows import Row, published_rows


@dataclass(frozen=True)
class Book:
    """A stock card worked through: what each sale cost and fetched, averages and what is left."""

    sales: list[D]
    revenue: D
    averages: list[D]
    closing: D

    @property
    def sold(self) -> D:
        return sum(self.sales, D(0))


def read(text: str) -> Any:
    return json.loads(text, parse_float=D, parse_int=D)


def exact(inputs: Any) -> Any:
    """The inputs with every whole number as a decimal, as the functions take them."""
    if isinstance(inputs, dict):
        return {name: exact(value) for name, value in inputs.items()}
    if isinstance(inputs, list):
        return [exact(value) for value in inputs]
    return D(inputs) if isinstance(inputs, int) else inputs


def work_through(inputs: dict[str, Any], formula: CostFormula) -> Book:
    """Receipts are lots "1", "2", …; a sale pours from the lots named in `picks`, if any."""
    picks = {str(pick["sale"]): pick["lots"] for pick in inputs.get("picks", [])}
    layers: tuple[Layer, ...] = ()
    sales: list[D] = []
    averages: list[D] = []
    revenue = D(0)
    received = 0
    for move in inputs["moves"]:
        if move["type"] == "in":
            received += 1
            layer = Layer(str(received), move["units"], move["units"] * move["unit_cost"])
            layers = put(layers, layer, formula)
            pool = merge(layers)[0]
            averages.append(unit_cost(pool.value, pool.quantity))
            continue
        lots = picks.get(str(len(sales) + 1), {str(received): move["units"]})
        taken = take(layers, [Draw(lot, units) for lot, units in lots.items()], formula)
        layers = taken.layers
        sales.append(taken.value)
        revenue += move["units"] * move["unit_price"]
    return Book(sales, revenue, averages, merge(layers)[0].value)


def fifo(inputs: dict[str, Any]) -> Book:
    return work_through(inputs, CostFormula.FIFO)


def average(inputs: dict[str, Any]) -> Book:
    return work_through(inputs, CostFormula.AVERAGE)


def specific(inputs: dict[str, Any]) -> Book:
    return work_through(inputs, CostFormula.LOT)


def used_up(inputs: dict[str, Any]) -> D:
    """Opening and purchased stock less the closing count, at one unit cost."""
    cost = inputs["unit_cost"]
    opening = Layer("1", inputs["opening_units"], inputs["opening_units"] * cost)
    bought = Layer("2", inputs["purchased_units"], inputs["purchased_units"] * cost)
    gone = opening.quantity + bought.quantity - inputs["closing_units"]
    return take([opening, bought], [Draw("1", gone)], CostFormula.FIFO).value


def pooled(inputs: dict[str, Any]) -> list[D]:
    layers = [Layer(None, units, units * cost) for units, cost in inputs["lots"]]
    pool = merge(layers)[0]
    cost = unit_cost(pool.value, pool.quantity)
    return [cost, inputs["price"] - cost]


def prompt_payment(inputs: dict[str, Any]) -> list[D]:
    gross = inputs["units"] * inputs["unit_price"]
    discount = gross * inputs["discount_pct"] / 100
    line = ReceivedLine("goods", gross, inputs["units"], Measure.COUNT, discount=discount)
    return [line.price, line.discount, land([line], [], "USD")[0].landed_cost]


def allowance(inputs: dict[str, Any]) -> list[D]:
    """The return is goods that went back, the allowance and the discount lower the price."""
    due = inputs["gross"] - inputs["return"] - inputs["allowance"]
    discount = due * inputs["discount_pct"] / 100
    kept = inputs["gross"] - inputs["return"]
    line = ReceivedLine("goods", kept, D(1), discount=inputs["allowance"] + discount)
    return [due, discount, land([line], [], "USD")[0].landed_cost]


def landed_with(kind: ChargeKind | None) -> Callable[[dict[str, Any]], str]:
    """Whether the goods' price, or a charge of this kind, is part of the landed cost."""

    def rule(_: dict[str, Any]) -> str:
        line = ReceivedLine("goods", D("50.00"), D(1000))
        charges = [] if kind is None else [Charge(kind, D("7.00"), SpreadBy.MASS)]
        expected = D("50.00") if kind is None else D("57.00")
        return "include" if land([line], charges, "USD")[0].landed_cost == expected else "exclude"

    return rule


def formulas_allowed(_: dict[str, Any]) -> str:
    """What a maker may choose among for a class of materials; the newest first is none of it."""
    chosen = [formula.value for formula in CostFormula if formula is not CostFormula.LOT]
    named = {"fifo": "FIFO", "average": "weighted average"}
    words = " or ".join(named[one] for one in sorted(chosen, reverse=True))
    return f"{words}; same formula for similar items; LIFO not allowed"


LEDGER: dict[str, Callable[[dict[str, Any]], Any]] = {
    "perpetual FIFO: cost of goods sold": lambda i: fifo(i).sold,
    "perpetual FIFO: ending inventory value": lambda i: fifo(i).closing,
    "perpetual FIFO: gross margin": lambda i: fifo(i).revenue - fifo(i).sold,
    "perpetual FIFO: cost of each sale": lambda i: fifo(i).sales,
    "perpetual FIFO: COGS and ending inventory": lambda i: [fifo(i).sold, fifo(i).closing],
    "specific identification: cost of each sale": lambda i: specific(i).sales,
    "specific identification: ending inventory value": lambda i: specific(i).closing,
    "specific identification: gross margin": lambda i: specific(i).revenue - specific(i).sold,
    "perpetual moving average: average after each receipt": lambda i: average(i).averages,
    "perpetual moving average: cost of goods sold, full precision": lambda i: average(i).sold,
    "perpetual moving average: ending inventory, full precision": lambda i: average(i).closing,
    "perpetual moving average: COGS + ending inventory = goods available": lambda i: (
        average(i).sold + average(i).closing
    ),
    "perpetual moving average: COGS and ending inventory": lambda i: [
        average(i).sold,
        average(i).closing,
    ],
    "cost of goods sold from opening + purchases - closing": used_up,
    "whole-pool weighted average unit cost and margin of one unit sold at 36": pooled,
    "inventory cost after prompt-payment discount": prompt_payment,
    "inventory cost after return, allowance and discount": allowance,
    "rule: cost formulas allowed": formulas_allowed,
    "rule: landed cost: purchase price": landed_with(None),
    "rule: landed cost: import duty": landed_with(ChargeKind.DUTY),
    "rule: landed cost: non-recoverable tax": landed_with(ChargeKind.TAX),
    "rule: landed cost: inbound freight and handling": landed_with(ChargeKind.FREIGHT),
}


def assert_agrees(found: Any, expected: str, tolerance: str) -> None:
    """Numbers agree within the tolerance, which is zero for "exact"; rules agree as words."""
    if tolerance == "rule":
        assert found == expected
        return
    numbers = read(expected)
    wanted: Sequence[D] = [D(n) for n in (numbers if isinstance(numbers, list) else [numbers])]
    given = found if isinstance(found, list) else [found]
    allowed = D(0) if tolerance == "exact" else D(tolerance)
    assert len(given) == len(wanted)
    for number, want in zip(given, wanted, strict=True):
        assert abs(number - want) <= allowed, f"{number} is not {want} within {allowed}"


@pytest.mark.parametrize("row", published_rows("costing.csv", *LEDGER))
def test_published_cost_of_stock(row: Row) -> None:
    assert_agrees(LEDGER[row.quantity](exact(row.inputs)), row.expected, row.tolerance)
