"""What came out beside the main product, as figures of the working of a batch."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from formulas.joint_costs import JointBase
from formulas.models import Making
from ledger.errors import Sentence

# How a part of the joint cost was reckoned, by its base.
PARTS: Final[Mapping[str, str]] = {
    JointBase.MASS: "its part of the joint cost, by mass",
    JointBase.SALES_VALUE: "its part of the joint cost, by sales value",
    JointBase.NRV: "its part of the joint cost, by net realisable value",
}


@dataclass(frozen=True, slots=True)
class BesideFigure:
    """What is taken off what went in: its name, value, way and facts."""

    name: str
    value: Decimal
    how: str
    facts: Mapping[str, str]


def beside_of(making: Making) -> Iterable[BesideFigure]:
    """By-products at what they will bring, and joint products at their part of the joint cost."""
    if making.by_product_grams:
        facts = {"grams": f"{making.by_product_grams:f}"}
        how = "net realisable value, deducted from the main product"
        yield BesideFigure("by-products", making.by_product_value, how, facts)
    if making.joint_base:
        facts = {"grams": f"{making.joint_grams:f}"}
        yield BesideFigure("joint products", making.joint_value, PARTS[making.joint_base], facts)


def abnormal_way(making: Making) -> str:
    """How the part that is expensed was reckoned."""
    beside = "by-products - joint products" if making.joint_base else "by-products"
    return f"declared · (inputs - packaging - {beside}) ÷ (output + declared)"


def unit_way(making: Making) -> str:
    """How the cost of a piece is reckoned."""
    return Sentence("total ÷ {units} pieces", units=making.units)


def total_way(making: Making) -> str:
    """How what the good output carries was reckoned."""
    if making.joint_base:
        return "inputs - by-products - joint products - abnormal"
    return "inputs - by-products - abnormal" if making.by_product_grams else "inputs - abnormal"
