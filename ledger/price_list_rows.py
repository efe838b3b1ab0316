"""A supplier's price list, row by row: what each cell says, or what is wrong with it. Pure.

A row is one price of one pack from one day on. Every cell of every row is judged, so that a list is
put right in one go.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any, Final, TypeVar

from ledger.errors import (
    Invalid,
    Refusal,
    Sentence,
    Unreadable,
)
from ledger.quantities import Density, Quantity, parse_density, parse_quantity

MOST_BREAKS: Final = 20
REQUIRED: Final = ("supplier", "material", "pack", "price", "valid_from")
BREAKS: Final = tuple((f"break_{n}_from", f"break_{n}_price") for n in range(1, MOST_BREAKS + 1))
# How long a text may be.
TEXTS: Final = {"supplier": 200, "material": 200, "article_code": 80, "currency": 3, "note": 400}
# The least and the most of what is a whole number.
WHOLE: Final = {
    "least_packs": (1, 1_000_000),
    "lead_time_days": (0, 36_500),
    "shelf_life_days": (1, 36_500),
}
LONGEST_SHOWN: Final = 80
Value = TypeVar("Value")


def columns(breaks: int) -> list[str]:
    """The columns in their order, with so many breaks."""
    before = "supplier material article_code pack density price currency rate valid_from"
    steps = [name for pair in BREAKS[:breaks] for name in pair]
    return [*before.split(), *WHOLE, *steps, "note"]


KNOWN: Final = frozenset(columns(MOST_BREAKS))


class CellWrong(Invalid):
    """This cell cannot be read: write its value as a text."""

    code = "cell_wrong"


@dataclass(frozen=True, slots=True)
class ListRow:
    """A row as it stands in the sheet: its number there, and its cells by column.

    `wrong` says of cells why they could not be read at all.
    """

    number: int
    cells: Mapping[str, str]
    wrong: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class CellError:
    """What is wrong with a cell, and what to do about it."""

    row: int
    column: str
    value: str
    code: str
    detail: str


class ListRefused(Exception):
    """Nothing of the list was kept: each error says where it is and what to do."""

    def __init__(self, errors: Sequence[CellError]) -> None:
        super().__init__(f"{len(errors)} cells of the list are wrong.")
        self.errors = errors


@dataclass(frozen=True, slots=True)
class ListedBreak:
    """From so much in one order on, each pack costs this."""

    at_least: Quantity
    price: Decimal


@dataclass(frozen=True, slots=True)
class ListedPrice:
    """What a row says; the supplier and the material are what they are called."""

    row: ListRow
    supplier: str
    material: str
    article_code: str
    pack: Quantity
    density: Density | None
    price: Decimal
    currency: str
    rate: Decimal | None
    valid_from: date
    least_packs: int
    lead_time_days: int | None
    shelf_life_days: int | None
    breaks: tuple[ListedBreak, ...]
    note: str


def error_at(row: ListRow, column: str, refusal: Refusal) -> CellError:
    """A refusal of what stands in a cell."""
    value = row.cells.get(column, "")[:LONGEST_SHOWN]
    return CellError(row.number, column, value, refusal.code, refusal.detail)


def read_row(row: ListRow) -> tuple[ListedPrice | None, list[CellError]]:
    """What a row says, or everything that is wrong with its cells."""
    cells = Cells(row)
    for name, why in row.wrong.items():
        cells.refuse(name, CellWrong(why))
    for name in REQUIRED:
        if not cells.text(name):
            cells.refuse(name, Invalid("This column must have a value in every row."))
    said: dict[str, Any] = {
        name: cells.read(name, within(most), "") for name, most in TEXTS.items()
    }
    said["pack"] = cells.read("pack", parse_quantity, None)
    said["density"] = cells.read("density", parse_density, None)
    said["price"] = cells.read("price", decimal_of, None)
    said["rate"] = cells.read("rate", _rate, None)
    said["valid_from"] = cells.read("valid_from", day_of_cell, None)
    for name, (least, most) in WHOLE.items():
        said[name] = cells.read(name, _whole(least, most), None)
    said["least_packs"] = said["least_packs"] or 1
    said["breaks"] = _breaks(cells)
    if cells.errors:
        return None, cells.errors
    return ListedPrice(row=row, **said), []


def decimal_of(text: str, places: int = 6) -> Decimal:
    """A number above zero with a decimal point. Raises Unreadable and Invalid."""
    if re.fullmatch(r"[0-9. ]*[0-9],[0-9]+", text):
        raise Unreadable('Write numbers with a decimal point and no commas: "1234.50".')
    if not re.fullmatch(r"[0-9]{1,12}(\.[0-9]+)?", text):
        raise Unreadable('Write digits with a decimal point alone, such as "12.50".')
    if len(text.partition(".")[2]) > places:
        raise Invalid(Sentence("This has more than {places} decimals.", places=places))
    if not (value := Decimal(text)):
        raise Invalid("This must be above zero.")
    return value


def day_of_cell(text: str) -> date:
    """A day as "2026-01-31". Raises Unreadable: 1/2/2026 is two days, by who reads it."""
    try:
        if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
            return date.fromisoformat(text)
    except ValueError:
        pass
    raise Unreadable('Write the day as "2026-01-31".')


def _rate(text: str) -> Decimal:
    return decimal_of(text, places=9)


def within(most: int) -> Callable[[str], str]:
    """Reads a text of at most so many characters, in one line."""

    def read(text: str) -> str:
        if len(text) > most or not text.isprintable():
            raise Invalid(Sentence("Write at most {most} characters, in one line.", most=most))
        return text

    return read


def _whole(least: int, most: int) -> Callable[[str], int]:
    def read(text: str) -> int:
        if not re.fullmatch(r"[0-9]{1,9}", text) or not least <= int(text) <= most:
            raise Invalid(
                Sentence("Write a whole number from {least} to {most}.", least=least, most=most)
            )
        return int(text)

    return read


@dataclass(slots=True)
class Cells:
    """The cells of a row, and what was wrong with those that were read."""

    row: ListRow
    errors: list[CellError] = field(default_factory=list)

    def text(self, column: str) -> str:
        return self.row.cells.get(column, "").strip()

    def read(self, column: str, parse: Callable[[str], Value], empty: Value) -> Value:
        """The value of a cell, or `empty` where nothing stands in it or what does is refused."""
        text = self.text(column)
        if not text or column in self.row.wrong:
            return empty
        try:
            return parse(text)
        except Refusal as refusal:
            self.refuse(column, refusal)
            return empty

    def refuse(self, column: str, refusal: Refusal) -> None:
        self.errors.append(error_at(self.row, column, refusal))


def _breaks(cells: Cells) -> tuple[ListedBreak, ...]:
    """The breaks of a row, each with both of its cells, without a gap before it."""
    found, ended = [], False
    for start, price in BREAKS:
        stands = [bool(cells.text(name)) for name in (start, price)]
        if not any(stands):
            ended = True
            continue
        if not all(stands):
            empty = price if stands[0] else start
            cells.refuse(empty, Invalid("A break needs both its quantity and its price."))
        if ended:
            cells.refuse(start, Invalid("A break before this one is empty: fill them in order."))
        at_least = cells.read(start, parse_quantity, None)
        amount = cells.read(price, decimal_of, None)
        if at_least is not None and amount is not None:
            found.append(ListedBreak(at_least, amount))
    return tuple(found)
