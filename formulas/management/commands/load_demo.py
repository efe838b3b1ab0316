"""Load the demo co-op."""

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
            loading.load(now=timezone.now())
        if people.are_there():
            for name in people.PEOPLE:
                self.stdout.write(f"demo sign-in: {name} / {people.PASSWORD}")
