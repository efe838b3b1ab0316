"""What labels and count sheets say of lots."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from uuid import UUID

from django.db.models import F, Sum

from ledger.access import Actor, find, lot_for, material_for
from ledger.counting import sheets_of
from ledger.lots import custody_of
from ledger.models import CountLine, CountSheet, Custody, Holding, Lot, Maker
from ledger.roles import Verb

MOST_LISTED = 1000


@dataclass(frozen=True, slots=True)
class LotFacts:
    """A lot as a count sheet names it; `amount` is what the books have in store, in grams or
    pieces."""

    code: str
    material: str
    status: str
    amount: Decimal
    counted: bool


def maker_name(actor: Actor) -> str:
    """The name of the maker acted for. Raises Forbidden for the co-op alone."""
    return Maker.objects.get(coop_id=actor.coop_id, id=actor.maker).name


def lot_to_label(actor: Actor, lot: UUID | str) -> tuple[Lot, Custody]:
    """A lot of the maker, and how it stands there. Raises NotFound, Forbidden."""
    actor.must(Verb.READ)
    found = lot_for(actor, lot)
    return found, custody_of(actor, found)


def lots_to_count(
    actor: Actor, *, material: UUID | str | None = None
) -> tuple[list[LotFacts], bool]:
    """What the maker has in store by material and lot, and whether there is more than can be
    listed; in two queries. Raises NotFound, Forbidden."""
    actor.must(Verb.READ)
    rows = Holding.objects.filter(
        coop_id=actor.coop_id, maker_id=actor.maker, kind="store", any_left=True
    )
    if material is not None:
        rows = rows.filter(material=material_for(actor, material, pointer="/material"))
    held = list(
        rows.values("lot_id", code=F("lot__code"), name=F("material__name"))
        .annotate(measured_by=F("material__measured_by"), left=Sum("quantity"))
        .order_by("name", "code")[: MOST_LISTED + 1]
    )
    custody = Custody.objects.filter(
        coop_id=actor.coop_id, maker_id=actor.maker, lot_id__in=[row["lot_id"] for row in held]
    )
    status = {row.lot_id: row.status for row in custody}
    facts = [
        LotFacts(
            row["code"],
            row["name"],
            status[row["lot_id"]],
            row["left"],
            row["measured_by"] == "count",
        )
        for row in held[:MOST_LISTED]
    ]
    return facts, len(held) > MOST_LISTED


def lots_of_count(actor: Actor, sheet: UUID | str) -> tuple[CountSheet, list[LotFacts]]:
    """A count sheet and its lots in their order, in four queries.

    Those of a blind one are not to be shown. Raises NotFound, Forbidden.
    """
    found = find(sheets_of(actor), sheet)
    lines = CountLine.objects.select_related("lot__material").filter(
        coop_id=actor.coop_id, sheet=found
    )
    lots = [line.lot for line in lines.order_by("position")]
    ids = [lot.id for lot in lots]
    left = in_store(actor, ids)
    custody = Custody.objects.filter(coop_id=actor.coop_id, maker_id=actor.maker, lot_id__in=ids)
    status = {row.lot_id: row.status for row in custody}
    return found, [
        LotFacts(
            lot.code,
            lot.material.name,
            status[lot.id],
            left.get(lot.id, Decimal(0)),
            lot.material.counted,
        )
        for lot in lots
    ]


def in_store(actor: Actor, lots: Sequence[UUID]) -> dict[UUID, Decimal]:
    """What the books have of these lots in the maker's store, in grams or pieces; none of none."""
    held = Holding.objects.filter(
        coop_id=actor.coop_id, maker_id=actor.maker, lot_id__in=lots, kind="store"
    )
    return dict(held.values("lot_id").annotate(left=Sum("quantity")).values_list("lot_id", "left"))
