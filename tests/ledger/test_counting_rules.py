"""Ranking by annual use x cost, the days of counts, tolerances (common practice)."""

from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.counting_rules import (
    CLASSES,
    MONTHS_BETWEEN,
    due_on,
    percent_of,
    rank,
    tolerance,
    within,
)

D = Decimal
MONEY = st.decimals(0, 10**9, places=2)


def test_the_first_eighty_percent_are_a_and_the_next_fifteen_b() -> None:
    values = {"a": D(50), "b": D(30), "c": D(10), "d": D(5), "e": D(5), "none": D(0)}
    assert rank(values) == {"a": "A", "b": "A", "c": "B", "d": "B", "e": "C", "none": "C"}


def test_the_greatest_is_a_even_if_it_is_nearly_all() -> None:
    assert rank({"one": D(99), "other": D(1)}) == {"one": "A", "other": "C"}
    assert rank({"only": D("0.01")}) == {"only": "A"}
    assert rank({}) == {}
    assert rank({"back": D(-5), "one": D(1)}) == {"one": "A", "back": "C"}


@given(st.dictionaries(st.integers(), MONEY, max_size=30))
def test_classes_go_down_with_the_value_and_a_is_about_eighty(values: dict[int, D]) -> None:
    ranked = rank(values)
    assert set(ranked) == set(values)
    in_order = sorted(values, key=lambda key: -values[key])
    classes = [ranked[key] for key in in_order]
    assert classes == sorted(classes)
    total = sum(values.values(), D(0))
    a = [values[key] for key in values if ranked[key] == "A"]
    if total:
        assert sum(a, D(0)) * 100 >= 80 * total, "A reaches its share"
        assert (sum(a, D(0)) - min(a)) * 100 < 80 * total, "and no more materials than that takes"


@pytest.mark.parametrize(
    ("last", "abc_class", "expected"),
    [
        (date(2025, 1, 31), "A", date(2025, 2, 28)),
        (date(2024, 1, 31), "A", date(2024, 2, 29)),
        (date(2025, 11, 30), "B", date(2026, 2, 28)),
        (date(2024, 2, 29), "C", date(2025, 2, 28)),
        (date(2025, 12, 5), "A", date(2026, 1, 5)),
        (None, "A", None),
    ],
)
def test_the_next_count(last: date | None, abc_class: str, expected: date | None) -> None:
    assert due_on(last, abc_class) == expected


@given(st.dates(date(1990, 1, 1), date(2090, 1, 1)), st.sampled_from(CLASSES))
def test_the_next_count_is_so_many_months_on(last: date, abc_class: str) -> None:
    due = due_on(last, abc_class)
    assert due is not None
    months = (due.year - last.year) * 12 + due.month - last.month
    assert months == MONTHS_BETWEEN[abc_class]
    assert due.day <= last.day


def test_tolerance_and_percent() -> None:
    assert tolerance(D(12480), D(2)) == D("249.600000")
    assert not within(D(12210), D(12480), D("249.6"))
    assert within(D("12230.4"), D(12480), D("249.6"))
    assert percent_of(D(-270), D(12480)) == D("-2.16")
    assert percent_of(D(1), D(0)) is None
    assert percent_of(D(1), D(8000)) == D("0.01")
    assert percent_of(D(1), D(3)) == D("33.33")


@given(st.decimals(0, 10**9, places=6), st.decimals(0, 100, places=4))
def test_a_tolerance_is_its_percent_of_the_book(book: D, percent: D) -> None:
    assert abs(tolerance(book, percent) * 100 - book * percent) <= D("0.00005")
