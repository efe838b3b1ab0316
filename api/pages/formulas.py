"""Recipes: the maker's own, what a size of one needs, and two versions beside each other."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django import forms
from django.db.models.functions import Lower
from django.http import HttpRequest, HttpResponse
from django.utils.http import urlencode
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import side_tables, tables
from api.pages.cost_workings import kilogram
from api.pages.forms import PageForm, QuantityField
from api.pages.scale_workings import needed
from api.pages.screen import Screen
from api.pages.whole_numbers import page_in
from api.pages.window_words import asked
from formulas.access import formula_for, formulas_of, products_of, version_for, written_versions
from formulas.balances import Needs, scale_formula, scale_product
from formulas.batches import Size
from formulas.caution_facts import of_formula
from formulas.drafted import cost_of, versions_beside
from formulas.measurements import windows_of
from ledger.access import Actor, day_of
from ledger.errors import Refusal
from ledger.finding import having, nearly, words_of
from ledger.roles import Verb

MOST = 60


class Formulas(Screen):
    """The maker's formulas, by name."""

    template = "pages/formulas.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        rows = formulas_of(self.actor).order_by(Lower("name"), "id")
        text = self.sought
        words = words_of(text)
        rows = having(rows, words)
        kind = tables.asked(request)
        if kind:
            cells = rows.values_list("name", "version")[: tables.MOST_ROWS + 1]
            columns = [said("Formula"), said("Version in force")]
            return tables.file(kind, tables.Table("formulas", columns, cells))
        page = page_in(request.GET.get("page", ""))
        found = list(rows[page * MOST : (page + 1) * MOST + 1])
        more = urlencode({"q": text, "page": str(page + 1)})
        return self.show(
            formulas=found[:MOST],
            more=more if len(found) > MOST else "",
            near=[] if found else nearly(formulas_of(self.actor), words),
            q=text,
            may_write=self.actor.may(Verb.FORMULATE),
        )


class SizeForm(PageForm):
    of = forms.ChoiceField(label=_("Of what"), required=False)
    size = forms.CharField(
        label=_("For how much"),
        max_length=64,
        help_text=_("Into the pot, such as 5 kg; of what is filled so many pieces: 40"),
    )

    def __init__(self, *args: Any, products: Sequence[tuple[str, str]], **how: Any) -> None:
        super().__init__(*args, **how)
        self.fields["of"].choices = [("", said("in bulk")), *products]  # type: ignore[attr-defined]
        if not products:
            del self.fields["of"]

    def clean(self) -> dict[str, Any]:
        """Pieces of a product, or what goes into the pot."""
        typed = super().clean() or {}
        size, product = typed.get("size", "").strip(), typed.get("of")
        if not product and size:
            quantity = QuantityField()
            quantity.reader = self.reader
            try:
                typed["batch"] = quantity.clean(size)
            except forms.ValidationError as error:
                self.add_error("size", error)
        elif size and not (size.isdecimal() and 0 < len(size) < 8):
            self.add_error("size", said("How many pieces of it?"))
        return typed

    def needs(self, actor: Actor, formula: UUID, day: date) -> Needs:
        """What the size needs of the version in force."""
        typed = self.cleaned_data
        if typed.get("of"):
            return scale_product(actor, product=typed["of"], units=int(typed["size"]), day=day)
        return scale_formula(actor, formula=formula, size=Size(batch=typed["batch"]), day=day)


class Formula(Screen):
    """One version of a formula by its phases, and what a size of it needs."""

    template = "pages/formula.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        formula = formula_for(self.actor, id)
        number = request.GET.get("version", "")
        wanted = int(number) if number.isdecimal() and len(number) < 7 else None
        version = version_for(self.actor, id, wanted)
        filled = products_of(self.actor).filter(formula=formula).prefetch_related(None)
        form = SizeForm(
            request.GET if "size" in request.GET else None,
            reader=self.reader,
            products=[(str(one.id), one.name) for one in filled.order_by(Lower("name"))[:MOST]],
        )
        needs = self._needs(id, form)
        cost = cost_of(self.actor, version) if self.actor.may(Verb.SEE_COSTS) else None
        return self.show(
            files={
                "": lambda: side_tables.composition(version),
                **({"needs": lambda: side_tables.needed(needs)} if needs else {}),
            },
            formula=formula,
            version=version,
            in_force=formula.version,
            may_write=self.actor.may(Verb.FORMULATE),
            form=form,
            needs=needs,
            needs_told=needed(needs, self.reader) if needs else (),
            cautions=of_formula(version),
            asked=asked(windows_of(version).values(), self.reader),
            may_make=self.actor.may(Verb.MAKE),
            cost=cost,
            cost_told=[kilogram(said("A kilogram"), cost, self.reader)]
            if cost and cost.amount is not None
            else [],
        )

    def _needs(self, id: UUID, form: SizeForm) -> Any:
        """What the size needs of the version in force, if one was asked for that can be read."""
        if not form.is_bound or not form.is_valid():
            return None
        try:
            return form.needs(self.actor, id, day_of(self.actor, self.now))
        except Refusal as refusal:
            form.add_error("size", refusal.detail)
            return None


class VersionsForm(PageForm):
    before = forms.TypedChoiceField(label=_("This version"), coerce=int)
    after = forms.TypedChoiceField(label=_("beside this one"), coerce=int)

    def __init__(self, *args: Any, written: Sequence[tuple[int, datetime]], **how: Any) -> None:
        super().__init__(*args, **how)
        called = said("version %(number)s, %(day)s")
        choices = [
            (number, called % {"number": number, "day": self.reader.day(at)})
            for number, at in written
        ]
        for name in ("before", "after"):
            self.fields[name].choices = choices  # type: ignore[attr-defined]


class Versions(Screen):
    """Two versions beside each other, with what changed between them."""

    template = "pages/formula_versions.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        formula = formula_for(self.actor, id)
        latest, rows = formula.version, written_versions(self.actor, formula)
        chosen = {"before": max(1, latest - 1), "after": latest}
        most = tables.MOST_ROWS + 1 if tables.asked(request) else MOST
        written = list(rows[:most])
        form = VersionsForm(
            {**{name: str(number) for name, number in chosen.items()}, **request.GET.dict()},
            written=[(one.number, one.created_at) for one in written[:MOST]],
            reader=self.reader,
        )
        if form.is_valid():
            chosen = form.cleaned_data
        beside = versions_beside(self.actor, id, chosen["before"], chosen["after"])
        numbers = [beside.before.number, beside.after.number]
        return self.show(
            files={
                "": lambda: side_tables.versions(self.actor, beside),
                "all": lambda: side_tables.all_versions(self.actor, written),
            },
            written=written,
            formula=formula,
            form=form,
            beside=beside,
            numbers=numbers,
            costs=list(zip(numbers, beside.costs, strict=True)) if beside.costs else [],
        )
