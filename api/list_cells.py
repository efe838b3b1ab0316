"""How the figures and days of a list that somebody sends are written, read as a page reads them.

The ledger reads a decimal point, and days such as 2026-01-31. A spreadsheet that parts its columns
by semicolons or tabs mostly does so because it writes a decimal comma. A figure that can be meant
in two ways is refused with both, and so is a day with slashes, which is two days by who reads it.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from api.far_days import PRICE_YEARS, refuse_far
from api.list_columns import Reads
from api.separators import unparted
from api.sheet_files import Cell
from ledger.errors import Refusal, Unreadable

COMMA: Final = (",", ".")
# The days that may be no further away than a form takes them, and by how many years.
NEAR: Final = {"valid_from": PRICE_YEARS}


@dataclass(frozen=True, slots=True)
class Signs:
    """How somebody writes figures: the decimal sign, and what stands between thousands."""

    point: str = "."
    grouping: str = ","

    def ways(self, parted: str) -> list[tuple[str, str]]:
        """How figures are read in a file whose columns are parted so; a workbook's by nothing."""
        own = (self.point, self.grouping)
        return [own, COMMA] if parted in (";", "\t") and own != COMMA else [own]


def read_cell(
    cell: Cell, column: str, reads: Reads, ways: Sequence[tuple[str, str]], today: date
) -> Cell:
    """A cell as the ledger reads it, or with what is wrong with it."""
    if cell.wrong or not cell.text or reads is Reads.WORDS:
        return cell
    try:
        text = cell.text
        if reads is Reads.DAYS:
            text = _day(text)
            if column in NEAR:
                _refuse_far(text, today, NEAR[column])
        elif not cell.exact:
            text = _figures(text, ways)
    except Refusal as refusal:
        return Cell(cell.text, refusal.detail)
    return Cell(text, exact=cell.exact)


def _figures(text: str, ways: Sequence[tuple[str, str]]) -> str:
    """Figures by the first way in which they are written. Raises NumberAmbiguous."""
    for point, grouping in ways:
        if (read := unparted(text, point, grouping)) != text:
            return read
    return text


def _day(text: str) -> str:
    """A day as 2026-01-31 where dots say which part is which; anything else as it is.

    Raises Unreadable for a day with slashes, or with a year of two digits.
    """
    if re.fullmatch(r"[0-9]{1,4}/[0-9]{1,2}/[0-9]{1,4}", text):
        raise Unreadable(
            "With slashes this is two days, by who reads it: write it as 2026-01-31 or 31.01.2026."
        )
    if re.fullmatch(r"[0-9]{1,2}\.[0-9]{1,2}\.[0-9]{2}", text):
        raise Unreadable("Write the year with four digits, as 31.01.2026.")
    if parts := re.fullmatch(r"([0-9]{1,2})\. ?([0-9]{1,2})\. ?([0-9]{4})", text):
        day, month, year = map(int, parts.groups())
        try:
            return date(year, month, day).isoformat()
        except ValueError:
            raise Unreadable("There is no such day: write it as 31.01.2026.") from None
    return text


def _refuse_far(text: str, today: date, years: int) -> None:
    """Raises Invalid for a year that is mostly a slip; what is no day is refused further on."""
    try:
        day = date.fromisoformat(text)
    except ValueError:
        return
    refuse_far(day, today, years)
