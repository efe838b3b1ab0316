"""Prove that what is kept equals what was posted."""

import sys
from typing import Any

from django.core.management.base import BaseCommand

from ledger.verifying import verify_all


class Command(BaseCommand):
    requires_system_checks: list[str] = []  # noqa: RUF012 - as Django declares it
    help = "Verify every co-op: exit 0 and a line of counts, or exit 1 and each disagreement."

    def handle(self, *args: Any, **options: Any) -> None:
        found = verify_all()
        if not found.disagreements:
            self.stdout.write(found.counted())
            return
        for disagreement in found.disagreements:
            self.stdout.write(str(disagreement))
        sys.exit(1)
