"""Rework: a lot that was made before is weighed into a batch, approved and within its maximum."""

from typing import Any, Final
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext_lazy as _

from api.pages.forms import GramsField, PageForm
from api.pages.screen import Screen
from formulas.access import batch_for
from formulas.bench import lot_labelled
from formulas.reworking import Reworked, allowance_of, batches_for_rework, rework
from ledger.lot_reading import show_lot
from ledger.roles import Verb

MOST: Final = 40


class ReworkForm(PageForm):
    lot = forms.CharField(
        label=_("Code of its lot"),
        max_length=120,
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"}),
    )
    quantity = GramsField(label=_("How much of it"), help_text=_("Grams if no unit is named"))
    approval = forms.CharField(
        label=_("Who approved it, and on what basis"),
        max_length=400,
        help_text=_("It also lets in what is not released, but never what was rejected"),
    )
    deviation = forms.CharField(
        label=_("Reason, if it is more than the formula allows"), max_length=400, required=False
    )


class BatchRework(Screen):
    """How much rework the batch may take, and weighing it in."""

    template = "pages/rework.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        first = {"lot": request.GET.get("lot", "")[:120]}
        return self._page(id, ReworkForm(reader=self.reader, initial=first))

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        form = ReworkForm(request.POST, reader=self.reader)
        return self.act(
            form,
            lambda: self._rework(id, form.cleaned_data),
            lambda done: f"/batches/{id}/bench?after=1",
            lambda: self._page(id, form, status=422),
        )

    def _rework(self, id: UUID, typed: dict[str, Any]) -> Reworked:
        lot = lot_labelled(self.actor, typed.pop("lot"))
        return rework(self.actor, batch=id, lot=lot, happened_at=self.done_at, **typed)

    def _page(self, id: UUID, form: PageForm, *, status: int = 200) -> HttpResponse:
        batch = batch_for(self.actor, id)
        return self.show(
            batch=batch,
            allowed=allowance_of(batch),
            form=form,
            may_make=self.actor.may(Verb.MAKE),
            status=status,
        )


class LotRework(Screen):
    """The batches into which a lot that was made here may be worked."""

    template = "pages/lot_rework.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        return self.show(
            lot=show_lot(self.actor, id), batches=batches_for_rework(self.actor)[:MOST]
        )
