#!/usr/bin/env python3
"""Django's commands, against the server that `deploy/up` is running."""

import os
import sys
from pathlib import Path


def enter_venv() -> None:
    """Go on in the environment that `deploy/up` made, when started by another Python."""
    venv = Path(__file__).resolve().parent / ".venv"
    python = venv / "bin" / "python"
    if python.exists() and Path(sys.prefix).resolve() != venv.resolve():
        os.execv(python, [str(python), *sys.argv])  # noqa: S606 - our own interpreter


def main() -> None:
    """Run one command."""
    enter_venv()
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
    if sys.argv[1:2] == ["migrate"]:
        # Only the owner of the tables may change them.
        os.environ.setdefault("STILLROOM_AS_OWNER", "1")

    from django.core.management import execute_from_command_line
    from django.db import OperationalError

    import deploy.checks  # noqa: F401 - registers the check of the database's role

    try:
        execute_from_command_line(sys.argv)
    except OperationalError as error:
        sys.exit(f"The database does not answer; is deploy/up running?\n{error}")


if __name__ == "__main__":
    main()
