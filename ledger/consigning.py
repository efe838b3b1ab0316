"""Consignment: goods that lie at a shop and stay the maker's own until the shop sells them.

Each shop has an account of its own. What lies there is not in the store, so that no plan counts on
it, and keeps the value it left the store with.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Final
from uuid import UUID

from django.db import connection

from ledger.access import Actor, day_of
from ledger.amounts import Amount
from ledger.deviations import broken_by_lots
from ledger.entries import account, lock_pools, open_account
from ledger.errors import (
    NotEnough,
    NotFound,
    Sentence,
)
from ledger.issuing import Moved, Taken, amounts_of, lots_of, take
from ledger.models import Account, Entry, Holding, Lot
from ledger.roles import Verb

_LISTED: Final = """
select a.name, h.lot_id, l.code, m.name, m.measured_by = 'count', c.status, l.expires_on,
       c.use_by, h.quantity, h.value
  from ledger_holding h
  join ledger_account a on a.coop_id = h.coop_id and a.id = h.account_id
  join ledger_lot l on l.coop_id = h.coop_id and l.id = h.lot_id
  join ledger_material m on m.coop_id = h.coop_id and m.id = h.material_id
  join ledger_custody c on c.coop_id = h.coop_id and c.maker_id = h.maker_id
    and c.lot_id = h.lot_id
  where h.coop_id = %s and h.maker_id = %s and h.kind = 'consignment' and h.quantity > 0
    and (a.name, h.lot_id) > (%s, %s::uuid)
  order by a.name, h.lot_id limit %s
"""
NOBODY: Final = ("", "00000000-0000-0000-0000-000000000000")


@dataclass(frozen=True, slots=True)
class Consigned:
    """So much of a lot at a shop."""

    shop: str
    lot_id: UUID
    code: str
    material_name: str
    counted: bool
    status: str
    expires_on: date | None
    use_by: date | None
    quantity: Decimal
    value: Decimal

    @property
    def until(self) -> date | None:
        """The last day of it: it expires, or was opened and lasts only so long then."""
        return min((day for day in (self.expires_on, self.use_by) if day), default=None)


def consign(
    actor: Actor, *, shop: str, lines: Sequence[Taken], happened_at: datetime, reason: str = ""
) -> Moved:
    """Send goods to a shop that sells them for the maker; they stay the maker's own.

    Raises NotFound, NotEnough, LotNotReleased, LotExpired, LotOpenTooLong.
    """
    actor.must(Verb.ISSUE)
    to = open_account(actor, Account.Kind.CONSIGNMENT, shop)
    return take(actor, Entry.Kind.CONSIGN, to, lines, happened_at, reason, {"shop": shop})


def sell_consigned(
    actor: Actor,
    *,
    shop: str,
    lines: Sequence[Taken],
    happened_at: datetime,
    customer: str = "",
    deviation: str = "",
) -> Moved:
    """Book what a shop has sold; without a customer's reference the shop is the direct account.

    Raises NotFound, NotEnough for more than lies there, LotNotReleased, LotExpired,
    LotOpenTooLong.
    """
    actor.must(Verb.ISSUE)
    source = _where_they_lie(actor, shop, lines)
    sales = account(actor, Account.Kind.SALES, "cost of goods sold")
    details: dict[str, Any] = {"customer": customer or shop, "shop": shop}
    if deviation:
        day, sold = day_of(actor, happened_at), [lot.id for lot in lots_of(actor, lines)]
        details["overrode"] = broken_by_lots(actor, sold, day)
    return take(
        actor, Entry.Kind.SALE, sales, lines, happened_at, "", details, deviation, source=source
    )


def bring_back(
    actor: Actor, *, shop: str, lines: Sequence[Taken], reason: str, happened_at: datetime
) -> Moved:
    """Take goods back from a shop into the store, with the value they left it with.

    Raises NotFound, NotEnough for more than lies there.
    """
    actor.must(Verb.ISSUE)
    source = _where_they_lie(actor, shop, lines)
    store = account(actor, Account.Kind.STORE, "store")
    details = {"shop": shop}
    return take(
        actor, Entry.Kind.UNCONSIGN, store, lines, happened_at, reason, details, source=source
    )


def consigned(
    actor: Actor, *, after: tuple[str, str] | None = None, limit: int = 200
) -> list[Consigned]:
    """What lies at which shop, in order of the shop's name; the value is for who may see costs."""
    actor.must(Verb.READ)
    with connection.cursor() as cursor:
        cursor.execute(_LISTED, [actor.coop_id, actor.maker, *(after or NOBODY), limit])
        return [Consigned(*row) for row in cursor.fetchall()]


def shops_of(actor: Actor, lot: UUID) -> list[tuple[str, Decimal]]:
    """The shops where a lot lies, by name, with how much of it in grams or pieces."""
    actor.must(Verb.READ)
    rows = Holding.objects.filter(
        coop_id=actor.coop_id, maker_id=actor.maker, kind=Account.Kind.CONSIGNMENT, any_left=True
    )
    found = rows.filter(lot_id=lot).order_by("account__name")
    return list(found.values_list("account__name", "quantity"))


def _where_they_lie(actor: Actor, shop: str, lines: Sequence[Taken]) -> UUID:
    """The account of a shop, where so much lies.

    Raises NotFound for a lot or a shop that is not there, NotEnough at the line that asks for more.
    """
    lots: list[Lot] = lots_of(actor, lines)
    source = account(actor, Account.Kind.CONSIGNMENT, shop)
    if not Account.objects.filter(maker_id=actor.maker, id=source).exists():
        raise NotFound(pointer="/shop")
    amounts = amounts_of(lots, lines)
    lock_pools(lot.material_id for lot in lots)
    rows = Holding.objects.filter(
        coop_id=actor.coop_id, account_id=source, lot_id__in=[lot.id for lot in lots]
    )
    left = dict(rows.values_list("lot_id", "quantity"))
    for place, (lot, amount) in enumerate(zip(lots, amounts, strict=True)):
        there = left.get(lot.id, Decimal(0))
        if amount.quantity > there:
            raise NotEnough(
                Sentence(
                    "Only {left} of the lot {code} lies at {shop}.",
                    left=Amount(there, amount.counted).rounded_down(),
                    code=lot.code,
                    shop=shop,
                ),
                pointer=f"/lines/{place}/quantity",
                left=f"{there:f}",
            )
        left[lot.id] = there - amount.quantity
    return source
