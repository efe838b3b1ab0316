"""Rows of a price list: what a cell says, and everything that is wrong with a row at once."""

from datetime import date
from decimal import Decimal as D

import pytest

from ledger.errors import Refusal
from ledger.price_list_rows import (
    BREAKS,
    KNOWN,
    MOST_BREAKS,
    REQUIRED,
    ListRefused,
    ListRow,
    columns,
    day_of_cell,
    decimal_of,
    read_row,
)

GOOD = {
    "supplier": "Bulk oils",
    "material": "Glycerin",
    "pack": "25 kg",
    "price": "130.00",
    "valid_from": "2025-06-01",
}


def wrong(**cells: str) -> list[tuple[str, str]]:
    """Columns and codes of what is wrong with a row that is good but for these cells."""
    read, errors = read_row(ListRow(7, {**GOOD, **cells}))
    assert (read is None) == bool(errors)
    assert all(error.row == 7 and len(error.detail) > 10 for error in errors)
    assert all(error.value == {**GOOD, **cells}.get(error.column, "")[:80] for error in errors)
    return [(error.column, error.code) for error in errors]


def test_the_columns() -> None:
    assert set(REQUIRED) <= set(columns(0)) < set(columns(3)) < KNOWN
    assert columns(1)[-3:] == ["break_1_from", "break_1_price", "note"]
    assert len(KNOWN) == len(columns(0)) + 2 * MOST_BREAKS == 53
    assert BREAKS[-1] == ("break_20_from", "break_20_price")


def test_a_row_with_no_more_than_it_must_have() -> None:
    read, errors = read_row(ListRow(2, GOOD))
    assert errors == []
    assert read is not None
    assert (read.supplier, read.material) == ("Bulk oils", "Glycerin")
    assert (read.pack.amount, read.price, read.valid_from) == (D(25_000), D(130), date(2025, 6, 1))
    assert (read.article_code, read.currency, read.note) == ("", "", "")
    assert (read.density, read.rate, read.least_packs, read.breaks) == (None, None, 1, ())
    assert (read.lead_time_days, read.shelf_life_days) == (None, None)


def test_a_row_with_everything() -> None:
    more = {
        "article_code": " G-1 ",
        "density": "1.26 g/mL",
        "currency": "EUR",
        "rate": "1.084512345",
        "least_packs": "4",
        "lead_time_days": "0",
        "shelf_life_days": "365",
        "break_1_from": "100 kg",
        "break_1_price": "120",
        "break_2_from": "200 kg",
        "break_2_price": "110.5",
        "note": "spring list",
    }
    read, errors = read_row(ListRow(2, {**GOOD, **more}))
    assert errors == []
    assert read is not None
    assert (read.article_code, read.currency, read.rate) == ("G-1", "EUR", D("1.084512345"))
    assert read.density is not None
    assert read.density.grams_per_millilitre == D("1.26")
    assert (read.least_packs, read.lead_time_days, read.shelf_life_days) == (4, 0, 365)
    steps = [(one.at_least.amount, one.price) for one in read.breaks]
    assert steps == [(D(100_000), D(120)), (D(200_000), D("110.5"))]


@pytest.mark.parametrize("column", REQUIRED)
def test_what_must_be_there(column: str) -> None:
    assert wrong(**{column: "  "}) == [(column, "invalid")]


@pytest.mark.parametrize(
    ("cells", "told"),
    [
        ({"pack": "25"}, [("pack", "unit_missing")]),
        ({"pack": "4 oz"}, [("pack", "unit_ambiguous")]),
        ({"price": "130,00"}, [("price", "unreadable")]),
        ({"price": "1.300,00"}, [("price", "unreadable")]),
        ({"price": "$130"}, [("price", "unreadable")]),
        ({"price": "-1"}, [("price", "unreadable")]),
        ({"price": "1e2"}, [("price", "unreadable")]),
        ({"price": "0.00"}, [("price", "invalid")]),
        ({"price": "1.0000001"}, [("price", "invalid")]),
        ({"rate": "1.0000000001"}, [("rate", "invalid")]),
        ({"valid_from": "1/6/2025"}, [("valid_from", "unreadable")]),
        ({"valid_from": "2025-06-31"}, [("valid_from", "unreadable")]),
        ({"density": "1.26"}, [("density", "unit_missing")]),
        ({"least_packs": "0"}, [("least_packs", "invalid")]),
        ({"least_packs": "1.5"}, [("least_packs", "invalid")]),
        ({"lead_time_days": "36501"}, [("lead_time_days", "invalid")]),
        ({"shelf_life_days": "0"}, [("shelf_life_days", "invalid")]),
        ({"currency": "EURO"}, [("currency", "invalid")]),
        ({"note": "two\nlines"}, [("note", "invalid")]),
        ({"break_1_from": "50 kg"}, [("break_1_price", "invalid")]),
        ({"break_1_price": "4"}, [("break_1_from", "invalid")]),
        ({"break_2_from": "50 kg", "break_2_price": "4"}, [("break_2_from", "invalid")]),
        ({"break_1_from": "50", "break_1_price": "4"}, [("break_1_from", "unit_missing")]),
        (
            {"pack": "a lot", "price": "free", "valid_from": "soon"},
            [
                ("pack", "quantity_unreadable"),
                ("price", "unreadable"),
                ("valid_from", "unreadable"),
            ],
        ),
    ],
)
def test_everything_wrong_is_told(cells: dict[str, str], told: list[tuple[str, str]]) -> None:
    assert wrong(**cells) == told


