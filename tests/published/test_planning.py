"""Planning figures against textbooks and handbooks; each row carries its source."""

import json
from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal as D
from typing import Any

import pytest

from formulas.composition import Composed, Ingredient, Kind, Recipe
from formulas.requirement_records import Facts, records_of
from ledger.lot_sizing import Break, cost_at, economic_quantity, economic_quantity_with_breaks
from ledger.netting import Need, net_requirements
from ledger.reordering import LeadTime, Use, fill_rate, normal_loss, quantile, reorder_point
from ledger.usage import croston, croston_corrected, fading
from tests.published.rows import Row, published_rows


def economic(row: Row) -> list[D]:
    use, per_order = row.number("demand_rate"), row.number("fixed_cost")
    keeping = row.number("holding_cost")
    if "Q" in row.inputs:
        return [cost_at(row.number("Q"), use=use, per_order=per_order, keeping=keeping)]
    found = economic_quantity(use=use, per_order=per_order, keeping=keeping)
    return [found.quantity, found.cost]


def with_breaks(row: Row) -> list[D]:
    """A break of an offer is of all units; incremental ones, of the units above, no offer has."""
    textbook = "demand_rate" in row.inputs
    use, per_order, rate, steps, prices = (
        ("demand_rate", "fixed_cost", "holding_cost_rate", "breakpoints", "unit_costs")
        if textbook
        else ("D", "S", "I", "breaks", "prices")
    )
    found = economic_quantity_with_breaks(
        [
            Break(start, price)
            for start, price in zip(row.numbers(steps), row.numbers(prices), strict=True)
        ],
        use=row.number(use),
        per_order=row.number(per_order),
        keeping_rate=row.number(rate),
    )
    return [found.quantity, found.cost]


def point(row: Row) -> list[D]:
    """In the first row the figures are of the lead time itself, which is one period."""
    found = reorder_point(
        Use(row.number("d"), row.number("sd")),
        LeadTime(row.number("L"), D(str(row.inputs.get("sL", 0)))),
        service_level=row.number("sl"),
    )
    return [found.lead_time_spread, found.safety_stock, found.point]


def service(row: Row) -> list[D]:
    z = row.number("z")
    of_orders = fill_rate(
        z, spread=row.number("sd_lead_time_demand"), order=row.number("order_quantity")
    )
    # The share of cycles is the quantile read backwards.
    assert abs(quantile(row_level(row)) - z) < D("0.001")
    return [row_level(row), of_orders]


def row_level(row: Row) -> D:
    return D(json.loads(row.expected)["cycle_service"])


SUBJECTS: dict[str, Callable[[Row], list[D]]] = {
    "EOQ: order quantity": economic,
    "EOQ total cost": economic,
    "EOQ with all-units price breaks": with_breaks,
    "all-units price breaks": with_breaks,
    "reorder point": point,
    "standard normal quantile": lambda row: [quantile(row.number("service_level"))],
    "standard normal loss": lambda row: [normal_loss(row.number("z"))],
    "cycle service level": service,
    "Croston": lambda row: list(croston(row.numbers("demand"), row.number("alpha"))),
    "Syntetos-Boylan": lambda row: [croston_corrected(row.numbers("demand"), row.number("alpha"))],
    "TSB": lambda row: list(fading(row.numbers("demand"), row.number("alpha"), row.number("beta"))),
}


def wanted(row: Row) -> list[D]:
    try:
        found: Any = json.loads(row.expected, parse_float=D, parse_int=D)
    except ValueError:
        found = row.expected
    if isinstance(found, dict):
        return [D(one) for one in found.values()]
    return [D(one) for one in found] if isinstance(found, list) else [D(found)]


def tolerance(row: Row) -> D:
    return D(row.tolerance.split()[0])


@pytest.mark.parametrize("row", published_rows("planning.csv", *SUBJECTS))
def test_published_planning(row: Row) -> None:
    subject = next(make for start, make in SUBJECTS.items() if row.quantity.startswith(start))
    found, expected = subject(row), wanted(row)
    assert len(found) == len(expected)
    for one, figure in zip(found, expected, strict=True):
        assert abs(one - figure) <= tolerance(row), (found, expected)


@pytest.mark.parametrize("row", published_rows("planning.csv", "MRP netting"))
def test_published_netting(row: Row) -> None:
    """Needs in order; the published record tells the nets that are not zero."""
    arriving = {int(period): D(one) for period, one in row.inputs["scheduled_receipt"].items()}
    record = net_requirements(
        [
            Need(gross, arriving.get(period, D(0)))
            for period, gross in enumerate(row.numbers("gross_in_order"), start=1)
        ],
        usable=row.number("on_hand"),
    )
    assert [one.net for one in record if one.net] == wanted(row)


@pytest.mark.parametrize("row", published_rows("planning.csv", "MRP explosion"))
def test_published_explosion(row: Row) -> None:
    """So many pieces of each in a piece of its parent are so many hundred percent of it."""
    bom, demand = row.inputs["bom"], row.inputs["demand"]
    first = date(2025, 5, 5)
    facts = Facts(
        first=first,
        weeks=demand["week"],
        needs={"Z": [(first + timedelta(weeks=demand["week"] - 1), D(demand["Z"]))]},
        arriving={},
        stored={},
        made={item: f"making {item}" for item in bom},
        recipes={f"making {item}": recipe(parts, bom) for item, parts in bom.items()},
        lead_days={item: 7 * weeks for item, weeks in row.inputs["lead_time"].items()},
    )
    found = {
        item: [
            (sum(week.netted.gross for week in record.weeks), number)
            for number, week in enumerate(record.weeks, start=1)
            if week.netted.release
        ]
        for item, record in records_of(facts).items()
    }
    assert found == {
        item: [(quantity, week)] for item, (quantity, week) in json.loads(row.expected).items()
    }


def recipe(parts: dict[str, int], bom: dict[str, Any]) -> Recipe:
    return Recipe(
        tuple(
            Composed(
                Ingredient(Kind.FORMULA, f"making {item}")
                if item in bom
                else Ingredient(Kind.MATERIAL, item),
                100 * D(many),
            )
            for item, many in parts.items()
        )
    )


def test_the_spread_of_the_lead_time_counts() -> None:
    """1.8 kg a day (0.6), nine days (2), 95 percent: 22.82 kg, and 19.16 without the lead time's.

    Worked by hand: sqrt(9 x 0.36 + 3.24 x 4) = 4.0249; 16.2 + 1.645 x 4.0249 = 22.82.
    """
    use = Use(D("1.8"), D("0.6"))
    found = reorder_point(use, LeadTime(D(9), D(2)), service_level=D("0.95"))
    assert round(found.lead_time_spread, 4) == D("4.0249")
    assert round(found.safety_stock, 2) == D("6.62")
    assert round(found.point, 2) == D("22.82")
    assert round(found.z, 3) == D("1.645")
    assert found.lead_time_use == D("16.2")
    # With a spread of three days sqrt(9 x 0.36 + 3.24 x 9) = 5.6921.
    later = reorder_point(use, LeadTime(D(9), D(3)), service_level=D("0.95"))
    assert round(later.lead_time_spread, 4) == D("5.6921")
    steady = reorder_point(use, LeadTime(D(9)), service_level=D("0.95"))
    assert round(steady.point, 2) == D("19.16")
