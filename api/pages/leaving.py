"""What leaves a lot: sold, given out, written off, sent back; and what a buyer brings back."""

from decimal import Decimal
from typing import Any, ClassVar
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages.forms import MomentField, PageForm, QuantityField
from api.pages.screen import Screen
from api.separators import NUMBER
from ledger import issuing
from ledger.entry_reading import EntriesWanted, entries_of
from ledger.issuing import Moved, Taken
from ledger.lot_reading import show_lot
from ledger.quantities import Quantity, parse_quantity
from ledger.recall_notices import unanswered
from ledger.roles import Verb

MOST_SALES = 50
SOLD, BACK = "sold", "sent back"
WAYS = [
    (SOLD, _("sold")),
    ("sample", _("given away as a sample")),
    ("tester", _("put out as a tester")),
    ("gift", _("given as a gift")),
    ("retained", _("kept back as a retained sample")),
    ("quality", _("used up in a test")),
    ("spill", _("spilt or broken")),
    ("write-off", _("thrown away")),
    ("scrap", _("scrapped")),
    (BACK, _("sent back to its supplier")),
]


class AmountField(QuantityField):
    """So much of a lot; of what is counted, a bare number is pieces."""

    counted = False

    def read(self, typed: str) -> Quantity:
        bare = self.counted and NUMBER.fullmatch(typed)
        return parse_quantity(f"{typed} each" if bare else typed)


class LotForm(PageForm):
    """So much of one lot, at a moment, and a word about it."""

    called: ClassVar = {"/lines/0/quantity": "quantity", "/lines/0/lot": "quantity"}
    quantity = AmountField(label=_("How much"))
    reason = forms.CharField(label=_("To whom, or why"), max_length=120)
    happened_at = MomentField(label=_("When"), required=False, help_text=_("Left empty: just now"))

    def __init__(self, *args: Any, counted: bool, **how: Any) -> None:
        super().__init__(*args, **how)
        self.fields["quantity"].counted = counted  # type: ignore[attr-defined]
        self.fields["quantity"].help_text = said("Such as 12") if counted else said("Such as 250 g")


class OutForm(LotForm):
    way = forms.ChoiceField(label=_("What becomes of it"), choices=WAYS, initial=SOLD)
    deviation = forms.CharField(
        label=_("Reason, if a rule is not kept"),
        max_length=400,
        required=False,
        help_text=_("Such as selling what is past its day"),
    )
    whole = forms.BooleanField(label=_("All that is there"), required=False)
    field_order = ("way", "quantity", "whole", "reason", "happened_at", "deviation")

    def __init__(self, *args: Any, **how: Any) -> None:
        super().__init__(*args, **how)
        self.fields["quantity"].required = False

    def clean(self) -> dict[str, Any]:
        """How much is said in one way: a figure is rounded, and would leave a crumb of a lot."""
        typed = super().clean() or {}
        if bool(typed.get("quantity")) == typed["whole"] and "quantity" not in self.errors:
            both = _("Write how much, or tick that it is all that is there.")
            self.add_error("quantity", both)
        return typed


class BackForm(LotForm):
    sale = forms.ChoiceField(label=_("Of which sale"))
    hold = forms.BooleanField(
        label=_("Nobody is to use it until somebody has looked"),
        required=False,
        help_text=_("All of the lot is on hold then, and what was made of it."),
    )
    field_order = ("sale", "quantity", "reason", "happened_at", "hold")

    def __init__(self, *args: Any, **how: Any) -> None:
        # The form above it on the page has fields of the same names.
        super().__init__(*args, auto_id="back_%s", **how)
        self.fields["reason"].label = said("Why")


class TakeOut(Screen):
    """Some of a lot that leaves the shelf for good, or comes back from whoever bought it."""

    template = "pages/take_out.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        self.actor.must(Verb.ISSUE)
        return self._page(id)

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        lot = show_lot(self.actor, id)
        if request.POST.get("do") == "back":
            back = self._back(id, lot, request.POST)
            return self.act(
                back,
                lambda: issuing.take_back(
                    self.actor,
                    sale=back.cleaned_data["sale"],
                    reason=back.cleaned_data["reason"],
                    hold=back.cleaned_data["reason"] if back.cleaned_data.get("hold") else "",
                    **self._taken(id, back),
                ),
                lambda moved: f"/lots/{id}",
                lambda: self._page(id, back=back, status=422),
            )
        form = self._out(lot, request.POST)
        return self.act(
            form,
            lambda: self._take_out(id, form, lot),
            lambda moved: f"/lots/{id}",
            lambda: self._page(id, form=form, status=422),
        )

    def _take_out(self, id: UUID, form: OutForm, lot: dict[str, Any]) -> Moved:
        """One of the three verbs, by what becomes of it."""
        typed = form.cleaned_data
        if typed["whole"]:
            typed["quantity"] = _all_of(lot)
        taken = self._taken(id, form)
        if typed["way"] == SOLD:
            return issuing.sell(
                self.actor, customer=typed["reason"], deviation=typed["deviation"], **taken
            )
        if typed["way"] == BACK:
            return issuing.return_to_supplier(self.actor, reason=typed["reason"], **taken)
        return issuing.issue(self.actor, purpose=typed["way"], reason=typed["reason"], **taken)

    def _taken(self, id: UUID, form: LotForm) -> dict[str, Any]:
        typed = form.cleaned_data
        lines = [Taken(id, typed["quantity"])]
        return {"lines": lines, "happened_at": typed["happened_at"] or self.now}

    def _out(self, lot: dict[str, Any], data: Any = None) -> OutForm:
        return OutForm(data, reader=self.reader, counted=_counted(lot))

    def _back(self, id: UUID, lot: dict[str, Any], data: Any = None) -> BackForm:
        form = BackForm(data, reader=self.reader, counted=_counted(lot))
        if not self.actor.may(Verb.DECIDE):
            del form.fields["hold"]
        sales = entries_of(self.actor, EntriesWanted(kind="sale", lot=id)).order_by("-id")
        form.offer(
            "sale",
            [
                (str(one.id), f"{self.reader.day(one.happened_at)}, {one.details['customer']}")
                for one in sales[:MOST_SALES]
                if one.reversed_by is None  # type: ignore[attr-defined]
            ],
        )
        return form

    def _page(
        self,
        id: UUID,
        *,
        form: PageForm | None = None,
        back: BackForm | None = None,
        status: int = 200,
    ) -> HttpResponse:
        lot = show_lot(self.actor, id)
        back = back or self._back(id, lot)
        counted = _counted(lot)
        return self.show(
            lot=lot,
            counted=counted,
            in_store=_in_store(lot),
            form=form or self._out(lot),
            back=back,
            called_back=unanswered(self.actor).filter(lot_id=id).first(),
            any_sold=bool(back.fields["sale"].choices),  # type: ignore[attr-defined]
            status=status,
        )


def _counted(lot: dict[str, Any]) -> bool:
    return "count" in lot["on_hand"]


def _in_store(lot: dict[str, Any]) -> Decimal:
    return Decimal(lot["on_hand"]["count" if _counted(lot) else "grams"])


def _all_of(lot: dict[str, Any]) -> Quantity:
    """All that is there, to the last of its decimals. Raises QuantityNotPositive for nothing."""
    return parse_quantity(f"{_in_store(lot).normalize():f} {'each' if _counted(lot) else 'g'}")
