"""What must be true of the database before anything is served from it."""

import sys
import time
from collections.abc import Sequence
from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error, Tags, register
from django.db import OperationalError, connections

# A process that starts while the database starts again waits for it so long.
PATIENCE_S = 20

ROLE_SQL = """
    select current_user::text, rolsuper, rolbypassrls, rolcreaterole,
           exists (select from pg_database
                   where datname = current_database() and pg_has_role(datdba, 'member')),
           exists (select from pg_class
                   where relnamespace = 'public'::regnamespace and pg_has_role(relowner, 'member'))
    from pg_roles where rolname = current_user
"""


@register(Tags.database)
def role_is_walled(databases: Sequence[str] | None = None, **kwargs: Any) -> list[CheckMessage]:
    """The role must be one that row-level security binds.

    A superuser, and a role with BYPASSRLS, see through every wall; an owner can take them down.
    A command that runs as the owner, to migrate, is not asked.
    """
    found: list[CheckMessage] = []
    for alias in () if settings.AS_OWNER else databases or ():
        with connections[alias].cursor() as cursor:
            cursor.execute(ROLE_SQL)
            role, superuser, bypasses, makes_roles, owns_database, owns_tables = cursor.fetchone()
        faults = {
            "is a superuser": superuser,
            "bypasses row-level security": bypasses,
            "may make roles": makes_roles,
            "is or may become the owner of the database": owns_database,
            "is or may become the owner of its tables": owns_tables,
        }
        found += [
            Error(
                f"The database role {role!r} {fault}, so the walls between makers do not hold.",
                hint="Give DATABASE_URL a role made as deploy/roles.sql makes 'stillroom'.",
                id="stillroom.E001",
            )
            for fault, true in faults.items()
            if true
        ]
    return found


def refuse_open_walls() -> None:
    """End a process that is to serve or to work, but as a role that sees through the walls.

    For each at its start, however it was started: `deploy/up` has asked already, but other
    supervisors have not. Raises SystemExit, and OperationalError when no database answers.
    """
    end = time.monotonic() + PATIENCE_S
    while True:
        try:
            found = role_is_walled(["default"])
            break
        except OperationalError:
            if time.monotonic() > end:
                raise
            time.sleep(0.5)
    # What comes next may be another thread or a fork, which has a connection of its own.
    connections.close_all()
    if found:
        sys.exit("\n".join(str(fault.msg) for fault in found))
