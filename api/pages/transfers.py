"""Goods that one maker offers another alone: for money, or lent; and what goes back."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any, ClassVar
from uuid import UUID

import orjson
from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages.forms import LONG, MoneyField, PageForm, QuantityField
from api.pages.screen import Screen
from api.pages.shares import Answering
from ledger import giving_back, transferring
from ledger.lot_reading import LotsWanted, list_lots, show_lot
from ledger.models import Transfer
from ledger.roles import Verb
from ledger.transferring import makers_of_coop

MOST_MAKERS, MOST_LOTS = 200, 50
ZERO = Decimal(0)
WAYS = [
    ("money", _("for money: at what it cost you, unless a price stands below")),
    ("kind", _("lent: as much of the same is owed back, whatever it costs then")),
]


class OfferForm(PageForm):
    maker = forms.ChoiceField(label=_("To whom"))
    quantity = QuantityField(label=_("How much of it"), help_text=_("Such as 2.5 kg"))
    way = forms.ChoiceField(
        label=_("It is given"), choices=WAYS, initial="money", widget=forms.RadioSelect
    )
    price = MoneyField(
        label=_("Price of it all"),
        required=False,
        help_text=_("Of what is lent: what it is worth until it is replaced"),
    )
    note = forms.CharField(label=_("A word to them"), max_length=LONG, required=False)

    def facts(self) -> dict[str, Any]:
        typed = dict(self.cleaned_data)
        return {"in_kind": typed.pop("way") == "kind", **typed}


class OfferLot(Screen):
    """Offering some of a lot to one maker; nothing moves before it says yes."""

    template = "pages/offer_lot.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        self.actor.must(Verb.TRANSFER)
        return self._page(id, self._form())

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        form = self._form(request.POST)
        return self.act(
            form,
            lambda: transferring.offer_transfer(
                self.actor, lot=id, happened_at=self.now, **form.facts()
            ),
            lambda offer: f"/transfers/{offer.id}",
            lambda: self._page(id, form, status=422),
        )

    def _form(self, data: Any = None) -> OfferForm:
        form = OfferForm(data, reader=self.reader)
        makers = makers_of_coop(self.actor).exclude(id=self.actor.maker).order_by("name")
        form.offer(
            "maker",
            [(str(id), name) for id, name in makers.values_list("id", "name")[:MOST_MAKERS]],
        )
        return form

    def _page(self, id: UUID, form: PageForm, *, status: int = 200) -> HttpResponse:
        return self.show(lot=show_lot(self.actor, id), form=form, status=status)


class AcceptForm(PageForm):
    called: ClassVar = {"/release/basis": "release_basis"}
    release_basis = forms.CharField(
        label=_("Release it at once, because"),
        max_length=400,
        required=False,
        help_text=_("Left empty, it waits in quarantine"),
    )


class BackForm(PageForm):
    lot = forms.ChoiceField(label=_("With which lot"), required=False)
    quantity = QuantityField(
        label=_("How much"), required=False, help_text=_("Left empty: all that is still owed")
    )
    note = forms.CharField(label=_("A word to them"), max_length=LONG, required=False)

    def __init__(self, *args: Any, **how: Any) -> None:
        # The page has another form for its answer.
        super().__init__(*args, auto_id="back_%s", **how)

    def facts(self) -> dict[str, Any]:
        return {**self.cleaned_data, "lot": self.cleaned_data.get("lot") or None}


class OneTransfer(Answering):
    """Goods that one maker offers another alone, such as its part of a drum."""

    template = "pages/transfer.html"
    of = "transfers"
    # What was typed to give it back, if it was refused.
    back: BackForm | None = None

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        if request.POST.get("do") != "back":
            return super().post(request, id)
        form = self.back = self._back(transferring.transfer_for(self.actor, id), request.POST)
        return self.act(
            form,
            lambda: giving_back.give_back(
                self.actor, transfer=id, happened_at=self.now, **form.facts()
            ),
            lambda offer: f"/transfers/{offer.id}",
            lambda: self._page(id, status=422),
        )

    def yes(self, data: Any = None) -> PageForm:
        form = AcceptForm(data, reader=self.reader)
        if not self.actor.may(Verb.DECIDE):
            del form.fields["release_basis"]
        return form

    def acts(self, id: UUID) -> dict[str, Callable[..., Any]]:
        return {
            "accept": lambda release_basis="": transferring.accept_transfer(
                self.actor,
                transfer=id,
                happened_at=self.now,
                release_basis=release_basis or None,
            ),
            "decline": lambda reason: transferring.decline_transfer(
                self.actor, transfer=id, reason=reason
            ),
            "withdraw": lambda reason: transferring.withdraw_transfer(
                self.actor, transfer=id, reason=reason
            ),
        }

    def facts(self, id: UUID) -> dict[str, Any]:
        move = transferring.transfer_for(self.actor, id)
        (one,) = transferring.offered([move])
        incoming = move.to_maker_id == self.actor.maker
        moved = move.state == Transfer.State.ACCEPTED and move.answers_id is None
        left = giving_back.owed_of(move) if moved and (incoming or move.in_kind) else None
        owed = (left or ZERO) if incoming else ZERO
        back = (self.back or self._back(move)) if owed else None
        asks = self.actor.may(Verb.SEE_COSTS) and move.price is None and not move.in_kind
        cost = transferring.cost_at_present(self.actor, move) if asks else None
        told = {"one": one, "incoming": incoming, "owed": owed, "back": back, "cost": cost}
        return {**told, "lent_owed": left if move.in_kind else None}

    def _back(self, move: Transfer, data: Any = None) -> BackForm:
        """Giving back what came; what was lent is replaced by any lot of the material."""
        form = BackForm(data, reader=self.reader)
        if not move.in_kind:
            del form.fields["lot"]
            # What was paid for is not owed.
            form.fields["quantity"].help_text = _("Left empty: all of it that may go back")
            return form
        wanted = LotsWanted(material=move.material_id, in_stock=True)
        rows = orjson.loads(list_lots(self.actor, wanted, after=None, limit=MOST_LOTS).results)
        own = [(row["id"], row["code"]) for row in rows if row["id"] != str(move.lot_id)]
        form.offer("lot", [("", said("the lot that came")), *own])
        return form
