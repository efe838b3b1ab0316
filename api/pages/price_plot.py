"""What a material cost and was offered at, drawn: a line for each supplier, and each of its packs.

A delivery is a mark in the line of its supplier. An offer holds from its day on, so that its line
runs level to the next price, or to the last day, and ends where the pack is no longer offered.
"""

from collections.abc import Iterable
from datetime import date
from decimal import Decimal
from operator import itemgetter
from typing import Final
from uuid import UUID

from django.utils.safestring import SafeString
from django.utils.translation import gettext as said

from api.pages import plots
from api.pages.reader import Reader
from ledger.price_history import LandedPoint, OfferedPoint

MOST_SERIES: Final = 5
Points = list[tuple[date, Decimal | None]]
# Whether it has not ended, and the day of its newest price.
Rank = tuple[bool, date]


def price_plot(
    landed: Iterable[LandedPoint],
    offered: Iterable[OfferedPoint],
    last: date,
    *,
    counted: bool,
    reader: Reader,
    currency: str,
) -> tuple[SafeString | str, bool]:
    """The plot, and whether some lines were left out of it; nothing for a single price.

    Of many lines the latest are drawn, and what is no longer offered only after all others: all
    figures stand in the tables. Prices are those of a kilogram or a piece, the latest first, and
    are drawn in the reader's unit.
    """
    lines = [*_paid(landed), *_offers(offered, last, reader)]
    latest = sorted(lines, key=itemgetter(1), reverse=True)
    if sum(len({on for on, _ in points}) for _, _, points, _ in lines) < 2:
        return "", False

    def shown(price: Decimal | None) -> Decimal | None:
        return None if price is None else reader.per_mass(price, counted)

    series = [
        plots.Series(name, [(on, shown(price)) for on, price in points], steps)
        for name, _, points, steps in latest[:MOST_SERIES]
    ]
    title = said("What it cost and was offered at")
    y = f"{currency} / {said('each') if counted else reader.mass_unit}"
    drawn = plots.lines(title, series, y=y, numbers=reader.numbers)
    return drawn, len(latest) > MOST_SERIES


def _paid(landed: Iterable[LandedPoint]) -> Iterable[tuple[str, Rank, Points, bool]]:
    found: dict[UUID, tuple[str, Points]] = {}
    for one in reversed(list(landed)):
        name = said("%(supplier)s, delivered") % {"supplier": one.supplier_name}
        found.setdefault(one.supplier, (name, []))[1].append((one.on, one.landed))
    for name, points in found.values():
        yield name, (True, points[-1][0]), points, False


def _offers(
    offered: Iterable[OfferedPoint], last: date, reader: Reader
) -> Iterable[tuple[str, Rank, Points, bool]]:
    found: dict[UUID, list[OfferedPoint]] = {}
    for one in reversed(list(offered)):
        found.setdefault(one.offer, []).append(one)
    for prices in found.values():
        newest = prices[-1]
        if all(one.unit_price is None for one in prices):
            continue
        told = {"supplier": newest.supplier_name, "pack": reader.written(newest.pack)}
        points = [(one.on, one.unit_price) for one in prices]
        if newest.unit_price is not None and newest.on < last:
            points.append((last, newest.unit_price))
        rank = (newest.unit_price is not None, newest.on)
        yield said("%(supplier)s offers %(pack)s") % told, rank, points, True
