"""Ordering together: rounds, what a maker pledges in one, and what came of it for that maker."""

from collections.abc import Iterable, Mapping
from datetime import timedelta
from decimal import Decimal
from typing import Any, ClassVar
from uuid import UUID

from django import forms
from django.db.models.functions import Lower
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.far_days import refuse_far
from api.pages import co_op_tables, tables
from api.pages.acts import Acts
from api.pages.forms import (
    LONG,
    Button,
    MomentField,
    MoneyField,
    PageForm,
    QuantityField,
    SureField,
    id_in,
    local,
    unsure,
)
from api.pages.round_workings import charged, worked_out
from api.pages.screen import Screen
from ledger import rounds
from ledger.access import day_of, materials_visible_to, suppliers_visible_to
from ledger.co_op_store import store_keeper
from ledger.finding import material_named
from ledger.models import OrderRound
from ledger.progress import reached
from ledger.roles import Verb
from ledger.round_buyers import answer_as_buyer, ask_another, asked_in
from ledger.round_charges import Charged, charges_of
from ledger.round_ordering import place_orders
from ledger.round_results import MakerResult, Result, result_of
from ledger.round_trouble import trouble_of
from ledger.round_waiting import waits_to_be_handed_out

MOST, MOST_NAMES, MOST_MAKERS = 30, 300, 200
# A round that closes later is mostly a slip.
A_WEEK, YEARS = timedelta(days=7), 1


class OpenForm(PageForm):
    name = forms.CharField(label=_("What it is called"), max_length=120)
    closes_at = MomentField(label=_("Makers may pledge until"))
    buyer = forms.ChoiceField(label=_("Who orders for all and receives"))
    note = forms.CharField(label=_("A word to all"), max_length=LONG, required=False)
    budget = MoneyField(
        label=_("The most that all orders may come to"),
        required=False,
        help_text=_("If they come to more, nothing is ordered"),
    )
    without = forms.MultipleChoiceField(
        label=_("Not from these suppliers"),
        required=False,
        help_text=_("Neither together nor by anybody alone"),
    )


class Rounds(Screen):
    """The rounds of the co-op, the newest first, and opening one."""

    template = "pages/rounds.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        return self._page(self._form() if self._may_open() else None)

    def post(self, request: HttpRequest) -> HttpResponse:
        form = self._form(request.POST)
        return self.act(
            form,
            lambda: self._open(form.cleaned_data),
            lambda opened: f"/order-rounds/{opened.id}",
            lambda: self._page(form, status=422),
        )

    def _open(self, typed: dict[str, Any]) -> OrderRound:
        today = day_of(self.actor, self.now)
        refuse_far(day_of(self.actor, typed["closes_at"]), today, YEARS, "/closes_at")
        return rounds.open_round(self.actor, now=self.now, **typed)

    def _may_open(self) -> bool:
        return self.actor.may(Verb.RUN_ROUNDS)

    def _form(self, data: Any = None) -> OpenForm:
        first = {"closes_at": local(self.now + A_WEEK, self.reader)}
        form = OpenForm(data, reader=self.reader, initial=first)
        makers = rounds.buyers_for(self.actor).values_list("id", "name")[:MOST_MAKERS]
        sellers = suppliers_visible_to(self.actor).order_by("name").values_list("id", "name")
        form.offer("without", [(str(id), name) for id, name in sellers[:MOST_MAKERS]])
        form.offer("buyer", [(str(id), name) for id, name in makers])
        return form

    def _page(self, form: PageForm | None, *, status: int = 200) -> HttpResponse:
        rows = every = rounds.rounds_of(self.actor).order_by("-id")
        after = id_in(self.request.GET.get("after", ""))
        if after is not None:
            rows = rows.filter(id__lt=after)
        found = list(rows[: MOST + 1])
        return self.show(
            files={"": lambda: co_op_tables.all_rounds(self._told(every[: tables.MOST_ROWS + 1]))},
            form=form,
            rounds=self._told(found[:MOST]),
            more=found[MOST - 1].id if found[MOST:] else None,
            status=status,
        )

    def _told(self, rows: Iterable[OrderRound]) -> list[tuple[OrderRound, str]]:
        """The rounds, each with how far it is."""
        return [(row, rounds.state_of(row, self.now)) for row in rows]


