"""Batches: planning one, weighing it at the bench, finishing it, and what came of it."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, ClassVar
from uuid import UUID

from django import forms
from django.db.models.functions import Lower
from django.http import HttpRequest, HttpResponse
from django.utils.safestring import SafeString
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import plots, side_tables, tables
from api.pages.forms import (
    DayField,
    GramsField,
    NumberField,
    PageForm,
    QuantityField,
    Typed,
    WholeField,
    id_in,
    within_years,
)
from api.pages.screen import Screen
from formulas import batches, finishing
from formulas.access import batches_of, formulas_of, products_of
from formulas.bench import Bench, Turn, bench_of, weigh_from_label
from formulas.costing import BatchCost
from formulas.explaining import explain
from formulas.judging import Measure
from formulas.measurements import record_measurement
from formulas.planning import Planned
from formulas.undoing import undo
from ledger.access import day_of
from ledger.quantities import Quantity
from ledger.roles import Verb

MOST = 40
# Nobody plans a batch further away.
YEARS = 5
STATES = [("", _("all")), ("planned", _("to be made")), ("finished", _("made"))]
MEASURES = [
    (Measure.PH, _("pH")),
    (Measure.TEMPERATURE, _("temperature")),
    (Measure.VISCOSITY, _("viscosity")),
    (Measure.FLOW_TIME, _("flow time")),
    (Measure.APPEARANCE, _("how it looks")),
]


class StateForm(PageForm):
    state = forms.ChoiceField(label=_("Show"), required=False, choices=STATES)


class Batches(Screen):
    """The maker's batches, the latest first."""

    template = "pages/batches.html"
    fragment = "pages/batches_found.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        form = StateForm(request.GET, reader=self.reader)
        state = form.cleaned_data.get("state", "") if form.is_valid() else ""
        rows = batches_of(self.actor).order_by("-id")
        if state:
            rows = rows.filter(state=state)
        kind = tables.asked(request)
        if kind:
            return tables.file(kind, _table(rows[: tables.MOST_ROWS + 1]))
        after = id_in(request.GET.get("after", ""))
        if after:
            rows = rows.filter(id__lt=after)
        found = list(rows[: MOST + 1])
        more = found[MOST - 1].id if len(found) > MOST else None
        return self.show(form=form, batches=found[:MOST], more=more, state=state, may=self._may())

    def _may(self) -> bool:
        return self.actor.may(Verb.MAKE)


def _table(rows: Iterable[Any]) -> tables.Table:
    """The batches as a table: what was planned, and what came out."""
    columns = [said("Batch"), said("What"), said("Version"), said("Planned for"), said("State")]
    columns += [said("Goes in, g"), said("Came out, g"), said("Pieces")]
    cells = (
        (
            *(one.code, one.product.name if one.product else one.version.formula.name),
            *(one.version.number, one.planned_for, one.state, one.batch_grams),
            one.making.output_grams if one.making else None,
            one.making.units if one.making else one.units,
        )
        for one in rows
    )
    return tables.Table("batches", columns, cells)


class PlanForm(PageForm):
    what = forms.ChoiceField(label=_("What is to be made"))
    size = forms.CharField(
        label=_("How much"),
        max_length=64,
        help_text=_("Kilograms that go into the pot, such as 5 kg; of a product also pieces: 40"),
    )
    planned_for = DayField(label=_("On which day"))

    def __init__(self, *args: Any, kinds: Any, **how: Any) -> None:
        super().__init__(*args, **how)
        self.fields["what"].choices = kinds  # type: ignore[attr-defined]

    def clean_size(self) -> batches.Size:
        """Pieces where it is a bare number, otherwise what goes into the pot."""
        typed = self.cleaned_data["size"].strip()
        if typed.isdecimal() and len(typed) < 8:
            return batches.Size(units=int(typed))
        quantity = QuantityField()
        quantity.reader = self.reader
        return batches.Size(batch=quantity.clean(typed))

    def told(self) -> dict[str, Any]:
        kind, _dot, id = self.cleaned_data["what"].partition(":")
        typed = self.cleaned_data
        return {kind: id, "size": typed["size"], "planned_for": typed["planned_for"]}


