"""The hourly look at everything that is watched, and the look after one posting.

A thousand makers with three hundred materials each, all watched. The floor is one statement that
adds up every posting there is, finds what is at or below its point, and writes down what changed
since it was last asked; of a hundred materials one has.
"""

import statistics
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any
from uuid import UUID

import psycopg

from tests.benchmarks.bench import Options, Stock, analyze, as_superuser, stocked
from tests.benchmarks.report import Row, in_turn, say
from tests.running import Running

MATERIALS, FEW_MAKERS, POSTINGS_EACH = 300, 10, 5_000
SWEEP_TARGET, ALONE_TARGET = 0.35, 1.20
LOOKS = 100
# What is at or below its point, by the postings; what is ordered and promised is no posting.
LOW = """
with usable as (
  select p.maker_id, l.material_id, sum(p.quantity) as quantity
    from ledger_posting p
    join ledger_account a on a.coop_id = p.coop_id and a.id = p.account_id and a.kind = 'store'
    join ledger_lot l on l.coop_id = p.coop_id and l.id = p.lot_id
     and coalesce(least(l.expires_on, l.retest_on) >= %(day)s, true)
    join ledger_custody c on c.coop_id = p.coop_id and c.maker_id = p.maker_id
     and c.lot_id = p.lot_id and c.status = 'released'
    where p.coop_id = %(coop)s group by 1, 2
), coming as (
  select o.maker_id, o.material_id, sum(o.quantity) as quantity
    from ledger_onorder o where o.coop_id = %(coop)s and o.any_left group by 1, 2
), promised as (
  select maker_id, material_id, sum(quantity) as quantity
    from (select maker_id, material_id, quantity from ledger_reservation where coop_id = %(coop)s
          union all
          select maker_id, material_id, quantity from ledger_shortfall where coop_id = %(coop)s) s
    group by 1, 2
)
select w.maker_id, w.material_id,
       coalesce(u.quantity, 0) + coalesce(o.quantity, 0) - coalesce(r.quantity, 0)
         <= w.reorder_point as low
  from ledger_watch w
  left join usable u using (maker_id, material_id)
  left join coming o using (maker_id, material_id)
  left join promised r using (maker_id, material_id)
  where w.coop_id = %(coop)s
"""
# The flags as they were found when last asked: of each hundred one has changed since.
FLAGS = f"""
create table sweeping.flag as
select maker_id, material_id,
       low <> (sweeping.some(hashtextextended(maker_id::text || material_id, 0), 100) = 0) as low
  from ({LOW}) s;
alter table sweeping.flag add primary key (maker_id, material_id);
insert into ledger_alert (coop_id, maker_id, id, kind, subject, state_key, material_id, facts,
                          opened_at)
select %(coop)s, maker_id, uuidv7(), 'low_stock', material_id, '', material_id, '{{}}',
       clock_timestamp()
  from sweeping.flag where low
"""
FLOOR = f"""
update sweeping.flag f set low = s.low from ({LOW}) s
  where f.maker_id = s.maker_id and f.material_id = s.material_id and f.low <> s.low
"""
# One of the maker's own places: its material, and how another gram comes into it.
PLACES = """
select material, opening, store, lot from sweeping.place where coop = %(coop)s and maker = %(maker)s
  order by material_number
"""
Admin = psycopg.Connection[Any]


def measure(server: Running, options: Options) -> list[Row]:
    """Ours beside the statement over all postings, and one look among many beside among few."""
    makers = options.many_postings // 1_000
    few, many = (stocked(server, MATERIALS, 0) for _ in range(2))
    # It puts the parameters into the text by itself: definitions take none.
    with psycopg.connect(
        as_superuser(server), autocommit=True, cursor_factory=psycopg.ClientCursor
    ) as admin:
        admin.execute(Path(__file__).with_suffix(".sql").read_text())
        for stock, number in ((few, FEW_MAKERS), (many, makers)):
            say(f"  writing {number * POSTINGS_EACH:,} postings …")
            write(admin, stock, number)
        analyze(server)
        # The next hour that nobody else sweeps.
        moment = datetime.now(UTC) + timedelta(days=1)
        admin.execute(FLAGS, {"coop": many.coop_id, "day": moment.date()})
        analyze(server)
        swept = _swept(admin, many, moment, options)
        return [_beside(swept, makers), _looked_at(admin, few, many, makers, options)]


