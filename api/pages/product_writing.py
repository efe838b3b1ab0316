"""Writing a product down, and changing it: its fill, packaging, work, use and label."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any, ClassVar, Final
from uuid import UUID

from django import forms
from django.db.models.functions import Lower
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext_lazy as _

from api.pages import packed_in
from api.pages.forms import MoneyField, NumberField, PageForm, QuantityField, WholeField
from api.pages.screen import Screen
from api.pages.whole_numbers import MOST_VERSIONS, whole_in
from api.sheets.product import product_label
from formulas import products
from formulas.access import formulas_of, product_for, version_for
from formulas.caution_facts import of_product
from formulas.declaration import Market
from formulas.labelling import LabelDraft, label_product
from formulas.models import Packaging, Product
from formulas.products import PackagingDraft, ProductDraft
from ledger.access import day_of, materials_visible_to
from ledger.quantities import parse_quantity
from ledger.roles import Verb

MOST_NAMES: Final = 300
USES = [("", _("not said")), ("leave_on", _("stays on")), ("rinse_off", _("rinsed off"))]
AREAS = [("eye", _("near the eyes")), ("lip", _("on the lips")), ("baby", _("for babies"))]
# What is stated for the label; a product calls two of them otherwise.
STATED: Final = (
    *("gtin", "months_after_opening", "function", "warnings", "made_by", "report_to"),
    *("safety_file", "notified_as", "professional_only"),
)
OF_PRODUCT: Final = {"function": "label_function", "warnings": "label_warnings"}


class ProductForm(PageForm):
    name = forms.CharField(label=_("What it is called"), max_length=120)
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
    overhead_per_batch = MoneyField(label=_("Overhead of a batch"), required=False)
    use = forms.ChoiceField(label=_("How it is used"), required=False, choices=USES)
    areas = forms.MultipleChoiceField(
        label=_("Where that asks for more care"),
        required=False,
        choices=AREAS,
        widget=forms.CheckboxSelectMultiple,
    )
    gtin = forms.CharField(
        label=_("Number under the bar code"),
        required=False,
        max_length=14,
        help_text=_("GTIN of 8, 12, 13 or 14 digits"),
    )
    months_after_opening = WholeField(
        label=_("Months it keeps once opened"), required=False, min_value=1, max_value=120
    )
    function = forms.CharField(
        label=_("What it is for, on the label"), required=False, max_length=120
    )
    warnings = forms.CharField(
        label=_("Warnings on the label"),
        required=False,
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    made_by = forms.CharField(
        label=_("Who answers for it"),
        required=False,
        max_length=300,
        help_text=_("Name and address; left empty, the maker's name"),
    )
    report_to = forms.CharField(
        label=_("Where to report what went wrong"), required=False, max_length=300
    )
    safety_file = forms.CharField(
        label=_("Where its safety file lies"), required=False, max_length=300
    )
    notified_as = forms.CharField(
        label=_("Its reference with the authority"), required=False, max_length=120
    )
    professional_only = forms.BooleanField(
        label=_("Only licensed professionals are to use it"),
        required=False,
        help_text=_("Its label says so (21 USC 364e, where it is sold in the US)"),
    )
    called: ClassVar = {
        "/labelling/months_after_opening": "months_after_opening",
        "/labelling/gtin": "gtin",
        "/fill/nominal": "nominal",
        "/fill/overfill_percent": "overfill_percent",
        **{pointer: name for name, pointer in products.POINTERS.items()},
        **{f"/packaging/{place}/material": f"packed_{place}" for place in range(packed_in.MOST)},
        **{f"/packaging/{place}/quantity": f"pieces_{place}" for place in range(packed_in.MOST)},
    }

    def __init__(
        self, *args: Any, formulas: Any, parts: Mapping[str, str], rows: int, **how: Any
    ) -> None:
        super().__init__(*args, **how)
        self.fields["formula"].choices = formulas  # type: ignore[attr-defined]
        self.rows = range(rows)
        for place in self.rows:
            pieces = packed_in.PiecesField()
            pieces.reader = self.reader
            self.fields[f"packed_{place}"] = packed_in.PackagingField(parts)
            self.fields[f"pieces_{place}"] = pieces

    def packaging(self) -> list[tuple[Any, Any]]:
        """The fields of what it is packed in, in pairs."""
        return [(self[f"packed_{place}"], self[f"pieces_{place}"]) for place in self.rows]

    def draft(self) -> ProductDraft:
        """What was typed, as the verb takes it."""
        typed = self.cleaned_data
        packed = [(typed[f"packed_{place}"], typed[f"pieces_{place}"]) for place in self.rows]
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
            overhead_per_batch=typed["overhead_per_batch"],
            use=typed["use"],
            areas=typed["areas"],
            label=LabelDraft(**{name: typed[name] for name in STATED}),
        )


class WritesProducts(Screen):
    """What a new product and a changed one share."""

    template = "pages/product_new.html"

    def form_of(
        self, data: Any = None, *, packed: Sequence[Packaging] = (), **how: Any
    ) -> ProductForm:
        """`packed` is what the product is packed in so far."""
        formulas = formulas_of(self.actor).order_by(Lower("name")).values_list("id", "name")
        counted = materials_visible_to(self.actor).filter(
            maker=None, measured_by="count", stocked=True
        )
        named = [(name, str(id)) for id, name in counted.order_by("-id").values_list("id", "name")]
        # Of two that are called alike it is the one that it is packed in, or else the oldest.
        named += [(item.material.name, str(item.material_id)) for item in packed]
        self.parts = sorted({name for name, _ in named}, key=str.lower)[:MOST_NAMES]
        return ProductForm(
            data,
            reader=self.reader,
            formulas=[(str(id), name) for id, name in formulas[:MOST_NAMES]],
            parts={name.lower(): id for name, id in named},
            rows=packed_in.rows_for(len(packed)) if data is None else packed_in.rows_sent(data),
            **how,
        )

    def home(self, id: UUID) -> str:
        """Where to after it is kept: to its price, or for whoever sees no costs to what it is."""
        return f"/products/{id}/{'price' if self.actor.may(Verb.SEE_COSTS) else 'edit'}"

    def page(self, form: ProductForm, status: int = 200, **facts: Any) -> HttpResponse:
        formulas = form.fields["formula"].choices  # type: ignore[attr-defined]
        return self.show(
            form=form,
            formulas=formulas,
            parts=self.parts,
            may_see_costs=self.actor.may(Verb.SEE_COSTS),
            status=status,
            **facts,
        )


class NewProduct(WritesProducts):
    """A product: a formula, how much of it, what it is packed in, and the work."""

    def get(self, request: HttpRequest) -> HttpResponse:
        self.actor.must(Verb.FORMULATE)
        return self.page(self.form_of(initial={"formula": request.GET.get("formula", "")}))

    def post(self, request: HttpRequest) -> HttpResponse:
        form = self.form_of(request.POST)
        return self.act(
            form,
            lambda: products.add_product(self.actor, form.draft()),
            lambda made: self.home(made.id),
            lambda: self.page(form, status=422),
        )


class ChangeProduct(WritesProducts):
    """A product as it is, to be changed; batches that are planned keep what they had."""

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        self.actor.must(Verb.FORMULATE)
        product = product_for(self.actor, id)
        careful = of_product(product, version_for(self.actor, product.formula_id))
        packed = list(product.packaging.all())
        form = self.form_of(packed=packed, initial=self._as_it_is(product))
        return self.page(form, product=product, cautions=careful)

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        product = product_for(self.actor, id)
        form = self.form_of(request.POST, packed=list(product.packaging.all()))
        version = whole_in(request.POST.get("version", ""), MOST_VERSIONS)
        return self.act(
            form,
            lambda: products.change_product(
                self.actor,
                product=id,
                expected_version=version,
                draft=form.draft(),
            ),
            lambda changed: self.home(id),
            lambda: self.page(form, status=422, product=product),
        )

    def _as_it_is(self, product: Product) -> dict[str, Any]:
        """What the fields show."""
        reader = self.reader
        first: dict[str, Any] = {
            "name": product.name,
            "formula": str(product.formula_id),
            "nominal": reader.entered(product.fill_entered),
            "use": product.use,
            "areas": product.areas,
            "hourly_rate": reader.amount(product.hourly_rate),
            "overhead_per_batch": reader.amount(product.overhead_per_batch),
        }
        for name in ("overfill_percent", "minutes_per_unit", "minutes_per_batch"):
            first[name] = reader.entered(f"{getattr(product, name).normalize():f}")
        first["overhead_percent"] = reader.entered(f"{product.overhead_percent.normalize():f}")
        for name in STATED:
            first[name] = getattr(product, OF_PRODUCT.get(name, name))
        packed = sorted(product.packaging.all(), key=lambda item: item.position)
        for place, item in enumerate(packed):
            first[f"packed_{place}"] = item.material.name
            first[f"pieces_{place}"] = reader.entered(f"{item.quantity.normalize():f}")
        return first


class ProductLabel(Screen):
    """A draft of a product's label, to print, with what is missing on it."""

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        today = day_of(self.actor, self.now)
        sheet = product_label(
            label_product(self.actor, product=id, today=today, market=Market.EU),
            market=Market.EU,
            today=today,
            printed_at=self.now,
            paper="a4",
            hand=self.reader,
        )
        return self.printed(sheet)
