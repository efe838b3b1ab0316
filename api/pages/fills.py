"""Filling: bulk that waits for it, the fill itself, and what weighed pieces say of it."""

import re
from decimal import Decimal
from typing import Any, ClassVar, Final
from uuid import UUID

from django import forms
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.utils.safestring import SafeString
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import plots, tables
from api.pages.forms import GramsField, PageForm, QuantityField, Typed
from api.pages.screen import Screen
from formulas import fill_reading, filling, unit_weighings
from formulas.access import batch_for, fills_of
from formulas.drawing import Sample
from formulas.fill_reading import PastYield, UnitsSeen
from formulas.leftovers import Leftover
from formulas.models import Batch
from formulas.unit_weighings import FilledUnits, Weighed
from ledger.access import Actor, day_of, find
from ledger.errors import Refusal
from ledger.lot_reading import show_lot
from ledger.quantities import Quantity, parse_quantity
from ledger.roles import Verb

MOST_WEIGHED: Final = 200
RULES = [
    ("eu", _("three packers' rules (Directive 76/211/EEC)")),
    ("us", _("average and single package (NIST Handbook 133)")),
]


class Fills(Screen):
    """What waits to be filled, and what was."""

    template = "pages/fills.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        kind = tables.asked(request)
        if kind:
            return tables.file(kind, self._table())
        return self.show(
            waiting=fill_reading.bulk_waiting(self.actor),
            fills=fill_reading.latest_fills(self.actor),
            may_fill=self.actor.may(Verb.MAKE),
            may_see_costs=self.actor.may(Verb.SEE_COSTS),
        )

    def _table(self) -> tables.Table:
        columns = [said("Filled on"), said("Product"), said("Lot"), said("Bulk"), said("Pieces")]
        columns += [said("Bulk that went in, g"), said("Filled, g"), said("Not explained, g")]
        rows = fill_reading.latest_fills(self.actor, limit=tables.MOST_ROWS + 1)
        told = [(row, filling.reconciled(row, row.weighed_grams)) for row in rows]
        cells = [
            (
                *(
                    day_of(self.actor, row.happened_at),
                    row.product.name,
                    row.lot.code,
                    row.bulk_lot.code,
                ),
                *(row.units, found.bulk_in, found.filled, found.unexplained),
            )
            for row, found in told
            if not row.undone
        ]
        return tables.Table("fills", columns, cells)


