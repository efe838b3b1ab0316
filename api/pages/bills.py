"""Deliveries as they were kept, bills and credit notes that came later, and a wrong one undone."""

from decimal import Decimal
from typing import Any, ClassVar, Final
from uuid import UUID

from django import forms
from django.db.models.functions import Lower
from django.http import HttpRequest, HttpResponse
from django.utils.functional import Promise
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import tables, words
from api.pages.forms import (
    TEXT,
    MomentField,
    MoneyField,
    PageForm,
    UndoReasonField,
    id_in,
)
from api.pages.screen import Screen
from api.pages.whole_numbers import page_in
from formulas.later_bills import batches_in
from formulas.undoing import undo
from ledger import billing, receiving
from ledger.access import day_of, suppliers_visible_to
from ledger.costing import ChargeKind, SpreadBy
from ledger.errors import Invalid, NotFound
from ledger.finding import called_like
from ledger.models import Bill
from ledger.money import round_money
from ledger.roles import Verb
from ledger.round_late_bills import handed_out_of

MOST, MOST_SUPPLIERS, LONGEST = 40, 200, 400
DEARER, CHEAPER, CREDIT = "dearer", "cheaper", "credit"
KINDS: Final[list[tuple[str, Promise | str]]] = [
    *words.CHARGES.items(),
    (DEARER, _("the price was higher than the note said")),
    (CHEAPER, _("the price was lower than the note said")),
    (CREDIT, _("a credit note")),
]
# The price of goods is that of one lot; what it is for the rest is another bill.
OF_ONE_LOT: Final = {DEARER, CHEAPER}


class BillForm(PageForm):
    kind = forms.ChoiceField(label=_("What it is for"), choices=KINDS, widget=forms.RadioSelect)
    amount = MoneyField(label=_("How much"), help_text=_("As it stands on the paper"))
    lot = forms.ChoiceField(label=_("For which lot"), required=False)
    spread_by = forms.ChoiceField(
        label=_("Share it out by"),
        required=False,
        choices=[(SpreadBy.MASS, _("weight")), (SpreadBy.VALUE, _("price"))],
        initial=SpreadBy.MASS,
        widget=forms.RadioSelect,
    )
    supplier = forms.CharField(
        label=_("Who sent the bill, if another"),
        max_length=120,
        required=False,
        widget=forms.TextInput(attrs={"list": "suppliers", "autocomplete": "off"}),
    )
    reference = forms.CharField(label=_("Number on the paper"), max_length=TEXT, required=False)
    reason = forms.CharField(label=_("Because"), max_length=LONGEST, required=False)
    happened_at = MomentField(label=_("When, if not now"), required=False)

    def clean(self) -> dict[str, Any]:
        typed = super().clean() or {}
        if typed.get("kind") in OF_ONE_LOT and not typed.get("lot"):
            self.add_error("lot", _("Which lot had another price?"))
        return typed


class UndoForm(PageForm):
    called: ClassVar = {"/entry": "reason"}

    reason = UndoReasonField(
        _("typed wrongly"),
        _("written twice"),
        _("wrong supplier"),
        label=_("What was wrong"),
        max_length=LONGEST,
    )

    def __init__(self, *args: Any, bill: UUID | None = None, **how: Any) -> None:
        """One for the delivery and one for each bill stand on the page, so ids tell them apart."""
        super().__init__(*args, auto_id=f"undo_{bill}_%s" if bill else "undo_%s", **how)


class Receipts(Screen):
    """Deliveries, the latest first."""

    template = "pages/receipts.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        rows = receiving.deliveries_of(self.actor)
        kind = tables.asked(request)
        if kind:
            return tables.file(kind, self._table(rows[: tables.MOST_ROWS + 1]))
        page = page_in(request.GET.get("page", ""))
        found = list(rows[page * MOST : (page + 1) * MOST + 1])
        return self.show(found=found[:MOST], page=page, more=len(found) > MOST)

    def _table(self, rows: Any) -> tables.Table:
        columns = [said("When"), said("From"), said("Number of the note"), said("Taken back")]
        columns += [f"{said('Paid')}, {self.actor.currency}"]
        cells = (
            (
                day_of(self.actor, row.happened_at),
                *(row.supplier.name, row.reference, said("yes") if row.undone else ""),
                round_money(row.total, self.actor.currency),
            )
            for row in rows
        )
        return tables.Table("deliveries", columns, cells)


