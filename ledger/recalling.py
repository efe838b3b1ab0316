"""The recall list: all that was made of one lot, and where every gram and piece of it is now.

Inside one maker's walls: what went to another maker shows as moved to it (21 CFR 7.49 and ISO 22716
14 ask whom to tell and what came back).
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from fractions import Fraction
from typing import Any, Final
from uuid import UUID

from django.db import connection

from ledger.access import Actor, lot_for
from ledger.entries import account
from ledger.models import Account
from ledger.recall_balance import Making, carried, rounded
from ledger.roles import Verb
from ledger.tracing import ORIGINS, OTHER_MAKERS, RETURNED_TO, place_of

ZERO: Final = Decimal(0)
BEFORE_ALL: Final = datetime(1, 1, 1, tzinfo=UTC)
# Goods that lie here can still be stopped.
WITHIN_REACH: Final = frozenset({"store", "batch", "consignment"})

# From key to key: the planner cannot know how few lots are reached, and would read through all that
# was ever made instead.
_PLANS: Final = """
select set_config(name, %(other)s, true)
  from unnest(array['enable_seqscan', 'enable_hashjoin', 'enable_mergejoin']) name
"""
# UNION, not UNION ALL: a lot reached by two ways is followed once.
_MAKINGS: Final = """
with recursive reached(lot) as (
  select %(lot)s::uuid
  union
  select o.lot_id from reached
    join ledger_posting i on i.coop_id = %(coop)s and i.lot_id = reached.lot
      and i.account_id = %(making)s and i.quantity > 0
    join ledger_posting o on o.coop_id = %(coop)s and o.entry_id = i.entry_id
      and o.account_id = i.account_id and o.quantity < 0 and o.lot_id is not null
    where not exists (select from ledger_entry r where r.coop_id = %(coop)s
      and (r.reverses_id = i.entry_id or r.id = i.entry_id and r.reverses_id is not null))
)
select p.entry_id, p.lot_id,
       sum(p.quantity) * case when sum(p.quantity) < 0 then coalesce(min(m.mass_each), 1) else 1 end
  from ledger_posting p
  join ledger_lot l on l.coop_id = p.coop_id and l.id = p.lot_id
  join ledger_material m on m.coop_id = l.coop_id and m.id = l.material_id
  where p.coop_id = %(coop)s and p.account_id = %(making)s
    and p.lot_id = any (array(select lot from reached))
    and not exists (select from ledger_entry r where r.coop_id = %(coop)s
    and (r.reverses_id = p.entry_id or r.id = p.entry_id and r.reverses_id is not null))
  group by 1, 2
"""
_LOTS: Final = """
select l.id, l.code, m.name, m.measured_by = 'count', c.status
  from ledger_custody c
  join ledger_lot l on l.coop_id = c.coop_id and l.id = c.lot_id
  join ledger_material m on m.coop_id = c.coop_id and m.id = c.material_id
  where c.coop_id = %(coop)s and c.maker_id = %(maker)s and c.lot_id = any (%(lots)s)
"""
_PLACES: Final = """
select p.lot_id, a.kind, a.name, p.quantity > 0, sum(p.quantity)
  from ledger_posting p
  join ledger_account a on a.coop_id = p.coop_id and a.id = p.account_id
  join ledger_entry e on e.coop_id = p.coop_id and e.id = p.entry_id
  where p.coop_id = %(coop)s and p.maker_id = %(maker)s and p.lot_id = any (%(lots)s)
    and e.reverses_id is null
    and not exists (select from ledger_entry r where r.coop_id = %(coop)s and r.reverses_id = e.id)
  group by 1, 2, 3, 4
"""
# The sale that a return names is worked out before it is looked for: a text that is read as an id
# may not look into an index behind the walls, and all entries of the maker would be gone through.
_ACCOUNTS: Final = """
with gone as materialized (
  select p.lot_id, p.quantity, e.happened_at, e.details,
         case when e.kind = 'customer_return' then (e.details ->> 'sale')::uuid end as sale
    from ledger_posting p
    join ledger_entry e on e.coop_id = p.coop_id and e.id = p.entry_id
   where p.coop_id = %(coop)s and p.account_id = %(sales)s and p.lot_id = any (%(lots)s)
     and e.reverses_id is null and not exists (
       select from ledger_entry r where r.coop_id = %(coop)s and r.reverses_id = e.id))
select coalesce(s.details, g.details) ->> 'customer', g.lot_id,
       coalesce(sum(g.quantity) filter (where g.quantity > 0 or g.happened_at < %(since)s), 0),
       coalesce(-sum(g.quantity) filter (where g.quantity < 0 and g.happened_at >= %(since)s), 0)
  from gone g
  left join ledger_entry s on s.coop_id = %(coop)s and s.id = g.sale
  group by 1, 2 order by 1, 2
