"""What makers tell each other of a recall: how much of a lot went where, and what became of it."""

from collections.abc import Mapping
from typing import Any, Final
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from api.pages.forms import NumberField, PageForm
from api.pages.screen import Screen
from ledger import recall_notices
from ledger.recall_tallies import COUNTS, Count, Tally
from ledger.roles import Verb

UNITS: Final = ("units", "grams")
# What is counted of a recall, as `ledger.recall_tallies.Tally` tells it.
CALLED: Final[Mapping[str, str | Promise]] = {
    "made": _("made of it"),
    "in_reach": _("within reach"),
    "held": _("of that, on hold"),
    "sold": _("sold"),
    "returned": _("of that, came back"),
    "passed_on": _("given to other makers"),
    "elsewhere": _("samples, testers, kept or lost"),
}


def counts_of(counts: Mapping[str, Count], own: Tally | None = None) -> list[dict[str, Any]]:
    """Counts by name in their order; beside each what is one's own, where that is told."""
    return [
        {"called": CALLED[name], "count": counts[name], "own": own and getattr(own, name)}
        for name in COUNTS
        if name in counts
    ]


def told(tally: Tally) -> list[dict[str, Any]]:
    """A tally as a page shows it."""
    return counts_of({name: getattr(tally, name) for name in COUNTS})


class AnswerForm(PageForm):
    hold = forms.BooleanField(
        label=_("Hold it, and all that was made of it"), required=False, initial=True
    )
    reason = forms.CharField(
        label=_("Why your records are not right"),
        max_length=400,
        required=False,
        help_text=_("Only with figures of your own"),
    )

    def __init__(self, *args: Any, **how: Any) -> None:
        super().__init__(*args, **how)
        for name in COUNTS:
            for unit in UNITS:
                field = NumberField(label=_in_unit(name, unit), required=False)
                field.reader = self.reader
                self.fields[f"{name}-{unit}"] = field

    def field_at(self, pointer: str) -> str:
        """A figure stands at the name of its count and its unit."""
        of, _, count = pointer.strip("/").partition("/")
        return count.replace("/", "-") if of == "corrected" else super().field_at(pointer)

    @property
    def figures(self) -> list[forms.BoundField]:
        """The fields for what is not as the records say."""
        return [self[f"{name}-{unit}"] for name in COUNTS for unit in UNITS]

    def told(self) -> dict[str, Any]:
        typed = self.cleaned_data
        given = {
            name: {
                unit: typed[f"{name}-{unit}"]
                for unit in UNITS
                if typed[f"{name}-{unit}"] is not None
            }
            for name in COUNTS
        }
        corrected = {name: units for name, units in given.items() if units}
        return {"hold": typed["hold"], "reason": typed["reason"], "corrected": corrected}


def _in_unit(name: str, unit: str) -> str:
    return f"{CALLED[name]}, {_('pieces') if unit == 'units' else 'g'}"


class Notice(Screen):
    """One notice; whoever it was sent to answers it here with quantities, and nothing else."""

    template = "pages/recall_notice.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        return self._page(id, AnswerForm(reader=self.reader))

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        self.actor.must(Verb.DECIDE)
        recall_notices.notice_for(self.actor, id)
        form = AnswerForm(request.POST, reader=self.reader)
        return self.act(
            form,
            lambda: recall_notices.answer_notice(self.actor, notice=id, **form.told()),
            lambda answer: f"/recall-notices/{id}",
            lambda: self._page(id, form, status=422),
        )

    def _page(self, id: UUID, form: PageForm, *, status: int = 200) -> HttpResponse:
        notice = recall_notices.notice_for(self.actor, id)
        answer = recall_notices.latest_answers([notice]).get(notice.id)
        incoming = notice.to_maker_id == self.actor.maker
        tally = recall_notices.tally_told(answer.tally, answer.corrected) if answer else None
        return self.show(
            notice=notice,
            incoming=incoming,
            answer=answer,
            tally=tally,
            counts=told(tally) if tally else [],
            corrected=[CALLED[name] for name in COUNTS if answer and name in answer.corrected],
            form=form if incoming and self.actor.may(Verb.DECIDE) else None,
            status=status,
        )
