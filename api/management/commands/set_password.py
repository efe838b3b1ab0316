"""Set a person's password."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from api.signing import set_password
from ledger.errors import Refusal
from ledger.management.people import password_of


class Command(BaseCommand):
    requires_system_checks: list[str] = []  # noqa: RUF012 - as Django declares it
    help = "Set a person's password, and sign the person out everywhere."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("person", metavar="USER")
        parser.add_argument(
            "--password-env",
            required=True,
            metavar="VAR",
            help="the environment variable with the new password",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            ended = set_password(options["person"], password_of(options) or "")
        except Refusal as refusal:
            raise CommandError(refusal.detail) from refusal
        self.stdout.write(f"{options['person']}: password set, {ended} tokens ended")
