"""Shares: a holder opens a lot, all or a part, to every maker of the co-op.

All of them see what the lot is, how it stands and its papers; of what it cost they hear no more
than the price itself says (ledger/sql/sharing.sql).
"""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Final
from uuid import UUID

from django.db import connection
from django.db.models import QuerySet

from ledger.access import Actor, find
from ledger.entries import explained
from ledger.errors import Conflict, Forbidden, Invalid, MoneyTooFine, placed
from ledger.measuring import density_of, measure
from ledger.models import Share
from ledger.money import minor_units, round_money
from ledger.quantities import Quantity
from ledger.roles import Verb
from ledger.transferring import giveable_lot, must_be_free

# More on the cost than this is mostly a slip.
MOST_PERCENT: Final = 1000


@dataclass(frozen=True, slots=True)
class Terms:
    """At cost, at cost and so much `percent` more, or at a `price` a kilogram or piece."""

    percent: Decimal | None = None
    price: Decimal | None = None

    @property
    def kind(self) -> Share.Terms:
        if self.price is not None:
            return Share.Terms.PRICE
        return Share.Terms.COST if self.percent is None else Share.Terms.COST_PLUS


@dataclass(frozen=True, slots=True)
class Shown:
    """A share, with what every maker of the co-op may know of its lot.

    `claimable` is what can still be claimed, in grams or pieces; `price` is of a kilogram or piece,
    as it is now where it follows the cost. `density` is the lot's own. `papers` are documents by
    id, kind and name.
    """

    share: Share
    code: str
    supplier_id: UUID | None
    supplier_lot: str
    expires_on: date | None
    retest_on: date | None
    opened_on: date | None
    use_by: date | None
    density: Decimal | None
    density_at: Decimal | None
    density_entered: str
    material_name: str
    inci_name: str
    counted: bool
    giver: str
    giver_status: str
    claimable: Decimal
    price: Decimal | None
    papers: Sequence[dict[str, Any]]

    @property
    def until(self) -> date | None:
        """The last day of use, by its expiry and since it is open; a retest may move another."""
        return min((day for day in (self.expires_on, self.use_by) if day), default=None)


def open_share(
    actor: Actor,
    *,
    lot: UUID | str,
    happened_at: datetime,
    quantity: Quantity | None = None,
    terms: Terms = Terms(),
    accepts_itself: bool = False,
    closes_at: datetime | None = None,
    note: str = "",
) -> Share:
    """Open so much of a lot, or (without a quantity) all that is free of it, to the co-op.

    Nothing moves and nothing is reserved until a claim is accepted. Raises NotFound, Invalid,
    NotEnough (naming the batches that hold the rest), and LotNotReleased for a lot on hold or
    rejected.
    """
    actor.must(Verb.TRANSFER)
    _check_terms(actor, terms)
    if closes_at is not None and closes_at <= happened_at:
        raise Invalid("Nobody could ask for it: give a later moment.", pointer="/closes_at")
    found = giveable_lot(actor, lot)
    amount = None
    if quantity is not None:
        with placed("/quantity"):
            amount = measure(quantity, found.material, density_of(found))
    amount = must_be_free(actor, found, amount)
    return Share.objects.create(
        coop_id=actor.coop_id,
        giver_id=actor.maker,
        lot=found,
        material=found.material,
        entered=amount.entered,
        quantity=amount.quantity,
        terms=terms.kind,
        percent=terms.percent,
        price=terms.price,
        accepts_itself=accepts_itself,
        note=note,
        happened_at=happened_at,
        closes_at=closes_at,
        person_id=actor.person_id,
    )


def close_share(actor: Actor, *, share: UUID | str, reason: str, now: datetime) -> Share:
    """Close a share of one's own: nothing more is claimed; claims that wait can be answered still.

    Raises NotFound, Forbidden for another's, Conflict for one that is closed.
    """
    actor.must(Verb.TRANSFER)
    found = find(_shares(actor).select_for_update(of=("self",), no_key=True), share)
    if found.giver_id != actor.maker:
        raise Forbidden("Whoever opened a share closes it.")
    if found.closed_at is not None:
        raise Conflict("This share is closed already.")
    found.closed_at, found.closed_why = now, reason
    found.save(update_fields=["closed_at", "closed_why"])
    return found


def shares_of_coop(
    actor: Actor, *, now: datetime, own: bool | None = None, material: UUID | None = None
) -> "QuerySet[Share]":
    """The shares that are open, of all makers; one's own alone (`own` true), or others' (false)."""
    actor.must(Verb.READ)
    rows = _shares(actor).filter(closed_at=None).exclude(closes_at__lte=now)
    if material is not None:
        rows = rows.filter(material_id=material)
    if own is None:
        return rows
    return rows.filter(giver_id=actor.maker) if own else rows.exclude(giver_id=actor.maker)


def share_for(actor: Actor, id: UUID | str, *, pointer: str = "") -> Share:
    """A share of the co-op, open or closed. Raises NotFound."""
    actor.must(Verb.READ)
    return find(_shares(actor), id, pointer=pointer)


def shown(shares: Iterable[Share]) -> list[Shown]:
    """The shares with what everybody may know of their lots, in one query."""
    rows = list(shares)
    with explained(), connection.cursor() as cursor:
        cursor.execute("select * from ledger_show_shares(%s::uuid[])", [[row.id for row in rows]])
        known: dict[UUID, Any] = {
            id: (*told, json.loads(papers)) for id, *told, papers in cursor.fetchall()
        }
    return [Shown(row, *known[row.id]) for row in rows]


def _shares(actor: Actor) -> "QuerySet[Share]":
    return Share.objects.filter(coop_id=actor.coop_id)


def _check_terms(actor: Actor, terms: Terms) -> None:
    if terms.percent is not None and terms.price is not None:
        raise Invalid("Give a percent on the cost or a price, not both.", pointer="/price")
    if terms.percent is not None and terms.percent > MOST_PERCENT:
        raise Invalid(
            "Write 1000 percent at most; for more than that give a price.", pointer="/percent"
        )
    if terms.price is not None and terms.price != round_money(terms.price, actor.currency):
        raise MoneyTooFine(
            currency=actor.currency, digits=minor_units(actor.currency), pointer="/price"
        )
