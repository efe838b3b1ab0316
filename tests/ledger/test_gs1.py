"""GS1 keys at their edges: what is no GTIN, no date and no element string, and what is told then.

The whole figures are published ones (`tests/published/test_labels.py`); GTIN 09521234543213 is the
GS1 General Specifications' own example.
"""

from datetime import date

import pytest

from ledger import gs1
from ledger.gs1 import CarrierWrong, GtinWrong
from tests.refusing import Asked, assert_refused

TODAY = date(2025, 6, 1)
NO_GTIN = "This is not a GTIN: it has 8, 12, 13 or 14 digits, and the last one checks the others."
NO_BRACKETS = "Write identifiers in brackets, such as (10)NB8(17)261231."
NO_WEIGHT = "A net weight in kilograms has the identifier 3100 to 3105."

REFUSED: list[Asked] = [
    (lambda: gs1.check_digit("12a"), GtinWrong, "", "A GTIN is made of digits alone."),
    # Right as to its check digit, but no GTIN is so short.
    (lambda: gs1.gtin14("0000000"), GtinWrong, "", NO_GTIN),
    (lambda: gs1.gtin14("952123454321X"), GtinWrong, "", NO_GTIN),
    (lambda: gs1.gtin14("٩٥٢١٢٣٤٥٤٣٢١٣"), GtinWrong, "", NO_GTIN),
    (
        lambda: gs1.gtin14("2000000000017"),
        GtinWrong,
        "",
        "The check digit of this GTIN is wrong: after 200000000001 comes 5, not 7. Read all digits"
        " again.",
    ),
    (
        lambda: gs1.date_value(date(2076, 1, 1), TODAY),
        CarrierWrong,
        "",
        "A bar code has two digits for the year, and 2076 would be read as another.",
    ),
    (
        lambda: gs1.date_of("26123", TODAY),
        CarrierWrong,
        "",
        "A date in a bar code is six digits, YYMMDD.",
    ),
    (lambda: gs1.date_of("261301", TODAY), CarrierWrong, "", "There is no such date: 261301."),
    (lambda: gs1.date_of("260230", TODAY), CarrierWrong, "", "There is no such date: 260230."),
    (lambda: gs1.date_of("261300", TODAY), CarrierWrong, "", "There is no such date: 261300."),
    (lambda: gs1.parse_bracketed(""), CarrierWrong, "", NO_BRACKETS),
    (lambda: gs1.parse_bracketed("(10)NB8 (17"), CarrierWrong, "", NO_BRACKETS),
    (lambda: gs1.net_kilograms("3106", "000250"), CarrierWrong, "", NO_WEIGHT),
    (
        lambda: gs1.digital_link("09521234543213", expires="261301"),
        CarrierWrong,
        "",
        "There is no such date: 261301.",
    ),
    (
        lambda: gs1.bracketed([("10", "a lot")]),
        CarrierWrong,
        "",
        "'a lot' cannot stand behind the identifier (10).",
    ),
    (
        lambda: gs1.element_string([("99", "1")]),
        CarrierWrong,
        "",
        "'1' cannot stand behind the identifier (99).",
    ),
]


@pytest.mark.parametrize("asked", REFUSED)
def test_a_refusal_says_what_is_wrong(asked: Asked) -> None:
    assert_refused(*asked)


@pytest.mark.parametrize("text", ["0000000", "952123454321X", "٩٥٢١٢٣٤٥٤٣٢١٣", "", "9521234543214"])
def test_what_is_no_gtin(text: str) -> None:
    assert not gs1.is_gtin(text)


@pytest.mark.parametrize("year", [1976, 2075])
def test_the_furthest_years_that_two_digits_tell(year: int) -> None:
    """49 back and 50 ahead of 2025; one further would be read as another century's."""
    day = date(year, 2, 3)
    assert gs1.date_of(gs1.date_value(day, TODAY), TODAY) == day
    further = date(year + (1 if year > 2025 else -1), 2, 3)
    with pytest.raises(CarrierWrong):
        gs1.date_value(further, TODAY)


@pytest.mark.parametrize(
    ("ai", "value", "told"),
    [("3100", "000250", "250"), ("3103", "000250", "0.250"), ("3105", "123456", "1.23456")],
)
def test_a_net_weight_has_the_decimals_that_its_identifier_says(
    ai: str, value: str, told: str
) -> None:
    assert gs1.net_kilograms(ai, value) == told


def test_a_link_tells_what_is_known() -> None:
    """A lot may have a slash, which would be another part of the path."""
    item = f"{gs1.RESOLVER}/01/09521234543213"
    assert gs1.digital_link("9521234543213") == item
    assert gs1.digital_link("9521234543213", lot="A/B") == f"{item}/10/A%2FB"
    assert gs1.digital_link("9521234543213", expires="261231") == f"{item}?17=261231"


@pytest.mark.parametrize(
    ("value", "day"),
    [
        ("310203", date(2031, 2, 3)),
        ("300203", date(2130, 2, 3)),
        ("200203", date(2120, 2, 3)),
        ("800100", date(2080, 1, 31)),
        ("801200", date(2080, 12, 31)),
    ],
)
def test_a_century_later_two_digits_are_the_next_one_s(value: str, day: date) -> None:
    """In 2080, 49 years back is 2031; 30 is read as 2130. Day 00 is the month's last."""
    assert gs1.date_of(value, date(2080, 6, 1)) == day


def test_what_stands_behind_an_identifier_is_checked_as_what_it_is() -> None:
    with pytest.raises(GtinWrong):
        gs1.bracketed([("01", "09521234543214")])
    with pytest.raises(CarrierWrong):
        gs1.date_of("٢٦١٢٣١", TODAY)
    assert gs1.bracketed([("17", "240229")]) == "(17)240229", "of a leap year"
    with pytest.raises(CarrierWrong):
        gs1.bracketed([("17", "250229")])