class Plan(Screen):
    """A new batch: the lots are chosen and promised, and what is short is said."""

    template = "pages/batch_new.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        self.actor.must(Verb.MAKE)
        first = {"planned_for": day_of(self.actor, self.now), "what": request.GET.get("what", "")}
        return self.show(form=self._form(initial=first))

    def post(self, request: HttpRequest) -> HttpResponse:
        form = self._form(request.POST)
        return self.act(
            form,
            lambda: self._plan(form.told()),
            lambda planned: f"/batches/{planned.batch.id}",
            lambda: self.show(form=form, status=422),
        )

    def _plan(self, told: dict[str, Any]) -> Planned:
        today = day_of(self.actor, self.now)
        within_years(told["planned_for"], today, YEARS, "/planned_for")
        return batches.plan_batch(self.actor, **told)

    def _form(self, data: Any = None, **how: Any) -> PlanForm:
        formulas = formulas_of(self.actor).order_by(Lower("name")).values_list("id", "name")[:300]
        products = products_of(self.actor).prefetch_related(None).order_by(Lower("name"))[:300]
        kinds = [
            (said("Filled"), [(f"product:{one.id}", one.name) for one in products]),
            (said("In bulk"), [(f"formula:{id}", name) for id, name in formulas]),
        ]
        return PlanForm(data, reader=self.reader, kinds=kinds, **how)


class Batch(Screen):
    """One batch: what goes in, how far it is, and what came of it."""

    template = "pages/batch.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        bench = bench_of(self.actor, id)
        making = bench.batch.making
        facts: dict[str, Any] = {"bench": bench, "making": making}
        files: dict[str, Any] = {"": lambda: side_tables.going_in(bench)}
        if making is not None:
            facts["yielded"] = finishing.yield_of(making, bench.batch)
            if self.actor.may(Verb.SEE_COSTS):
                cost = Cost.of(finishing.cost_of(making), self.actor.currency)
                facts["cost"], files["cost"] = cost, cost.table
        return self.show(
            files=files,
            may_make=self.actor.may(Verb.MAKE),
            may_see_costs=self.actor.may(Verb.SEE_COSTS),
            **facts,
        )


@dataclass(frozen=True, slots=True)
class Cost:
    """What a batch cost, as a plot and its table."""

    cost: BatchCost
    parts: list[tuple[str, Decimal]]
    plot: SafeString
    currency: str

    @classmethod
    def of(cls, cost: BatchCost, currency: str) -> "Cost":
        named = [
            (said("Materials"), cost.materials),
            (said("Packaging"), cost.packaging),
            (said("Work"), cost.labour),
            (said("Overhead"), cost.overhead),
        ]
        parts = [(name, amount) for name, amount in named if amount]
        return cls(cost, parts, plots.bars(said("What it cost"), parts, x=currency), currency)

    def table(self) -> tables.Table:
        """The same as a file."""
        lost = [(said("Expensed, as an unusual loss"), -self.cost.abnormal)]
        rows = [*self.parts, *(lost if self.cost.abnormal else ())]
        rows.append((said("What is good carries"), self.cost.total))
        return side_tables.named("cost", self.currency, rows)


class BatchWorking(Screen):
    """How the figures of a batch came about; opened in place."""

    template = "pages/working_page.html"
    fragment = "pages/working.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        return self.show(figure=explain(self.actor, id), back=f"/batches/{id}")


class WeighForm(PageForm):
    line = forms.UUIDField(widget=forms.HiddenInput)
    lot = forms.CharField(
        label=_("Lot"),
        max_length=120,
        required=False,
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"}),
    )
    quantity = GramsField(label=_("On the scale"), help_text=_("Grams if no unit is named"))
    deviation = forms.CharField(
        label=_("Reason, if a rule is not kept"), max_length=400, required=False
    )


