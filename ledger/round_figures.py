"""What each is due of a round beside what came of it, as the database tells it to whoever asks."""

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from typing import Any, Final
from uuid import UUID

from django.db import connection

from ledger.access import Actor
from ledger.amounts import Amount
from ledger.errors import Sentence
from ledger.models import Material, OrderRound
from ledger.money import minor_unit
from ledger.round_portions import Alone, AloneOrder, Came, Due, HandedOut, Portion, portions

NOTHING: Final = Decimal(0)


@dataclass(frozen=True, slots=True)
class Late:
    """What was billed for a material after the hand-out: of the goods, and beside them."""

    material_id: UUID
    goods: Decimal
    charges: Decimal


@dataclass(frozen=True, slots=True)
class Figures:
    """The parts of a round that the actor may know of, by number; `names` has their makers.

    `missing` says what stands in the way of handing it out. What each then gets is known to the
    buyer and to whoever acts for the co-op; to others `found` is None, since it follows from the
    parts of all. `dearer` are the materials whose goods cost more than was reckoned.
    """

    dues: Sequence[Due[int]]
    names: Mapping[int, tuple[UUID, str]]
    materials: Mapping[UUID, Material]
    found: HandedOut[int] | None
    missing: Sequence[str]
    dearer: frozenset[UUID] = frozenset()

    @property
    def portions(self) -> list[Portion[UUID]]:
        """What each gets and pays; nothing where the actor may not know."""
        return [
            Portion(self.names[one.maker][0], one.material, one.quantity, one.amount)
            for one in (self.found.portions if self.found else ())
        ]


def figures_of(actor: Actor, round: OrderRound, late: Iterable[Late] = ()) -> Figures:
    """What each gets and pays, by the rules of `ledger.round_portions`; of what came up to the
    hand-out, once that is done, with what was billed `late` as if it had been known then. To a
    maker that does not hand it out, its own part of what was promised."""
    with connection.cursor() as cursor:
        cursor.execute("select * from ledger_round_dues(%s)", [round.id])
        promised = cursor.fetchall()
        cursor.execute("select * from ledger_round_delivered(%s)", [round.id])
        delivered = cursor.fetchall()
    materials = Material.objects.in_bulk({row[0] for row in delivered} | {r[3] for r in promised})
    dues = [Due(part, material, *amounts) for part, _, _, material, *amounts, _, _ in promised]
    names = {part: (id, name) for part, id, name, *_ in promised}
    if actor.maker_id not in (None, round.buying_id):
        return Figures(dues, names, materials, None, _missing_to_others(delivered))
    came = {id: _came(materials[id].counted, facts) for id, *facts in delivered}
    for one in late:
        came[one.material_id] = _with(came[one.material_id], one)
    alone = {row[0]: Alone(row[-2], _alone(row[-1])) for row in promised}
    found = portions(dues, came, alone, coin=minor_unit(actor.currency))
    dearer = frozenset(id for id, one in came.items() if one.dearness > 1)
    missing = _missing(came, delivered, materials)
    return Figures(dues, names, materials, found, missing, dearer)


def billed_late(round: OrderRound) -> list[Late]:
    """What was billed after the hand-out, for the buyer and for whoever acts for the co-op."""
    with connection.cursor() as cursor:
        cursor.execute("select * from ledger_round_billed(%s)", [round.id])
        return [Late(*row) for row in cursor.fetchall()]


def _came(counted: bool, facts: Sequence[Any]) -> Came:
    """Goods and charges of what was paid, as the deliveries and their bills split it."""
    ordered, ordered_goods, _, _, quantity, paid, goods, landed = facts
    part = Fraction(goods) / Fraction(landed) if landed else Fraction(1)
    of_goods = Fraction(paid) * part
    return Came(ordered, ordered_goods, quantity, of_goods, Fraction(paid) - of_goods, counted)


def _with(came: Came, late: Late) -> Came:
    """Goods that cost less than nothing take it off their charges."""
    goods = came.goods + Fraction(late.goods)
    charges = came.charges + Fraction(late.charges) + min(goods, Fraction(0))
    return replace(came, goods=max(goods, Fraction(0)), charges=charges)


def _alone(told: str | None) -> list[AloneOrder]:
    """The orders that a maker would have placed alone, as they were kept."""
    found = []
    for order in json.loads(told or "[]"):
        goods: dict[UUID, Decimal] = defaultdict(lambda: NOTHING)
        for line in order["lines"]:
            goods[UUID(line["material"])] += Decimal(line["amount"])
        found.append(AloneOrder(Decimal(order["freight"]), dict(goods)))
    return found


def _missing(
    came: Mapping[UUID, Came],
    delivered: Sequence[Sequence[Any]],
    materials: Mapping[UUID, Material],
) -> list[str]:
    """Why nothing can be handed out yet, to whoever may know what is still to come."""
    if not delivered or not all(written for _, _, _, written, *_ in delivered):
        return _missing_to_others(delivered)
    waiting = [(materials[id], to_come) for id, _, _, _, to_come, *_ in delivered if to_come]
    if waiting:
        return [
            Sentence(
                "Still to come: {amount} of {material}. Receive it, or say that nothing more is"
                " expected.",
                amount=Amount(to_come, of.counted),
                material=of.name,
            )
            for of, to_come in waiting
        ]
    if not any(one.quantity for one in came.values()):
        return [Sentence("Nothing came of the orders of this round.")]
    return []


def _missing_to_others(delivered: Sequence[Sequence[Any]]) -> list[str]:
    """The same to who is not told how much: what is still to come of its materials is unknown."""
    if not delivered:
        return [
            Sentence(
                "Nothing is to be handed out: the round is not reckoned, or nothing was ordered."
            )
        ]
    if not all(written for _, _, _, written, *_ in delivered):
        return [Sentence("The buyer has not written the orders of this round yet.")]
    if any(to_come is None for _, _, _, _, to_come, *_ in delivered):
        return [Sentence("Not all that was ordered has come yet.")]
    return []