def write(admin: Admin, stock: Stock, makers: int) -> None:
    """So many makers with the stock's materials, and all they ever posted."""
    supplier = UUID(stock.client.supplier())
    with admin.transaction():
        admin.execute("set local session_replication_role = replica")
        admin.execute("select sweeping.open_places(%s, %s)", [stock.coop_id, makers])
        admin.execute(
            "select sweeping.post(%s, %s, %s)", [stock.coop_id, stock.person_id, POSTINGS_EACH]
        )
    admin.execute("select sweeping.watch(%s, %s, %s)", [stock.coop_id, stock.person_id, supplier])


def _swept(admin: Admin, stock: Stock, moment: datetime, options: Options) -> dict[str, float]:
    """The seconds of both, each undone at once, so that every time finds the same."""
    asked = {"coop": stock.coop_id, "day": moment.date()}

    def floor() -> tuple[float, int]:
        with admin.transaction(force_rollback=True):
            start = time.perf_counter()
            changed = admin.execute(FLOOR, asked).rowcount
            return time.perf_counter() - start, changed

    if _sweep(stock, moment)[1] != floor()[1]:
        raise AssertionError("the sweep and the postings do not say the same")
    cases = {"ours": lambda: _sweep(stock, moment)[0], "floor": lambda: floor()[0]}
    return in_turn(cases, options.rounds)


def _sweep(stock: Stock, moment: datetime) -> tuple[float, int | None]:
    """How long the co-op's sweep took, and how many checks it then owes."""
    from django.db import transaction

    from ledger.access import set_walls
    from ledger.alerts import sweep
    from ledger.statements import unhurried

    with unhurried():
        set_walls(stock.coop_id, None)
        start = time.perf_counter()
        owed = sweep(stock.coop_id, now=moment)
        seconds = time.perf_counter() - start
        transaction.set_rollback(True)
    return seconds, owed


def _beside(found: dict[str, float], makers: int) -> Row:
    ratio = found["ours"] / found["floor"]
    work = f"sweep, {makers:,} makers x {MATERIALS} materials, {makers * POSTINGS_EACH:,} postings"
    return Row(
        f"{work}: one statement over the postings",
        f"{found['ours'] * 1000:.0f} ms",
        f"{found['floor'] * 1000:.0f} ms",
        f"{ratio:.2f}",
        f"<= {SWEEP_TARGET}",
        ratio <= SWEEP_TARGET,
    )


def _looked_at(admin: Admin, few: Stock, many: Stock, makers: int, options: Options) -> Row:
    def case(stock: Stock) -> Callable[[], float]:
        own = {"coop": stock.coop_id, "maker": stock.maker_id}
        places = admin.execute(PLACES, own).fetchall()[:LOOKS]
        return lambda: statistics.median(_look(stock, *place) for place in places)

    found = in_turn({"few": case(few), "many": case(many)}, options.rounds)
    ratio = found["many"] / found["few"]
    return Row(
        f"one material looked at after a posting: {makers:,} makers beside {FEW_MAKERS}",
        f"{found['many'] * 1000:.2f} ms",
        f"{found['few'] * 1000:.2f} ms",
        f"{ratio:.2f}",
        f"<= {ALONE_TARGET:.2f}",
        ratio <= ALONE_TARGET,
    )


def _look(stock: Stock, material: UUID, source: UUID, target: UUID, lot: UUID) -> float:
    """The seconds of one look, as the worker looks, after something came in; undone at once."""
    from django.db import transaction

    from ledger.access import acting_as
    from ledger.alerts import look_at
    from ledger.entries import Move, post_entry
    from ledger.models import Entry

    actor, now = stock.actor(), datetime.now(UTC)
    moves = [Move(source, target, lot, Decimal(1), Decimal(1))]
    with acting_as(actor):
        post_entry(actor, kind=Entry.Kind.OPENING, happened_at=now, moves=moves)
        start = time.perf_counter()
        look_at(stock.coop_id, stock.maker_id, material, now=now)
        seconds = time.perf_counter() - start
        transaction.set_rollback(True)
    return seconds
