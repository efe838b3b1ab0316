"""Who owes whom: balances, a month's statement that opens to its movements, payments, clearing."""

import re
from datetime import date, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID

from django import forms
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import co_op_tables, side_tables, tables
from api.pages.closing import ClosingForm, close_once_sure, proposed
from api.pages.forms import (
    LONG,
    MomentField,
    MoneyField,
    PageForm,
    SureField,
    id_in,
    local,
    unsure,
)
from api.pages.screen import Screen
from ledger import coop_clearing, models, settling
from ledger.access import day_of
from ledger.closing import closings_of
from ledger.co_op_store import may_keep, name_store, store_keeper
from ledger.errors import NotFound
from ledger.months import month_of
from ledger.roles import Verb
from ledger.transferring import makers_of_coop

MOST, MOST_MAKERS, MOST_CLEARINGS, MOST_CLOSINGS = 60, 200, 12, 12
MONTH = re.compile(r"(?:19|20|21)\d\d-(?:0[1-9]|1[0-2])")
ZERO, A_YEAR = Decimal(0), timedelta(days=366)
WAYS = [("paid", _("I paid it")), ("received", _("I was paid"))]


class PaymentForm(PageForm):
    direction = forms.ChoiceField(label=_("Which way"), choices=WAYS, widget=forms.RadioSelect)
    maker = forms.ChoiceField(label=_("The other maker"))
    amount = MoneyField(label=_("How much"))
    happened_at = MomentField(label=_("When"), required=False)
    note = forms.CharField(
        label=_("How, and what for"), max_length=LONG, help_text=_("Such as: bank, for the drum")
    )
    sure = SureField()


class ClearingForm(PageForm):
    note = forms.CharField(label=_("Note"), max_length=LONG, required=False)


class StoreForm(PageForm):
    maker = forms.ChoiceField(label=_("Which maker keeps it"), required=False)

    def __init__(self, *args: Any, **how: Any) -> None:
        super().__init__(*args, auto_id="store_%s", **how)


class Settlement(Screen):
    """What each other maker owes; for the coordinator, where all stand and how to clear it."""

    template = "pages/settlement.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        return self._page()

    def post(self, request: HttpRequest) -> HttpResponse:
        data, reader, actor = request.POST, self.reader, self.actor
        match data.get("do"):
            case "clear":
                clearing = ClearingForm(data, reader=reader)
                return self.act(
                    clearing,
                    lambda: coop_clearing.clear_coop(
                        actor, happened_at=self.now, **clearing.cleaned_data
                    ),
                    lambda made: "/settlement",
                    lambda: self._page(clearing=clearing, status=422),
                )
            case "close":
                closing = ClosingForm(data, reader=reader)
                return self.act(
                    closing,
                    lambda: close_once_sure(actor, closing, day_of(actor, self.now)),
                    lambda made: "/settlement",
                    lambda: self._page(closing=closing, status=422),
                )
            case "store":
                store = self._store(data)
                return self.act(
                    store,
                    lambda: name_store(
                        actor, maker=store.cleaned_data["maker"] or None, now=self.now
                    ),
                    lambda keeper: "/settlement",
                    lambda: self._page(store=store, status=422),
                )
        payment = self._payment(data)
        return self.act(
            payment,
            lambda: self._pay(dict(payment.cleaned_data)),
            lambda movement: f"/movements/{movement.id}",
            lambda: self._page(payment=payment, status=422),
        )

    def _pay(self, typed: dict[str, Any]) -> Any:
        paid, sure = typed.pop("direction") == "paid", typed.pop("sure")
        typed["happened_at"] = typed["happened_at"] or self.now
        if not sure and typed["amount"]:
            self._ask_once(typed, paid=paid)
        return settling.record_payment(self.actor, paid=paid, **typed)

    def _ask_once(self, typed: dict[str, Any], *, paid: bool) -> None:
        """Raises Invalid for what is mostly a slip: more than is owed so, or of long ago."""
        way = -1 if paid else 1
        # What is disputed may be paid or left; a clearing leaves it.
        owed = {
            str(one.other): max(one.amount * way, one.undisputed * way)
            for one in settling.balances_of(self.actor)
        }
        so = owed.get(typed["maker"], ZERO)
        odd = []
        if typed["amount"] > max(so, ZERO):
            told = said("You owe them less: %s.") if paid else said("They owe you less: %s.")
            odd.append(told % self.reader.money(max(so, ZERO)))
        if typed["happened_at"] < self.now - A_YEAR:
            told = said("%s is more than a year ago.")
            odd.append(told % self.reader.day(typed["happened_at"]))
        if odd:
            raise unsure(" ".join([*odd, said("Is it so?")]))

    def _closings(self) -> list[models.Closing]:
        """The periods that are closed, the latest first."""
        rows = closings_of(self.actor).select_related("person").order_by("-closed_on")
        return list(rows[:MOST_CLOSINGS])

    def _payment(self, data: Any = None) -> PaymentForm:
        # Which way it went is never guessed: whoever books it the wrong way round owes twice.
        asked: dict[str, Any] = {"maker": self.request.GET.get("maker", "")}
        asked["happened_at"] = local(self.now, self.reader)
        form = PaymentForm(data, reader=self.reader, initial=asked)
        makers = makers_of_coop(self.actor).exclude(id=self.actor.maker).order_by("name")
        choices = [(str(id), name) for id, name in makers.values_list("id", "name")[:MOST_MAKERS]]
        form.offer("maker", [("", said("Choose one")), *choices] if choices else [])
        return form

    def _store(self, data: Any = None, **how: Any) -> StoreForm:
        form = StoreForm(data, reader=self.reader, **how)
        makers = may_keep(self.actor).values_list("id", "name")[:MOST_MAKERS]
        form.offer("maker", [("", said("none")), *((str(id), name) for id, name in makers)])
        return form

    def _page(self, *, status: int = 200, **forms: PageForm) -> HttpResponse:
        actor, reader = self.actor, self.reader
        clearings = list(coop_clearing.clearings_of(actor).order_by("-id")[:MOST_CLEARINGS])
        due = coop_clearing.payments_of(actor, clearings)
        shown: dict[str, Any] = {"cleared": [(one, due.get(one.id, [])) for one in clearings]}
        shown["keeper"] = keeper = store_keeper(actor)
        if actor.maker_id is None:
            clearing = forms.get("clearing") or ClearingForm(reader=reader)
            proposal = coop_clearing.propose(actor)
            names = {one.maker: one.name for one in proposal.positions}
            ways = [(names[one.payer], names[one.payee], one.amount) for one in proposal.payments]
            shown |= {"proposal": proposal, "ways": ways, "clearing": clearing}
            kept = {"maker": str(keeper.id)} if keeper else {}
            shown["store"] = forms.get("store") or self._store(initial=kept)
            money = actor.currency
            files: tables.Files = {
                "": lambda: co_op_tables.owed(proposal.positions, money),
                "ways": lambda: co_op_tables.payments(ways, money),
            }
            return self.filed(files) or self.render("pages/clearing.html", shown, status)
        may_settle, today = actor.may(Verb.SETTLE), day_of(actor, self.now)
        balances = settling.balances_of(actor)
        closings = self._closings() if actor.may(Verb.CLOSE) else []
        first = {"closed_on": proposed(today, closings[0].closed_on if closings else None)}
        return self.show(
            **shown,
            files={"": lambda: co_op_tables.owing(balances, actor.currency)},
            balances=balances,
            payment=(forms.get("payment") or self._payment()) if may_settle else None,
            closing=forms.get("closing") or ClosingForm(reader=reader, initial=first),
            closings=closings,
            may_close=actor.may(Verb.CLOSE),
            status=status,
        )


