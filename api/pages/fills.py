"""Filling: bulk that waits for it, the fill itself, and what weighed pieces say of it."""

from contextlib import suppress
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.utils.safestring import SafeString
from django.utils.translation import gettext as said
from django.utils.translation import gettext_lazy as _

from api.pages import plots, side_tables, tables
from api.pages.fill_forms import FillForm, RuleForm, WeighingForm, as_warm
from api.pages.fill_workings import bulk, giveaway, weighed
from api.pages.forms import (
    PageForm,
    UndoReasonField,
    unsure,
)
from api.pages.reader import Reader
from api.pages.screen import Screen
from api.pages.workings import Line
from api.pages.yields import yields_of
from formulas import fill_reading, filling, unit_weighings
from formulas.access import batch_for, fills_of
from formulas.bulk_age import fill_by
from formulas.caution_facts import of_fill
from formulas.fill_reading import UnitsSeen
from formulas.models import Batch, UnitWeighing
from formulas.targeting import FillWeight, fill_weight
from formulas.undoing import undo
from formulas.unit_weighings import FilledUnits
from ledger.access import day_of, find
from ledger.lot_reading import show_lot
from ledger.roles import Verb

# So many weights that are far off are named.
MOST_NAMED = 6


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


class BatchFill(Screen):
    """Bulk of a finished batch, filled into pieces of a product."""

    template = "pages/fill_new.html"
    fragment = "pages/fill_weight.html"

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        return self._page(batch_for(self.actor, id))

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        batch = batch_for(self.actor, id)
        if batch.making is None:
            return self._page(batch, status=422)
        if request.POST.get("do") == "look":
            return self._page(batch, form=self._form(batch, looked_at=request.POST))
        form = self._form(batch, request.POST)
        lot = batch.making.lot_id
        return self.act(
            form,
            lambda: self._fill(lot, form),
            lambda filled: f"/fills/{filled.filling.id}",
            lambda: self._page(batch, form=form, status=422),
        )

    def _fill(self, lot: UUID, form: FillForm) -> filling.Filled:
        """Fill, but ask once where pieces and bulk do not agree: it is mostly a slip."""
        filled = filling.fill(self.actor, lot=lot, happened_at=self.done_at, **form.told())
        found = filling.reconciled(filled.filling)
        if found.doubtful and found.filled is not None and not form.cleaned_data["sure"]:
            told = {"held": self.reader.grams(found.filled)}
            told["bulk"] = self.reader.grams(found.bulk_in)
            question = said("The pieces should hold %(held)s, and %(bulk)s of bulk went in.")
            raise unsure(question % told)
        return filled

    def _form(self, batch: Batch, data: Any = None, looked_at: Any = None) -> FillForm:
        rows = fill_reading.products_from(self.actor, batch.version.formula_id)
        products = [(str(id), name) for id, name in rows.values_list("id", "name")[:100]]
        first = {"product": str(batch.product_id)} if batch.product_id else {}
        if looked_at is not None:
            first = {name: looked_at[name] for name in FillForm.base_fields if name in looked_at}
        return FillForm(data, reader=self.reader, products=products, initial=first)

    def _weight(self, batch: Batch, form: FillForm) -> FillWeight | None:
        """What a piece of the chosen product is to weigh, with the density if it can be read."""
        chosen = form["product"].value() or next(
            (id for id, _name in form.fields["product"].choices),  # type: ignore[attr-defined]
            "",
        )
        known = {id for id, _name in form.fields["product"].choices}  # type: ignore[attr-defined]
        if batch.making is None or chosen not in known:
            return None
        bulk, density = batch.making.lot, as_warm(_typed(form, "density"), _typed(form, "celsius"))
        if density is not None and density.celsius is None:
            # It is asked how warm that is, before it counts for anything.
            density = None
        return fill_weight(self.actor, product=chosen, bulk=bulk, density=density)

    def _page(
        self, batch: Batch, *, form: FillForm | None = None, status: int = 200
    ) -> HttpResponse:
        facts: dict[str, Any] = {"batch": batch}
        if batch.making is not None and not batch.making.units:
            form = form or self._form(batch)
            facts |= {
                "form": form,
                "products": form.fields["product"].choices,  # type: ignore[attr-defined]
                "fill_by": fill_by(batch.making.lot),
                "weight": self._weight(batch, form),
                "cautions": of_fill(batch, _typed(form, "celsius"), self.now),
                "left": Decimal(
                    show_lot(self.actor, batch.making.lot_id)["on_hand"].get("grams", "0")
                ),
                "fills": fill_reading.fills_from(self.actor, batch.making.lot_id),
            }
        return self.show(may_fill=self.actor.may(Verb.MAKE), status=status, **facts)


def _typed(form: FillForm, name: str) -> Any:
    """What stands in a field, if it can be read, before the whole form is."""
    with suppress(ValidationError):
        return form.fields[name].clean(form[name].value() or "")
    return None