"""


@dataclass(frozen=True, slots=True)
class Place:
    """So much of a lot in one place, and how much of the recalled lot is in it."""

    kind: str
    account: str
    quantity: Decimal
    of_recalled: Decimal

    @property
    def name(self) -> str:
        """What people call it."""
        return place_of(self.kind, self.account, None)

    @property
    def within_reach(self) -> bool:
        return self.kind in WITHIN_REACH


@dataclass(frozen=True, slots=True)
class Listed:
    """A lot of the list: all of it that there was, what other lots were made of it, the rest.

    `found` is what counts found beyond the books; it is part of the total.
    """

    id: UUID
    code: str
    material_name: str
    counted: bool
    status: str
    total: Decimal
    found: Decimal
    used: Decimal
    places: tuple[Place, ...]

    @property
    def unexplained(self) -> Decimal:
        """What neither lies anywhere nor was used; it ought to be 0."""
        return self.total - self.used - sum((place.quantity for place in self.places), ZERO)


@dataclass(frozen=True, slots=True)
class DirectAccount:
    """Who was sold how much of a lot, and how much of it has come back."""

    customer: str
    lot_id: UUID
    sold: Decimal
    returned: Decimal


@dataclass(frozen=True, slots=True)
class RecallList:
    """All lots with some of the recalled lot, that lot first, and whom to tell.

    `makings` are the times that any of it was made into something.
    """

    lots: tuple[Listed, ...]
    accounts: tuple[DirectAccount, ...]
    makings: int

    @property
    def lot(self) -> Listed:
        """The recalled lot."""
        return self.lots[0]

    @property
    def received(self) -> Decimal:
        """All of the recalled lot, in grams or pieces."""
        return self.lot.total

    @property
    def accounted(self) -> Decimal:
        """How much of it the list finds, in whatever was made of it."""
        return sum((place.of_recalled for lot in self.lots for place in lot.places), ZERO)

    def within_reach(self, *, counted: bool) -> Decimal:
        """What can still be stopped: pieces, or grams."""
        return sum(
            (
                place.quantity
                for lot in self.lots
                if lot.counted is counted
                for place in lot.places
                if place.within_reach
            ),
            ZERO,
        )


def recall_list(actor: Actor, *, lot: UUID | str, since: datetime | None = None) -> RecallList:
    """Where all of a lot is now, itself or in what was made of it; nothing is changed.

    What buyers brought back before `since` counts as never sold to them. Raises NotFound.
    """
    actor.must(Verb.READ)
    return list_from(actor, lot_for(actor, lot).id, since)


def list_from(actor: Actor, root: UUID, since: datetime | None) -> RecallList:
    """The recall list of a lot that is known to be the maker's own."""
    own: dict[str, Any] = {
        "coop": actor.coop_id,
        "maker": actor.maker,
        "lot": root,
        "making": account(actor, Account.Kind.MAKING, "making"),
        "sales": account(actor, Account.Kind.SALES, "cost of goods sold"),
    }
    _rows(_PLANS, {"other": "off"})
    makings = _makings(_rows(_MAKINGS, own))
    own["lots"] = list({root, *(id for making in makings for id in making.outputs)})
    own["since"] = since or BEFORE_ALL
    where = _whereabouts(_rows(_PLACES, own))
    accounts = [DirectAccount(*row) for row in _rows(_ACCOUNTS, own)]
    _rows(_PLANS, {"other": "on"})
    held = carried(root, where.totals, makings)
    lots = _listed(_rows(_LOTS, own), where, held)
    lots.sort(key=lambda found: (found.id != root, found.id))
    return RecallList(tuple(lots), tuple(accounts), len(makings))


@dataclass(slots=True)
class _Whereabouts:
    """Of each lot: all there was, what counts found, what was used, and the rest by place."""

    totals: dict[Any, Decimal]
    found: dict[UUID, Decimal]
    used: dict[UUID, Decimal]
    places: dict[UUID, dict[tuple[str, str], Decimal]]


def _whereabouts(rows: Sequence[tuple[Any, ...]]) -> _Whereabouts:
    where = _Whereabouts(
        defaultdict(Decimal),
        defaultdict(Decimal),
        defaultdict(Decimal),
        defaultdict(lambda: defaultdict(Decimal)),
    )
    for id, kind, name, gained, quantity in rows:
        if kind == "making" and gained:
            where.used[id] += quantity
        elif kind in RETURNED_TO or (kind in ORIGINS - OTHER_MAKERS and not gained):
            where.totals[id] -= quantity
        else:
            where.places[id][kind, name] += quantity
    for id, places in where.places.items():
        # Below zero: more came from there than went: another maker gave it, or a count found it.
        for place in [place for place, quantity in places.items() if quantity < 0]:
            came = -places.pop(place)
            where.totals[id] += came
            if place[0] not in OTHER_MAKERS:
                where.found[id] += came
    return where


def _rows(statement: str, values: dict[str, Any]) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(statement, values)
        rows: list[tuple[Any, ...]] = cursor.fetchall()
    return rows


def _makings(rows: Sequence[tuple[Any, ...]]) -> list[Making]:
    """The makings on the way: what went in of lots on the way, and what came out."""
    inputs: dict[UUID, dict[Any, Decimal]] = defaultdict(dict)
    outputs: dict[UUID, dict[Any, Decimal]] = defaultdict(dict)
    for entry, lot, quantity in rows:
        (inputs if quantity > 0 else outputs)[entry][lot] = abs(quantity)
    # The making of the recalled lot itself lies before it.
    return [Making(inputs[entry], outputs[entry]) for entry in outputs if entry in inputs]


def _listed(
    rows: Sequence[tuple[Any, ...]], where: _Whereabouts, held: dict[Any, Fraction]
) -> list[Listed]:
    """The lots with their places, whose shares of the recalled lot are rounded all together."""
    flat = [
        (row[0], kind, name, quantity)
        for row in rows
        for (kind, name), quantity in sorted(where.places[row[0]].items())
        if quantity
    ]
    exact = [
        held.get(id, Fraction(0)) * Fraction(quantity) / Fraction(where.totals[id] or 1)
        for id, _, _, quantity in flat
    ]
    found: dict[UUID, list[Place]] = defaultdict(list)
    for (id, kind, name, quantity), share in zip(flat, rounded(exact), strict=True):
        found[id].append(Place(kind, name, quantity, share))
    return [
        Listed(
            *(
                *(*row, where.totals[row[0]], where.found[row[0]], where.used[row[0]]),
                tuple(found[row[0]]),
            )
        )
        for row in rows
    ]
