"""Statements that are sent with every request or entry.

PostgreSQL reads and plans such a statement once on each connection; after that only its name and
the values travel. Everything else goes Django's way, which writes the values into the text.
"""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

import psycopg
from django.db import connection, transaction
from django.db.backends.utils import CursorWrapper


def run(statement: str, values: Sequence[Any] | Mapping[str, Any]) -> CursorWrapper:
    """Run a statement, prepared unless the settings forbid it, and return its cursor.

    Its text must be one of a few, with all that varies among the values. Raises what Django's own
    cursors raise.
    """
    connection.ensure_connection()
    cursor: Any = psycopg.Cursor(connection.connection)
    wrap = connection.make_debug_cursor if connection.queries_logged else connection.make_cursor
    wrapped = wrap(cursor)
    wrapped.execute(statement, values)
    return wrapped


@contextmanager
def unhurried() -> Iterator[None]:
    """One durable transaction whose statements may take as long as they need.

    For rounds over all that there is, which nobody waits for; what serves a request may not.
    """
    with transaction.atomic(durable=True):
        with connection.cursor() as cursor:
            cursor.execute("set local statement_timeout = 0")
        yield
