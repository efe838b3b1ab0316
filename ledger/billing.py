"""Bills that come after their delivery: late freight, a corrected price, a credit note."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any, Final
from uuid import UUID

from django.db import connection
from django.db.models import Exists, OuterRef, Prefetch, QuerySet, Sum

from ledger.access import Actor, find, supplier_for
from ledger.bill_uses import Stand, stands_of
from ledger.bills import Apportioned, apportion
from ledger.costing import Charge, ChargeKind, Measure, ReceivedLine, SpreadBy, spread
from ledger.entries import account, explained, lock_pools, open_account
from ledger.errors import (
    Conflict,
    Invalid,
    MoneyTooFine,
    MoneyTooLarge,
    NotFound,
    Sentence,
)
from ledger.ids import new_id, same_id
from ledger.models import Account, Bill, BillLine, BillUse, Entry, Receipt, ReceiptLine
from ledger.money import TOO_MUCH_MONEY, minor_unit, minor_units, round_money
from ledger.roles import Verb

ZERO = Decimal(0)
REVALUE: Final = """
select ledger_revalue(%s, %s, %s, %s, %s, %s::jsonb, %s, %s, %s, %s::uuid[],
                      %s::numeric[], %s::numeric[])
"""


@dataclass(frozen=True, slots=True)
class Wanted:
    """A bill as it is typed.

    `amount` is above zero but for a corrected price, where the sign says whether it rises or
    falls. With a `lot` it falls on that line alone, otherwise it is spread over all lines.
    """

    kind: Bill.Kind
    amount: Decimal
    charge_kind: ChargeKind | None = None
    spread_by: SpreadBy = SpreadBy.VALUE
    lot: UUID | str | None = None
    supplier: UUID | str | None = None
    reference: str = ""
    reason: str = ""


def book_bill(actor: Actor, *, receipt: UUID | str, bill: Wanted, happened_at: datetime) -> Bill:
    """Book a bill or a credit note on a delivery that stands, by an entry of its own.

    What is still in store of each lot takes its share into the cost layers, and what has been used
    takes its own to the cost difference, told by batch, sale or issue. Nothing earlier is recosted,
    and no layer falls below zero. Raises NotFound, Conflict for a delivery that was undone,
    MassMissing, MoneyTooFine, and Invalid for no amount, a credit above what the goods cost, or a
    day before the delivery's.
    """
    actor.must(Verb.BILL)
    found = find(Receipt.objects.filter(maker_id=actor.maker), receipt)
    if happened_at < found.happened_at:
        raise Invalid(
            "A bill cannot come before its delivery; give a later moment.",
            pointer="/happened_at",
        )
    amount = _signed(bill, actor.currency)
    lines = _lines(found, bill.lot)
    shares = _spread(bill, abs(amount), lines, actor.currency)
    seller = found.supplier_id
    if bill.supplier is not None:
        seller = supplier_for(actor, bill.supplier, pointer="/supplier").id
    # Whoever draws from these lots waits, and so does whoever books another bill on them.
    lock_pools(line.lot.material_id for line in lines)
    if Entry.objects.filter(coop_id=actor.coop_id, reverses_id=found.entry_id).exists():
        raise Conflict("This delivery was undone: a bill stands only on one that stands.")
    amounts = [share if amount > 0 else -share for share in shares]
    _check_credit(lines, amounts)
    stands = stands_of(actor, found, [line.lot_id for line in lines])
    apportioned = _apportion(lines, amounts, stands, minor_unit(actor.currency))
    entry_id = _post(actor, bill, seller, lines, apportioned, happened_at)
    kept = _keep(actor, found, bill, seller, amount, entry_id, happened_at)
    _keep_lines(kept, lines, stands, apportioned)
    return bill_for(actor, kept.id)


def bills_of(actor: Actor, receipt: UUID | str) -> list[Bill]:
    """The bills of a delivery with what they fell on, in the order they were booked.

    Each has `undone`, whether its entry was reversed. Raises NotFound, Forbidden.
    """
    actor.must(Verb.SEE_COSTS)
    return bills_under(find(Receipt.objects.filter(maker_id=actor.maker), receipt))


def bills_under(receipt: Receipt) -> list[Bill]:
    """The same of a delivery that is at hand."""
    rows = Bill.objects.filter(coop_id=receipt.coop_id, maker_id=receipt.maker_id, receipt=receipt)
    return list(_with_lines(rows))


def bill_for(actor: Actor, id: UUID | str) -> Bill:
    """One bill with what it fell on. Raises NotFound, Forbidden."""
    actor.must(Verb.SEE_COSTS)
    return find(_with_lines(Bill.objects.filter(maker_id=actor.maker)), id)


def _with_lines(rows: "QuerySet[Bill]") -> "QuerySet[Bill]":
    undone = Entry.objects.filter(reverses=OuterRef("entry_id"), coop_id=OuterRef("coop_id"))
    lines = BillLine.objects.select_related("line__lot__material").order_by("line__position")
    uses = BillUse.objects.select_related("account").order_by("id")
    return (
        rows.annotate(undone=Exists(undone))
        .prefetch_related(Prefetch("lines", lines), Prefetch("lines__uses", uses))
        .order_by("id")
    )


def _signed(bill: Wanted, currency: str) -> Decimal:
    """The amount with its sign. Raises Invalid, MoneyTooFine, MoneyTooLarge."""
    if bill.amount != round_money(bill.amount, currency):
        raise MoneyTooFine(currency=currency, digits=minor_units(currency), pointer="/amount")
    if bill.amount == 0:
        raise Invalid("Give the amount of the bill; none needs no booking.", pointer="/amount")
    if abs(bill.amount) >= TOO_MUCH_MONEY:
        raise MoneyTooLarge(pointer="/amount")
    if bill.kind != Bill.Kind.PRICE_CORRECTION and bill.amount < 0:
        raise Invalid("Give the amount as it stands on the paper, without a sign.",
                      pointer="/amount")  # fmt: skip
    return -bill.amount if bill.kind == Bill.Kind.CREDIT_NOTE else bill.amount


def _lines(receipt: Receipt, lot: UUID | str | None) -> list[ReceiptLine]:
    lines = list(receipt.lines.select_related("lot__material").order_by("position"))
    if lot is None:
        return lines
    of_lot = [line for line in lines if same_id(lot, line.lot_id)]
    if not of_lot:
        raise NotFound(pointer="/lot")
    return of_lot


def _spread(
    bill: Wanted, amount: Decimal, lines: Sequence[ReceiptLine], currency: str
) -> Sequence[Decimal]:
    if bill.lot is not None:
        return [amount]
    received = [
        ReceivedLine(
            name=line.lot.material.name,
            price=line.goods,
            quantity=line.quantity,
            measured_by=Measure.COUNT if line.lot.material.counted else Measure.MASS,
            mass_each=line.lot.material.mass_each,
        )
        for line in lines
    ]
    charge = Charge(bill.charge_kind or ChargeKind.OTHER, amount, bill.spread_by)
    return spread(charge, received, currency)


def _check_credit(lines: Sequence[ReceiptLine], amounts: Sequence[Decimal]) -> None:
    """Refuse to make goods cost less than nothing, all their bills together."""
    undone = Entry.objects.filter(reverses=OuterRef("bill__entry_id"), coop_id=OuterRef("coop_id"))
    rows = BillLine.objects.filter(~Exists(undone), line__in=[line.id for line in lines])
    before = dict(rows.values_list("line_id").annotate(together=Sum("amount")))
    for line, amount in zip(lines, amounts, strict=True):
        cost = line.landed_cost + before.get(line.id, ZERO)
        if cost + amount < 0:
            raise Invalid(
                Sentence(
                    "The lot {code} cost {cost:.2f} with all its bills, and no credit can take"
                    " {amount:.2f} off that; check the amount and the delivery.",
                    code=line.lot.code,
                    cost=cost,
                    amount=-amount,
                ),
                pointer="/amount",
            )


def _apportion(
    lines: Sequence[ReceiptLine],
    amounts: Sequence[Decimal],
    stands: Sequence[Stand],
    step: Decimal,
) -> list[Apportioned[tuple[UUID, UUID | None]]]:
    """Each line's amount by what is left. Lines whose layers are merged take from one value."""
    taken: dict[UUID, Decimal] = {}
    done = []
    for line, amount, stand in zip(lines, amounts, stands, strict=True):
        one = apportion(
            amount,
            received=line.quantity,
            left=stand.left,
            in_layers=stand.value + taken.get(stand.layer_id, ZERO) if stand.layer_id else ZERO,
            uses=stand.uses,
            step=step,
        )
        if stand.layer_id is not None:
            taken[stand.layer_id] = taken.get(stand.layer_id, ZERO) + one.to_stock
        done.append(one)
    return done


