"""A batch that is not finished after all: called off, or thrown away with something kept."""

from typing import Any, ClassVar
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages.forms import GramsField, MoneyField, PageForm
from api.pages.screen import Screen
from formulas import batches, scrapping
from formulas.access import batch_for
from ledger.roles import Verb

WAYS = [
    ("off", _("called off: what was weighed goes back to its lots")),
    ("away", _("it failed: what was weighed is thrown away")),
]


class StopForm(PageForm):
    called: ClassVar = {"/kept/quantity": "kept", "/kept/nrv": "brings"}
    way = forms.ChoiceField(
        label=_("What becomes of it"), choices=WAYS, initial="off", widget=forms.RadioSelect
    )
    kept = GramsField(
        label=_("Kept, to be worked in again"),
        required=False,
        help_text=_("Of what failed; grams if no unit is named"),
    )
    brings = MoneyField(
        label=_("What that will bring"),
        required=False,
        help_text=_("All of it, less what it still costs to finish and sell"),
    )
    reason = forms.CharField(label=_("Why"), max_length=400)

    def clean(self) -> dict[str, Any]:
        typed = super().clean() or {}
        if typed.get("kept") and typed.get("way") != "away":
            self.add_error("kept", said("Something is kept only of what failed."))
        if typed.get("brings") is not None and not typed.get("kept"):
            self.add_error("kept", said("How much is kept?"))
        return typed


class StopBatch(Screen):
    """The end of a planned batch that does not come to a finish."""

    template = "pages/batch_stop.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        self.actor.must(Verb.MAKE)
        return self._page(id, StopForm(reader=self.reader))

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        form = StopForm(request.POST, reader=self.reader)
        return self.act(
            form,
            lambda: self._stop(id, form.cleaned_data),
            lambda done: f"/batches/{id}",
            lambda: self._page(id, form, status=422),
        )

    def _stop(self, id: UUID, typed: dict[str, Any]) -> Any:
        facts = {"batch": id, "reason": typed["reason"], "happened_at": self.now}
        if typed["way"] == "off":
            return batches.cancel_batch(self.actor, **facts)
        kept = scrapping.Kept(typed["kept"], typed["brings"]) if typed["kept"] else None
        return scrapping.scrap_batch(self.actor, kept=kept, **facts)

    def _page(self, id: UUID, form: PageForm, *, status: int = 200) -> HttpResponse:
        return self.show(batch=batch_for(self.actor, id), form=form, status=status)
