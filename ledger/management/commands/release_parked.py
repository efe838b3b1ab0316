"""Try again what was given up."""

from typing import Any

from django.core.management.base import BaseCommand

from ledger import outbox


class Command(BaseCommand):
    requires_system_checks: list[str] = []  # noqa: RUF012 - as Django declares it
    help = "Make the work that failed too often due again; prints how much. /readyz counts it."

    def handle(self, *args: Any, **options: Any) -> None:
        self.stdout.write(f"{outbox.release_parked()} released")
