"""Let a person sign in, or not any more."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from api.signing import set_active
from ledger.errors import Refusal


class Command(BaseCommand):
    requires_system_checks: list[str] = []  # noqa: RUF012 - as Django declares it
    help = "Let a person sign in (--yes), or not any more (--no), which signs it out everywhere."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("person", metavar="USER")
        choice = parser.add_mutually_exclusive_group(required=True)
        choice.add_argument("--yes", dest="active", action="store_true")
        choice.add_argument("--no", dest="active", action="store_false")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            ended = set_active(options["person"], active=options["active"])
        except Refusal as refusal:
            raise CommandError(refusal.detail) from refusal
        state = "active" if options["active"] else "not active"
        self.stdout.write(f"{options['person']}: {state}, {ended} tokens ended")
