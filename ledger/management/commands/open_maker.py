"""Open a maker in a co-op."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction

from ledger.errors import Refusal
from ledger.makers import coop_named, open_maker, person_named
from ledger.management.people import add_person, password_of


class Command(BaseCommand):
    requires_system_checks: list[str] = []  # noqa: RUF012 - as Django declares it
    help = "Open a maker in a co-op, with its owner; prints the maker's id alone on the last line."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--coop", required=True, help="the co-op's slug")
        parser.add_argument("--name", required=True, help='such as "North Bench"')
        add_person(parser, "--owner")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            with transaction.atomic(durable=True):
                coop = coop_named(options["coop"])
                owner = person_named(
                    options["owner"], password=password_of(options), email=options["email"]
                )
                maker = open_maker(coop=coop, name=options["name"], owner=owner)
        except Refusal as refusal:
            raise CommandError(refusal.detail) from refusal
        self.stdout.write(str(maker.id))
