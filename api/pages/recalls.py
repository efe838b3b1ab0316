"""A recall: opened from its lot, other makers told, what comes back seen, and closed.

What comes back is a customer return in the books; nothing of it is typed here beside them.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import recall_tables, tables
from api.pages.forms import MomentField, PageForm, SureField, id_in, unsure
from api.pages.recall_notices import counts_of
from api.pages.recall_paper import recall_sheet
from api.pages.recall_words import CLASSES, DEPTHS
from api.pages.recall_workings import balance_told, sales_told, together_told
from api.pages.screen import Screen
from formulas.made_losses import MadeLoss, losses_of
from ledger import recall_notices, recall_records
from ledger.access import Actor, lot_for
from ledger.recall_buyers import buyers_of, sales_of
from ledger.recall_tallies import percent_back
from ledger.recalling import Listed, recall_list
from ledger.roles import Verb
from ledger.transferring import makers_of_coop

MOST, MOST_LOTS, LONGEST = 20, 40, 400
# A lot of the list, and what was lost in making it.
LotRow = tuple[Listed, MadeLoss | None]


@dataclass(frozen=True, slots=True)
class Balance:
    """All of the recalled lot against what is found of it, in its own unit."""

    received: Decimal
    accounted: Decimal

    @property
    def unexplained(self) -> Decimal:
        return self.received - self.accounted

    @property
    def percent(self) -> Decimal | None:
        return percent_back(self.accounted, self.received)


class RecallForm(PageForm):
    reason = forms.CharField(
        label=_("Why it is called back"),
        max_length=LONGEST,
        help_text=_("Other makers who have some of it are told this"),
    )
    depth = forms.ChoiceField(
        label=_("How far out it goes"),
        choices=list(DEPTHS.items()),
        required=False,
        help_text=_("Your own decision (21 CFR 7.42)"),
    )
    classification = forms.ChoiceField(
        label=_("What the authority has said of it"),
        choices=list(CLASSES.items()),
        required=False,
        help_text=_("The authority alone classifies a recall (21 CFR 7.41)"),
    )
    happened_at = MomentField(
        label=_("When it began"), required=False, help_text=_("Left empty: just now")
    )


class WhoHasIt(Screen):
    """Everyone who has some of a lot, or of what was made of it; and calling it back."""

    template = "pages/recall_list.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        return self._page(id, RecallForm(reader=self.reader))

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        self.actor.must(Verb.DECIDE)
        lot_for(self.actor, id)
        form = RecallForm(request.POST, reader=self.reader)
        return self.act(
            form,
            lambda: recall_records.open_recall(self.actor, lot=id, **self._told(form)),
            lambda made: f"/recalls/{made.id}",
            lambda: self._page(id, form, status=422),
        )

    def _told(self, form: PageForm) -> dict[str, Any]:
        typed = form.cleaned_data
        return {**typed, "happened_at": typed["happened_at"] or self.now}

    def _page(self, id: UUID, form: PageForm, *, status: int = 200) -> HttpResponse:
        listed = recall_list(self.actor, lot=id)
        buyers = buyers_of(listed, [])
        recalls = list(recall_records.recalls_of(self.actor, lot=id).order_by("-id")[:MOST])
        closed = recall_records.closures_of(recalls)
        running = any(one.id not in closed for one in recalls) and not form.is_bound
        return self.show(
            files={
                "": lambda: recall_tables.places(listed),
                "accounts": lambda: recall_tables.accounts(listed),
            },
            listed=listed,
            balance=Balance(listed.received, listed.accounted),
            balance_told=balance_told(listed, self.reader),
            lots=self._lots(listed.lots[:MOST_LOTS]),
            more_lots=len(listed.lots[MOST_LOTS:]),
            buyers=buyers[:MOST_LOTS],
            more_buyers=len(buyers[MOST_LOTS:]),
            recalls=[(one, one.id in closed) for one in recalls],
            form=form if self.actor.may(Verb.DECIDE) and not running else None,
            status=status,
        )

    def _lots(self, lots: Sequence[Listed]) -> list[LotRow]:
        """Each with what its batch lost."""
        losses = losses_of(self.actor, (lot.id for lot in lots))
        return [(lot, losses.get(lot.id)) for lot in lots]


class Recalls(Screen):
    """What one has called back, and what other makers have."""

    template = "pages/recalls.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        rows = recall_records.recalls_of(self.actor).order_by("-id")
        kind = tables.asked(request)
        if kind:
            every = list(rows[: tables.MOST_ROWS + 1])
            closed = recall_records.closures_of(every)
            return tables.file(kind, recall_tables.recalls(self.actor, every, closed))
        after = id_in(request.GET.get("after", ""))
        if after is not None:
            rows = rows.filter(id__lt=after)
        found = list(rows[: MOST + 1])
        closed = recall_records.closures_of(found)
        heard = recall_notices.notices_of(self.actor, incoming=True).order_by("-id")
        notices = list(heard[:MOST])
        answers = recall_notices.latest_answers(notices)
        return self.show(
            found=[(one, closed.get(one.id)) for one in found[:MOST]],
            more=found[MOST - 1].id if found[MOST:] else None,
            notices=[(one, answers.get(one.id)) for one in notices],
        )


class CloseForm(PageForm):
    reason = forms.CharField(
        label=_("Why it is done"),
        max_length=LONGEST,
        help_text=_("Such as: every buyer has answered, and what came back is destroyed"),
    )
    sure = SureField()


class Recall(Screen):
    """How far a recall has come: here, with the buyers, and with the other makers."""

    template = "pages/recall.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        return self._page(id, CloseForm(reader=self.reader))

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        self.actor.must(Verb.DECIDE)
        recall_records.recall_for(self.actor, id)
        form = CloseForm(request.POST, reader=self.reader)
        return self.act(
            form,
            lambda: self._close(id, form.cleaned_data),
            lambda closed: f"/recalls/{id}",
            lambda: self._page(id, form, status=422),
        )

    def _close(self, id: UUID, typed: dict[str, Any]) -> Any:
        """Closed; with some of the lot unexplained only if that was meant."""
        recall = recall_records.recall_for(self.actor, id)
        tally = recall_records.progress_of(self.actor, recall).tally
        if tally.unexplained and not typed["sure"]:
            left = self.reader.quantity(tally.unexplained, recall.lot.material.counted)
            raise unsure(
                said("%(left)s of it is not accounted for. Close it all the same?") % {"left": left}
            )
        return recall_records.close_recall(
            self.actor, recall=id, reason=typed["reason"], happened_at=self.now
        )

    def _page(self, id: UUID, form: PageForm, *, status: int = 200) -> HttpResponse:
        recall = recall_records.recall_for(self.actor, id)
        closure = recall_records.closures_of([recall]).get(recall.id)
        progress = recall_records.progress_of(self.actor, recall)
        names = names_of(self.actor) if progress.makers else {}
        silent = [one for one in progress.buyers if not one.answered]
        known = {lot.id: lot for lot in progress.listed.lots}
        tally, sales = progress.tally, sales_of(progress.buyers)
        return self.show(
            files={
                "": lambda: recall_tables.buyers(progress.buyers),
                "makers": lambda: recall_tables.makers(self.actor, progress.makers, names),
                "all": lambda: recall_tables.together(progress.together),
            },
            recall=recall,
            depth=DEPTHS[recall.depth] if recall.depth else "",
            classed=CLASSES[recall.classification] if recall.classification else "",
            closure=closure,
            counted=recall.lot.material.counted,
            balance=Balance(tally.received, tally.accounted),
            balance_told=balance_told(progress.listed, self.reader),
            sales=sales,
            sales_told=sales_told(sales, progress.buyers, self.reader),
            told=sum(one.contacts > 0 for one in progress.buyers),
            known=len(progress.buyers),
            answered=len(progress.buyers) - len(silent),
            silent=silent[:MOST],
            more_silent=len(silent[MOST:]),
            makers=[
                (one, names.get(one.maker), known.get(one.lot_id, progress.listed.lot))
                for one in progress.makers[:MOST]
            ],
            more_makers=len(progress.makers[MOST:]),
            counts=counts_of(progress.together, tally),
            together_told=together_told(progress, names),
            form=form if self.actor.may(Verb.DECIDE) and closure is None else None,
            may_hear=self.actor.may(Verb.HEAR),
            status=status,
        )


class RecallSheet(Screen):
    """The whole record, to print and to show to whoever asks for it."""

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        recall = recall_records.recall_for(self.actor, id)
        progress = recall_records.progress_of(self.actor, recall)
        names = names_of(self.actor)
        sheet = recall_sheet(
            recall,
            recall_records.closures_of([recall]).get(recall.id),
            progress,
            names=names,
            maker=names[self.actor.maker],
            printed_at=self.now,
            hand=self.reader,
        )
        return self.printed(sheet)


def names_of(actor: Actor) -> dict[UUID | None, str]:
    """The makers of the co-op by name."""
    return dict(makers_of_coop(actor).values_list("id", "name"))
