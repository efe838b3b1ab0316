"""The cheapest orders for what is lacking, and writing them down as orders."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api import errors
from api.pages import tables
from api.pages.forms import LONG, NUMBER, DayField, MoneyField, PageForm, id_in
from api.pages.orders import AHEAD
from api.pages.packing import packed, unpacked
from api.pages.screen import Screen
from formulas.order_planning import Limits, Ordering, plan_orders
from ledger.access import day_of
from ledger.errors import Refusal
from ledger.models import Material
from ledger.offer_reading import OfferOn
from ledger.order_advice import LineAdvice
from ledger.order_bills import PlanLine, SupplierOrder
from ledger.planned_orders import Chosen, write_planned
from ledger.roles import Verb

MOST_SUPPLIERS = 50
# A page shows so many lines of a plan; of a longer one, others stand on the next page.
MOST_LINES = 40
# Somebody waits before the page.
SECONDS = Decimal(4)


class WishForm(PageForm):
    until = DayField(label=_("For batches up to"))
    budget = MoneyField(
        label=_("Spend no more than"), required=False, help_text=_("Freight included")
    )
    allow_expiring = forms.BooleanField(
        label=_("Buy more than is used in time, where that is cheaper"), required=False
    )

    def limits(self, without: list[str]) -> Limits:
        typed = self.cleaned_data
        return Limits(
            without=without,
            budget=typed["budget"],
            allow_expiring=typed["allow_expiring"],
            seconds=SECONDS,
        )


class NoteForm(PageForm):
    note = forms.CharField(label=_("Printed on the orders"), max_length=LONG, required=False)


@dataclass(frozen=True, slots=True)
class Line:
    """A line of a plan with what it is of, and what is worth knowing about it."""

    line: PlanLine
    offer: OfferOn
    material: Material
    advice: LineAdvice | None


@dataclass(frozen=True, slots=True)
class Part:
    """What a plan orders of one supplier."""

    name: str
    order: SupplierOrder
    lines: list[Line]
    otherwise: str


class OrderPlan(Screen):
    """What to order; nothing is kept until the orders are written."""

    template = "pages/order_plan.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        self.actor.must(Verb.SEE_OFFERS)
        asked = "until" in request.GET
        form = self._form(request.GET if asked else None)
        return self._page(form, self._found(form) if asked else None)

    def post(self, request: HttpRequest) -> HttpResponse:
        note = NoteForm(request.POST, reader=self.reader)
        chosen = _chosen(request.POST.get("lines", ""))
        return self.act(
            note,
            lambda: write_planned(
                self.actor, chosen=chosen, happened_at=self.now, note=note.cleaned_data["note"]
            ),
            lambda written: "/orders" if len(written) > 1 else f"/orders/{written[0].id}",
            lambda: self._page(self._form(None), None, note=note, status=422),
        )

    def _form(self, data: Any) -> WishForm:
        first = {"until": day_of(self.actor, self.now) + AHEAD}
        return WishForm(data, reader=self.reader, initial=first)

    def _without(self) -> list[str]:
        """The suppliers that the address leaves out."""
        asked = self.request.GET.getlist("without")[:MOST_SUPPLIERS]
        return [id for one in asked if (id := id_in(one))]

    def _found(self, form: WishForm) -> Ordering | None:
        if not form.is_valid():
            return None
        try:
            return plan_orders(
                self.actor,
                needs=None,
                until=form.cleaned_data["until"],
                day=None,
                limits=form.limits(self._without()),
                now=self.now,
            )
        except Refusal as refusal:
            form.refuse(refusal)
            return None

    def _page(
        self,
        form: WishForm,
        found: Ordering | None,
        *,
        note: PageForm | None = None,
        status: int = 200,
    ) -> HttpResponse:
        parts, currency = self._parts(found) if found else [], self.actor.currency
        number = self.request.GET.get("page", "0")
        lines = sum(len(part.lines) for part in parts)
        last = max(0, lines - 1) // MOST_LINES
        page = min(int(number[:4]), last) if number.isdecimal() else 0
        shown = _lines_of(parts, page * MOST_LINES, (page + 1) * MOST_LINES)
        return self.show(
            files={
                "": lambda: _table(parts, currency),
                "amounts": lambda: _amounts(parts, currency),
            }
            if parts
            else None,
            form=form,
            found=found,
            parts=shown,
            lines=lines,
            packed=_packed(found) if found else None,
            more=page + 1 if page < last else None,
            before=page - 1 if page else None,
            ask=tables.query_of(self.request, "page"),
            without=self._without(),
            note=note or NoteForm(reader=self.reader),
            may_order=self.actor.may(Verb.ORDER),
            status=status,
        )

    def _parts(self, found: Ordering) -> list[Part]:
        materials = {material.id: material for material, _ in found.needs}
        advice = {one.offer.key: one for one in found.advice}
        parts = []
        for order in found.plan.orders:
            lines = []
            for line in order.lines:
                offer, more = found.offers[line.offer.key], advice.get(line.offer.key)
                lines.append(Line(line, offer, materials[offer.material], more))
            asked = self.request.GET.copy()
            asked.appendlist("without", str(order.supplier))
            parts.append(Part(lines[0].offer.supplier_name, order, lines, asked.urlencode()))
        return parts


def _lines_of(parts: Sequence[Part], first: int, last: int) -> list[Part]:
    """The parts with those of their lines that stand between these places of all."""
    shown, place = [], 0
    for part in parts:
        lines = part.lines[max(0, first - place) : max(0, last - place)]
        place += len(part.lines)
        if lines:
            shown.append(replace(part, lines=lines))
    return shown


def _packed(found: Ordering) -> str | None:
    """All lines of a plan as the form sends them back, whichever of them the page shows."""
    return packed(
        [
            [found.offers[line.offer.key].offer.hex, line.packs, f"{line.amount:f}"]
            for order in found.plan.orders
            for line in order.lines
        ]
    )


def _chosen(text: str) -> list[Chosen]:
    """The lines that `_packed` made, or none. Raises BadRequest."""
    lines = unpacked(text) if text else []
    try:
        return [_line(*(str(fact) for fact in line)) for line in lines]
    except TypeError as error:
        raise errors.BadRequest from error


def _line(offer: str, packs: str, amount: str) -> Chosen:
    sound = id_in(offer) and packs.isdecimal() and len(packs) < 8 and NUMBER.fullmatch(amount)
    if not sound or not int(packs):
        raise errors.BadRequest
    return Chosen(offer, int(packs), Decimal(amount))


def _table(parts: Sequence[Part], currency: str) -> tables.Table:
    """Every line of the plan."""
    columns = [said("From"), said("Material"), said("Packs"), said("Pack"), said("Article")]
    columns += [said("Quantity"), said("Unit")]
    columns += [f"{said('Price')}, {currency}", f"{said('Amount')}, {currency}"]
    cells = (
        (
            *(part.name, one.material.name, one.line.packs, one.offer.entered),
            *(one.offer.article_code, one.line.quantity),
            *(tables.unit_of(one.material.counted), one.line.price, one.line.amount),
        )
        for part in parts
        for one in part.lines
    )
    return tables.Table("order-plan", columns, cells)


def _amounts(parts: Sequence[Part], currency: str) -> tables.Table:
    """What other amounts of each line would cost."""
    columns = [said("Material"), said("Packs"), said("Holds"), said("Unit")]
    columns += [f"{said('The whole order')}, {currency}", said("Not used in time")]
    cells = (
        (
            *(one.material.name, step.packs, step.quantity),
            *(tables.unit_of(one.material.counted), step.cost, step.expiring),
        )
        for part in parts
        for one in part.lines
        for step in (one.advice.steps if one.advice else ())
    )
    return tables.Table("amounts", columns, cells)