POINT = 'Write numbers with a decimal point and no commas: "1234.50".'
DIGITS = 'Write digits with a decimal point alone, such as "12.50".'
DAY = 'Write the day as "2026-01-31".'


@pytest.mark.parametrize(
    ("column", "text", "sentence"),
    [
        ("price", "", "This column must have a value in every row."),
        ("price", "1.300,00", POINT),
        ("price", "$130", DIGITS),
        ("price", "130,", DIGITS),
        ("price", "1.0000001", "This has more than 6 decimals."),
        ("rate", "1.0000000001", "This has more than 9 decimals."),
        ("price", "0.0", "This must be above zero."),
        ("valid_from", "2025-06-31", DAY),
        ("valid_from", "1/6/2025", DAY),
        ("currency", "EURO", "Write at most 3 characters, in one line."),
        ("note", "a" * 401, "Write at most 400 characters, in one line."),
        ("least_packs", "1000001", "Write a whole number from 1 to 1000000."),
        ("least_packs", "0", "Write a whole number from 1 to 1000000."),
        ("lead_time_days", "1234567890", "Write a whole number from 0 to 36500."),
        ("break_1_from", "50 kg", "A break needs both its quantity and its price."),
    ],
)
def test_it_says_what_is_wrong_with_a_cell(column: str, text: str, sentence: str) -> None:
    _, (error,) = read_row(ListRow(2, {**GOOD, column: text}))
    assert error.detail == sentence


def test_breaks_are_filled_in_order() -> None:
    later = {"break_1_from": "50 kg", "break_1_price": "4", "break_3_from": "60 kg"}
    _, errors = read_row(ListRow(2, {**GOOD, **later, "break_3_price": "3"}))
    assert [(error.column, error.detail) for error in errors] == [
        ("break_3_from", "A break before this one is empty: fill them in order.")
    ]
    # Half of a break is told, and what stands in it is read all the same.
    assert wrong(break_1_from="50", break_2_price="free") == [
        ("break_1_price", "invalid"),
        ("break_1_from", "unit_missing"),
        ("break_2_from", "invalid"),
        ("break_2_price", "unreadable"),
    ]


def test_the_most_that_a_cell_may_hold() -> None:
    most = {
        "note": "a" * 400,
        "article_code": "a" * 80,
        "currency": "EUR",
        "least_packs": "1000000",
        "lead_time_days": "36500",
        "shelf_life_days": "1",
        "rate": "1.000000001",
    }
    read, errors = read_row(ListRow(2, {**GOOD, **most}))
    assert errors == []
    assert read is not None
    assert (read.note, read.least_packs, read.lead_time_days) == ("a" * 400, 10**6, 36500)
    assert read.shelf_life_days == 1
    assert read.row.number == 2


def test_a_cell_that_could_not_be_read_is_told_once() -> None:
    row = ListRow(3, {**GOOD, "price": "=2*65"}, {"price": "A formula stands in this cell."})
    read, (error,) = read_row(row)
    assert read is None
    assert (error.column, error.value, error.code) == ("price", "=2*65", "cell_wrong")
    assert (error.row, error.detail) == (3, "A formula stands in this cell.")


def test_a_list_that_is_refused_says_how_many_cells_are_wrong() -> None:
    _, errors = read_row(ListRow(2, {**GOOD, "price": "free", "pack": "a lot"}))
    refused = ListRefused(errors)
    assert str(refused) == "2 cells of the list are wrong."
    assert refused.errors == errors


def test_long_values_are_shown_short() -> None:
    _, (error,) = read_row(ListRow(2, {**GOOD, "price": "9" * 500}))
    assert error.value == "9" * 80


@pytest.mark.parametrize("text", ["12.50", "0.000001", "999999999999.999999"])
def test_decimals_that_are_read(text: str) -> None:
    assert decimal_of(text) == D(text)


@pytest.mark.parametrize("text", ["1 000", "12.", ".5", "1234567890123", "١٢", "NaN", "1_000"])
def test_decimals_that_are_not(text: str) -> None:
    with pytest.raises(Refusal):
        decimal_of(text)


def test_a_day_is_written_in_one_way() -> None:
    assert day_of_cell("2024-02-29") == date(2024, 2, 29)
    for text in ("20240229", "2024-W09-4", "2024-02-30", "2024-02-29T00:00", "٢٠٢٤-٠٢-٢٩"):
        with pytest.raises(Refusal):
            day_of_cell(text)
