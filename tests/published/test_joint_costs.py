"""Joint cost by its three bases against published figures; each row carries its source."""

import re
from collections.abc import Callable
from decimal import Decimal as D
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from formulas.joint_costs import JointBase, JointOutput, split_joint_cost
from ledger.errors import Invalid
from tests.published.rows import Row, published_rows
from tests.published.test_costing import assert_agrees, exact


def by_mass(inputs: dict[str, Any]) -> list[D]:
    outputs = [JointOutput(quantity) for quantity in inputs["quantities"]]
    return split_joint_cost(inputs["joint_cost"], outputs, JointBase.MASS)


def by_sales_value(inputs: dict[str, Any]) -> list[D]:
    """Of each product what all of it fetches, or how much there is and what a pound fetches."""
    values = inputs.get("sales_values")
    if values is None:
        values = [n * price for n, price in zip(inputs["pounds"], inputs["prices"], strict=True)]
    outputs = [JointOutput(D(1), value) for value in values]
    return split_joint_cost(inputs["joint_cost"], outputs, JointBase.SALES_VALUE)


def by_nrv(inputs: dict[str, Any]) -> list[D]:
    outputs = [
        JointOutput(one["qty"], one["qty"] * one["price"], one["qty"] * one["further_cost"])
        for one in inputs["products"]
    ]
    return split_joint_cost(inputs["joint_cost"], outputs, JointBase.NRV)


JOINT: dict[str, Callable[[dict[str, Any]], list[D]]] = {
    "joint cost by physical units": by_mass,
    "joint cost by relative sales value": by_sales_value,
    "joint cost by sales value at split-off": by_sales_value,
    "joint cost by net realisable value": by_nrv,
}


@pytest.mark.parametrize("row", published_rows("costing.csv", *JOINT))
def test_published_joint_cost(row: Row) -> None:
    tolerance = row.tolerance.removesuffix(" (rounded to dollars)")
    parts = JOINT[row.quantity](exact(row.inputs))
    assert_agrees(parts, row.expected, tolerance)
    assert sum(parts) == row.number("joint_cost")


def test_what_was_lost_after_the_split_bears_its_part() -> None:
    """$60 for 10 kg and 5 kg; of the 10, 2 were spilt. The 8 that are left carry all of the 40."""
    spilt, whole = JointOutput(D(8), D(24), D(4), lost=D(2)), JointOutput(D(5), D(30), D(5))
    assert split_joint_cost(D(60), [spilt, whole], JointBase.MASS) == [40, 20]
    # 24 ÷ 8 · 10 = 30 to 30, and 20 ÷ 8 · 10 = 25 to 25.
    assert split_joint_cost(D(60), [spilt, whole], JointBase.SALES_VALUE) == [30, 30]
    assert split_joint_cost(D(60), [spilt, whole], JointBase.NRV) == [30, 30]


def test_further_work_counts_in_what_is_brought_alone() -> None:
    """30 and 30 are fetched; 30 and 20 are left of it."""
    outputs = [JointOutput(D(1), D(30)), JointOutput(D(1), D(30), D(10))]
    assert split_joint_cost(D(10), outputs, JointBase.SALES_VALUE) == [5, 5]
    assert split_joint_cost(D(10), outputs, JointBase.NRV) == [6, 4]


NOTHING = "A joint product has a mass and brings something: what does not is a by-product."
UNSAID = "Say what all of it fetches, of each product, or split by mass."


@pytest.mark.parametrize(
    ("output", "base", "told"),
    [
        (JointOutput(D(0)), JointBase.MASS, NOTHING),
        (JointOutput(D(0), D(5)), JointBase.SALES_VALUE, NOTHING),
        (JointOutput(D(1)), JointBase.SALES_VALUE, UNSAID),
        (JointOutput(D(1)), JointBase.NRV, UNSAID),
        (JointOutput(D(1), D(0)), JointBase.SALES_VALUE, NOTHING),
        (JointOutput(D(1), D(5), D(5)), JointBase.NRV, NOTHING),
    ],
)
def test_what_has_no_part_by_its_base_is_refused(
    output: JointOutput, base: JointBase, told: str
) -> None:
    other = JointOutput(D(1), D(9))
    with pytest.raises(Invalid, match=f"^{re.escape(told)}$"):
        split_joint_cost(D(10), [other, output], base)
    assert split_joint_cost(D(10), [other, other], base) == [5, 5]


AMOUNTS = st.decimals("0.01", "90000", places=2)
OUTPUTS = st.lists(st.builds(JointOutput, AMOUNTS, AMOUNTS, st.just(D("0.005"))), min_size=1)


@given(cost=AMOUNTS, outputs=OUTPUTS, base=st.sampled_from(JointBase))
def test_the_parts_are_the_whole_cost(cost: D, outputs: list[JointOutput], base: JointBase) -> None:
    parts = split_joint_cost(cost, outputs, base)
    assert sum(parts) == cost
    assert all(part >= 0 for part in parts)
