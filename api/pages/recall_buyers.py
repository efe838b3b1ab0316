"""The buyers of what is recalled: whom to tell, what each had, and what each has said."""

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.http import urlencode
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import recall_tables
from api.pages.forms import DayField, PageForm, QuantityField
from api.pages.recall_words import OUTCOMES, WAYS
from api.pages.screen import Screen
from api.pages.whole_numbers import page_in
from ledger import recall_records
from ledger.access import day_of
from ledger.errors import NotFound
from ledger.recall_buyers import Buyer
from ledger.roles import Verb

MOST, MOST_HEARD, LONGEST = 40, 30, 400


class ContactForm(PageForm):
    how = forms.ChoiceField(label=_("Told"), choices=list(WAYS.items()))
    on = DayField(label=_("On which day"))
    answered = forms.BooleanField(label=_("They have answered"), required=False)
    outcome = forms.ChoiceField(
        label=_("What became of the goods"),
        choices=list(OUTCOMES.items()),
        required=False,
        help_text=_("What comes back is booked at its lot, as brought back by a buyer"),
    )
    lot = forms.ChoiceField(label=_("Of which lot"), required=False)
    quantity = QuantityField(
        label=_("How much"), required=False, help_text=_("Such as 3 pieces, or 250 g")
    )
    note = forms.CharField(label=_("What they said"), max_length=LONGEST, required=False)


class RecallBuyers(Screen):
    """All buyers of a recall; with `who` in the address, one of them."""

    template = "pages/recall_buyers.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        return self._page(id)

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        self.actor.must(Verb.HEAR)
        who = request.GET.get("who", "")
        form = self._form(self._buyer(id, who), request.POST)
        return self.act(
            form,
            lambda: recall_records.contact_buyer(
                self.actor,
                recall=id,
                customer=who,
                today=day_of(self.actor, self.now),
                **{**form.cleaned_data, "lot": form.cleaned_data["lot"] or None},
            ),
            lambda kept: f"/recalls/{id}/buyers?{urlencode({'who': who})}",
            lambda: self._page(id, form=form, status=422),
        )

    def _buyer(self, id: UUID, who: str) -> Buyer:
        """One of the buyers. Raises NotFound for somebody who had none of it."""
        recall = recall_records.recall_for(self.actor, id)
        return _one_of(recall_records.progress_of(self.actor, recall).buyers, who)

    def _form(self, buyer: Buyer, data: Any = None) -> ContactForm:
        today = day_of(self.actor, self.now)
        form = ContactForm(data, reader=self.reader, initial={"on": today})
        lots = [(str(line.lot_id), line.code) for line in buyer.lines]
        form.offer("lot", [("", said("none")), *lots])
        return form

    def _page(self, id: UUID, *, form: PageForm | None = None, status: int = 200) -> HttpResponse:
        recall = recall_records.recall_for(self.actor, id)
        progress = recall_records.progress_of(self.actor, recall)
        buyers = progress.buyers
        closed = bool(recall_records.closures_of([recall]))
        who = self.request.GET.get("who")
        if who is not None:
            buyer = _one_of(buyers, who)
            heard = [one for one in reversed(progress.contacts) if one.customer == who]
            may = self.actor.may(Verb.HEAR) and not closed
            facts = {
                "recall": recall,
                "buyer": buyer,
                "closed": closed,
                "lines": buyer.lines[:MOST],
                "heard": [
                    (one, WAYS[one.how], OUTCOMES[one.outcome]) for one in heard[:MOST_HEARD]
                ],
                "more": len(heard) > MOST_HEARD,
                "form": (form or self._form(buyer)) if may else None,
            }
            return self.render("pages/recall_buyer.html", facts, status)
        page = page_in(self.request.GET.get("page", ""))
        # Those from whom nothing was heard are the ones to call.
        ordered = sorted(buyers, key=lambda one: (one.answered, one.contacts > 0))
        return self.show(
            files={"": lambda: recall_tables.buyers(buyers)},
            recall=recall,
            closed=closed,
            buyers=ordered[page * MOST : (page + 1) * MOST],
            more=page + 1 if ordered[(page + 1) * MOST :] else None,
        )


def _one_of(buyers: Sequence[Buyer], who: str) -> Buyer:
    found = next((one for one in buyers if one.customer == who), None)
    if found is None:
        raise NotFound
    return found
