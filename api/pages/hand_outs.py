"""Handing out what came of a round: what each gets and pays, looked at before it is done."""

from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext_lazy as _

from api.pages.forms import LONG, PageForm, SureField
from api.pages.screen import Screen
from ledger.roles import Verb
from ledger.round_handing import HandingOut, hand_out, handing_out
from ledger.round_lots import Move


class HandOutForm(PageForm):
    note = forms.CharField(label=_("A word to all"), max_length=LONG, required=False)
    sure = SureField()


class HandOut(Screen):
    """One's own part; for the buyer and the coordinator the parts of all."""

    template = "pages/hand_out.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        return self._page(handing_out(self.actor, id), HandOutForm(reader=self.reader))

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        form = HandOutForm(request.POST, reader=self.reader)
        return self.act(
            form,
            lambda: hand_out(self.actor, round=id, happened_at=self.now, **form.cleaned_data),
            lambda done: f"/order-rounds/{id}/hand-out",
            lambda: self._page(handing_out(self.actor, id), form, status=422),
        )

    def _page(self, told: HandingOut, form: PageForm, *, status: int = 200) -> HttpResponse:
        buys = told.round.buying_id == self.actor.maker_id
        moved: dict[UUID, list[Move]] = {one.maker_id: [] for one in told.makers}
        for move in told.moves:
            moved[move.maker_id].append(move)
        return self.show(
            told=told,
            form=form,
            makers=[(one, moved[one.maker_id]) for one in told.makers],
            may_hand_out=buys and not (told.done or told.missing) and self.actor.may(Verb.TRANSFER),
            status=status,
        )
