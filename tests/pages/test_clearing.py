"""Clearing what makers owe each other is offered where there is something to clear."""

from datetime import UTC, datetime
from typing import Any

import pytest

from ledger.settling import record_payment
from tests.factories import D, Workshop, open_workshop
from tests.pages.browsing import done, refused, shown
from tests.pages.test_rounds import for_the_co_op

PAGE, CIRCLE = "/settlement", "What they owe goes round in a circle and cancels out"


@pytest.fixture
def makers(database: Any, redis_server: Any) -> list[Workshop]:
    first = open_workshop()
    return [first, *(open_workshop(name, coop=first.coop) for name in ("Mill Bench", "Bay Bench"))]


def paid(one: Workshop, other: Workshop) -> None:
    """So that the other owes it so much."""
    about = {"maker": other.actor.maker, "amount": D(10), "paid": True, "note": "cash"}
    one.does(record_payment, happened_at=datetime.now(UTC), **about)


def test_debts_in_a_circle_are_cleared_without_a_payment(makers: list[Workshop]) -> None:
    first, second, third = makers
    paid(first, second)
    paid(second, third)
    client = for_the_co_op(first)
    assert "1 payment clears all" in shown(client.get("/"))
    paid(third, first)
    assert CIRCLE in shown(client.get("/"))
    assert CIRCLE in shown(client.get(PAGE))
    page = done(client, PAGE, do="clear", note="end of the month")
    assert "end of the month" in page
    assert "Nothing is to be cleared" in page
    assert "Nothing waits for you" in shown(client.get("/"))


def test_a_debt_that_is_one_payment_already_is_not_cleared(makers: list[Workshop]) -> None:
    paid(*makers[:2])
    client = for_the_co_op(makers[0])
    page = shown(client.get(PAGE))
    assert "Every debt is as few payments as can be already" in page
    assert "Clear it so" not in page
    assert "already as few payments as can be" in refused(client, PAGE, do="clear")
