"""The end of a batch: what came out, and what is mostly a slip asked once."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any, ClassVar, Final
from uuid import UUID

from django import forms
from django.db.models import QuerySet
from django.db.models.functions import Lower
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages.forms import (
    MoneyField,
    NumberField,
    PageForm,
    QuantityField,
    SureField,
    WholeField,
    unsure,
)
from api.pages.joint import JointFields, Split
from api.pages.screen import Screen
from api.pages.window_words import Asked, asked
from formulas import finishing
from formulas.access import batch_for
from formulas.bench import Bench, bench_of
from formulas.by_products import ByProductDraft
from formulas.caution_facts import of_finish
from formulas.drawing import Sample
from formulas.joint_products import joint_products_of
from formulas.models import Batch, JointProduct, Making
from formulas.outcomes import AbnormalLoss
from formulas.recipes import infusion_of
from formulas.shares import TOLERANCE_PERCENT
from ledger.access import Actor, materials_visible_to
from ledger.errors import Invalid, Refusal
from ledger.finding import material_named
from ledger.models import Material
from ledger.roles import Verb

MOST_NAMED: Final = 6
MOST_NAMES: Final = 300
SAMPLES: Final = [("retained", _("kept as evidence")), ("sample", _("to be tested or shown"))]


class FinishForm(JointFields):
    output = QuantityField(label=_("What came out"), help_text=_("All of it, such as 4.9 kg"))
    units = WholeField(
        label=_("Filled pieces"),
        required=False,
        min_value=1,
        max_value=1_000_000,
        help_text=_("Left empty, it stays in bulk and is filled later"),
    )
    marc = QuantityField(
        label=_("What was strained out weighs"),
        required=False,
        help_text=_("With all the liquid that it kept, such as 180 g"),
    )
    labour_minutes = NumberField(label=_("Minutes it took in all"), required=False)
    label_version = forms.CharField(
        label=_("Which label the pieces get"),
        required=False,
        max_length=60,
        help_text=_("Its version or date, so that an old one can be found again"),
    )
    sample = QuantityField(
        label=_("Of it taken out as samples"),
        required=False,
        help_text=_("Such as 50 g, or 2 each of pieces; what came out has them in it"),
    )
    sample_purpose = forms.ChoiceField(label=_("What for"), choices=SAMPLES, required=False)
    loss = QuantityField(
        label=_("Lost beyond what is usual"),
        required=False,
        help_text=_("Spilt or burnt: an expense that the rest does not carry"),
    )
    loss_reason = forms.CharField(label=_("How it was lost"), max_length=400, required=False)
    beside = forms.CharField(
        label=_("What else came of it"),
        max_length=200,
        required=False,
        help_text=_("A by-product that can be used or sold, such as a hydrolate; it has its lot"),
        widget=forms.TextInput(attrs={"list": "materials", "autocomplete": "off"}),
    )
    beside_quantity = QuantityField(label=_("How much of it"), required=False)
    beside_nrv = MoneyField(
        label=_("What all of it will bring"),
        required=False,
        help_text=_("After what selling it costs; so much less the main product carries"),
    )
    basis = forms.CharField(
        label=_("Release at once, because"),
        max_length=400,
        required=False,
        help_text=_("Left empty, the lot waits in quarantine"),
    )
    sure = SureField()
    called: ClassVar = {
        **JointFields.called,
        "/release/basis": "basis",
        "/samples/0/quantity": "sample",
        "/by_products/0/material": "beside",
        "/by_products/0/quantity": "beside_quantity",
        "/by_products/0/nrv": "beside_nrv",
        "/abnormal_loss/quantity": "loss",
        "/abnormal_loss/reason": "loss_reason",
    }

    def fit(self, batch: Batch) -> "FinishForm":
        """Without what this batch has nothing to do with."""
        if infusion_of(batch.version) is None:
            del self.fields["marc"]
        if batch.product is None:
            # Bulk of no product has no hourly rate, and carries no labour.
            del self.fields["labour_minutes"]
        self.name_main(batch.version.formula.name)
        return self

    def clean(self) -> dict[str, Any]:
        typed = super().clean() or {}
        if typed.get("beside") and not typed.get("beside_quantity"):
            self.add_error("beside_quantity", _("How much of it came out?"))
        if typed.get("beside_quantity") and not typed.get("beside"):
            self.add_error("beside", _("What is it?"))
        return typed

    def told(self, actor: Actor) -> dict[str, Any]:
        """What was typed, as the verb takes it. Raises Invalid for a by-product not known."""
        typed = self.cleaned_data
        sample, loss = typed["sample"], typed["loss"]
        purpose = typed["sample_purpose"] or "retained"
        why = str(dict(SAMPLES)[purpose])
        return {
            "output": typed["output"],
            **{name: typed[name] for name in ("units", "label_version")},
            **{name: typed.get(name) for name in ("labour_minutes", "marc")},
            "by_products": self._by_products(actor),
            "joint": self.joint_told(actor),
            "samples": [Sample(sample, why, purpose)] if sample else [],
            "abnormal_loss": AbnormalLoss(loss, typed["loss_reason"]) if loss else None,
            "release_basis": typed["basis"] or None,
        }

    def _by_products(self, actor: Actor) -> list[ByProductDraft]:
        typed = self.cleaned_data
        if not typed["beside"]:
            return []
        made = material_named(actor, typed["beside"], pointer="/by_products/0/material")
        return [
            ByProductDraft(made.id, typed["beside_quantity"], typed["beside_nrv"] or Decimal(0))
        ]


class Finish(Screen):
    """The end of a batch: all that was weighed in becomes one lot.

    Of two products it is shown what each carries before anything is kept.
    """

    template = "pages/finish.html"
    split: Split | None = None

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        return self._page(id)

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        form = FinishForm(request.POST, reader=self.reader).fit(batch_for(self.actor, id))
        if request.POST.get("do") == "look":
            self._look(id, form)
            return self._page(id, form=form)
        return self.act(
            form,
            lambda: self._finish(id, form),
            lambda finished: f"/batches/{id}",
            lambda: self._page(id, form=form, status=422),
        )

    def _finish(self, id: UUID, form: FinishForm) -> Any:
        bench = bench_of(self.actor, id)
        finished = finishing.finish(
            self.actor, batch=id, happened_at=self.done_at, **form.told(self.actor)
        )
        self._shown(finished.making, joint_products_of(finished.making))
        if not form.cleaned_data["sure"]:
            told = form.cleaned_data
            explained = any(told.get(name) for name in ("loss", "beside", "joint"))
            self._ask(bench, finished.making.output_grams, explained=explained)
        if self.split and form.cleaned_data["seen"] != self.split.digest:
            again = said("Look at how the cost is split, then press “It is done” once more.")
            raise Invalid(again, pointer="/seen")
        return finished

    def _look(self, id: UUID, form: FinishForm) -> None:
        """How the cost would be split, or why it cannot be; nothing is kept."""
        if not form.is_valid():
            return
        if not form.cleaned_data["joint"]:
            form.add_error("joint", _("What is it?"))
            return
        try:
            told = form.told(self.actor)
            finished, products = finishing.try_finish(
                self.actor, batch=id, happened_at=self.done_at, **told
            )
            self._shown(finished.making, products)
        except Refusal as refusal:
            form.refuse(refusal)

    def _shown(self, making: Making, products: Sequence[JointProduct]) -> None:
        if products:
            self.split = Split(making, products, self.reader)

    def _ask(self, bench: Bench, output: Decimal, *, explained: bool) -> None:
        """Raises Invalid, once, for an end that is mostly a slip: what was not done is said.

        Less than half of what was to be expected is one, unless it is `explained` where it went.
        """
        missing = [turn.share.material.name for turn in bench.turns if not turn.done]
        if missing:
            names = ", ".join(missing[:MOST_NAMED]) + (" …" if missing[MOST_NAMED:] else "")
            raise unsure(said("Not all of it is weighed in: %s.") % names)
        if output > bench.grams * (100 + TOLERANCE_PERCENT) / 100:
            out, into = self.reader.quantity(output), self.reader.quantity(bench.grams)
            told = said("More came out than went in: %(out)s of %(in)s.")
            raise unsure(told % {"out": out, "in": into})
        awaited = bench.grams * bench.batch.output_grams / bench.batch.batch_grams
        if output * 2 < awaited and not explained:
            out, due = self.reader.quantity(output), self.reader.quantity(awaited)
            told = said("Only %(out)s came out, where %(due)s were to be expected.")
            raise unsure(told % {"out": out, "due": due})

    def _page(self, id: UUID, *, form: PageForm | None = None, status: int = 200) -> HttpResponse:
        self.actor.must(Verb.MAKE)
        bench = bench_of(self.actor, id)
        first = {"units": bench.batch.units}
        return self.show(
            bench=bench,
            cautions=of_finish(bench.batch),
            unmet=[one for one in self._asked(bench) if not one.is_met],
            materials=list(self._bought().values_list("name", flat=True)[:MOST_NAMES]),
            form=form or FinishForm(reader=self.reader, initial=first).fit(bench.batch),
            split=self.split,
            looked=self.request.POST.get("do") == "look",
            may_see_costs=self.actor.may(Verb.SEE_COSTS),
            status=status,
        )

    def _asked(self, bench: Bench) -> list[Asked]:
        """What the formula asks to be measured, with the last of each."""
        return asked(bench.windows.values(), self.reader, bench.measured)

    def _bought(self) -> "QuerySet[Material]":
        """What a by-product may be: stocked, and made by nobody as a product."""
        rows = materials_visible_to(self.actor).filter(maker=None, stocked=True)
        return rows.order_by(Lower("name"))
