"""Handing out what came of a round: what each gets and pays, looked at before it is done."""

from collections.abc import Sequence
from decimal import Decimal
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import co_op_tables
from api.pages.forms import LONG, PageForm, SureField
from api.pages.screen import Screen
from api.pages.workings import Line
from ledger.roles import Verb
from ledger.round_handing import HandingOut, MakerLines, hand_out, handing_out
from ledger.round_handing import Line as HandedLine
from ledger.round_lots import Move

ZERO = Decimal(0)


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
        money = self.actor.currency
        return self.show(
            files={"": lambda: co_op_tables.handed_out(told.makers, money)},
            told=told,
            form=form,
            makers=[
                (one, moved[one.maker_id], f"paid{n}", self._paid(one))
                for n, one in enumerate(told.makers)
            ],
            paid_told=self._together(told),
            may_hand_out=buys and not (told.done or told.missing) and self.actor.may(Verb.TRANSFER),
            status=status,
        )

    def _paid(self, one: MakerLines) -> list[Line]:
        """What a maker pays and what was split, each as what its lines come to."""
        money, told = self.actor.currency, []
        if one.amount is not None:
            paid = [(line, line.quantity, line.amount) for line in one.lines]
            told.append(Line(said("To pay"), one.amount, money, parts=self._lines(paid)))
        if one.amount != one.split:
            split = [(line, line.promised, line.split) for line in one.lines]
            parts = self._lines(split)
            told.append(Line(said("As it was split"), one.split, money, parts=parts))
        return told

    def _lines(
        self, rows: Sequence[tuple[HandedLine, Decimal | None, Decimal | None]]
    ) -> tuple[Line, ...]:
        return tuple(
            Line(
                line.material.name,
                amount,
                self.actor.currency,
                how=self.reader.quantity(quantity or ZERO, line.material.counted),
            )
            for line, quantity, amount in rows
        )

    def _together(self, told: HandingOut) -> list[Line]:
        """What all paid, as what each pays, where the reader may know all of them."""
        money = self.actor.currency
        parts = tuple(Line(one.maker_name, one.amount, money) for one in told.makers)
        if told.paid is None or sum((one.amount or ZERO for one in parts), ZERO) != told.paid:
            return []
        return [Line(said("Paid by all together"), told.paid, money, parts=parts)]
