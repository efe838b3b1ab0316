"""What a line of a batch can be made up with, and what a top-up comes to before it is done."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final
from uuid import UUID

from django.db import transaction
from django.db.models import QuerySet

from formulas.access import batch_for
from formulas.models import Alternate, Batch, Line, TopUp
from formulas.reserving import StoredLot, stored_lots
from formulas.shares import Share, shares_of
from formulas.topping_up import ToppedUp, alternates_for, top_up
from ledger.access import Actor
from ledger.entries import explained
from ledger.models import Lot, Material

# More lots than that nobody looks through at the bench.
MOST_LOTS: Final = 40


@dataclass(frozen=True, slots=True)
class LotAtHand:
    """A lot that may be poured on the batch's day, and the grams that nobody else was promised."""

    id: str
    code: str
    material: Material
    grams: Decimal
    last_day: date | None


@dataclass(frozen=True, slots=True)
class StandIn:
    """A material that may make up: its active matter in percent, None one to one; grams at hand."""

    material: Material
    active_percent: Decimal | None
    grams: Decimal


@dataclass(frozen=True, slots=True)
class TopUpChoices:
    """A batch, what it still wants, and of one line what there is to be chosen.

    `own` is what the line still wants, each material by itself; none where the batch has no such
    line, or nothing more is wanted there. `rests` are lots of these that have less than that.
    """

    batch: Batch
    wanting: Sequence[Share]
    own: Sequence[Share] = ()
    own_percent: Decimal | None = None
    rests: Sequence[LotAtHand] = ()
    stand_ins: Sequence[StandIn] = ()
    lots: Sequence[LotAtHand] = ()

    @property
    def may_pour_none(self) -> bool:
        """Whether the line's own material is still wanted, so that it can be left out."""
        return any(one.material.id == one.line.material_id for one in self.own)


def choices_for(actor: Actor, batch: UUID | str, line: str) -> TopUpChoices:
    """What can be used up for a line and what can make it up, in a fixed number of queries.

    Raises NotFound, Forbidden.
    """
    found = batch_for(actor, batch)
    planned = found.state == Batch.State.PLANNED
    shares = shares_of(found) if planned else []
    wanting = [one for one in shares if one.material.stocked and one.still]
    own = [one for one in wanting if str(one.line.id) == line]
    if not own:
        return TopUpChoices(found, wanting)
    of_line = own[0].line
    alternates = alternates_for(found, of_line)
    materials = {one.material.id: one.material for one in own}
    materials |= {of_line.material_id: of_line.material}
    materials |= {one.material_id: one.material for one in alternates}
    lots = _at_hand(actor, materials, found)
    still = {one.material.id: one.still for one in own}
    mine = [one for one in lots if one.material.id in still]
    others = {of_line.material_id, *(one.material_id for one in alternates)}
    percent = _own_percent(found, of_line.position)
    return TopUpChoices(
        found,
        wanting,
        own,
        percent,
        [one for one in mine if one.grams < still[one.material.id]],
        _stand_ins(own, of_line.material, percent, alternates, lots),
        [one for one in lots if one.material.id in others][:MOST_LOTS],
    )


def try_top_up(
    actor: Actor,
    *,
    batch: UUID | str,
    line: UUID | str,
    lot: UUID | str | None = None,
    material: UUID | str | None = None,
    other_lot: UUID | str | None = None,
) -> ToppedUp:
    """What a top-up would come to, by the verb itself; nothing of it is kept.

    Raises what `top_up` raises.
    """
    with transaction.atomic(), explained():
        found = top_up(
            actor, batch=batch, line=line, lot=lot, material=material, other_lot=other_lot
        )
        transaction.set_rollback(True)
    return found


def top_ups_of(batch: Batch) -> "QuerySet[TopUp]":
    """The top-ups of a batch with all that they name, the latest first."""
    named = ("own_material", "lot", "material", "other_lot", "person")
    return TopUp.objects.select_related(*named).filter(batch=batch).order_by("-id")


def _at_hand(actor: Actor, materials: dict[UUID, Material], batch: Batch) -> list[LotAtHand]:
    """What may be used of these on the batch's day, what ends soonest first, in two queries."""
    stored = stored_lots(actor, materials, account=batch.account_id)
    usable = [
        (materials[material], one.pickable)
        for material, rows in stored.items()
        for one in _sorted(rows)
        if one.pickable.available and one.pickable.usable_on(batch.planned_for)
    ]
    ids = [one.lot for _, one in usable]
    rows = Lot.objects.filter(coop_id=actor.coop_id, id__in=ids).values_list("id", "code")
    codes = {str(id): code for id, code in rows}
    return [
        LotAtHand(one.lot, codes[one.lot], material, one.available, one.last_day)
        for material, one in usable
    ]


def _sorted(rows: Iterable[StoredLot]) -> list[StoredLot]:
    return sorted(
        rows,
        key=lambda one: (one.pickable.last_day or date.max, one.pickable.received_order),
    )


def _own_percent(batch: Batch, position: int) -> Decimal | None:
    """How much of the line's own material is active matter, by the batch's version."""
    rows = Line.objects.filter(version_id=batch.version_id, position=position)
    return rows.values_list("active_percent", flat=True).first()


def _stand_ins(
    own: Sequence[Share],
    material: Material,
    percent: Decimal | None,
    alternates: Sequence[Alternate],
    lots: Sequence[LotAtHand],
) -> list[StandIn]:
    """The alternates in their turn, and the line's own material where another one is made up."""
    named = [(one.material, one.active_percent) for one in alternates]
    alone = own[0].material.id if len(own) == 1 else None
    return [
        StandIn(
            one, active, sum((lot.grams for lot in lots if lot.material.id == one.id), Decimal(0))
        )
        for one, active in [*named, (material, percent)]
        if one.id != alone and (alone is not None or one.id != material.id)
    ]
