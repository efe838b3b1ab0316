"""Sheets that are given out: CSV in UTF-8, with nothing in them that a program would reckon out."""

import csv
import io
from collections.abc import Iterable, Sequence
from typing import Final

# A cell that begins with one of these is a formula to whoever opens the sheet.
RECKONED: Final = ("=", "+", "-", "@", "\t", "\r", "\n", "\0")


def csv_of(header: Sequence[str], rows: Iterable[Sequence[str]]) -> bytes:
    """A CSV (RFC 4180) with a mark of its encoding, which spreadsheets need to see UTF-8."""
    written = io.StringIO(newline="")
    writer = csv.writer(written)
    writer.writerow(header)
    writer.writerows([escaped(cell) for cell in row] for row in rows)
    return written.getvalue().encode("utf-8-sig")


def escaped(text: str) -> str:
    """A text with an apostrophe before it where a program would take it for a formula."""
    return f"'{text}" if text.startswith(RECKONED) else text
