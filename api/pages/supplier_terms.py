"""What holds for a whole order to a supplier: from when, what held before, and a change of it."""

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse

from api.pages import tables
from api.pages.forms import PageForm
from api.pages.offer_forms import TermsForm, terms_typed
from api.pages.offered import terms_table
from api.pages.screen import Screen
from ledger import offer_reading, offering
from ledger.access import day_of, supplier_for
from ledger.models import SupplierTerms as Kept
from ledger.roles import Verb

MOST = 40


class SupplierTerms(Screen):
    """The terms of a supplier; none is ever overwritten."""

    template = "pages/supplier_terms.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        row = offer_reading.terms_in_force(self.actor, id, day=day_of(self.actor, self.now))
        typed = terms_typed(row, day_of(self.actor, self.now), self.reader)
        return self._page(id, self._form(initial=typed))

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        supplier_for(self.actor, id)
        form = self._form(request.POST)
        return self.act(
            form,
            lambda: self._set(id, form),
            lambda kept: f"/suppliers/{id}/terms",
            lambda: self._page(id, form, status=422),
        )

    def _form(self, data: Any = None, **how: Any) -> TermsForm:
        return TermsForm(data, reader=self.reader, actor=self.actor, **how)

    def _set(self, id: UUID, form: TermsForm) -> Kept:
        form.near(day_of(self.actor, self.now))
        return offering.set_supplier_terms(
            self.actor, supplier=id, terms=form.terms(), opened=form.opened()
        )

    def _page(self, id: UUID, form: PageForm, status: int = 200) -> HttpResponse:
        actor, today = self.actor, day_of(self.actor, self.now)
        supplier, counts = (
            supplier_for(actor, id),
            offer_reading.terms_in_force(actor, id, day=today),
        )
        most = tables.MOST_ROWS if tables.asked(self.request) else MOST
        rows = list(offer_reading.terms_of(actor, id).order_by("-id")[: most + 1])
        return self.show(
            files={"": lambda: terms_table(rows, actor.currency)},
            supplier=supplier,
            counts=counts,
            rows=rows[:MOST],
            more=len(rows) > MOST,
            today=today,
            form=form if actor.may(Verb.OFFER) else None,
            status=status,
        )
