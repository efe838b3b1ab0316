"""The migrations lead down and up again, and leave nothing behind.

That they lead up has been seen by whoever made the database that all tests copy.
"""

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest

from deploy import embedded
from tests.migrated import migrated
from tests.running import ROOT

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
def elsewhere(tmp_path: Path) -> Iterator[embedded.Server]:
    """A migrated database of its own."""
    server = embedded.start_postgres(migrated(tmp_path / "server"))
    yield server
    server.process.stop()


def migrate(server: embedded.Server, *words: str) -> None:
    """Run `manage.py migrate` as the owner of that database."""
    environment = os.environ | {
        "DATABASE_URL": server.url_app,
        "DATABASE_OWNER_URL": server.url_owner,
        "STILLROOM_AS_OWNER": "1",
    }
    command = [sys.executable, str(ROOT / "manage.py"), "migrate", "--verbosity=0", *words]
    ran = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stderr[-2000:]


def test_down_and_up_again(elsewhere: embedded.Server) -> None:
    # With it all that builds on it.
    migrate(elsewhere, "ledger", "zero")
    with psycopg.connect(elsewhere.url_owner) as owner:
        assert [row[0] for row in owner.execute(LEFT)] == []
    migrate(elsewhere)