class UndoForm(PageForm):
    entry = forms.UUIDField(widget=forms.HiddenInput)
    reason = forms.CharField(label=_("Why it is taken back"), max_length=400)


class ReadingField(Typed):
    """What an instrument showed, "5.6" or "72 degC"; what was measured says how it is read."""

    def read(self, typed: str) -> str:
        return typed


class MeasureForm(PageForm):
    measure = forms.ChoiceField(label=_("What was measured"), choices=MEASURES)
    value = ReadingField(label=_("What it showed"), help_text=_("5.6 for a pH, 72 degC when hot"))


class AtBench(Screen):
    """One ingredient at a time."""

    template = "pages/at_bench.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        return self._page(id)

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        here, do = f"/batches/{id}/bench", request.POST.get("do")
        if do == "undo":
            undoing = UndoForm(request.POST, reader=self.reader)
            return self.act(
                undoing,
                lambda: undo(self.actor, happened_at=self.now, **undoing.cleaned_data),
                lambda undone: here,
                lambda: self._page(id, undoing=undoing, status=422),
            )
        if do == "measure":
            measuring = MeasureForm(request.POST, reader=self.reader)
            return self.act(
                measuring,
                lambda: self._measure(id, measuring.cleaned_data),
                lambda kept: here,
                lambda: self._page(id, measuring=measuring, status=422),
            )
        form = WeighForm(request.POST, reader=self.reader)
        return self.act(
            form,
            lambda: self._weigh(id, form.cleaned_data),
            lambda weighed: f"{here}?line={form.cleaned_data['line']}&after=1",
            lambda: self._page(id, form=form, status=422),
        )

    def _weigh(self, id: UUID, typed: dict[str, Any]) -> Any:
        quantity: Quantity = typed["quantity"]
        return weigh_from_label(
            self.actor,
            batch=id,
            line=typed["line"],
            label=typed["lot"],
            quantity=quantity,
            happened_at=self.now,
            deviation=typed["deviation"],
        )

    def _measure(self, id: UUID, typed: dict[str, Any]) -> Any:
        return record_measurement(
            self.actor,
            batch=id,
            measure=Measure(typed["measure"]),
            value=typed["value"],
            happened_at=self.now,
        )

    def _page(
        self,
        id: UUID,
        *,
        form: PageForm | None = None,
        undoing: PageForm | None = None,
        measuring: PageForm | None = None,
        status: int = 200,
    ) -> HttpResponse:
        self.actor.must(Verb.MAKE)
        bench = bench_of(self.actor, id)
        turn = self._turn(bench, form)
        first = {"line": turn.line.id} if turn else {}
        return self.show(
            bench=bench,
            turn=turn,
            form=form or WeighForm(reader=self.reader, initial=first),
            undoing=undoing or UndoForm(reader=self.reader, initial=_last(bench)),
            measuring=measuring or MeasureForm(reader=self.reader),
            status=status,
        )

    def _turn(self, bench: Bench, form: PageForm | None) -> Turn | None:
        """The line that was asked for; after a weighing the next one that is not done."""
        wanted = self.request.GET.get("line", "")
        if form is not None:
            wanted = str(form.data.get("line", ""))
        turn = bench.turn(wanted)
        if turn and turn.done and self.request.GET.get("after"):
            return bench.turn("")
        return turn


def _last(bench: Bench) -> dict[str, Any]:
    return {"entry": bench.weighings[0].entry_id} if bench.weighings else {}


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
        return finishing.finish(
            self.actor,
            batch=id,
            output=typed["output"],
            units=typed["units"],
            labour_minutes=typed["labour_minutes"],
            release_basis=typed["basis"] or None,
            happened_at=self.now,
        )

    def _page(self, id: UUID, *, form: PageForm | None = None, status: int = 200) -> HttpResponse:
        self.actor.must(Verb.MAKE)
        bench = bench_of(self.actor, id)
        first = {"units": bench.batch.units}
        return self.show(
            bench=bench, form=form or FinishForm(reader=self.reader, initial=first), status=status
        )
