"""Where the prices of an offer come from: what was typed, the rate, and what a pack holds."""

from collections.abc import Iterable, Iterator
from decimal import Decimal
from typing import Final

from django.utils.translation import gettext as said

from api.pages.offered import Priced
from api.pages.reader import POUND_G, Reader
from api.pages.workings import Line
from ledger.models import Offer, OfferBreak, OfferPrice

KILOGRAM_G: Final = Decimal(1000)
# A price of a pack, or of one of many.
Own = OfferPrice | OfferBreak


def prices_told(offer: Offer, prices: Iterable[Priced], reader: Reader) -> list[Line]:
    """Each price that is shown, once: a kilogram or a piece by it, and the pack if paid abroad."""
    shown = {price.row.id: price for price in prices if price.each is not None}
    return [line for price in shown.values() for line in _told(offer, price, reader)]


def _told(offer: Offer, price: Priced, reader: Reader) -> Iterator[Line]:
    counted, row = offer.material.counted, price.row
    day = {"day": reader.day(row.valid_from), "mass": reader.a_mass(counted)}
    name = said("From %(day)s, %(mass)s") % day
    rows: list[tuple[str, str, Own, Decimal | None]]
    rows = [(name, said("From %(day)s, a pack") % day, row, price.each)]
    for step in price.steps:
        about = day | {"much": reader.written(step.row.entered)}
        name = said("From %(day)s, by %(much)s or more: %(mass)s") % about
        pack = said("From %(day)s, by %(much)s or more: a pack") % about
        rows.append((name, pack, step.row, step.each))
    for name, pack, own, each in rows:
        if price.abroad:
            yield _in_own_money(pack, own, row, reader)
        yield _each(name, offer, own, each, reader)


def _in_own_money(name: str, own: Own, row: OfferPrice, reader: Reader) -> Line:
    price, rate = reader.number(own.price), reader.number(row.rate)
    return Line(name, own.own_price, reader.currency, how=f"{price} {row.currency} · {rate}")


def _each(name: str, offer: Offer, own: Own, each: Decimal | None, reader: Reader) -> Line:
    number, counted = reader.number, offer.material.counted
    how = f"{number(own.own_price)} {reader.currency} ÷ {number(offer.quantity)}"
    if not counted:
        how += f" g · {number(POUND_G if reader.us else KILOGRAM_G)} g"
    amount = reader.per_mass(each or Decimal(0), counted)
    return Line(name, amount, reader.currency, how=how)
