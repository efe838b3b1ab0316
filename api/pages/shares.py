"""What makers open to each other: lots to claim, claims to answer, offers to accept."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext_lazy as _

from api.pages import co_op_tables, tables
from api.pages.forms import (
    LONG,
    Button,
    MomentField,
    MoneyField,
    NumberField,
    PageForm,
    QuantityField,
)
from api.pages.screen import Screen
from ledger import claiming, giving_back, sharing, transferring
from ledger.access import day_of
from ledger.co_op_store import store_keeper
from ledger.lot_reading import show_lot
from ledger.models import Claim, Share, Transfer
from ledger.roles import Verb

MOST = 40
TERMS = [
    ("cost", _("at what it cost you")),
    ("percent", _("at cost and so many percent more")),
    ("price", _("at a price for a kilogram or piece")),
]


@dataclass(frozen=True, slots=True)
class Claimed:
    """A claim, how it stands, and what is known of the lot."""

    claim: Claim
    state: str
    of: sharing.Shown


class CoOp(Screen):
    """What waits for an answer, what others share, and what one shares oneself."""

    template = "pages/co_op.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        actor, now = self.actor, self.now
        others, mine = (self._open(own=own, most=MOST + 1) for own in (False, True))
        claims = list(claiming.claims_of(actor, now=now).order_by("-id")[:MOST])
        known = _known([*others[:MOST], *mine[:MOST], *(claim.share for claim in claims)])
        claimed = [Claimed(one, claiming.state_of(one, now), known[one.share_id]) for one in claims]
        open_ones = transferring.transfers_of(actor, state=Transfer.State.OPEN).order_by("-id")
        offers = transferring.offered(open_ones[:MOST])
        loans = giving_back.loans_of(actor).order_by("-id")[:MOST]
        return self.show(
            files={"": self._table},
            asked=[one for one in claimed if one.state == "open" and _incoming(one, actor.maker)],
            claims=[one for one in claimed if not _incoming(one, actor.maker)],
            offers=[one for one in offers if one.transfer.to_maker_id == actor.maker],
            offered=[one for one in offers if one.transfer.to_maker_id != actor.maker],
            loans=[giving_back.as_loan(actor, one) for one in loans],
            others=[known[one.id] for one in others[:MOST]],
            keeper=store_keeper(actor),
            mine=[known[one.id] for one in mine[:MOST]],
            more=bool(others[MOST:] or mine[MOST:]),
            may_settle=actor.may(Verb.SEE_COSTS),
            may_transfer=actor.may(Verb.TRANSFER),
        )

    def _open(self, *, own: bool, most: int) -> list[Share]:
        """The latest shares that are open, one's own or others'."""
        rows = sharing.shares_of_coop(self.actor, now=self.now, own=own)
        return list(rows.order_by("-id")[:most])

    def _table(self) -> tables.Table:
        every = [
            one for own in (False, True) for one in self._open(own=own, most=tables.MOST_ROWS + 1)
        ]
        costs, currency = self.actor.may(Verb.SEE_COSTS), self.actor.currency
        return co_op_tables.shares(sharing.shown(every), costs=costs, currency=currency)


def _incoming(one: Claimed, maker: UUID) -> bool:
    return one.claim.to_maker_id == maker


def _known(shares: Sequence[Share]) -> dict[UUID, sharing.Shown]:
    rows = {share.id: share for share in shares}
    return {one.share.id: one for one in sharing.shown(rows.values())}


class ReasonForm(PageForm):
    reason = forms.CharField(label=_("Why"), max_length=LONG)


class ClaimForm(PageForm):
    quantity = QuantityField(label=_("How much you want"), help_text=_("Such as 2.5 kg"))
    expires_at = MomentField(
        label=_("They can say yes until"),
        required=False,
        help_text=_("Left empty: as long as it takes"),
    )
    quarantine = forms.BooleanField(
        label=_("It waits in quarantine here until I have decided"), required=False
    )
    note = forms.CharField(label=_("A word to them"), max_length=LONG, required=False)

    def facts(self) -> dict[str, Any]:
        typed = dict(self.cleaned_data)
        return {"keeps_status": not typed.pop("quarantine"), **typed}


class OneShare(Screen):
    """A lot that somebody has opened: claim some of it, or close one's own."""

    template = "pages/share.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        return self._page(id)

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        if request.POST.get("do") == "close":
            closing = ReasonForm(request.POST, reader=self.reader)
            return self.act(
                closing,
                lambda: sharing.close_share(
                    self.actor, share=id, now=self.now, **closing.cleaned_data
                ),
                lambda closed: "/co-op",
                lambda: self._page(id, closing=closing, status=422),
            )
        form = ClaimForm(request.POST, reader=self.reader)
        return self.act(
            form,
            lambda: claiming.claim_share(
                self.actor, share=id, happened_at=self.now, **form.facts()
            ),
            lambda claim: f"/claims/{claim.id}",
            lambda: self._page(id, form=form, status=422),
        )

    def _page(
        self,
        id: UUID,
        *,
        form: PageForm | None = None,
        closing: PageForm | None = None,
        status: int = 200,
    ) -> HttpResponse:
        share = sharing.share_for(self.actor, id)
        (known,) = sharing.shown([share])
        over = share.closes_at is not None and share.closes_at <= self.now
        return self.show(
            one=known,
            own=share.giver_id == self.actor.maker,
            over=share.closed_at is not None or over,
            today=day_of(self.actor, self.now),
            form=form or ClaimForm(reader=self.reader),
            closing=closing or ReasonForm(reader=self.reader),
            may_transfer=self.actor.may(Verb.TRANSFER),
            may_see_costs=self.actor.may(Verb.SEE_COSTS),
            status=status,
        )


