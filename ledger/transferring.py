"""Moves between makers: one offers a quantity of a lot, another accepts it, the goods move.

The goods keep their lot. Each maker's books get an entry of their own, paired by settlement
accounts: what the giver is owed for it is what the receiver owes (ledger/sql/transfers.sql).
Neither sees the other's stock, batches or costs beyond the agreed amount.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Final
from uuid import UUID

from django.db import connection
from django.db.models import Q, QuerySet

from ledger.access import Actor, find, lot_for
from ledger.amounts import Amount
from ledger.entries import account, explained, lock_pools
from ledger.errors import (
    Invalid,
    LotNotReleased,
    MoneyTooFine,
    NotEnough,
    Sentence,
    placed,
)
from ledger.ids import account_id, new_id
from ledger.lots import custody_of
from ledger.measuring import Measured, density_of, measure
from ledger.models import Account, Holding, Lot, Maker, Posting, Reservation, Status, Transfer
from ledger.money import minor_units, round_money
from ledger.quantities import Quantity, kept_in
from ledger.roles import Verb
from ledger.statements import run

_ACCEPT: Final = """
select ledger_accept_transfer(%s, %s, %s, %s, %s, %s, %s, %s::uuid[], %s::uuid[])
"""


@dataclass(frozen=True, slots=True)
class Offered:
    """An offer, with what both sides may know of its lot; and `gain`, what it brought its giver
    above what the goods cost, for that one alone."""

    transfer: Transfer
    code: str
    supplier_id: UUID | None
    supplier_lot: str
    expires_on: date | None
    retest_on: date | None
    opened_on: date | None
    use_by: date | None
    material_name: str
    counted: bool
    giver: str
    receiver: str
    giver_status: str
    origin_name: str
    origin_status: str | None
    gain: Decimal | None = None

    @property
    def until(self) -> date | None:
        """The last day of use, by its expiry and since it is open; a retest may move another."""
        return min((day for day in (self.expires_on, self.use_by) if day), default=None)


def makers_of_coop(actor: Actor) -> "QuerySet[Maker]":
    """Who else is in the co-op. Its members know of each other."""
    actor.must(Verb.READ)
    return Maker.objects.filter(coop_id=actor.coop_id)


def maker_for(actor: Actor, id: UUID | str, *, pointer: str = "") -> Maker:
    """A maker of the co-op. Raises NotFound."""
    return find(Maker.objects.filter(coop_id=actor.coop_id), id, pointer=pointer)


def offer_transfer(
    actor: Actor,
    *,
    maker: UUID | str,
    lot: UUID | str,
    quantity: Quantity,
    happened_at: datetime,
    price: Decimal | None = None,
    in_kind: bool = False,
    note: str = "",
) -> Transfer:
    """Offer so much of a lot to another maker, for `price` in all or (without one) at cost.

    `in_kind` it is lent: what is owed is as much of the material, which another lot replaces; the
    price, or the cost, is then what the debt is worth.

    Nothing moves and nothing is reserved until it is accepted. Raises NotFound, NotEnough,
    LotNotReleased for a lot on hold or rejected, and Invalid for a lot of a material of one's own
    making, which the other maker does not know.
    """
    actor.must(Verb.TRANSFER)
    to = maker_for(actor, maker, pointer="/maker")
    if to.id == actor.maker:
        raise Invalid("Offer it to another maker than your own.", pointer="/maker")
    found = giveable_lot(actor, lot)
    if price is not None and price != round_money(price, actor.currency):
        raise MoneyTooFine(
            currency=actor.currency, digits=minor_units(actor.currency), pointer="/price"
        )
    with placed("/quantity"):
        amount = measure(quantity, found.material, density_of(found))
    must_be_free(actor, found, amount)
    return Transfer.objects.create(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        to_maker=to,
        lot=found,
        material=found.material,
        entered=amount.entered,
        quantity=amount.quantity,
        price=price,
        in_kind=in_kind,
        note=note,
        happened_at=happened_at,
        person_id=actor.person_id,
    )


def giveable_lot(actor: Actor, lot: UUID | str) -> Lot:
    """A lot of the maker's that another may come to have.

    Raises NotFound, and Invalid for one of a material of its own making.
    """
    found = lot_for(actor, lot, pointer="/lot")
    if found.material.maker_id is not None:
        raise Invalid(
            Sentence(
                "The lot {code} is of a material that only you know; lots of the shared"
                " catalogue can move to another maker.",
                code=found.code,
            ),
            pointer="/lot",
        )
    return found


def accept_transfer(
    actor: Actor,
    *,
    transfer: UUID | str,
    happened_at: datetime,
    release_basis: str | None = None,
) -> Transfer:
    """Accept an offer: the goods move into one's own store, and their amount is owed to the giver.

    A lot that is new here waits in quarantine unless it is released on a basis: that decision is
    each holder's own (ISO 22716 6.4, 6.5). Raises NotFound, Conflict for an offer that was
    answered, NotEnough when the giver has less left, LotNotReleased when it is on hold there.
    """
    actor.must(Verb.TRANSFER)
    if release_basis is not None:
        actor.must(Verb.DECIDE)
        if not release_basis.strip():
            raise Invalid(
                "Say on what basis, such as the certificate seen.", pointer="/release/basis"
            )
    found = transfer_for(actor, transfer)
    if found.to_maker_id != actor.maker:
        raise Invalid("This offer is your own; the maker it was made to accepts it.")
    giver, receiver = accounts_between(found.maker_id, actor.maker, in_kind=found.in_kind)
    with explained():
        run(
            _ACCEPT,
            [
                *(found.id, happened_at, actor.person_id, minor_units(actor.currency)),
                *(release_basis, new_id(), new_id(), giver, receiver),
            ],
        )
    found.refresh_from_db()
    return found


def accounts_between(
    giver: UUID, receiver: UUID, *, in_kind: bool = False
) -> tuple[list[UUID], list[UUID]]:
    """The accounts that a move touches: the giver's store, settlement, and gain or loss; and the
    receiver's store and settlement. What is owed `in_kind` has accounts of its own."""
    owing = Account.Kind.LOAN if in_kind else Account.Kind.SETTLEMENT
    gave = (
        (Account.Kind.STORE, "store"),
        (owing, str(receiver)),
        (Account.Kind.TRANSFER, "gain or loss"),
    )
    got = ((Account.Kind.STORE, "store"), (owing, str(giver)))
    return (
        [account_id(giver, f"{kind.value}:{name}") for kind, name in gave],
        [account_id(receiver, f"{kind.value}:{name}") for kind, name in got],
    )


