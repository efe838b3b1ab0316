"""Tracing: what a lot was made from, what was made of it, and where all of it is now.

A making joins lots: in the entries of kind make and fill, inputs go to the maker's making account
and outputs come from it (ISO 22005: one step up, one step down). What has been reversed did not
happen.

The books always close: whatever leaves a store goes to an account. What a count found gone, and
for which nobody found a cause but shrink, stands in such an account as well, and yet nobody knows
where it is; it may have left the house. It is not accounted for (the purpose of a mass balance: 21
CFR 7.42, ISO 22005). What was spilt, has evaporated or was scrapped is.
"""

from collections import defaultdict
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, Final, Literal
from uuid import UUID

from django.db import connection

from ledger.access import Actor, lot_for
from ledger.entries import account
from ledger.errors import Sentence
from ledger.models import Account, CountCause, Lot

Direction = Literal["forward", "back"]

# UNION, not UNION ALL: a lot reached by two ways is followed once. What is drawn off goes into one
# lot or another, and what is made together goes into all of it: nobody can tell which grams.
_WALK: Final = """
with recursive step(parent, child, quantity, entry) as not materialized (
  select i.lot_id, o.lot_id, case e.kind when 'decant' then -o.quantity else i.quantity end,
         i.entry_id
    from ledger_posting i
    join ledger_entry e on e.coop_id = i.coop_id and e.id = i.entry_id
    join ledger_posting o on o.coop_id = i.coop_id and o.entry_id = i.entry_id
      and o.account_id = i.account_id and o.quantity < 0 and o.lot_id is not null
    where i.coop_id = %(coop)s and i.account_id = %(making)s and i.quantity > 0
      and not exists (select from ledger_entry r
        where r.coop_id = %(coop)s and (r.reverses_id = i.entry_id
              or r.id = i.entry_id and r.reverses_id is not null))
), reached(lot) as (
  select %(lot)s::uuid
  union
  select {next} from reached join step on {here} = reached.lot
)
select step.parent, step.child, sum(step.quantity)
  from reached join step on {here} = reached.lot group by 1, 2
"""
_LOTS: Final = """
select l.id, l.code, l.material_id, m.name, m.measured_by = 'count', c.status, l.supplier_lot,
       l.supplier_id, l.expires_on,
       (select coalesce(sum(h.quantity), 0) from ledger_holding h where h.coop_id = l.coop_id
          and h.lot_id = l.id and h.maker_id = %(maker)s and h.kind = 'store')
  from ledger_lot l
  join ledger_material m on m.coop_id = l.coop_id and m.id = l.material_id
  join ledger_custody c on c.coop_id = l.coop_id and c.maker_id = %(maker)s and c.lot_id = l.id
  where l.coop_id = %(coop)s and l.id = any (%(lots)s)
"""
# What moved a lot and stands, with what was made of it where it was used up.
PLACED: Final = """
  from ledger_posting p
  join ledger_account a on a.coop_id = p.coop_id and a.id = p.account_id
  join ledger_entry e on e.coop_id = p.coop_id and e.id = p.entry_id
  left join lateral (
    select string_agg(l.code, ', ' order by q.line) as code from ledger_posting q
      join ledger_lot l on l.coop_id = q.coop_id and l.id = q.lot_id
      where a.kind = 'making' and p.quantity > 0 and q.coop_id = p.coop_id
        and q.entry_id = p.entry_id and q.account_id = p.account_id and q.quantity < 0) o on true
  where p.coop_id = %(coop)s and p.lot_id = %(lot)s and p.maker_id = %(maker)s
    and e.reverses_id is null
    and not exists (select from ledger_entry r where r.coop_id = %(coop)s and r.reverses_id = e.id)
"""
_PLACES: Final = f"""
select a.kind, a.name, p.quantity > 0, o.code, sum(p.quantity) {PLACED}
  group by 1, 2, 3, 4
"""
# Where goods come from: what left these was received.
ORIGINS: Final = frozenset({"supplier", "opening", "source", "making", "settlement", "loan"})
# Other makers, to whom goods go and from whom they come.
OTHER_MAKERS: Final = frozenset({"settlement", "loan"})
# Origins to which goods go back as if they had never left.
RETURNED_TO: Final = frozenset({"opening", "source"})
# From other makers it came for a while, and may go back.
OWN_ORIGINS: Final = ORIGINS - OTHER_MAKERS
_GONE: Final = (Account.Kind.LOSS, CountCause.Cause.SHRINK)


@dataclass(frozen=True, slots=True)
class TracedLot:
    """A lot on the way, and how much of which traced lot went straight into it."""

    id: UUID
    code: str
    material_id: UUID
    material_name: str
    counted: bool
    status: str
    supplier_lot: str
    supplier_id: UUID | None
    expires_on: Any
    on_hand: Decimal
    inputs: tuple[tuple[UUID, Decimal], ...]


def is_explained(kind: str, name: str) -> bool:
    """Whether anybody knows what became of what lies in an account by the books."""
    return (kind, name) != _GONE


