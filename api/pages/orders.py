"""Orders: what is needed week by week, the orders that were written, and each with its facts."""

from datetime import date, timedelta
from typing import Any, ClassVar
from uuid import UUID

from django import forms
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.utils.functional import Promise, cached_property
from django.utils.http import urlencode
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import tables
from api.pages.acts import Acts
from api.pages.forms import LONG, DayField, MoneyField, PageForm, QuantityField, id_in
from api.pages.order_writing import PacksField
from api.pages.screen import Screen
from api.pages.whole_numbers import page_in
from api.pages.workings import Line
from api.sheets.order import order_sheet
from formulas.requirements import Requirements, requirements
from ledger import order_reading, ordering
from ledger.access import day_of
from ledger.models import PurchaseOrder
from ledger.order_papers import paper_for
from ledger.roles import Verb

# Eight weeks, today included.
AHEAD = timedelta(days=55)
MOST_NEEDS, MOST = 60, 30
STATES = [("", _("all")), ("open", _("still to come")), ("late", _("late")), ("closed", _("done"))]
KINDS: dict[str, str | Promise] = {
    "sending": _("asked to be mailed"),
    "sent": _("mailed"),
    "corrected": _("corrected"),
    "ended": _("nothing more expected"),
}


class Needs(Screen):
    """What planned batches need, week by week, and what of it is not covered."""

    template = "pages/needs.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        today = day_of(self.actor, self.now)
        found = requirements(self.actor, now=self.now, until=today + AHEAD)
        kind = tables.asked(request)
        if kind:
            return tables.file(kind, _needs(found))
        rows = sorted(found.rows, key=lambda row: row.to_order == 0)
        page = page_in(request.GET.get("page", ""))
        shown = rows[page * MOST_NEEDS : (page + 1) * MOST_NEEDS]
        return self.show(
            needs=shown,
            weeks=shown[0].record.weeks if shown else (),
            more=page + 1 if len(rows) > (page + 1) * MOST_NEEDS else None,
            opened=self._in_full(found, request.GET.get("material", "")),
            any_short=any(row.to_order and row.record.formula is None for row in rows),
            may_plan=self.actor.may(Verb.SEE_OFFERS),
            may_make=self.actor.may(Verb.MAKE),
        )

    def _in_full(self, found: Requirements, asked: str) -> Any:
        """The material whose weeks are to be shown in full."""
        id = id_in(asked)
        return next((row for row in found.rows if str(row.material.id) == id), None)


class WantedForm(PageForm):
    state = forms.ChoiceField(label=_("That are"), required=False, choices=STATES)


class Orders(Screen):
    """The orders that were written, the latest first."""

    template = "pages/orders.html"
    fragment = "pages/orders_found.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        form = WantedForm(request.GET, reader=self.reader)
        state = form.cleaned_data["state"] if form.is_valid() else ""
        today = day_of(self.actor, self.now)
        wanted = order_reading.OrdersWanted(state or None)
        rows = order_reading.orders_of(self.actor, wanted, today=today).order_by("-id")
        kind = tables.asked(request)
        if kind:
            return tables.file(kind, self._table(rows))
        after = id_in(request.GET.get("after", ""))
        if after is not None:
            rows = rows.filter(id__lt=after)
        told = order_reading.told(rows[: MOST + 1])
        more = {"state": state, "after": str(told[MOST - 1].order.id)} if told[MOST:] else None
        return self.show(
            form=form,
            orders=[(one, _late(one, today)) for one in told[:MOST]],
            more=urlencode(more) if more else "",
            may_see_costs=self.actor.may(Verb.SEE_COSTS),
            may_order=self.actor.may(Verb.ORDER),
        )

    def _table(self, rows: "QuerySet[PurchaseOrder]") -> tables.Table:
        """Every line of the orders, whatever page is looked at."""
        priced = self.actor.may(Verb.SEE_COSTS)
        columns = [said("Order"), said("From"), said("Written"), said("Material")]
        columns += [said("Ordered"), said("Came"), said("Unit"), said("By")]
        columns += [f"{said('Price')}, {self.actor.currency}"] if priced else []
        cells = (
            (
                *(one.order.number, one.order.supplier.name),
                *(day_of(self.actor, one.order.written_at), line.line.material.name),
                *(line.standing.ordered, line.standing.received),
                *(tables.unit_of(line.line.material.counted), line.standing.expected_on),
                *((line.standing.price,) if priced else ()),
            )
            for one in order_reading.told(rows[: tables.MOST_ROWS + 1])
            for line in one.lines
        )
        return tables.Table("orders", columns, cells)


class SendingForm(PageForm):
    note = forms.CharField(label=_("A word to them, in the mail"), max_length=400, required=False)


