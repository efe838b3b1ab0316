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
from typing import Any, Final, NamedTuple
from uuid import UUID

from ledger.access import Actor, lot_for
from ledger.entries import account
from ledger.models import Account
from ledger.recall_balance import Making, carried, rounded, share_of
from ledger.roles import Verb
from ledger.statements import run
from ledger.tracing import OWN_ORIGINS, Whereabouts, is_explained, place_of

ZERO: Final = Decimal(0)
ONE: Final = Decimal(1)
BEFORE_ALL: Final = datetime(1, 1, 1, tzinfo=UTC)
# Goods that lie here can still be stopped.
WITHIN_REACH: Final = frozenset({"store", "batch", "consignment"})
# Accounts of which it matters what they gained and what they gave, not only what is left.
_APART: Final = sorted({*OWN_ORIGINS, "sales"})

# From key to key: the planner cannot know how few lots are reached, and would read through all that
# was ever made instead.
_PLANS: Final = """
select set_config(name, %(other)s, true)
  from unnest(array['enable_seqscan', 'enable_hashjoin', 'enable_mergejoin']) name
"""
# UNION, not UNION ALL: a lot reached by two ways is followed once. What moved is read lot by lot
# before anything else, since the planner would look through all entries of a maker that has few.
# Makings and sales are told one by one, of all other accounts the sums: gained and given apart
# where goods came from, since what went back there had never come. Ids are told as texts, by which
# Python looks up faster.
_STANDS: Final = """
with recursive reached(lot) as (
  select %(lot)s::uuid
  union
  select o.lot_id from reached
    join ledger_posting i on i.coop_id = %(coop)s and i.lot_id = reached.lot
      and i.account_id = %(making)s and i.quantity > 0
    join ledger_entry e on e.coop_id = i.coop_id and e.id = i.entry_id and e.reverses_id is null
    join ledger_posting o on o.coop_id = %(coop)s and o.entry_id = i.entry_id
      and o.account_id = i.account_id and o.quantity < 0 and o.lot_id is not null
    where not exists (
      select from ledger_entry r where r.coop_id = %(coop)s and r.reverses_id = i.entry_id)
), moved as materialized (
  select lot_id, account_id, entry_id, quantity from ledger_posting
   where coop_id = %(coop)s and maker_id = %(maker)s
     and lot_id = any (array(select lot from reached))
)
select p.lot_id::text, a.kind, a.name,
       case when p.account_id in (%(making)s, %(sales)s) then p.entry_id end::text,
       p.quantity > 0 and a.kind = any (%(apart)s), sum(p.quantity),
       max(e.happened_at) filter (where p.account_id = %(sales)s),
       max(e.details ->> 'customer') filter (where p.account_id = %(sales)s),
       max(e.details ->> 'sale') filter (where p.account_id = %(sales)s)
  from moved p
  join ledger_account a on a.coop_id = %(coop)s and a.id = p.account_id
  join ledger_entry e on e.coop_id = %(coop)s and e.id = p.entry_id and e.reverses_id is null
 where not exists (
   select from ledger_entry r where r.coop_id = %(coop)s and r.reverses_id = p.entry_id)
 group by p.lot_id, p.account_id, a.kind, a.name, 4, 5
"""
_LOTS: Final = """
select l.id::text, l.code, m.name, m.measured_by = 'count', c.status, coalesce(m.mass_each, 1)
  from ledger_custody c
  join ledger_lot l on l.coop_id = c.coop_id and l.id = c.lot_id
  join ledger_material m on m.coop_id = c.coop_id and m.id = c.material_id
  where c.coop_id = %(coop)s and c.maker_id = %(maker)s and c.lot_id = any (%(lots)s::uuid[])
"""
# Who bought what came back.
_BUYERS: Final = """
select id::text, details ->> 'customer' from ledger_entry
  where coop_id = %(coop)s and id = any (%(sales)s::uuid[])
"""


