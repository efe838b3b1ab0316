"""The walls in the database: every table, key, view and function is looked at in the catalogue.

What a later change adds is found here without anybody having to think of it.
"""

from collections.abc import Iterator
from typing import Any

import psycopg
import pytest
from django.db import DatabaseError, connection

from deploy.embedded import Server
from ledger.access import acting_as
from ledger.models import Custody, Reservation
from tests.ledger.bench import open_bench
from tests.ledger.books import Books, raw, refused_by

pytestmark = pytest.mark.usefixtures("database")

# Of no co-op: people and their groups, sign-in attempts, what Django keeps of itself.
OUTSIDE = ("auth_", "django_", "axes_")
# The co-op's own row is the wall.
THE_COOP = "ledger_coop"
OWN_COOP = "(NULLIF(current_setting('app.coop'::text, true), ''::text))::uuid"
WRITTEN_BY_THE_LEDGER_ALONE = {
    "ledger_entry",
    "ledger_posting",
    "ledger_layerposting",
    "ledger_holding",
    "ledger_pool",
    "ledger_layer",
    "ledger_onorder",
    "ledger_sweep",
}
ONLY_ADDED = {"ledger_decision", "ledger_receipt", "ledger_receiptline", "ledger_receiptcharge"}


@pytest.fixture
def catalogue(database: Server) -> Iterator["psycopg.Cursor[Any]"]:
    """The superuser's view of what there is."""
    with raw(database, "") as cursor:
        yield cursor


def ask(catalogue: "psycopg.Cursor[Any]", sql: str, *values: Any) -> list[tuple[Any, ...]]:
    return catalogue.execute(sql, values).fetchall()


def walled(catalogue: "psycopg.Cursor[Any]") -> list[str]:
    """Every table of ours that must have its wall."""
    rows = ask(
        catalogue,
        "select relname from pg_class where relnamespace = 'public'::regnamespace"
        " and relkind in ('r', 'p') order by relname",
    )
    return [name for (name,) in rows if not name.startswith(OUTSIDE)]


def columns(catalogue: "psycopg.Cursor[Any]", table: str, numbers: list[int]) -> list[str]:
    rows = ask(
        catalogue,
        "select attname from unnest(%s::int[]) with ordinality n(number, place)"
        " join pg_attribute on attrelid = %s::regclass and attnum = number order by place",
        numbers,
        table,
    )
    return [name for (name,) in rows]


def test_there_are_tables_to_look_at(catalogue: "psycopg.Cursor[Any]") -> None:
    tables = set(walled(catalogue))
    assert WRITTEN_BY_THE_LEDGER_ALONE | ONLY_ADDED | {THE_COOP, "formulas_batch"} <= tables
    assert len(tables) > 30


def test_every_table_has_a_co_op_and_forced_row_security(
    catalogue: "psycopg.Cursor[Any]",
) -> None:
    bare = []
    for table in walled(catalogue):
        ((enabled, forced),) = ask(
            catalogue,
            "select relrowsecurity, relforcerowsecurity from pg_class where oid = %s::regclass",
            table,
        )
        has_coop = ask(
            catalogue,
            "select attnotnull from pg_attribute where attrelid = %s::regclass"
            " and attname = 'coop_id'",
            table,
        )
        if not (enabled and forced) or (table != THE_COOP and has_coop != [(True,)]):
            bare.append(table)
    assert bare == []


def test_every_policy_of_the_application_reads_its_own_walls(
    catalogue: "psycopg.Cursor[Any]",
) -> None:
    """For all commands and for what is written as well; a private table by its maker, too."""
    wrong = []
    for table in walled(catalogue):
        policies = ask(
            catalogue,
            "select cmd, permissive, qual, coalesce(with_check, qual) from pg_policies"
            " where schemaname = 'public' and tablename = %s and 'stillroom' = any (roles)"
            " order by cmd",
            table,
        )
        if table == "ledger_maker":
            # Makers know of each other, and so may the application read of them, no more.
            assert policies.pop()[0] == "SELECT"
        own = ("id = " if table == THE_COOP else "coop_id = ") + OWN_COOP
        if [policy[:2] for policy in policies] != [("ALL", "PERMISSIVE")] or any(
            own not in condition for condition in policies[0][2:]
        ):
            wrong.append((table, policies))
    assert wrong == []


def test_no_policy_is_for_everybody(catalogue: "psycopg.Cursor[Any]") -> None:
    rows = ask(
        catalogue,
        "select tablename, policyname from pg_policies"
        " where not roles <@ array['stillroom', 'stillroom_ledger']::name[]",
    )
    assert rows == []


