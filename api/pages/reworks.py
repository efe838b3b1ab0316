"""Rework: a lot that was made before is weighed into a batch, approved and within its maximum."""

from typing import Any, Final
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages.forms import GramsField, LotCodeField, PageForm
from api.pages.screen import Screen
from api.pages.workings import Line, address, with_rest
from formulas.access import batch_for
from formulas.bench import lot_labelled
from formulas.models import Batch
from formulas.reworking import Allowance, Reworked, allowance_of, batches_for_rework, rework
from ledger.access import day_of
from ledger.lot_reading import show_lot
from ledger.roles import Verb

MOST: Final = 40


class ReworkForm(PageForm):
    lot = LotCodeField(label=_("Code of its lot"))
    quantity = GramsField(label=_("How much of it"), help_text=_("Grams if no unit is named"))
    approval = forms.CharField(
        label=_("Who approved it, and on what basis"),
        max_length=400,
        help_text=_("It also lets in what is not released, but never what was rejected"),
    )
    deviation = forms.CharField(
        label=_("Reason, if a rule is not kept"), max_length=400, required=False
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
        allowed = allowance_of(batch)
        return self.show(
            batch=batch,
            allowed=allowed,
            told=[self._in(allowed), self._left(batch, allowed)],
            form=form,
            may_make=self.actor.may(Verb.MAKE),
            status=status,
        )

    def _in(self, allowed: Allowance) -> Line:
        """What is in so far, weighing by weighing."""
        lines = [
            Line(
                one.lot.code,
                one.quantity,
                "g",
                how=self.reader.day(day_of(self.actor, one.happened_at)),
                to=address("entries", one.entry_id),
            )
            for one in allowed.weighed
        ]
        parts = with_rest(lines[:MOST], allowed.grams, len(lines) - MOST, "g")
        return Line(said("In so far"), allowed.grams, "g", parts=parts)

    def _left(self, batch: Batch, allowed: Allowance) -> Line:
        number = self.reader.number
        most = batch.batch_grams * allowed.max_percent / 100
        how = f"{number(allowed.max_percent)} % · {number(batch.batch_grams)} g"
        parts = [
            Line(said("the most of the batch, as it was planned"), most, "g", how=how),
            Line(said("less what is in so far"), -allowed.grams, "g"),
        ]
        rest = allowed.left_grams - most + allowed.grams
        if rest:
            called = said("to what a scale shows, never rounded up and never below nothing")
            parts.append(Line(called, rest, "g"))
        return Line(said("May still go in"), allowed.left_grams, "g", parts=tuple(parts))


class LotRework(Screen):
    """The batches into which a lot that was made here may be worked."""

    template = "pages/lot_rework.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        return self.show(
            lot=show_lot(self.actor, id), batches=batches_for_rework(self.actor)[:MOST]
        )
