"""Give a person a role in a maker, another role, or none."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction

from ledger.errors import Refusal
from ledger.makers import coop_named, person_named, set_role
from ledger.management.people import add_person, password_of
from ledger.models import Membership


class Command(BaseCommand):
    requires_system_checks: list[str] = []  # noqa: RUF012 - as Django declares it
    help = "Give a person a role in a maker; made if new. --role none takes it away."

    def add_arguments(self, parser: CommandParser) -> None:
        roles = [role.value for role in Membership.Role if role != Membership.Role.COORDINATOR]
        parser.add_argument("--coop", required=True, help="the co-op's slug")
        parser.add_argument("--maker", required=True, help='by name, such as "North Bench"')
        parser.add_argument("--role", required=True, choices=[*roles, "none"])
        add_person(parser, "--person", often_known=True)

    def handle(self, *args: Any, **options: Any) -> None:
        role = None if options["role"] == "none" else Membership.Role(options["role"])
        try:
            with transaction.atomic(durable=True):
                coop = coop_named(options["coop"])
                person = person_named(
                    options["person"], password=password_of(options), email=options["email"]
                )
                set_role(coop=coop, maker=options["maker"], person=person, role=role)
        except Refusal as refusal:
            raise CommandError(refusal.detail) from refusal
        self.stdout.write(f"{options['person']}: {options['role']}")