def test_what_is_a_maker_s_own_is_walled_by_maker(catalogue: "psycopg.Cursor[Any]") -> None:
    """A table with a maker shows other makers' rows only where it is said here why."""
    shared = {"api_token": "of a person in the co-op", "ledger_maker": "who else is in the co-op"}
    open_tables = []
    for table in walled(catalogue):
        has_maker = ask(
            catalogue,
            "select from pg_attribute where attrelid = %s::regclass and attname = 'maker_id'",
            table,
        )
        ((condition,),) = ask(
            catalogue,
            "select qual from pg_policies where tablename = %s and policyname = 'wall'",
            table,
        )
        if has_maker and "app.maker" not in condition and table not in shared:
            open_tables.append(table)
    assert open_tables == []


def test_every_primary_key_starts_with_the_co_op(catalogue: "psycopg.Cursor[Any]") -> None:
    keys = {
        table: columns(catalogue, table, numbers)
        for table, numbers in ask(
            catalogue,
            "select conrelid::regclass::text, conkey::int[] from pg_constraint"
            " where contype = 'p' and connamespace = 'public'::regnamespace",
        )
    }
    assert [
        table
        for table in walled(catalogue)
        if table != THE_COOP and keys.get(table, [""])[0] != "coop_id"
    ] == []


def test_no_foreign_key_can_leave_its_co_op(catalogue: "psycopg.Cursor[Any]") -> None:
    """From one walled table to another, both sides of the key begin with the co-op."""
    tables = set(walled(catalogue))
    rows = ask(
        catalogue,
        "select conname, conrelid::regclass::text, conkey::int[], confrelid::regclass::text,"
        " confkey::int[] from pg_constraint"
        " where contype = 'f' and connamespace = 'public'::regnamespace",
    )
    within = [row for row in rows if row[1] in tables and row[3] in tables - {THE_COOP}]
    assert len(within) > 60
    loose = [
        name
        for name, table, here, target, there in within
        if columns(catalogue, table, here)[0] != "coop_id"
        or columns(catalogue, target, there)[0] != "coop_id"
    ]
    assert loose == []


def test_every_reference_has_its_foreign_key(catalogue: "psycopg.Cursor[Any]") -> None:
    """Django writes none between our tables, so a forgotten one would go unseen."""
    rows = ask(
        catalogue,
        "select conrelid::regclass::text, conkey::int[] from pg_constraint where contype = 'f'",
    )
    covered = {(table, name) for table, keys in rows for name in columns(catalogue, table, keys)}
    references = ask(
        catalogue,
        "select attrelid::regclass::text, attname from pg_attribute join pg_class c"
        " on c.oid = attrelid where c.relkind = 'r' and relnamespace = 'public'::regnamespace"
        " and attnum > 0 and attname like '%%\\_id'"
        " and atttypid in ('uuid'::regtype, 'int'::regtype)",
    )
    tables = set(walled(catalogue))
    ours = {(table, name) for table, name in references if table in tables}
    assert len(ours) > 100
    assert ours - covered == set()


def test_no_view_looks_over_the_walls(catalogue: "psycopg.Cursor[Any]") -> None:
    rows = ask(
        catalogue,
        "select relname from pg_class where relnamespace = 'public'::regnamespace"
        " and (relkind = 'm' or relkind = 'v' and not coalesce(reloptions, '{}') @>"
        " array['security_invoker=true'])",
    )
    assert rows == []


def test_functions_with_rights_of_their_own_are_narrow(catalogue: "psycopg.Cursor[Any]") -> None:
    rows = ask(
        catalogue,
        "select p.oid::regprocedure::text, r.rolname, coalesce(p.proconfig, '{}'),"
        " has_function_privilege('public', p.oid, 'execute'),"
        " has_function_privilege('stillroom', p.oid, 'execute')"
        " from pg_proc p join pg_roles r on r.oid = p.proowner"
        " where p.prosecdef and p.pronamespace <> 'pg_catalog'::regnamespace",
    )
    assert len(rows) > 8
    for name, owner, options, public, application in rows:
        assert owner == "stillroom_ledger", name
        assert "search_path=pg_catalog, public, pg_temp" in options, name
        assert (public, application) == (False, True), name


def test_the_roles_are_no_more_than_they_must_be(catalogue: "psycopg.Cursor[Any]") -> None:
    rows = ask(
        catalogue,
        "select rolname, rolsuper or rolbypassrls or rolcreaterole or rolcreatedb"
        " or rolreplication, rolcanlogin from pg_roles"
        " where rolname like 'stillroom%%' order by rolname",
    )
    assert rows == [
        ("stillroom", False, True),
        ("stillroom_ledger", False, False),
        ("stillroom_owner", False, True),
    ]
    assert ask(catalogue, "select from pg_auth_members where member = 'stillroom'::regrole") == []
    owned = ask(
        catalogue,
        "select relname from pg_class where relowner in"
        " ('stillroom'::regrole, 'stillroom_ledger'::regrole)",
    )
    assert owned == []
    create = "select has_schema_privilege('stillroom', 'public', 'create')"
    assert ask(catalogue, create) == [(False,)]


