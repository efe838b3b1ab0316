"""Products: what a piece of each costs now, writing a new one, and what another price would do."""

from decimal import Decimal
from typing import Any, ClassVar
from uuid import UUID

from django import forms
from django.db.models.functions import Lower
from django.http import HttpRequest, HttpResponse
from django.utils.http import urlencode
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import tables
from api.pages.forms import MoneyField, NumberField, PageForm, id_in
from api.pages.screen import Screen
from formulas import what_if
from formulas.access import products_of
from ledger.access import materials_visible_to
from ledger.errors import Refusal
from ledger.finding import nearly, words_of
from ledger.roles import Verb

MOST, MOST_CHANGED, MOST_NAMES = 60, 20, 300
PACKED = 3


class Products(Screen):
    """The maker's products by name, with what a piece costs now."""

    template = "pages/products.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        text = self.sought
        words = words_of(text)
        kind = tables.asked(request)
        most = tables.MOST_ROWS if kind else MOST
        found = what_if.costs_of_products(self.actor, words=words, limit=most + 1)
        if kind:
            columns = [said("Product"), said("Formula"), said("Fill")]
            columns += [f"{said('A piece costs')}, {self.actor.currency}"]
            cells = (
                (one.product.name, one.product.formula.name, one.product.fill_entered, one.per_unit)
                for one in found
            )
            return tables.file(kind, tables.Table("products", columns, cells))
        return self.show(
            products=found[:MOST],
            more=len(found) > MOST,
            near=[] if found else nearly(products_of(self.actor), words),
            q=text,
            may_write=self.actor.may(Verb.FORMULATE),
        )


class WhatIfForm(PageForm):
    material = forms.ChoiceField(label=_("If this"))
    price = MoneyField(
        label=_("costs"), required=False, help_text=_("A kilogram, or a piece of what is counted")
    )
    change_percent = forms.CharField(
        label=_("or changes by, percent"),
        required=False,
        max_length=20,
        help_text=_("Such as 10, or -5 for cheaper"),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    margin_percent = NumberField(
        label=_("Prices at a margin of, percent"),
        required=False,
        help_text=_("Of the price; left empty, only costs are told"),
    )
    called: ClassVar = {
        "/materials/0": "price",
        "/materials/0/material": "material",
        "/materials/0/change_percent": "change_percent",
    }

    def __init__(self, *args: Any, materials: Any, **how: Any) -> None:
        super().__init__(*args, **how)
        self.fields["material"].choices = materials  # type: ignore[attr-defined]
        if self.reader.us:
            self.fields["price"].help_text = _("A pound, or a piece of what is counted")

    def clean_change_percent(self) -> Decimal | None:
        typed = self.cleaned_data["change_percent"].strip().replace("\N{MINUS SIGN}", "-")
        if not typed:
            return None
        number = NumberField()
        number.reader = self.reader
        amount: Decimal = number.clean(typed.removeprefix("-").removeprefix("+"))
        return -amount if typed.startswith("-") else amount


def _asked(form: WhatIfForm) -> tuple[str, str]:
    """The other price, and the margin, as the addresses of the workings have them."""
    typed = form.cleaned_data
    names = ("material", "price", "change_percent")
    given = {name: str(typed[name]) for name in names if typed[name] is not None}
    return urlencode(given), urlencode({"margin_percent": typed["margin_percent"] or ""})


class WhatIf(Screen):
    """Another price of one material, tried on all products at once; nothing is kept."""

    template = "pages/what_if.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        self.actor.must(Verb.SEE_COSTS)
        form = self._form(request)
        kind = tables.asked(request)
        most = tables.MOST_ROWS + 1 if kind else MOST_CHANGED
        found = self._found(form, most) if form.is_bound and form.is_valid() else None
        if kind and found is not None:
            return tables.file(kind, self._table(found))
        asked = _asked(form) if found else ("", "")
        return self.show(
            form=form,
            found=found,
            changed=asked[0],
            at_margin=asked[1],
            status=422 if form.errors else 200,
        )

    def _form(self, request: HttpRequest) -> WhatIfForm:
        bought = materials_visible_to(self.actor).filter(maker=None).order_by(Lower("name"))
        rows = [(str(id), name) for id, name in bought.values_list("id", "name")[:MOST_NAMES]]
        asked = {"price", "change_percent"} & set(request.GET)
        first = {"material": id_in(request.GET.get("material", "")) or ""}
        data = request.GET if asked else None
        return WhatIfForm(data, reader=self.reader, materials=rows, initial=first)

    def _found(self, form: WhatIfForm, most: int) -> what_if.WhatIf | None:
        typed = form.cleaned_data
        if typed["price"] is not None and self.reader.us:
            rows = materials_visible_to(self.actor).filter(id=typed["material"])
            counted = rows.filter(measured_by="count").exists()
            typed["price"] = self.reader.per_kilogram(typed["price"], counted)
        change = what_if.Change(
            UUID(typed["material"]), price=typed["price"], change_percent=typed["change_percent"]
        )
        try:
            return what_if.what_if(
                self.actor,
                changes=[change],
                margin_percent=typed["margin_percent"],
                limit=most,
            )
        except Refusal as refusal:
            form.refuse(refusal)
            return None

    def _table(self, found: what_if.WhatIf) -> tables.Table:
        money = self.actor.currency
        if tables.which(self.request) == "formulas":
            names = [said("A kilogram before"), said("after")]
            columns = [said("Formula"), *(f"{name}, {money}" for name in names)]
            rows = ((one.name, one.per_kg.old, one.per_kg.new) for one in found.formulas)
            return tables.Table("what-if-formulas", columns, rows)
        names = [said("Product"), said("A piece before"), said("after"), said("Price before")]
        columns = [*names, said("after")]
        columns[1:] = [f"{name}, {money}" for name in columns[1:]]
        cells = (
            (one.name, one.per_unit.old, one.per_unit.new, one.price.old, one.price.new)
            for one in found.products
        )
        return tables.Table("what-if", columns, cells)
