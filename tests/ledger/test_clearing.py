"""Payments that clear all balances: exact, and as few as there can be."""

import itertools
from decimal import Decimal as D

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.clearing import MOST_FOR_PROOF, Payment, clear
from ledger.errors import Invalid
from tests.refusing import assert_refused

CENTS = st.integers(min_value=-10_000, max_value=10_000).map(lambda cents: D(cents).scaleb(-2))


def summing_to_zero(amounts: list[D]) -> dict[int, D]:
    return dict(enumerate([*amounts, -sum(amounts, D(0))]))


def fewest(balances: dict[int, D]) -> int:
    """By trying every way of grouping makers so that each group sums to zero."""
    open_ones = [one for one in balances.values() if one]
    if not open_ones:
        return 0

    def most_groups(left: tuple[D, ...]) -> int:
        if not left:
            return 0
        first, rest = left[0], left[1:]
        best = -len(left)
        for size in range(len(rest) + 1):
            for chosen in itertools.combinations(range(len(rest)), size):
                if first + sum((rest[place] for place in chosen), D(0)) == 0:
                    others = tuple(one for place, one in enumerate(rest) if place not in chosen)
                    best = max(best, 1 + most_groups(others))
        return best

    return len(open_ones) - most_groups(tuple(open_ones))


@settings(deadline=None)
@given(st.lists(CENTS, max_size=9) | st.lists(CENTS, min_size=20, max_size=30))
def test_everybody_is_even_afterwards(amounts: list[D]) -> None:
    balances = summing_to_zero(amounts)
    found = clear(balances)
    left = dict(balances)
    for payment in found.payments:
        assert payment.amount > 0
        left[payment.payer] += payment.amount
        left[payment.payee] -= payment.amount
    assert not any(left.values())
    open_ones = sum(1 for one in balances.values() if one)
    assert found.at_least <= len(found.payments) <= max(0, open_ones - 1)
    assert found.is_proven or open_ones > MOST_FOR_PROOF


@settings(deadline=None)
@given(st.lists(st.integers(-4, 4).map(D), max_size=6))
def test_as_few_as_trying_all_ways_finds(amounts: list[D]) -> None:
    balances = summing_to_zero(amounts)
    assert len(clear(balances).payments) == fewest(balances)


def test_fifteen_makers_are_proven() -> None:
    """Five groups of three that sum to zero, and no two makers that do: ten payments."""
    balances = {
        (group, part): D(7**group * one)
        for group in range(5)
        for part, one in enumerate((1, 2, -3))
    }
    found = clear(balances)
    assert len(found.payments) == found.at_least == 10


def test_sixteen_makers_in_pairs_pay_once_each_pair() -> None:
    """Beyond the proof: eight pairs that cancel need eight payments, and no way needs fewer."""
    balances = {number: D(1 + number // 2) * (1 if number % 2 else -1) for number in range(16)}
    found = clear(balances)
    assert len(found.payments) == found.at_least == 8


def test_an_odd_number_of_makers_beyond_the_proof() -> None:
    """Seven pairs that cancel, and three that settle in two payments: half of 17 is nine."""
    pairs = {number: D(1 + number // 2) * (1 if number % 2 else -1) for number in range(14)}
    found = clear({**pairs, 14: D(100), 15: D(200), 16: D(-300)})
    assert len(found.payments) == found.at_least == 9


def test_beyond_the_proof_pairs_that_cancel_are_paid_first() -> None:
    """Three others have the largest claim: by amount alone the debts of pairs would go to it."""
    pairs = {number: D(10 + number // 2) * (1 if number % 2 else -1) for number in range(14)}
    found = clear({14: D("-12.5"), **pairs, 15: D("-12.5"), 16: D(25)})
    assert len(found.payments) == found.at_least == 9
    for number in range(0, 14, 2):
        assert Payment(number, number + 1, D(10 + number // 2)) in found.payments


def test_a_claim_is_paid_off_before_the_next() -> None:
    found = clear({"A": D(-30), "B": D(-21), "C": D(40), "D": D(11)})
    assert found.payments == [
        Payment("A", "C", D(30)),
        Payment("B", "C", D(10)),
        Payment("B", "D", D(11)),
    ]


def test_the_largest_debt_pays_the_largest_claim_first() -> None:
    found = clear({"B": D("-0.10"), "A": D("-0.50"), "D": D("0.20"), "C": D("0.40")})
    assert found.payments == [
        Payment("A", "C", D("0.40")),
        Payment("A", "D", D("0.10")),
        Payment("B", "D", D("0.10")),
    ]


@pytest.mark.parametrize("amounts", [[D(1)], [D("0.01"), D("-0.02")], [D("NaN"), D(0)]])
def test_what_does_not_sum_to_zero_is_refused(amounts: list[D]) -> None:
    assert_refused(
        lambda: clear(dict(enumerate(amounts))),
        Invalid,
        "",
        "Balances must sum to zero: what one is owed, others owe.",
    )
