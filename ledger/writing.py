"""Rows of several tables, written in one round trip.

A plan is a batch with its lines, lots and promises. Written table by table it costs a round trip
for each, which takes longer than the writing.
"""

import json
from collections.abc import Iterable, Sequence
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from django.db import DEFAULT_DB_ALIAS, connection, models

from ledger.statements import run


def write_together(*tables: Iterable[models.Model]) -> None:
    """Insert the rows, each argument those of one table; an argument without rows is left out.

    What refers to what is checked at the end of the statement, whatever the order. The rows then
    hold their decimals at the scale of their columns, as if they had been read. Raises what Django
    raises for a row that is refused, and then nothing is written.
    """
    written = [rows for table in tables if (rows := list(table))]
    if not written:
        return
    inserts = [_insert(type(rows[0])) for rows in written]
    *first, last = inserts
    before = ", ".join(f"t{n} as ({insert})" for n, insert in enumerate(first))
    run(f"with {before} {last}" if before else last, [_as_json(rows) for rows in written])
    for rows in written:
        _mark_written(rows)


def _mark_written(rows: Sequence[models.Model]) -> None:
    decimals = [one for one in _fields(type(rows[0])) if isinstance(one, models.DecimalField)]
    for row in rows:
        row._state.adding, row._state.db = False, DEFAULT_DB_ALIAS
        for field in decimals:
            value = getattr(row, field.attname)
            if value is not None:
                # PostgreSQL rounds half away from zero, and so does this.
                step = Decimal(1).scaleb(-field.decimal_places)
                setattr(row, field.attname, Decimal(value).quantize(step, ROUND_HALF_UP))


def _insert(model: type[models.Model]) -> str:
    table = model._meta.db_table
    columns = ", ".join(str(field.column) for field in _fields(model))
    # The names are the models' own, and the values travel beside the text.
    return (
        f"insert into {table} ({columns})"  # noqa: S608
        f" select {columns} from jsonb_populate_recordset(null::{table}, %s::jsonb)"
    )


def _as_json(rows: Sequence[models.Model]) -> str:
    """The rows by column; PostgreSQL reads each value as its column's type, to the digit."""
    fields = _fields(type(rows[0]))
    return json.dumps([{f.column: _value(f, row) for f in fields} for row in rows])


def _value(field: Any, row: models.Model) -> str | int | bool | None:
    value = field.get_db_prep_save(field.pre_save(row, True), connection)
    return value if value is None or isinstance(value, int) else str(value)


def _fields(model: type[models.Model]) -> "list[models.Field[Any, Any]]":
    return [field for field in model._meta.local_concrete_fields if not field.generated]
