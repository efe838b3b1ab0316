"""The recall list of a lot."""

from collections.abc import Mapping
from decimal import Decimal
from types import MappingProxyType
from typing import Any, Final
from uuid import UUID

from rest_framework import serializers

from api.operation import Resource, reads
from api.rest.fields import Id, Shown, Text, plain
from api.rest.lots import STATUSES
from api.rest.stock import amount
from formulas.made_losses import MadeLoss, losses_of
from ledger import recalling
from ledger.access import Actor
from ledger.quantities import kept_in

SHRINK_ACCOUNTED: Final = (
    "True in what was kept when a count's shrink still stood in `accounted`: these are the figures"
    " of then."
)


class RecallPlaceOut(serializers.Serializer[Any]):
    place = Text()
    quantity = Shown()
    within_reach = serializers.BooleanField(help_text="Here, in process or at a shop: stop it.")
    of_recalled = Shown(help_text="How much of the recalled lot is in it.")
    explained = serializers.BooleanField(
        help_text="False where a count found it gone without a cause: it is in `unexplained`."
    )


class MakingLossOut(serializers.Serializer[Any]):
    """What went into its batch and did not come out. The part of the recalled lot that was in it
    counts as in the lot that was made: nobody can tell which grams were lost."""

    normal_grams = Shown(help_text="As much as its formula expects, or less.")
    beyond_grams = Shown(help_text="Beyond that, and for no reason that was given.")
    declared_grams = Shown(help_text="Declared at the finish, and expensed.")
    declared_reason = Text(allow_blank=True)


class RecallLotOut(serializers.Serializer[Any]):
    lot = Id()
    code = Text()
    material_name = Text()
    status = serializers.ChoiceField(STATUSES)
    unit = serializers.ChoiceField(["g", "each"])
    total = Shown(help_text="All of it that was received, made or found.")
    found = Shown(help_text="What counts found beyond the books.")
    used = Shown(help_text="What other lots were made of.")
    places = RecallPlaceOut(many=True)
    unexplained = Shown(help_text="What the books do not find, or a count found gone.")
    making_loss = MakingLossOut(
        allow_null=True,
        help_text="Null but for a batch's main product, and in the list of a recall as it was.",
    )


class DirectAccountOut(serializers.Serializer[Any]):
    customer = Text()
    lot = Id()
    sold = Shown()
    returned = Shown()


class RecallReach(serializers.Serializer[Any]):
    units = Shown()
    grams = Shown()


class RecallBalance(serializers.Serializer[Any]):
    unit = serializers.ChoiceField(["g", "each"])
    received = Shown()
    accounted = Shown()
    unexplained = Shown()
    shrink_accounted = serializers.BooleanField(help_text=SHRINK_ACCOUNTED)


class RecallSold(serializers.Serializer[Any]):
    units = Shown()
    returned = Shown()
    percent_back = Shown(allow_null=True)


class RecallListOut(serializers.Serializer[Any]):
    lots = RecallLotOut(many=True)
    balance = RecallBalance(help_text="All of the recalled lot, itself or in what was made of it.")
    within_reach = RecallReach()
    sold = RecallSold()
    direct_accounts = DirectAccountOut(many=True)


class RecallLists(Resource):
    """Where all of a lot is now."""

    @reads(None, RecallListOut)
    def get(self, actor: Actor, id: str) -> dict[str, Any]:
        """List what was made of a lot, where all of it is now, and who was sold some."""
        found = recalling.recall_list(actor, lot=id)
        return list_json(found, losses_of(actor, (lot.id for lot in found.lots)))


def list_json(
    found: recalling.RecallList, losses: Mapping[UUID, MadeLoss] = MappingProxyType({})
) -> dict[str, Any]:
    """A recall list, with what was lost in making its lots."""
    counted = {lot.id: lot.counted for lot in found.lots}
    pieces = [one for one in found.accounts if counted[one.lot_id]]
    sold = sum((one.sold for one in pieces), Decimal(0))
    returned = sum((one.returned for one in pieces), Decimal(0))
    root = found.lot.counted
    return {
        "lots": [_lot(lot, losses.get(lot.id)) for lot in found.lots],
        "balance": {
            "unit": kept_in(root),
            "received": plain(found.received),
            "accounted": plain(found.accounted),
            "unexplained": plain(found.received - found.accounted),
            "shrink_accounted": found.shrink_accounted,
        },
        "within_reach": {
            "units": amount(found.within_reach(counted=True), True),
            "grams": amount(found.within_reach(counted=False), False),
        },
        "sold": {
            "units": amount(sold, True),
            "returned": amount(returned, True),
            "percent_back": plain(round(returned * 100 / sold, 1)) if sold else None,
        },
        "direct_accounts": [
            {
                "customer": one.customer,
                "lot": str(one.lot_id),
                "sold": amount(one.sold, counted[one.lot_id]),
                "returned": amount(one.returned, counted[one.lot_id]),
            }
            for one in found.accounts
        ],
    }


def _lot(lot: recalling.Listed, loss: MadeLoss | None) -> dict[str, Any]:
    return {
        "lot": str(lot.id),
        "code": lot.code,
        "material_name": lot.material_name,
        "status": lot.status,
        "unit": kept_in(lot.counted),
        "total": amount(lot.total, lot.counted),
        "found": amount(lot.found, lot.counted),
        "used": amount(lot.used, lot.counted),
        "places": [
            {
                "place": place.name,
                "quantity": amount(place.quantity, lot.counted),
                "within_reach": place.within_reach,
                "of_recalled": plain(place.of_recalled),
                "explained": place.explained,
            }
            for place in lot.places
        ],
        "unexplained": amount(lot.unexplained, lot.counted),
        "making_loss": loss
        and {
            "normal_grams": plain(loss.normal_grams),
            "beyond_grams": plain(loss.beyond_grams),
            "declared_grams": plain(loss.declared_grams),
            "declared_reason": loss.declared_reason,
        },
    }
