"""One entry of the books: what it moved, and taking it back."""

from collections.abc import Iterable
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import tables
from api.pages.forms import (
    PageForm,
    UndoReasonField,
)
from api.pages.screen import Screen
from api.pages.words import held
from formulas.undoing import undo
from ledger.decanting import decantings_of
from ledger.entry_reading import entry_for
from ledger.models import Entry as Kept
from ledger.models import Posting
from ledger.roles import Verb


class UndoForm(PageForm):
    reason = UndoReasonField(
        _("typed wrongly"),
        _("written twice"),
        label=_("Why it is taken back"),
        max_length=400,
    )


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
        drawn = entry.kind == Kept.Kind.DECANT
        return self.show(
            files={"": lambda: self._table(entry.kind, postings)},
            entry=entry,
            decanting=decantings_of(self.actor).filter(entry=id).first() if drawn else None,
            postings=postings,
            form=form,
            may_undo=self.actor.may(Verb.REVERSE)
            and not over
            and entry.kind != Kept.Kind.COST_FORMULA,
            may_see_costs=self.actor.may(Verb.SEE_COSTS),
            status=status,
        )

    def _table(self, kind: str, postings: Iterable[Posting]) -> tables.Table:
        """The lines of the entry, with their values for whoever may see costs."""
        costs = self.actor.may(Verb.SEE_COSTS)
        columns = [said("Where"), said("Lot"), said("Material"), said("Quantity"), said("Unit")]
        columns += [f"{said('Worth')}, {self.actor.currency}"] if costs else []
        cells: list[tuple[tables.Cell, ...]] = []
        for line in postings:
            moved: tuple[tables.Cell, ...] = ("", "", None, "")
            if line.lot is not None:
                material = line.lot.material
                unit = tables.unit_of(material.counted)
                moved = (line.lot.code, material.name, line.quantity, unit)
            worth = (line.value,) if costs else ()
            cells.append((held(line.account.kind), *moved, *worth))
        return tables.Table(kind, columns, cells)