class PledgeForm(PageForm):
    material = forms.CharField(
        label=_("What"),
        max_length=200,
        widget=forms.TextInput(attrs={"list": "materials", "autocomplete": "off"}),
    )
    quantity = QuantityField(label=_("How much"), required=False, help_text=_("Such as 12 kg"))
    highest_price = MoneyField(
        label=_("At most, for a kilogram or piece"),
        required=False,
        help_text=_("Freight included; above it you take no part. Nobody else sees it."),
    )
    takes_leftover = forms.BooleanField(
        label=_("Take what is left of packs, at what the goods cost"),
        required=False,
        help_text=_("Without a quantity as well, as the co-op's store does"),
    )
    use_per_month = QuantityField(
        label=_("What you use a month"),
        required=False,
        help_text=_("So that no more is left over from packs than all use before it expires"),
    )

    def __init__(self, *args: Any, **how: Any) -> None:
        super().__init__(*args, **how)
        if self.reader.us:
            self.fields["highest_price"].label = _("At most, for a pound or piece")


class CloseForm(Button):
    sure = SureField()


class WithdrawForm(Button):
    material = forms.CharField(widget=forms.HiddenInput, required=False)


class LeaveForm(Button):
    reason = forms.CharField(widget=forms.HiddenInput, required=False)


class AskForm(Button):
    buyer = forms.CharField(widget=forms.HiddenInput, required=False)


