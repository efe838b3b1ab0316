"""GS1 keys and data carriers for lots and products: GTIN, element strings, GS1 Digital Link.

Sources: GS1 General Specifications (check digit 7.9, date fields 3.4, century 7.12, element strings
7.8), the list of Application Identifiers, and the GS1 Digital Link Standard: URI Syntax.
"""

import re
from calendar import monthrange
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Final
from urllib.parse import quote

from ledger.errors import (
    Invalid,
    Sentence,
)

SEPARATOR: Final = "\x1d"
RESOLVER: Final = "https://id.gs1.org"
GTIN_LENGTHS: Final = (8, 12, 13, 14)
# The identifiers that are used here: their value, and whether their length is fixed beforehand, so
# that no separator need follow.
_IDENTIFIERS: Final[Mapping[str, tuple[re.Pattern[str], bool]]] = {
    "01": (re.compile(r"\d{14}"), True),
    "10": (re.compile(r"[!\"%-?A-Z_a-z]{1,20}"), False),
    "11": (re.compile(r"\d{6}"), True),
    "15": (re.compile(r"\d{6}"), True),
    "17": (re.compile(r"\d{6}"), True),
    **{f"310{places}": (re.compile(r"\d{6}"), True) for places in range(6)},
}
_DATES: Final = {"11", "15", "17"}
# Whichever century it is read in, a date is there or is not.
_ANY_DAY: Final = date(2000, 1, 1)
_BRACKETED: Final = re.compile(r"\((\d{2,4})\)([^()]*)")


class GtinWrong(Invalid):
    """This is not a GTIN: it has 8, 12, 13 or 14 digits, and the last one checks the others."""

    code = "gtin_wrong"


class CarrierWrong(Invalid):
    """This cannot stand in a GS1 bar code."""

    code = "carrier_wrong"


def check_digit(digits: str) -> int:
    """The check digit that follows `digits`: weights 3 and 1 from the right, modulo 10."""
    if not digits.isascii() or not digits.isdigit():
        raise GtinWrong("A GTIN is made of digits alone.")
    total = sum(int(one) * (1 if place % 2 else 3) for place, one in enumerate(reversed(digits)))
    return -total % 10


def is_gtin(text: str) -> bool:
    """Whether a text is a GTIN-8, -12, -13 or -14 with the right check digit."""
    if len(text) not in GTIN_LENGTHS or not text.isascii() or not text.isdigit():
        return False
    return check_digit(text[:-1]) == int(text[-1])


def gtin14(text: str) -> str:
    """A GTIN as 14 digits, zeros before it. Raises GtinWrong, with the digit that would fit."""
    if not text.isascii() or not text.isdigit() or len(text) not in GTIN_LENGTHS:
        raise GtinWrong
    if not is_gtin(text):
        raise GtinWrong(
            Sentence(
                "The check digit of this GTIN is wrong: after {digits} comes {digit}, not"
                " {last}. Read all digits again.",
                digits=text[:-1],
                digit=check_digit(text[:-1]),
                last=text[-1],
            )
        )
    return text.zfill(14)


def date_value(day: date, today: date) -> str:
    """YYMMDD. Raises CarrierWrong for a year that a reader would take for another one."""
    if not -49 <= day.year - today.year <= 50:
        raise CarrierWrong(
            Sentence(
                "A bar code has two digits for the year, and {year} would be read as another.",
                year=day.year,
            )
        )
    return f"{day:%y%m%d}"


def date_of(value: str, today: date) -> date:
    """The date of a YYMMDD; day 00 is the last of the month. Raises CarrierWrong.

    The century is the one that puts the year at most 49 back and 50 ahead of this one.
    """
    if not re.fullmatch(r"\d{6}", value, re.ASCII):
        raise CarrierWrong("A date in a bar code is six digits, YYMMDD.")
    year = today.year - today.year % 100 + int(value[:2])
    if year - today.year >= 51:
        year -= 100
    elif year - today.year <= -50:
        year += 100
    month, day = int(value[2:4]), int(value[4:])
    try:
        return date(year, month, day or monthrange(year, month)[1])
    except ValueError as error:
        raise CarrierWrong(Sentence("There is no such date: {value}.", value=value)) from error


def element_string(pairs: Sequence[tuple[str, str]], separator: str = SEPARATOR) -> str:
    """Identifiers and values in this order, as a scanner sends them.

    A separator follows a value of variable length that is not the last one. Raises CarrierWrong.
    """
    _check(pairs)
    last = len(pairs) - 1
    return "".join(
        f"{ai}{value}{'' if place == last or _IDENTIFIERS[ai][1] else separator}"
        for place, (ai, value) in enumerate(pairs)
    )


def bracketed(pairs: Sequence[tuple[str, str]]) -> str:
    """The same as people read it below a bar code: "(01)09521234543213(10)ABC123"."""
    _check(pairs)
    return "".join(f"({ai}){value}" for ai, value in pairs)


def parse_bracketed(text: str) -> dict[str, str]:
    """Values by their identifiers. Raises CarrierWrong for what cannot be read whole."""
    pairs = _BRACKETED.findall(text)
    if not pairs or "".join(f"({ai}){value}" for ai, value in pairs) != text:
        raise CarrierWrong("Write identifiers in brackets, such as (10)NB8(17)261231.")
    _check(pairs)
    return dict(pairs)


def net_kilograms(ai: str, value: str) -> str:
    """The net weight of AI 310n in kg: six digits with n decimals. Raises CarrierWrong."""
    if not re.fullmatch(r"310[0-5]", ai):
        raise CarrierWrong("A net weight in kilograms has the identifier 3100 to 3105.")
    _check([(ai, value)])
    places = int(ai[3])
    whole, part = (value[:-places], value[-places:]) if places else (value, "")
    return f"{int(whole)}.{part}" if part else str(int(whole))


def digital_link(gtin: str, *, lot: str = "", expires: str = "", resolver: str = RESOLVER) -> str:
    """The GS1 Digital Link of an item: GTIN and lot in the path, the date (YYMMDD) behind it.

    Raises GtinWrong, CarrierWrong.
    """
    pairs = [("01", gtin14(gtin))] + ([("10", lot)] if lot else [])
    _check([*pairs, *([("17", expires)] if expires else [])])
    path = "".join(f"/{ai}/{quote(value, safe='')}" for ai, value in pairs)
    return f"{resolver}{path}{f'?17={expires}' if expires else ''}"


def fits(ai: str, value: str) -> bool:
    """Whether a value may stand behind an identifier."""
    known = _IDENTIFIERS.get(ai)
    return known is not None and known[0].fullmatch(value) is not None


def _check(pairs: Sequence[tuple[str, str]]) -> None:
    for ai, value in pairs:
        if not fits(ai, value):
            raise CarrierWrong(
                Sentence("{value!r} cannot stand behind the identifier ({ai}).", value=value, ai=ai)
            )
        if ai == "01":
            gtin14(value)
        if ai in _DATES:
            date_of(value, _ANY_DAY)
