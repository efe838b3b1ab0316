"""What a formula's materials, and a product's packaging and work, should cost from a day on."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any, ClassVar
from uuid import UUID

from django import forms
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import side_tables, tables
from api.pages.forms import LONG, DayField, NumberField, PageForm
from api.pages.screen import Screen
from api.pages.workings import Line
from formulas import standards
from formulas.access import product_for, version_for
from formulas.composition import left_after_loss
from formulas.models import FormulaVersion, Product, StandardCost
from formulas.products import POINTERS
from formulas.standards import GivenPrice, Listed, Policy
from formulas.unit_costs import shared_out
from formulas.variances import cost_per_kg
from ledger.access import day_of
from ledger.costing import round_stored
from ledger.errors import Unreadable
from ledger.roles import Verb

MOST = 12
ZERO = Decimal(0)
# How the reader is told what is no bare number.
TOLD_AS = {"hourly_rate": "money", "overhead_per_batch": "money", "overhead_percent": "percent"}


class PriceField(NumberField):
    """What a kilogram or a piece should cost; a piece may cost less than a cent."""

    def read(self, typed: str) -> Decimal:
        price = super().read(typed)
        if price != round_stored(Fraction(price)):
            raise Unreadable(said("Write no more than six digits after the point."))
        return price


class StandardForm(PageForm):
    """A day, and a price for each material that is not to cost what it costs now."""

    valid_from = DayField(
        label=_("From this day on"), help_text=_("Batches finished from then on are held to it.")
    )
    note = forms.CharField(label=_("Note"), max_length=LONG, required=False)

    def __init__(self, *args: Any, listed: Sequence[Listed], **how: Any) -> None:
        super().__init__(*args, **how)
        self.listed = listed
        for one in listed:
            field = PriceField(label=one.material.name, required=False, help_text=self._now(one))
            field.reader = self.reader
            self.fields[f"price_{one.material.id}"] = field

    def prices(self) -> list[Any]:
        """The fields of the prices, in the order of the materials."""
        return [self[f"price_{one.material.id}"] for one in self.listed]

    def given(self) -> list[GivenPrice]:
        """The prices that were typed."""
        typed = [(one, self.cleaned_data[f"price_{one.material.id}"]) for one in self.listed]
        return [GivenPrice(one.material.id, price) for one, price in typed if price is not None]

    def field_at(self, pointer: str) -> str:
        """A price is named by its place among those that were typed."""
        of, place, *_rest = [*pointer.strip("/").split("/"), "", ""]
        if of == "prices" and place.isdecimal():
            return f"price_{self.given()[int(place)].material}"
        return super().field_at(pointer)

    def _now(self, one: Listed) -> str:
        """How much of it there is, and what it costs now."""
        counted = one.material.counted
        number = self.reader.number(one.share)
        told = (
            said("%(number)s in a piece") % {"number": number}
            if counted
            else (self.reader.percent(one.share) if one.share else said("instead of another"))
        )
        if one.price is None:
            return told
        now = said("now %(cost)s") % {"cost": self.reader.unit_cost(one.price)}
        return f"{told} · {now}"


class ProductStandardForm(StandardForm):
    called: ClassVar = {pointer: name for name, pointer in POINTERS.items()}

    minutes_per_unit = NumberField(label=_("Minutes of work for a piece"), required=False)
    minutes_per_batch = NumberField(label=_("Minutes for a batch"), required=False)
    hourly_rate = NumberField(label=_("An hour of work costs"), required=False)
    overhead_per_batch = NumberField(label=_("Overhead of a batch"), required=False)
    overhead_percent = NumberField(label=_("Overhead, percent of materials"), required=False)

    def __init__(self, *args: Any, product: Product, **how: Any) -> None:
        super().__init__(*args, **how)
        for name in POINTERS:
            now = getattr(product, name)
            told = getattr(self.reader, TOLD_AS.get(name, "number"))(now)
            self.fields[name].help_text = said("now %(number)s") % {"number": told}

    def policy(self) -> Policy:
        return Policy(**{name: self.cleaned_data[name] for name in POINTERS})

    def work(self) -> list[Any]:
        """The fields of labour and overhead."""
        return [self[name] for name in POINTERS]


@dataclass(frozen=True, slots=True)
class Told:
    """A standard that was set, what it comes to, and whether it is the one that counts today."""

    row: StandardCost
    comes_to: Decimal
    counts: bool


class Standards(Screen):
    """The standards that were set, the latest day first, and one more to be set."""

    template = "pages/standards.html"

    def _told(self, rows: "QuerySet[StandardCost]") -> list[Told]:
        today = day_of(self.actor, self.now)
        found = list(rows.order_by("-valid_from", "-id")[:MOST])
        counting = next((row.id for row in found if row.valid_from <= today), None)
        return [Told(row, _comes_to(row), row.id == counting) for row in found]

    def _shown(
        self, rows: "QuerySet[StandardCost]", form: StandardForm, **facts: Any
    ) -> HttpResponse:
        kept = self._told(rows)
        chosen = self.request.GET.get("set", "")
        opened = next((one for one in kept if str(one.row.id) == chosen), None)
        opened = opened or next((one for one in kept if one.counts), None)
        may_set = self.actor.may(Verb.SET_STANDARD_COST)
        status = 422 if form.errors else 200
        files: tables.Files = {}
        if opened is not None:
            row, currency = opened.row, self.actor.currency
            files = {"": lambda: side_tables.standard(row, currency)}
        return self.show(
            files=files,
            kept=kept,
            opened=opened,
            told=[self._reckoned(opened)] if opened else [],
            form=form if may_set else None,
            status=status,
            **facts,
        )

    def _reckoned(self, opened: Told) -> Line:
        """What the standard comes to, as what each material in it brings, through the loss."""
        row, number, money = opened.row, self.reader.number, self.reader.currency
        prices, unit = list(row.prices.all()), ""
        name, rest = said("Packaging of a piece"), ""
        if row.version is not None:
            left = 100 - row.version.process_loss_percent
            name, unit, rest = said("A kilogram that comes out"), " %", f" ÷ {number(left)} %"
        values = shared_out(
            opened.comes_to, [Fraction(one.share) * Fraction(one.price) for one in prices]
        )
        parts = tuple(
            Line(
                one.material.name,
                value,
                money,
                how=f"{number(one.share)}{unit} · {number(one.price)} {money}{rest}",
            )
            for one, value in zip(prices, values, strict=True)
            if one.share
        )
        return Line(name, opened.comes_to, money, parts=parts)

    def _today(self) -> dict[str, date]:
        return {"valid_from": day_of(self.actor, self.now)}


class FormulaStandard(Standards):
    """What the materials of one version should cost."""

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        version = self._version(id)
        return self._page(version, self._form(version, initial=self._today()))

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        self.actor.must(Verb.SET_STANDARD_COST)
        version = self._version(id)
        form = self._form(version, request.POST)
        return self.act(
            form,
            lambda: standards.set_formula_standard(
                self.actor,
                formula=id,
                version=version.number,
                valid_from=form.cleaned_data["valid_from"],
                prices=form.given(),
                note=form.cleaned_data["note"],
            ),
            lambda kept: f"/formulas/{id}/standard?version={version.number}&set={kept.id}",
            lambda: self._page(version, form),
        )

    def _version(self, id: UUID) -> FormulaVersion:
        """The version that the address names, or the one in force."""
        self.actor.must(Verb.SEE_COSTS)
        number = self.request.GET.get("version", "")
        wanted = int(number) if number.isdecimal() and len(number) < 7 else None
        return version_for(self.actor, id, wanted)

    def _form(self, version: FormulaVersion, data: Any = None, **how: Any) -> StandardForm:
        listed = standards.to_be_priced(self.actor, version)
        return StandardForm(data, reader=self.reader, listed=listed, **how)

    def _page(self, version: FormulaVersion, form: StandardForm) -> HttpResponse:
        rows = standards.standards_of(self.actor).filter(version=version)
        return self._shown(rows, form, version=version)


class ProductStandard(Standards):
    """What the packaging, work and overhead of a product should cost."""

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        product = self._product(id)
        return self._page(product, self._form(product, initial=self._today()))

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        self.actor.must(Verb.SET_STANDARD_COST)
        product = self._product(id)
        form = self._form(product, request.POST)
        return self.act(
            form,
            lambda: standards.set_product_standard(
                self.actor,
                product=id,
                valid_from=form.cleaned_data["valid_from"],
                prices=form.given(),
                policy=form.policy(),
                note=form.cleaned_data["note"],
            ),
            lambda kept: f"/products/{id}/standard?set={kept.id}",
            lambda: self._page(product, form),
        )

    def _product(self, id: UUID) -> Product:
        self.actor.must(Verb.SEE_COSTS)
        return product_for(self.actor, id)

    def _form(self, product: Product, data: Any = None, **how: Any) -> ProductStandardForm:
        listed = standards.to_be_priced(self.actor, product)
        return ProductStandardForm(data, reader=self.reader, listed=listed, product=product, **how)

    def _page(self, product: Product, form: StandardForm) -> HttpResponse:
        rows = standards.standards_of(self.actor).filter(product=product)
        return self._shown(rows, form, product=product)


def _comes_to(row: StandardCost) -> Decimal:
    """A kilogram of output by a version's standard, or the packaging of a piece by a product's."""
    prices = [(one.share, one.price) for one in row.prices.all()]
    if row.version is None:
        return sum((share * price for share, price in prices), ZERO)
    return cost_per_kg(prices, left_after_loss(row.version.process_loss_percent))