class FillForm(PageForm):
    product = forms.ChoiceField(label=_("What it is filled into"))
    units = forms.IntegerField(
        label=_("Filled pieces"),
        min_value=1,
        max_value=1_000_000,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    used = QuantityField(
        label=_("Bulk that went in"),
        required=False,
        help_text=_("All of it, with what was lost; left empty, what the pieces should hold"),
    )
    samples = forms.IntegerField(
        label=_("Of them kept as samples"),
        required=False,
        min_value=1,
        max_value=1_000,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    heel = QuantityField(
        label=_("Left in the filler"),
        required=False,
        help_text=_("Thrown away; the pieces carry its cost"),
    )
    heel_reason = forms.CharField(label=_("Why it was left"), max_length=400, required=False)
    reject = QuantityField(
        label=_("Rejected"), required=False, help_text=_("Such as 120 g or 2 each; expensed")
    )
    reject_reason = forms.CharField(label=_("Why it was rejected"), max_length=400, required=False)
    basis = forms.CharField(
        label=_("Release at once, because"),
        max_length=400,
        required=False,
        help_text=_("Left empty, the lot waits in quarantine"),
    )
    deviation = forms.CharField(
        label=_("Reason, if a rule is not kept"), max_length=400, required=False
    )
    called: ClassVar = {
        "/heel/quantity": "heel",
        "/heel/reason": "heel_reason",
        "/rejects/0/quantity": "reject",
        "/rejects/0/reason": "reject_reason",
        "/samples/0/quantity": "samples",
        "/release/basis": "basis",
        "/mean_net": "used",
    }

    def __init__(self, *args: Any, products: Any, **how: Any) -> None:
        super().__init__(*args, **how)
        self.fields["product"].choices = products  # type: ignore[attr-defined]

    def told(self) -> dict[str, Any]:
        """What was typed, as the verb takes it."""
        typed = self.cleaned_data
        kept, heel, reject = typed["samples"], typed["heel"], typed["reject"]
        return {
            **{name: typed[name] for name in ("product", "units", "used", "deviation")},
            "samples": [Sample(parse_quantity(f"{kept} each"), "retained")] if kept else [],
            "heel": Leftover(heel, typed["heel_reason"]) if heel else None,
            "rejects": [Leftover(reject, typed["reject_reason"])] if reject else [],
            "release_basis": typed["basis"] or None,
        }


class BatchFill(Screen):
    """Bulk of a finished batch, filled into pieces of a product."""

    template = "pages/fill_new.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        return self._page(batch_for(self.actor, id))

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        batch = batch_for(self.actor, id)
        if batch.making is None:
            return self._page(batch, status=422)
        form = self._form(batch, request.POST)
        lot = batch.making.lot_id
        return self.act(
            form,
            lambda: filling.fill(self.actor, lot=lot, happened_at=self.now, **form.told()),
            lambda filled: f"/fills/{filled.filling.id}",
            lambda: self._page(batch, form=form, status=422),
        )

    def _form(self, batch: Batch, data: Any = None) -> FillForm:
        rows = fill_reading.products_from(self.actor, batch.version.formula_id)
        products = [(str(id), name) for id, name in rows.values_list("id", "name")[:100]]
        return FillForm(data, reader=self.reader, products=products)

    def _page(
        self, batch: Batch, *, form: FillForm | None = None, status: int = 200
    ) -> HttpResponse:
        facts: dict[str, Any] = {"batch": batch}
        if batch.making is not None and not batch.making.units:
            form = form or self._form(batch)
            facts |= {
                "form": form,
                "products": form.fields["product"].choices,  # type: ignore[attr-defined]
                "left": Decimal(
                    show_lot(self.actor, batch.making.lot_id)["on_hand"].get("grams", "0")
                ),
                "fills": fill_reading.fills_from(self.actor, batch.making.lot_id),
            }
        return self.show(may_fill=self.actor.may(Verb.MAKE), status=status, **facts)


class WeightsField(Typed):
    """Several weights, one to a line, or apart by semicolons or spaces."""

    widget: Any = forms.Textarea(
        attrs={"rows": 6, "autocomplete": "off", "inputmode": "text", "spellcheck": "false"}
    )

    def __init__(self, **how: Any) -> None:
        forms.CharField.__init__(self, max_length=64 * MOST_WEIGHED, **how)

    def read(self, typed: str) -> list[Quantity]:
        apart = [part.strip() for part in re.split(r"[\n;]|, ", typed)]
        found = [one for part in apart if part for one in _numbers_or_one(part)]
        if len(found) > MOST_WEIGHED:
            raise ValidationError(said("At most 200 pieces are weighed at a time."))
        weight, weights = GramsField(), []
        for place, text in enumerate(found, 1):
            try:
                weights.append(weight.read(text))
            except Refusal as refusal:
                raise ValidationError(f"{place}, {text[:40]}: {refusal.detail}") from refusal
        return weights


def _numbers_or_one(part: str) -> list[str]:
    """The numbers of a line that has nothing else, or the line with its unit."""
    words = part.split()
    return words if all(re.fullmatch(r"[0-9.]+", word) for word in words) else [part]


class WeighingForm(PageForm):
    weighings = WeightsField(
        label=_("Weights, one to a line"),
        help_text=_("Grams if no unit is named; twelve or more tell how far they spread"),
    )
    tare = GramsField(
        label=_("An empty piece weighs"),
        required=False,
        help_text=_("If the weights are with the container; left empty, they are without it"),
    )
    called: ClassVar = {"/density": "weighings"}

    def told(self) -> dict[str, Any]:
        weights, tare = self.cleaned_data["weighings"], self.cleaned_data["tare"]
        weighed = [Weighed(net=one) if tare is None else Weighed(gross=one) for one in weights]
        return {"weighed": weighed, "tare": tare}


class RuleForm(PageForm):
    rule = forms.ChoiceField(label=_("Where it is sold, by its rule"), choices=RULES)
    allowed = QuantityField(
        label=_("A piece may lack"),
        required=False,
        help_text=_("As you read it where you sell; left empty, by the rule's own table"),
    )
    called: ClassVar = {"/allowed_shortage": "allowed"}


class Units(Screen):
    """Pieces that were filled: their weights against the rule, and what is given away."""

    template = "pages/units.html"

    def units(self, id: UUID) -> FilledUnits | None:
        raise NotImplementedError

    def facts(self, id: UUID) -> dict[str, Any]:
        """What else the page tells of them."""
        raise NotImplementedError

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        return self._page(id)

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        of, here = self.units(id), request.path
        if request.POST.get("do") == "rule":
            rule = RuleForm(request.POST, reader=self.reader)
            if of is None:
                return self._page(id, status=422)
            product = of.product.id
            return self.act(
                rule,
                lambda: unit_weighings.choose_rule(
                    self.actor, product=product, **rule.cleaned_data
                ),
                lambda chosen: f"{here}#rule",
                lambda: self._page(id, rule=rule, status=422),
            )
        form = WeighingForm(request.POST, reader=self.reader)
        return self.act(
            form,
            lambda: unit_weighings.weigh_units(
                self.actor, of=of, happened_at=self.now, **form.told()
            ),
            lambda weighed: here,
            lambda: self._page(id, form=form, status=422),
        )

    def _page(
        self,
        id: UUID,
        *,
        form: PageForm | None = None,
        rule: PageForm | None = None,
        status: int = 200,
    ) -> HttpResponse:
        of = self.units(id)
        facts: dict[str, Any] = {"of": of, **self.facts(id)}
        if of is not None:
            seen = fill_reading.units_seen(self.actor, of, now=self.now)
            kind = tables.asked(self.request)
            if kind:
                return tables.file(kind, _weights(self.actor, seen))
            facts |= {
                "seen": seen,
                "plot": _plot(seen),
                "rule_form": rule or RuleForm(reader=self.reader, initial=_chosen(seen)),
            }
        return self.show(
            form=form or WeighingForm(reader=self.reader),
            may_weigh=self.actor.may(Verb.MAKE),
            may_choose=self.actor.may(Verb.FORMULATE),
            may_see_costs=self.actor.may(Verb.SEE_COSTS),
            status=status,
            **facts,
        )


class Fill(Units):
    """One fill: where the bulk went, what a piece cost, and the pieces that were weighed."""

    def units(self, id: UUID) -> FilledUnits:
        return unit_weighings.units_of_fill(self.actor, id)

    def facts(self, id: UUID) -> dict[str, Any]:
        row: Any = find(fills_of(self.actor).select_related("product"), id)
        total = filling.total_of(row)
        return {
            "fill": row,
            "found": filling.reconciled(row, row.weighed_grams),
            "total": total,
            **_yields_of(self.actor, fill_reading.batch_of_fill(self.actor, row)),
        }


class BatchUnits(Units):
    """The pieces that a batch was finished with."""

    def units(self, id: UUID) -> FilledUnits | None:
        return unit_weighings.units_of_batch(self.actor, id)

    def facts(self, id: UUID) -> dict[str, Any]:
        batch = batch_for(self.actor, id)
        return {
            "batch": batch,
            **_yields_of(self.actor, (batch.id, batch.version.formula_id)),
        }


def _yields_of(actor: Actor, made: tuple[UUID, UUID] | None) -> dict[str, Any]:
    """How the batch came out beside the earlier ones of its formula."""
    if made is None:
        return {}
    batch, formula = made
    past = fill_reading.past_yields(actor, formula)
    return {"yields": past, "this_batch": batch, "yield_plot": yield_plot(past)}


def yield_plot(past: list[PastYield]) -> SafeString | str:
    """The yields of a formula's batches in their order; nothing for a single one."""
    if len(past) < 2:
        return ""
    values = [one.yield_percent for one in past]
    title, x = said("Yield of its batches"), said("batches, the oldest first")
    return plots.spread(title, values, [], y="%", x=x)


def _chosen(seen: UnitsSeen) -> dict[str, str]:
    """The rule that the product has, for its form."""
    if seen.rule is None:
        return {}
    return {"rule": seen.rule.rule, "allowed": seen.rule.allowed_entered}


def _plot(seen: UnitsSeen) -> SafeString | str:
    """The weights of the latest weighing against the limits of the rule."""
    if seen.checked is None:
        return ""
    row = seen.checked.row
    limits = [(said("nominal"), row.nominal_grams)]
    if seen.limits is not None:
        limits.append((said("few may lack more"), seen.limits.short))
        if seen.limits.least != seen.limits.short:
            limits.append((said("none may lack more"), seen.limits.least))
    if seen.checked.target is not None:
        limits.append((said("lowest target"), seen.checked.target.grams))
    spread = row.deviation_grams or Decimal(0)
    band = (row.mean_grams - spread, row.mean_grams, row.mean_grams + spread)
    nets = [Decimal(one["net"]) for one in row.contents]
    title, x = said("Weights of the pieces"), said("pieces, as they were weighed")
    return plots.spread(title, nets, limits, y="g", x=x, band=band)


def _weights(actor: Actor, seen: UnitsSeen) -> tables.Table:
    """All weighings at hand as a table."""
    columns = [said("Weighed on"), said("Piece"), said("Net, g"), said("Gross, g"), said("Tare, g")]
    cells = [
        (
            day_of(actor, row.happened_at),
            place,
            *(Decimal(one[name]) if name in one else None for name in ("net", "gross", "tare")),
        )
        for row in seen.weighings
        for place, one in enumerate(row.contents, 1)
    ]
    return tables.Table("weights", columns, cells)
