"""The cheapest orders for what is lacking, and writing them down as orders."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from django import forms
from django.db.models.functions import Lower
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api import errors
from api.pages import tables, workings
from api.pages.forms import LONG, PageForm, id_in
from api.pages.packing import packed, unpacked
from api.pages.plan_wishes import Wish
from api.pages.screen import Screen
from api.pages.whole_numbers import whole_in
from api.separators import NUMBER
from formulas.order_planning import Ordering
from ledger.access import materials_visible_to
from ledger.models import Material
from ledger.offer_reading import OfferOn
from ledger.order_advice import LineAdvice, Step
from ledger.order_bills import PlanLine, SupplierOrder
from ledger.planned_orders import Chosen, write_planned
from ledger.reordering import Reorder
from ledger.roles import Verb

# A page shows so many lines of a plan; of a longer one, others stand on the next page.
MOST_LINES = 40
# So many names a list offers while somebody types.
MOST_NAMES = 300
# Of so many lines each is told at length.
FEW_LINES = 20


class NoteForm(PageForm):
    note = forms.CharField(label=_("Printed on the orders"), max_length=LONG, required=False)


@dataclass(frozen=True, slots=True)
class Tip:
    """The amount of a line that is cheapest to use, beside what is planned and just the need.

    Costs are of the supplier's whole order. `take` is the address of the plan with that amount,
    where it is more than what is planned.
    """

    best: Step
    planned: Step
    least: Step
    take: str

    @property
    def more(self) -> Decimal:
        return self.best.quantity - self.planned.quantity

    @property
    def extra(self) -> Decimal:
        return self.best.cost - self.planned.cost


@dataclass(frozen=True, slots=True)
class Line:
    """A line of a plan with what it is of, and what is worth knowing about it."""

    line: PlanLine
    offer: OfferOn
    material: Material
    advice: LineAdvice | None
    low: Reorder | None
    tip: Tip | None


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
        return self._page()

    def post(self, request: HttpRequest) -> HttpResponse:
        note = NoteForm(request.POST, reader=self.reader)
        chosen = _chosen(request.POST.get("lines", ""))
        return self.act(
            note,
            lambda: write_planned(
                self.actor, chosen=chosen, happened_at=self.now, note=note.cleaned_data["note"]
            ),
            lambda written: "/orders" if len(written) > 1 else f"/orders/{written[0].id}",
            lambda: self._page(note=note, status=422),
        )

    def _page(self, *, note: PageForm | None = None, status: int = 200) -> HttpResponse:
        """The plan that the address asks for; one whose orders were refused is made anew."""
        self.actor.must(Verb.SEE_OFFERS)
        wish = Wish(self.actor, self.request.GET, reader=self.reader, now=self.now)
        found = wish.found()
        parts, currency = _parts(found, wish) if found else [], self.actor.currency
        lines = sum(len(part.lines) for part in parts)
        last = max(0, lines - 1) // MOST_LINES
        page = whole_in(self.request.GET.get("page", ""), last)
        shown = _lines_of(parts, page * MOST_LINES, (page + 1) * MOST_LINES)
        return self.show(
            files={
                "": lambda: _table(parts, currency),
                "amounts": lambda: _amounts(parts, currency),
            }
            if parts
            else None,
            wish=wish,
            form=wish.form,
            found=found,
            parts=shown,
            told=_told(found, parts, currency) if found else (),
            lines=lines,
            few=lines <= FEW_LINES,
            until=wish.until,
            the_same=wish.anew(),
            ask_all=wish.anew("page", "without"),
            all_materials=wish.anew("page", "material", "least"),
            as_needed=wish.anew("page", "least"),
            not_offered=found.not_offered[:FEW_LINES] if found else (),
            any_low=any(one.low for part in shown for one in part.lines),
            packed=_packed(found) if found else None,
            more=page + 1 if page < last else None,
            before=page - 1 if page else None,
            ask=tables.query_of(self.request, "page"),
            materials=self._names() if wish.rows else [],
            note=note or NoteForm(reader=self.reader),
            may_order=self.actor.maker_id is not None and self.actor.may(Verb.ORDER),
            status=status,
        )

    def _names(self) -> list[str]:
        """The materials that a list offers while somebody types."""
        names = materials_visible_to(self.actor).filter(stocked=True).order_by(Lower("name"))
        return list(names.values_list("name", flat=True)[:MOST_NAMES])


def _parts(found: Ordering, wish: Wish) -> list[Part]:
    """The plan by supplier, each line with what is worth knowing about it."""
    materials = {material.id: material for material, _ in found.needs}
    advice = {one.offer.key: one for one in found.advice}
    held: dict[Any, Decimal] = defaultdict(Decimal)
    for order in found.plan.orders:
        for line in order.lines:
            held[line.offer.material] += line.quantity
    parts = []
    for order in found.plan.orders:
        lines = []
        for line in order.lines:
            offer, told = found.offers[line.offer.key], advice.get(line.offer.key)
            material = materials[offer.material]
            tip = _tip(told, held[line.offer.material], wish) if told else None
            lines.append(Line(line, offer, material, told, found.low.get(material.id), tip))
        name = lines[0].offer.supplier_name
        parts.append(Part(name, order, lines, wish.leaving_out(str(order.supplier))))
    return parts


def _tip(told: LineAdvice, held: Decimal, wish: Wish) -> Tip | None:
    """What is advised; taking it asks for what the plan `held` of the material, and that more."""
    if told.best is None:
        return None
    planned, more = told.as_planned, told.best.quantity - told.as_planned.quantity
    take = wish.taking(str(told.offer.material), held + more) if more > 0 else ""
    return Tip(told.best, planned, told.steps[0], take)


def _told(found: Ordering, parts: Sequence[Part], currency: str) -> list[workings.Line]:
    """What the plan costs, order by order, what other ways would, and what is saved."""
    names = {offer.supplier: offer.supplier_name for offer in found.offers.values()}
    orders = [_paid(part.name, part.order, currency) for part in parts]
    by_line = [_paid(names[one.supplier], one, currency) for one in found.by_line]
    alone = [workings.Line(one.name, cost, currency) for one, cost in found.one_by_one or ()]
    saved = (
        workings.Line(said("Line by line"), found.line_by_line, currency),
        workings.Line(said("less all of it as planned"), -found.plan.cost, currency),
    )
    sums = [
        (said("In all, with freight"), found.plan.cost, tuple(orders)),
        (said("Line by line"), found.line_by_line, tuple(by_line)),
        (said("One material at a time"), found.apart, tuple(alone)),
        (said("Saved"), found.saving, saved),
    ]
    return [
        workings.Line(name, amount, currency, parts=lines)
        for name, amount, lines in sums
        if amount is not None
    ]


def _paid(name: str, order: SupplierOrder, currency: str) -> workings.Line:
    goods = workings.Line(said("goods"), order.goods, currency)
    freight = workings.Line(said("freight"), order.freight, currency)
    return workings.Line(name, order.cost, currency, parts=(goods, freight))


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
