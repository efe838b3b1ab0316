"""The migrations lead up and down again, and leave nothing behind."""

import os
import subprocess
import sys
from collections.abc import Iterator

import psycopg
import pytest

from deploy import embedded
from tests.conftest import HOME
from tests.running import ROOT

DATABASE = "stillroom_migrations"
LEFT = """
select p.oid::regprocedure::text from pg_proc p where p.pronamespace = 'public'::regnamespace
union all
select c.oid::regclass::text from pg_class c where c.relnamespace = 'public'::regnamespace
   and c.relname ~ '^(api|formulas|ledger)_'
union all
select t.oid::regtype::text from pg_type t where t.typnamespace = 'public'::regnamespace
   and t.typname ~ '^(api|formulas|ledger)_'
union all
select nspname::text from pg_namespace where nspname = 'walls'
"""


@pytest.fixture
def elsewhere(postgres: embedded.Server) -> Iterator[str]:
    """An empty database of its own, whose owner's address is returned."""
    embedded.make_roles(HOME, DATABASE)
    yield embedded.postgres_url(HOME, "stillroom_owner", DATABASE)
    with psycopg.connect(postgres.url_admin, autocommit=True) as admin:
        admin.execute(f"drop database {DATABASE} with (force)")


def migrate(owner_url: str, *words: str) -> None:
    """Run `manage.py migrate` as the owner of that database."""
    environment = os.environ | {
        "DATABASE_URL": embedded.postgres_url(HOME, "stillroom", DATABASE),
        "DATABASE_OWNER_URL": owner_url,
        "STILLROOM_AS_OWNER": "1",
    }
    command = [sys.executable, str(ROOT / "manage.py"), "migrate", "--verbosity=0", *words]
    ran = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stderr[-2000:]


def test_down_and_up_again(elsewhere: str) -> None:
    migrate(elsewhere)
    # With it all that builds on it.
    migrate(elsewhere, "ledger", "zero")
    with psycopg.connect(elsewhere) as owner:
        assert [row[0] for row in owner.execute(LEFT)] == []
    migrate(elsewhere)
