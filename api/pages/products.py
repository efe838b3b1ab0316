"""Products: what a piece of each costs now, writing a new one, and what another price would do."""

from decimal import Decimal
from typing import Any, ClassVar
from uuid import UUID

from django import forms
from django.db.models.functions import Lower
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import tables
from api.pages.forms import MoneyField, NumberField, PageForm, QuantityField, id_in
from api.pages.screen import Screen
from formulas import products, what_if
from formulas.access import formulas_of
from formulas.products import PackagingDraft, ProductDraft
from ledger.access import materials_visible_to
from ledger.errors import Refusal
from ledger.quantities import Quantity, parse_quantity
from ledger.roles import Verb

MOST, MOST_NAMES = 60, 300
PACKED = 3


class Products(Screen):
    """The maker's products by name, with what a piece costs now."""

    template = "pages/products.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        text = request.GET.get("q", "").strip()[:100]
        kind = tables.asked(request)
        most = tables.MOST_ROWS if kind else MOST
        found = what_if.costs_of_products(self.actor, named=text, limit=most + 1)
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
            q=text,
            may_write=self.actor.may(Verb.FORMULATE),
        )


class PiecesField(QuantityField):
    """So many pieces of packaging: "1", "2 each"."""

    def read(self, typed: str) -> Quantity:
        return parse_quantity(f"{typed} each" if typed.isdecimal() else typed)


class ProductForm(PageForm):
    name = forms.CharField(label=_("What it is called"), max_length=200)
    formula = forms.ChoiceField(label=_("Filled with"))
    nominal = QuantityField(
        label=_("What the label says is in it"), help_text=_("Such as 50 g or 250 mL")
    )
    overfill_percent = NumberField(
        label=_("Filled above that, percent"),
        required=False,
        help_text=_("So that no piece holds less than its label says"),
    )
    minutes_per_unit = NumberField(label=_("Minutes of work for a piece"), required=False)
    minutes_per_batch = NumberField(label=_("Minutes for a batch"), required=False)
    hourly_rate = MoneyField(label=_("An hour of work costs"), required=False)
    overhead_percent = NumberField(
        label=_("Overhead, percent of materials"),
        required=False,
        help_text=_("Rent, power, insurance: what is paid whether or not this is made"),
    )
    called: ClassVar = {
        "/fill/nominal": "nominal",
        "/fill/overfill_percent": "overfill_percent",
        **{pointer: name for name, pointer in products.POINTERS.items()},
        **{f"/packaging/{place}/material": f"packed_{place}" for place in range(PACKED)},
        **{f"/packaging/{place}/quantity": f"pieces_{place}" for place in range(PACKED)},
    }

    def __init__(self, *args: Any, formulas: Any, materials: Any, **how: Any) -> None:
        super().__init__(*args, **how)
        self.fields["formula"].choices = formulas  # type: ignore[attr-defined]
        for place in range(PACKED):
            packed = forms.ChoiceField(
                label=said("Packed in"), required=False, choices=[("", said("nothing")), *materials]
            )
            pieces = PiecesField(label=said("Pieces of it"), required=False, initial="1")
            pieces.reader = self.reader
            self.fields[f"packed_{place}"], self.fields[f"pieces_{place}"] = packed, pieces

    def packaging(self) -> list[tuple[Any, Any]]:
        """The fields of what it is packed in, in pairs."""
        return [(self[f"packed_{place}"], self[f"pieces_{place}"]) for place in range(PACKED)]

    def draft(self) -> ProductDraft:
        """What was typed, as the verb takes it."""
        typed = self.cleaned_data
        packed = [(typed[f"packed_{place}"], typed[f"pieces_{place}"]) for place in range(PACKED)]
        one = parse_quantity("1 each")
        return ProductDraft(
            name=typed["name"],
            formula=typed["formula"],
            nominal=typed["nominal"],
            overfill_percent=typed["overfill_percent"] or Decimal(0),
            packaging=[PackagingDraft(id, pieces or one) for id, pieces in packed if id],
            minutes_per_batch=typed["minutes_per_batch"] or Decimal(0),
            minutes_per_unit=typed["minutes_per_unit"] or Decimal(0),
            hourly_rate=typed["hourly_rate"],
            overhead_percent=typed["overhead_percent"],
        )


class NewProduct(Screen):
    """A product: a formula, how much of it, what it is packed in, and the work."""

    template = "pages/product_new.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        self.actor.must(Verb.FORMULATE)
        return self._page(self._form(initial={"formula": request.GET.get("formula", "")}))

    def post(self, request: HttpRequest) -> HttpResponse:
        form = self._form(request.POST)
        return self.act(
            form,
            lambda: products.add_product(self.actor, form.draft()),
            lambda made: f"/products/{made.id}/price",
            lambda: self._page(form, status=422),
        )

    def _form(self, data: Any = None, **how: Any) -> ProductForm:
        formulas = (
            formulas_of(self.actor).order_by(Lower("name")).values_list("id", "name")[:MOST_NAMES]
        )
        counted = materials_visible_to(self.actor).filter(
            maker=None, measured_by="count", stocked=True
        )
        return ProductForm(
            data,
            reader=self.reader,
            formulas=[(str(id), name) for id, name in formulas],
            materials=[
                (str(id), name)
                for id, name in counted.order_by(Lower("name")).values_list("id", "name")[
                    :MOST_NAMES
                ]
            ],
            **how,
        )

    def _page(self, form: ProductForm, status: int = 200) -> HttpResponse:
        formulas = form.fields["formula"].choices  # type: ignore[attr-defined]
        return self.show(
            form=form,
            formulas=formulas,
            may_see_costs=self.actor.may(Verb.SEE_COSTS),
            status=status,
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

    def clean_change_percent(self) -> Decimal | None:
        typed = self.cleaned_data["change_percent"].strip().replace("\N{MINUS SIGN}", "-")
        if not typed:
            return None
        number = NumberField()
        number.reader = self.reader
        amount: Decimal = number.clean(typed.removeprefix("-").removeprefix("+"))
        return -amount if typed.startswith("-") else amount


class WhatIf(Screen):
    """Another price of one material, tried on all products at once; nothing is kept."""

    template = "pages/what_if.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        self.actor.must(Verb.SEE_COSTS)
        form = self._form(request)
        kind = tables.asked(request)
        most = tables.MOST_ROWS + 1 if kind else MOST
        found = self._found(form, most) if form.is_bound and form.is_valid() else None
        if kind and found is not None:
            return tables.file(kind, self._table(found))
        return self.show(form=form, found=found, status=422 if form.errors else 200)

    def _form(self, request: HttpRequest) -> WhatIfForm:
        bought = materials_visible_to(self.actor).filter(maker=None).order_by(Lower("name"))
        rows = [(str(id), name) for id, name in bought.values_list("id", "name")[:MOST_NAMES]]
        asked = {"price", "change_percent"} & set(request.GET)
        first = {"material": id_in(request.GET.get("material", "")) or ""}
        data = request.GET if asked else None
        return WhatIfForm(data, reader=self.reader, materials=rows, initial=first)

    def _found(self, form: WhatIfForm, most: int) -> what_if.WhatIf | None:
        typed = form.cleaned_data
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