def decline_transfer(actor: Actor, *, transfer: UUID | str, reason: str) -> Transfer:
    """Decline an offer that was made to one. Raises NotFound, Conflict if it was answered."""
    return _close(actor, transfer, Transfer.State.DECLINED, reason)


def withdraw_transfer(actor: Actor, *, transfer: UUID | str, reason: str) -> Transfer:
    """Withdraw one's own offer. Raises NotFound, Conflict if it was answered."""
    return _close(actor, transfer, Transfer.State.WITHDRAWN, reason)


def transfers_of(
    actor: Actor, *, incoming: bool | None = None, state: str | None = None
) -> "QuerySet[Transfer]":
    """The offers that one made (`incoming` false), was made (true), or both."""
    actor.must(Verb.READ)
    made, had = Q(maker_id=actor.maker), Q(to_maker_id=actor.maker)
    rows = Transfer.objects.filter({None: made | had, True: had, False: made}[incoming])
    return rows if state is None else rows.filter(state=state)


def transfer_for(actor: Actor, id: UUID | str) -> Transfer:
    """An offer that one made or was made. Raises NotFound."""
    return find(transfers_of(actor), id)


def offered(transfers: Iterable[Transfer]) -> list[Offered]:
    """The offers with what both sides may know of their lots, in one query."""
    rows: Sequence[Transfer] = list(transfers)
    if not rows:
        return []
    with connection.cursor() as cursor:
        cursor.execute("select * from ledger_show_offered(%s::uuid[])", [[row.id for row in rows]])
        known: dict[UUID, Any] = {row[0]: row[1:] for row in cursor.fetchall()}
    gains = _gains([row.out_entry_id for row in rows if row.out_entry_id is not None])
    return [Offered(row, *(*known[row.id], gains.get(row.out_entry_id))) for row in rows]