class EndingForm(PageForm):
    called: ClassVar = {"/order_line": "line"}
    line = forms.ChoiceField(label=_("Of what"), required=False)
    reason = forms.CharField(label=_("Why"), max_length=LONG)


class CorrectionForm(PageForm):
    called: ClassVar = {"/order_line": "line", "": "packs"}
    line = forms.ChoiceField(label=_("Of what"))
    packs = PacksField(label=_("Packs"))
    pack = QuantityField(label=_("A pack holds"), required=False, help_text=_("Such as 5 kg"))
    price = MoneyField(
        label=_("Price"), required=False, help_text=_("Of the line in all, as it is now")
    )
    expected_on = DayField(label=_("Comes on"), required=False)
    undated = forms.BooleanField(label=_("Nobody knows the day any more"), required=False)
    reason = forms.CharField(label=_("Why"), max_length=LONG)

    def __init__(self, *args: Any, **how: Any) -> None:
        # Another form of the page has fields of the same names.
        super().__init__(*args, auto_id="corrected_%s", **how)

    def changes(self) -> ordering.Changes:
        """What was typed; what is left empty stays."""
        names = ("packs", "pack", "price", "expected_on", "undated")
        return ordering.Changes(**{name: self.cleaned_data[name] for name in names})


class Order(Acts):
    """One order: its lines as they stand, and everything that was done about it, by its day."""

    template = "pages/order.html"
    forms: ClassVar = {
        "send": ("sending", SendingForm),
        "end": ("ending", EndingForm),
        "correct": ("correction", CorrectionForm),
    }

    def do(self, act: str, form: Any) -> str:
        id, typed = self.kwargs["id"], form.cleaned_data
        order: dict[str, Any] = {"order": id, "happened_at": self.now}
        match act:
            case "send":
                ordering.send_order(self.actor, **order, **typed)
            case "end":
                ordering.end_order(
                    self.actor, **order, line=typed["line"] or None, reason=typed["reason"]
                )
            case "correct":
                about = {"line": typed["line"], "reason": typed["reason"]}
                ordering.correct_line(self.actor, **order, **about, changes=form.changes())
        return f"/orders/{id}"

    @cached_property
    def told(self) -> order_reading.OrderTold:
        """The order, as it stands before anything is done."""
        (told,) = order_reading.told([ordering.order_for(self.actor, self.kwargs["id"])])
        return told

    def form(self, kind: type[PageForm], data: Any = None) -> PageForm:
        form: PageForm = super().form(kind, data)
        if "line" in form.fields:
            lines = [(str(one.line.id), one.line.material.name) for one in self.told.lines]
            whole = [("", said("the whole order"))] if kind is EndingForm else []
            form.offer("line", [*whole, *lines])
        return form

    def page(self, status: int = 200, **forms: Any) -> HttpResponse:
        told, today = self.told, day_of(self.actor, self.now)
        sent = [fact.happened_at for fact in told.facts if fact.kind in ("sending", "sent")]
        empty = {name: self.form(kind) for name, kind in self.forms.values()}
        return self.show(
            told=told,
            lines=[(one, one.late(today)) for one in told.lines],
            facts=[(fact, KINDS[fact.kind]) for fact in told.facts],
            sent_at=max(sent, default=None),
            agreed=_agreed(told, self.actor.currency),
            may_order=self.actor.may(Verb.ORDER),
            may_receive=self.actor.may(Verb.RECEIVE),
            may_see_costs=self.actor.may(Verb.SEE_COSTS),
            status=status,
            **(empty | forms),
        )


class OrderSheet(Screen):
    """The order as its supplier gets it, to print."""

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        sheet = order_sheet(paper_for(self.actor, id), printed_at=self.now, page="a4")
        return self.printed(sheet)


def _late(told: order_reading.OrderTold, today: date) -> bool:
    return any(line.late(today) for line in told.lines)


def _agreed(told: order_reading.OrderTold, currency: str) -> list[Line]:
    """What was agreed for each line, which is all that was agreed."""
    parts = [Line(one.line.material.name, one.standing.price, currency) for one in told.lines]
    return [Line(said("Agreed"), told.total, currency, parts=tuple(parts))]


def _needs(found: Requirements) -> tables.Table:
    """Every week of every material that is needed or low."""
    columns = [said("Material"), said("Unit"), said("Week from"), said("Needed"), said("To come")]
    columns += [said("Expires"), said("Short"), said("Then left"), said("Order then")]
    cells = (
        (
            *(row.material.name, tables.unit_of(row.material.counted), week.first, week.needed),
            *(week.netted.scheduled, week.expiring, week.netted.net, week.netted.projected),
            week.netted.release,
        )
        for row in found.rows
        for week in row.record.weeks
    )
    return tables.Table("needs", columns, cells)
