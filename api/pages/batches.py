"""Batches: planning one, finishing it, calling it off, and what came of it."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, ClassVar
from uuid import UUID

from django import forms
from django.db.models import Max
from django.db.models.functions import Lower
from django.http import HttpRequest, HttpResponse
from django.utils.safestring import SafeString
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.far_days import refuse_far
from api.pages import plots, side_tables, tables
from api.pages.forms import (
    Button,
    DayField,
    PageForm,
    QuantityField,
    SureField,
    id_in,
    unsure,
)
from api.pages.joint import Split
from api.pages.reader import Reader
from api.pages.screen import Screen
from api.pages.window_words import MEASURES, asked
from api.pages.workings import Working
from api.pages.yields import yields_of
from api.separators import NUMBER
from api.sheets.batch import batch_sheet
from formulas import batches, finishing, second_looks
from formulas.access import batch_for, batches_of, formulas_of, on_paper, products_of, with_begun
from formulas.bench import bench_of
from formulas.beside import lots_beside
from formulas.costing import BatchCost
from formulas.explaining import explain
from formulas.finishing import yield_of
from formulas.joint_products import joint_products_of
from formulas.models import Making
from formulas.planning import Planned
from formulas.recipes import infusion_of
from formulas.repicking import reserve_again
from formulas.shares import TOLERANCE_PERCENT
from formulas.steeping import learned_retention, steeped_of
from formulas.undoing import undo
from formulas.weighed_out import with_weighed_out
from ledger.access import day_of, find
from ledger.errors import Conflict, Invalid
from ledger.roles import Verb

MOST = 40
# Beyond that many grams, and so many times the largest batch so far, a size is asked once.
MUCH_GRAMS, TIMES = Decimal(20_000), 10
# Nobody plans a batch further away.
YEARS = 5
STATES = [("", _("all")), ("planned", _("to be made")), ("finished", _("made"))]
# Pieces, with or without the word.
PIECES = re.compile(r"([0-9]{1,7})(?:\s*(?:pieces?|pcs?|units?|each|ea)\.?)?", re.IGNORECASE)
# A page shows so many weighings; the file has all.
MOST_WEIGHINGS = 60


class StateForm(PageForm):
    state = forms.ChoiceField(label=_("Show"), required=False, choices=STATES)


class Batches(Screen):
    """The maker's batches, the latest first."""

    template = "pages/batches.html"
    fragment = "pages/batches_found.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        form = StateForm(request.GET, reader=self.reader)
        state = form.cleaned_data.get("state", "") if form.is_valid() else ""
        rows = with_begun(batches_of(self.actor)).order_by("-id")
        if state:
            rows = rows.filter(state=state)
        kind = tables.asked(request)
        if kind:
            return tables.file(kind, _table(rows[: tables.MOST_ROWS + 1]))
        after = id_in(request.GET.get("after", ""))
        if after:
            rows = rows.filter(id__lt=after)
        # The file does not tell it, and has very many rows.
        found = list(with_weighed_out(rows)[: MOST + 1])
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
    called: ClassVar = {
        **dict.fromkeys(("/units", "/batch", "/output"), "size"),
        **dict.fromkeys(("/product", "/formula"), "what"),
    }

    what = forms.ChoiceField(label=_("What is to be made"))
    size = forms.CharField(
        label=_("How much"),
        max_length=64,
        help_text=_(
            "Of a product its pieces, such as 40; of bulk what goes into the pot, such as 5 kg"
        ),
    )
    planned_for = DayField(label=_("On which day"))
    sure = SureField()

    def __init__(self, *args: Any, kinds: Any, **how: Any) -> None:
        super().__init__(*args, **how)
        self.fields["what"].choices = kinds  # type: ignore[attr-defined]

    def clean_size(self) -> batches.Size:
        """Pieces where it is a bare number, otherwise what goes into the pot."""
        typed = self.cleaned_data["size"].strip()
        if pieces := PIECES.fullmatch(typed):
            return batches.Size(units=int(pieces[1]))
        quantity = QuantityField()
        quantity.reader = self.reader
        return batches.Size(batch=quantity.clean(typed))

    def clean(self) -> dict[str, Any]:
        typed = super().clean() or {}
        size = typed.get("size")
        if not size or not typed.get("what"):
            return typed
        filled = typed["what"].startswith("product:")
        if size.units is not None and not filled:
            only = _("Only a filled product is made in pieces; say kilograms, such as 5 kg.")
            self.add_error("size", only)
        elif filled and size.units is None:
            self.add_error("size", _("A product is planned in pieces: say how many, such as 40."))
        return typed

    def told(self) -> dict[str, Any]:
        kind, _dot, id = self.cleaned_data["what"].partition(":")
        typed = self.cleaned_data
        return {kind: id, "size": typed["size"], "planned_for": typed["planned_for"]}

    @property
    def is_sure(self) -> bool:
        return bool(self.cleaned_data["sure"])


