"""Tests of what comes from a source and is never stocked, such as the water of a tap."""

from typing import Any, ClassVar
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext_lazy as _

from api.pages.forms import DayField, PageForm
from api.pages.screen import Screen
from ledger.access import day_of, material_for
from ledger.roles import Verb
from ledger.source_tests import record_source_test, source_tests_of

MOST = 40


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
    """When a source was tested, and what was found."""

    template = "pages/source_tests.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        typed = {"tested_on": day_of(self.actor, self.now)}
        return self._page(id, SourceForm(reader=self.reader, initial=typed))

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
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
        material = material_for(self.actor, id)
        found = source_tests_of(self.actor, id).order_by("-tested_on", "-id")
        may = self.actor.may(Verb.DECIDE) and not material.stocked
        return self.show(
            material=material, found=list(found[:MOST]), form=form if may else None, status=status
        )
