"""What was given comes back: claimed goods are returned, what was lent is replaced in kind.

A return is a move the other way that answers an earlier one, at the price at which the goods came.
What was lent is owed in grams or pieces, not in money: another lot of the same material replaces
it, and settles as much of the debt as it weighs. What the new lot cost its giver above or below
that is the giver's own gain or loss.
"""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Final
from uuid import UUID

from django.db.models import DecimalField, F, OuterRef, Q, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce

from ledger.access import Actor, lot_for
from ledger.amounts import Amount
from ledger.errors import (
    Conflict,
    Invalid,
    NotEnough,
    Sentence,
    placed,
)
from ledger.measuring import Measured, density_of, measure
from ledger.models import Lot, Transfer
from ledger.quantities import Quantity, kept_in
from ledger.roles import Verb
from ledger.transferring import must_be_free, transfer_for

ZERO: Final = Decimal(0)
_SUM: Final = DecimalField(max_digits=18, decimal_places=6)


@dataclass(frozen=True, slots=True)
class Loan:
    """What was lent of a material, and what of it is owed still, in kind and in its value."""

    transfer: Transfer
    lent: bool
    other: UUID
    other_name: str
    owed: Decimal
    owed_value: Decimal


def give_back(
    actor: Actor,
    *,
    transfer: UUID | str,
    happened_at: datetime,
    quantity: Quantity | None = None,
    lot: UUID | str | None = None,
    note: str = "",
) -> Transfer:
    """Offer back what an earlier move brought, all that is still owed of it unless less is said.

    What was bought goes back as the lot that came; what was borrowed is replaced by that lot or
    another of the same material. Nothing moves until the other maker accepts. Raises NotFound,
    Forbidden, Conflict for a move that did not come to this maker or is itself a return, NotEnough
    for more than is owed or free, LotNotReleased, Invalid.
    """
    actor.must(Verb.TRANSFER)
    before = transfer_for(actor, transfer)
    chosen = None if lot is None else lot_for(actor, lot, pointer="/lot")
    if before.to_maker_id != actor.maker or before.state != Transfer.State.ACCEPTED:
        raise Conflict("Only what came to you is given back; offer anything else anew.")
    if before.answers_id is not None:
        raise Conflict("This move was itself a return; offer the goods anew.")
    found = _lot_back(actor, before, chosen)
    amount = _owed_back(actor, before, found, quantity)
    return Transfer.objects.create(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        to_maker_id=before.maker_id,
        lot=found,
        material_id=before.material_id,
        entered=amount.entered,
        quantity=amount.quantity,
        in_kind=before.in_kind,
        answers=before,
        note=note,
        happened_at=happened_at,
        person_id=actor.person_id,
    )


def _owed_back(actor: Actor, before: Transfer, lot: Lot, quantity: Quantity | None) -> Measured:
    """So much as is to go back, or all that is still owed. Raises NotEnough, LotNotReleased."""
    owed = owed_of(before)
    unit = kept_in(lot.material.counted)
    amount = Measured(f"{owed.normalize():f} {unit}", owed, counted=lot.material.counted)
    if quantity is not None:
        with placed("/quantity"):
            amount = measure(quantity, lot.material, density_of(lot))
    if not owed or amount.quantity > owed:
        raise NotEnough(
            Sentence(
                "Of that move {owed} is still owed; give back no more.",
                owed=Amount(owed, lot.material.counted).rounded_down(),
            ),
            pointer="/quantity",
            left=f"{owed:f}",
        )
    return must_be_free(actor, lot, amount)


def owed_of(transfer: Transfer) -> Decimal:
    """What of a move has not come back yet, in grams or pieces."""
    back = Transfer.objects.filter(answers=transfer, state=Transfer.State.ACCEPTED)
    owed: Decimal = transfer.quantity - sum(back.values_list("quantity", flat=True), ZERO)
    return owed


def loans_of(actor: Actor) -> "QuerySet[Transfer]":
    """What the maker lent or borrowed and is not replaced in full yet. Raises Forbidden."""
    actor.must(Verb.READ)
    back = Transfer.objects.filter(answers=OuterRef("id"), state=Transfer.State.ACCEPTED)

    def came_back(what: str) -> Coalesce:
        sums = back.order_by().values("answers").annotate(total=Sum(what)).values("total")
        return Coalesce(Subquery(sums), ZERO, output_field=_SUM)

    own = Q(maker_id=actor.maker) | Q(to_maker_id=actor.maker)
    rows = Transfer.objects.filter(own, in_kind=True, answers=None, state=Transfer.State.ACCEPTED)
    rows = rows.annotate(
        owed=F("quantity") - came_back("quantity"), owed_value=F("amount") - came_back("amount")
    )
    return rows.filter(owed__gt=0).select_related("material", "maker", "to_maker")


def as_loan(actor: Actor, row: Transfer) -> Loan:
    """A row of `loans_of` from the maker's own side."""
    lent = row.maker_id == actor.maker
    other = row.to_maker if lent else row.maker
    owed: Decimal = row.owed  # type: ignore[attr-defined]
    value: Decimal = row.owed_value  # type: ignore[attr-defined]
    return Loan(row, lent, other.id, other.name, owed, value)


def _lot_back(actor: Actor, before: Transfer, chosen: Lot | None) -> Lot:
    """The lot with which a move is answered. Raises Invalid."""
    if chosen is None:
        return lot_for(actor, before.lot_id)
    if chosen.material_id != before.material_id:
        raise Invalid("Replace it by a lot of the same material.", pointer="/lot")
    if not before.in_kind and chosen.id != before.lot_id:
        raise Invalid("What was bought goes back as the lot that came.", pointer="/lot")
    return chosen
