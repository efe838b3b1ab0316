"""Load the demo co-op."""

from typing import Any, ClassVar

from django.core.management.base import BaseCommand
from django.utils import timezone

from ledger.makers import all_coops


class Command(BaseCommand):
    requires_system_checks: ClassVar[list[str]] = []
    help = "Load the demo co-op, unless there is a co-op already, and say how to sign in to it."

    def handle(self, *args: Any, **options: Any) -> None:
        # Read only when asked for: every start of the server comes by here.
        from formulas.demo import loading

        if not all_coops():
            self.stdout.write("Loading the demo co-op, a quarter of a year of work …")
            self.stdout.flush()
            loading.load(now=timezone.now())
        if loading.loaded():
            for name in loading.PEOPLE:
                self.stdout.write(f"demo sign-in: {name} / {loading.PASSWORD}")
