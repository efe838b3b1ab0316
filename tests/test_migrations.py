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


SOMEBODY = """
insert into auth_user (id, username, password, first_name, last_name, email, is_superuser, is_staff,
  is_active, date_joined)
values (1, 'willow', '', '', '', '', false, false, true, now())
"""
# A box of jars that is open as a whole, and oil that was open before it had days.
OPENED = """
with lot as (
  select *, gen_random_uuid() as coop_id, gen_random_uuid() as maker_id from (values
    (gen_random_uuid(), gen_random_uuid(), 'jar', 'count', null::int, 30),
    (gen_random_uuid(), gen_random_uuid(), 'oil', 'mass', 30, null::int))
    l(id, material_id, code, measured_by, has_days, had_days)
), coop as (
  insert into ledger_coop (id, name, slug, currency, time_zone, created_at)
  select coop_id, code, code, 'USD', 'UTC', now() from lot
), maker as (
  insert into ledger_maker (coop_id, id, name, mark, lots_numbered, batches_numbered,
    orders_numbered, created_at)
  select coop_id, maker_id, 'North Bench', 'NB', 1, 0, 0, now() from lot
), material as (
  insert into ledger_material (id, coop_id, name, inci_name, cas_number, measured_by, cost_class,
    cost_formula, cost_source, stocked, density_entered, declared_as, function, cautions,
    certificate_category, version, created_at, use_within_days)
  select material_id, coop_id, code, '', '', measured_by, 'material', 'average', '', true, '',
    'ingredient', '', '{}', '', 1, now(), has_days from lot
), lots as (
  insert into ledger_lot (coop_id, id, code, material_id, origin_id, supplier_lot, arrived_on,
    dates_note, density_entered, version, created_at)
  select coop_id, id, code, material_id, maker_id, '', '2025-05-06', '', '', 1, now() from lot
), holding as (
  insert into ledger_holding (coop_id, maker_id, account_id, lot_id, material_id, kind, quantity,
    value, last_on)
  select coop_id, maker_id, gen_random_uuid(), id, material_id, 'store', 10, 1, '2025-05-06'
    from lot
), custody as (
  insert into ledger_custody (coop_id, maker_id, lot_id, material_id, status, since, opened_on,
    use_by)
  select coop_id, maker_id, id, material_id, 'released', now(), '2025-05-07',
    date '2025-05-07' + had_days from lot
)
insert into ledger_lotopening (coop_id, maker_id, id, lot_id, opened_on, use_within_days, reason,
  person_id, recorded_at)
select coop_id, maker_id, uuidv7(), id, '2025-05-07', had_days, '', 1, now() from lot
"""


def test_a_box_that_is_open_as_a_whole_is_closed_and_what_is_open_has_its_days(
    elsewhere: embedded.Server,
) -> None:
    migrate(elsewhere, *BEFORE_OPENINGS_BY_DRAWS)
    with psycopg.connect(elsewhere.url_admin, autocommit=True) as admin:
        admin.execute("set session_replication_role = replica")
        admin.execute(SOMEBODY)
        admin.execute(OPENED)
    migrate(elsewhere)
    with psycopg.connect(elsewhere.url_admin, autocommit=True) as admin:
        rows = admin.execute(
            "select l.code, c.opened_on::text, c.use_by::text, o.opened_on::text, o.reason,"
            " o.person_id from ledger_custody c"
            " join ledger_lot l on l.id = c.lot_id join ledger_lotopening o on o.lot_id = l.id"
            " order by l.code, o.id desc"
        ).fetchall()
        wrong = []
        for (coop,) in admin.execute("select id::text from ledger_coop").fetchall():
            admin.execute("select set_config('app.coop', %s, false)", [coop])
            told = admin.execute("select rule from ledger_disagreements()").fetchall()
            wrong += [rule for (rule,) in told if rule.startswith("a lot is open")]
    assert rows == [
        ("jar", None, None, None, "Each piece is opened by itself.", None),
        ("jar", None, None, "2025-05-07", "", 1),
        ("oil", "2025-05-07", "2025-06-06", "2025-05-07", "", None),
        ("oil", "2025-05-07", "2025-06-06", "2025-05-07", "", 1),
    ]
    assert wrong == []
    # Before that, somebody had said each opening.
    migrate(elsewhere, "ledger", "0129_openings_by_draws")
    with psycopg.connect(elsewhere.url_admin, autocommit=True) as admin:
        said_by = admin.execute("select person_id from ledger_lotopening").fetchall()
        with pytest.raises(psycopg.errors.CheckViolation, match="only added"):
            admin.execute("update ledger_lotopening set person_id = 1")
    assert said_by == [(1,)] * 4
