"""Lots that come to their last day, with what batches will take of them and who else could."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db.models import OuterRef, QuerySet, Subquery, Sum

from ledger.models import Holding, Lot, Reservation
from ledger.other_users import NOBODY, OtherUsers, others_of


@dataclass(frozen=True, slots=True)
class Ending:
    """What is in store of a lot, the day it `ends`, what of it is `promised` to planned batches,
    which were given it because it keeps until their day, and who else uses its material.

    It ends because it is `open` where nothing but its opening set that day.
    """

    lot: Lot
    quantity: Decimal
    ends: date
    open: bool
    promised: Decimal
    others: OtherUsers

    @property
    def lot_id(self) -> UUID:
        return self.lot.id

    @property
    def all_promised(self) -> bool:
        return self.promised >= self.quantity


def with_uses(holdings: "QuerySet[Holding]") -> "QuerySet[Holding]":
    """Holdings with what planned batches of their maker are `promised` of the lot, and the `others`
    who use its material, all in the one query."""
    rows = Reservation.objects.filter(
        coop_id=OuterRef("coop_id"), maker_id=OuterRef("maker_id"), lot_id=OuterRef("lot_id")
    )
    of_lot = rows.order_by().values("lot_id").annotate(all=Sum("quantity")).values("all")
    return holdings.annotate(promised=Subquery(of_lot), others=others_of("material_id"))


def endings(holdings: Sequence[Any], day: date) -> list[Ending]:
    """Holdings that `with_uses` found, each with the day it `ends`, as somebody sees them on a day.

    What is past its last day is of no use to anybody else.
    """
    return [
        Ending(
            one.lot,
            one.quantity,
            one.ends,
            one.ends not in (one.lot.expires_on, one.lot.retest_on),
            one.promised or Decimal(0),
            OtherUsers.told(one.others) if one.others and one.ends >= day else NOBODY,
        )
        for one in holdings
    ]
