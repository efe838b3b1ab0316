"""What the commands that name a person share."""

import os
from typing import Any

from django.core.management.base import CommandError, CommandParser


def add_person(parser: CommandParser, option: str, *, often_known: bool = False) -> None:
    """The options that name a person, who is made if new; a password is for a new one only."""
    parser.add_argument(option, required=True, metavar="USER", help="made if new")
    parser.add_argument(
        "--password-env",
        required=not often_known,
        metavar="VAR",
        help="the environment variable with the password of a new person",
    )
    parser.add_argument("--email", default="", help="where a new person is sent alerts")


def password_of(options: dict[str, Any]) -> str | None:
    """The password, out of the environment: on a command line every user of the machine sees it.

    Raises CommandError when the variable is not set.
    """
    name = options["password_env"]
    if name is None:
        return None
    password = os.environ.get(name)
    if not password:
        raise CommandError(f"Set the environment variable {name} to the password.")
    return password