@dataclass(slots=True)
class Whereabouts:
    """Of one lot: all there was, what of it counts found, what was used, and the rest by account.

    What stands in its accounts is added, gained or given; then it is closed.
    """

    total: Decimal = Decimal(0)
    found: Decimal = Decimal(0)
    used: Decimal = Decimal(0)
    places: dict[tuple[str, str], Decimal] = field(default_factory=lambda: defaultdict(Decimal))

    def add(self, kind: str, name: str, gained: bool, quantity: Decimal) -> None:
        if kind == "making" and gained:
            self.used += quantity
        elif kind in RETURNED_TO or (kind in OWN_ORIGINS and not gained):
            # What went back to the tap was never used up, so it counts as not received.
            self.total -= quantity
        else:
            self.places[kind, name] += quantity

    def close(self) -> None:
        """What is below zero came from there: another maker gave it, or a count found it."""
        for place in [place for place, quantity in self.places.items() if quantity < 0]:
            came = -self.places.pop(place)
            self.total += came
            if place[0] not in OTHER_MAKERS:
                self.found += came

    @property
    def unexplained(self) -> Decimal:
        """What nobody can point to: gone without a cause, or not found by the books."""
        known = (quantity for place, quantity in self.places.items() if is_explained(*place))
        return self.total - self.used - sum(known, Decimal(0))


@dataclass(frozen=True, slots=True)
class Balance:
    """All of a lot that there was against the places where it is.

    `gone` are the places in the books at which nobody can look; what is there is in `difference`,
    which ought to be 0. `found` is what counts found beyond the books; it is part of `received`.
    """

    received: Decimal
    found: Decimal
    difference: Decimal
    places: tuple[tuple[str, Decimal], ...]
    gone: tuple[tuple[str, Decimal], ...]

    @property
    def accounted(self) -> Decimal:
        return self.received - self.difference


@dataclass(frozen=True, slots=True)
class Trace:
    """The lots reached from one lot, that lot first, and its mass balance."""

    lot: Lot
    lots: tuple[TracedLot, ...]
    balance: Balance


def trace(actor: Actor, *, lot: UUID | str, direction: Direction) -> Trace:
    """Follow a lot back to its sources or forward to all that was made of it.

    Quantities are grams, or pieces for what is counted. Raises NotFound.
    """
    root = lot_for(actor, lot)
    steps = _steps(actor, root.id, direction)
    ids = {root.id} | {id for parent, child, _ in steps for id in (parent, child)}
    inputs: dict[UUID, list[tuple[UUID, Decimal]]] = defaultdict(list)
    for parent, child, quantity in steps:
        inputs[child].append((parent, quantity))
    with connection.cursor() as cursor:
        cursor.execute(_LOTS, {**_own(actor), "lots": list(ids)})
        rows = cursor.fetchall()
    lots = [TracedLot(*(*row, tuple(inputs[row[0]]))) for row in rows]
    lots.sort(key=lambda found: (found.id != root.id, found.id))
    return Trace(root, tuple(lots), balance_of(actor, root))


def balance_of(actor: Actor, lot: Lot) -> Balance:
    """Where all of a lot is: in store, in process, made into others, sold, issued, lost."""
    with connection.cursor() as cursor:
        cursor.execute(_PLACES, {**_own(actor), "lot": lot.id})
        rows = cursor.fetchall()
    where = Whereabouts()
    places: dict[str, Decimal] = defaultdict(Decimal)
    gone: dict[str, Decimal] = defaultdict(Decimal)
    for kind, name, gained, made, quantity in rows:
        where.add(kind, name, gained, quantity)
        if kind == "making" and gained:
            places[place_of(kind, name, made)] += quantity
    where.close()
    for (kind, name), quantity in where.places.items():
        (places if is_explained(kind, name) else gone)[place_of(kind, name, None)] += quantity
    return Balance(where.total, where.found, where.unexplained, _sorted(places), _sorted(gone))


def _sorted(places: dict[str, Decimal]) -> tuple[tuple[str, Decimal], ...]:
    return tuple(sorted((place, quantity) for place, quantity in places.items() if quantity))


def _steps(actor: Actor, lot: UUID, direction: Direction) -> list[tuple[UUID, UUID, Decimal]]:
    here, following = (
        ("step.parent", "step.child") if direction == "forward" else ("step.child", "step.parent")
    )
    making = account(actor, Account.Kind.MAKING, "making")
    with connection.cursor() as cursor:
        cursor.execute(
            _WALK.format(here=here, next=following),
            {"coop": actor.coop_id, "making": making, "lot": lot},
        )
        rows: list[tuple[UUID, UUID, Decimal]] = cursor.fetchall()
    return rows


def place_of(kind: str, name: str, made: str | None) -> str:
    """What people call an account in which goods are."""
    if kind == "store":
        return "in store"
    if kind == "batch":
        return Sentence("in process in {name}", name=name)
    if kind == "making":
        return Sentence("made into {made}", made=made)
    if kind == "sales":
        return "sold"
    if kind == "consignment":
        return Sentence("on consignment at {name}", name=name)
    if kind in OTHER_MAKERS:
        return Sentence("moved to {name}", name=name)
    if kind == "supplier":
        return "returned to the supplier"
    return name


def _own(actor: Actor) -> dict[str, Any]:
    return {"coop": actor.coop_id, "maker": actor.maker}
