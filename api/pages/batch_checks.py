"""Checks of a batch, and a second person's look at each of its weighings."""

from collections.abc import Iterable, Mapping
from typing import Any, Final
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.functional import Promise
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import tables
from api.pages.forms import PageForm
from api.pages.screen import Screen
from api.pages.side_tables import poured_code
from formulas import checks, second_looks
from formulas.access import batch_for
from formulas.models import Batch, BatchCheck, Weighing
from ledger.roles import Verb

# A page shows so many of each; the files have all.
MOST: Final = 60
KINDS: Final[Mapping[str, Promise | str]] = {
    BatchCheck.Kind.START_UP: _("ready to start"),
    BatchCheck.Kind.EQUIPMENT: _("equipment"),
    BatchCheck.Kind.CLEARANCE: _("the line is clear"),
    BatchCheck.Kind.APPROVAL: _("approval of the batch"),
}
RESULTS: Final = [("pass", _("as it should be")), ("fail", _("not as it should be"))]


class CheckForm(PageForm):
    kind = forms.ChoiceField(label=_("What was looked at"), choices=list(KINDS.items()))
    subject = forms.CharField(
        label=_("Of what"),
        max_length=120,
        required=False,
        help_text=_("Such as: kettle 2, cleaned"),
    )
    result = forms.ChoiceField(label=_("It is"), choices=RESULTS, widget=forms.RadioSelect)
    note = forms.CharField(
        label=_("Note"), max_length=400, required=False, help_text=_("What is wrong, if it is not")
    )

    def told(self) -> dict[str, Any]:
        typed = dict(self.cleaned_data)
        return {"passed": typed.pop("result") == "pass", **typed}


class LookForm(PageForm):
    weighing = forms.UUIDField(widget=forms.HiddenInput)
    note = forms.CharField(
        label=_("Note"),
        max_length=400,
        required=False,
        help_text=_("It is kept with the weighing whose button is touched"),
    )

    def __init__(self, *args: Any, **how: Any) -> None:
        # The form of checks on the page has a field of the same name.
        super().__init__(*args, auto_id="look_%s", **how)


class BatchChecks(Screen):
    """What was looked at before, during and after a batch, signed by whoever looked."""

    template = "pages/batch_checks.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        return self._page(batch_for(self.actor, id))

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        batch, here = batch_for(self.actor, id), f"/batches/{id}/checks"
        if "weighing" in request.POST:
            looking = LookForm(request.POST, reader=self.reader)
            return self.act(
                looking,
                lambda: second_looks.look_again(
                    self.actor, batch=id, now=self.done_at, **looking.cleaned_data
                ),
                lambda kept: here,
                lambda: self._page(batch, looking=looking, status=422),
            )
        form = CheckForm(request.POST, reader=self.reader)
        return self.act(
            form,
            lambda: checks.check_batch(
                self.actor, batch=id, happened_at=self.done_at, now=self.now, **form.told()
            ),
            lambda kept: f"{here}#checked",
            lambda: self._page(batch, form=form, status=422),
        )

    def _page(
        self,
        batch: Batch,
        *,
        form: PageForm | None = None,
        looking: PageForm | None = None,
        status: int = 200,
    ) -> HttpResponse:
        checked = checks.checks_of(self.actor, batch.id).select_related("person").order_by("-id")
        weighed = second_looks.weighings_seen(self.actor, batch)
        most = tables.MOST_ROWS + 1 if tables.asked(self.request) else MOST + 1
        rows = list(weighed[:most])
        unseen = [row for row in rows[:MOST] if not row.second_looks.all()]
        mine = self.actor.person_id
        may = self.actor.may(Verb.MAKE)
        return self.show(
            files={
                "": lambda: _checks(batch, checked[: tables.MOST_ROWS + 1]),
                "looks": lambda: _looks(batch, rows),
            },
            batch=batch,
            checked=[(KINDS[row.kind], row) for row in checked[:MOST]],
            weighed=[(row, next(iter(row.second_looks.all()), None)) for row in rows[:MOST]],
            more=len(rows) > MOST,
            form=form or CheckForm(reader=self.reader),
            looking=looking or LookForm(reader=self.reader),
            to_see=may and any(row.person_id != mine for row in unseen),
            may_make=may,
            status=status,
        )


def _checks(batch: Batch, rows: Iterable[BatchCheck]) -> tables.Table:
    columns = [said("When"), said("What was looked at"), said("Of what"), said("Result")]
    columns += [said("Note"), said("By whom")]
    results = dict(RESULTS)
    cells = (
        (
            *(row.happened_at.isoformat(), str(KINDS[row.kind]), row.subject),
            str(results["pass" if row.passed else "fail"]),
            *(row.note, row.person.get_username()),
        )
        for row in rows
    )
    return tables.Table(f"{batch.code}-checks", columns, cells)


def _looks(batch: Batch, rows: Iterable[Weighing]) -> tables.Table:
    columns = [said("Weighed"), said("Material"), said("Lot"), said("Grams"), said("By whom")]
    columns += [said("Seen by"), said("Seen"), said("Note")]
    cells = []
    for row in rows:
        seen: tuple[tables.Cell, ...] = ("", "", "")
        for look in row.second_looks.all():
            seen = (look.person.get_username(), look.looked_at.isoformat(), look.note)
        moved = (row.lot.material.name, poured_code(row), row.quantity, row.person.get_username())
        cells.append((row.happened_at.isoformat(), *moved, *seen))
    return tables.Table(f"{batch.code}-looks", columns, cells)
