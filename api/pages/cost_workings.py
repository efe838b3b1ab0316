"""How what a kilogram or a piece costs now came about, and what it would at another price."""

import re
from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from typing import Any, Final
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said

from api.pages.forms import id_in
from api.pages.reader import Reader
from api.pages.workings import MOST_LINES, Line, Working, address, with_rest
from formulas.drafted import CostPerKg, cost_of_version
from formulas.errors import CostUnknown
from formulas.pricing import price_for_margin
from formulas.unit_costs import Share, UnitCost, shared_out, unit_cost_of
from formulas.what_if import Change, cost_instead
from ledger.access import materials_visible_to

ZERO: Final = Decimal(0)
# A number as an address of these pages has it.
NUMBER: Final = re.compile(r"-?\d{1,12}(\.\d{1,8})?", re.ASCII)


def kilogram(name: str, cost: CostPerKg, reader: Reader, most: int = MOST_LINES) -> Line:
    """What a kilogram costs, as what each material in it costs, through all that is made of it."""
    whole = cost.amount or ZERO
    lines = [_share(one, one.value, reader) for one in cost.shares]
    shown, money = lines[:most], reader.currency
    parts = with_rest(shown, whole, len(lines) - len(shown), money)
    how = said("materials, through all intermediates and losses")
    return Line(name, whole, money, how=how, parts=parts)


def a_piece(name: str, found: UnitCost, reader: Reader) -> Line:
    """What a piece costs: its part of each cost of a batch, with what its materials cost."""
    cost, money, whole = found.cost, reader.currency, found.cost.per_unit or ZERO
    told: list[tuple[str, Decimal, Sequence[Share]]] = [
        (said("Materials"), cost.materials, found.materials),
        (said("Packaging"), cost.packaging, found.packaging),
        (said("Work"), cost.labour, ()),
        (said("Overhead"), cost.overhead, ()),
    ]
    values = shared_out(whole, [Fraction(amount) for _, amount, _ in told])
    pieces = reader.number(found.units)
    parts = tuple(
        Line(
            called,
            value,
            money,
            how=f"{reader.number(amount)} {money} ÷ {pieces}",
            parts=_shares(value, shares, reader),
        )
        for (called, amount, shares), value in zip(told, values, strict=True)
        if amount
    )
    how = f"{reader.number(cost.total)} {money} ÷ {pieces}"
    return Line(name, whole, money, how=how, parts=parts)


def _shares(whole: Decimal, shares: Sequence[Share], reader: Reader) -> tuple[Line, ...]:
    values = shared_out(whole, [Fraction(one.quantity) * (one.cost.each or 0) for one in shares])
    return tuple(_share(one, value, reader) for one, value in zip(shares, values, strict=True))


def _share(one: Share, value: Decimal, reader: Reader) -> Line:
    """So much of a material at what it costs now."""
    cost, number = one.cost, reader.number
    per = said("a piece") if cost.counted else "kg"
    unit = "" if cost.counted else " g"
    how = f"{number(one.quantity)}{unit} · {number(cost.shown or ZERO)} {reader.currency} / {per}"
    return Line(
        cost.name, value, reader.currency, how=how, to=address("materials", cost.material_id)
    )


class CostNow(Working):
    """A cost now; or with another price of a material in the address then, or so much more."""

    def costed(self, id: UUID, instead: dict[UUID, Fraction] | None) -> Line:
        raise NotImplementedError

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        change = self._change()
        if change is None:
            return self.opened(self.costed(id, None), self.back(id))
        then = self.costed(id, cost_instead(self.actor, change))
        figure = replace(then, name=said("%(what)s, then") % {"what": then.name})
        if request.GET.get("figure") == "more":
            now = self.costed(id, None)
            less = replace(
                now,
                name=said("less what it costs now"),
                amount=-(now.amount or ZERO),
                parts=(),
                to=request.path,
            )
            more = (then.amount or ZERO) - (now.amount or ZERO)
            figure = Line(said("So much more"), more, now.unit, parts=(figure, less))
        typed = {"price": self._as_typed(change), "change_percent": change.change_percent}
        margin = self.number("margin_percent")
        back = address("what-if", material=change.material, **typed, margin_percent=margin)
        return self.opened(figure, back)

    def _as_typed(self, change: Change) -> str | None:
        """The other price as its page has it typed: for a pound by who reads in pounds."""
        if change.price is None:
            return None
        rows = materials_visible_to(self.actor).filter(id=change.material, measured_by="count")
        counted = self.reader.us and rows.exists()
        return self.reader.amount(self.reader.per_mass(change.price, counted))

    def back(self, id: UUID) -> str:
        raise NotImplementedError

    def number(self, name: str) -> Decimal | None:
        """A number of the address; what is none is not asked."""
        typed = self.request.GET.get(name, "")
        return Decimal(typed) if NUMBER.fullmatch(typed) else None

    def _change(self) -> Change | None:
        material = id_in(self.request.GET.get("material", ""))
        price, percent = self.number("price"), self.number("change_percent")
        if material is None or (price is None and percent is None):
            return None
        return Change(material, price=price, change_percent=percent)


class FormulaCost(CostNow):
    """What a kilogram of a version costs, of the one in force without a number."""

    def costed(self, id: UUID, instead: dict[UUID, Fraction] | None) -> Line:
        number = self.request.GET.get("version", "")
        wanted = int(number) if number.isdecimal() and len(number) < 7 else None
        version, cost = cost_of_version(self.actor, id, wanted, instead)
        if cost.amount is None:
            raise CostUnknown(name=cost.unknown[0])
        told: dict[str, Any] = {"formula": version.formula.name, "number": version.number}
        name = said("A kilogram of %(formula)s, version %(number)s") % told
        return kilogram(name, cost, self.reader, self.most)

    def back(self, id: UUID) -> str:
        return address("formulas", id)


class ProductCost(CostNow):
    """What a piece costs; at a margin, the price that leaves it."""

    def costed(self, id: UUID, instead: dict[UUID, Fraction] | None) -> Line:
        found = unit_cost_of(self.actor, product=id, instead=instead)
        name = said("A piece of %(product)s") % {"product": found.product.name}
        cost, margin = a_piece(name, found, self.reader), self.number("margin_percent")
        if margin is None or not cost.amount:
            return cost
        price = price_for_margin(cost.amount, margin).price
        percent = f"{self.reader.number(margin)} %"
        left = said("left of the price: %(percent)s of it") % {"percent": percent}
        how = f"{self.reader.number(cost.amount)} {cost.unit} ÷ (1 - {percent})"
        parts = (cost, Line(left, price - cost.amount, cost.unit))
        called = said("Price of %(product)s") % {"product": found.product.name}
        return Line(called, price, cost.unit, how=how, parts=parts)

    def back(self, id: UUID) -> str:
        return address("products", id, "price")
