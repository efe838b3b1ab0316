"""A recall list as plain values, so that it can be kept as it was; and what it sums up to."""

from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any, Final
from uuid import UUID

from ledger.models import Status
from ledger.recall_tallies import COUNTS, Count, Tally
from ledger.recalling import DirectAccount, Listed, Place, RecallList
from ledger.tracing import OTHER_MAKERS

STOPPED: Final = (Status.HOLD, Status.REJECTED)


def as_facts(found: RecallList) -> dict[str, Any]:
    """The list as JSON can keep it; decimals are texts."""
    return {
        "makings": found.makings,
        "lots": [
            {
                "id": str(lot.id),
                "code": lot.code,
                "material_name": lot.material_name,
                "counted": lot.counted,
                "status": lot.status,
                "total": str(lot.total),
                "found": str(lot.found),
                "used": str(lot.used),
                "places": [
                    [
                        *(place.kind, place.account),
                        *(str(place.quantity), str(place.of_recalled), place.explained),
                    ]
                    for place in lot.places
                ],
            }
            for lot in found.lots
        ],
        "accounts": [
            [one.customer, str(one.lot_id), str(one.sold), str(one.returned)]
            for one in found.accounts
        ],
    }


def from_facts(facts: Mapping[str, Any]) -> RecallList:
    """The list that `as_facts` told, with the figures that it had then.

    One from before anything was called unexplained takes all places for explained.
    """
    lots = tuple(
        Listed(
            UUID(lot["id"]),
            *(lot["code"], lot["material_name"], lot["counted"], lot["status"]),
            *(Decimal(lot["total"]), Decimal(lot["found"]), Decimal(lot["used"])),
            tuple(
                Place(kind, account, Decimal(quantity), Decimal(share), all(explained))
                for kind, account, quantity, share, *explained in lot["places"]
            ),
        )
        for lot in facts["lots"]
    )
    accounts = tuple(
        DirectAccount(customer, UUID(lot), Decimal(sold), Decimal(returned))
        for customer, lot, sold, returned in facts["accounts"]
    )
    return RecallList(lots, accounts, facts["makings"])


def tally_of(found: RecallList) -> Tally:
    """The list summed up."""
    counts: dict[str, Any] = dict.fromkeys(COUNTS, Count())
    for name, lot, quantity in parts_of(found):
        counts[name] = counts[name].plus(quantity, counted=lot.counted)
    return Tally(found.received, found.accounted, found.makings, **counts)


def parts_of(found: RecallList) -> Iterator[tuple[str, Listed, Decimal]]:
    """What each count of the tally is the sum of: its name, and so much of a lot."""
    for lot in found.lots:
        if lot is not found.lot:
            yield "made", lot, lot.total
        for place in lot.places:
            for name in _counted_as(lot, place):
                yield name, lot, place.quantity
    known = {lot.id: lot for lot in found.lots}
    for one in found.accounts:
        yield "sold", known[one.lot_id], one.sold
        yield "returned", known[one.lot_id], one.returned


def _counted_as(lot: Listed, place: Place) -> tuple[str, ...]:
    if place.within_reach:
        return ("in_reach", "held") if lot.status in STOPPED else ("in_reach",)
    if place.kind in OTHER_MAKERS:
        return ("passed_on",)
    # What is sold is told by buyers.
    return () if place.kind == "sales" else ("elsewhere",)
