"""What leaves the store, and what comes back: issues, sales, returns."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from ledger.access import Actor, day_of, find, lots_for
from ledger.amounts import Amount
from ledger.costing import unit_cost
from ledger.deviations import broken_by_lots
from ledger.entries import Move, Posted, account, lock_pools, open_account, post_entry
from ledger.errors import (
    Conflict,
    Invalid,
    NotEnough,
    Refusal,
    Sentence,
    placed,
)
from ledger.measuring import Measured, density_of, measure
from ledger.models import Account, Entry, Lot, Posting
from ledger.quantities import Quantity
from ledger.roles import Verb
from ledger.stopping import made_of, stop_through

# Why stock is issued, and the account where it goes: a reason of its own is never a "loss".
ISSUED = {
    "sample": Account.Kind.ISSUE,
    "tester": Account.Kind.ISSUE,
    "gift": Account.Kind.ISSUE,
    "retained": Account.Kind.ISSUE,
    "quality": Account.Kind.ISSUE,
    "write-off": Account.Kind.LOSS,
    "spill": Account.Kind.LOSS,
    "scrap": Account.Kind.LOSS,
}


@dataclass(frozen=True, slots=True)
class Taken:
    """So much of a lot, as somebody typed it."""

    lot: UUID | str
    quantity: Quantity


@dataclass(frozen=True, slots=True)
class Moved:
    """An entry that stands: its lots, how much of each, and the value that went with it."""

    posted: Posted
    lots: Sequence[Lot]
    measured: Sequence[Measured]

    @property
    def value(self) -> Decimal:
        return sum(self.posted.values, Decimal(0))


def issue(
    actor: Actor, *, lines: Sequence[Taken], purpose: str, reason: str, happened_at: datetime
) -> Moved:
    """Take stock out as samples, testers or gifts, retain it, or write it off, and say why.

    What is retained stays with the maker as evidence, in an account of its own (ISO 22716, 9.6), so
    that a trace counts it apart from what was given away.

    Raises NotFound, NotEnough, DensityMissing.
    """
    actor.must(Verb.ISSUE)
    to = open_account(actor, ISSUED[purpose], purpose)
    return take(actor, Entry.Kind.ISSUE, to, lines, happened_at, reason, {"purpose": purpose})


def sell(
    actor: Actor,
    *,
    lines: Sequence[Taken],
    customer: str,
    happened_at: datetime,
    deviation: str = "",
) -> Moved:
    """Sell from lots, so that a recall finds who has them. `customer` is the seller's reference.

    Raises NotFound, NotEnough, LotNotReleased, LotExpired, LotOpenTooLong.
    """
    actor.must(Verb.ISSUE)
    to = account(actor, Account.Kind.SALES, "cost of goods sold")
    details: dict[str, Any] = {"customer": customer}
    if deviation:
        day, sold = day_of(actor, happened_at), [lot.id for lot in lots_of(actor, lines)]
        details["overrode"] = broken_by_lots(actor, sold, day)
    return take(actor, Entry.Kind.SALE, to, lines, happened_at, "", details, deviation)


def return_to_supplier(
    actor: Actor, *, lines: Sequence[Taken], reason: str, happened_at: datetime
) -> Moved:
    """Send goods back to where they came from, at what they cost.

    Raises Conflict for a lot that no supplier delivered, NotEnough.
    """
    actor.must(Verb.ISSUE)
    lots = lots_of(actor, lines)
    for place, lot in enumerate(lots):
        if lot.origin_id != actor.maker:
            raise Conflict(
                Sentence(
                    "The lot {code} came from another maker; offer it back to them instead.",
                    code=lot.code,
                ),
                pointer=f"/lines/{place}/lot",
            )
        if lot.supplier_id is None:
            raise Conflict(
                Sentence(
                    "The lot {code} came from no supplier; issue it with a reason instead.",
                    code=lot.code,
                ),
                pointer=f"/lines/{place}/lot",
            )
    suppliers = {lot.supplier_id for lot in lots}
    if len(suppliers) > 1:
        raise Invalid("These lots came from several suppliers; return them one by one.")
    to = account(actor, Account.Kind.SUPPLIER, str(suppliers.pop()))
    return take(actor, Entry.Kind.SUPPLIER_RETURN, to, lines, happened_at, reason, {})


def take_back(
    actor: Actor,
    *,
    sale: UUID | str,
    lines: Sequence[Taken],
    reason: str,
    happened_at: datetime,
    hold: str = "",
) -> Moved:
    """Take goods back from a customer, at the cost at which they were sold.

    `hold` says why nobody is to use them until somebody has looked (ISO 22716, 8). A lot has one
    status, so all of it waits, and all that was made of it.

    Raises NotFound, Forbidden, NotEnough when more comes back than that sale sold.
    """
    actor.must(Verb.ISSUE)
    if hold:
        actor.must(Verb.DECIDE)
    rows = Entry.objects.filter(maker_id=actor.maker, kind=Entry.Kind.SALE)
    entry = find(rows, sale, pointer="/sale")
    if happened_at < entry.happened_at:
        raise Invalid(
            "Goods cannot come back before they were sold; give a later moment.",
            pointer="/happened_at",
        )
    lots = lots_of(actor, lines)
    amounts = amounts_of(lots, lines)
    sales = account(actor, Account.Kind.SALES, "cost of goods sold")
    store = account(actor, Account.Kind.STORE, "store")
    # Who brings back the same goods at the same moment must wait, and then find them gone.
    # All locks at once, in their order: a hold goes through what was made of the lots.
    materials = {lot.material_id for lot in lots}
    if hold:
        materials |= {one.material_id for lot in lots for one in made_of(actor, lot)}
    lock_pools(materials)
    sold = _still_sold(actor, entry, sales, [lot.id for lot in lots])
    moves = _moves_back(lots, amounts, sold, sales, store)
    posted = post_entry(
        actor,
        kind=Entry.Kind.CUSTOMER_RETURN,
        happened_at=happened_at,
        moves=moves,
        reason=reason,
        details={"sale": str(entry.id), "lines": [amount.facts() for amount in amounts]},
    )
    if hold:
        for lot in dict.fromkeys(lots):
            stop_through(actor, lot=lot.id, basis=hold)
    return Moved(posted, lots, amounts)


def _moves_back(
    lots: Sequence[Lot],
    amounts: Sequence[Measured],
    sold: dict[UUID, tuple[Decimal, Decimal]],
    sales: UUID,
    store: UUID,
) -> list[Move]:
    """What comes back of each lot, out of what is still sold of it; raises NotEnough."""
    moves = []
    for place, (lot, amount) in enumerate(zip(lots, amounts, strict=True)):
        quantity, value = sold.get(lot.id, (Decimal(0), Decimal(0)))
        if amount.quantity > quantity:
            raise NotEnough(
                Sentence(
                    "Of the lot {code} that sale still has {quantity} sold; no more can come back.",
                    code=lot.code,
                    quantity=Amount(quantity, amount.counted).rounded_down(),
                ),
                pointer=f"/lines/{place}/quantity",
                left=f"{quantity:f}",
            )
        # The value of so many of them; all that is left takes all the value that is left.
        cost = unit_cost(value, quantity, per=amount.quantity)
        moves.append(Move(sales, store, lot.id, amount.quantity, cost))
        sold[lot.id] = (quantity - amount.quantity, value - cost)
    return moves


def take(
    actor: Actor,
    kind: Entry.Kind,
    to: UUID,
    lines: Sequence[Taken],
    happened_at: datetime,
    reason: str,
    details: dict[str, Any],
    deviation: str = "",
    source: UUID | None = None,
) -> Moved:
    """Move goods out of the store, or of another account, at what they cost there."""
    lots = lots_of(actor, lines)
    amounts = amounts_of(lots, lines)
    store = source or account(actor, Account.Kind.STORE, "store")
    try:
        posted = post_entry(
            actor,
            kind=kind,
            happened_at=happened_at,
            moves=[
                Move(store, to, lot.id, amount.quantity)
                for lot, amount in zip(lots, amounts, strict=True)
            ],
            reason=reason,
            deviation=deviation,
            details={**details, "lines": [amount.facts() for amount in amounts]},
        )
    except Refusal as refusal:
        raise _placed(refusal, lots) from refusal.__cause__
    return Moved(posted, lots, amounts)


def _placed(refusal: Refusal, lots: Sequence[Lot]) -> Refusal:
    """The refusal at the line whose lot it names."""
    named = refusal.facts.get("lot")
    for place, lot in enumerate(lots):
        if str(lot.id) == named:
            return refusal.at(f"/lines/{place}/quantity")
    return refusal


def lots_of(actor: Actor, lines: Sequence[Taken]) -> list[Lot]:
    wanted = [(line.lot, f"/lines/{place}/lot") for place, line in enumerate(lines)]
    return lots_for(actor, wanted)


def amounts_of(lots: Sequence[Lot], lines: Sequence[Taken]) -> list[Measured]:
    return [
        _measured(line.quantity, lot.material, density_of(lot), f"/lines/{place}/quantity")
        for place, (lot, line) in enumerate(zip(lots, lines, strict=True))
    ]


def _measured(quantity: Quantity, material: Any, density: Any, pointer: str) -> Measured:
    with placed(pointer):
        return measure(quantity, material, density)


def _still_sold(
    actor: Actor, entry: Entry, sales: UUID, lots: Sequence[UUID]
) -> dict[UUID, tuple[Decimal, Decimal]]:
    """Quantity and value that a sale sold of these lots and nobody has brought back."""
    rows = Posting.objects.filter(coop_id=actor.coop_id, lot_id__in=lots, account_id=sales)
    # Found through the lots, so that it takes no longer when other goods have a long history.
    returns = Entry.objects.filter(
        id__in=rows.filter(quantity__lt=0).values("entry_id"),
        kind=Entry.Kind.CUSTOMER_RETURN,
        details__sale=str(entry.id),
    )
    ids = [entry.id, *returns.values_list("id", flat=True)]
    undone = Entry.objects.filter(reverses__in=ids).values_list("id", flat=True)
    found: dict[UUID, tuple[Decimal, Decimal]] = {}
    posted = rows.filter(entry_id__in=[*ids, *undone])
    for lot_id, quantity, value in posted.values_list("lot_id", "quantity", "value"):
        before = found.get(lot_id, (Decimal(0), Decimal(0)))
        found[lot_id] = (before[0] + quantity, before[1] + value)
    return found
