"""Valuation of any day, use and cost of goods sold, against the postings of a small story."""

from dataclasses import replace
from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from formulas.explaining_worth import explain_worth
from ledger.access import acting_as
from ledger.book_reading import (
    expensed_between,
    sold_between,
    used_between,
    valuation,
)
from ledger.errors import Forbidden, Invalid
from ledger.issuing import Taken, issue, sell, take_back
from ledger.models import Membership
from ledger.quantities import parse_quantity
from tests.factories import D, Workshop, on, open_workshop

BEFORE, MAY, JUNE = date(2025, 4, 30), date(2025, 5, 31), date(2025, 6, 30)


@pytest.fixture(scope="module")
def shop(database: object) -> Workshop:
    """1 kg of oil for 20 in May, 600 g of it into a balm that is sold, and a gift, in June."""
    shop = open_workshop()
    oil = shop.material("Oil")
    lot = shop.receive(oil, "1 kg", "20.00", at=on("2025-05-06"))
    balm = shop.formula("Balm", [(oil, "100")])
    planned = shop.plan(balm, "600 g", planned_for=date(2025, 5, 20))
    shop.weigh_all(planned, at=on("2025-05-20"))
    made = shop.finish(planned, "600 g", at=on("2025-06-02"))
    lines = [Taken(made.lot.id, parse_quantity("400 g"))]
    sold = shop.does(sell, lines=lines, customer="A shop", happened_at=on("2025-06-05"))
    back = [Taken(made.lot.id, parse_quantity("100 g"))]
    facts = {"sale": sold.posted.entry_id, "reason": "dented", "happened_at": on("2025-06-09")}
    shop.does(take_back, lines=back, **facts)
    gift = [Taken(lot.id, parse_quantity("50 g"))]
    facts = {"purpose": "gift", "reason": "a trial", "happened_at": on("2025-06-10")}
    shop.does(issue, lines=gift, **facts)
    return shop


def test_stock_is_worth_what_lay_there_on_the_day(shop: Workshop) -> None:
    """At the end of May 600 g were in a pot that was not finished yet."""
    assert shop.does(valuation, on=BEFORE).rows == []
    may = shop.does(valuation, on=MAY)
    assert [(row.name, row.stored, row.store, row.pots) for row in may.rows] == [
        ("Oil", D(400), D(8), D(12))
    ]
    assert (may.store, may.pots, may.shops, may.value, may.count) == (D(8), D(12), D(0), D(20), 1)
    june = shop.does(valuation, on=JUNE)
    assert [(row.name, row.stored, row.value) for row in june.rows] == [
        ("Balm", D(300), D(6)),
        ("Oil", D(350), D(7)),
    ]
    # All that came in is there, sold or given.
    spent = shop.does(expensed_between, BEFORE, JUNE)
    assert june.value + sum(one.value for one in spent) == D(20)


def test_the_sums_are_of_all_rows_whatever_is_shown(shop: Workshop) -> None:
    cut = shop.does(valuation, on=JUNE, limit=1)
    assert ([row.name for row in cut.rows], cut.value, cut.count) == (["Balm"], D(13), 2)


def test_what_was_used_and_what_was_sold(shop: Workshop) -> None:
    used = shop.does(used_between, MAY, JUNE)
    assert [(row.name, row.quantity, row.value) for row in used.rows] == [
        ("Balm", D(300), D(6)),
        ("Oil", D(50), D(1)),
    ]
    assert used.value == D(7)
    assert [row.name for row in shop.does(used_between, BEFORE, MAY).rows] == ["Oil"]
    sold = shop.does(sold_between, MAY, JUNE)
    assert [(row.name, row.quantity, row.value) for row in sold.rows] == [("Balm", D(300), D(6))]
    assert (sold.value, shop.does(sold_between, BEFORE, MAY).value) == (D(6), D(0))
    spent = shop.does(expensed_between, MAY, JUNE)
    assert [(one.kind, one.name, one.value) for one in spent] == [
        ("sales", "cost of goods sold", D(6)),
        ("issue", "gift", D(1)),
    ]


def test_a_period_ends_after_it_begins_and_costs_are_not_for_everybody(shop: Workshop) -> None:
    for read in (used_between, sold_between, expensed_between):
        with pytest.raises(Invalid) as caught:
            shop.does(read, JUNE, MAY)
        assert caught.value.pointer == "/to"
    bench = Workshop(shop.coop, replace(shop.actor, role=Membership.Role.BENCH))
    with pytest.raises(Forbidden):
        bench.does(valuation, on=JUNE)


def test_each_is_one_query(shop: Workshop) -> None:
    with acting_as(shop.actor), CaptureQueriesContext(connection) as queries:
        valuation(shop.actor, on=JUNE)
        used_between(shop.actor, MAY, JUNE)
        sold_between(shop.actor, MAY, JUNE)
        expensed_between(shop.actor, MAY, JUNE)
    assert len(queries) == 4


def test_the_worth_of_a_day_is_told_by_what_moved_it(shop: Workshop) -> None:
    """20 came in, 12 of it went into a pot, which in May was not finished yet."""
    oil = shop.does(valuation, on=MAY).rows[0].material
    figure = shop.does(explain_worth, material=oil, on=MAY)
    assert (figure.amount, figure.unit) == (D(20), "USD")
    told = {part.name: [(one.name, one.amount) for one in part.parts] for part in figure.parts}
    assert told == {
        "in store": [("receipt", D(20)), ("draw", D(-12))],
        "in pots": [("draw", D(12))],
    }
    assert figure.parts[0].parts[1].facts == {"quantity": "-600 g"}
    assert shop.does(explain_worth, material=oil, on=BEFORE).amount == D(0)
