"""One offer of a supplier: a pack, what it costs from which day on, and its price breaks."""

from typing import Any
from uuid import UUID

from django.db.models.functions import Lower
from django.http import HttpRequest, HttpResponse

from api.pages import tables
from api.pages.forms import PageForm, WithRows, id_in
from api.pages.offer_forms import (
    EndForm,
    OfferForm,
    PriceForm,
    breaks_typed,
    price_typed,
    priced_forms,
)
from api.pages.offer_workings import prices_told
from api.pages.offered import breaks_table, offered, priced, prices_table
from api.pages.screen import Screen
from ledger import offer_reading, offering
from ledger.access import day_of, materials_visible_to, supplier_for
from ledger.finding import material_named
from ledger.models import Offer as Kept
from ledger.roles import Verb

MOST, MOST_NAMES = 30, 300
# Empty rows for breaks at first, and beside those that a price has.
FIRST, SPARE = 2, 1


class NewOffer(Screen):
    """A pack that a supplier offers, with its first price."""

    template = "pages/offer_new.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        self.actor.must(Verb.OFFER)
        typed = {"valid_from": day_of(self.actor, self.now), "material": self._wanted()}
        form, rows = self._form(initial=typed), {"breaks": str(FIRST)}
        return self._page(id, priced_forms(form, rows, self.reader, judged=False))

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        self.actor.must(Verb.OFFER)
        supplier_for(self.actor, id)
        data = request.POST
        if data.get("do") == "more":
            form = self._form(initial=data.dict())
            return self._page(id, priced_forms(form, data, self.reader, judged=False, more=1))
        form = self._form(data)
        forms = priced_forms(form, data, self.reader)
        return self.act(
            forms,
            lambda: self._add(id, form, forms),
            lambda made: f"/offers/{made.id}",
            lambda: self._page(id, forms, status=422),
        )

    def _form(self, data: Any = None, **how: Any) -> OfferForm:
        return OfferForm(data, reader=self.reader, actor=self.actor, **how)

    def _add(self, id: UUID, form: OfferForm, forms: WithRows) -> Kept:
        form.near(day_of(self.actor, self.now))
        typed = form.cleaned_data
        return offering.add_offer(
            self.actor,
            supplier=id,
            material=material_named(self.actor, typed["material"]).id,
            pack=typed["pack"],
            price=form.price_facts(forms.rows),
            article_code=typed["article_code"],
            density=typed["density"],
            opened=form.opened(),
        )

    def _wanted(self) -> str:
        """The name of the material that the page before asked for."""
        id = id_in(self.request.GET.get("material", ""))
        found = materials_visible_to(self.actor).filter(id=id).first() if id else None
        return found.name if found else ""

    def _page(self, id: UUID, forms: WithRows, status: int = 200) -> HttpResponse:
        names = materials_visible_to(self.actor).filter(stocked=True).order_by(Lower("name"))
        return self.show(
            supplier=supplier_for(self.actor, id),
            form=forms.whole,
            rows=forms.rows,
            materials=list(names.values_list("name", flat=True)[:MOST_NAMES]),
            status=status,
        )


class Offer(Screen):
    """An offer with all its prices; another price, and its end."""

    template = "pages/offer.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        found = self._offer(id)
        return self._page(found, self._as_it_is(found), self._ending())

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        found, data = self._offer(id), request.POST
        if data.get("do") == "end":
            end = self._ending(data)
            return self.act(
                end,
                lambda: offering.withdraw_offer(
                    self.actor,
                    offer=id,
                    valid_from=end.cleaned_data["ends_on"],
                    note=end.cleaned_data["end_note"],
                ),
                lambda kept: f"/offers/{id}",
                lambda: self._page(found, self._as_it_is(found), end, status=422),
            )
        if data.get("do") == "more":
            form = self._form(initial=data.dict())
            more = priced_forms(form, data, self.reader, judged=False, more=1)
            return self._page(found, more, self._ending())
        form = self._form(data)
        forms = priced_forms(form, data, self.reader)
        return self.act(
            forms,
            lambda: self._reprice(id, form, forms),
            lambda kept: f"/offers/{id}",
            lambda: self._page(found, forms, self._ending(), status=422),
        )

    def _offer(self, id: UUID) -> Kept:
        return offer_reading.offer_for(self.actor, id, on=day_of(self.actor, self.now))

    def _form(self, data: Any = None, **how: Any) -> PriceForm:
        return PriceForm(data, reader=self.reader, own=self.actor.currency, **how)

    def _ending(self, data: Any = None) -> EndForm:
        return EndForm(data, reader=self.reader, initial={"ends_on": day_of(self.actor, self.now)})

    def _as_it_is(self, found: Kept) -> WithRows:
        """What the fields show: the price that holds, to be changed."""
        price, today = offer_reading.in_force(found), day_of(self.actor, self.now)
        form = self._form(initial=price_typed(price, today, self.reader))
        rows = breaks_typed(price, self.reader, SPARE)
        return priced_forms(form, rows, self.reader, judged=False)

    def _reprice(self, id: UUID, form: PriceForm, forms: WithRows) -> Kept:
        form.near(day_of(self.actor, self.now))
        return offering.reprice(self.actor, offer=id, price=form.price_facts(forms.rows))

    def _page(self, found: Kept, forms: WithRows, end: PageForm, status: int = 200) -> HttpResponse:
        actor, today = self.actor, day_of(self.actor, self.now)
        most = tables.MOST_ROWS if tables.asked(self.request) else MOST
        rows = offer_reading.prices_of(actor, found.id, on=today).order_by("-id")[: most + 1]
        history = [priced(actor, row, row.offer) for row in rows]
        one, may = offered(actor, found), actor.may(Verb.OFFER)
        files: tables.Files = {"": lambda: prices_table(history, actor.currency)}
        price = one.price
        if price is not None and price.steps:
            files = {**files, "breaks": lambda: breaks_table(price, actor.currency)}
        return self.show(
            files=files,
            one=one,
            history=history[:MOST],
            more=len(history) > MOST,
            told=prices_told(found, [*([price] if price else []), *history[:MOST]], self.reader),
            today=today,
            form=forms.whole if may else None,
            rows=forms.rows,
            end=end,
            status=status,
        )
