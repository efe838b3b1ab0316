"""What lies at shops: all of it, and what a shop tells of its month at once."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import takewhile
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import tables
from api.pages.forms import TEXT, MomentField, PageForm, QuantityField, Rows, WithRows, shown_again
from api.pages.leaving import AmountField
from api.pages.screen import Screen
from ledger import consigning
from ledger.access import Actor, lots_visible_to
from ledger.consigning import Consigned
from ledger.errors import Invalid, NotFound, Refusal
from ledger.issuing import Taken
from ledger.money import round_money
from ledger.roles import Verb

MOST, MOST_LINES, LONGEST = 200, 40, 400
FIRST = "00000000-0000-0000-0000-000000000000"


class AtShops(Screen):
    """All that lies at shops and is still the maker's own; with `shop` in the address, at one."""

    template = "pages/at_shops.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        shop = request.GET.get("shop")
        if shop is not None:
            return self._of_one(shop, None)
        return self._all(Sent(SendForm(reader=self.reader), self._rows({}, judged=False)))

    def post(self, request: HttpRequest) -> HttpResponse:
        self.actor.must(Verb.ISSUE)
        shop = request.GET.get("shop")
        if shop is None:
            return self._send(request)
        told = Told(MonthForm(request.POST, reader=self.reader), self._lines(shop, request.POST))
        return self.act(
            told,
            lambda: self._book(shop, told),
            lambda booked: "/at-shops",
            lambda: self._of_one(shop, told, status=422),
        )

    def _send(self, request: HttpRequest) -> HttpResponse:
        """Several lots to one shop, as one entry."""
        if request.POST.get("do") == "more":
            whole = shown_again(SendForm, request.POST, reader=self.reader)
            return self._all(Sent(whole, self._rows(request.POST, judged=False, more=2)))
        told = Sent(SendForm(request.POST, reader=self.reader), self._rows(request.POST))
        return self.act(
            told,
            lambda: consigning.consign(
                self.actor,
                shop=told.whole.cleaned_data["shop"],
                lines=told.lines(self.actor),
                happened_at=told.whole.cleaned_data["happened_at"] or self.now,
                reason=told.whole.cleaned_data["reason"],
            ),
            lambda moved: "/at-shops",
            lambda: self._all(told, status=422),
        )

    def _rows(self, data: Mapping[str, str], *, judged: bool = True, more: int = 0) -> Rows:
        return Rows(SentForm, "lines", data, reader=self.reader, judged=judged, more=more)

    def _all(self, sending: "Sent", *, status: int = 200) -> HttpResponse:
        return self.show(
            files={"": self._table},
            found=consigning.consigned(self.actor, limit=MOST),
            sending=sending,
            opened=self.request.method == "POST",
            may=self.actor.may(Verb.ISSUE),
            status=status,
        )

    def _book(self, shop: str, told: "Told") -> None:
        """One sale of all that was sold, and one return of all that came back."""
        typed = told.whole.cleaned_data
        about: dict[str, Any] = {"shop": shop, "happened_at": typed["happened_at"] or self.now}
        if not told.sold and not told.back:
            raise Invalid(said("Write beside a lot how much was sold or came back."))
        if told.sold:
            told.booking = "sold"
            consigning.sell_consigned(
                self.actor,
                lines=[line.taken("sold") for line in told.sold],
                customer=typed["customer"],
                deviation=typed["deviation"],
                **about,
            )
        if told.back:
            told.booking = "back"
            consigning.bring_back(
                self.actor,
                lines=[line.taken("back") for line in told.back],
                reason=typed["reason"],
                **about,
            )

    def _there(self, shop: str) -> list[Consigned]:
        """What lies at one shop. Raises NotFound where nothing does."""
        rows = consigning.consigned(self.actor, after=(shop, FIRST), limit=MOST_LINES + 1)
        found = list(takewhile(lambda one: one.shop == shop, rows))
        if not found:
            raise NotFound
        return found

    def _lines(self, shop: str, data: Any = None) -> list["LineForm"]:
        return [
            LineForm(data, reader=self.reader, row=row, prefix=str(row.lot_id))
            for row in self._there(shop)[:MOST_LINES]
        ]

    def _of_one(self, shop: str, told: "Told | None", *, status: int = 200) -> HttpResponse:
        found = self._there(shop)
        facts = {
            "shop": shop,
            "more": len(found) > MOST_LINES,
            "told": told or Told(MonthForm(reader=self.reader), self._lines(shop)),
            "may": self.actor.may(Verb.ISSUE),
        }
        return self.render("pages/at_shop.html", facts, status)

    def _table(self) -> tables.Table:
        costs = self.actor.may(Verb.SEE_COSTS)
        columns = [said("Shop"), said("Lot"), said("Material"), said("Use by"), said("Status")]
        columns += [said("Quantity"), said("Unit")]
        columns += [f"{said('Worth')}, {self.actor.currency}"] if costs else []
        rows = consigning.consigned(self.actor, limit=tables.MOST_ROWS + 1)
        cells = (
            (
                *(one.shop, one.code, one.material_name, one.until, one.status),
                *(one.quantity, tables.unit_of(one.counted)),
                *((round_money(one.value, self.actor.currency),) if costs else ()),
            )
            for one in rows
        )
        return tables.Table("at-shops", columns, cells)


