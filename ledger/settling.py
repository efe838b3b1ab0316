"""What makers owe each other: balances, statements that open to their movements, payments.

A movement is one change of what two makers owe each other. Both see it, and it stands in the books
of both, in accounts of the kind settlement; all of them in a co-op sum to zero. Amounts are in the
co-op's currency; above zero is owed to the maker that looks.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Final
from uuid import UUID

from django.db import connection
from django.db.models import Q, QuerySet

from ledger.access import Actor, find
from ledger.entries import explained
from ledger.errors import AlreadyReversed, Conflict, Invalid, MoneyTooFine
from ledger.ids import account_id, new_id
from ledger.models import Account, Dispute, Maker, Movement, Transfer
from ledger.money import minor_units, round_money
from ledger.roles import Verb
from ledger.statements import run
from ledger.transferring import maker_for

# From the maker's own side: what it is owed is above zero.
_BALANCES: Final = """
with own(id, other, amount, happened_on) as (
  select m.id, m.to_maker_id, m.amount, m.happened_on from ledger_movement m
    where m.coop_id = %(coop)s and m.maker_id = %(maker)s
  union all
  select m.id, m.maker_id, -m.amount, m.happened_on from ledger_movement m
    where m.coop_id = %(coop)s and m.to_maker_id = %(maker)s
)
select o.id, o.name, sum(m.amount),
       coalesce(sum(m.amount) filter (where m.happened_on < %(since)s), 0),
       coalesce(sum(m.amount) filter (where d.movement_id is not null), 0)
  from own m
  join ledger_maker o on o.coop_id = %(coop)s and o.id = m.other
  left join ledger_disputed d on d.coop_id = %(coop)s and d.movement_id = m.id
  where m.happened_on <= %(until)s
  group by 1, 2 order by 2
"""
_RECORD: Final = """
select ledger_record_payment(%s, %s, %s, %s, %s, %s, %s, %s, %s::uuid[], %s::uuid[], %s::uuid[])
"""
EVER: Final = date(9999, 12, 31)
ZERO: Final = Decimal(0)


@dataclass(frozen=True, slots=True)
class Balance:
    """What one other maker owes, now and before a day; `disputed` is part of `amount`."""

    other: UUID
    name: str
    amount: Decimal
    before: Decimal
    disputed: Decimal

    @property
    def undisputed(self) -> Decimal:
        """What is owed by the word of both."""
        return self.amount - self.disputed


@dataclass(frozen=True, slots=True)
class Seen:
    """A movement from the side of whoever looks: `amount` above zero is owed to it.

    `goods` is the material that moved, or that a later bill is for; empty for money alone.
    """

    movement: Movement
    other: UUID
    name: str
    amount: Decimal
    entry_id: UUID
    dispute: Dispute | None
    goods: str = ""


def balances_of(actor: Actor, *, since: date = EVER, until: date = EVER) -> list[Balance]:
    """What each other maker owes by the end of the day `until`, and owed before `since`.

    Only makers with whom there was anything. Raises Forbidden.
    """
    actor.must(Verb.SEE_COSTS)
    own: dict[str, Any] = {
        "coop": actor.coop_id,
        "maker": actor.maker,
        "since": since,
        "until": until,
    }
    with connection.cursor() as cursor:
        cursor.execute(_BALANCES, own)
        return [Balance(*row) for row in cursor.fetchall()]


def movements_of(
    actor: Actor,
    *,
    since: date | None = None,
    until: date | None = None,
    other: UUID | None = None,
) -> "QuerySet[Movement]":
    """The movements between the maker and others, from one day to another. Raises Forbidden."""
    actor.must(Verb.SEE_COSTS)
    rows = Movement.objects.filter(Q(maker_id=actor.maker) | Q(to_maker_id=actor.maker))
    if since is not None:
        rows = rows.filter(happened_on__gte=since)
    if until is not None:
        rows = rows.filter(happened_on__lte=until)
    if other is not None:
        rows = rows.filter(Q(maker_id=other) | Q(to_maker_id=other))
    return rows


def movement_for(actor: Actor, id: UUID | str) -> Movement:
    """A movement between the maker and another. Raises NotFound, Forbidden."""
    return find(movements_of(actor), id)


def seen_by(actor: Actor, movements: Sequence[Movement]) -> list[Seen]:
    """The movements from the maker's own side, each with the dispute that stands, if any."""
    names = dict(Maker.objects.filter(coop_id=actor.coop_id).values_list("id", "name"))
    disputed = {one.movement_id: one for one in _standing([row.id for row in movements])}
    moved = [row.transfer_id for row in movements if row.transfer_id]
    goods = dict(
        Transfer.objects.filter(id__in=moved).values_list("id", "lot__material__name")
        if moved
        else ()
    )
    found = []
    for row in movements:
        owed = row.maker_id == actor.maker
        other = row.to_maker_id if owed else row.maker_id
        found.append(
            Seen(
                row,
                other,
                names[other],
                row.amount if owed else -row.amount,
                row.entry_id if owed else row.to_entry_id,
                disputed.get(row.id),
                goods.get(row.transfer_id, "") if row.transfer_id else "",
            )
        )
    return found