class ShareForm(PageForm):
    quantity = QuantityField(
        label=_("How much of it"), required=False, help_text=_("Left empty: all that is free")
    )
    terms = forms.ChoiceField(
        label=_("For how much"),
        choices=TERMS,
        initial="cost",
        widget=forms.RadioSelect,
        help_text=_(
            "What it cost is what your books say when it moves: as a rule the average of all that"
            " you have of the material in store"
        ),
    )
    percent = NumberField(label=_("So many percent"), required=False)
    price = MoneyField(label=_("Price"), required=False)
    accepts_itself = forms.BooleanField(
        label=_("Give it to whoever asks, without asking me"), required=False
    )
    closes_at = MomentField(
        label=_("Nobody can ask after"),
        required=False,
        help_text=_("Left empty: until you close it"),
    )
    note = forms.CharField(label=_("A word to all"), max_length=LONG, required=False)

    def clean(self) -> dict[str, Any]:
        typed = super().clean() or {}
        needed = typed.get("terms", "cost")
        if needed != "cost" and typed.get(needed) is None and needed not in self.errors:
            self.add_error(needed, _("How much?"))
        return typed

    def facts(self) -> dict[str, Any]:
        typed = dict(self.cleaned_data)
        kind, percent, price = (typed.pop(name) for name in ("terms", "percent", "price"))
        chosen = {"percent": percent, "price": price}
        return typed | {"terms": sharing.Terms(**{kind: chosen[kind]} if kind in chosen else {})}


class ShareLot(Screen):
    """Opening a lot to the makers of the co-op."""

    template = "pages/share_lot.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        self.actor.must(Verb.TRANSFER)
        return self._page(id, ShareForm(reader=self.reader))

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        self.actor.must(Verb.TRANSFER)
        form = ShareForm(request.POST, reader=self.reader)
        return self.act(
            form,
            lambda: sharing.open_share(self.actor, lot=id, happened_at=self.now, **form.facts()),
            lambda share: f"/shares/{share.id}",
            lambda: self._page(id, form, status=422),
        )

    def _page(self, id: UUID, form: PageForm, *, status: int = 200) -> HttpResponse:
        return self.show(lot=show_lot(self.actor, id), form=form, status=status)


class Answering(Screen):
    """Something between two makers that waits for an answer: yes, no, or taken back."""

    of: ClassVar[str]

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        return self._page(id)

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        do = request.POST.get("do", "")
        accepting = do == "accept"
        form = self.yes(request.POST) if accepting else ReasonForm(request.POST, reader=self.reader)
        act = self.acts(id).get(do, self.acts(id)["decline"])
        return self.act(
            form,
            lambda: act(**form.cleaned_data),
            lambda done: f"/{self.of}/{id}",
            lambda: self._page(id, form=form, status=422),
        )

    def yes(self, data: Any = None) -> PageForm:
        """What is asked of whoever says yes."""
        return Button(data, reader=self.reader)

    def acts(self, id: UUID) -> dict[str, Callable[..., Any]]:
        raise NotImplementedError

    def facts(self, id: UUID) -> dict[str, Any]:
        raise NotImplementedError

    def _page(self, id: UUID, *, form: PageForm | None = None, status: int = 200) -> HttpResponse:
        reason = form if isinstance(form, ReasonForm) else None
        return self.show(
            form=reason or ReasonForm(reader=self.reader),
            pressed=self.yes() if form is None or reason else form,
            today=day_of(self.actor, self.now),
            may_transfer=self.actor.may(Verb.TRANSFER),
            may_see_costs=self.actor.may(Verb.SEE_COSTS),
            status=status,
            **self.facts(id),
        )


class OneClaim(Answering):
    """A claim on a share: the giver says yes or no, whoever claimed takes it back."""

    template = "pages/claim.html"
    of = "claims"

    def acts(self, id: UUID) -> dict[str, Callable[..., Any]]:
        return {
            "accept": lambda: claiming.accept_claim(self.actor, claim=id, happened_at=self.now),
            "decline": lambda reason: claiming.decline_claim(self.actor, claim=id, reason=reason),
            "withdraw": lambda reason: claiming.withdraw_claim(self.actor, claim=id, reason=reason),
        }

    def facts(self, id: UUID) -> dict[str, Any]:
        claim = claiming.claim_for(self.actor, id)
        (known,) = sharing.shown([claim.share])
        one = Claimed(claim, claiming.state_of(claim, self.now), known)
        return {"one": one, "incoming": _incoming(one, self.actor.maker)}
