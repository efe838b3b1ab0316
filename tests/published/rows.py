"""Published figures, one row each, with the source beside them; read from `data/`."""

import csv
import json
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Context, Decimal
from pathlib import Path
from typing import Any

import pytest

DATA = Path(__file__).parent / "data"
SEVEN_DIGITS = Context(prec=7)


@dataclass(frozen=True)
class Row:
    """One published figure: what is asked, with which inputs, and what must come of it."""

    id: str
    quantity: str
    inputs: dict[str, Any]
    expected: str
    unit: str
    tolerance: str
    source: str

    def number(self, name: str) -> Decimal:
        """The input of that name as an exact decimal."""
        return Decimal(str(self.inputs[name]))

    def numbers(self, name: str) -> list[Decimal]:
        """The inputs listed under that name as exact decimals."""
        return [Decimal(str(number)) for number in self.inputs[name]]

    def agrees(self, computed: Decimal) -> bool:
        """Whether `computed` is the published figure within the row's own tolerance."""
        expected = Decimal(self.expected)
        if self.tolerance.startswith("exact"):
            return computed == expected
        if self.tolerance == "half a unit in the 7th digit":
            return SEVEN_DIGITS.create_decimal(computed) == expected
        allowed = Decimal(self.tolerance.removesuffix(" relative"))
        if self.tolerance.endswith(" relative"):
            allowed *= abs(expected)
        return abs(computed - expected) <= allowed


def published_rows(file: str, *about: str) -> Iterable[Any]:
    """The rows of `file` whose quantity starts with one of `about`, or all, as pytest params."""
    with (DATA / file).open(encoding="utf-8", newline="") as lines:
        rows = [
            Row(**{**line, "inputs": json.loads(line["inputs"], parse_float=Decimal)})
            for line in csv.DictReader(lines)
        ]
    chosen = [row for row in rows if not about or row.quantity.startswith(about)]
    if not chosen:
        raise LookupError(f"{file} has no rows about {about}.")
    return [pytest.param(row, id=row.id) for row in chosen]