@dataclass(frozen=True, slots=True)
class Place:
    """So much of a lot in one place, and how much of the recalled lot is in it.

    It is `explained` if anybody knows what became of what lies there by the books.
    """

    kind: str
    account: str
    quantity: Decimal
    of_recalled: Decimal
    explained: bool

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
        """What nobody can account for: gone without a cause, or not found by the books."""
        known = (place.quantity for place in self.places if place.explained)
        return self.total - self.used - sum(known, ZERO)


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
        """How much of it lies, or went, where somebody knows, in whatever was made of it."""
        places = (place for lot in self.lots for place in lot.places)
        return sum((place.of_recalled for place in places if place.explained), ZERO)

    @property
    def shrink_accounted(self) -> bool:
        """Whether it was kept when what shrank still counted as accounted for, and has some."""
        return any(
            place.explained and not is_explained(place.kind, place.account)
            for lot in self.lots
            for place in lot.places
        )

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
        "apart": _APART,
    }
    run(_PLANS, {"other": "off"})
    stands = [Standing(*row) for row in _rows(_STANDS, own)]
    run(_PLANS, {"other": "on"})
    lots = list({str(root), *(one.lot for one in stands)})
    described = _rows(_LOTS, {**own, "lots": lots})
    makings = _makings(stands, {row[0]: row[-1] for row in described})
    where = _whereabouts(stands)
    totals = {str(root): ZERO, **{lot: one.total for lot, one in where.items()}}
    held = carried(str(root), totals, makings)
    listed = _listed([row[:-1] for row in described], where, held)
    listed.sort(key=lambda found: (found.id != root, found.id))
    accounts = _direct_accounts(actor, stands, since or BEFORE_ALL)
    return RecallList(tuple(listed), tuple(accounts), len(makings))


class Standing(NamedTuple):
    """What stands of a lot in an account, gained or given; of makings and sales each by itself.

    Of a sale it is told when it was and to whom, of what a buyer brought back, by which sale.
    """

    lot: str
    kind: str
    account: str
    entry: str | None
    gained: bool
    quantity: Decimal
    happened_at: datetime | None
    customer: str | None
    sale: str | None


def _whereabouts(stands: Sequence[Standing]) -> dict[Any, Whereabouts]:
    """Where all of each lot is."""
    where: dict[Any, Whereabouts] = defaultdict(Whereabouts)
    for lot, kind, name, _, gained, quantity, *_ in stands:
        where[lot].add(kind, name, gained, quantity)
    for one in where.values():
        one.close()
    return where


def _rows(statement: str, values: dict[str, Any]) -> list[tuple[Any, ...]]:
    rows: list[tuple[Any, ...]] = run(statement, values).fetchall()
    return rows


def _makings(stands: Sequence[Standing], masses: dict[str, Decimal]) -> list[Making]:
    """The makings on the way: what went in of lots on the way, and what came out, by its mass."""
    moved: dict[str, dict[Any, Decimal]] = defaultdict(lambda: defaultdict(Decimal))
    for one in stands:
        if one.kind == "making" and one.entry is not None:
            moved[one.entry][one.lot] += one.quantity
    found = []
    for lots in moved.values():
        inputs = {lot: quantity for lot, quantity in lots.items() if quantity > 0}
        outputs = {lot: -quantity * masses[lot] for lot, quantity in lots.items() if quantity < 0}
        # The making of the recalled lot itself lies before it.
        if inputs and outputs:
            found.append(Making(inputs, outputs))
    return found


def _direct_accounts(
    actor: Actor, stands: Sequence[Standing], since: datetime
) -> list[DirectAccount]:
    """Who bought how much of each lot, by name; what came back is the buyer's of that sale."""
    sold = [one for one in stands if one.happened_at is not None]
    sales = [one.sale for one in sold if one.sale]
    rows = _rows(_BUYERS, {"coop": actor.coop_id, "sales": sales}) if sales else []
    buyers: dict[str, str] = dict(rows)
    moved: dict[tuple[str, str], list[Decimal]] = defaultdict(lambda: [ZERO, ZERO])
    for one in sold:
        buyer = buyers.get(one.sale, one.customer) if one.sale else one.customer
        back = not one.gained and one.happened_at is not None and one.happened_at >= since
        moved[buyer or "", one.lot][back] += -one.quantity if back else one.quantity
    return [
        DirectAccount(buyer, UUID(lot), *quantities)
        for (buyer, lot), quantities in sorted(moved.items())
    ]


def _listed(
    rows: Sequence[tuple[Any, ...]], where: dict[Any, Whereabouts], held: dict[Any, Fraction]
) -> list[Listed]:
    """The lots with their places, whose shares of the recalled lot are rounded all together."""
    flat = [
        (row[0], kind, name, quantity)
        for row in rows
        for (kind, name), quantity in sorted(where[row[0]].places.items())
        if quantity
    ]
    exact = [
        share_of(held.get(id, 0), quantity, where[id].total or ONE) for id, _, _, quantity in flat
    ]
    found: dict[str, list[Place]] = defaultdict(list)
    for (id, kind, name, quantity), share in zip(flat, rounded(exact), strict=True):
        found[id].append(Place(kind, name, quantity, share, is_explained(kind, name)))
    return [
        Listed(
            *(
                *(UUID(row[0]), *row[1:]),
                *(where[row[0]].total, where[row[0]].found, where[row[0]].used),
                tuple(found[row[0]]),
            )
        )
        for row in rows
    ]
