"""How each class of material is costed, what another formula would change, and choosing it."""

from collections.abc import Iterable, Iterator
from decimal import Decimal
from typing import Any, Final

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import tables
from api.pages.forms import PageForm
from api.pages.material_words import COSTED
from api.pages.screen import Screen
from api.pages.words import class_called
from api.pages.workings import Line, Working, address, with_rest
from ledger import cost_formulas
from ledger.cost_classes import (
    Changed,
    Changing,
    CostClass,
    changes_made,
    changes_of,
    cost_classes,
    worth_of_class,
)
from ledger.roles import Verb

MOST: Final = 60
KILOGRAM_G: Final = Decimal(1000)
WAYS: Final = [(name, words) for name, words in COSTED if name]
WORDS: Final = dict(WAYS)


class LookForm(PageForm):
    """Which class, and by which formula it is to be costed."""

    cost_class = forms.ChoiceField(label=_("The class"))
    formula = forms.ChoiceField(
        label=_("What leaves is costed"), choices=WAYS, widget=forms.RadioSelect
    )


class ChooseForm(PageForm):
    cost_class = forms.CharField(max_length=60, widget=forms.HiddenInput)
    formula = forms.ChoiceField(choices=WAYS, widget=forms.HiddenInput)
    reason = forms.CharField(
        label=_("Why it changes"), max_length=400, help_text=_("Kept with the change")
    )


class CostFormulas(Screen):
    """How goods of a class are costed when they leave, and a change of it from now on."""

    template = "pages/cost_formulas.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        classes = cost_classes(self.actor)
        asked = "formula" in request.GET
        form = self._look(classes, request.GET if asked else None)
        sound = asked and form.is_valid()
        choose = ChooseForm(reader=self.reader, initial=form.cleaned_data) if sound else None
        return self._page(classes, form, choose, status=200 if sound or not asked else 422)

    def post(self, request: HttpRequest) -> HttpResponse:
        self.actor.must(Verb.SET_COST_FORMULA)
        choose = ChooseForm(request.POST, reader=self.reader)

        def again() -> HttpResponse:
            classes = cost_classes(self.actor)
            form = self._look(classes, request.POST)
            sound = form.is_valid()
            return self._page(classes, form, choose if sound else None, status=422)

        return self.act(
            choose,
            lambda: cost_formulas.choose_cost_formula(
                self.actor, happened_at=self.now, **choose.cleaned_data
            ),
            lambda chosen: "/books/cost-formulas",
            again,
        )

    def _look(self, classes: Iterable[CostClass], data: Any) -> LookForm:
        first = {"cost_class": self.request.GET.get("cost_class", "")}
        form = LookForm(data, reader=self.reader, initial=first)
        form.offer("cost_class", [(one.name, class_called(one.name)) for one in classes])
        return form

    def _page(
        self,
        classes: list[CostClass],
        form: LookForm,
        choose: ChooseForm | None,
        status: int,
    ) -> HttpResponse:
        actor, asked = self.actor, tables.asked(self.request)
        made = changes_made(actor, limit=tables.MOST_ROWS if asked else MOST)
        changes = changes_of(actor, **form.cleaned_data) if choose else []
        money = actor.currency
        files: tables.Files = {
            "": lambda: _classes(classes, money),
            "changes": lambda: _changes(changes, money),
            "made": lambda: _made(made),
        }
        return self.show(
            files=files,
            classes=[(one, [WORDS[name] for name in one.formulas]) for one in classes[:MOST]],
            more=len(classes) > MOST,
            made=[(one, WORDS[one.before], WORDS[one.after]) for one in made],
            changes=[(one, WORDS[one.before]) for one in changes[:MOST]],
            changing=len(changes),
            told=list(self._told(changes[:MOST])),
            form=form,
            choose=choose,
            chosen=WORDS[form.cleaned_data["formula"]] if choose else "",
            may_choose=actor.may(Verb.SET_COST_FORMULA),
            status=status,
        )

    def _told(self, changes: Iterable[Changing]) -> Iterator[Line]:
        """What leaves next costs, now and then: what is there, by how much of it there is."""
        number, money = self.reader.number, self.actor.currency
        for one in changes:
            costs = ((one.now, said("%(name)s, now")), (one.then, said("%(name)s, then")))
            for cost, name in costs:
                if cost is None:
                    continue
                how = f"{number(cost.value)} {money} ÷ {number(cost.quantity)}"
                how += "" if one.counted else f" g · {number(KILOGRAM_G)} g"
                yield Line(name % {"name": one.name}, cost.each, money, how=how)


class ClassWorth(Working):
    """What is in store of a class is worth, material by material."""

    def get(self, request: HttpRequest) -> HttpResponse:
        name, money = request.GET.get("cost_class", ""), self.actor.currency
        rows, whole, count = worth_of_class(self.actor, cost_class=name, limit=self.most)
        lines = [
            Line(called, value, money, to=address("materials", id, "worth"))
            for id, called, value in rows
        ]
        parts = with_rest(lines, whole, count - len(lines), money)
        title = said("In store, of the class %(name)s") % {"name": class_called(name)}
        return self.opened(Line(title, whole, money, parts=parts), "/books/cost-formulas")


def _classes(classes: Iterable[CostClass], currency: str) -> tables.Table:
    columns = [said("Class"), said("Materials"), said("Costed"), f"{said('Worth')}, {currency}"]
    cells = [
        (
            *(class_called(one.name), one.materials),
            *(", ".join(str(WORDS[name]) for name in one.formulas), one.value),
        )
        for one in classes
    ]
    return tables.Table("cost-formulas", columns, cells)


def _changes(changes: Iterable[Changing], currency: str) -> tables.Table:
    columns = [said("Material"), said("Costed now"), said("In store"), said("Unit")]
    names = [said("Worth"), said("What leaves next costs now"), said("and then")]
    columns += [f"{name}, {currency}" for name in names]
    cells = (
        (
            *(one.name, str(WORDS[one.before]), one.quantity, tables.unit_of(one.counted)),
            *(one.value, *(cost.each if cost else None for cost in (one.now, one.then))),
        )
        for one in changes
    )
    return tables.Table("changes", columns, cells)


def _made(made: Iterable[Changed]) -> tables.Table:
    columns = [said("When"), said("Material"), said("Before"), said("After"), said("Because")]
    cells = (
        (
            *(one.entry.happened_at.isoformat(), one.name),
            *(str(WORDS[one.before]), str(WORDS[one.after]), one.entry.reason),
        )
        for one in made
    )
    return tables.Table("changes-made", columns, cells)
