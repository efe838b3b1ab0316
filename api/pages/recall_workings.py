"""How the balance of a recalled lot, and what was sold and came back of it, came about."""

from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Final

from django.utils.translation import gettext as said

from api.pages.words import worded
from api.pages.workings import Line, address, with_rest
from ledger.quantities import kept_in
from ledger.recall_buyers import Buyer, Sales
from ledger.recalling import RecallList
from ledger.whereabouts_lines import CAME_IN

ZERO: Final = Decimal(0)
# So many are told by themselves: the page has much else.
MOST: Final = 20


def balance_told(listed: RecallList) -> list[Line]:
    """All of the lot, what of it is found in which lot and place, and the rest."""
    unit, lot = kept_in(listed.lot.counted), listed.lot
    places = [
        Line(
            f"{one.code} · {worded(place.name)}",
            place.of_recalled,
            unit,
            to=address("lots", one.id, "trace"),
        )
        for one in listed.lots
        for place in one.places
        if place.explained and place.of_recalled
    ]
    came = address("lots", lot.id, "whereabouts", place=CAME_IN)
    parts = (
        Line(said("there was"), listed.received, unit),
        Line(said("less what is accounted for"), -listed.accounted, unit),
    )
    missing = listed.received - listed.accounted
    return [
        Line(said("There was"), listed.received, unit, to=came),
        _summed(said("Accounted for"), listed.accounted, unit, places),
        Line(said("Not accounted for"), missing, unit, parts=parts),
    ]


def sales_told(sales: Iterable[Sales], buyers: Sequence[Buyer]) -> list[Line]:
    """What was sold, came back and is gone, buyer by buyer; and what nobody has heard of."""
    return [line for one in sales for line in _sales(one, buyers)]


def _sales(one: Sales, buyers: Sequence[Buyer]) -> Iterable[Line]:
    unit = kept_in(one.counted)
    named = [
        ("sold", said("Sold"), one.sold),
        ("returned", said("Came back"), one.returned),
        ("destroyed", said("Destroyed"), one.destroyed),
        ("used_up", said("Used up"), one.used_up),
    ]
    for name, called, amount in named:
        by_buyer = [
            Line(buyer.customer, buyer.total(name, counted=one.counted), unit) for buyer in buyers
        ]
        if amount:
            yield _summed(called, amount, unit, [line for line in by_buyer if line.amount])
    less = (
        Line(said("sold"), one.sold, unit),
        Line(said("less what came back"), -one.returned, unit),
        Line(said("less what was destroyed"), -one.destroyed, unit),
        Line(said("less what was used up"), -one.used_up, unit),
    )
    parts = tuple(line for line in less if line.amount)
    yield Line(said("Not heard of"), one.left, unit, parts=parts)


def _summed(name: str, whole: Decimal, unit: str, lines: Sequence[Line]) -> Line:
    parts = with_rest(lines[:MOST], whole, len(lines) - MOST, unit)
    return Line(name, whole, unit, parts=parts)
