"""What each was really charged in a round that is handed out, then and by bills that came later.

A maker sees its own; the buyer, from whom all of it comes, and whoever acts for the co-op see all.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Final
from uuid import UUID

from django.db.models import OuterRef, Subquery, Sum

from ledger.access import Actor
from ledger.models import Material, OrderRound, RoundLatePart, RoundPortion
from ledger.roles import Verb
from ledger.round_results import MakerResult

NOTHING: Final = Decimal(0)


@dataclass(slots=True)
class Goods:
    """What a maker got of a material, in grams or pieces, and was charged for it."""

    material: Material
    quantity: Decimal = NOTHING
    amount: Decimal = NOTHING
    # What later bills added, or below zero gave back.
    later: Decimal = NOTHING


@dataclass(frozen=True, slots=True)
class Charged:
    """What a maker got and was charged, in the co-op's currency."""

    goods: Sequence[Goods] = field(default_factory=list)

    @property
    def amount(self) -> Decimal:
        """At the hand-out."""
        return sum((one.amount for one in self.goods), NOTHING)

    @property
    def later(self) -> Decimal:
        """By bills that came afterwards."""
        return sum((one.later for one in self.goods), NOTHING)

    @property
    def paid(self) -> Decimal:
        return self.amount + self.later

    def saved(self, plan: MakerResult) -> Decimal | None:
        """Against ordering alone what was pledged; what was asked for of leftover beside it is not
        in that, and is taken as it was split. None where less came than that is for."""
        share, got = plan.share, {one.material.id: one.quantity for one in self.goods}
        wanted = {row.material_id: row.quantity for row in plan.lines if not row.dropped}
        if share is None or any(got.get(id, NOTHING) < much for id, much in wanted.items()):
            return None
        saved: Decimal = share.alone + share.leftover_amount - self.paid
        return saved


def charges_of(actor: Actor, round: OrderRound) -> Mapping[UUID, Charged]:
    """By maker, as far as the actor may know; nothing of a round that is not handed out.

    Raises Forbidden for who may not see costs.
    """
    actor.must(Verb.RUN_ROUNDS if actor.maker_id is None else Verb.SEE_COSTS)
    portions = RoundPortion.objects.filter(coop_id=actor.coop_id, hand_out__round=round)
    parts = RoundLatePart.objects.filter(coop_id=actor.coop_id, portion=OuterRef("id"))
    later = Subquery(parts.values("portion").annotate(sum=Sum("amount")).values("sum"))
    rows = portions.annotate(later=later).select_related("material")
    found: dict[UUID, dict[UUID, Goods]] = {}
    for row in rows.order_by("id"):
        goods = found.setdefault(row.to_maker_id, {})
        one = goods.setdefault(row.material_id, Goods(row.material))
        one.quantity += row.quantity
        one.amount += row.amount
        one.later += row.later or NOTHING
    return {maker: Charged(list(goods.values())) for maker, goods in found.items()}
