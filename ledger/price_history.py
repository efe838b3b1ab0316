"""What a material has cost on the shelf, delivery by delivery."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from uuid import UUID

from django.db.models import Exists, OuterRef, QuerySet

from ledger.access import Actor, material_for
from ledger.models import Entry, ReceiptLine
from ledger.roles import Verb


@dataclass(frozen=True, slots=True)
class Paid:
    """One delivery of a material: goods alone and landed, each for a kilogram or a piece."""

    receipt: UUID
    supplier: str
    happened_at: datetime
    quantity: Decimal
    goods: Decimal
    landed: Decimal


def paid_for(actor: Actor, material: UUID | str, *, limit: int = 60) -> list[Paid]:
    """The latest deliveries of a material to the maker that stand, the oldest of them first.

    Unit costs are per kilogram, or per piece of what is counted, exact to the digits kept. Raises
    NotFound, and Forbidden for whoever may not see costs.
    """
    actor.must(Verb.SEE_COSTS)
    found = material_for(actor, material)
    per = Decimal(1 if found.counted else 1000)
    lines = list(_lines(actor, found.id)[:limit])
    return [
        Paid(
            receipt=line.receipt_id,
            supplier=line.receipt.supplier.name,
            happened_at=line.receipt.happened_at,
            quantity=line.quantity,
            goods=line.goods * per / line.quantity,
            landed=line.landed_cost * per / line.quantity,
        )
        for line in reversed(lines)
    ]


def _lines(actor: Actor, material: UUID) -> "QuerySet[ReceiptLine]":
    undone = Entry.objects.filter(
        coop_id=OuterRef("coop_id"), reverses_id=OuterRef("receipt__entry_id")
    )
    rows = ReceiptLine.objects.select_related("receipt__supplier").filter(~Exists(undone))
    own = rows.filter(maker_id=actor.maker, lot__material_id=material)
    return own.order_by("-receipt__happened_at", "-id")
