"""Filled pieces emptied back into bulk: a wrong label or bottle, and good product in it."""

from decimal import Decimal
from typing import Any
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext_lazy as _

from api.pages.forms import GramsField, PageForm, WholeField
from api.pages.screen import Screen
from formulas.emptying import FilledLot, empty, filled_lot
from ledger.access import lot_for
from ledger.costing import round_stored
from ledger.errors import Conflict
from ledger.lot_reading import show_lot
from ledger.roles import Verb


class EmptyForm(PageForm):
    units = WholeField(label=_("How many pieces"), min_value=1, max_value=1_000_000)
    quantity = GramsField(
        label=_("What came out of them"),
        required=False,
        help_text=_("Left empty: as much as was filled into them; grams if no unit is named"),
    )
    reason = forms.CharField(
        label=_("Why they are emptied"), max_length=400, help_text=_("Such as: the wrong label")
    )

    def told(self) -> dict[str, Any]:
        return {name: value for name, value in self.cleaned_data.items() if value is not None}


class EmptyUnits(Screen):
    """Pieces of a lot, back into a lot of bulk at the cost of the bulk in them."""

    template = "pages/emptying.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        return self._page(id, EmptyForm(reader=self.reader))

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        form = EmptyForm(request.POST, reader=self.reader)
        return self.act(
            form,
            lambda: empty(self.actor, lot=id, happened_at=self.now, **form.told()),
            lambda done: f"/lots/{done.lot.id}",
            lambda: self._page(id, form, status=422),
        )

    def _page(self, id: UUID, form: PageForm, *, status: int = 200) -> HttpResponse:
        lot, filled = show_lot(self.actor, id), self._filled(id)
        return self.show(
            lot=lot,
            left=Decimal(lot["on_hand"].get("count", "0")),
            filled=filled,
            each=round_stored(filled.each_grams) if filled else None,
            form=form,
            may_make=self.actor.may(Verb.MAKE),
            status=status,
        )

    def _filled(self, id: UUID) -> FilledLot | None:
        """How the pieces were filled; nothing for a lot of anything else."""
        try:
            return filled_lot(self.actor, lot_for(self.actor, id))
        except Conflict:
            return None
