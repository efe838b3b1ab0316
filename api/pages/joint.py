"""Two main products of one batch: what is typed of the other one, and how the cost is split."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from hashlib import sha256
from typing import Any, ClassVar, Final

from django import forms
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages.forms import MoneyField, PageForm, QuantityField
from api.pages.reader import Reader
from api.pages.workings import Line
from formulas.joint_costs import JointBase
from formulas.joint_products import JointDraft, JointProductDraft, joint_cost_of, weights_of
from formulas.models import JointProduct, Making
from ledger.access import Actor
from ledger.costing import round_stored
from ledger.finding import material_named
from ledger.money import minor_unit, round_together

ZERO: Final = Decimal(0)
BASES: Final = [
    (JointBase.MASS.value, _("their mass")),
    (JointBase.SALES_VALUE.value, _("what they fetch: sales value")),
    (JointBase.NRV.value, _("what they will bring: net realisable value")),
]
SPLIT: Final[Mapping[str, Any]] = {
    JointBase.MASS: _("Split by their mass"),
    JointBase.SALES_VALUE: _("Split by what they fetch"),
    JointBase.NRV: _("Split by what they will bring"),
}
MONEY: Final = ("joint_main_value", "joint_value")
FURTHER: Final = ("joint_main_further", "joint_further")


class JointFields(PageForm):
    """What is said of a second product that is none of the first one's by-products."""

    joint = forms.CharField(
        label=_("The other product"),
        max_length=200,
        required=False,
        help_text=_("Such as the water that an oil is distilled with; it has its lot"),
        widget=forms.TextInput(attrs={"list": "materials", "autocomplete": "off"}),
    )
    joint_quantity = QuantityField(label=_("So much of it came out"), required=False)
    joint_base = forms.ChoiceField(
        label=_("The cost is split by"),
        choices=BASES,
        required=False,
        help_text=_(
            "Mass: each gram carries the same. Sales value: what fetches more carries more. Net"
            " realisable value: the same, less what completing and selling it still costs. Stay"
            " with the one that fits what you make."
        ),
    )
    joint_main_value = MoneyField(required=False, help_text=_("Left empty where mass decides"))
    joint_value = MoneyField(label=_("What all of the other fetches"), required=False)
    joint_main_further = MoneyField(
        required=False, help_text=_("To complete and to sell it; counts by net realisable value")
    )
    joint_further = MoneyField(label=_("What the other still costs"), required=False)
    # Which split was seen; it stands in the page beside the split.
    seen = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)
    called: ClassVar = {
        "/joint/base": "joint_base",
        "/joint/sales_value": "joint_main_value",
        "/joint/further_cost": "joint_main_further",
        "/joint/products/0/material": "joint",
        "/joint/products/0/quantity": "joint_quantity",
        "/joint/products/0/sales_value": "joint_value",
        "/joint/products/0/further_cost": "joint_further",
    }

    def name_main(self, name: str) -> None:
        """Call what the batch is made for by its name."""
        fetches, costs = said("What all of %(name)s fetches"), said("What %(name)s still costs")
        self.fields["joint_main_value"].label = fetches % {"name": name}
        self.fields["joint_main_further"].label = costs % {"name": name}

    def clean(self) -> dict[str, Any]:
        typed = super().clean() or {}
        of_other = ("joint_quantity", *MONEY, *FURTHER)
        if typed.get("joint"):
            if not typed.get("joint_quantity") and "joint_quantity" not in self.errors:
                self.add_error("joint_quantity", _("How much of it came out?"))
        elif "joint" not in self.errors and any(typed.get(name) for name in of_other):
            self.add_error("joint", _("What is it?"))
        for name in MONEY:
            if typed.get(name) == 0:
                self.add_error(name, _("What fetches nothing is no main product."))
        return typed

    @property
    def has_joint(self) -> bool:
        """Whether anything was typed of a second product."""
        typed = ("joint", "joint_quantity", *MONEY, *FURTHER)
        return any(str(self[name].value() or "").strip() for name in typed)

    def joint_told(self, actor: Actor) -> JointDraft | None:
        """What was typed, as the verb takes it. Raises Invalid for a product not known."""
        typed = self.cleaned_data
        if not typed["joint"]:
            return None
        other = material_named(actor, typed["joint"], pointer="/joint/products/0/material")
        product = JointProductDraft(
            other.id,
            typed["joint_quantity"],
            typed["joint_value"],
            typed["joint_further"] or ZERO,
        )
        return JointDraft(
            typed["joint_base"] or JointBase.MASS.value,
            [product],
            typed["joint_main_value"],
            typed["joint_main_further"] or ZERO,
        )


@dataclass(frozen=True, slots=True)
class Part:
    """One product: how much of it, what counts of it by the base, its share and what it carries."""

    name: str
    grams: Decimal
    counts: Decimal
    percent: Decimal
    value: Decimal


@dataclass(frozen=True, slots=True)
class Split:
    """How the cost that two products have in common is split between them."""

    making: Making
    products: Sequence[JointProduct]
    reader: Reader

    @property
    def called(self) -> str:
        return str(SPLIT[self.making.joint_base])

    @property
    def in_grams(self) -> bool:
        """Whether what counts is a mass, and no money."""
        return self.making.joint_base == JointBase.MASS

    @property
    def weights(self) -> list[Fraction]:
        return weights_of(self.making, self.products)

    @property
    def cost(self) -> Decimal:
        return joint_cost_of(self.making)

    @property
    def parts(self) -> list[Part]:
        """As they are shown: together they come to the cost, and to a hundred percent."""
        weights = self.weights
        whole = sum(weights)
        values = [row.value for row in self.products]
        coins = round_together(values, step=minor_unit(self.reader.currency))
        percents = round_together([one * 100 / whole for one in weights], step=Decimal("0.01"))
        return [
            Part(row.lot.material.name, row.grams, round_stored(weight), percent, value)
            for row, weight, percent, value in zip(
                self.products, weights, percents, coins, strict=True
            )
        ]

    @property
    def digest(self) -> str:
        """The same for the same split, and for no other."""
        facts = [self.making.joint_base]
        for part in self.parts:
            facts += [f"{one.normalize():f}" for one in (part.grams, part.counts, part.percent)]
        return sha256(" ".join(facts).encode()).hexdigest()

    @property
    def told(self) -> list[Line]:
        """The cost that is split, and each part of it with what was multiplied."""
        money, making = self.reader.currency, self.making
        spent = [
            (said("Materials"), making.materials),
            (said("Work"), making.labour),
            (said("Overhead"), making.overhead),
            (said("less what by-products will bring"), -making.by_product_value),
        ]
        cost = tuple(Line(name, amount, money) for name, amount in spent if amount)
        return [Line(said("What all products cost"), self.cost, money, parts=cost), self.carried]

    @property
    def carried(self) -> Line:
        """What each product carries of it."""
        money = self.reader.currency
        parts = tuple(
            Line(part.name, row.value, money, how=self._how(part))
            for row, part in zip(self.products, self.parts, strict=True)
        )
        return Line(self.called, self.cost, money, parts=parts)

    def _how(self, part: Part) -> str:
        number, unit = self.reader.number, "g" if self.in_grams else self.reader.currency
        whole = round_stored(sum(self.weights, Fraction(0)))
        share = f"{number(part.counts)} {unit} ÷ {number(whole)} {unit}"
        return f"{number(self.cost)} {self.reader.currency} · {share}"