class Receipt(Screen):
    """One delivery as it was kept: each lot, how its cost came about, and what was billed later."""

    template = "pages/receipt.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        return self._page(id)

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        if request.POST.get("do") == "undo":
            wrong = UndoForm(request.POST, reader=self.reader, bill=self._of_bill)
            return self.act(
                wrong,
                lambda: self._undo(id, wrong.cleaned_data["reason"]),
                lambda undone: f"/receipts/{id}",
                lambda: self._page(id, wrong=wrong, status=422),
            )
        form = self._form(receiving.receipt_for(self.actor, id), request.POST)
        return self.act(
            form,
            lambda: self._book(id, form.cleaned_data),
            lambda bill: f"/receipts/{id}",
            lambda: self._page(id, form=form, status=422),
        )

    def _book(self, id: UUID, typed: dict[str, Any]) -> Bill:
        kind, amount = typed["kind"], typed["amount"]
        charge = None if kind in {*OF_ONE_LOT, CREDIT} else ChargeKind(kind)
        of = Bill.Kind.LATE_CHARGE if charge else Bill.Kind.PRICE_CORRECTION
        wanted = billing.Wanted(
            kind=Bill.Kind.CREDIT_NOTE if kind == CREDIT else of,
            amount=-amount if kind == CHEAPER else amount,
            charge_kind=charge,
            spread_by=SpreadBy(typed["spread_by"] or SpreadBy.VALUE),
            lot=typed["lot"] or None,
            supplier=self._supplier(typed["supplier"]),
            reference=typed["reference"],
            reason=typed["reason"],
        )
        at = typed["happened_at"] or self.now
        return billing.book_bill(self.actor, receipt=id, bill=wanted, happened_at=at)

    def _supplier(self, name: str) -> UUID | None:
        """Who billed, by name. Raises Invalid for one that nobody knows."""
        if not name:
            return None
        known = called_like(suppliers_visible_to(self.actor), name).order_by("id").first()
        if known is None:
            raise Invalid(said("No supplier is called so: choose one."), pointer="/supplier")
        return UUID(str(known.id))

    def _undo(self, id: UUID, reason: str) -> Any:
        """The delivery, or one of its bills, is taken back whole."""
        bill = self.request.POST.get("bill", "")
        if bill:
            booked = {str(one.id): one.entry_id for one in billing.bills_of(self.actor, id)}
            if bill not in booked:
                raise NotFound
            entry = booked[bill]
        else:
            entry = receiving.receipt_for(self.actor, id).receipt.entry_id
        return undo(self.actor, entry=entry, reason=reason, happened_at=self.now)

    @property
    def _of_bill(self) -> UUID | None:
        """The bill that is taken back, where it is not the whole delivery."""
        id = id_in(self.request.POST.get("bill", ""))
        return UUID(str(id)) if id else None

    def _undoing(self, bill: Bill, wrong: PageForm | None) -> PageForm:
        """What takes a bill back: with what was typed, where that was refused."""
        if wrong and bill.id == self._of_bill:
            return wrong
        return UndoForm(reader=self.reader, bill=bill.id)

    def _form(self, kept: receiving.Kept, data: Any = None) -> BillForm:
        form = BillForm(data, reader=self.reader)
        lots = [
            (str(line.lot_id), f"{line.lot.code} {line.lot.material.name}") for line in kept.lines
        ]
        form.offer("lot", [("", said("all of this delivery")), *lots])
        return form

    def _page(
        self,
        id: UUID,
        *,
        form: BillForm | None = None,
        wrong: PageForm | None = None,
        status: int = 200,
    ) -> HttpResponse:
        self.actor.must(Verb.SEE_COSTS)
        kept = receiving.receipt_for(self.actor, id)
        bills = billing.bills_under(kept.receipt)
        batches = batches_in(self.actor, bills)
        undone = receiving.is_undone(self.actor, kept.receipt)
        may_bill = self.actor.may(Verb.BILL) and not undone
        of_bill = any(bill.id == self._of_bill for bill in bills)
        names = (
            suppliers_visible_to(self.actor).order_by(Lower("name")).values_list("name", flat=True)
        )
        return self.show(
            kept=kept,
            undone=undone,
            bills=[
                (bill, words_of(bill), *_fell(bill, batches), self._undoing(bill, wrong))
                for bill in bills
            ],
            rounds=handed_out_of(self.actor, kept.receipt),
            form=(form or self._form(kept)) if may_bill else None,
            wrong=wrong if wrong and not of_bill else UndoForm(reader=self.reader),
            may_undo=self.actor.may(Verb.REVERSE) and not undone,
            suppliers=list(names[:MOST_SUPPLIERS]) if may_bill else [],
            status=status,
        )


def words_of(bill: Bill) -> str:
    """What a bill was for."""
    if bill.kind == Bill.Kind.CREDIT_NOTE:
        return said("credit note")
    if bill.kind == Bill.Kind.PRICE_CORRECTION:
        return said("another price")
    return str(dict(KINDS)[bill.charge_kind])


def _fell(bill: Bill, batches: Any) -> tuple[Decimal, Decimal, list[tuple[UUID, str]]]:
    """What raised the cost of what is left, what fell on what was used, and the batches of that."""
    lines = list(bill.lines.all())
    to_stock = sum((line.to_stock for line in lines), Decimal(0))
    uses = [use for line in lines for use in line.uses.all()]
    found = [batches.get(use.entry_id) or batches.get(use.account_id) for use in uses]
    named = list(dict.fromkeys(batch for batch in found if batch))
    return to_stock, bill.amount - to_stock, named