def cost_at_present(actor: Actor, transfer: Transfer) -> Decimal | None:
    """What an offer at cost comes to if it is accepted now, in the co-op's currency.

    None where it names a price, is lent, was answered, or is no longer there in full. Raises
    Forbidden for who may not see costs.
    """
    actor.must(Verb.SEE_COSTS)
    with connection.cursor() as cursor:
        cursor.execute("select ledger_offered_cost(%s)", [transfer.id])
        found: Decimal | None = cursor.fetchone()[0]
    return found


def _gains(entries: Sequence[UUID]) -> dict[UUID | None, Decimal]:
    """What each of one's own moves brought above what the goods cost; nobody sees another's."""
    own = Posting.objects.filter(entry_id__in=entries, account__kind=Account.Kind.STORE)
    found: dict[UUID | None, Decimal] = dict.fromkeys(
        own.values_list("entry_id", flat=True), Decimal(0)
    )
    booked = Posting.objects.filter(entry_id__in=entries, account__kind=Account.Kind.TRANSFER)
    return found | {entry: -value for entry, value in booked.values_list("entry_id", "value")}


def _close(actor: Actor, transfer: UUID | str, answer: Transfer.State, reason: str) -> Transfer:
    actor.must(Verb.TRANSFER)
    found = transfer_for(actor, transfer)
    is_own = found.maker_id == actor.maker
    if is_own == (answer == Transfer.State.DECLINED):
        raise Invalid("Withdraw your own offer, and decline one that was made to you.")
    with explained(), connection.cursor() as cursor:
        cursor.execute("select ledger_close_transfer(%s, %s, %s)", [found.id, answer.value, reason])
    found.refresh_from_db()
    return found


def must_be_free(actor: Actor, lot: Lot, amount: Measured | None) -> Measured:
    """So much of a lot, or all that is free of it: neither moved nor promised to a batch.

    Raises LotNotReleased for a lot that may not move, NotEnough for more than is free or nothing.
    """
    lock_pools([lot.material_id])
    status = custody_of(actor, lot).status
    if status in (Status.HOLD, Status.REJECTED):
        raise LotNotReleased(
            Sentence("The lot {code} is {status}, and may not move.", code=lot.code, status=status),
            pointer="/lot",
            status=status,
        )
    free, batches = _free(actor, lot.id)
    unit = kept_in(lot.material.counted)
    if amount is None:
        amount = Measured(f"{free.normalize():f} {unit}", free, counted=lot.material.counted)
    if free <= 0 or amount.quantity > free:
        template = (
            "Only {free} of the lot {code} is free to give: the rest is reserved for {held}."
            if batches
            else "Only {free} of the lot {code} is free to give."
        )
        held = ", ".join(batches)
        told = Amount(free, lot.material.counted).rounded_down()
        raise NotEnough(
            Sentence(template, free=told, code=lot.code, held=held),
            pointer="/quantity",
            left=f"{free:f}",
            reserved_for=batches,
        )
    return amount


def _free(actor: Actor, lot: UUID) -> tuple[Decimal, list[str]]:
    """What lies in the store of a lot and is promised to nobody; and the batches that hold more."""
    store = account(actor, Account.Kind.STORE, "store")
    held = Holding.objects.filter(coop_id=actor.coop_id, account_id=store, lot_id=lot)
    rows = Reservation.objects.filter(coop_id=actor.coop_id, maker_id=actor.maker, lot_id=lot)
    promised = list(rows.filter(quantity__gt=0).values_list("account__name", "quantity"))
    there = sum(held.values_list("quantity", flat=True), Decimal(0))
    free = there - sum((quantity for _, quantity in promised), Decimal(0))
    return free, sorted(batch for batch, _ in promised)
