"""One entry of the books: what it moved, and taking it back."""

from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext_lazy as _

from api.pages.forms import PageForm
from api.pages.screen import Screen
from formulas.undoing import undo
from ledger.entry_reading import entry_for
from ledger.models import Entry as Kept
from ledger.roles import Verb


class UndoForm(PageForm):
    reason = forms.CharField(label=_("Why it is taken back"), max_length=400)


class Entry(Screen):
    """What was posted, line by line; a mistake is taken back by an entry of its own."""

    template = "pages/entry.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        return self._page(id, UndoForm(reader=self.reader))

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        form = UndoForm(request.POST, reader=self.reader)
        return self.act(
            form,
            lambda: undo(self.actor, entry=id, happened_at=self.now, **form.cleaned_data),
            lambda undone: f"/entries/{undone.posted.entry_id}",
            lambda: self._page(id, form, status=422),
        )

    def _page(self, id: UUID, form: PageForm, status: int = 200) -> HttpResponse:
        entry, postings = entry_for(self.actor, id)
        over = entry.reverses_id or entry.reversed_by  # type: ignore[attr-defined]
        return self.show(
            entry=entry,
            postings=postings,
            form=form,
            may_undo=self.actor.may(Verb.REVERSE)
            and not over
            and entry.kind != Kept.Kind.COST_FORMULA,
            may_see_costs=self.actor.may(Verb.SEE_COSTS),
            status=status,
        )
