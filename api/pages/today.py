"""The first page: what waits for the maker, one tap from what settles it."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any, Final

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext_lazy as _

from api.pages.forms import PageForm
from api.pages.places import place_of
from api.pages.screen import Screen
from formulas import first_steps, today
from formulas.repicking import reserve_again
from ledger import (
    alert_answers,
    claiming,
    coop_clearing,
    recall_notices,
    round_buyers,
    transferring,
)
from ledger.co_op_store import may_keep
from ledger.roles import Verb
from ledger.round_running import rounds_to_run

PUT_OFF: Final = timedelta(days=7)
# It is typed as it stands, in whatever language the page is.
ASKED: Final = ("--coop …", '--name "…"', "--owner …", "--password-env PASSWORD")
COMMAND: Final = ("python3", "manage.py", "open_maker", *ASKED)


class TapForm(PageForm):
    """What a button says: of which row, and why, where that is to be said."""

    of = forms.UUIDField()
    reason = forms.CharField(label=_("Why not"), max_length=400, required=False)


class Today(Screen):
    """Each row has the act that resolves it, or leads to the page that has."""

    template = "pages/today.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        if self.actor.maker_id is None:
            return self._of_the_co_op()
        return self._page(TapForm(reader=self.reader))

    def post(self, request: HttpRequest) -> HttpResponse:
        form = TapForm(request.POST, reader=self.reader)
        do = self._acts().get(request.POST.get("do", ""))
        if do is None:
            return self._page(form, 422)
        return self.act(
            form,
            lambda: do(form.cleaned_data["of"], form.cleaned_data["reason"]),
            lambda done: "/",
            lambda: self._page(form, 422),
        )

    def _acts(self) -> dict[str, Callable[[Any, str], Any]]:
        """What can be done from here: each is one call of what the API calls, too."""
        actor, now = self.actor, self.now
        later = now + PUT_OFF
        return {
            "accept": lambda id, _: claiming.accept_claim(actor, claim=id, happened_at=now),
            "decline": lambda id, why: claiming.decline_claim(actor, claim=id, reason=why),
            "take": lambda id, _: transferring.accept_transfer(actor, transfer=id, happened_at=now),
            "refuse": lambda id, why: transferring.decline_transfer(actor, transfer=id, reason=why),
            "hold": lambda id, _: recall_notices.answer_notice(actor, notice=id, hold=True),
            "answer": lambda id, _: recall_notices.answer_notice(actor, notice=id),
            "seen": lambda id, _: alert_answers.acknowledge(actor, id, now=now),
            "buy": lambda id, _: round_buyers.answer_as_buyer(
                actor, round=id, agrees=True, now=now
            ),
            "leave": lambda id, why: round_buyers.answer_as_buyer(
                actor, round=id, agrees=False, reason=why, now=now
            ),
            "choose": lambda id, _: reserve_again(actor, batch=id),
            "later": lambda id, _: alert_answers.snooze(actor, id, until=later, now=now),
        }

    def _of_the_co_op(self) -> HttpResponse:
        """What waits for whoever acts for the co-op and for no maker, and the ways of the co-op."""
        runs, clears = self.actor.may(Verb.RUN_ROUNDS), self.actor.may(Verb.CLEAR)
        facts = {
            "makers": not runs or may_keep(self.actor).exists(),
            "command": COMMAND,
            "running": rounds_to_run(self.actor, now=self.now, most=today.MOST) if runs else None,
            "proposal": coop_clearing.propose(self.actor) if clears else None,
        }
        return self.render("pages/coordinator.html", facts)

    def _page(self, form: PageForm, status: int = 200) -> HttpResponse:
        found = today.today(self.actor, now=self.now)
        return self.show(
            today=found,
            alerted=[(one, place_of(one.alert)) for one in found.alerted],
            steps=first_steps.first_steps(self.actor),
            form=form,
            may_trade=self.actor.may(Verb.TRANSFER),
            may_decide=self.actor.may(Verb.DECIDE),
            may_watch=self.actor.may(Verb.WATCH),
            may_receive=self.actor.may(Verb.RECEIVE),
            may_see_costs=self.actor.may(Verb.SEE_COSTS),
            may_make=self.actor.may(Verb.MAKE),
            may_hear=self.actor.may(Verb.HEAR),
            status=status,
        )
