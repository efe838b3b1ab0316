"""How the balance of a recalled lot, and what was sold and came back of it, came about."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Final
from uuid import UUID

from django.utils.translation import gettext as said

from api.pages.reader import Reader
from api.pages.recall_notices import CALLED
from api.pages.words import worded
from api.pages.workings import Line, address, with_rest
from ledger.quantities import kept_in
from ledger.recall_buyers import Buyer, Sales
from ledger.recall_records import Progress
from ledger.recall_snapshots import parts_of
from ledger.recall_tallies import Count, Tally, percent_back
from ledger.recalling import Listed, RecallList
from ledger.whereabouts_lines import CAME_IN

ZERO: Final = Decimal(0)
# So many are told by themselves: the page has much else.
MOST: Final = 12


def balance_told(listed: RecallList, reader: Reader) -> list[Line]:
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
    told = _percent(said("Accounted for, in percent"), listed.accounted, listed.received, reader)
    return [
        Line(said("There was"), listed.received, unit, to=came),
        _summed(said("Accounted for"), listed.accounted, unit, places),
        *told,
        Line(said("Not accounted for"), missing, unit, parts=parts),
    ]


def sales_told(sales: Iterable[Sales], buyers: Sequence[Buyer], reader: Reader) -> list[Line]:
    """What was sold, came back and is gone, buyer by buyer; and what nobody has heard of."""
    return [line for one in sales for line in _sales(one, buyers, reader)]


def _sales(one: Sales, buyers: Sequence[Buyer], reader: Reader) -> Iterable[Line]:
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
        # What a page always tells is told here too, if it is nothing.
        if amount or name in ("sold", "returned"):
            yield _summed(called, amount, unit, [line for line in by_buyer if line.amount])
    yield from _percent(said("Came back, in percent"), one.returned, one.sold, reader)
    less = (
        Line(said("sold"), one.sold, unit),
        Line(said("less what came back"), -one.returned, unit),
        Line(said("less what was destroyed"), -one.destroyed, unit),
        Line(said("less what was used up"), -one.used_up, unit),
    )
    parts = tuple(line for line in less if line.amount)
    yield Line(said("Not heard of"), one.left, unit, parts=parts)


def _percent(name: str, part: Decimal, whole: Decimal, reader: Reader) -> Iterable[Line]:
    percent = percent_back(part, whole)
    if percent is not None:
        yield Line(name, percent, "%", how=f"{reader.number(part)} ÷ {reader.number(whole)}")


def together_told(progress: Progress, names: Mapping[UUID | None, str]) -> list[Line]:
    """What each count is of all makers: of one's own lots, and as each of the others has said."""
    own = defaultdict[str, list[tuple[Listed, Decimal]]](list)
    for name, lot, quantity in parts_of(progress.listed):
        own[name].append((lot, quantity))
    others = [
        (names.get(one.maker) or said("A maker that another told"), one.tally)
        for one in progress.makers
        if one.counts and one.tally is not None
    ]
    return [
        _of_all(name, counted, count, own[name], others)
        for name, count in progress.together.items()
        for counted in (True, False)
        if _in_unit(count, counted)
    ]


def _of_all(
    name: str,
    counted: bool,
    count: Count,
    own: Iterable[tuple[Listed, Decimal]],
    others: Iterable[tuple[str, Tally]],
) -> Line:
    unit, by_lot = kept_in(counted), defaultdict[str, Decimal](Decimal)
    for lot, quantity in own:
        if lot.counted is counted:
            by_lot[lot.code] += quantity
    yours = sum(by_lot.values(), ZERO)
    lots = [Line(code, quantity, unit) for code, quantity in by_lot.items() if quantity]
    told = [(called, _in_unit(getattr(tally, name), counted)) for called, tally in others]
    parts = [
        _summed(said("You"), yours, unit, lots),
        *(Line(called, amount, unit) for called, amount in told if amount),
    ]
    title = said("All makers: %(what)s") % {"what": CALLED[name]}
    return _summed(title, _in_unit(count, counted), unit, parts)


def _in_unit(count: Count, counted: bool) -> Decimal:
    return count.units if counted else count.grams


def _summed(name: str, whole: Decimal, unit: str, lines: Sequence[Line]) -> Line:
    parts = with_rest(lines[:MOST], whole, len(lines) - MOST, unit)
    return Line(name, whole, unit, parts=parts)
