"""What a start needs of the database, in one process: migrate, check the walls, load the demo."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager

import django
from django.conf import settings
from django.core.checks import Tags
from django.core.management import call_command
from django.core.management.base import SystemCheckError
from django.db import OperationalError, connection
from django.db.migrations.executor import MigrationExecutor


@contextmanager
def as_owner() -> Iterator[None]:
    """The default connection, as the role that owns the tables."""
    usual = dict(connection.settings_dict)
    connection.close()
    connection.settings_dict.update(
        {
            name: settings.DATABASE_OWNER[name]
            for name in ("USER", "PASSWORD", "HOST", "PORT", "OPTIONS")
        }
    )
    try:
        yield
    finally:
        connection.close()
        connection.settings_dict.update(usual)


def migrate() -> None:
    """Apply the migrations that are missing; one look when none is."""
    with as_owner():
        executor = MigrationExecutor(connection)
        if executor.migration_plan(executor.loader.graph.leaf_nodes()):
            call_command("migrate", verbosity=0, interactive=False, skip_checks=True)


def main() -> int:
    """Migrate, refuse a role that sees through the walls, and load the demo if wanted."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
    django.setup()
    import deploy.checks  # noqa: F401 - registers the check; wants a configured Django

    try:
        migrate()
        # What else may be wrong of the code is asked by its tests, and would be asked here again
        # each time that somebody waits for the server.
        call_command("check", tags=[Tags.database], databases=["default"], stdout=sys.stderr)
    except (OperationalError, SystemCheckError) as error:
        print(error, file=sys.stderr)
        return 1
    if os.environ.get("STILLROOM_DEMO") != "0":
        call_command("load_demo")
    return 0


if __name__ == "__main__":
    sys.exit(main())
