"""Money: reading it, rounding it, and splitting it without losing a cent."""

from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.errors import Invalid, Refusal, SplitImpossible
from ledger.money import (
    MINOR_UNITS,
    minor_unit,
    minor_units,
    parse_money,
    round_money,
    round_money_up,
    round_to_step,
    round_together,
    split_exactly,
    split_money,
)

CENT = Decimal("0.01")

totals = st.integers(-(10**15), 10**15).map(lambda cents: cents * CENT)
weight = st.decimals(0, 10**9, places=6)
weights = st.lists(weight, min_size=1, max_size=12).filter(any)


def test_every_active_currency_is_known() -> None:
    """ISO 4217 list one of 2026-01-01 has 165 codes with a minor unit."""
    assert len(MINOR_UNITS) == 165
    assert all(len(code) == 3 and code.isupper() for code in MINOR_UNITS)
    assert [minor_unit(code) for code in ("JPY", "USD", "KWD", "CLF")] == [
        Decimal(1),
        Decimal("0.01"),
        Decimal("0.001"),
        Decimal("0.0001"),
    ]


@pytest.mark.parametrize("currency", ["XAU", "XXX", "usd", "", "US\x00", "DEM", "U" * 900])
def test_what_is_no_currency(currency: str) -> None:
    with pytest.raises(Refusal) as refused:
        minor_units(currency)
    assert refused.value.code == "currency_unknown"
    assert refused.value.facts == {"currency": ascii(currency)[1:-1][:12]}
    assert refused.value.detail.isprintable()
    assert len(refused.value.detail) < 120


@pytest.mark.parametrize(
    ("value", "currency", "rounded"),
    [
        ("2.675", "USD", "2.68"),
        ("2.665", "USD", "2.66"),
        ("-0.004", "USD", "0.00"),
        ("0.5", "JPY", "0"),
        ("1.5", "JPY", "2"),
        ("1.0005", "KWD", "1.000"),
        ("186", "USD", "186.00"),
        ("123456789012.345678", "USD", "123456789012.35"),
    ],
)
def test_rounding_is_half_even_and_shows_every_decimal(
    value: str, currency: str, rounded: str
) -> None:
    assert str(round_money(Decimal(value), currency)) == rounded


def test_a_price_that_must_pay_for_something_is_rounded_up() -> None:
    for value, currency, rounded in (
        ("3.333333", "USD", "3.34"),
        ("3.34", "USD", "3.34"),
        ("3.330000001", "USD", "3.34"),
        ("100.2", "JPY", "101"),
        ("-1.009", "USD", "-1.00"),
    ):
        assert str(round_money_up(Decimal(value), currency)) == rounded


def test_rounding_to_a_step_of_any_size() -> None:
    assert round_to_step(Decimal("7.37"), Decimal("0.05")) == Decimal("7.35")
    assert round_to_step(Decimal("25"), Decimal("10"), ROUND_HALF_UP) == 30
    assert round_to_step(Decimal("25"), Decimal("10")) == 20


@pytest.mark.parametrize(("value", "step"), [("NaN", "1"), ("1", "0"), ("1", "-1"), ("1", "NaN")])
def test_rounding_needs_numbers(value: str, step: str) -> None:
    with pytest.raises(Invalid):
        round_to_step(Decimal(value), Decimal(step))


@pytest.mark.parametrize(
    ("text", "currency", "amount"),
    [
        ("186.00", "USD", "186.00"),
        (" 186 ", "USD", "186.00"),
        (".5", "USD", "0.50"),
        ("0", "USD", "0.00"),
        ("1200", "JPY", "1200"),
        ("1.234", "KWD", "1.234"),
        ("999999999999.99", "USD", "999999999999.99"),
    ],
)
def test_money_that_is_read(text: str, currency: str, amount: str) -> None:
    assert str(parse_money(text, currency)) == amount


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "money_unreadable"),
        ("NaN", "money_unreadable"),
        ("Infinity", "money_unreadable"),
        ("1e309", "money_unreadable"),
        ("1e2", "money_unreadable"),
        ("$186", "money_unreadable"),
        ("1,86", "money_unreadable"),
        ("1 000", "money_unreadable"),
        ("5.", "money_unreadable"),
        ("٣", "money_unreadable"),
        ("1\x00", "money_unreadable"),
        ("9" * 65, "money_unreadable"),
        ("-1", "money_negative"),
        ("\u22121.00", "money_negative"),
        ("1.005", "money_too_fine"),
        ("186.000", "money_too_fine"),
        ("1000000000000", "money_too_large"),
        ("9" * 60, "money_too_large"),
    ],
)
def test_money_that_is_refused(text: str, code: str) -> None:
    with pytest.raises(Refusal) as refused:
        parse_money(text, "USD")
    assert refused.value.code == code


def test_a_comma_is_answered_with_a_hint() -> None:
    with pytest.raises(Refusal, match="decimal point and no commas"):
        parse_money("1,234.50", "USD")


@given(st.text() | st.from_regex(r"[-+]?[0-9.,eE]{1,20}", fullmatch=True))
def test_any_text_is_money_or_a_refusal(text: str) -> None:
    read: Decimal | Refusal
    try:
        read = parse_money(text, "USD")
    except Refusal as refusal:
        read = refusal
    if isinstance(read, Refusal):
        assert read.detail.isprintable()
    else:
        assert 0 <= read < 10**12
        assert read == round_money(read, "USD")


