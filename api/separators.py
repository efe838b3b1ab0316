"""Numbers as people type them on a page or in a list, with the decimal point that the ledger reads.

Every reader has a decimal sign and a sign between thousands (`Reader.point`, `Reader.grouping`),
and a number is read as the page itself would print it. One that others read a thousand times larger
or smaller is refused with both readings: "2.730" is what a scale shows and what a page prints.
"""

import re
from decimal import Decimal
from typing import Final

from django.utils.translation import gettext as said

from ledger.errors import Sentence, Unreadable

NUMBER: Final = re.compile(r"[0-9]{1,12}(\.[0-9]{1,12})?|\.[0-9]{1,12}")
SPACES: Final = " \u00a0\u202f"
# Digits with signs between them; a space belongs to a number only before a whole group of three,
# and what stands before a fraction line is none: "1 500/1000".
_PARTED = re.compile(rf"[0-9]+(?:[.,][0-9]+|[{SPACES}][0-9]{{3}}(?![0-9/\u2044]))+")
_GROUPED = r"[1-9][0-9]{0,2}"


class NumberAmbiguous(Unreadable):
    """This number can be read in two ways."""

    code = "number_ambiguous"


def unparted(typed: str, point: str, grouping: str) -> str:
    """The text with its numbers as the ledger reads them. Raises NumberAmbiguous."""
    return _PARTED.sub(lambda found: _number(found[0], point, grouping), typed)


def _number(text: str, point: str, grouping: str) -> str:
    """One number; what is written in no known way stays as it is, and the ledger refuses it."""
    group = f"[{SPACES}]" if grouping in SPACES else re.escape(grouping)
    decimals = rf"(?:{re.escape(point)}[0-9]+)"
    if re.fullmatch(rf"[0-9]+{decimals}", text):
        return text.replace(point, ".")
    if re.fullmatch(rf"{_GROUPED}[.,][0-9]{{3}}", text):
        whole, _sign, part = re.split("([.,])", text)
        larger, smaller = f"{whole}{part}", f"{whole}{point}{part}".rstrip("0").rstrip(point)
        raise NumberAmbiguous(
            Sentence(
                "{typed} can be read in two ways: write {larger} or {smaller}.",
                typed=text,
                larger=larger,
                smaller=smaller,
            )
        )
    if re.fullmatch(rf"{_GROUPED}(?:{group}[0-9]{{3}})+{decimals}?", text):
        return re.sub(group, "", text).replace(point, ".")
    return text


def number_in(typed: str, point: str) -> Decimal:
    """A number of zero or more as `unparted` left it. Raises Unreadable, with what is wrong."""
    if NUMBER.fullmatch(typed):
        return Decimal(typed)
    if re.match("[-\N{MINUS SIGN}] ?[.,]?[0-9]", typed):
        raise Unreadable(said("Less than nothing cannot be; write 0 or more."))
    refuse_signs(typed, point)
    if re.fullmatch(r"[0-9]+(\.[0-9]*)?", typed) and len(typed.partition(".")[0]) > 12:
        raise Unreadable(said("This is more than any figure here: write 12 digits at most."))
    if re.fullmatch(r"[0-9]*\.[0-9]{13,}", typed):
        raise Unreadable(said("This is finer than any figure here: write 12 decimals at most."))
    told = said("Write a plain number here, such as %(example)s.")
    raise Unreadable(told % {"example": f"12{point}5"})


def refuse_signs(typed: str, point: str) -> None:
    """Raises Unreadable for a number with a comma or a point where its reader writes none."""
    if not re.fullmatch(r"[0-9.,]+", typed) or re.fullmatch(r"[0-9]*\.?[0-9]*", typed):
        return
    if point == ",":
        if "." in typed:
            raise Unreadable(said("There is a point in it: write decimals after a comma, as 12,5."))
        raise Unreadable(said("There is more than one comma in it: write a number such as 12,5."))
    if "," in typed:
        raise Unreadable(said("There is a comma in it: write decimals after a point, as 12.5."))
    raise Unreadable(said("There is more than one point in it: write a number such as 12.5."))


def refuse_points(typed: str, point: str) -> None:
    """Raises Unreadable for a number within a text that a reader who writes a comma cannot mean:
    the ledger would ask for a point instead."""
    for number in re.findall("[0-9.,]+", typed) if point == "," else ():
        refuse_signs(number, point)