class Plan(Screen):
    """A new batch: the lots are chosen and promised, and what is short is said."""

    template = "pages/batch_new.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        self.actor.must(Verb.MAKE)
        asked, day = request.GET, day_of(self.actor, self.now)
        first = {"planned_for": day, "what": asked.get("what", ""), "size": ""}
        if NUMBER.fullmatch(asked.get("grams", "")):
            first["size"] = self.reader.typed(Decimal(asked["grams"]))
        elif PIECES.fullmatch(asked.get("pieces", "")):
            first["size"] = asked["pieces"]
        return self.show(form=self._form(initial=first))

    def post(self, request: HttpRequest) -> HttpResponse:
        form = self._form(request.POST)
        return self.act(
            form,
            lambda: self._plan(form.told(), sure=form.is_sure),
            lambda planned: f"/batches/{planned.batch.id}",
            lambda: self.show(form=form, status=422),
        )

    def _plan(self, told: dict[str, Any], *, sure: bool) -> Planned:
        today, day = day_of(self.actor, self.now), told["planned_for"]
        if day.year < today.year - YEARS:
            raise Invalid(said("This day is long past."), pointer="/planned_for")
        refuse_far(day, today, YEARS, "/planned_for")
        earlier = batches_of(self.actor).aggregate(most=Max("batch_grams"))["most"]
        planned = batches.plan_batch(self.actor, **told)
        questions = [*self._long_over(day, today), *self._far_more(planned, earlier)]
        if questions and not sure:
            raise unsure(" ".join(questions))
        return planned

    def _long_over(self, day: date, today: date) -> list[str]:
        """A day that is over is mostly a slip, and sometimes when it was made."""
        if day >= today:
            return []
        return [said("%(day)s is over: was it made then?") % {"day": self.reader.day(day)}]

    def _far_more(self, planned: Planned, earlier: Decimal | None) -> list[str]:
        """A batch far beyond all others is mostly a slip of the unit."""
        grams = planned.batch.batch_grams
        if grams <= max(MUCH_GRAMS, TIMES * (earlier or 0)):
            return []
        told = said("%(grams)s would go in, far more than into any batch so far.")
        return [told % {"grams": self.reader.quantity(grams)}]

    def _form(self, data: Any = None, **how: Any) -> PlanForm:
        formulas = formulas_of(self.actor).order_by(Lower("name")).values_list("id", "name")[:300]
        products = products_of(self.actor).prefetch_related(None).order_by(Lower("name"))[:300]
        kinds = [
            (said("Filled"), [(f"product:{one.id}", one.name) for one in products]),
            (said("In bulk"), [(f"formula:{id}", name) for id, name in formulas]),
        ]
        return PlanForm(data, reader=self.reader, kinds=kinds, **how)


class BatchSheet(Screen):
    """The sheet of a batch, to print, follow, fill in and sign."""

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        batch = find(on_paper(batches_of(self.actor).select_related("maker")), id)
        sheet = batch_sheet(
            batch,
            maker=batch.maker.name,
            printed_at=self.now,
            tolerance_percent=TOLERANCE_PERCENT,
            paper="a4",
            hand=self.reader,
        )
        return self.printed(sheet)


class WhyForm(PageForm):
    reason = forms.CharField(label=_("Why"), max_length=400)


