"""Using up the rest of a lot and making up with another: what it comes to, and then doing it."""

from collections.abc import Iterable
from typing import Any, ClassVar, Final
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import tables
from api.pages.forms import PageForm
from api.pages.reader import Reader
from api.pages.screen import Screen
from formulas.models import Batch, TopUp
from formulas.top_up_choices import (
    LotAtHand,
    StandIn,
    TopUpChoices,
    choices_for,
    top_ups_of,
    try_top_up,
)
from formulas.topping_up import top_up
from ledger.errors import Refusal
from ledger.roles import Verb

MOST: Final = 20


class TopUpForm(PageForm):
    called: ClassVar = {"/material": "other", "/other_lot": "other"}
    lot = forms.ChoiceField(
        label=_("Used up to the last gram"),
        required=False,
        help_text=_("Lots that have less than is still wanted"),
    )
    other = forms.ChoiceField(
        label=_("Made up with"),
        required=False,
        help_text=_("What the formula names as its alternates, or another lot of the same"),
    )

    def clean(self) -> dict[str, Any]:
        typed = super().clean() or {}
        if typed.get("lot") and typed.get("other") == f"other_lot:{typed['lot']}":
            self.add_error("other", said("That lot is used up; it is made up with another one."))
        return typed

    def told(self) -> dict[str, str]:
        """The lots and the material, by the names that the verb has for them."""
        kind, _colon, id = self.cleaned_data["other"].partition(":")
        used = self.cleaned_data["lot"]
        return {**({"lot": used} if used else {}), **({kind: id} if id else {})}


class TopUpLine(Screen):
    """A line of a batch whose lot does not suffice; what the change comes to is shown before."""

    template = "pages/top_up.html"
    fragment = "pages/top_up_comes_to.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        return self._page(self._choices(id))

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        choices = self._choices(id)
        if not choices.own:
            return self._page(choices, status=422)
        form = self._form(choices, request.POST)
        facts = {"batch": id, "line": choices.own[0].line.id}
        if request.POST.get("do") == "look":
            return self._look(choices, form, facts)
        return self.act(
            form,
            lambda: top_up(self.actor, **facts, **form.told()),
            lambda done: f"/batches/{id}/bench?line={done.line.id}",
            lambda: self._page(choices, form=form, status=422),
        )

    def _choices(self, id: UUID) -> TopUpChoices:
        return choices_for(self.actor, id, self.request.GET.get("line", ""))

    def _look(self, choices: TopUpChoices, form: TopUpForm, facts: dict[str, Any]) -> HttpResponse:
        """What it would come to, or why it cannot be done; nothing is kept."""
        found = None
        if form.is_valid():
            try:
                found = try_top_up(self.actor, **facts, **form.told())
            except Refusal as refusal:
                form.refuse(refusal)
        if self.request.headers.get("HX-Request"):
            return self.render(self.fragment, self._working(form, found))
        return self._page(choices, form=form, found=found)

    def _form(self, choices: TopUpChoices, data: Any = None) -> TopUpForm:
        first = {"lot": choices.rests[0].id if choices.rests else ""}
        form = TopUpForm(data, reader=self.reader, initial=first)
        rests = [(one.id, _lot_called(one, self.reader)) for one in choices.rests]
        none = [("", said("None: no more of its own is poured"))] if choices.may_pour_none else []
        form.offer("lot", [*rests, *none])
        kinds = [
            (f"material:{one.material.id}", _kind_called(one, self.reader))
            for one in choices.stand_ins
        ]
        lots = [(f"other_lot:{one.id}", _lot_called(one, self.reader)) for one in choices.lots]
        first_one = [("", said("The first that has enough"))] if kinds else []
        form.offer("other", [*first_one, *kinds, (said("A certain lot"), lots)])
        return form

    def _working(self, form: TopUpForm, found: Any) -> dict[str, Any]:
        return {"form": form, "found": found, "may_see_costs": self.actor.may(Verb.SEE_COSTS)}

    def _page(
        self,
        choices: TopUpChoices,
        *,
        form: TopUpForm | None = None,
        found: Any = None,
        status: int = 200,
    ) -> HttpResponse:
        if tables.asked(self.request):
            rows = top_ups_of(choices.batch)[: tables.MOST_ROWS + 1]
            return tables.file(tables.asked(self.request), _table(choices.batch, rows))
        may = self.actor.may(Verb.MAKE)
        if form is None and choices.own and may:
            form = self._form(choices)
        facts = {
            **(self._working(form, found) if form else {}),
            "choices": choices,
            "batch": choices.batch,
            "top_ups": list(top_ups_of(choices.batch)[:MOST]),
            "may_make": may,
        }
        return self.render(self.template, facts, status)


def _lot_called(lot: LotAtHand, reader: Reader) -> str:
    """A lot in a list: what it is, what of it is there, and until when."""
    told = [f"{lot.code} {lot.material.name}", reader.grams(lot.grams)]
    if lot.last_day is not None:
        told.append(said("until %s") % reader.day(lot.last_day))
    return ", ".join(told)


def _kind_called(one: StandIn, reader: Reader) -> str:
    """A material in a list, and what of it may be used."""
    told = [one.material.name]
    if one.active_percent is not None:
        told.append(said("%s active") % reader.percent(one.active_percent))
    return ", ".join([*told, said("%s at hand") % reader.grams(one.grams)])


def _table(batch: Batch, rows: Iterable[TopUp]) -> tables.Table:
    """The top-ups of a batch as a table."""
    columns = [said("When"), said("Used up"), said("Lot"), said("Kept, g")]
    columns += [said("In its place"), said("A certain lot"), said("So much of it, g")]
    columns += [said("Instead of, g"), said("By whom")]
    cells = (
        (
            *(row.created_at.isoformat(), row.own_material.name, row.lot.code if row.lot else ""),
            *(row.kept_grams, row.material.name, row.other_lot.code if row.other_lot else ""),
            *(row.other_grams, row.replaced_grams, row.person.get_username()),
        )
        for row in rows
    )
    return tables.Table(f"{batch.code}-top-ups", columns, cells)
