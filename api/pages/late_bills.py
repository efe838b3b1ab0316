"""Bills that came after a round was handed out: what each pays more, looked at before it is."""

from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import tables
from api.pages.forms import LONG, PageForm, SureField
from api.pages.screen import Screen
from api.pages.workings import Line
from ledger.access import day_of
from ledger.roles import Verb
from ledger.round_late_bills import LateBills, late_bills, share_late_bills


class ShareForm(PageForm):
    note = forms.CharField(
        label=_("What it was for"),
        max_length=LONG,
        required=False,
        help_text=_("Such as: the carrier's bill of 3 June"),
    )
    sure = SureField()


class RoundLateBills(Screen):
    """One's own part; for the buyer and the coordinator the parts of all."""

    template = "pages/late_bills.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        told = late_bills(self.actor, id)
        kind = tables.asked(request)
        if kind:
            return tables.file(kind, self._table(told))
        return self._page(told, ShareForm(reader=self.reader))

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        form = ShareForm(request.POST, reader=self.reader)
        return self.act(
            form,
            lambda: share_late_bills(
                self.actor, round=id, happened_at=self.now, **form.cleaned_data
            ),
            lambda done: f"/order-rounds/{id}/late-bills",
            lambda: self._page(late_bills(self.actor, id), form, status=422),
        )

    def _page(self, told: LateBills, form: PageForm, *, status: int = 200) -> HttpResponse:
        buys = told.round.buying_id == self.actor.maker_id
        return self.show(
            told=told,
            amount_told=[self._all(told)],
            form=form,
            buys=buys,
            may_share=buys and bool(told.waiting) and self.actor.may(Verb.BILL),
            status=status,
        )

    def _all(self, told: LateBills) -> Line:
        """What all pay more, or get back, as what each of them does."""
        money = self.actor.currency
        parts = tuple(
            Line(f"{line.maker_name} · {line.material.name}", line.amount, money)
            for line in told.waiting
        )
        name = said("All get back") if told.amount < 0 else said("All pay more")
        how = said("what each part would have cost, had it been known then, less what it cost")
        return Line(name, told.amount, money, how=how, parts=parts)

    def _table(self, told: LateBills) -> tables.Table:
        """Every part that was shared."""
        columns = [said("On"), said("Maker"), said("Material"), said("Note")]
        columns += [f"{said('Amount')}, {self.actor.currency}"]
        cells = (
            (
                *(day_of(self.actor, one.row.happened_at), line.maker_name, line.material.name),
                *(one.row.note, line.amount),
            )
            for one in told.shared
            for line in one.lines
        )
        return tables.Table("later-bills", columns, cells)
