"""The end of a batch: what came out, and what is mostly a slip asked once."""

from decimal import Decimal
from typing import Any, ClassVar, Final
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages.forms import NumberField, PageForm, QuantityField, SureField, WholeField, unsure
from api.pages.screen import Screen
from formulas import finishing
from formulas.bench import TOLERANCE_PERCENT, Bench, bench_of
from formulas.caution_facts import of_finish
from ledger.roles import Verb

MOST_NAMED: Final = 6


class FinishForm(PageForm):
    output = QuantityField(label=_("What came out"), help_text=_("All of it, such as 4.9 kg"))
    units = WholeField(
        label=_("Filled pieces"),
        required=False,
        min_value=1,
        max_value=1_000_000,
        help_text=_("Left empty, it stays in bulk and is filled later"),
    )
    labour_minutes = NumberField(label=_("Minutes it took in all"), required=False)
    basis = forms.CharField(
        label=_("Release at once, because"),
        max_length=400,
        required=False,
        help_text=_("Left empty, the lot waits in quarantine"),
    )
    sure = SureField()
    called: ClassVar = {"/release/basis": "basis"}


class Finish(Screen):
    """The end of a batch: all that was weighed in becomes one lot."""

    template = "pages/finish.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        return self._page(id)

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        form = FinishForm(request.POST, reader=self.reader)
        return self.act(
            form,
            lambda: self._finish(id, form.cleaned_data),
            lambda finished: f"/batches/{id}",
            lambda: self._page(id, form=form, status=422),
        )

    def _finish(self, id: UUID, typed: dict[str, Any]) -> Any:
        bench = bench_of(self.actor, id)
        finished = finishing.finish(
            self.actor,
            batch=id,
            output=typed["output"],
            units=typed["units"],
            labour_minutes=typed["labour_minutes"],
            release_basis=typed["basis"] or None,
            happened_at=self.done_at,
        )
        if not typed["sure"]:
            self._ask(bench, finished.making.output_grams)
        return finished

    def _ask(self, bench: Bench, output: Decimal) -> None:
        """Raises Invalid, once, for an end that is mostly a slip: what was not done is said."""
        missing = [turn.share.material.name for turn in bench.turns if not turn.done]
        if missing:
            names = ", ".join(missing[:MOST_NAMED]) + (" …" if missing[MOST_NAMED:] else "")
            raise unsure(said("Not all of it is weighed in: %s.") % names)
        if output > bench.grams * (100 + TOLERANCE_PERCENT) / 100:
            out, into = self.reader.quantity(output), self.reader.quantity(bench.grams)
            told = said("More came out than went in: %(out)s of %(in)s.")
            raise unsure(told % {"out": out, "in": into})

    def _page(self, id: UUID, *, form: PageForm | None = None, status: int = 200) -> HttpResponse:
        self.actor.must(Verb.MAKE)
        bench = bench_of(self.actor, id)
        first = {"units": bench.batch.units}
        return self.show(
            bench=bench,
            cautions=of_finish(bench.batch),
            form=form or FinishForm(reader=self.reader, initial=first),
            status=status,
        )
