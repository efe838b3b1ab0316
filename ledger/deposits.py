"""Deposits: what a supplier gives back for a drum is owed to the maker, and never a cost."""

from datetime import date, datetime
from decimal import Decimal
from typing import Final
from uuid import UUID

from django.db.models import QuerySet

from ledger.access import Actor, day_of, find, lot_for, supplier_for
from ledger.entries import Move, explained, open_account, post_entry
from ledger.errors import Conflict, Invalid, MoneyTooFine
from ledger.models import Account, Deposit, DepositReturn, Entry
from ledger.money import minor_units, round_money
from ledger.roles import Verb

ZERO: Final = Decimal(0)


def pay_deposit(
    actor: Actor,
    *,
    supplier: UUID | str,
    amount: Decimal,
    happened_at: datetime,
    lot: UUID | str | None = None,
    note: str = "",
) -> Deposit:
    """Keep that a deposit was paid to a supplier, for what a lot came in if it is named.

    Raises NotFound, Forbidden, MoneyTooFine, Invalid for a day in the future or in closed books.
    """
    actor.must(Verb.BILL)
    seller = supplier_for(actor, supplier, pointer="/supplier")
    found = None if lot is None else lot_for(actor, lot, pointer="/lot")
    if amount <= 0:
        raise Invalid("A deposit is of more than nothing.", pointer="/amount")
    if amount != round_money(amount, actor.currency):
        digits = minor_units(actor.currency)
        raise MoneyTooFine(currency=actor.currency, digits=digits, pointer="/amount")
    entry = _post(actor, seller.id, amount, happened_at, note, back=False)
    made = Deposit.objects.create(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        supplier=seller,
        lot=found,
        amount=amount,
        note=note,
        happened_at=happened_at,
        entry_id=entry,
        person_id=actor.person_id,
    )
    return deposit_for(actor, made.id)


def return_deposit(
    actor: Actor, *, deposit: UUID | str, happened_at: datetime, note: str = ""
) -> Deposit:
    """Keep that a deposit came back. Raises NotFound, Forbidden, Conflict where it has already."""
    actor.must(Verb.BILL)
    found = deposit_for(actor, deposit)
    if found.returned_at is not None:
        raise Conflict("This deposit came back already.")
    if happened_at < found.happened_at:
        raise Invalid(
            "A deposit cannot come back before it was paid; give a later moment.",
            pointer="/happened_at",
        )
    entry = _post(actor, found.supplier_id, found.amount, happened_at, note, back=True)
    with explained():
        DepositReturn.objects.create(
            coop_id=actor.coop_id,
            maker_id=actor.maker,
            deposit=found,
            note=note,
            happened_at=happened_at,
            entry_id=entry,
            person_id=actor.person_id,
        )
    return deposit_for(actor, found.id)


def deposits_of(actor: Actor, *, due: bool | None = None) -> "QuerySet[Deposit]":
    """The maker's deposits; those that are still owed (`due` true), or came back.

    Raises Forbidden.
    """
    actor.must(Verb.SEE_COSTS)
    rows = Deposit.objects.filter(maker_id=actor.maker)
    rows = rows.select_related("supplier").prefetch_related("returns")
    return rows if due is None else rows.filter(returns__isnull=due)


def deposit_for(actor: Actor, id: UUID | str) -> Deposit:
    """A deposit of the maker's. Raises NotFound, Forbidden."""
    return find(deposits_of(actor), id)


def days_out(actor: Actor, deposit: Deposit, today: date) -> int:
    """How many days a deposit has been with its supplier, until it came back."""
    back = deposit.returned_at
    until = today if back is None else day_of(actor, back)
    return (until - day_of(actor, deposit.happened_at)).days


def _post(
    actor: Actor, supplier: UUID, amount: Decimal, happened_at: datetime, note: str, *, back: bool
) -> UUID:
    """What the supplier has been paid beyond the goods stands among what is owed, or goes back."""
    seller = open_account(actor, Account.Kind.SUPPLIER, str(supplier), label=f"supplier {supplier}")
    owed = open_account(actor, Account.Kind.DEPOSIT, str(supplier), label=f"deposits {supplier}")
    source, to = (owed, seller) if back else (seller, owed)
    kind = Entry.Kind.DEPOSIT_RETURN if back else Entry.Kind.DEPOSIT
    move = Move(source, to, None, ZERO, amount)
    return post_entry(actor, kind=kind, happened_at=happened_at, moves=[move], reason=note).entry_id
