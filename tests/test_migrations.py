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


BEFORE = ("ledger", "0125_sealed_by_key")
MATERIAL = """
insert into ledger_material (id, coop_id, name, inci_name, cas_number, measured_by, cost_class,
  cost_formula, cost_source, stocked, density_entered, declared_as, function, cautions,
  certificate_category, version, created_at)
select gen_random_uuid(), gen_random_uuid(), written, '', '', 'mass', 'material',
  'average', '', true, '', 'ingredient', written, '{}', '', 1, now()
  from unnest(%s::text[]) written
"""


def test_what_only_sql_could_have_written_stops_no_upgrade(elsewhere: embedded.Server) -> None:
    """No request could give a material a function that is not known; a script might have."""
    migrate(elsewhere, *BEFORE)
    written = ["", "solvent", " Surfactant", "cleans well"]
    with psycopg.connect(elsewhere.url_admin, autocommit=True) as admin:
        # Of no co-op: what it belongs to is not looked at here.
        admin.execute("set session_replication_role = replica")
        admin.execute(MATERIAL, [written])
    migrate(elsewhere)
    with psycopg.connect(elsewhere.url_admin, autocommit=True) as admin:
        rows = admin.execute("select name, function, version from ledger_material").fetchall()
        forced = admin.execute(
            "select relforcerowsecurity from pg_class where oid = 'ledger_material'::regclass"
        ).fetchone()
        with pytest.raises(psycopg.errors.CheckViolation, match="material_function_known"):
            admin.execute("update ledger_material set function = 'cleans well'")
    assert {name: tuple(found) for name, *found in rows} == {
        "": ("", 1),
        "solvent": ("solvent", 1),
        " Surfactant": ("surfactant", 2),
        "cleans well": ("other", 2),
    }
    assert forced == (True,), "the walls stand again"


BEFORE_OPENINGS_BY_DRAWS = ("ledger", "0128_lot_openings")
ONCE_OPEN = """
insert into ledger_material (id, coop_id, name, inci_name, cas_number, measured_by, cost_class,
  cost_formula, cost_source, stocked, density_entered, declared_as, function, cautions,
  certificate_category, version, created_at, use_within_days)
select gen_random_uuid(), gen_random_uuid(), name, '', '', measured_by, 'material',
  'average', '', stocked, '', 'ingredient', '', '{}', '', 1, now(), 30
  from (values ('oil', 'mass', true), ('jar', 'count', true), ('water', 'mass', false))
    m(name, measured_by, stocked)
"""


def test_pieces_that_had_days_after_opening_lose_them(elsewhere: embedded.Server) -> None:
    migrate(elsewhere, *BEFORE_OPENINGS_BY_DRAWS)
    with psycopg.connect(elsewhere.url_admin, autocommit=True) as admin:
        admin.execute("set session_replication_role = replica")
        admin.execute(ONCE_OPEN)
    migrate(elsewhere)
    with psycopg.connect(elsewhere.url_admin, autocommit=True) as admin:
        rows = admin.execute(
            "select name, use_within_days, version from ledger_material order by name"
        ).fetchall()
        with pytest.raises(psycopg.errors.CheckViolation, match="days_once_open"):
            admin.execute("update ledger_material set use_within_days = 30 where name = 'jar'")
    assert rows == [("jar", None, 2), ("oil", 30, 1), ("water", None, 2)]