class Statement(Screen):
    """One month: what was owed before, every movement, and what is owed after it."""

    template = "pages/statement.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        asked = request.GET.get("month", "")
        day = day_of(self.actor, self.now)
        if asked and not MONTH.fullmatch(asked):
            raise NotFound
        if asked:
            day = date.fromisoformat(f"{asked}-01")
        other, after = id_in(request.GET.get("maker", "")), id_in(request.GET.get("after", ""))
        told = month_of(self.actor, day, other=UUID(other) if other else None)
        rows = settling.movements_of(
            self.actor, since=told.first, until=told.last, other=UUID(other) if other else None
        ).order_by("id")
        kind = tables.asked(request)
        if kind and not tables.which(request):
            return tables.file(kind, self._table(told.first, rows[: tables.MOST_ROWS + 1]))
        if after is not None:
            rows = rows.filter(id__gt=after)
        found = list(rows[: MOST + 1])
        return self.show(
            files={"balances": lambda: side_tables.balances(told, self.actor.currency)},
            month=told,
            movements=settling.seen_by(self.actor, found[:MOST]),
            more=found[MOST - 1].id if found[MOST:] else None,
            before=told.first - timedelta(days=1),
            following=told.last + timedelta(days=1),
            maker=other or "",
            keeper=store_keeper(self.actor),
        )

    def _table(self, first: date, rows: "QuerySet[models.Movement]") -> tables.Table:
        """Every movement of the month, whatever page is looked at."""
        columns = [said("On"), said("Kind"), said("Goods"), said("With"), said("Note")]
        columns += [said("Disputed")]
        columns += [f"{said('Amount')}, {self.actor.currency}"]
        cells = (
            (
                *(one.movement.happened_on, one.movement.kind, one.goods),
                *(one.name, one.movement.note),
                *(one.dispute.reason if one.dispute else "", one.amount),
            )
            for one in settling.seen_by(self.actor, list(rows))
        )
        return tables.Table(f"statement-{first:%Y-%m}", columns, cells)


class ReasonForm(PageForm):
    reason = forms.CharField(label=_("Why"), max_length=LONG)


class Movement(Screen):
    """One change of what two makers owe each other: what it was, disputed or taken back."""

    template = "pages/movement.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        return self._page(id)

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        form, do = ReasonForm(request.POST, reader=self.reader), request.POST.get("do")
        return self.act(
            form,
            lambda: self._done(id, do, form.cleaned_data["reason"]),
            lambda movement: f"/movements/{movement.id}",
            lambda: self._page(id, form=form, status=422),
        )

    def _done(self, id: UUID, do: str | None, reason: str) -> Any:
        if do == "undo":
            return settling.undo_payment(
                self.actor, movement=id, reason=reason, happened_at=self.now
            )
        return settling.dispute(self.actor, movement=id, reason=reason, stands=do != "agree")

    def _page(self, id: UUID, *, form: PageForm | None = None, status: int = 200) -> HttpResponse:
        (one,) = settling.seen_by(self.actor, [settling.movement_for(self.actor, id)])
        own = one.dispute is not None and one.dispute.maker_id == self.actor.maker
        return self.show(
            one=one,
            own_dispute=own,
            form=form or ReasonForm(reader=self.reader),
            may_settle=self.actor.may(Verb.SETTLE),
            may_undo=one.movement.kind == "payment" and one.movement.reverses_id is None,
            status=status,
        )
