"""Tests of what comes from a source and is never stocked, such as the water of a tap."""

from collections.abc import Iterable
from typing import Any, ClassVar
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import tables
from api.pages.forms import DayField, PageForm, id_in
from api.pages.screen import Screen
from formulas.source_uses import Suspect, suspect
from ledger.access import Actor, day_of, material_for
from ledger.makers import who_may
from ledger.models import SourceTest
from ledger.roles import Verb
from ledger.source_tests import record_source_test, source_tests_of

MOST, MOST_BATCHES = 40, 30


class SourceForm(PageForm):
    called: ClassVar = {"/drawn_from": "source", "/found": "result"}

    source = forms.CharField(
        label=_("Where it was drawn"), max_length=120, help_text=_("Such as: tap by the window")
    )
    tested_on = DayField(label=_("Tested on"))
    result = forms.CharField(
        label=_("What was found"), max_length=400, help_text=_("Such as: plate count 12, pH 7.1")
    )
    passed = forms.ChoiceField(
        label=_("So it is"),
        choices=[("yes", _("good to use")), ("no", _("not good"))],
        widget=forms.RadioSelect,
    )

    def told(self) -> dict[str, Any]:
        return {**self.cleaned_data, "passed": self.cleaned_data["passed"] == "yes"}


class SourceTests(Screen):
    """When a source was tested, what was found, and what to look at where it was not good.

    `failed` in the address is a failed test that is not the latest.
    """

    template = "pages/source_tests.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        typed = {"tested_on": day_of(self.actor, self.now)}
        return self._page(id, SourceForm(reader=self.reader, initial=typed))

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        self.actor.must(Verb.DECIDE)
        material_for(self.actor, id)
        form = SourceForm(request.POST, reader=self.reader)
        return self.act(
            form,
            lambda: record_source_test(
                self.actor, material=id, today=day_of(self.actor, self.now), **form.told()
            ),
            lambda kept: f"/materials/{id}/source",
            lambda: self._page(id, form, status=422),
        )

    def _page(self, id: UUID, form: PageForm, *, status: int = 200) -> HttpResponse:
        tests = source_tests_of(self.actor, id).order_by("-tested_on", "-id")
        material = material_for(self.actor, id)
        failed = id_in(self.request.GET.get("failed", ""))
        found = suspect(self.actor, material=id, test=failed, most=MOST_BATCHES + 1)
        may = self.actor.may(Verb.DECIDE)
        return self.show(
            files={
                "": lambda: _table(tests[: tables.MOST_ROWS + 1]),
                "batches": lambda: _batches(self.actor, self._suspect_all(id, failed)),
            },
            material=material,
            found=list(tests[:MOST]),
            suspect=found,
            used=found.used[:MOST_BATCHES] if found else [],
            more=bool(found and found.used[MOST_BATCHES:]),
            names=who_may(self.actor, Verb.DECIDE) if found and found.until is None else [],
            form=form if may and not material.stocked else None,
            may_decide=may,
            status=status,
        )

    def _suspect_all(self, id: UUID, failed: str | None) -> Suspect | None:
        return suspect(self.actor, material=id, test=failed, most=tables.MOST_ROWS + 1)


def _table(rows: Iterable[SourceTest]) -> tables.Table:
    columns = [said("Tested on"), said("Where it was drawn"), said("What was found")]
    columns += [said("Good to use"), said("By whom")]
    cells = (
        (
            *(one.tested_on, one.source, one.result, said("yes") if one.passed else said("no")),
            one.person.get_username(),
        )
        for one in rows
    )
    return tables.Table("source-tests", columns, cells)


def _batches(actor: Actor, found: Suspect | None) -> tables.Table:
    columns = [said("Batch"), said("Made"), said("First weighed on"), said("Grams")]
    columns += [said("Lot"), said("Status")]
    cells = (
        (
            *(one.batch.code, one.batch.version.formula.name),
            *(day_of(actor, one.first_at), one.grams),
            *(one.batch.making.lot.code if one.batch.making else "", one.status),
        )
        for one in (found.used if found else ())
    )
    return tables.Table("made-with-it", columns, cells)
