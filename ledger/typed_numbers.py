"""Numbers in the text that people type: what is read, and what is said about the rest.

Read are plain decimals and kitchen fractions: "2.5", ".5", "1/2", "1 1/2", "1½". Not read are
commas, which mean a decimal point to some and thousands to others, and exponents.
"""

import re
from fractions import Fraction

from ledger.errors import Refusal, Unreadable

LONGEST_TEXT = 64

_VULGAR_FRACTIONS = {
    "¼": "1/4",
    "½": "1/2",
    "¾": "3/4",
    "⅐": "1/7",
    "⅑": "1/9",
    "⅒": "1/10",
    "⅓": "1/3",
    "⅔": "2/3",
    "⅕": "1/5",
    "⅖": "2/5",
    "⅗": "3/5",
    "⅘": "4/5",
    "⅙": "1/6",
    "⅚": "5/6",
    "⅛": "1/8",
    "⅜": "3/8",
    "⅝": "5/8",
    "⅞": "7/8",
}
# Patterns: a plain decimal, any number that is read here, and the signs that are fractions.
FRACTION_SIGNS = "".join(_VULGAR_FRACTIONS)
DECIMAL = r"(?:[0-9]+(?:\.[0-9]+)?|\.[0-9]+)"
NUMBER = rf"(?:(?:[0-9]+[ -])?[0-9]+[/\u2044][0-9]+|[0-9]* ?[{FRACTION_SIGNS}]|{DECIMAL})"


def tidy(text: str, unreadable: type[Unreadable]) -> str:
    """The text with single spaces between its words.

    Raises `unreadable` for what is empty, longer than 64 characters or not printable, so that
    what is left can be repeated in an answer and stored.
    """
    if len(text) > LONGEST_TEXT:
        raise unreadable(f"This is longer than {LONGEST_TEXT} characters; check what was typed.")
    typed = " ".join(text.split())
    if not typed:
        raise unreadable
    if not typed.isprintable():
        raise unreadable("There are hidden characters in this text; type it again by hand.")
    return typed


def refuse_number(typed: str, unreadable: type[Unreadable], not_positive: type[Refusal]) -> None:
    """Raise what is wrong when a number is written in a way that is not read here.

    Raises `unreadable`, or `not_positive` for what is below zero.
    """
    if re.search(r"[0-9],\s?[0-9]", typed):
        raise unreadable('Write numbers with a decimal point and no commas: "1.5" or "1234".')
    if re.search(r"[0-9.][eE][-+]?[0-9]", typed):
        raise unreadable('Write the number out in full, without an exponent: "1500".')
    if re.match(rf"[-\u2212] ?[0-9.{FRACTION_SIGNS}]", typed):
        raise not_positive


def number_of(token: str, unreadable: type[Unreadable]) -> Fraction:
    """What a text matched by NUMBER amounts to. Raises `unreadable` for a zero below the line."""
    for sign, fraction in _VULGAR_FRACTIONS.items():
        token = token.replace(sign, f" {fraction}")
    try:
        pieces = token.replace("\u2044", "/").replace("-", " ").split()
        return sum((Fraction(piece) for piece in pieces), Fraction(0))
    except ZeroDivisionError:
        raise unreadable("A fraction cannot have zero below its line.") from None
