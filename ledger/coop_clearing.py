"""Clearing a co-op: what all makers owe each other becomes as few payments as can be.

The coordinator sees what each maker owes in all and nothing of what for. A clearing changes to whom
a maker owes, and never how much: in each one's books it is an entry among its settlement accounts.
The payments that it names are then recorded by whoever pays or is paid.
"""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Final
from uuid import UUID

from django.db import connection
from django.db.models import QuerySet

from ledger.access import Actor
from ledger.clearing import Payment, clear
from ledger.entries import explained
from ledger.errors import Conflict, Forbidden, NotFound
from ledger.ids import new_id
from ledger.models import Clearing, ClearingPayment, Maker
from ledger.roles import Verb
from ledger.settling import settlement_accounts
from ledger.statements import run

Pair = tuple[UUID, UUID]
ZERO: Final = Decimal(0)
_POST: Final = """
select ledger_post_clearing(%s, %s, %s, %s, %s, %s::uuid[], %s::uuid[], %s::numeric[], %s::uuid[],
                            %s::uuid[], %s::uuid[], %s::uuid[], %s::numeric[])
"""


@dataclass(frozen=True, slots=True)
class Position:
    """What all others owe a maker, sum of all; below zero it owes. `disputed` is part of it."""

    maker: UUID
    name: str
    amount: Decimal
    disputed: Decimal

    @property
    def undisputed(self) -> Decimal:
        """What is to be cleared."""
        return self.amount - self.disputed


@dataclass(frozen=True, slots=True)
class Proposal:
    """Where each maker stands, and the fewest payments that clear what nobody disputes.

    No way needs fewer than `at_least`, which is their number where that is proven. Once they are
    all that anybody owes, nothing is `to_clear`: they are to be paid.
    """

    positions: list[Position]
    payments: list[Payment[UUID]]
    at_least: int
    to_clear: bool


def propose(actor: Actor) -> Proposal:
    """Where the makers of the co-op stand, and how it would be cleared. Raises Forbidden."""
    return _propose(actor, _balances(actor))


def balances_with(actor: Actor, maker: UUID) -> list[Position]:
    """What each other owes this maker, by name, below zero what it owes them; what for is theirs.

    Raises Forbidden, and NotFound for no maker of the co-op.
    """
    pairs = _balances(actor)
    makers = dict(Maker.objects.filter(coop_id=actor.coop_id).values_list("id", "name"))
    if maker not in makers:
        raise NotFound
    found = [
        Position(other, makers[other], *told)
        for (one, other), told in pairs.items()
        if one == maker
    ]
    return sorted((one for one in found if one.amount), key=lambda one: one.name)


def clear_coop(actor: Actor, *, happened_at: datetime, note: str = "") -> Clearing:
    """Turn all debts that nobody disputes into the payments of `propose`.

    Afterwards each maker owes, or is owed, exactly these; once they are recorded as paid, all
    balances but the disputed movements are zero. Raises Forbidden, and Conflict where there is
    nothing to clear.
    """
    pairs = _balances(actor)
    proposal = _propose(actor, pairs)
    changes = _changes(pairs, proposal.payments)
    if not changes:
        raise Conflict("Nothing is to be cleared: every debt is already as few payments as can be.")
    accounts = [settlement_accounts(maker, other) for maker, other in changes]
    id, payments = new_id(), proposal.payments
    with explained():
        run(
            _POST,
            [
                *(id, happened_at, actor.person_id, note, proposal.at_least),
                [maker for maker, _ in changes],
                [other for _, other in changes],
                list(changes.values()),
                [one for one, _ in accounts],
                [other for _, other in accounts],
                [payment.payer for payment in payments],
                [payment.payee for payment in payments],
                [payment.amount for payment in payments],
            ],
        )
    return Clearing.objects.get(coop_id=actor.coop_id, id=id)


def clearings_of(actor: Actor) -> "QuerySet[Clearing]":
    """The clearings of the co-op. Raises Forbidden."""
    _must_see(actor)
    return Clearing.objects.filter(coop_id=actor.coop_id)


def payments_of(actor: Actor, clearings: "list[Clearing]") -> dict[UUID, list[ClearingPayment]]:
    """The payments of these clearings that one may see: a maker its own, the coordinator all."""
    rows = ClearingPayment.objects.filter(clearing__in=clearings)
    found: dict[UUID, list[ClearingPayment]] = defaultdict(list)
    for row in rows.select_related("maker", "to_maker").order_by("id"):
        found[row.clearing_id].append(row)
    return found


def _must_see(actor: Actor) -> None:
    if actor.maker_id is not None:
        actor.must(Verb.SEE_COSTS)
    else:
        actor.must(Verb.CLEAR)


def _balances(actor: Actor) -> dict[Pair, tuple[Decimal, Decimal]]:
    """What the first of two makers is owed by the second, and how much of it is disputed."""
    actor.must(Verb.CLEAR)
    if actor.maker_id is not None:
        raise Forbidden("This is the co-op's: act as its coordinator, for no maker.")
    with explained(), connection.cursor() as cursor:
        cursor.execute("select * from ledger_coop_balances()")
        rows = cursor.fetchall()
    found: dict[Pair, tuple[Decimal, Decimal]] = defaultdict(lambda: (ZERO, ZERO))
    for maker, other, amount, disputed in rows:
        there, part = found[maker, other]
        found[maker, other] = there + amount, part + disputed
        there, part = found[other, maker]
        found[other, maker] = there - amount, part - disputed
    return found


def _propose(actor: Actor, pairs: Mapping[Pair, tuple[Decimal, Decimal]]) -> Proposal:
    amounts: dict[UUID, Decimal] = defaultdict(Decimal)
    disputes: dict[UUID, Decimal] = defaultdict(Decimal)
    for (maker, _), (amount, disputed) in pairs.items():
        amounts[maker] += amount
        disputes[maker] += disputed
    makers = list(Maker.objects.filter(coop_id=actor.coop_id).order_by("name"))
    positions = [
        Position(maker.id, maker.name, amounts[maker.id], disputes[maker.id]) for maker in makers
    ]
    cleared = clear({one.maker: one.undisputed for one in positions})
    to_clear = bool(_changes(pairs, cleared.payments))
    return Proposal(positions, cleared.payments, cleared.at_least, to_clear)


def _changes(
    pairs: Mapping[Pair, tuple[Decimal, Decimal]], payments: "list[Payment[UUID]]"
) -> dict[Pair, Decimal]:
    """How much more the first of two makers is to be owed by the second; each pair once."""
    due: dict[Pair, Decimal] = defaultdict(Decimal)
    for payment in payments:
        due[payment.payee, payment.payer] += payment.amount
        due[payment.payer, payment.payee] -= payment.amount
    undisputed = {pair: amount - disputed for pair, (amount, disputed) in pairs.items()}
    changes = {
        pair: due.get(pair, ZERO) - undisputed.get(pair, ZERO) for pair in {*due, *undisputed}
    }
    return {pair: change for pair, change in sorted(changes.items()) if change > 0}
