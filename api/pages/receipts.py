"""Receiving: a delivery as it stands on its note, worked out while it is typed."""

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any, ClassVar, Final
from urllib.parse import urlencode

from django import forms
from django.db.models.functions import Lower
from django.http import HttpRequest, HttpResponse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages.delivery_working import Working, so_far, unread_of
from api.pages.forms import (
    LONG,
    TEXT,
    CertificateField,
    DayField,
    DensityField,
    MomentField,
    MoneyField,
    PageForm,
    Rows,
    SureField,
    WithRows,
    id_in,
    local,
    shown_again,
    unsure,
)
from api.pages.lot_places import PlaceField, places_to_choose
from api.pages.packs import SeveralField
from api.pages.reader import Reader
from api.pages.screen import Screen
from api.pages.unread import unread
from ledger import order_reading, receiving
from ledger.access import materials_visible_to, suppliers_visible_to
from ledger.costing import Charge, ChargeKind, SpreadBy
from ledger.deliveries import Delivery, File, receive_delivery, unknown_names
from ledger.models import Lot, PurchaseOrder, Receipt, Status
from ledger.ordering import order_for
from ledger.receiving import Delivered
from ledger.roles import Verb

# Names that a browser is given to choose from; the rest can be typed all the same.
MOST_NAMES = 300
# What came longer ago than this is mostly a slip in the year, and all books since would change.
LONG_AGO: Final = timedelta(days=366)
# A lot whose density lies further from its material's, either way, is mostly a slip of the point.
FAR_OFF: Final = Decimal("1.25")
CHARGES = {"freight": ChargeKind.FREIGHT, "duty": ChargeKind.DUTY, "other": ChargeKind.OTHER}


class LineForm(PageForm):
    called: ClassVar = {"/order_line": "material"}
    material = forms.CharField(
        label=_("What came"),
        max_length=200,
        widget=forms.TextInput(attrs={"list": "materials", "autocomplete": "off"}),
        error_messages={"required": _("What came?")},
    )
    quantity = SeveralField(
        label=_("How much"),
        help_text=_("As the note says it: 4 gal, 2 x 5 kg, 60 pieces"),
        error_messages={"required": _("How much of it came?")},
    )
    price = MoneyField(
        label=_("Price of this line"),
        error_messages={"required": _("What does it cost? Write 0 if it was free.")},
    )
    supplier_lot = forms.CharField(
        label=_("Their lot number"),
        max_length=TEXT,
        help_text=_("Must be there: a recall of theirs names it"),
        error_messages={"required": _("Which lot of theirs is it? If it has none, say so here.")},
    )
    expires_on = DayField(label=_("Use by"), required=False)
    retest_on = DayField(
        label=_("Retest on"),
        required=False,
        help_text=_("From then on it is tested again before it is used"),
    )
    density = DensityField(
        label=_("Density of this lot"), required=False, help_text=_("If the certificate gives it")
    )
    place = PlaceField(label=_("Where it goes"), required=False)
    order_line = forms.CharField(max_length=TEXT, required=False, widget=forms.HiddenInput)

    def line(self) -> Delivered:
        typed = self.cleaned_data
        known = {name: typed[name] or None for name in ("order_line", "place")}
        return Delivered(**{**typed, **known})


class DeliveryForm(PageForm):
    called: ClassVar = {"/release/basis": "basis", "/order": "supplier"}
    supplier = forms.CharField(
        label=_("From whom"),
        max_length=120,
        widget=forms.TextInput(attrs={"list": "suppliers", "autocomplete": "off"}),
        error_messages={"required": _("Who sent it?")},
    )
    new_supplier = forms.BooleanField(label=_("This supplier is new"), required=False)
    happened_at = MomentField(label=_("When it came"), required=False)
    reference = forms.CharField(label=_("Number of the note"), max_length=LONG, required=False)
    condition = forms.CharField(
        label=_("How it arrived"), max_length=LONG, required=False, help_text=_("Dry, sealed, cold")
    )
    freight = MoneyField(label=_("Freight"), required=False)
    duty = MoneyField(label=_("Duty"), required=False, help_text=_("What customs took"))
    other = MoneyField(label=_("Anything else that was paid"), required=False)
    tax = MoneyField(
        label=_("Tax that does not come back"),
        required=False,
        help_text=_("Shared out by price, whatever the weight"),
    )
    spread_by = forms.ChoiceField(
        label=_("Share these out by"),
        required=False,
        choices=[(SpreadBy.MASS, _("weight")), (SpreadBy.VALUE, _("price"))],
        widget=forms.RadioSelect,
    )
    certificate = CertificateField(label=_("Certificate, as a photo or PDF"), required=False)
    basis = forms.CharField(
        label=_("Release at once, because"),
        max_length=400,
        required=False,
        help_text=_("Left empty, the lots wait in quarantine"),
    )
    order = forms.CharField(max_length=TEXT, required=False, widget=forms.HiddenInput)
    sure = SureField()

    def ask_once(self, now: datetime, lots: Iterable[Lot], before: Receipt | None) -> None:
        """Ask about what is mostly a slip, unless that was said: a day, a density, or a note that
        came `before`."""
        if self.cleaned_data["sure"]:
            return
        came = self.cleaned_data["happened_at"]
        doubts = [question for lot in lots if (question := _odd_density(lot, self.reader))]
        if before is not None:
            told = said("A delivery with this note came on %(day)s. Is this another one?")
            doubts.insert(0, told % {"day": self.reader.day(before.happened_at)})
        if came and came < now - LONG_AGO:
            told = said("It came on %(day)s, more than a year ago? All books since then change.")
            doubts.insert(0, told % {"day": self.reader.day(came)})
        if doubts:
            raise unsure(" ".join(doubts))


