"""Out of which lots a round is handed out: those that came of its orders, as they are in store.

A drum that was drawn off meanwhile is there as its child lots. Only what the buyer has released is
handed out; what is on hold or waits is not, until that is decided.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final
from uuid import UUID

from django.db import connection
from django.db.models import Sum

from ledger.access import Actor, lots_for
from ledger.amounts import Amount
from ledger.errors import (
    Invalid,
    LotNotReleased,
    NotEnough,
    Sentence,
)
from ledger.models import Account, Custody, Holding, Lot, Material, OrderRound, Reservation, Status
from ledger.money import minor_unit
from ledger.round_portions import Portion, from_lots

NOTHING: Final = Decimal(0)


@dataclass(frozen=True, slots=True)
class Move:
    """So much of a lot for a maker, which pays so much for it; the move itself once it is made."""

    maker_id: UUID
    lot: Lot
    quantity: Decimal
    amount: Decimal
    transfer_id: UUID | None = None


@dataclass(frozen=True, slots=True)
class _Shelved:
    """A lot with what of it is free, and how it stands."""

    lot: Lot
    free: Decimal
    status: str


def moves_of(
    actor: Actor,
    round: OrderRound,
    wanted: Sequence[Portion[UUID]],
    materials: Mapping[UUID, Material],
    named: Sequence[Lot] = (),
) -> list[Move]:
    """The portions out of the lots `named`, or where none of a material is, out of all that came.

    In order of material and maker. Raises Invalid for a lot that did not come of this round,
    LotNotReleased and NotEnough where too little of a material can be handed out.
    """
    shelved = _shelved(actor, round, named)
    lots = {one.lot.id: one.lot for one in shelved}
    coin = minor_unit(actor.currency)
    found = []
    for material in sorted({UUID(str(one.material)) for one in wanted}):
        own = sorted((one for one in wanted if one.material == material), key=lambda o: o.maker)
        of_it = [one for one in shelved if one.lot.material_id == material]
        there = _enough(own, of_it, materials[material])
        taken = from_lots(own, there, coin=coin)
        found += [Move(one.maker, lots[one.lot], one.quantity, one.amount) for one in taken]
    return found


def named_lots(actor: Actor, lots: Sequence[UUID | str]) -> list[Lot]:
    """Lots of the maker's own, as they were named. Raises NotFound."""
    return lots_for(actor, [(lot, f"/lots/{place}") for place, lot in enumerate(lots)])


def _enough(
    wanted: Sequence[Portion[UUID]], shelved: Sequence[_Shelved], material: Material
) -> list[tuple[UUID, Decimal]]:
    """The lots of a material that are released, if they hold what is wanted of it."""
    need = sum((one.quantity for one in wanted), NOTHING)
    there = [(one.lot.id, one.free) for one in shelved if one.status == Status.RELEASED]
    free = sum((quantity for _, quantity in there), NOTHING)
    if free >= need:
        return there
    for one in shelved:
        if one.status != Status.RELEASED:
            raise LotNotReleased(
                Sentence(
                    "The lot {code} of {material} is not released: decide about it, or send it"
                    " back, before the round is handed out.",
                    code=one.lot.code,
                    material=material.name,
                ),
                pointer="/lots",
                lot=str(one.lot.id),
                code=one.lot.code,
                status=one.status,
            )
    raise NotEnough(
        Sentence(
            "Only {free} of {material} is free in these lots, and the others are to"
            " get {need}: free what is reserved, or name the lots that hold it.",
            free=Amount(free, material.counted).rounded_down(),
            material=material.name,
            need=Amount(need, material.counted).rounded_up(),
        ),
        pointer="/lots",
        left=f"{free:f}",
    )


def _shelved(actor: Actor, round: OrderRound, named: Sequence[Lot]) -> list[_Shelved]:
    """What is in store of the lots of a round, those that arrived first before the others."""
    with connection.cursor() as cursor:
        cursor.execute("select lot_id from ledger_round_lots(%s)", [round.id])
        came = {id for (id,) in cursor.fetchall()}
    for place, lot in enumerate(named):
        if lot.id not in came:
            raise Invalid(
                Sentence(
                    "The lot {code} did not come of this round's orders, nor was it drawn from one"
                    " that did.",
                    code=lot.code,
                ),
                pointer=f"/lots/{place}",
            )
    said = {lot.material_id for lot in named}
    rows = Lot.objects.filter(coop_id=actor.coop_id, id__in=came).select_related("material")
    rows = rows.exclude(material_id__in=said)
    own = {"coop_id": actor.coop_id, "maker_id": actor.maker, "lot_id__in": came}
    held = Holding.objects.filter(**own, kind=Account.Kind.STORE, any_left=True)
    there = dict(held.values_list("lot_id", "quantity"))
    reserved = Reservation.objects.filter(**own).values("lot_id").annotate(of=Sum("quantity"))
    promised = dict(reserved.values_list("lot_id", "of"))
    status = dict(Custody.objects.filter(**own).values_list("lot_id", "status"))
    return [
        _Shelved(lot, there[lot.id] - promised.get(lot.id, NOTHING), status[lot.id])
        for lot in (*named, *rows.order_by("arrived_on", "id"))
        if there.get(lot.id)
    ]
