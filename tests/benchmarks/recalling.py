"""The recall of one lot through six levels takes no longer when more was made of other lots."""

import statistics
import time
from collections.abc import Callable
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from tests.benchmarks.bench import Options, Stock, analyze, stocked
from tests.benchmarks.report import Row, in_turn, say
from tests.running import Running

MATERIALS = 60
LEVELS, MADE_OF_EACH = 6, 2
FEW = 10_000
FLOOR_TARGET, GROWTH_TARGET = 2.0, 1.20
RUNS = 20
# The least that could answer: in one statement what was made of the lot by what was not taken
# back, how much of each is in which account, and who bought it.
BARE = """
with recursive reached(lot) as (
  select %(lot)s::uuid
  union
  select o.lot_id from reached
    join ledger_posting i on i.coop_id = %(coop)s and i.lot_id = reached.lot
      and i.account_id = %(making)s and i.quantity > 0
    join ledger_posting o on o.coop_id = %(coop)s and o.entry_id = i.entry_id
      and o.account_id = i.account_id and o.quantity < 0
    where not exists (select from ledger_entry r
      where r.coop_id = %(coop)s and r.reverses_id = i.entry_id)
)
select p.lot_id, l.code, m.name, a.kind, a.name, e.details ->> 'customer', sum(p.quantity)
  from ledger_posting p
  join ledger_entry e on e.coop_id = p.coop_id and e.id = p.entry_id
  join ledger_account a on a.coop_id = p.coop_id and a.id = p.account_id
  join ledger_lot l on l.coop_id = p.coop_id and l.id = p.lot_id
  join ledger_material m on m.coop_id = l.coop_id and m.id = l.material_id
  where p.coop_id = %(coop)s and p.lot_id = any (array(select lot from reached))
    and e.reverses_id is null and not exists (select from ledger_entry r
      where r.coop_id = %(coop)s and r.reverses_id = p.entry_id)
  group by 1, 2, 3, 4, 5, 6
"""
# Of a million postings the bare query would read through all, for minutes, if it were let.
KEY_TO_KEY = """
select set_config(name, 'off', true)
  from unnest(array['enable_seqscan', 'enable_hashjoin', 'enable_mergejoin']) name
"""


def measure(server: Running, options: Options) -> list[Row]:
    """Ours beside the bare query, and with many postings beside few."""
    few, many = (stocked(server, MATERIALS, 1) for _ in range(2))
    for stock in (few, many):
        write_generations(stock)
    say(f"  writing {FEW + options.many_postings:,} postings …")
    write_others(few, FEW)
    write_others(many, options.many_postings)
    analyze(server)
    cases = {
        "ours": lambda: _seconds(many, _recall),
        "floor": lambda: _seconds(many, _bare),
        "few": lambda: _seconds(few, _recall),
    }
    found = in_turn(cases, options.rounds)
    beside, growth = found["ours"] / found["floor"], found["ours"] / found["few"]
    work = f"recall through {LEVELS} levels"
    ours = f"{found['ours'] * 1000:.2f} ms"
    return [
        Row(
            f"{work}, {options.many_postings:,} postings: bare recursive query",
            ours,
            f"{found['floor'] * 1000:.2f} ms",
            f"{beside:.2f}",
            f"<= {FLOOR_TARGET:.0f}",
            beside <= FLOOR_TARGET,
        ),
        Row(
            f"{work}: {options.many_postings:,} postings beside {FEW:,}",
            ours,
            f"{found['few'] * 1000:.2f} ms",
            f"{growth:.2f}",
            f"<= {GROWTH_TARGET:.2f}",
            growth <= GROWTH_TARGET,
        ),
    ]


def write_generations(stock: Stock) -> None:
    """Two lots are made of every lot, level by level, and some of each of the last is sold."""
    from ledger.access import acting_as
    from ledger.entries import Move, account, post_entry
    from ledger.models import Account, Entry

    actor, at = stock.actor(), datetime.now(UTC)
    store = account(actor, Account.Kind.STORE, "store")
    making = account(actor, Account.Kind.MAKING, "making")
    sales = account(actor, Account.Kind.SALES, "cost of goods sold")
    some = Decimal(1000)
    level = [stock.lots[0]]
    for number in range(1, LEVELS + 1):
        made: list[UUID] = []
        for parent in level:
            for _ in range(MADE_OF_EACH):
                with acting_as(actor):
                    child = _open_lot(actor, stock.materials[number])
                    moves = [
                        Move(store, making, parent, Decimal(250)),
                        Move(making, store, child, some, Decimal(1)),
                    ]
                    post_entry(actor, kind=Entry.Kind.MAKE, happened_at=at, moves=moves)
                made.append(child)
        level = made
    for lot in level:
        with acting_as(actor):
            move = Move(store, sales, lot, Decimal(10))
            told = {"customer": f"buyer of {lot}"}
            post_entry(actor, kind=Entry.Kind.SALE, happened_at=at, moves=[move], details=told)


def write_others(stock: Stock, postings: int) -> None:
    """Make lots that are not on the way of each other, again and again, by real entries."""
    from ledger.access import acting_as
    from ledger.entries import Move, account, post_entry
    from ledger.models import Account, Entry

    actor = stock.actor()
    store = account(actor, Account.Kind.STORE, "store")
    making = account(actor, Account.Kind.MAKING, "making")
    others = stock.lots[LEVELS + 1 :]
    half, gram, cent = len(others) // 2, Decimal(1), Decimal("0.01")
    moves = [Move(store, making, lot, gram) for lot in others[:half]]
    moves += [Move(making, store, lot, gram, cent) for lot in others[half:]]
    for _ in range(postings // (2 * len(moves))):
        with acting_as(actor):
            post_entry(actor, kind=Entry.Kind.MAKE, happened_at=datetime.now(UTC), moves=moves)


def _open_lot(actor: Any, material: UUID) -> UUID:
    from ledger.access import material_for
    from ledger.lots import NewLot, open_lots

    new = NewLot(material=material_for(actor, material), arrived_on=datetime.now(UTC).date())
    (lot,) = open_lots(actor, [new], release_basis="made for this")
    return lot.id


def _recall(stock: Stock) -> int:
    from ledger.recalling import recall_list

    return len(recall_list(stock.actor(), lot=stock.lots[0]).lots)


def _bare(stock: Stock) -> int:
    from django.db import connection

    from ledger.entries import account
    from ledger.models import Account

    actor = stock.actor()
    making = account(actor, Account.Kind.MAKING, "making")
    with connection.cursor() as cursor:
        cursor.execute(BARE, {"coop": actor.coop_id, "lot": stock.lots[0], "making": making})
        return len({row[0] for row in cursor.fetchall()})


def _seconds(stock: Stock, ask: Callable[[Stock], int]) -> float:
    """The median of some runs, each in a transaction of its own; all find all the lots."""
    from django.db import connection

    from ledger.access import acting_as

    found = []
    for _ in range(RUNS):
        with acting_as(stock.actor()):
            with connection.cursor() as cursor:
                cursor.execute(KEY_TO_KEY)
            start = time.perf_counter()
            lots = ask(stock)
            found.append(time.perf_counter() - start)
        if lots != MADE_OF_EACH ** (LEVELS + 1) - 1:
            raise AssertionError(f"{lots} lots were found")
    return statistics.median(found)
