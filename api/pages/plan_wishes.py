"""What a plan of orders is asked for: planned batches and low stock, or needs that are typed."""

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from functools import partial
from typing import Any, Final

from django import forms
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from api.pages.forms import (
    DayField,
    MoneyField,
    PageForm,
    QuantityField,
    Rows,
    id_in,
    shown_again,
)
from api.pages.orders import AHEAD
from api.pages.reader import Reader
from api.separators import NUMBER
from formulas.order_needs import GivenNeed
from formulas.order_planning import Limits, Ordering, plan_orders
from ledger.access import Actor, day_of
from ledger.errors import Refusal, placed
from ledger.finding import material_named

MOST_SUPPLIERS: Final = 50
MOST_TAKEN: Final = 40
ROWS: Final = 2
# Somebody waits before the page.
SECONDS: Final = Decimal(4)


class TypedForm(PageForm):
    """What a plan has to keep to, whatever it is asked for."""

    budget = MoneyField(
        label=_("Spend no more than"), required=False, help_text=_("Freight included")
    )
    allow_expiring = forms.BooleanField(
        label=_("Buy more than is used in time, where that is cheaper"), required=False
    )


class LackingForm(TypedForm):
    until = DayField(label=_("For batches up to"))


class NeedForm(PageForm):
    material = forms.CharField(
        label=_("What"),
        max_length=200,
        widget=forms.TextInput(attrs={"list": "materials", "autocomplete": "off"}),
    )
    quantity = QuantityField(label=_("How much"), help_text=_("Such as 38 kg or 4 gal"))
    by = DayField(
        label=_("Needed by"),
        required=False,
        help_text=_("What is known to come later is not bought"),
    )
    use_per_month = QuantityField(
        label=_("Used in a month"),
        required=False,
        help_text=_("No more is bought than is used in time; left empty, as it was measured"),
    )


class Wish:
    """What the address of the page asks for, and the forms that show it.

    `rows` are typed needs, and None where the plan is for what is lacking. Who acts for the co-op
    alone has no batches, and types what is needed.
    """

    def __init__(self, actor: Actor, asked: QueryDict, *, reader: Reader, now: datetime) -> None:
        self.actor, self.asked, self.now = actor, asked, now
        self.material = id_in(asked.get("material", ""))
        self.rows: Rows | None = None
        until = day_of(actor, now) + AHEAD
        said = {"until": str(until), "needs": str(ROWS)} | {
            name: str(asked[name]) for name in asked
        }
        kind: type[PageForm] = LackingForm
        self.is_asked = "until" in asked or self.material is not None
        if actor.maker_id is None or "needs" in asked:
            kind, more = TypedForm, asked.get("do") == "more"
            self.is_asked = not more and any(name.endswith("-quantity") for name in asked)
            self.rows = Rows(
                NeedForm, "needs", said, reader=reader, judged=self.is_asked, more=int(more)
            )
        self.form = (kind if self.is_asked else partial(shown_again, kind))(said, reader=reader)

    @property
    def without(self) -> list[str]:
        """The suppliers that the address leaves out."""
        asked = self.asked.getlist("without")[:MOST_SUPPLIERS]
        return [id for one in asked if (id := id_in(one))]

    @property
    def until(self) -> str:
        """The day up to which it is asked, as an address has it; "" where none is asked."""
        day = self.form.cleaned_data.get("until") if self.form.is_bound else None
        return day.isoformat() if day else ""

    @property
    def taken(self) -> dict[str, Decimal]:
        """How much of a material is bought at least, where an advice was taken, by its id."""
        found = {}
        for one in self.asked.getlist("least")[:MOST_TAKEN]:
            id, _, quantity = one.partition("~")
            if (known := id_in(id)) and NUMBER.fullmatch(quantity):
                found[known] = Decimal(quantity)
        return found

    def taking(self, material: str, quantity: Decimal) -> str:
        """The address that asks for the same, and for so much of a material at least."""
        asked = self._but("page")
        others = {**self.taken, material: quantity}
        asked.setlist("least", [f"{id}~{least:f}" for id, least in others.items()])
        return asked.urlencode()

    def leaving_out(self, supplier: str) -> str:
        """The address that asks for the same without one more supplier."""
        asked = self._but("page")
        asked.appendlist("without", supplier)
        return asked.urlencode()

    def anew(self, *names: str) -> str:
        """The address that asks for the same, but for what goes by these names."""
        return self._but("page", *names).urlencode()

    def _but(self, *names: str) -> QueryDict:
        asked = self.asked.copy()
        for name in names:
            asked.pop(name, None)
        return asked

    def found(self) -> Ordering | None:
        """The plan, if it is asked for and can be made; why not, the forms then say."""
        if not self.is_asked or not self._is_valid():
            return None
        try:
            return self._planned()
        except Refusal as refusal:
            if self.rows is None or not self.rows.refuse(refusal):
                self.form.refuse(refusal)
            return None

    def _is_valid(self) -> bool:
        return all([self.form.is_valid(), self.rows is None or self.rows.is_valid()])

    def _planned(self) -> Ordering:
        typed: Mapping[str, Any] = self.form.cleaned_data
        limits = Limits(
            without=self.without,
            at_least=self.taken,
            budget=typed["budget"],
            allow_expiring=typed["allow_expiring"],
            seconds=SECONDS,
        )
        return plan_orders(
            self.actor,
            needs=None if self.rows is None else self._needs(self.rows),
            until=typed.get("until"),
            day=None,
            limits=limits,
            now=self.now,
            only=[self.material] if self.material else None,
        )

    def _needs(self, rows: Rows) -> list[GivenNeed]:
        needs = []
        for place, form in enumerate(rows.filled):
            typed = form.cleaned_data
            with placed(f"/needs/{place}"):
                material = material_named(self.actor, typed["material"])
            needs.append(GivenNeed(**{**typed, "material": str(material.id)}))
        return needs