def record_payment(
    actor: Actor,
    *,
    maker: UUID | str,
    amount: Decimal,
    paid: bool,
    happened_at: datetime,
    note: str,
) -> Movement:
    """Record money that was `paid` to another maker, or for it, or that it paid to this one.

    Either of the two records it, and it stands in the books of both. `note` says how. Raises
    NotFound, MoneyTooFine, Invalid for a payment of nothing and a day in the future or in closed
    books, and Conflict where the other maker's books are closed for that day.
    """
    actor.must(Verb.SETTLE)
    other = maker_for(actor, maker, pointer="/maker")
    if other.id == actor.maker:
        raise Invalid("Name the other maker, not your own.", pointer="/maker")
    if amount <= 0:
        raise Invalid("Write how much was paid: more than nothing.", pointer="/amount")
    if amount != round_money(amount, actor.currency):
        digits = minor_units(actor.currency)
        raise MoneyTooFine(currency=actor.currency, digits=digits, pointer="/amount")
    payer, payee = (actor.maker, other.id) if paid else (other.id, actor.maker)
    return _record(actor, payer, payee, amount, happened_at, note)


def undo_payment(
    actor: Actor, *, movement: UUID | str, reason: str, happened_at: datetime
) -> Movement:
    """Take back a payment that was recorded by mistake: a reversal in the books of both.

    Either of the two may, and says why. Raises NotFound, AlreadyReversed, and Conflict for what is
    no payment.
    """
    actor.must(Verb.SETTLE)
    found = movement_for(actor, movement)
    if found.kind != Movement.Kind.PAYMENT or found.reverses_id is not None:
        raise Conflict("Only a payment is taken back; goods are given back instead.")
    if Movement.objects.filter(reverses=found).exists():
        raise AlreadyReversed
    made = found.to_maker_id, found.maker_id, found.amount
    return _record(actor, *made, happened_at, reason, undoes=found.id)


def dispute(actor: Actor, *, movement: UUID | str, reason: str, stands: bool = True) -> Movement:
    """Mark a movement as disputed, or (`stands` false) say that one's own dispute is over.

    It keeps its place in the balance, is shown beside it, and waits out every clearing. Raises
    NotFound, Forbidden, Conflict where it is disputed already or is not, or by the other.
    """
    actor.must(Verb.SETTLE)
    found = movement_for(actor, movement)
    with explained():
        Dispute.objects.create(
            coop_id=actor.coop_id,
            maker_id=actor.maker,
            to_maker_id=found.to_maker_id if found.maker_id == actor.maker else found.maker_id,
            movement=found,
            stands=stands,
            reason=reason,
            person_id=actor.person_id,
        )
    return found


def settlement_accounts(one: UUID, other: UUID) -> tuple[UUID, UUID]:
    """The account of each of two makers in which it keeps what the other owes it."""
    kind = Account.Kind.SETTLEMENT.value
    return account_id(one, f"{kind}:{other}"), account_id(other, f"{kind}:{one}")


def _record(
    actor: Actor,
    payer: UUID,
    payee: UUID,
    amount: Decimal,
    happened_at: datetime,
    note: str,
    undoes: UUID | None = None,
) -> Movement:
    id = new_id()
    money = f"{Account.Kind.MONEY.value}:paid and received"
    of_payer, of_payee = settlement_accounts(payer, payee)
    with explained():
        run(
            _RECORD,
            [
                *(id, payer, payee, amount, happened_at, actor.person_id, note, undoes),
                [new_id(), new_id()],
                [of_payer, account_id(payer, money)],
                [of_payee, account_id(payee, money)],
            ],
        )
    return Movement.objects.get(coop_id=actor.coop_id, id=id)


def _standing(movements: Sequence[UUID]) -> "list[Dispute]":
    """The disputes of these movements that stand."""
    rows = Dispute.objects.filter(movement__in=movements).order_by("movement", "-id")
    undone = Movement.objects.filter(reverses__in=movements).values_list("reverses_id", flat=True)
    gone = set(undone)
    latest = list(rows.distinct("movement"))
    return [one for one in latest if one.stands and one.movement_id not in gone]
