"""Load the demo co-op."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from formulas.demo import people
from ledger.makers import all_coops


class Command(BaseCommand):
    requires_system_checks: list[str] = []  # noqa: RUF012 - as Django declares it
    help = "Load the demo co-op, unless there is a co-op already, and say how to sign in to it."

    def handle(self, *args: Any, **options: Any) -> None:
        if not all_coops():
            # Only the first start of a server needs all that this brings with it.
            from formulas.demo import loading

            self.stdout.write("Loading the demo co-op, a quarter of a year of work …")
            self.stdout.flush()
            with _solver_unheard():
                loading.load(now=timezone.now())
        if people.are_there():
            for name in people.PEOPLE:
                self.stdout.write(f"demo sign-in: {name} / {people.PASSWORD}")


@contextmanager
def _solver_unheard() -> Iterator[None]:
    """The solver says its name on standard output when it is first used, whatever it is told."""
    kept = os.dup(1)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    try:
        yield
    finally:
        os.dup2(kept, 1)
        os.close(nowhere)
        os.close(kept)