class Batch(Screen):
    """One batch: what goes in, how far it is, and what came of it, whose end may be undone."""

    template = "pages/batch.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        return self._page(id)

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        if request.POST.get("do") == "choose":
            choosing = Button(request.POST, reader=self.reader)
            return self.act(
                choosing,
                lambda: reserve_again(self.actor, batch=id),
                lambda chosen: f"/batches/{id}",
                lambda: self._page(id, choosing=choosing, status=422),
            )
        form = WhyForm(request.POST, reader=self.reader)
        return self.act(
            form,
            lambda: self._reopen(id, form.cleaned_data["reason"]),
            lambda done: f"/batches/{id}",
            lambda: self._page(id, form=form, status=422),
        )

    def _reopen(self, id: UUID, reason: str) -> Any:
        """Undo what ended the batch: its finish, or that it was called off."""
        found = batch_for(self.actor, id)
        ended_by = found.making.entry_id if found.making else found.cancel_entry_id
        if ended_by is None:
            raise Conflict(said("Nothing has ended this batch, so there is nothing to undo."))
        return undo(self.actor, entry=ended_by, reason=reason, happened_at=self.now)

    def _page(
        self,
        id: UUID,
        *,
        form: PageForm | None = None,
        choosing: PageForm | None = None,
        status: int = 200,
    ) -> HttpResponse:
        bench = bench_of(self.actor, id)
        making = bench.batch.making
        weighings = list(bench.weighings[:MOST_WEIGHINGS])
        second_looks.look_up(weighings)
        facts: dict[str, Any] = {"bench": bench, "making": making, "cautions": bench.cautions}
        files: dict[str, Any] = {
            "": lambda: side_tables.going_in(bench),
            "weighed": lambda: side_tables.weighed_in(bench),
            "measured": lambda: side_tables.measured_at(bench),
        }
        version = bench.batch.version
        facts["infusion"] = infusion_of(version)
        steeped = steeped_of(making, version) if making is not None else None
        if steeped is not None:
            facts["steeped"] = steeped
            files["steeped"] = lambda: side_tables.steeping(bench.batch.code, steeped)
        elif making is None:
            facts["kept"] = learned_retention(bench.batch)
        facts["wholly"] = bench.settled == len(bench.turns)
        if making is not None:
            facts |= self._came_out(bench.batch, making, files)
        return self.show(
            files=files,
            form=form or WhyForm(reader=self.reader),
            choosing=choosing or Button(reader=self.reader),
            packaging=bench.packaging,
            lacks=bench.lacks,
            measured=[(MEASURES[row.measure], row, how) for row, how in bench.measured],
            asked=asked(bench.windows.values(), self.reader),
            weighings=weighings,
            more=max(0, len(bench.weighings) - MOST_WEIGHINGS),
            may_make=self.actor.may(Verb.MAKE),
            may_undo=self.actor.may(Verb.REVERSE),
            may_see_costs=self.actor.may(Verb.SEE_COSTS),
            status=status,
            **facts,
        )

    def _came_out(self, batch: Any, making: Making, files: dict[str, Any]) -> dict[str, Any]:
        """What came of a finished batch, beside others of its formula, and what it cost."""
        about = {"batch": batch.id, "formula": batch.version.formula_id}
        yields = yields_of(self.actor, **about, reader=self.reader)
        files["yields"] = lambda: side_tables.yields_table(yields["yields"])
        if self.actor.may(Verb.SEE_COSTS):
            cost = Cost.of(finishing.cost_of(making), self.reader)
            yields["cost"], files["cost"] = cost, cost.table
        return {
            **yields,
            "planned_otherwise": day_of(self.actor, making.happened_at) != batch.planned_for,
            "beside": lots_beside(making),
            "yielded": yield_of(making, batch),
        }


@dataclass(frozen=True, slots=True)
class Cost:
    """What a batch cost, as a plot and its table."""

    cost: BatchCost
    parts: list[tuple[str, Decimal]]
    plot: SafeString
    currency: str

    @classmethod
    def of(cls, cost: BatchCost, reader: Reader) -> "Cost":
        named = [
            (said("Materials"), cost.materials),
            (said("Packaging"), cost.packaging),
            (said("Work"), cost.labour),
            (said("Overhead"), cost.overhead),
        ]
        parts = [(name, amount) for name, amount in named if amount]
        currency = reader.currency
        plot = plots.bars(said("What it cost"), parts, x=currency, numbers=reader.numbers)
        return cls(cost, parts, plot, currency)

    @property
    def taken(self) -> list[tuple[str, Decimal, str]]:
        """What of it is not carried by what the batch was made for, and the figure it opens to."""
        named = [
            (said("By-products, at what they will bring"), self.cost.by_products, ""),
            (said("Carried by its other products"), self.cost.joint_products, "split"),
            (said("Expensed, as an unusual loss"), self.cost.abnormal, ""),
        ]
        return [one for one in named if one[1]]

    def table(self) -> tables.Table:
        """The same as a file."""
        rows = [*self.parts, *((name, -amount) for name, amount, _figure in self.taken)]
        rows.append((said("What is good carries"), self.cost.total))
        return side_tables.named("cost", self.currency, rows)


class BatchWorking(Working):
    """How the figures of a batch came about, or what each of its products carries of its cost;
    opened in place."""

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        making = None
        if request.GET.get("figure") == "split":
            self.actor.must(Verb.SEE_COSTS)
            making = batch_for(self.actor, id).making
        if making is not None and (products := joint_products_of(making)):
            carried = Split(making, products, self.reader).carried
            return self.opened(carried, f"/batches/{id}", making.batch.code)
        return self.opened(explain(self.actor, id), f"/batches/{id}")
