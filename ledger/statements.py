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
from psycopg.pq import ExecStatus, TransactionStatus

DONE = (ExecStatus.COMMAND_OK, ExecStatus.TUPLES_OK)


def run(statement: str, values: Sequence[Any] | Mapping[str, Any]) -> CursorWrapper:
    """Run a statement, prepared unless the settings forbid it, and return its cursor.

    Its text must be one of a few, with all that varies among the values. Raises what Django's own
    cursors raise.
    """
    connection.ensure_connection()
    begin()
    cursor: Any = psycopg.Cursor(connection.connection)
    wrap = connection.make_debug_cursor if connection.queries_logged else connection.make_cursor
    wrapped = wrap(cursor)
    wrapped.execute(statement, values)
    return wrapped


def begin(first: str = "") -> bool:
    """Begin the transaction that Django has announced, and send a first statement along with it.

    The adapter would begin by itself, in a round trip of its own and five times as slowly. False if
    a transaction is open already, or if it could not begin: what is run next then tells why.
    """
    wire = connection.connection
    if wire.autocommit or wire.pgconn.transaction_status != TransactionStatus.IDLE:
        return False
    return wire.pgconn.exec_(f"begin; {first}".encode()).status in DONE


@contextmanager
def unhurried() -> Iterator[None]:
    """One durable transaction whose statements may take as long as they need.

    For rounds over all that there is, which nobody waits for; what serves a request may not.
    """
    with transaction.atomic(durable=True):
        with connection.cursor() as cursor:
            cursor.execute("set local statement_timeout = 0")
        yield
