"""Orders written from a plan: the packs that it chose, at the prices that it showed."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from uuid import UUID

from ledger.access import Actor, day_of, find_all
from ledger.entries import lock_pools
from ledger.errors import (
    Conflict,
    Invalid,
    Sentence,
)
from ledger.models import Maker, Offer, PurchaseOrder
from ledger.money import round_money
from ledger.offer_reading import OfferOn, offers, offers_on
from ledger.ordering import Ordered, write_order
from ledger.plan_offers import pack_offer
from ledger.quantities import Quantity, parse_quantity
from ledger.roles import Verb


@dataclass(frozen=True, slots=True)
class Chosen:
    """So many packs of an offer, and what the plan said that all of them cost."""

    offer: str
    packs: int
    amount: Decimal


def write_planned(
    actor: Actor, *, chosen: Sequence[Chosen], happened_at: datetime, note: str = ""
) -> list[PurchaseOrder]:
    """Write an order for each supplier of what a plan chose, all of them or none.

    Each line is expected after the lead time of its offer, where that is known. Raises Forbidden,
    NotFound, Invalid for nothing or for fewer packs than are sold, and Conflict where a price is
    not what the plan showed any more.
    """
    actor.must(Verb.ORDER)
    if not chosen:
        raise Invalid("Nothing is to be ordered.")
    day = day_of(actor, happened_at)
    wanted = [(one.offer, f"/lines/{place}/offer") for place, one in enumerate(chosen)]
    rows = find_all(offers(actor, on=day), wanted)
    materials = {row.material_id for row in rows}
    on = {one.offer: one for one in offers_on(actor, day=day, materials=materials)}
    lines: dict[UUID, list[Ordered]] = defaultdict(list)
    for row, one in zip(rows, chosen, strict=True):
        lines[row.supplier_id].append(_ordered(actor, row, on.get(row.id), one, day))
    # All locks in one order, as an order by itself takes them: its number, then its pools.
    Maker.objects.select_for_update().get(id=actor.maker)
    lock_pools(materials)
    return [
        write_order(actor, supplier=supplier, lines=own, happened_at=happened_at, note=note)
        for supplier, own in lines.items()
    ]


def pack_as_typed(offer: Offer) -> Quantity:
    """A pack as it was typed; in grams where the offer weighs a volume otherwise than its material
    does now."""
    in_grams = offer.density not in (None, offer.material.density) and not offer.material.counted
    return parse_quantity(f"{offer.quantity.normalize():f} g" if in_grams else offer.entered)


def _ordered(actor: Actor, row: Offer, on: OfferOn | None, one: Chosen, day: date) -> Ordered:
    name = row.material.name
    if on is None:
        raise Conflict(
            Sentence(
                "{supplier} does not offer {name} any more: plan anew.",
                supplier=row.supplier.name,
                name=name,
            )
        )
    each = pack_offer(on, name=name, mass_each=row.material.mass_each).price_of(one.packs)
    amount = round_money(each * one.packs, actor.currency)
    if amount != round_money(one.amount, actor.currency):
        raise Conflict(
            Sentence(
                "The price of {name} has changed since the plan was made: plan anew.", name=name
            )
        )
    lead = on.lead_time_days
    return Ordered(
        material=str(row.material_id),
        pack=pack_as_typed(row),
        price=amount,
        packs=one.packs,
        expected_on=None if lead is None else day + timedelta(days=lead),
    )
