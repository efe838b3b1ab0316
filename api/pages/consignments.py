"""A lot at shops that sell it for the maker: sent there, sold there, and taken back."""

from typing import Any, ClassVar
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext_lazy as _

from api.pages.forms import MomentField, PageForm, QuantityField
from api.pages.screen import Screen
from ledger import consigning
from ledger.issuing import Moved, Taken
from ledger.lot_reading import show_lot
from ledger.roles import Verb

LONGEST = 400
SOLD, BACK = "sold", "back"
LATER = [(SOLD, _("the shop has sold of it")), (BACK, _("it came back to you"))]


class SendForm(PageForm):
    called: ClassVar = {"/lines/0/quantity": "quantity", "/lines/0/lot": "quantity"}

    shop = forms.CharField(
        label=_("To which shop"), max_length=120, help_text=_("Your own reference of it")
    )
    quantity = QuantityField(label=_("How much"), help_text=_("Such as 12 pieces"))
    happened_at = MomentField(label=_("When"), required=False, help_text=_("Left empty: just now"))
    reason = forms.CharField(label=_("Note"), max_length=LONGEST, required=False)


class LaterForm(PageForm):
    called: ClassVar = {
        **{"/lines/0/quantity": "quantity", "/lines/0/lot": "quantity"},
        **{"/deviation": "reason", "/customer": "customer"},
    }

    shop = forms.ChoiceField(label=_("At which shop"))
    then = forms.ChoiceField(label=_("What happened"), choices=LATER, widget=forms.RadioSelect)
    quantity = QuantityField(label=_("How much"))
    happened_at = MomentField(label=_("When"), required=False, help_text=_("Left empty: just now"))
    customer = forms.CharField(
        label=_("Who bought it"),
        max_length=120,
        required=False,
        help_text=_("Left empty, the shop is told if it must be called back"),
    )
    reason = forms.CharField(
        label=_("Because"),
        max_length=LONGEST,
        required=False,
        help_text=_("Why it came back, or why it was sold against a rule"),
    )

    def __init__(self, *args: Any, **how: Any) -> None:
        # The form above it on the page has fields of the same names.
        super().__init__(*args, auto_id="later_%s", **how)

    def clean(self) -> dict[str, Any]:
        typed = super().clean() or {}
        if typed.get("then") == BACK and not typed.get("reason"):
            self.add_error("reason", _("Say why it came back."))
        return typed


class LotAtShops(Screen):
    """Where a lot lies to be sold, and what becomes of it there."""

    template = "pages/lot_at_shops.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        self.actor.must(Verb.ISSUE)
        return self._page(id)

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        show_lot(self.actor, id)
        if request.POST.get("do") == "later":
            later = self._later(id, request.POST)
            return self.act(
                later,
                lambda: self._then(id, later.cleaned_data),
                lambda moved: f"/lots/{id}/shops",
                lambda: self._page(id, later=later, status=422),
            )
        form = SendForm(request.POST, reader=self.reader)
        return self.act(
            form,
            lambda: consigning.consign(
                self.actor,
                shop=form.cleaned_data["shop"],
                lines=[Taken(id, form.cleaned_data["quantity"])],
                happened_at=form.cleaned_data["happened_at"] or self.now,
                reason=form.cleaned_data["reason"],
            ),
            lambda moved: f"/lots/{id}/shops",
            lambda: self._page(id, form=form, status=422),
        )

    def _then(self, id: UUID, typed: dict[str, Any]) -> Moved:
        """Sold by the shop, or back on the shelf."""
        shop, lines = typed["shop"], [Taken(id, typed["quantity"])]
        about = {"shop": shop, "lines": lines, "happened_at": typed["happened_at"] or self.now}
        if typed["then"] == BACK:
            return consigning.bring_back(self.actor, reason=typed["reason"], **about)
        customer, reason = typed["customer"], typed["reason"]
        return consigning.sell_consigned(self.actor, customer=customer, deviation=reason, **about)

    def _later(self, id: UUID, data: Any = None) -> LaterForm:
        form = LaterForm(data, reader=self.reader)
        shops = consigning.shops_of(self.actor, id)
        form.offer("shop", [(shop, shop) for shop, _left in shops])
        return form

    def _page(
        self,
        id: UUID,
        *,
        form: PageForm | None = None,
        later: PageForm | None = None,
        status: int = 200,
    ) -> HttpResponse:
        lot = show_lot(self.actor, id)
        counted = "count" in lot["on_hand"]
        shops = consigning.shops_of(self.actor, id)
        return self.show(
            lot=lot,
            counted=counted,
            amount=lot["on_hand"]["count" if counted else "grams"],
            shops=shops,
            form=form or SendForm(reader=self.reader),
            later=later or (self._later(id) if shops else None),
            status=status,
        )
