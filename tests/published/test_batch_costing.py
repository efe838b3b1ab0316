"""Process loss, write-down, price and break-even against published figures.

Each row carries its source.
"""

from collections.abc import Callable
from decimal import Decimal as D
from typing import Any

import pytest

from formulas.costing import BatchCost, batch_cost, batch_yield
from formulas.joint_costs import net_realisable_value
from formulas.pricing import (
    break_even,
    contribution,
    cost_for_markup,
    margin_from_markup,
    markup_percent,
    price_for_markup,
    profit_at,
)
from formulas.scrap import scrap_cost
from tests.published.rows import Row, published_rows
from tests.published.test_costing import LEDGER, assert_agrees, exact, read
from tests.published.test_joint_costs import JOINT
from tests.published.test_variances import VARIANCES


def beyond(inputs: dict[str, Any]) -> D:
    """Loss beyond the normal one, in the units weighed in."""
    return batch_yield(
        weighed_grams=inputs["input"],
        output_grams=inputs["output"],
        planned_output_grams=inputs["input"],
        process_loss_percent=inputs["normal_loss_pct"],
    ).beyond_grams


def process(inputs: dict[str, Any]) -> tuple[BatchCost, D]:
    """All loss beyond the normal one is declared; the scrap of the normal loss is a by-product."""
    normal = inputs["input"] * inputs["normal_loss_pct"] / 100
    declared = beyond(inputs)
    cost = batch_cost(
        materials=inputs["total_cost"],
        by_products=normal * inputs["scrap_value_per_unit"],
        output_grams=inputs["output"],
        declared_grams=declared,
    )
    return cost, declared


def price_from_cost(inputs: dict[str, Any]) -> D:
    return price_for_markup(D(inputs["cost"]), D(inputs["markup_pct"]))


def contributed(inputs: dict[str, Any]) -> list[D]:
    result = contribution(inputs["price"], inputs["variable"])
    return [result.per_unit, result.ratio]


def volume(inputs: dict[str, Any]) -> list[D]:
    target = inputs.get("target_profit", D(0))
    reached = break_even(inputs["fixed"], inputs["price"], inputs["variable"], target_profit=target)
    assert reached.units == reached.whole_units
    return [reached.units, reached.sales]


def operating_income(inputs: dict[str, Any]) -> D:
    return profit_at(
        inputs["units"],
        fixed_cost=inputs["fixed"],
        price=inputs["price"],
        variable_cost=inputs["variable"],
    )


def conversion(_: dict[str, Any]) -> str:
    cost = batch_cost(materials=D(10), labour=D(5), overhead=D(3), output_grams=D(1000))
    return "include" if cost.total == 18 else "exclude"


def abnormal_waste(_: dict[str, Any]) -> str:
    cost = batch_cost(materials=D(10), labour=D(10), output_grams=D(750), declared_grams=D(250))
    return "expense, not inventory" if cost.abnormal == 5 and cost.total == 15 else "inventory"


def written_down(cost: D, nrv: D) -> D:
    """What of `cost` is an expense where all of it is kept and will bring `nrv`."""
    kept = {"weighed_grams": D(1), "process_loss_percent": D(0), "kept_grams": D(1)}
    return scrap_cost(cost, nrv=nrv, **kept).abnormal


def lower_of_both(inputs: dict[str, Any]) -> D:
    """Item by item: pieces, what one cost, what one will bring."""
    items = [(pieces * cost, pieces * nrv) for pieces, cost, nrv in inputs["items"]]
    return sum((cost - written_down(cost, nrv) for cost, nrv in items), D(0))


def sold_or_processed(inputs: dict[str, Any]) -> list[D]:
    """What is earned by selling at the split, and by working on; what came before is the same."""
    now, later = inputs["split_off"], inputs["further"]
    sold = profit_at(now["qty"], fixed_cost=D(0), price=now["price"], variable_cost=D(0))
    processed = profit_at(
        later["qty"],
        fixed_cost=later["fixed"],
        price=later["price"],
        variable_cost=later["variable"],
    )
    return [sold, processed]


def nrv_rule(_: dict[str, Any]) -> str:
    brings = net_realisable_value(D(12), D(5))
    return "estimated selling price less costs of completion and costs to sell" * (brings == 7)


PROCESS_LOSS = "normal loss: unit cost, abnormal loss(+)/gain(-) units and values"
FORMULAS: dict[str, Callable[[dict[str, Any]], Any]] = {
    "abnormal loss quantity": beyond,
    "price from cost and markup % on cost": price_from_cost,
    "cost-plus price": price_from_cost,
    "markup % from cost and price": lambda i: markup_percent(D(i["cost"]), D(i["price"])),
    "cost from price and markup %": lambda i: cost_for_markup(D(i["price"]), D(i["markup_pct"])),
    "margin % on price from markup % on cost: m/(1+m)": lambda i: margin_from_markup(
        D(i["markup_pct"])
    ),
    "contribution margin per unit and ratio": contributed,
    "break-even units and sales": volume,
    "units and sales for target profit": volume,
    "break-even units": lambda i: volume(i)[0],
    "operating income at a volume": operating_income,
    "lower of cost and market, item by item": lower_of_both,
    "write-down to net realisable value": lambda i: written_down(i["cost"], i["nrv"]),
    "sell or process further: effect on income": sold_or_processed,
    "rule: NRV definition": nrv_rule,
    "rule: conversion cost": conversion,
    "rule: abnormal waste": abnormal_waste,
}


@pytest.mark.parametrize("row", published_rows("costing.csv", *FORMULAS))
def test_published_cost_and_price(row: Row) -> None:
    assert_agrees(FORMULAS[row.quantity](exact(row.inputs)), row.expected, row.tolerance)


@pytest.mark.parametrize("row", published_rows("costing.csv", PROCESS_LOSS))
def test_published_process_loss(row: Row) -> None:
    expected = read(row.expected)
    cost, declared = process(exact(row.inputs))
    assert declared == expected["abnormal_units"]
    assert abs(cost.per_kg / 1000 - D(expected["cost_per_unit"])) <= D(row.tolerance)
    assert abs(cost.total - D(expected["output_value"])) <= D(row.tolerance)
    assert abs(cost.abnormal - D(expected["abnormal_value"])) <= D(row.tolerance)


def test_every_row_is_checked_by_one_of_these() -> None:
    rows = [param.values[0] for param in published_rows("costing.csv")]
    assert {row.quantity for row in rows} == (
        LEDGER.keys() | FORMULAS.keys() | JOINT.keys() | VARIANCES.keys() | {PROCESS_LOSS}
    )
    assert all(row.source for row in rows)
