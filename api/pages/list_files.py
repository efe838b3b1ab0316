"""What is wrong with a list, as a file."""

from collections.abc import Iterable

from django.utils.translation import gettext as said

from api.list_findings import Wrong
from api.pages import tables
from api.pages.reader import Reader


def wrong_cells(reader: Reader, rows: Iterable[Wrong]) -> tables.Table:
    """What is wrong, as far as the page shows it."""
    columns = [said("Row"), said("Cell"), said("Column"), said("Stands there"), said("What to do")]
    cells = ((one.row, one.cell, one.column, one.value, reader.say(one.detail)) for one in rows)
    return tables.Table("what-is-wrong", columns, cells)
