"""A copy of all that a maker has, as one ZIP: a CSV of each table, and a list of what is in it."""

import csv
import io
import json
from collections.abc import Iterator, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Final
from uuid import UUID
from zipfile import ZIP_DEFLATED, ZipFile

from django.db import connection
from django.utils.http import content_disposition_header
from django.utils.text import slugify

from api.sheet_writing import escaped
from formulas.whole_copy import whole_copy
from ledger.access import Actor, day_of
from ledger.lot_labels import maker_name

KIND: Final = "application/zip"
CONTENTS: Final = "contents.csv"
# All tables as of one moment, however long they take to read.
ONE_MOMENT: Final = "set transaction isolation level repeatable read"
MARK: Final = b"\xef\xbb\xbf"


def of_one_moment() -> None:
    """Let the transaction see all as of its first question, which this must come before."""
    with connection.cursor() as cursor:
        cursor.execute(ONE_MOMENT)


def packed(actor: Actor) -> bytes:
    """The file. Raises what `formulas.whole_copy` raises."""
    file, contents = io.BytesIO(), []
    with ZipFile(file, "w", ZIP_DEFLATED) as together:
        for table in whole_copy(actor):
            name = f"{table.name}.csv"
            rows = _write(together, name, table.columns, table.rows)
            contents.append((name, rows, table.about))
        _write(together, CONTENTS, ("file", "rows", "about"), iter(contents))
    return file.getvalue()


def headers(actor: Actor, now: datetime) -> dict[str, str]:
    """The file is kept under a name that says whose it is, and of which day."""
    name = f"{slugify(maker_name(actor), allow_unicode=True)}-{day_of(actor, now)}.zip"
    return {"Content-Disposition": content_disposition_header(True, name) or ""}


def _write(
    together: ZipFile, name: str, columns: Sequence[str], rows: Iterator[Sequence[Any]]
) -> int:
    """One table, row by row; how many rows it has."""
    count = 0
    with together.open(name, "w", force_zip64=True) as entry:
        # Spreadsheets need the mark to see UTF-8.
        entry.write(MARK)
        with io.TextIOWrapper(entry, encoding="utf-8", newline="") as written:
            writer = csv.writer(written)
            writer.writerow(columns)
            for row in rows:
                writer.writerow(map(_cell, row))
                count += 1
    return count


def _cell(value: Any) -> str | int | Decimal:
    """A value as it is kept; a text is never a formula to whoever opens the file."""
    match value:
        case None:
            return ""
        case bool():
            return "true" if value else "false"
        case int():
            return value
        case Decimal():
            return f"{value:f}"
        case datetime() | date():
            return value.isoformat()
        case UUID():
            return str(value)
        case str():
            return escaped(value)
        case memoryview() | bytes():
            return bytes(value).hex()
        case _:
            return escaped(json.dumps(value, ensure_ascii=False, default=str))
