"""Amounts in sentences: rounded as a scale is read, and never to nothing."""

from decimal import Decimal

import pytest

from ledger.amounts import Amount, rounded


@pytest.mark.parametrize(
    ("quantity", "counted", "words"),
    [
        ("18500.000000", False, "18.5 kg"),
        ("1234567", False, "1,234.567 kg"),
        ("1000", False, "1 kg"),
        ("1000.6", False, "1.001 kg"),
        ("-1500.5", False, "-1.5 kg"),
        ("-1000", False, "-1 kg"),
        ("999.99", False, "999.99 g"),
        ("-377.243456", False, "-377.24 g"),
        ("0.000000", False, "0 g"),
        ("0.004", False, "0.004 g"),
        ("-0.000216", False, "-0.0002 g"),
        ("60.000000", True, "60 pieces"),
        ("1", True, "1 piece"),
        ("-1", True, "-1 pieces"),
        ("1200.12345", True, "1,200.123 pieces"),
        ("0.0004", True, "0.0004 pieces"),
        ("0.0005", True, "0.0005 pieces"),
    ],
)
def test_an_amount_is_written(quantity: str, counted: bool, words: str) -> None:
    assert str(Amount(Decimal(quantity), counted)) == words


@pytest.mark.parametrize(
    ("value", "places", "found"),
    [
        ("2.345", 2, "2.34"),
        ("2.355", 2, "2.36"),
        ("2.300", 2, "2.3"),
        ("0", 2, "0"),
        ("0.005", 2, "0.005"),
        ("0.0051", 2, "0.01"),
        ("0.0055", 2, "0.01"),
        ("-0.005", 2, "-0.005"),
        ("0.05", 2, "0.05"),
        ("0.00025", 2, "0.0002"),
        ("120", 0, "1.2E+2"),
    ],
)
def test_half_goes_to_the_even_one_and_something_is_never_nothing(
    value: str, places: int, found: str
) -> None:
    assert str(rounded(Decimal(value), places)) == found


@pytest.mark.parametrize(
    ("quantity", "counted", "down", "up"),
    [
        ("99.996", False, "99.99 g", "100 g"),
        ("100", False, "100 g", "100 g"),
        ("999.999", False, "999.99 g", "1 kg"),
        ("1234.5", False, "1.234 kg", "1.235 kg"),
        ("0.004", False, "0.004 g", "0.01 g"),
        ("0", False, "0 g", "0 g"),
        ("2.5", True, "2.5 pieces", "2.5 pieces"),
        ("2.0004", True, "2 pieces", "2.001 pieces"),
    ],
)
def test_what_there_is_is_rounded_down_and_what_is_wanted_up(
    quantity: str, counted: bool, down: str, up: str
) -> None:
    amount = Amount(Decimal(quantity), counted)
    assert (str(amount.rounded_down()), str(amount.rounded_up())) == (down, up)
