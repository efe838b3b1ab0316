"""Numbers as people type them on a page, with the decimal point that the ledger reads.

Every reader has a decimal sign and a sign between thousands (`Reader.point`, `Reader.grouping`),
and a number is read as the page itself would print it. One that others read a thousand times larger
or smaller is refused with both readings: "2.730" is what a scale shows and what a page prints.
"""

import re
from typing import Final

from django.utils.translation import gettext as said

from ledger.errors import Unreadable

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
            said("%(typed)s can be read in two ways: write %(larger)s or %(smaller)s.")
            % {"typed": text, "larger": larger, "smaller": smaller}
        )
    if re.fullmatch(rf"{_GROUPED}(?:{group}[0-9]{{3}})+{decimals}?", text):
        return re.sub(group, "", text).replace(point, ".")
    return text
