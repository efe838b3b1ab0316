"""What a maker would pay alone, pays together and saves in a round: each with its lines."""

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.utils.translation import gettext as said

from api.pages.workings import Line
from ledger.round_charges import Charged
from ledger.round_results import MakerResult, Result

ZERO = Decimal(0)


def worked_out(result: Result, money: str) -> list[Line]:
    """The figures of a maker that took part; whoever acts for the co-op is told no orders alone."""
    return [line for one in result.makers for line in _of_maker(one, result, money)]


def _of_maker(one: MakerResult, result: Result, money: str) -> Iterable[Line]:
    share, own = one.share, result.own
    if share is not None:
        # Who takes leftover alone would have ordered nothing.
        alone = [line for order in share.alone_orders for line in _of(order, result, money)]
        yield Line(said("Alone"), share.alone, money, parts=_paid(alone, share.alone, money))
        parts = tuple(Line(row.material.name, row.amount, money) for row in one.lines if row.amount)
        yield Line(said("Together"), share.amount, money, parts=parts)
        less = Line(said("less what you pay together"), -share.amount, money)
        saved = (Line(said("Alone"), share.alone, money), less)
        yield Line(said("Saved"), share.saved, money, parts=saved)
        if share.leftover_amount:
            rest = [row for row in one.lines if row.leftover_amount]
            kept, how = said("leftover of %(material)s, kept"), said("at what the goods cost")
            more = [
                Line(kept % {"material": row.material.name}, row.leftover_amount, money, how=how)
                for row in rest
            ]
            parts = (Line(said("Together"), share.amount, money), *more)
            yield Line(said("With leftover"), share.to_pay, money, parts=parts)
    if own is not None:
        parts = _paid(_summed(own.orders, money), own.cost, money)
        yield Line(said("Alone, by your own offers"), own.cost, money, parts=parts)


def charged(one: MakerResult, got: Charged, money: str) -> list[Line]:
    """What a maker was really charged, at the hand-out and later, and what it saved by then."""
    handed = tuple(Line(row.material.name, row.amount, money) for row in got.goods)
    told = [Line(said("Charged"), got.amount, money, parts=handed)]
    if got.later:
        parts = tuple(Line(row.material.name, row.later, money) for row in got.goods if row.later)
        told.append(Line(said("Later bills"), got.later, money, parts=parts))
    saved = got.saved(one)
    if one.share is not None and saved is not None:
        lines = [Line(said("Alone"), one.share.alone, money)]
        if one.share.leftover_amount:
            more = said("leftover that it asked for, as it was split")
            lines.append(Line(more, one.share.leftover_amount, money))
        lines.append(Line(said("less what was charged"), -got.amount, money))
        if got.later:
            lines.append(Line(said("less later bills"), -got.later, money))
        told.append(Line(said("Saved against alone"), saved, money, parts=tuple(lines)))
    return told


def _paid(lines: Iterable[Line], whole: Decimal, money: str) -> tuple[Line, ...]:
    """The lines, exact as they are, and what it takes to pay them in coins."""
    told = tuple(lines)
    more = whole - sum((one.amount or ZERO for one in told), ZERO)
    return (*told, Line(said("rounded up to a whole coin"), more, money)) if more else told


def _of(order: Mapping[str, Any], result: Result, money: str) -> Iterable[Line]:
    """An order that was found, as goods and freight of its supplier."""
    supplier = {"supplier": result.alone[UUID(order["supplier"])].name}
    yield Line(said("goods of %(supplier)s") % supplier, Decimal(order["goods"]), money)
    if freight := Decimal(order["freight"]):
        yield Line(said("freight of %(supplier)s") % supplier, freight, money)


def _summed(orders: Sequence[Mapping[str, Any]], money: str) -> Iterable[Line]:
    """Goods and freight of several orders."""
    for name, called in (("goods", said("goods")), ("freight", said("freight"))):
        whole = sum((Decimal(order[name]) for order in orders), ZERO)
        yield Line(called, whole, money)
