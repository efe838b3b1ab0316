"""Materials: what there is of each, what it has cost, and when to be warned."""

from dataclasses import dataclass
from datetime import date
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.http import urlencode
from django.utils.safestring import SafeString
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import tables
from api.pages.forms import PageForm, QuantityField, WholeField
from api.pages.material_facts import may_change
from api.pages.material_words import known_of
from api.pages.price_plot import price_plot
from api.pages.screen import Screen
from api.pages.whole_numbers import page_in
from ledger import alerts
from ledger.access import day_of, material_for
from ledger.balances import stock
from ledger.errors import NotFound
from ledger.finding import find_materials, materials_nearly, words_of
from ledger.models import Watch
from ledger.price_history import LandedPoint, OfferedPoint, PriceHistory, price_history
from ledger.roles import Verb

MOST, LONGEST_SEARCH = 40, 100
PRICES_DAYS = 5 * 365


class SearchForm(PageForm):
    q = forms.CharField(
        label=_("Look for"),
        required=False,
        max_length=LONGEST_SEARCH,
        widget=forms.TextInput(attrs={"type": "search", "autocomplete": "off"}),
    )


class Materials(Screen):
    """All that the makers buy and this maker makes, with what is there of it."""

    template = "pages/materials.html"
    fragment = "pages/materials_found.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        form = SearchForm(request.GET, reader=self.reader)
        form.is_valid()
        words = words_of(form.cleaned_data.get("q", ""))
        kind = tables.asked(request)
        if kind:
            return tables.file(kind, self._table(words))
        page = page_in(request.GET.get("page", ""))
        found = find_materials(self.actor, words, now=self.now, limit=MOST + 1, skip=page * MOST)
        more = {"q": request.GET.get("q", ""), "page": str(page + 1)}
        return self.show(
            form=form,
            found=found[:MOST],
            more=urlencode(more) if len(found) > MOST else "",
            near=[] if found else materials_nearly(self.actor, words),
            may_add=self.actor.may(Verb.EDIT_CATALOGUE),
        )

    def _table(self, words: list[str]) -> tables.Table:
        """The materials as a table, with what there is of each."""
        found = find_materials(self.actor, words, now=self.now, limit=tables.MOST_ROWS + 1)
        columns = [said("Material"), said("INCI name"), said("CAS number"), said("Unit")]
        columns += [said("On the shelf"), said("May be used today"), said("Promised to batches")]
        columns += [said("To count on"), f"{said('Worth')}, {self.actor.currency}"]
        cells = (
            (
                *(one.material.name, one.material.inci_name, one.material.cas_number),
                tables.unit_of(one.material.counted),
                *(
                    getattr(one.stock, name, None)
                    for name in ("on_hand", "usable", "reserved", "position", "value")
                ),
            )
            for one in found
        )
        return tables.Table("materials", columns, cells)


class WatchForm(PageForm):
    reorder_point = QuantityField(
        label=_("Warn me when there is no more than"), help_text=_("Such as 5 kg or 200 pieces")
    )
    safety_stock = QuantityField(
        label=_("Of which safety stock"),
        required=False,
        help_text=_("What is to be there still when an order comes"),
    )
    lead_days = WholeField(
        label=_("Days from an order until it may be used"),
        required=False,
        min_value=0,
        max_value=1000,
        help_text=_("Where deliveries do not tell yet; for what you make, from making it"),
    )


@dataclass(frozen=True, slots=True)
class Prices:
    """What deliveries of five years cost and what was offered, as a plot and its tables."""

    plot: SafeString | str
    undrawn: bool
    landed: list[LandedPoint]
    offered: list[OfferedPoint]


class Material(Screen):
    """One material: stock, prices, and the point at which to be warned."""

    template = "pages/material.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        kind = tables.asked(request)
        if kind and self.actor.may(Verb.SEE_OFFERS):
            return tables.file(kind, self._table(id, tables.which(request)))
        return self._page(id)

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        form = WatchForm(request.POST, reader=self.reader)
        return self.act(
            form,
            lambda: alerts.set_watch(self.actor, material=id, **form.cleaned_data),
            lambda watch: f"/materials/{id}",
            lambda: self._page(id, watching=form, status=422),
        )

    def _page(
        self, id: UUID, *, watching: PageForm | None = None, status: int = 200
    ) -> HttpResponse:
        material = material_for(self.actor, id)
        watch = self._watch(id)
        typed = self._typed(watch, material.counted) if watch else {}
        rows = stock(self.actor, now=self.now, materials=[id])
        return self.show(
            material=material,
            known=known_of(material),
            may_change=may_change(self.actor, material),
            stock=rows[0] if rows else None,
            watch=watch,
            form=watching or WatchForm(reader=self.reader, initial=typed),
            may_watch=self.actor.may(Verb.WATCH) and material.stocked,
            may_receive=self.actor.may(Verb.RECEIVE) and material.stocked,
            prices=self._prices(id, material.counted) if self.actor.may(Verb.SEE_OFFERS) else None,
            status=status,
        )

    def _typed(self, watch: Watch, counted: bool) -> dict[str, str | int | None]:
        """A watch as its form shows it."""
        safety = watch.safety_stock
        return {
            "reorder_point": self.reader.entered(watch.entered),
            "safety_stock": None if safety is None else self.reader.typed(safety, counted),
            "lead_days": watch.lead_days,
        }

    def _watch(self, id: UUID) -> Watch | None:
        try:
            return alerts.watch_for(self.actor, id)
        except NotFound:
            return None

    def _history(self, id: UUID) -> PriceHistory:
        last = day_of(self.actor, self.now)
        first = date.fromordinal(last.toordinal() - PRICES_DAYS)
        return price_history(self.actor, material=id, first=first, last=last)

    def _table(self, id: UUID, which: str) -> tables.Table:
        """What was paid, or offered, for a kilogram or a piece."""
        history, money = self._history(id), self.actor.currency
        cells: list[tuple[tables.Cell, ...]]
        if which == "offered":
            columns = [said("From"), said("By"), said("Pack"), f"{said('Offered')}, {money}"]
            cells = [
                (one.on, one.supplier_name, one.pack, one.unit_price) for one in history.offered
            ]
            return tables.Table("offered", columns, cells)
        columns = [said("When"), said("From"), said("Lot")]
        columns += [f"{said('Goods')}, {money}", f"{said('On the shelf')}, {money}"]
        cells = [
            (one.on, one.supplier_name, one.lot_code, one.goods, one.landed)
            for one in history.landed
        ]
        return tables.Table("prices", columns, cells)

    def _prices(self, id: UUID, counted: bool) -> Prices | None:
        history = self._history(id)
        if not history.landed and not history.offered:
            return None
        paid, offers = history.landed[:MOST], history.offered[:MOST]
        plot, undrawn = price_plot(
            *(paid, offers, day_of(self.actor, self.now)),
            counted=counted,
            reader=self.reader,
            currency=self.actor.currency,
        )
        return Prices(plot, undrawn, paid, offers)
