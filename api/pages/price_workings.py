"""How the figures of a product's price came about: what a piece costs, and each listed price."""

from collections.abc import Iterable
from decimal import Decimal
from typing import Final

from django.utils.translation import gettext as said
from django.utils.translation import ngettext

from api.pages.reader import Reader
from api.pages.workings import Line, address
from formulas.ladder import Channel, ChannelPrice
from formulas.price_curves import Curve
from formulas.prices import Fixed, Rung
from formulas.unit_costs import UnitCost

ZERO: Final = Decimal(0)


def piece(cost: UnitCost, reader: Reader) -> list[Line]:
    """What a piece costs today, of a batch; and what is in it."""
    told, per, currency = cost.cost, cost.cost.per_unit, reader.currency
    how = f"{reader.number(told.total)} {currency} ÷ {reader.number(cost.units)}"
    lines = [
        Line(said("A piece costs today"), per, currency, how=how),
        Line(said("Bulk in it"), cost.fill_grams, "g", how=_filled(cost, reader)),
    ]
    if cost.last:
        last, called = cost.last[0], said("When it was last made")
        pieces = ngettext("all of it ÷ %(n)d piece", "all of it ÷ %(n)d pieces", last.units)
        to = address("lots", last.lot_id, "working")
        lines.append(Line(called, last.per_unit, currency, how=pieces % {"n": last.units}, to=to))
    return lines


def _filled(cost: UnitCost, reader: Reader) -> str:
    """The fill by its label, by the density of the version if it is by volume, and what is aimed
    above it."""
    product, above = cost.product, cost.product.overfill_percent
    if product.fill_grams is not None:
        told = f"{reader.number(product.fill_grams)} g"
    else:
        density = cost.version.density or ZERO
        told = f"{reader.number(product.fill_ml or ZERO)} mL · {reader.number(density)} g/mL"
    return f"{told} · (1 + {reader.number(above)} %)" if above else told


def told_price(channel: Channel, price: ChannelPrice, reader: Reader) -> Line:
    """The price of one channel, as the list has it."""
    on, currency, number = price.listed, reader.currency, reader.number
    net, cost = f"{number(on.net)} {currency}", f"{number(price.unit_cost)} {currency}"
    left, fixed = f"{number(on.left)} {currency}", f"{number(channel.fixed_fee)} {currency}"
    fees = f"{number(channel.fee_percent)} % · {net} + {fixed}"
    told = [
        (said("Tax"), on.tax, currency, f"{number(channel.tax_percent)} % · {net}", ()),
        (said("Fees"), on.fees, currency, fees, ()),
        (said("With tax"), on.gross, currency, "", _gross(price, currency)),
        (said("Left"), on.left, currency, "", _left(price, currency)),
        (said("Margin"), on.margin_percent, "%", f"{left} ÷ {net}", ()),
        (said("Markup"), on.markup_percent, "%", f"({net} - {cost}) ÷ {cost}", ()),
    ]
    lines = (Line(name, n, unit, how=how, parts=tuple(part)) for name, n, unit, how, part in told)
    return Line(price.name, parts=(*_net(channel, price, reader), *lines))


def told_even(
    channel: Channel, rung: Rung, curve: Curve, fixed: Fixed | None, reader: Reader
) -> Iterable[Line]:
    """The price of one channel that leaves nothing, and with how many pieces it pays what is
    fixed."""
    price, currency, number = rung.priced, reader.currency, reader.number
    name = {"name": price.name}
    if curve.even is not None:
        cost = f"{number(price.unit_cost)} {currency} + {number(channel.fixed_fee)} {currency}"
        fees = f"{number(channel.fee_percent)} %"
        called = said("%(name)s: nothing is left at") % name
        yield Line(called, curve.even, currency, how=f"({cost}) ÷ (1 - {fees})")
    even = rung.break_even
    if fixed is None or even is None:
        return
    left = f"{number(price.listed.left)} {currency}"
    exact = f"{number(fixed.cost)} {currency} ÷ {left}"
    parts = (
        Line(said("what is fixed, divided by what is left of a piece"), even.units, how=exact),
        Line(said("up to a whole piece"), even.whole_units - even.units),
    )
    called = said("%(name)s: pieces that pay what is fixed") % name
    yield Line(called, Decimal(even.whole_units), "each", parts=parts)
    if even.batches is not None and fixed.batch_units is not None:
        how = f"{number(even.whole_units)} ÷ {number(fixed.batch_units)}"
        whole = said("%(how)s, up to a whole batch") % {"how": how}
        called = said("%(name)s: batches of them") % name
        yield Line(called, Decimal(even.batches), how=whole)


def _net(channel: Channel, price: ChannelPrice, reader: Reader) -> Iterable[Line]:
    """Where the price without tax comes from."""
    if channel.margin_percent is not None:
        way = said("from a margin of %(percent)s %%") % {
            "percent": reader.number(channel.margin_percent)
        }
    elif channel.markup_percent is not None:
        way = said("from a markup of %(percent)s %%") % {
            "percent": reader.number(channel.markup_percent)
        }
    else:
        way = said("as it was typed")
    exact = f"{reader.number(price.price)} {reader.currency}"
    before = said("%(exact)s before it was rounded to the list's steps") % {"exact": exact}
    yield Line(said("Without tax"), price.listed.net, reader.currency, how=f"{way} · {before}")


def _gross(price: ChannelPrice, currency: str) -> Iterable[Line]:
    yield Line(said("without tax"), price.listed.net, currency)
    yield Line(said("tax"), price.listed.tax, currency)


def _left(price: ChannelPrice, currency: str) -> Iterable[Line]:
    yield Line(said("without tax"), price.listed.net, currency)
    yield Line(said("less fees"), -price.listed.fees, currency)
    yield Line(said("less what a piece costs"), -price.unit_cost, currency)