class Units(Screen):
    """Pieces that were filled: their weights against the rule, and what is given away."""

    template = "pages/units.html"

    def units(self, id: UUID) -> FilledUnits | None:
        raise NotImplementedError

    def facts(self, id: UUID) -> dict[str, Any]:
        """What else the page tells of them."""
        raise NotImplementedError

    def _yields_of(self, made: tuple[UUID, UUID] | None) -> dict[str, Any]:
        """How the batch came out beside the earlier ones of its formula."""
        if made is None:
            return {}
        batch, formula = made
        return yields_of(self.actor, batch=batch, formula=formula, reader=self.reader)

    def _given(self, seen: UnitsSeen) -> list[Line]:
        """How what is given away came about."""
        costs = self.actor.may(Verb.SEE_COSTS)
        return giveaway(seen, seen.checked, self.reader, costs=costs) if seen.checked else []

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
            lambda: self._weigh(of, form),
            lambda weighed: here,
            lambda: self._page(id, form=form, status=422),
        )

    def _weigh(self, of: FilledUnits | None, form: WeighingForm) -> UnitWeighing:
        """Keep the weights, but ask once about one that is far off: it is mostly a slip."""
        row, _ = unit_weighings.weigh_units(
            self.actor, of=of, happened_at=self.done_at, now=self.now, **form.told()
        )
        places = unit_weighings.far_off(row)
        if places and not form.cleaned_data["sure"]:
            nets = [self.reader.grams(Decimal(row.contents[place]["net"])) for place in places]
            told = {"grams": "; ".join(nets[:MOST_NAMED]) + (" …" if nets[MOST_NAMED:] else "")}
            told["nominal"] = self.reader.grams(row.nominal_grams)
            question = said("A piece should hold %(nominal)s, and this is far from it: %(grams)s.")
            raise unsure(question % told)
        return row

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
            facts |= {
                "files": side_tables.of_units(self.actor, seen, facts),
                "seen": seen,
                "given": self._given(seen),
                "weighed": weighed(seen.checked, seen.limits, self.reader) if seen.checked else [],
                "plot": _plot(seen, self.reader.numbers),
                "rule_form": rule
                or RuleForm(reader=self.reader, initial=_chosen(seen, self.reader)),
            }
        return self.show(
            form=form or WeighingForm(reader=self.reader),
            may_weigh=self.actor.may(Verb.MAKE),
            may_choose=self.actor.may(Verb.FORMULATE),
            may_see_costs=self.actor.may(Verb.SEE_COSTS),
            status=status,
            **facts,
        )


class UndoForm(PageForm):
    reason = UndoReasonField(
        _("typed wrongly"),
        _("wrong product"),
        label=_("Why it is taken back"),
        max_length=400,
    )


class Fill(Units):
    """One fill: where the bulk went, what a piece cost, and the pieces that were weighed."""

    undoing: PageForm | None = None

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        if request.POST.get("do") != "undo":
            return super().post(request, id)
        entry = find(fills_of(self.actor), id).entry_id
        self.undoing = form = UndoForm(request.POST, reader=self.reader)
        return self.act(
            form,
            lambda: undo(self.actor, entry=entry, happened_at=self.now, **form.cleaned_data),
            lambda undone: request.path,
            lambda: self._page(id, status=422),
        )

    def units(self, id: UUID) -> FilledUnits:
        return unit_weighings.units_of_fill(self.actor, id)

    def facts(self, id: UUID) -> dict[str, Any]:
        row: Any = find(fills_of(self.actor).select_related("product"), id)
        found = filling.reconciled(row, row.weighed_grams)
        return {
            "fill": row,
            "found": found,
            "unexplained": bulk(row, found, self.reader),
            "total": filling.total_of(row),
            "undoing": self.undoing or UndoForm(reader=self.reader),
            "may_undo": self.actor.may(Verb.REVERSE),
            **self._yields_of(fill_reading.batch_of_fill(self.actor, row)),
        }


class BatchUnits(Units):
    """The pieces that a batch was finished with."""

    def units(self, id: UUID) -> FilledUnits | None:
        return unit_weighings.units_of_batch(self.actor, id)

    def facts(self, id: UUID) -> dict[str, Any]:
        batch = batch_for(self.actor, id)
        return {
            "batch": batch,
            **self._yields_of((batch.id, batch.version.formula_id)),
        }


def _chosen(seen: UnitsSeen, reader: Reader) -> dict[str, str]:
    """The rule that the product has, for its form."""
    if seen.rule is None:
        return {}
    return {"rule": seen.rule.rule, "allowed": reader.entered(seen.rule.allowed_entered)}


def _plot(seen: UnitsSeen, numbers: str) -> SafeString | str:
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
    return plots.spread(title, nets, limits, y="g", x=x, band=band, numbers=numbers)