class SentForm(PageForm):
    """One lot that goes to a shop, by its code."""

    lot = forms.CharField(label=_("Lot"), max_length=TEXT, help_text=_("Its code, such as NB8"))
    quantity = QuantityField(label=_("How much"), help_text=_("Such as 12 pieces"))


class SendForm(PageForm):
    shop = forms.CharField(
        label=_("To which shop"), max_length=120, help_text=_("Your own reference of it")
    )
    happened_at = MomentField(label=_("When"), required=False, help_text=_("Left empty: just now"))
    reason = forms.CharField(label=_("Note"), max_length=LONGEST, required=False)


class Sent(WithRows):
    """What goes to a shop: the shop, and its lots, sent as one."""

    def lines(self, actor: Actor) -> list[Taken]:
        """The lots by their codes. Raises Invalid at one that is not there."""
        typed = [form.cleaned_data for form in self.rows.filled]
        codes = [one["lot"].strip() for one in typed]
        known = dict(lots_visible_to(actor).filter(code__in=codes).values_list("code", "id"))
        for place, code in enumerate(codes):
            if code not in known:
                raise Invalid(said("There is no lot of this code."), pointer=f"/lines/{place}/lot")
        return [Taken(known[code], one["quantity"]) for code, one in zip(codes, typed, strict=True)]


class LineForm(PageForm):
    """One lot at the shop: how much of it was sold, and how much came back."""

    sold = AmountField(label=_("Sold"), required=False)
    back = AmountField(label=_("Came back"), required=False)

    def __init__(self, *args: Any, row: Consigned, **how: Any) -> None:
        super().__init__(*args, **how)
        self.row = row
        for field in self.fields.values():
            field.counted = row.counted  # type: ignore[attr-defined]

    def taken(self, name: str) -> Taken:
        return Taken(self.row.lot_id, self.cleaned_data[name])


class MonthForm(PageForm):
    """When, to whom and why, of all that a shop has told."""

    happened_at = MomentField(label=_("When"), required=False, help_text=_("Left empty: just now"))
    customer = forms.CharField(
        label=_("Who bought it"),
        max_length=120,
        required=False,
        help_text=_("Left empty, the shop is told if it must be called back"),
    )
    reason = forms.CharField(
        label=_("Why it came back"), max_length=LONGEST, required=False, help_text=_("If some did")
    )
    deviation = forms.CharField(
        label=_("Reason, if a rule is not kept"),
        max_length=LONGEST,
        required=False,
        help_text=_("Such as selling what is past its day"),
    )


@dataclass(slots=True)
class Told:
    """What a shop has told of all that lay there, sent as one; `booking` is what is at work."""

    whole: MonthForm
    lines: Sequence[LineForm]
    booking: str = "sold"

    @property
    def sold(self) -> list[LineForm]:
        return [line for line in self.lines if line.cleaned_data.get("sold")]

    @property
    def back(self) -> list[LineForm]:
        return [line for line in self.lines if line.cleaned_data.get("back")]

    def is_valid(self) -> bool:
        right = all([self.whole.is_valid(), *(line.is_valid() for line in self.lines)])
        if right and self.back and not self.whole.cleaned_data["reason"]:
            self.whole.add_error("reason", said("Say why it came back."))
            return False
        return right

    def refuse(self, refusal: Refusal) -> None:
        """Show a refusal at the lot that its pointer counts to, or above them all."""
        of, place, *_rest = [*refusal.pointer.strip("/").split("/"), "", ""]
        lines = self.sold if self.booking == "sold" else self.back
        if of == "lines" and place.isdecimal() and int(place) < len(lines):
            lines[int(place)].add_error(self.booking, refusal.detail)
        else:
            self.whole.refuse(refusal)
