"""A batch that is called off, or that failed, in all or in part, with something kept of it."""

from collections.abc import Iterable
from decimal import Decimal
from typing import Any, ClassVar, Final
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import tables
from api.pages.forms import GramsField, MoneyField, PageForm
from api.pages.screen import Screen
from formulas import batches, scrapping
from formulas.access import batch_for
from formulas.models import Batch
from ledger.roles import Verb

MOST: Final = 40
WAYS = [
    ("off", _("called off: what was weighed goes back to its lots")),
    ("away", _("it failed: what was weighed is thrown away")),
    ("part", _("a part of it failed: so much is thrown away, and the batch goes on")),
]


class StopForm(PageForm):
    called: ClassVar = {"/kept/quantity": "kept", "/kept/nrv": "brings", "/quantity": "part"}
    way = forms.ChoiceField(
        label=_("What becomes of it"), choices=WAYS, initial="off", widget=forms.RadioSelect
    )
    part = GramsField(
        label=_("How much is thrown away"),
        required=False,
        help_text=_(
            "Grams if no unit is named. It is a mixture by then: of each lot goes its share."
        ),
    )
    kept = GramsField(
        label=_("Kept, to be worked in again"),
        required=False,
        help_text=_("Of what failed; grams if no unit is named"),
    )
    brings = MoneyField(
        label=_("What that will bring"),
        required=False,
        help_text=_("All of it, less what it still costs to finish and sell"),
    )
    reason = forms.CharField(label=_("Why"), max_length=400)

    def clean(self) -> dict[str, Any]:
        typed = super().clean() or {}
        if typed.get("kept") and typed.get("way") != "away":
            self.add_error("kept", said("Something is kept only of what failed."))
        if (typed.get("part") is not None) != (typed.get("way") == "part"):
            self.add_error("part", said("So much is said where a part failed, and only there."))
        if typed.get("brings") is not None and not typed.get("kept"):
            self.add_error("kept", said("How much is kept?"))
        return typed


class StopBatch(Screen):
    """The end of a planned batch that does not come to a finish."""

    template = "pages/batch_stop.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        self.actor.must(Verb.MAKE)
        way = "part" if request.GET.get("way") == "part" else "off"
        return self._page(id, StopForm(reader=self.reader, initial={"way": way}))

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        form = StopForm(request.POST, reader=self.reader)
        return self.act(
            form,
            lambda: self._stop(id, form.cleaned_data),
            lambda done: self._afterwards(id, done),
            lambda: self._page(id, form, status=422),
        )

    def _stop(self, id: UUID, typed: dict[str, Any]) -> Any:
        facts = {"batch": id, "reason": typed["reason"], "happened_at": self.now}
        if typed["way"] == "off":
            return batches.cancel_batch(self.actor, **facts)
        if typed["way"] == "part":
            return scrapping.scrap_part(self.actor, quantity=typed["part"], **facts)
        kept = scrapping.Kept(typed["kept"], typed["brings"]) if typed["kept"] else None
        return scrapping.scrap_batch(self.actor, kept=kept, **facts)

    def _afterwards(self, id: UUID, done: Any) -> str:
        """The batch; where it goes on, what was thrown away of each lot, to be taken back there."""
        goes_on = isinstance(done, scrapping.Scrapped) and done.batch.state == Batch.State.PLANNED
        return f"/entries/{done.entry_id}" if goes_on else f"/batches/{id}"

    def _page(self, id: UUID, form: PageForm, *, status: int = 200) -> HttpResponse:
        batch = batch_for(self.actor, id)
        scraps = scrapping.scraps_of(self.actor, batch)
        return self.show(
            files={"": lambda: _scraps(batch, scraps[: tables.MOST_ROWS + 1])},
            batch=batch,
            scraps=list(scraps[:MOST]),
            form=form,
            status=status,
        )


def _scraps(batch: Batch, rows: Iterable[Any]) -> tables.Table:
    """What was thrown away of a batch as a table."""
    columns = [said("When"), said("Thrown away, g"), said("Why"), said("Taken back")]
    cells = (
        (
            *(row.happened_at.isoformat(), Decimal(row.details["scrapped"]), row.reason),
            said("taken back") if row.reversed_by else "",
        )
        for row in rows
    )
    return tables.Table(f"{batch.code}-thrown-away", columns, cells)