def _post(
    actor: Actor,
    bill: Wanted,
    seller: UUID,
    lines: Sequence[ReceiptLine],
    apportioned: Sequence[Apportioned[tuple[UUID, UUID | None]]],
    happened_at: datetime,
) -> UUID:
    entry_id = new_id()
    source = open_account(actor, Account.Kind.SUPPLIER, str(seller), label=f"supplier {seller}")
    details = {"reference": bill.reference}
    given: list[Any] = [
        entry_id,
        bill.kind.value,
        happened_at,
        actor.person_id,
        bill.reason,
        json.dumps(details),
        source,
        account(actor, Account.Kind.STORE, "store"),
        account(actor, Account.Kind.COST_DIFFERENCE, "cost difference"),
        [line.lot_id for line in lines],
        [one.to_stock for one in apportioned],
        [one.to_used for one in apportioned],
    ]
    with explained(), connection.cursor() as cursor:
        cursor.execute(REVALUE, given)
    return entry_id


def _keep(
    actor: Actor,
    receipt: Receipt,
    wanted: Wanted,
    seller: UUID,
    amount: Decimal,
    entry_id: UUID,
    happened_at: datetime,
) -> Bill:
    bill = Bill(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        receipt=receipt,
        entry_id=entry_id,
        supplier_id=seller,
        kind=wanted.kind,
        charge_kind=wanted.charge_kind or "",
        amount=amount,
        spread_by="line" if wanted.lot is not None else wanted.spread_by,
        reference=wanted.reference,
        reason=wanted.reason,
        happened_at=happened_at,
        person_id=actor.person_id,
    )
    bill.save(force_insert=True)
    return bill


def _keep_lines(
    bill: Bill,
    lines: Sequence[ReceiptLine],
    stands: Sequence[Stand],
    apportioned: Sequence[Apportioned[tuple[UUID, UUID | None]]],
) -> None:
    """Keep on what the bill fell, so that it can be told by lot and by use."""
    own = {"coop_id": bill.coop_id, "maker_id": bill.maker_id}
    kept = [
        BillLine(
            **own,
            id=new_id(),
            bill=bill,
            line=line,
            amount=one.to_stock + one.to_used,
            left=min(stand.left, line.quantity),
            to_stock=one.to_stock,
        )
        for line, stand, one in zip(lines, stands, apportioned, strict=True)
    ]
    BillLine.objects.bulk_create(kept)
    BillUse.objects.bulk_create(
        BillUse(
            **own,
            line=line,
            account_id=use.place and use.place[0],
            entry_id=use.place and use.place[1],
            quantity=use.quantity,
            amount=part,
        )
        for line, one in zip(kept, apportioned, strict=True)
        for use, part in one.uses
    )