class Forms(WithRows):
    """The note and its lines, sent as one."""

    def told(self, now: datetime) -> Delivery:
        """The delivery that the valid forms tell of."""
        typed = self.whole.cleaned_data
        file = typed["certificate"]
        return Delivery(
            supplier=typed["supplier"],
            new_supplier=typed["new_supplier"],
            lines=[form.line() for form in self.rows.filled],  # type: ignore[attr-defined]
            charges=_charges(typed),
            happened_at=typed["happened_at"] or now,
            release_basis=typed["basis"] or None,
            reference=typed["reference"],
            condition=typed["condition"],
            certificate=file and File(file.name, file.content_type or "", file.read()),
            order=typed["order"] or None,
        )


def _charges(typed: dict[str, Any]) -> list[Charge]:
    """What was paid on top. A tax is a part of the price, however heavy the goods are."""
    spread = SpreadBy(typed.get("spread_by") or SpreadBy.MASS)
    told = [Charge(kind, typed[name], spread) for name, kind in CHARGES.items() if typed.get(name)]
    if typed.get("tax"):
        told.append(Charge(ChargeKind.TAX, typed["tax"], SpreadBy.VALUE))
    return told


def _odd_density(lot: Lot, reader: Reader) -> str:
    """What is asked of a lot whose own density is far from that of its material; mostly nothing."""
    own, usual = lot.density, lot.material.density
    if own is None or usual is None or usual / FAR_OFF <= own <= usual * FAR_OFF:
        return ""
    facts = {"name": lot.material.name, "own": reader.number(own), "usual": reader.number(usual)}
    told = said("A millilitre of this %(name)s weighs %(own)s g, and otherwise %(usual)s g?")
    return told % facts


