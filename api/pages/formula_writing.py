"""Writing a formula, or its next version, with the sum and the cost beside it."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, ClassVar
from uuid import UUID

from django import forms
from django.db.models.functions import Lower
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages.asks_forms import AsksForm, asks_as_typed
from api.pages.cost_workings import kilogram
from api.pages.doubles import NewNameForm
from api.pages.forms import (
    CelsiusField,
    DensityField,
    NumberField,
    PageForm,
    Rows,
    WholeField,
    WithRows,
)
from api.pages.reader import Reader
from api.pages.row_order import in_order
from api.pages.screen import Screen
from api.pages.unread import unread
from formulas.access import formulas_of, version_for
from formulas.composition import Balance, Fixed, ToEffect
from formulas.drafted import SoFar, so_far
from formulas.infusing import loss_percent
from formulas.models import FormulaVersion, Line
from formulas.recipes import infusion_of
from formulas.writing import (
    Sheet,
    Written,
    ingredients_named,
    name_of,
    next_by_names,
    write_by_names,
)
from ledger.access import materials_visible_to
from ledger.errors import Invalid, Refusal
from ledger.roles import Verb

MOST_NAMES, ROWS, SPARE = 300, 5, 1
AMOUNTS = [
    ("fixed", _("this percent")),
    ("balance", _("the rest to 100")),
    ("to_effect", _("to effect, usually")),
]


class PlaceField(forms.CharField):
    """Where a row goes. What can be read is done before the form is: what is left cannot."""

    def clean(self, value: Any) -> str:
        if value:
            raise forms.ValidationError(_("Write a number here."), "no_place")
        return ""


class RowForm(PageForm):
    called: ClassVar = {"/material": "name", "/formula": "name"}

    place = PlaceField(label=_("Place"), required=False)
    phase = forms.CharField(label=_("Phase"), max_length=80, required=False)
    name = forms.CharField(
        label=_("Ingredient"),
        max_length=200,
        widget=forms.TextInput(attrs={"list": "ingredients", "autocomplete": "off"}),
    )
    amount = forms.ChoiceField(label=_("How much"), choices=AMOUNTS, initial="fixed")
    percent = NumberField(label=_("Percent"), required=False)
    most = NumberField(label=_("At most"), required=False)
    hottest = CelsiusField(label=_("Not above, °C"), required=False)
    spent = forms.BooleanField(label=_("Strained out again"), required=False)

    def clean(self) -> dict[str, Any]:
        typed = super().clean() or {}
        needed = {"fixed": ["percent"], "to_effect": ["percent", "most"]}
        asked = needed.get(typed.get("amount", ""), [])
        for name in asked:
            if typed.get(name) is None and name not in self.errors:
                self.add_error(name, forms.ValidationError(_("How much of it?"), "required"))
        # What a row of this kind has no use for is not seen either, and may say anything.
        for name in {"percent", "most"}.difference(asked):
            self.errors.pop(name, None)
            typed[name] = None
        return typed

    def written(self) -> Written:
        typed = self.cleaned_data
        amount: Fixed | ToEffect | Balance = Balance()
        if typed["amount"] == "fixed":
            amount = Fixed(typed["percent"])
        elif typed["amount"] == "to_effect":
            amount = ToEffect(typed["percent"], typed["most"])
        return Written(typed["phase"], typed["name"], amount, typed["hottest"], typed["spent"])


class SheetForm(NewNameForm):
    called: ClassVar = {"/expected_version": "version"}

    version = forms.IntegerField(widget=forms.HiddenInput, required=False)
    name = forms.CharField(label=_("What it is called"), max_length=120)
    density = DensityField(
        label=_("Its density"), required=False, help_text=_("If it is filled by volume")
    )
    shelf_life_days = WholeField(
        label=_("Keeps for how many days"),
        required=False,
        min_value=1,
    )
    process_loss_percent = NumberField(
        label=_("Usual loss, percent"),
        required=False,
        help_text=_("What stays in the pot, of all that goes in"),
    )
    note = forms.CharField(
        label=_("Why it is written so"),
        max_length=400,
        required=False,
        help_text=_("Kept with this version: what was changed, and what for"),
    )


class FormulaRows(Rows):
    """As many as a page holds; a longer formula is two, one within the other."""

    MOST: ClassVar[int] = 80


@dataclass(slots=True)
class Forms(WithRows):
    """The formula, what it asks for and its rows, sent as one."""

    whole: SheetForm
    asks: AsksForm

    def is_valid(self) -> bool:
        return all([super(Forms, self).is_valid(), self.asks.is_valid()])

    def refuse(self, refusal: Refusal) -> None:
        if self.asks.field_at(refusal.pointer) in self.asks.fields:
            self.asks.refuse(refusal)
        else:
            super(Forms, self).refuse(refusal)

    def sheet(self) -> Sheet:
        """What the valid forms say."""
        typed = self.whole.cleaned_data
        return Sheet(
            name=typed["name"],
            rows=[form.written() for form in self.rows.filled if isinstance(form, RowForm)],
            process_loss_percent=typed["process_loss_percent"],
            density=typed["density"],
            shelf_life_days=typed["shelf_life_days"],
            note=typed["note"],
            asks=self.asks.asks(),
        )


class Writing(Screen):
    """A formula as a table; while it is typed, htmx asks for its sum alone."""

    template = "pages/formula_sheet.html"
    fragment = "pages/formula_sum.html"

    def written(self, request: HttpRequest, before: FormulaVersion | None) -> HttpResponse:
        """What the form asks for: its sum, another row, or that it be kept."""
        do = request.POST.get("do", "")
        data = in_order(
            request.POST,
            "lines",
            group="phase",
            settled=before.lines.count() if before else 0,
            most=FormulaRows.MOST,
        )
        if do in {"look", "more"}:
            rows = self._rows(data, judged=False, more=int(do == "more"))
            asks = AsksForm(reader=self.reader, initial=dict(data))
            return self.forms(Forms(self._sheet(data), rows, asks), before, data)
        asks = AsksForm(data, reader=self.reader)
        forms = Forms(SheetForm(data, reader=self.reader), self._rows(data), asks)
        return self.act(
            forms,
            lambda: self.keep(forms, before),
            lambda version: f"/formulas/{version.formula_id}",
            lambda: self.forms(forms, before, data, status=422),
        )

    def keep(self, forms: Forms, before: FormulaVersion | None) -> FormulaVersion:
        sheet = forms.sheet()
        if before is None:
            forms.whole.ask_once(formulas_of(self.actor))
            return write_by_names(self.actor, sheet)
        return next_by_names(
            self.actor,
            formula=before.formula_id,
            expected_version=forms.whole.cleaned_data["version"] or 0,
            sheet=sheet,
        )

    def shown(self, before: FormulaVersion | None, data: Mapping[str, str]) -> HttpResponse:
        """The form as it is first seen."""
        asks = AsksForm(reader=self.reader, initial=dict(data))
        rows = self._rows(data, judged=False)
        return self.forms(Forms(self._sheet(data), rows, asks), before, data)

    def forms(
        self,
        forms: Forms,
        before: FormulaVersion | None,
        data: Mapping[str, str],
        *,
        status: int = 200,
    ) -> HttpResponse:
        facts: dict[str, Any] = {"form": forms.whole, "rows": forms.rows, "asks": forms.asks}
        found, unknown = self._so_far(data)
        facts |= {"sum": found, "unread": self._unread(data), "before": before}
        facts["unknown"] = ", ".join(unknown)
        if found.cost is not None and found.cost.amount is not None:
            facts["cost_told"] = [kilogram(said("A kilogram"), found.cost, self.reader)]
        if self.request.headers.get("HX-Request") and self.request.POST.get("do") == "look":
            return self.render(self.fragment, facts, status)
        materials = materials_visible_to(self.actor).filter(maker=None, measured_by="mass")
        own = formulas_of(self.actor).order_by(Lower("name")).values_list("name", flat=True)
        names = materials.order_by(Lower("name")).values_list("name", flat=True)
        facts["names"] = [*own[:MOST_NAMES], *names[:MOST_NAMES]]
        return self.render(self.template, facts, status)

    def _sheet(self, data: Mapping[str, str]) -> SheetForm:
        typed = {name: data[name] for name in SheetForm.base_fields if name in data}
        return SheetForm(reader=self.reader, initial=typed)

    def _rows(self, data: Mapping[str, str], *, judged: bool = True, more: int = 0) -> Rows:
        return FormulaRows(RowForm, "lines", data, reader=self.reader, judged=judged, more=more)

    def _unread(self, data: Mapping[str, str]) -> list[tuple[str, str]]:
        """What cannot be read, and why: of a row beginning with its number."""
        found = unread(SheetForm(data, reader=self.reader), "process_loss_percent")
        for form in self._rows(data).filled:
            number = int(str(form.prefix).rpartition("-")[2]) + 1
            row = said("Row %(number)d") % {"number": number}
            reasons = unread(form, "place", "percent", "most", "hottest")
            found += [(f"{row}, {label}", why) for label, why in reasons]
        return found

    def _so_far(self, data: Mapping[str, str]) -> tuple[SoFar, list[str]]:
        """Of the rows that can be read so far; and the names in them that nothing has yet."""
        typed, spent = [], Decimal(0)
        for form in self._rows(data).filled:
            form.is_valid()
            one = form.cleaned_data
            if one.get("amount") == "balance" or one.get("percent") is not None:
                percent = None if one.get("amount") == "balance" else one["percent"]
                typed.append((one.get("name", ""), percent))
                spent += percent if percent and one.get("spent") else Decimal(0)
        known = ingredients_named(self.actor, [name for name, _percent in typed])
        percent = self._loss(data, spent)
        rows = [(known.get(name.lower()), percent) for name, percent in typed]
        unknown = [name for name, _percent in typed if name and name.lower() not in known]
        return so_far(self.actor, rows, percent), unknown

    def _loss(self, data: Mapping[str, str], spent: Decimal) -> Decimal:
        """The loss as it is typed, or as it follows from what is strained out so far."""
        loss, asks = SheetForm(data, reader=self.reader), AsksForm(data, reader=self.reader)
        loss.is_valid()
        asks.is_valid()
        stated: Decimal = loss.cleaned_data.get("process_loss_percent") or Decimal(0)
        if (infusion := asks.infusion()) is None:
            return stated
        try:
            return loss_percent(infusion, spent)
        except Refusal:
            return Decimal(0)


class NewFormula(Writing):
    """A formula with its first version."""

    def get(self, request: HttpRequest) -> HttpResponse:
        self.actor.must(Verb.FORMULATE)
        return self.shown(None, {"lines": str(ROWS)})

    def post(self, request: HttpRequest) -> HttpResponse:
        return self.written(request, None)


class NextVersion(Writing):
    """The version in force, to be changed into the next; batches keep the one they have."""

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        self.actor.must(Verb.FORMULATE)
        before = version_for(self.actor, id)
        return self.shown(before, as_typed(before, self.reader))

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        self.actor.must(Verb.FORMULATE)
        return self.written(request, version_for(self.actor, id))


def as_typed(version: FormulaVersion, reader: Reader) -> dict[str, str]:
    """A version as its form would have been filled in. Raises Invalid for more than a page holds,
    since what is not shown would be left out of the next."""
    lines = list(version.lines.all())
    if len(lines) > FormulaRows.MOST:
        raise Invalid(
            said(
                "A page holds %(most)d rows, and this formula has %(rows)d: make some of them a"
                " formula within it, or bring its next version in through the API."
            )
            % {"most": FormulaRows.MOST, "rows": len(lines)}
        )
    typed = {
        "version": str(version.number),
        "name": version.formula.name,
        "density": reader.entered(version.density_entered),
        "shelf_life_days": str(version.shelf_life_days or ""),
        "process_loss_percent": ""
        if infusion_of(version)
        else reader.number(version.process_loss_percent),
        **asks_as_typed(version, reader),
        "lines": str(len(lines) + SPARE),
    }
    for place, line in enumerate(lines):
        typed |= {f"lines-{place}-{name}": text for name, text in _row(line, reader).items()}
    return typed


def _row(line: Line, reader: Reader) -> dict[str, str]:
    balance = line.kind == Line.Kind.BALANCE
    return {
        "phase": line.phase.name,
        "name": name_of(line),
        "amount": line.kind,
        "percent": "" if balance else reader.number(line.percent),
        "most": reader.figure(line.max_percent),
        "hottest": reader.figure(line.max_celsius),
        "spent": "on" if line.spent else "",
    }
