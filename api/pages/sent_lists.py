"""A list that was sent: how far a worker is with it, what was found, and taking it in."""

from datetime import timedelta
from typing import Any, ClassVar, Final

from django import forms
from django.http import HttpResponse
from django.utils.translation import gettext_lazy as _

from api import kept_sentences, long_lists
from api.list_findings import as_kept
from api.list_kinds import KINDS
from api.models import SentList
from api.pages.acts import Acts
from api.pages.forms import Button, PageForm
from api.pages.imports import FileForm
from api.pages.list_files import wrong_cells
from ledger.progress import Reached, reached

WORKING: Final = (SentList.State.WAITING, SentList.State.TAKING)
SENT_ANEW: Final = (SentList.State.TRIED, SentList.State.WRONG, SentList.State.STOPPED)
# Its file is forgotten then.
KEPT_DAYS: Final = timedelta(days=7)


class TakeForm(PageForm):
    sure = forms.BooleanField(label=_("These are others: keep them too"), required=False)


class OneList(Acts):
    """One list of one's own."""

    template = "pages/sent_list.html"
    forms: ClassVar = {"take": ("pressed", TakeForm), "drop": ("pressed", Button)}

    def do(self, act: str, form: Any) -> str:
        id = self.kwargs["id"]
        if act == "drop":
            long_lists.drop_list(self.actor, id=id)
            return "/import"
        long_lists.take_in(self.actor, id=id, now=self.now, **form.cleaned_data)
        return f"/sent-lists/{id}"

    def page(self, status: int = 200, **forms: Any) -> HttpResponse:
        row = long_lists.list_for(self.actor, self.kwargs["id"])
        working = row.state in WORKING
        if self.request.headers.get("HX-Request") and not working:
            return self.anew()
        told, pressed = row.found or {}, forms.get("pressed")
        found = as_kept(told) if "rows" in told else None
        return self.show(
            files={"": lambda: wrong_cells(self.reader, found.wrong)}
            if found and found.wrong
            else None,
            row=row,
            kind=KINDS[row.kind],
            found=found,
            why=kept_sentences.as_kept(told.get("why", row.why)),
            # What was tried in vain to take in may be there since.
            unsure=found and (found.known or found.twice or (pressed and "sure" in pressed.errors)),
            comma=found and (found.point == "," or found.parted in (";", "\t")),
            renews=working,
            reached=self._reached(row) if working else None,
            until=row.sent_at + KEPT_DAYS,
            pressed=pressed,
            form=self.form(TakeForm),
            again=self.form(FileForm) if row.state in SENT_ANEW else None,
            status=status,
        )

    def _reached(self, row: SentList) -> dict[str, Any]:
        """How far it is, and whether that is some time ago."""
        found: Reached | None = reached(row.id)
        return {
            "step": found.step if found else "",
            "done": found.done if found else 0,
            "whole": found.whole if found else None,
            "still": (found or Reached("", 0, None, row.asked_at)).stands_still(self.now),
        }
