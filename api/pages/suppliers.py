"""Suppliers of the co-op: their names and mail, what holds for an order, what they offer, and how
long they take."""

from typing import Any
from uuid import UUID

from django import forms
from django.db.models.functions import Lower
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import offered, tables
from api.pages.doubles import NewNameForm
from api.pages.forms import PageForm
from api.pages.screen import Screen
from ledger import catalogue, offer_reading
from ledger.access import day_of, supplier_for, suppliers_visible_to
from ledger.finding import having, nearly, words_of
from ledger.lead_time_reading import lead_time_of
from ledger.lead_times import days_to_plan_by
from ledger.models import Supplier as Kept
from ledger.roles import Verb

MOST, LONGEST_MAIL = 100, 254
# A supplier's page shows so many of its packs; the file has them all.
MOST_OFFERS = 40


class MailField(forms.EmailField):
    """A mail address in ASCII, which every mail server between here and there knows."""

    def clean(self, value: Any) -> str:
        found = str(super().clean(value))
        if not found.isascii():
            raise forms.ValidationError(said("Write it without accents, as mail is addressed."))
        return found


class SupplierForm(NewNameForm):
    name = forms.CharField(label=_("What it is called"), max_length=200)
    contact_name = forms.CharField(label=_("Who answers there"), max_length=200, required=False)
    mail = MailField(label=_("Where orders are mailed to"), max_length=LONGEST_MAIL, required=False)

    def facts(self) -> dict[str, str]:
        return {name: self.cleaned_data[name] for name in ("name", "contact_name", "mail")}


class Suppliers(Screen):
    """Everybody whom the co-op buys from, by name; and one more."""

    template = "pages/suppliers.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        return self._page(SupplierForm(reader=self.reader))

    def post(self, request: HttpRequest) -> HttpResponse:
        form = SupplierForm(request.POST, reader=self.reader)
        return self.act(
            form,
            lambda: self._add(form),
            lambda made: f"/suppliers/{made.id}",
            lambda: self._page(form, status=422),
        )

    def _add(self, form: SupplierForm) -> Kept:
        form.ask_once(suppliers_visible_to(self.actor))
        return catalogue.add_supplier(self.actor, **form.facts())

    def _page(self, form: PageForm, status: int = 200) -> HttpResponse:
        text = self.sought
        words, every = words_of(text), suppliers_visible_to(self.actor)
        found = list(having(every, words).order_by(Lower("name"))[: MOST + 1])
        return self.show(
            suppliers=found[:MOST],
            more=len(found) > MOST,
            near=[] if found else nearly(every, words),
            q=text,
            form=form,
            may_write=self.actor.may(Verb.EDIT_CATALOGUE),
            status=status,
        )


class ChangeForm(SupplierForm):
    version = forms.IntegerField(widget=forms.HiddenInput)


class Supplier(Screen):
    """One supplier, put right by whoever may; another's change in between is not lost."""

    template = "pages/supplier.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        found = supplier_for(self.actor, id)
        typed = {name: getattr(found, name) for name in ChangeForm.base_fields if name != "sure"}
        return self._page(id, ChangeForm(reader=self.reader, initial=typed))

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        form = ChangeForm(request.POST, reader=self.reader)
        return self.act(
            form,
            lambda: catalogue.change_supplier(
                self.actor, supplier=id, version=form.cleaned_data["version"], facts=form.facts()
            ),
            lambda kept: f"/suppliers/{id}",
            lambda: self._page(id, form, status=422),
        )

    def _page(self, id: UUID, form: PageForm, status: int = 200) -> HttpResponse:
        actor, today = self.actor, day_of(self.actor, self.now)
        supplier, sees = supplier_for(actor, id), actor.may(Verb.SEE_OFFERS)
        lead = lead_time_of(actor, id, day=today) if actor.may(Verb.READ) else None
        terms = offer_reading.terms_in_force(actor, id, day=today) if sees else None
        asked = tables.asked(self.request)
        most = tables.MOST_ROWS if asked else MOST_OFFERS
        found = offered.offers_of(actor, id, today, limit=most + 1)
        files: tables.Files = {"": lambda: offered.offers_table(found, actor.currency)}
        if lead is not None:
            files = {**files, "lead-times": lambda: offered.lead_table(lead)}
        return self.show(
            files=files,
            supplier=supplier,
            sees=sees,
            terms=terms,
            lead=lead,
            planned_by=days_to_plan_by(
                lead.measured if lead else None, terms.lead_time_days if terms else None
            ),
            offers=found[:MOST_OFFERS],
            more=len(found) > MOST_OFFERS,
            form=form,
            may_write=actor.may(Verb.EDIT_CATALOGUE),
            may_offer=actor.may(Verb.OFFER),
            status=status,
        )
