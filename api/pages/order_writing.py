"""An order written by hand: from whom, and each line with its packs and the price of them all."""

from typing import Any

from django import forms
from django.db.models.functions import Lower
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext_lazy as _

from api.pages.forms import (
    DayField,
    MoneyField,
    PageForm,
    QuantityField,
    Rows,
    WholeField,
    WithRows,
    id_in,
    shown_again,
)
from api.pages.screen import Screen
from ledger import ordering
from ledger.access import materials_visible_to, suppliers_visible_to
from ledger.catalogue import supplier_named
from ledger.errors import placed
from ledger.finding import material_named
from ledger.models import PurchaseOrder
from ledger.roles import Verb

MOST_NAMES, MOST_PACKS, LINES = 300, 1_000_000, 3


class PacksField(WholeField):
    """So many packs, one if nothing is typed."""

    def __init__(self, **how: Any) -> None:
        super().__init__(required=False, min_value=1, max_value=MOST_PACKS, **how)


class LineForm(PageForm):
    material = forms.CharField(
        label=_("What"),
        max_length=200,
        widget=forms.TextInput(attrs={"list": "materials", "autocomplete": "off"}),
    )
    packs = PacksField(label=_("Packs"), help_text=_("Left empty: one"))
    pack = QuantityField(label=_("A pack holds"), help_text=_("Such as 5 kg or 4 gal"))
    price = MoneyField(label=_("Price of them all"))
    expected_on = DayField(label=_("Comes on"), required=False)


class OrderForm(PageForm):
    supplier = forms.CharField(
        label=_("From whom"),
        max_length=120,
        widget=forms.TextInput(attrs={"list": "suppliers", "autocomplete": "off"}),
    )
    new_supplier = forms.BooleanField(label=_("This supplier is new"), required=False)
    note = forms.CharField(
        label=_("Note"), max_length=400, required=False, help_text=_("Printed on the order")
    )


class NewOrder(Screen):
    """An order that no plan proposed, such as one that was given on the phone."""

    template = "pages/order_new.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        self.actor.must(Verb.ORDER)
        first = {"lines": str(LINES), **self._wanted()}
        lines = Rows(LineForm, "lines", first, reader=self.reader, judged=False)
        return self._page(WithRows(OrderForm(reader=self.reader, initial=self._seller()), lines))

    def post(self, request: HttpRequest) -> HttpResponse:
        self.actor.must(Verb.ORDER)
        data = request.POST
        if data.get("do") == "more":
            order = shown_again(OrderForm, data, reader=self.reader)
            lines = Rows(LineForm, "lines", data, reader=self.reader, judged=False, more=1)
            return self._page(WithRows(order, lines))
        lines = Rows(LineForm, "lines", data, reader=self.reader)
        forms = WithRows(OrderForm(data, reader=self.reader), lines)
        return self.act(
            forms,
            lambda: self._write(forms),
            lambda made: f"/orders/{made.id}",
            lambda: self._page(forms, status=422),
        )

    def _write(self, forms: WithRows) -> PurchaseOrder:
        lines = []
        for place, form in enumerate(forms.rows.filled):
            typed = form.cleaned_data
            with placed(f"/lines/{place}"):
                material = material_named(self.actor, typed["material"])
            facts = {**typed, "material": str(material.id), "packs": typed["packs"] or 1}
            lines.append(ordering.Ordered(**facts))
        typed = forms.whole.cleaned_data
        seller = supplier_named(self.actor, typed["supplier"], new=typed["new_supplier"])
        about = {"note": typed["note"], "happened_at": self.now}
        return ordering.write_order(self.actor, supplier=seller.id, lines=lines, **about)

    def _wanted(self) -> dict[str, str]:
        """The material that the page before asked for, as the first line has it."""
        id = id_in(self.request.GET.get("material", ""))
        material = materials_visible_to(self.actor).filter(id=id).first() if id else None
        return {"lines-0-material": material.name} if material else {}

    def _seller(self) -> dict[str, str]:
        """The supplier that the page before asked for, by its name."""
        id = id_in(self.request.GET.get("supplier", ""))
        supplier = suppliers_visible_to(self.actor).filter(id=id).first() if id else None
        return {"supplier": supplier.name} if supplier else {}

    def _page(self, forms: WithRows, status: int = 200) -> HttpResponse:
        names = materials_visible_to(self.actor).filter(stocked=True).order_by(Lower("name"))
        sellers = suppliers_visible_to(self.actor).order_by(Lower("name"))
        return self.show(
            form=forms.whole,
            lines=forms.rows,
            materials=list(names.values_list("name", flat=True)[:MOST_NAMES]),
            suppliers=list(sellers.values_list("name", flat=True)[:MOST_NAMES]),
            status=status,
        )
