"""The list of deviations: what was done against a rule or outside the formula, by whom and why."""

from collections.abc import Iterable
from typing import Any, Final

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.http import urlencode
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import tables
from api.pages.forms import DayField, PageForm, id_in
from api.pages.rule_words import RULES, overrode
from api.pages.screen import Screen
from api.pages.words import kind
from formulas.access import batch_for
from formulas.deviations import DeviationsWanted, deviations_of, kinds_of
from ledger.access import day_of, lot_for

MOST: Final = 40


class WhichForm(PageForm):
    kind = forms.ChoiceField(
        label=_("Which rule"), required=False, choices=[("", _("any")), *RULES.items()]
    )
    since = DayField(label=_("From this day on"), required=False)


class Deviations(Screen):
    """Deviations, the latest heard of first: all, or those of one batch or lot."""

    template = "pages/deviations.html"
    fragment = "pages/deviations_found.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        form = WhichForm(request.GET, reader=self.reader)
        chosen = form.cleaned_data if form.is_valid() else {}
        about = {name: id_in(request.GET.get(name, "")) for name in ("batch", "lot")}
        batch = batch_for(self.actor, about["batch"]) if about["batch"] else None
        lot = lot_for(self.actor, about["lot"]) if about["lot"] else None
        wanted = DeviationsWanted(
            batch=batch.id if batch else None,
            lot=lot.id if lot else None,
            kind=chosen.get("kind") or None,
            since=chosen.get("since"),
        )
        rows = deviations_of(self.actor, wanted).order_by("-id")
        asked = tables.asked(request)
        if asked:
            return tables.file(asked, self._table(rows[: tables.MOST_ROWS + 1]))
        after = id_in(request.GET.get("after", ""))
        found = list((rows.filter(id__lt=after) if after else rows)[: MOST + 1])
        return self.show(
            form=form,
            batch=batch,
            lot=lot,
            found=[(row, _rules(row)) for row in found[:MOST]],
            more=self._more(found[MOST - 1].id) if len(found) > MOST else "",
            status=422 if form.errors else 200,
        )

    def _more(self, after: Any) -> str:
        asked = self.request.GET
        kept = {name: asked[name] for name in ("kind", "since", "batch", "lot") if name in asked}
        return urlencode({**kept, "after": str(after)})

    def _table(self, rows: Iterable[Any]) -> tables.Table:
        columns = [said("On"), said("What was done"), said("Which rule"), said("Why")]
        columns += [said("Batch"), said("By whom"), said("Written down"), said("Taken back")]
        cells = (
            (
                *(day_of(self.actor, row.happened_at), str(kind(row.kind))),
                *(overrode(kinds_of(row)), row.deviation, row.batch_code or ""),
                *(row.person_name, row.recorded_at.isoformat()),
                said("taken back") if row.reversed_by else "",
            )
            for row in rows
        )
        return tables.Table("deviations", columns, cells)


def _rules(row: Any) -> list[str]:
    """What an entry overrode, as a page says it."""
    return [str(RULES[one]) for one in kinds_of(row)]