class Receive(Screen):
    """One delivery. While it is typed, htmx asks for the working alone."""

    template = "pages/receive.html"
    fragment = "pages/receive_typed.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        self.actor.must(Verb.RECEIVE)
        first = {"happened_at": local(self.now, self.reader), "spread_by": SpreadBy.MASS}
        wanted = self._wanted(request)
        if id_in(request.GET.get("order", "")):
            told = order_for(self.actor, request.GET["order"])
            first |= {"order": told.id, "supplier": told.supplier.name}
            wanted = _ordered(told, self.reader)
        lines = Rows(LineForm, "lines", wanted, reader=self.reader, judged=False)
        forms = Forms(DeliveryForm(reader=self.reader, initial=first), lines)
        return self._forms(forms, working=self._working(wanted))

    def post(self, request: HttpRequest) -> HttpResponse:
        do = request.POST.get("do", "")
        if do in {"look", "more"}:
            delivery = shown_again(DeliveryForm, request.POST, reader=self.reader)
            forms = Forms(delivery, self._lines(judged=False, more=int(do == "more")))
            return self._forms(forms, working=self._working(request.POST))
        judged = DeliveryForm(request.POST, request.FILES, reader=self.reader)
        forms = Forms(judged, self._lines(judged=True))
        self._name_what_is_unknown(forms)
        return self.act(
            forms,
            lambda: self._receive(judged, forms.told(self.now)),
            self._afterwards,
            lambda: self._forms(forms, working=self._working(request.POST), status=422, part=False),
        )

    def _name_what_is_unknown(self, forms: Forms) -> None:
        """Show every name that nothing has, beside whatever else is wrong."""
        forms.is_valid()
        filled, whole = forms.rows.filled, forms.whole.cleaned_data
        supplier = "" if whole.get("new_supplier") else whole.get("supplier", "")
        materials = [form.cleaned_data.get("material", "") for form in filled]
        for refusal in unknown_names(self.actor, supplier, materials):
            if refusal.pointer != "/supplier":
                name = materials[int(refusal.pointer.split("/")[2])]
                refusal.detail = _add_it(name)
            forms.refuse(refusal)

    def _receive(self, form: DeliveryForm, delivery: Delivery) -> receiving.Received:
        received = receive_delivery(self.actor, delivery)
        before = receiving.noted_before(self.actor, received.receipt)
        form.ask_once(self.now, received.lots, before)
        return received

    def _afterwards(self, received: receiving.Received) -> str:
        """The receipt says what things cost; whoever may not see that goes on to the lots."""
        costs = self.actor.may(Verb.SEE_COSTS)
        return f"/receipts/{received.receipt.id}" if costs else "/lots"

    def _lines(self, *, judged: bool, more: int = 0) -> Rows:
        data = self.request.POST
        return Rows(LineForm, "lines", data, reader=self.reader, judged=judged, more=more)

    def _wanted(self, request: HttpRequest) -> dict[str, str]:
        """The materials that the page before asked for, a line for each."""
        asked = request.GET.getlist("material")[: Rows.MOST]
        ids = dict.fromkeys(id for one in asked if (id := id_in(one)))
        known = materials_visible_to(self.actor).filter(id__in=ids).values_list("id", "name")
        names = {str(id): name for id, name in known} if ids else {}
        found = [names[id] for id in ids if id in names]
        lines = {f"lines-{place}-material": name for place, name in enumerate(found)}
        return {"lines": str(len(found)), **lines} if found else {}

    def _forms(
        self, forms: Forms, *, working: Any = None, status: int = 200, part: bool = True
    ) -> HttpResponse:
        facts: dict[str, Any] = {"form": forms.whole, "lines": forms.rows, "working": working}
        if part and self.request.headers.get("HX-Request"):
            return self.render(self.fragment, facts, status)
        names = materials_visible_to(self.actor).filter(stocked=True).order_by(Lower("name"))
        facts["materials"] = list(names.values_list("name", flat=True)[:MOST_NAMES])
        sellers = suppliers_visible_to(self.actor).order_by(Lower("name"))
        facts["suppliers"] = list(sellers.values_list("name", flat=True)[:MOST_NAMES])
        # What comes waits, or is released at once.
        known = places_to_choose(self.actor, Status.QUARANTINE, Status.RELEASED)
        for row in forms.rows.forms:
            row.offer("place", known)
        return self.render(self.template, facts, status)

    def _working(self, data: Mapping[str, str]) -> Working:
        """What the lines that can be read so far come to."""
        typed = DeliveryForm(data, reader=self.reader)
        typed.is_valid()
        forms = Rows(LineForm, "lines", data, reader=self.reader).filled
        lines = {str(form.prefix): line for form in forms if (line := so_far(form)) is not None}
        reasons = unread_of(forms) + unread(typed, *CHARGES, "tax")
        priced = all("price" in form.cleaned_data for form in forms) and len(lines) == len(forms)
        charges = _charges(typed.cleaned_data)
        return Working.of(self, lines, charges, reasons, costed=priced and not reasons)


def _add_it(material: str) -> SafeString:
    """What to do about a name that nothing has; what was typed here stays, in its own tab."""
    link = format_html(
        '<a href="/materials/new?{}" target="_blank">{}</a>',
        urlencode({"q": material}),
        said("add it in a new tab"),
    )
    return format_html(
        said("No material is called {name}: choose one from the list, or {link} and come back."),
        name=material,
        link=link,
    )


def _ordered(order: PurchaseOrder, reader: Reader) -> dict[str, str]:
    """What is still to come of an order, as the lines of its delivery."""
    (told,) = order_reading.told([order])
    left = [one for one in told.lines if one.standing.any_left]
    typed = {"lines": str(max(1, len(left)))}
    for place, one in enumerate(left):
        whole = one.standing.quantity == one.standing.ordered
        typed |= {
            f"lines-{place}-material": one.line.material.name,
            f"lines-{place}-order_line": str(one.line.id),
            f"lines-{place}-quantity": reader.typed(
                one.standing.quantity, one.line.material.counted
            ),
        }
        if whole:
            # Of a part of it, nobody has said what that costs.
            typed[f"lines-{place}-price"] = reader.amount(one.standing.price)
    return typed
