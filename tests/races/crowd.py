"""Many threads at once, and functions of the database rewritten for as long as a control lasts."""

import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TypeVar

import psycopg
from django.db import connection

from deploy.embedded import Server

Result = TypeVar("Result")


def all_at_once(works: Sequence[Callable[[], Result]]) -> list[Result | Exception]:
    """What each work gave or raised; each has a thread and a connection, and all start at once."""
    results: list[Result | Exception] = [TimeoutError("still at work")] * len(works)
    barrier = threading.Barrier(len(works))

    def run(place: int) -> None:
        try:
            # A connection first, so that what follows is a race and not a queue at the door.
            connection.ensure_connection()
            barrier.wait(20)
            results[place] = works[place]()
        except Exception as error:
            results[place] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=(place,)) for place in range(len(works))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(90)
    return results


@contextmanager
def rewritten(database: Server, function: str, change: dict[str, str]) -> Iterator[None]:
    """A function of the database with some of its text exchanged; as it was afterwards."""
    with psycopg.connect(database.url_admin, autocommit=True) as owner:
        row = owner.execute("select pg_get_functiondef(%s::regproc)", [function]).fetchone()
        assert row is not None
        original: str = row[0]
        text = original
        for old, new in change.items():
            assert old in text, f"{function} does not say {old!r}"
            text = text.replace(old, new)
        owner.execute(text)
        try:
            yield
        finally:
            owner.execute(original)
