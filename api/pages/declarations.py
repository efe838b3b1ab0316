"""What a label says a product, or one batch, is made of: to be read, printed and copied."""

from decimal import Decimal
from typing import Any, Final
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import tables
from api.pages.declaration_workings import declared_told
from api.pages.forms import PageForm
from api.pages.material_facts import PercentField
from api.pages.product_writing import USES
from api.pages.screen import Screen
from api.sheets.product import PLACES
from formulas.access import batch_for, batches_of, product_for
from formulas.declaration import (
    NAMED_ABOVE,
    Allergen,
    Declaration,
    Market,
    must_be_named,
)
from formulas.declaration import shown as as_decimal
from formulas.declaring import Mixed, mixed_batch, mixed_product
from formulas.errors import CompositionMissing, InciMissing, NothingDeclared, WaterLostTooMuch
from formulas.models import Batch, FormulaVersion

ZERO = Decimal(0)
USUAL: Final = (Market.EU, ZERO)
# Batches that a product's page leads to.
LATEST: Final = 5
MARKETS: Final = [(Market.EU.value, _("in the EU")), (Market.US.value, _("in the US"))]


class AskedForm(PageForm):
    market = forms.ChoiceField(
        label=_("It is sold"), choices=MARKETS, required=False, initial=Market.EU.value
    )
    water_lost_percent = PercentField(
        label=_("Water that boils off, percent"),
        required=False,
        help_text=_("Of all that is weighed in"),
    )

    def asked(self) -> tuple[Market, Decimal]:
        typed = self.cleaned_data
        return Market(typed["market"] or Market.EU), typed["water_lost_percent"] or ZERO


class Told(Screen):
    """The ingredients as a label names them, and the allergens."""

    template = "pages/declaration.html"

    def told(
        self, mixed: Mixed, version: FormulaVersion, *, use: str, **about: Any
    ) -> HttpResponse:
        """The page of what is declared and by which version, or what is missing to do so."""
        asked = "market" in self.request.GET
        form = AskedForm(self.request.GET if asked else None, reader=self.reader)
        market, water_lost = form.asked() if asked and form.is_valid() else USUAL
        about |= {"form": form, "use": dict(USES)[use], "market": dict(MARKETS)[market.value]}
        try:
            declared = mixed.declare(use=use, market=market, water_lost_percent=water_lost)
        except (InciMissing, CompositionMissing, NothingDeclared) as missing:
            return self.show(missing=missing, **about)
        except WaterLostTooMuch as refusal:
            form.refuse(refusal)
            return self.show(status=422, **about)
        return self.show(
            files={
                "": lambda: _ingredients(declared),
                "allergens": lambda: _allergens(declared),
            },
            declared=declared,
            told=declared_told(declared, mixed, self.reader),
            version=version,
            ingredients=[(one, PLACES[one.group]) for one in declared.ingredients],
            allergens=[Named(one) for one in declared.allergens],
            leave_on=as_decimal(NAMED_ABOVE["leave_on"]),
            rinse_off=as_decimal(NAMED_ABOVE["rinse_off"]),
            status=422 if form.errors else 200,
            **about,
        )


class ProductDeclaration(Told):
    """What is in a product, by the version of its formula in force."""

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        product = product_for(self.actor, id)
        made = batches_of(self.actor).filter(
            version__formula=product.formula_id, state=Batch.State.FINISHED
        )
        return self.told(
            *mixed_product(self.actor, product),
            use=product.use,
            name=product.name,
            product=product,
            made=list(made.order_by("-id")[:LATEST]),
        )


class BatchDeclaration(Told):
    """What is in one batch: by what was weighed once it is finished, and by its plan before."""

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        batch = batch_for(self.actor, id)
        mixed, _weighed = mixed_batch(self.actor, batch)
        return self.told(
            mixed,
            batch.version,
            use=batch.product.use if batch.product else "",
            name=batch.code,
            batch=batch,
            product=batch.product,
        )


class Named:
    """An allergen, its percent, and whether it must be named by how the product is used."""

    def __init__(self, allergen: Allergen) -> None:
        self.inci_name, self.named = allergen.inci_name, allergen.named
        self.percent = as_decimal(allergen.percent)
        self.leave_on = must_be_named(allergen.percent, "leave_on")
        self.rinse_off = must_be_named(allergen.percent, "rinse_off")


def _ingredients(declared: Declaration) -> tables.Table:
    columns = [said("INCI name"), said("Percent"), said("Where it may stand"), said("From")]
    cells = [
        (one.inci_name, one.shown, str(PLACES[one.group]), ", ".join(one.materials))
        for one in declared.ingredients
    ]
    return tables.Table("ingredients", columns, cells)


def _allergens(declared: Declaration) -> tables.Table:
    columns = [said("Allergen"), said("Percent"), said("Named if it stays on")]
    columns += [said("Named if it is rinsed off"), said("Named here")]
    yes_no = {True: said("yes"), False: said("no")}
    cells = [
        (
            *(one.inci_name, one.percent, yes_no[one.leave_on], yes_no[one.rinse_off]),
            yes_no[one.named],
        )
        for one in map(Named, declared.allergens)
    ]
    return tables.Table("allergens", columns, cells)
