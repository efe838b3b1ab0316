"""Small sheets, as people and programs make them."""

import io
import zipfile
from collections.abc import Sequence
from typing import Any

import openpyxl


def csv_text(*lines: Sequence[str], delimiter: str = ",") -> bytes:
    """A CSV of lines whose cells hold no delimiter."""
    return "\r\n".join(delimiter.join(line) for line in lines).encode()


def xlsx(*rows: Sequence[Any], sheets: int = 1) -> bytes:
    """A workbook with the rows in its first sheet."""
    book = openpyxl.Workbook()
    sheet: Any = book.active
    for row in rows:
        sheet.append(list(row))
    for _ in range(sheets - 1):
        book.create_sheet()
    written = io.BytesIO()
    book.save(written)
    return written.getvalue()


def changed(content: bytes, name: str, part: bytes) -> bytes:
    """A workbook with another content of one of its parts."""
    written = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as before,
        zipfile.ZipFile(written, "w", zipfile.ZIP_DEFLATED) as after,
    ):
        for one in before.namelist():
            after.writestr(one, part if one == name else before.read(one))
    return written.getvalue()
