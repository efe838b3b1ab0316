"""Who would pay more for its part of a round than the highest price that it has named.

What was split is within everybody's highest price. What is really paid may not be: goods come
dearer, a break is lost with what comes short, a bill comes late. All was bought for the makers
then, so it is shared as ever; but whoever hands it out is told whom that touches, by how much and
why, and means it, and the maker is told as well and may dispute what it owes.
"""

import json
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final
from uuid import UUID

from django.db import connection

from ledger.errors import Invalid
from ledger.models import Material, OrderRound
from ledger.money import round_money
from ledger.round_figures import Figures
from ledger.round_portions import Portion

ASKED: Final = "select * from ledger_round_above_highest(%s, %s::jsonb)"


class AboveHighestPrice(Invalid):
    """Some would pay more than the highest price that they have named: {whom}. Ask them before;
    if you mean it, say that you are sure. They are told, and may dispute what they owe."""

    code = "above_highest_price"


@dataclass(frozen=True, slots=True)
class Above:
    """A maker's part of a material costs more than its highest price: so much more than was split
    for what it gets, since the goods are dearer, or for what is charged beside them."""

    maker_id: UUID
    maker_name: str
    material: Material
    more: Decimal
    goods_dearer: bool


def above_highest(
    round: OrderRound, portions: Collection[Portion[UUID]], reckoned: Figures, currency: str
) -> list[Above]:
    """Of these portions those above the highest price of their makers: all of them for the buyer of
    the round, and one's own for a maker."""
    if not portions:
        return []
    asked = [
        {
            "maker": str(one.maker),
            "material": str(one.material),
            "quantity": str(one.quantity),
            "amount": str(one.amount),
        }
        for one in portions
    ]
    with connection.cursor() as cursor:
        cursor.execute(ASKED, [round.id, json.dumps(asked)])
        told = set(cursor.fetchall())
    split = _split(reckoned)
    names = dict(reckoned.names.values())
    return [
        Above(
            one.maker,
            names[one.maker],
            reckoned.materials[material],
            round_money(one.amount - one.quantity * split[one.maker, material], currency),
            material in reckoned.dearer,
        )
        for one in portions
        if (one.maker, material := UUID(str(one.material))) in told
    ]


def must_be_meant(above: Sequence[Above], actor_maker: UUID, *, sure: bool) -> None:
    """Raises AboveHighestPrice for others than who hands out, unless it is `sure`."""
    others = [one for one in above if one.maker_id != actor_maker]
    if others and not sure:
        whom = "; ".join(_told(one) for one in others)
        raise AboveHighestPrice(whom=whom, pointer="/sure")


def _told(one: Above) -> str:
    why = "its goods cost more" if one.goods_dearer else "freight or other charges are more"
    return f"{one.maker_name}, {one.material.name}: {one.more:f} more than was split, since {why}"


def _split(reckoned: Figures) -> Mapping[tuple[UUID, UUID], Decimal]:
    """What was split for each gram or piece that was promised, by maker and material."""
    return {
        (reckoned.names[due.maker][0], UUID(str(due.material))): (due.amount + due.leftover_amount)
        / (due.quantity + due.leftover)
        for due in reckoned.dues
        if due.quantity + due.leftover
    }
