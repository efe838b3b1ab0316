"""Open a co-op."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction

from ledger.errors import Refusal
from ledger.makers import open_coop, person_named, short_name_of
from ledger.management.people import add_person, password_of


class Command(BaseCommand):
    requires_system_checks: list[str] = []  # noqa: RUF012 - as Django declares it
    help = "Open a co-op with its coordinator; prints the co-op's slug alone on the last line."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--name", required=True, help='such as "Harbour Makers"')
        parser.add_argument("--currency", required=True, help="an ISO 4217 code such as USD")
        parser.add_argument("--time-zone", required=True, help="such as UTC or Europe/Paris")
        parser.add_argument("--short-name", help="its name in commands; else made of --name")
        add_person(parser, "--coordinator")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            with transaction.atomic(durable=True):
                coordinator = person_named(
                    options["coordinator"], password=password_of(options), email=options["email"]
                )
                coop = open_coop(
                    name=options["name"],
                    currency=options["currency"],
                    time_zone=options["time_zone"],
                    coordinator=coordinator,
                    short_name=options["short_name"] or short_name_of(options["name"]),
                )
        except Refusal as refusal:
            raise CommandError(refusal.detail) from refusal
        self.stdout.write(coop.slug)
