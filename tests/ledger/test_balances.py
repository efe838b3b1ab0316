"""What a maker has, may use, has promised, and where it stands."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import psycopg
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from deploy.embedded import Server
from ledger import balances, roles
from ledger.access import acting_as
from ledger.alerts import set_watch
from ledger.errors import Forbidden
from ledger.models import Material
from ledger.quantities import parse_quantity
from tests.ledger.bench import Bench, now, open_bench

pytestmark = pytest.mark.usefixtures("database")
D = Decimal


def one(bench: Bench, material: Material, moment: datetime | None = None) -> balances.Stock:
    with acting_as(bench.actor):
        (row,) = balances.stock(bench.actor, now=moment or now(), materials=[material.id])
    return row


def test_every_figure_of_a_material() -> None:
    bench = open_bench()
    material = bench.material()
    free = bench.lot(material, "21500", value="215")
    bench.lot(material, "4500", status="quarantine", value="40.5")
    bench.plan(material, {free: "3000"}, short="100")
    with acting_as(bench.actor):
        set_watch(bench.actor, material=material.id, reorder_point=parse_quantity("22.82 kg"))
    assert one(bench, material) == balances.Stock(
        material_id=material.id,
        name=material.name,
        counted=False,
        on_hand=D(26000),
        usable=D(21500),
        reserved=D(3000),
        available=D(18500),
        on_order=D(0),
        position=D(18400),
        value=D("255.5"),
        reorder_point=D(22820),
        low=True,
    )


def test_what_was_never_had_is_all_zero() -> None:
    bench = open_bench()
    row = one(bench, bench.material(measured_by="count"))
    figures = (row.on_hand, row.usable, row.reserved, row.available, row.position, row.value)
    assert figures == (D(0),) * 6
    assert (row.reorder_point, row.low, row.counted) == (None, False, True)


@pytest.mark.parametrize("status", ["quarantine", "hold", "rejected"])
def test_only_what_is_released_is_usable(status: str) -> None:
    bench = open_bench()
    material = bench.material()
    bench.lot(material, "100", status=status)
    row = one(bench, material)
    assert (row.on_hand, row.usable) == (D(100), D(0))


def test_a_lot_is_usable_through_its_last_day_where_the_co_op_is() -> None:
    """The last minute of 30 June in Honolulu is 09:59 UTC on 1 July."""
    bench = open_bench(time_zone="Pacific/Honolulu")
    material = bench.material()
    bench.lot(material, "100", expires_on=date(2026, 6, 30))
    last = datetime(2026, 7, 1, 9, 59, tzinfo=UTC)
    assert one(bench, material, last).usable == 100
    assert one(bench, material, last + timedelta(minutes=1)).usable == 0


def test_promises_beyond_what_is_usable_leave_nothing_available() -> None:
    bench = open_bench()
    material = bench.material()
    lot = bench.lot(material, "100")
    bench.plan(material, {lot: "80"})
    bench.decide(lot, "hold")
    row = one(bench, material)
    assert (row.usable, row.reserved, row.available, row.position) == (D(0), D(80), D(0), D(-80))


def test_value_follows_the_cost_layers() -> None:
    """First in, first out: of 20 at 5.00 and 30 at 6.40, 25 out leaves 25 at 6.40."""
    bench = open_bench()
    material = bench.material(cost_formula="fifo")
    bench.lot(material, "20", value="100")
    second = bench.lot(material, "30", value="192")
    bench.spill(second, "25")
    assert one(bench, material).value == D("160")


def test_pages_run_by_name_and_id_over_what_the_maker_deals_with() -> None:
    bench = open_bench()
    had, again, watched, lacked, foreign, tap = (
        bench.material(name, stocked=name != "Aqua")
        for name in ("Cetearyl Alcohol", "Betaine", "Allantoin", "Betaine", "Zinc Oxide", "Aqua")
    )
    bench.lot(had, "1")
    bench.lot(again, "1")
    bench.plan(lacked, {}, short="5")
    open_bench("Mill Bench", coop=bench.coop).lot(foreign, "1")
    with acting_as(bench.actor):
        set_watch(bench.actor, material=watched.id, reorder_point=parse_quantity("1 kg"))
    seen, after = [], None
    while True:
        with acting_as(bench.actor):
            page = balances.stock(bench.actor, now=now(), after=after, limit=2)
        if not page:
            break
        assert len(page) <= 2
        seen += [row.material_id for row in page]
        after = (page[-1].name, page[-1].material_id)
    twins = sorted([again.id, lacked.id])
    assert seen == [watched.id, *twins, had.id]
    with acting_as(bench.actor):
        assert balances.stock(bench.actor, now=now(), materials=[tap.id]) == []


def test_many_materials_take_one_query() -> None:
    bench = open_bench()
    materials = [bench.material() for _ in range(5)]
    for material in materials:
        bench.lot(material, "1")
    with acting_as(bench.actor), CaptureQueriesContext(connection) as queries:
        rows = balances.stock(bench.actor, now=now())
    assert len(rows) == 5
    assert len(queries) == 1


def test_a_neighbour_s_stock_is_not_seen() -> None:
    bench = open_bench()
    neighbour = open_bench("Mill Bench", coop=bench.coop)
    material, recipe = bench.material(), bench.material(maker=bench.maker)
    for each in (material, recipe):
        bench.lot(each, "100", value="5")
    row = one(neighbour, material)
    assert (row.on_hand, row.value) == (D(0), D(0))
    with acting_as(neighbour.actor):
        assert balances.stock(neighbour.actor, now=now()) == []
        assert balances.stock(neighbour.actor, now=now(), materials=[recipe.id]) == []


def test_the_coordinator_alone_reads_no_stock() -> None:
    bench = open_bench()
    coordinator = bench.as_role("coordinator")
    with pytest.raises(Forbidden), acting_as(coordinator):
        balances.stock(coordinator, now=now())


def test_value_is_for_those_who_may_see_costs(monkeypatch: pytest.MonkeyPatch) -> None:
    bench = open_bench()
    material = bench.material()
    bench.lot(material, "100", value="5")
    monkeypatch.setitem(roles.MAY, "shelf", frozenset({roles.Verb.READ}))
    helper = bench.as_role("shelf")
    with acting_as(helper):
        (row,) = balances.stock(helper, now=now())
    assert (row.on_hand, row.value) == (D(100), None)


def test_nothing_is_read_of_lots_that_are_used_up(database: Server) -> None:
    """However many lots a material has had, as many rows are read as if there had been few."""
    bench = open_bench()
    material = bench.material(cost_formula="fifo")
    bench.lot(material, "1", value="1")
    _tidy(database)
    before = _rows_read(bench, material)
    assert before > 0
    for _ in range(60):
        bench.spill(bench.lot(material, "1", value="1"), "1")
    _tidy(database)
    assert _rows_read(bench, material) == before


def _tidy(database: Server) -> None:
    """What the server does by itself from time to time: clear away old rows, count the others."""
    with psycopg.connect(database.url_owner, autocommit=True) as owner:
        owner.execute("vacuum analyze")


def _rows_read(bench: Bench, material: Material) -> int:
    """How many rows the database fetched from tables for one material's stock."""
    counted = (
        "select sum(coalesce(seq_tup_read, 0) + coalesce(idx_tup_fetch, 0))::int"
        " from pg_stat_xact_user_tables where relname like 'ledger%'"
    )
    with acting_as(bench.actor), connection.cursor() as cursor:
        # On tables as small as a test's the planner reads the whole rather than use an index.
        cursor.execute("set local enable_seqscan = off")
        cursor.execute(counted)
        (start,) = cursor.fetchone()
        balances.stock(bench.actor, now=now(), materials=[material.id])
        cursor.execute(counted)
        (end,) = cursor.fetchone()
    return int(end) - int(start)