class Round(Acts):
    """One round, as far as one may know it: never another's pledge."""

    template = "pages/round.html"
    forms: ClassVar = {
        "pledge": ("form", PledgeForm),
        "withdraw": ("pressed", WithdrawForm),
        "close": ("closing", CloseForm),
        "buy": ("pressed", Button),
        "leave": ("pressed", LeaveForm),
        "ask": ("pressed", AskForm),
        "write": ("pressed", Button),
    }

    def do(self, act: str, form: Any) -> str:
        actor, now, id, typed = self.actor, self.now, self.kwargs["id"], form.cleaned_data
        match act:
            case "pledge":
                self._pledge(id, typed)
            case "withdraw":
                rounds.withdraw_pledge(actor, round=id, now=now, **typed)
            case "close":
                self._close(id, sure=typed["sure"])
            case "buy":
                answer_as_buyer(actor, round=id, agrees=True, now=now)
            case "leave":
                answer_as_buyer(actor, round=id, agrees=False, now=now, **typed)
            case "ask":
                ask_another(actor, round=id, now=now, **typed)
            case "write":
                place_orders(actor, round=id, happened_at=now)
        return f"/order-rounds/{id}"

    def _close(self, id: UUID, *, sure: bool) -> None:
        closes_at = rounds.round_for(self.actor, id).closes_at
        if closes_at > self.now and not sure:
            told = said("Makers were told that they may pledge until %s. Is it to close now?")
            raise unsure(told % self.reader.moment(closes_at))
        rounds.close_round(self.actor, round=id, now=self.now)

    def _pledge(self, id: UUID, typed: dict[str, Any]) -> None:
        material = material_named(self.actor, typed.pop("material"))
        if (price := typed["highest_price"]) is not None:
            typed["highest_price"] = self.reader.per_kilogram(price, material.counted)
        rounds.pledge(self.actor, round=id, material=material.id, now=self.now, **typed)

    def page(self, status: int = 200, **forms: Any) -> HttpResponse:
        round = rounds.round_for(self.actor, self.kwargs["id"])
        state, maker = rounds.state_of(round, self.now), self.actor.maker_id
        may_pledge = state == "open" and maker is not None and self.actor.may(Verb.PLEDGE)
        runs = self.actor.may(Verb.RUN_ROUNDS) and maker in (None, round.buying_id)
        buys = maker == round.buying_id and self.actor.may(Verb.ORDER)
        trouble = trouble_of(round) if state == "closed" else None
        working = state == "closed" and not (trouble and trouble.given_up)
        if self.request.headers.get("HX-Request") and not working:
            return self.anew()
        needs_buyer = not (round.buyer_agrees or round.orders_nothing)  # type: ignore[attr-defined]
        may_answer = buys and needs_buyer
        asked = self._asked(round, needs_buyer=needs_buyer)
        closing = forms.get("closing")
        own: dict[str, Any] = {
            "form": self.form(PledgeForm),
            "pressed": closing,
            "closing": closing or self.form(CloseForm),
        }
        pledges = rounds.standing_pledges(self.actor, round) if maker else ()
        pledged, came = rounds.totals_of(self.actor, round), self._came_of(round, state)
        return self.show(
            files=self._files(came, pledges, pledged),
            round=round,
            state=state,
            pledges=pledges,
            pledged=pledged,
            names=self._names() if may_pledge else (),
            may_pledge=may_pledge,
            keeper=store_keeper(self.actor) if may_pledge else None,
            may_close=state == "open" and runs,
            left_out=rounds.left_out(self.actor, round),
            trouble=trouble,
            working=working,
            # What is typed meanwhile would be lost.
            renews=working and not may_answer and "to_ask" not in asked,
            reached=reached(round.id) if working else None,
            **came,
            may_write=buys,
            may_answer=may_answer,
            **asked,
            may_see_costs=self.actor.may(Verb.SEE_COSTS),
            status=status,
            **(own | forms),
        )

    def _files(self, came: dict[str, Any], *pledged: Any) -> tables.Files:
        """Its tables as files: pledges, and what came of it as far as the page tells that."""
        files: dict[str, Any] = {"pledges": lambda: co_op_tables.pledges(*pledged)}
        if came:
            money, result = self.actor.currency, came["result"]
            files["shares"] = lambda: co_op_tables.round_shares(result, came["got"], money)
            files["orders"] = lambda: co_op_tables.round_orders(result.orders, money)
        return files

    def _asked(self, round: OrderRound, *, needs_buyer: bool) -> dict[str, Any]:
        """Who was asked to buy, where it is more than one; and whom to ask for the co-op."""
        asked = asked_in(self.actor, round) if round.asked_number else []
        if self.actor.maker_id or not needs_buyer:
            return {"asked": asked}
        others = rounds.buyers_for(self.actor).exclude(id=round.buying_id)
        return {"asked": asked, "to_ask": list(others[:MOST_MAKERS])}

    def _names(self) -> list[str]:
        rows = materials_visible_to(self.actor).filter(maker=None, stocked=True)
        return list(rows.order_by(Lower("name")).values_list("name", flat=True)[:MOST_NAMES])

    def _came_of(self, round: OrderRound, state: str) -> dict[str, Any]:
        """What came of it, for whoever may see costs."""
        may = self.actor.maker_id is None or self.actor.may(Verb.SEE_COSTS)
        if state != "reckoned" or not may:
            return {}
        result = result_of(self.actor, round)
        handed = round.handed_out_at is not None  # type: ignore[attr-defined]
        got = charges_of(self.actor, round) if handed else {}
        return {
            "result": result,
            "got": got,
            "parts": [
                _part(n, one, got, self.actor.currency) for n, one in enumerate(result.makers)
            ],
            "alone": _alone(result),
            "told": worked_out(result, self.actor.currency) if self.actor.maker_id else (),
            "to_hand_out": not handed and waits_to_be_handed_out(self.actor, round),
        }


def _part(
    number: int, one: MakerResult, got: Mapping[UUID, Charged], currency: str
) -> dict[str, Any]:
    """What came of a round for a maker; what it was really charged before what was split."""
    charges = got.get(one.maker_id)
    return {
        "plan": one,
        "charges": charges,
        "saved": charges.saved(one) if charges else None,
        "at": f"charged{number}",
        "told": charged(one, charges, currency) if charges else (),
    }


def _alone(result: Result) -> list[tuple[str, dict[str, Decimal]]]:
    """The orders that the maker would have placed alone: of whom, goods and freight."""
    return [
        (
            result.alone[UUID(order["supplier"])].name,
            {name: Decimal(order[name]) for name in ("goods", "freight")},
        )
        for one in result.makers
        if result.alone and one.share is not None
        for order in one.share.alone_orders
    ]
