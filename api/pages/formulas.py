"""Recipes: writing one with its sum beside it, and what a size of it needs."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Any, ClassVar
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext_lazy as _

from api.pages.forms import (
    DensityField,
    NumberField,
    PageForm,
    QuantityField,
    Rows,
    shown_again,
)
from api.pages.screen import Screen
from formulas.access import formula_for, formulas_of, version_for
from formulas.balances import scale_formula
from formulas.batches import Size
from formulas.caution_facts import of_formula
from formulas.composition import Balance, Fixed, ToEffect
from formulas.writing import Written, write_by_names
from ledger.access import day_of, materials_visible_to
from ledger.errors import Refusal
from ledger.roles import Verb

MOST, MOST_NAMES, ROWS = 60, 300, 5
HUNDRED = Decimal(100)
AMOUNTS = [
    ("fixed", _("this percent")),
    ("balance", _("what is left to 100")),
    ("to_effect", _("to effect, usually")),
]


class Formulas(Screen):
    """The maker's formulas, by name."""

    template = "pages/formulas.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        rows = formulas_of(self.actor).order_by("name", "id")
        text = request.GET.get("q", "").strip()[:100]
        if text:
            rows = rows.filter(name__icontains=text)
        found = list(rows[:MOST])
        return self.show(formulas=found, q=text, may_write=self.actor.may(Verb.FORMULATE))


class RowForm(PageForm):
    called: ClassVar = {"/material": "name", "/formula": "name"}

    phase = forms.CharField(label=_("Phase"), max_length=80, required=False)
    name = forms.CharField(
        label=_("Ingredient"),
        max_length=200,
        widget=forms.TextInput(attrs={"list": "ingredients", "autocomplete": "off"}),
    )
    amount = forms.ChoiceField(label=_("How much"), choices=AMOUNTS, initial="fixed")
    percent = NumberField(label=_("Percent"), required=False)
    most = NumberField(label=_("At most, percent"), required=False)

    def clean(self) -> dict[str, Any]:
        typed = super().clean() or {}
        needed = {"fixed": ["percent"], "to_effect": ["percent", "most"]}
        for name in needed.get(typed.get("amount", ""), []):
            if typed.get(name) is None and name not in self.errors:
                self.add_error(name, _("How much of it?"))
        return typed

    def written(self) -> Written:
        typed = self.cleaned_data
        amount: Fixed | ToEffect | Balance = Balance()
        if typed["amount"] == "fixed":
            amount = Fixed(typed["percent"])
        elif typed["amount"] == "to_effect":
            amount = ToEffect(typed["percent"], typed["most"])
        return Written(typed["phase"], typed["name"], amount)


class FormulaForm(PageForm):
    name = forms.CharField(label=_("What it is called"), max_length=120)
    density = DensityField(
        label=_("Its density"), required=False, help_text=_("If it is filled by volume")
    )
    shelf_life_days = forms.IntegerField(
        label=_("Keeps for how many days"),
        required=False,
        min_value=1,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )


@dataclass(slots=True)
class Forms:
    """The formula and its rows, sent as one."""

    formula: PageForm
    rows: Rows

    def is_valid(self) -> bool:
        return all([self.formula.is_valid(), self.rows.is_valid()])

    def refuse(self, refusal: Refusal) -> None:
        if not self.rows.refuse(refusal):
            self.formula.refuse(refusal)


@dataclass(frozen=True, slots=True)
class Sum:
    """What the rows come to so far, and what is left for the balance line."""

    stated: Decimal
    balance: bool

    @property
    def left(self) -> Decimal:
        return HUNDRED - self.stated

    @property
    def over(self) -> Decimal:
        return -self.left

    @property
    def whole(self) -> bool:
        return self.left >= 0 if self.balance else self.left == 0


class NewFormula(Screen):
    """A formula as a table; while it is typed, htmx asks for its sum alone."""

    template = "pages/formula_new.html"
    fragment = "pages/formula_sum.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        self.actor.must(Verb.FORMULATE)
        rows = Rows(RowForm, "lines", {"lines": str(ROWS)}, reader=self.reader, judged=False)
        return self._forms(Forms(FormulaForm(reader=self.reader), rows), Sum(Decimal(0), False))

    def post(self, request: HttpRequest) -> HttpResponse:
        do, data = request.POST.get("do", ""), request.POST
        summed = self._sum()
        if do in {"look", "more"}:
            rows = self._rows(judged=False, more=int(do == "more"))
            return self._forms(
                Forms(shown_again(FormulaForm, data, reader=self.reader), rows), summed
            )
        forms = Forms(FormulaForm(data, reader=self.reader), self._rows(judged=True))
        return self.act(
            forms,
            lambda: self._write(forms),
            lambda version: f"/formulas/{version.formula_id}",
            lambda: self._forms(forms, summed, status=422),
        )

    def _rows(self, *, judged: bool, more: int = 0) -> Rows:
        data = self.request.POST
        return Rows(RowForm, "lines", data, reader=self.reader, judged=judged, more=more)

    def _write(self, forms: Forms) -> Any:
        rows = [form.written() for form in forms.rows.filled if isinstance(form, RowForm)]
        return write_by_names(self.actor, rows=rows, **forms.formula.cleaned_data)

    def _sum(self) -> Sum:
        """Of the rows that can be read so far."""
        stated, balance = Decimal(0), False
        for form in self._rows(judged=True).filled:
            form.is_valid()
            typed = form.cleaned_data
            if typed.get("amount") == "balance":
                balance = True
            else:
                stated += typed.get("percent") or 0
        return Sum(stated, balance)

    def _forms(self, forms: Forms, summed: Sum, *, status: int = 200) -> HttpResponse:
        facts: dict[str, Any] = {"form": forms.formula, "rows": forms.rows, "sum": summed}
        if self.request.headers.get("HX-Request") and self.request.POST.get("do") == "look":
            return self.render(self.fragment, facts, status)
        materials = materials_visible_to(self.actor).filter(maker=None, measured_by="mass")
        own = formulas_of(self.actor).order_by("name").values_list("name", flat=True)
        names = materials.order_by("name").values_list("name", flat=True)
        facts["names"] = [*own[:MOST_NAMES], *names[:MOST_NAMES]]
        return self.render(self.template, facts, status)


class SizeForm(PageForm):
    size = QuantityField(label=_("For how much"), help_text=_("Into the pot, such as 5 kg"))


class Formula(Screen):
    """One version of a formula by its phases, and what a size of it needs."""

    template = "pages/formula.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        formula = formula_for(self.actor, id)
        number = request.GET.get("version", "")
        wanted = int(number) if number.isdecimal() and len(number) < 7 else None
        version = version_for(self.actor, id, wanted)
        form = SizeForm(request.GET if "size" in request.GET else None, reader=self.reader)
        return self.show(
            formula=formula,
            version=version,
            versions=range(1, formula.version + 1),
            form=form,
            needs=self._needs(id, form),
            cautions=of_formula(version),
            may_make=self.actor.may(Verb.MAKE),
        )

    def _needs(self, id: UUID, form: SizeForm) -> Any:
        """What the size needs of the version in force, if one was asked for that can be read."""
        if not form.is_bound or not form.is_valid():
            return None
        try:
            day = day_of(self.actor, self.now)
            size = Size(batch=form.cleaned_data["size"])
            return scale_formula(self.actor, formula=id, size=size, day=day)
        except Refusal as refusal:
            form.add_error("size", refusal.detail)
            return None