@pytest.mark.parametrize("privilege", ["insert", "update", "delete", "truncate"])
def test_the_application_may_not_write_the_ledger(
    catalogue: "psycopg.Cursor[Any]", privilege: str
) -> None:
    tables = set(WRITTEN_BY_THE_LEDGER_ALONE)
    if privilege != "insert":
        tables |= ONLY_ADDED
    if privilege == "truncate":
        # It empties a table past all row security.
        tables = set(walled(catalogue))
    allowed = [
        table
        for table in sorted(tables)
        if ask(catalogue, "select has_table_privilege('stillroom', %s, %s)", table, privilege)
        == [(True,)]
        or (
            privilege in ("insert", "update")
            and ask(
                catalogue, "select has_any_column_privilege('stillroom', %s, %s)", table, privilege
            )
            == [(True,)]
        )
    ]
    assert allowed == []


def filled() -> Books:
    books = Books()
    lot = books.lot("10", "10")
    batch = books.batch()
    books.take(lot, "1", batch, kind="draw")
    books.reserve(lot, "1", batch)
    books.choose("fifo")
    return books


def test_without_walls_there_is_nothing(catalogue: "psycopg.Cursor[Any]") -> None:
    """The application's role sees no row of any walled table before its walls are set."""
    filled()
    full = set()
    for table in walled(catalogue):
        if ask(catalogue, f"select exists (select from {table})") == [(True,)]:
            full.add(table)
        with connection.cursor() as cursor:
            cursor.execute(f"select count(*) from {table}")
            assert cursor.fetchone() == (0,), table
    alone = WRITTEN_BY_THE_LEDGER_ALONE - {"ledger_sweep", "ledger_onorder"}
    assert full >= alone | {THE_COOP, "ledger_lot"}


def test_within_walls_every_row_is_one_s_own(database: Server) -> None:
    books = filled()
    Books(bench=open_bench("Mill Bench", coop=books.bench.coop)).lot("3", "3")
    filled()
    coop, maker = str(books.bench.coop.id), str(books.bench.maker.id)
    shared = {"ledger_maker", "api_token"}
    seen = 0
    with raw(database, "stillroom", books) as cursor:
        for table in walled(cursor):
            for (row,) in ask(cursor, f"select to_jsonb(t) from {table} t"):
                seen += 1
                assert row["id" if table == THE_COOP else "coop_id"] == coop, table
                assert table in shared or row.get("maker_id") in (None, maker), table
    assert seen > 20


def test_another_co_op_s_lot_is_out_of_reach_of_every_key() -> None:
    """A single-column foreign key would let it through: keys are checked past row security."""
    books, stranger = Books(), Books()
    theirs = stranger.lot("10", "10")
    batch = books.batch()
    own = {"coop": books.bench.coop, "maker": books.bench.maker, "material": books.material}
    for write in (
        lambda: Custody.objects.create(lot=theirs, status="released", **own),
        lambda: Reservation.objects.create(lot=theirs, account_id=batch, quantity=1, **own),
        lambda: Reservation.objects.create(
            lot=theirs, account_id=batch, quantity=1, **{**own, "coop": stranger.bench.coop}
        ),
    ):
        with pytest.raises(DatabaseError) as refused, acting_as(books.actor):
            write()
        assert refused_by(refused.value) == "custody_of_own_lot" or isinstance(
            refused.value.__cause__,
            psycopg.errors.ForeignKeyViolation | psycopg.errors.InsufficientPrivilege,
        )


def test_another_maker_s_batch_is_out_of_reach_of_every_key() -> None:
    books = Books()
    neighbour = Books(bench=open_bench("Mill Bench", coop=books.bench.coop))
    theirs = neighbour.batch()
    lot = books.lot("10", "10")
    with pytest.raises(DatabaseError) as refused, acting_as(books.actor):
        Reservation.objects.create(
            coop=books.bench.coop,
            maker=books.bench.maker,
            account_id=theirs,
            lot=lot,
            material=books.material,
            quantity=1,
        )
    assert isinstance(refused.value.__cause__, psycopg.errors.ForeignKeyViolation)


def test_custody_of_anothers_lot_cannot_be_taken(database: Server) -> None:
    """The application may open lots for a maker, never help it to a lot that it does not have."""
    from tests.factories import open_workshop

    mine = open_workshop("North Bench")
    theirs = open_workshop("Mill Bench", coop=mine.coop)
    lot = theirs.receive(theirs.material("Cera Alba"), "1 kg", "14.00")
    with pytest.raises(DatabaseError) as refused, acting_as(mine.actor):
        Custody.objects.create(
            coop=mine.coop,
            maker_id=mine.actor.maker,
            lot_id=lot.id,
            material_id=lot.material_id,
            status="released",
        )
    assert refused_by(refused.value) == "custody_of_own_lot"
