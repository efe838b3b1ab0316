"""The orders that a round came to, written in the books of its buyer."""

from datetime import datetime
from uuid import UUID

from ledger.access import Actor
from ledger.entries import explained, lock_pools
from ledger.errors import (
    Conflict,
    Forbidden,
    Sentence,
)
from ledger.explained_moves import NOT_AGREED
from ledger.models import Maker, PurchaseOrder, RoundOrder, RoundOrderLine, RoundPlacement
from ledger.money import round_money
from ledger.ordering import Ordered, write_order
from ledger.planned_orders import pack_as_typed
from ledger.roles import Verb
from ledger.rounds import round_for


def place_orders(
    actor: Actor, *, round: UUID | str, happened_at: datetime, note: str = ""
) -> list[PurchaseOrder]:
    """Write an order for each supplier of a reckoned round, as the buyer; once.

    From now on they count as on order with the buyer, who receives for all. Raises NotFound,
    Forbidden for anybody but the buyer, and Conflict where nothing is to be ordered, all is written
    already, or the buyer has not agreed to buy.
    """
    actor.must(Verb.ORDER)
    found = round_for(actor, round)
    if found.buying_id != actor.maker:
        raise Forbidden(
            Sentence(
                "{buyer} buys for this round and writes its orders.",
                buyer=found.buying_name,
            )
        )
    rows = RoundOrder.objects.filter(coop_id=actor.coop_id, maker_id=actor.maker, round=found)
    orders = list(rows.prefetch_related("lines__offer__material").order_by("id"))
    if not orders:
        raise Conflict("This round has nothing to order: it is not reckoned, or nobody took part.")
    if not found.buyer_agrees:  # type: ignore[attr-defined]
        raise Conflict(NOT_AGREED)
    lines = {order.id: sorted(order.lines.all(), key=lambda one: one.position) for order in orders}
    # All locks in one order, as an order by itself takes them: its number, then its pools.
    Maker.objects.select_for_update().get(id=actor.maker)
    lock_pools({line.offer.material_id for own in lines.values() for line in own})
    written = []
    for order in orders:
        kept = write_order(
            actor,
            supplier=order.supplier_id,
            lines=[_ordered(line, actor.currency) for line in lines[order.id]],
            happened_at=happened_at,
            note=note or f"Round: {found.name}",
        )
        with explained():
            RoundPlacement.objects.create(
                coop_id=actor.coop_id,
                maker_id=actor.maker,
                order=order,
                purchase_order=kept,
                number=kept.number,
            )
        written.append(kept)
    return written


def _ordered(line: RoundOrderLine, currency: str) -> Ordered:
    return Ordered(
        material=str(line.offer.material_id),
        pack=pack_as_typed(line.offer),
        price=round_money(line.amount, currency),
        packs=line.packs,
    )
