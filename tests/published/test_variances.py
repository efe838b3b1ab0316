"""Variances against published figures; each row carries its source. Above zero costs more."""

from collections.abc import Callable
from decimal import Decimal as D
from fractions import Fraction
from typing import Any

import pytest

from formulas.variances import Input, input_variances, split_variance
from tests.published.rows import Row, published_rows
from tests.published.test_costing import exact, read


def price_and_quantity(inputs: dict[str, Any]) -> list[D]:
    quantity, price = D(inputs["AQ"]), D(inputs["AP"])
    found = split_variance(
        quantity * price,
        quantity,
        standard_quantity=Fraction(D(inputs.get("SQ", quantity))),
        standard_price=Fraction(D(inputs["SP"])),
    )
    return [found.price, found.usage, found.total]


def mix_and_yield(inputs: dict[str, Any]) -> list[D]:
    found = input_variances(
        [
            Input(
                name="material",
                standard_share=one["standard_qty"],
                standard_price=one["standard_price"],
                quantity=one["actual_qty"],
                value=one["actual_qty"] * one["standard_price"],
            )
            for one in inputs["materials"]
        ],
        standard_yield=Fraction(inputs["standard_yield"]),
        output=inputs["actual_output"],
    )
    assert all(one.price == 0 for one in found)
    return [
        sum((one.mix for one in found), D(0)),
        sum((one.yielded for one in found), D(0)),
        sum((one.usage for one in found), D(0)),
    ]


VARIANCES: dict[str, Callable[[dict[str, Any]], list[D]]] = {
    "materials price, quantity and total variance (positive = unfavourable)": price_and_quantity,
    "materials price variance": lambda inputs: price_and_quantity(inputs)[:1],
    "materials mix and yield variance (positive = unfavourable)": mix_and_yield,
}


@pytest.mark.parametrize("row", published_rows("costing.csv", *VARIANCES))
def test_published_variances(row: Row) -> None:
    subject = VARIANCES[row.quantity]
    expected = read(row.expected)
    wanted = list(expected.values()) if isinstance(expected, dict) else expected
    wanted = [D(one) for one in (wanted if isinstance(wanted, list) else [wanted])]
    allowed = D(0) if row.tolerance == "exact" else D(row.tolerance)
    found = subject(exact(row.inputs))
    assert len(found) == len(wanted)
    for one, want in zip(found, wanted, strict=True):
        assert abs(one - want) <= allowed, (found, wanted)