def test_the_freight_and_tax_of_a_receipt() -> None:
    """41.30 by mass over 19.078475, 10 and 5 kg; the tax by the value of the goods."""
    grams = [Decimal("19078.475391"), Decimal(10000), Decimal(5000)]
    assert split_money(Decimal("41.30"), grams, "USD") == [
        Decimal("23.12"),
        Decimal("12.12"),
        Decimal("6.06"),
    ]
    goods = [Decimal(186), Decimal(92), Decimal(72)]
    assert split_money(Decimal("21.00"), goods, "USD") == [
        Decimal("11.16"),
        Decimal("5.52"),
        Decimal("4.32"),
    ]


def test_the_lost_cent_of_a_drum_goes_to_the_largest_remainder() -> None:
    drawn = [Decimal(kilograms) for kilograms in ("78.8", "59.1", "34.4", "24.5")]
    assert split_exactly(Decimal("889.57"), drawn, step=CENT) == [
        Decimal("356.19"),
        Decimal("267.14"),
        Decimal("155.49"),
        Decimal("110.75"),
    ]


@given(totals, weights)
def test_a_split_loses_nothing(total: Decimal, weights: list[Decimal]) -> None:
    """Sums are exact, each part is within a step of its exact share, and zero weighs nothing."""
    parts = split_exactly(total, weights, step=CENT)
    assert sum(parts) == total
    together = sum(Fraction(weight) for weight in weights)
    for part, weight in zip(parts, weights, strict=True):
        assert part == part.quantize(CENT)
        assert abs(Fraction(part) - Fraction(total) * Fraction(weight) / together) < Fraction(CENT)
        assert weight or not part


@given(totals, weights)
def test_taking_back_undoes_giving(total: Decimal, weights: list[Decimal]) -> None:
    given_out = split_exactly(total, weights, step=CENT)
    taken_back = split_exactly(-total, weights, step=CENT)
    assert taken_back == [-part for part in given_out]


@given(totals.filter(lambda total: total > 0), weights)
def test_who_weighs_more_never_gets_less(total: Decimal, weights: list[Decimal]) -> None:
    parts = split_exactly(total, weights, step=CENT)
    by_weight = sorted(zip(weights, parts, strict=True), key=lambda pair: (pair[0], pair[1]))
    assert [part for _, part in by_weight] == sorted(parts)


@given(st.integers(1, 10**6), st.integers(1, 12))
def test_ties_go_to_the_earlier_member(steps: int, members: int) -> None:
    parts = split_exactly(Decimal(steps), [Decimal(1)] * members, step=Decimal(1))
    assert parts == sorted(parts, reverse=True)
    assert parts[0] - parts[-1] <= 1


@pytest.mark.parametrize(
    ("total", "weights", "step"),
    [
        ("1", [], "0.01"),
        ("1", ["0", "0"], "0.01"),
        ("1", ["1", "-1"], "0.01"),
        ("1", ["1", "NaN"], "0.01"),
        ("1", ["1", "Infinity"], "0.01"),
        ("1.005", ["1", "1"], "0.01"),
        ("NaN", ["1"], "0.01"),
        ("1", ["1"], "0"),
        ("0", ["-1"], "0.01"),
    ],
)
def test_splits_that_are_refused(total: str, weights: list[str], step: str) -> None:
    with pytest.raises(SplitImpossible) as refused:
        split_exactly(Decimal(total), [Decimal(weight) for weight in weights], step=Decimal(step))
    assert refused.value.code == "split_impossible"


def test_nothing_is_split_into_nothings() -> None:
    """Free goods carry no charge; that is no error."""
    assert split_money(Decimal("0.00"), [Decimal(0), Decimal(0)], "USD") == [0, 0]


def test_figures_longer_than_any_machine_word_stay_exact() -> None:
    """Thirty digits before the point, and a split of them, to the last coin."""
    long = Decimal("123456789012345678901234567890.125")
    assert round_to_step(long, Decimal("0.01")) == Decimal("123456789012345678901234567890.12")
    whole = Decimal("370370367037036703703670370367.05")
    assert split_exactly(whole, [Decimal(1)] * 3, step=Decimal("0.01")) == [
        Decimal("123456789012345567901223456789.02"),
        Decimal("123456789012345567901223456789.02"),
        Decimal("123456789012345567901223456789.01"),
    ]


def test_rows_add_up_to_what_stands_beneath_them() -> None:
    """Three thirds of a dollar; and what was given back takes its part of the rounding."""
    third = Decimal("0.333333")
    assert round_together([third] * 3, step=CENT) == [Decimal("0.34"), *[Decimal("0.33")] * 2]
    mixed = [Decimal("-1.003"), Decimal("2.006"), Decimal("0.004")]
    assert round_together(mixed, step=CENT) == [Decimal("-1.00"), Decimal("2.01"), Decimal("0.00")]
    assert round_together([], step=CENT) == []


@given(st.lists(st.decimals(-(10**9), 10**9, places=6), max_size=12))
def test_what_is_rounded_together_is_near_and_adds_up(parts: list[Decimal]) -> None:
    shown = round_together(parts, step=CENT)
    assert sum(shown) == round_to_step(sum(parts, Decimal(0)), CENT)
    for one, part in zip(shown, parts, strict=True):
        assert one == one.quantize(CENT)
        assert abs(one - part) < CENT
