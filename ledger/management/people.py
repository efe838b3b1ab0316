"""What the commands that name a person share."""

import os
from typing import Any

from django.core.management.base import CommandError, CommandParser


def add_person(parser: CommandParser, option: str) -> None:
    """The options that name a person, who is made if new."""
    parser.add_argument(option, required=True, metavar="USER", help="made if new")
    parser.add_argument(
        "--password-env",
        required=True,
        metavar="VAR",
        help="the environment variable with the password of a new person",
    )
    parser.add_argument("--email", default="", help="where a new person is sent alerts")


def password_of(options: dict[str, Any]) -> str:
    """The password, out of the environment: on a command line every user of the machine sees it.

    Raises CommandError when the variable is not set.
    """
    name = options["password_env"]
    password = os.environ.get(name)
    if not password:
        raise CommandError(f"Set the environment variable {name} to the password.")
    return password
