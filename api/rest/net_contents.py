"""Net contents: the rule of a product, weighed units, and the lowest fill that keeps the rule."""

from decimal import Decimal
from typing import Any

from rest_framework import serializers

from api.operation import Resource, Sent, reads, writes
from api.paging import Paged, page, page_of
from api.rest import examples
from api.rest.fields import (
    Body,
    Choice,
    DecimalText,
    DensityIn,
    Id,
    Moment,
    QuantityField,
    Shown,
    Text,
    Whole,
    listed,
    plain,
)
from api.rest.fill_notes import notes_of
from formulas import targeting, unit_weighings
from formulas.fill_targets import Floor, Giveaway, Target, percent_above
from formulas.models import NetContents, Product, UnitWeighing
from formulas.net_contents import CAUTION, Limits, Rule, Verdict
from formulas.unit_weighings import FilledUnits
from ledger.access import Actor
from ledger.money import round_money
from ledger.quantities import Density
from ledger.roles import Verb

RULES = [rule.value for rule in Rule]
VERDICTS = [verdict.value for verdict in Verdict]


class NetContentsIn(Body):
    rule = Choice(RULES)
    allowed_shortage = QuantityField(
        required=False,
        allow_null=True,
        help_text="What a unit may lack (MAV or TNE), read where you sell; else by the tables.",
    )


class LimitsOut(serializers.Serializer[Any]):
    """Few or none may be below `short`, none below `least`: T1 and T2 of the Directive."""

    rule = serializers.ChoiceField(RULES)
    nominal = Shown()
    allowed_shortage = Shown()
    short = Shown()
    least = Shown()
    unit = serializers.ChoiceField(["g", "mL"])
    allowed_by = Text(help_text="Where the allowed shortage comes from.")


class NetContentsOut(serializers.Serializer[Any]):
    product = Id()
    limits = LimitsOut(allow_null=True)
    caution = Text()


class UnitIn(Body):
    net = QuantityField(required=False)
    gross = QuantityField(required=False)
    tare = QuantityField(required=False)


class UnitWeighingIn(Body):
    weighings = listed(UnitIn, least=1, most=200)
    tare = QuantityField(required=False, help_text="Of every unit that has none of its own.")
    density = DensityIn(
        required=False,
        help_text="Else the bulk's, or the formula's: the first that holds at 15 to 25 degC.",
    )
    happened_at = Moment(required=False)


class UnitOut(serializers.Serializer[Any]):
    net = Shown()
    gross = Shown(required=False)
    tare = Shown(required=False)


class GivenOut(serializers.Serializer[Any]):
    units = serializers.IntegerField()
    grams_each = Shown()
    grams = Shown()
    money = Shown(allow_null=True, help_text="Null for who may not see costs, or where none is.")


class TargetOut(serializers.Serializer[Any]):
    grams = Shown()
    percent = Shown(help_text="Above nominal.")
    governed_by = serializers.ChoiceField([floor.value for floor in Floor])


class UnitWeighingOut(serializers.Serializer[Any]):
    id = Id()
    product = Id()
    lot = Id()
    lot_units = serializers.IntegerField()
    units = serializers.IntegerField(help_text="That were weighed.")
    weighings = UnitOut(many=True)
    mean_grams = Shown()
    standard_deviation_grams = Shown(allow_null=True)
    least_grams = Shown()
    nominal_grams = Shown()
    density = Shown(allow_null=True, help_text="g/mL")
    limits = LimitsOut(allow_null=True, help_text="Null where no rule is chosen.")
    below_short = serializers.IntegerField(allow_null=True)
    below_least = serializers.IntegerField(allow_null=True)
    verdict = serializers.ChoiceField(VERDICTS, allow_null=True)
    reasons = serializers.ListField(child=Text())
    giveaway = GivenOut(help_text="Of this lot.")
    giveaway_year = GivenOut(help_text="Of as many units as in the last twelve months.")
    lowest_target = TargetOut(allow_null=True)
    saving = GivenOut(allow_null=True, help_text="Of this lot, filled to the lowest target.")
    saving_year = GivenOut(allow_null=True)
    notes = serializers.ListField(child=Text())
    caution = Text()
    happened_at = Moment()
    person = Id()


class FillTargetIn(Body):
    standard_deviation = QuantityField(
        required=False, help_text="Of the filler; else that of the latest weighing."
    )
    units = Whole(min_value=1, max_value=1_000_000, required=False)
    density = DensityIn(
        required=False, help_text="Else the formula's: the first that holds at 15 to 25 degC."
    )
    overfill_percent = DecimalText(
        least="0", most="100", required=False, help_text="Another fill to compare with."
    )


class FillAsked(serializers.Serializer[Any]):
    percent = Shown(help_text="Above nominal.")
    grams = Shown(help_text="Of one unit.")
    batch_grams = Shown()
    keeps_the_rule = serializers.BooleanField()
    giveaway = GivenOut()
    saving = GivenOut(help_text="Against the present fill; below zero for more.")
    saving_year = GivenOut()


class FillTargetOut(serializers.Serializer[Any]):
    product = Id()
    limits = LimitsOut()
    standard_deviation_grams = Shown()
    weighing = Id(allow_null=True, help_text="That the standard deviation is of.")
    units = serializers.IntegerField()
    governed_by = serializers.ChoiceField([floor.value for floor in Floor])
    lowest = FillAsked()
    now = FillAsked()
    asked = FillAsked(allow_null=True)
    usable_ml = Shown(allow_null=True, help_text="What its containers hold.")
    notes = serializers.ListField(child=Text())
    caution = Text()


def limits_json(limits: Limits | None, unit: str) -> dict[str, Any] | None:
    if limits is None:
        return None
    return {
        "rule": limits.rule.value,
        "nominal": _tidy(limits.nominal),
        "allowed_shortage": _tidy(limits.allowed),
        "short": _tidy(limits.short),
        "least": _tidy(limits.least),
        "unit": unit,
        "allowed_by": limits.source,
    }


def net_contents_json(product: Product, row: NetContents | None) -> dict[str, Any]:
    unit = "g" if product.fill_ml is None else "mL"
    limits = limits_json(unit_weighings.limits_in_grams(product, row, None), unit)
    return {"product": str(product.id), "limits": limits, "caution": CAUTION}


def unit_weighing_json(
    actor: Actor,
    row: UnitWeighing,
    of: FilledUnits,
    year_units: int,
    given: Density | None = None,
) -> dict[str, Any]:
    found = unit_weighings.check(row, of, year_units)
    judged = found.judged
    return {
        "id": str(row.id),
        "product": str(row.product_id),
        "lot": str(row.lot_id),
        "lot_units": row.lot_units,
        "units": row.units,
        "weighings": row.contents,
        "mean_grams": plain(row.mean_grams),
        "standard_deviation_grams": plain(row.deviation_grams),
        "least_grams": plain(row.least_grams),
        "nominal_grams": plain(row.nominal_grams),
        "density": plain(row.density),
        "limits": limits_json(unit_weighings.limits_kept(row), "g"),
        "below_short": judged and judged.below_short,
        "below_least": judged and judged.below_least,
        "verdict": judged and judged.verdict.value,
        "reasons": list(judged.reasons) if judged else [],
        "giveaway": _given(actor, found.batch),
        "giveaway_year": _given(actor, found.year),
        "lowest_target": _target(found.target, row.nominal_grams),
        "saving": found.saving and _given(actor, found.saving),
        "saving_year": found.saving_year and _given(actor, found.saving_year),
        "notes": notes_of(row.product, found.few, row.density_at, given),
        "caution": CAUTION,
        "happened_at": row.happened_at,
        "person": str(row.person_id),
    }


def fill_target_json(
    actor: Actor, found: targeting.TargetOf, given: Density | None = None
) -> dict[str, Any]:
    weighing = found.deviation_from
    at = None if found.density is None else found.density.celsius
    few = weighing is not None and weighing.units < unit_weighings.ENOUGH
    return {
        "product": str(found.product.id),
        "limits": limits_json(found.limits, "g"),
        "standard_deviation_grams": plain(found.deviation),
        "weighing": weighing and str(weighing.id),
        "units": found.units,
        "governed_by": found.target.governed_by.value,
        "lowest": _fill(actor, found, found.lowest),
        "now": _fill(actor, found, found.now),
        "asked": found.asked and _fill(actor, found, found.asked),
        "usable_ml": plain(found.room_ml),
        "notes": notes_of(found.product, few, at, given),
        "caution": CAUTION,
    }


def _fill(actor: Actor, found: targeting.TargetOf, fill: targeting.Fill) -> dict[str, Any]:
    batch, year = found.saved(fill)
    return {
        "percent": plain(round(fill.percent, 4)),
        "grams": plain(round(fill.grams, 6)),
        "batch_grams": plain(round(fill.grams * found.units, 6)),
        "keeps_the_rule": fill.keeps,
        "giveaway": _given(actor, fill.giveaway),
        "saving": _given(actor, batch),
        "saving_year": _given(actor, year),
    }


def _given(actor: Actor, given: Giveaway) -> dict[str, Any]:
    money = given.money if actor.may(Verb.SEE_COSTS) else None
    return {
        "units": given.units,
        "grams_each": plain(round(given.per_unit, 6)),
        "grams": plain(round(given.grams, 6)),
        "money": None if money is None else plain(round_money(money, actor.currency)),
    }


def _target(target: Target | None, nominal: Decimal) -> dict[str, Any] | None:
    if target is None:
        return None
    percent = percent_above(nominal, target.grams)
    return {
        "grams": plain(target.grams),
        "percent": plain(round(percent, 4)),
        "governed_by": target.governed_by.value,
    }


def _tidy(value: Decimal) -> str:
    return f"{round(value, 6).normalize():f}"


class ProductNetContents(Resource):
    """The net-contents rule of a product."""

    @reads(None, NetContentsOut)
    def get(self, actor: Actor, id: str) -> dict[str, Any]:
        """Show the rule that a product's contents follow, and its limits."""
        return net_contents_json(*unit_weighings.net_contents_of(actor, id))

    @writes(NetContentsIn, NetContentsOut, status=200, keyed=False, examples=examples.NET_CONTENTS)
    def put(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Choose the rule: what was weighed before keeps the one that it was judged by."""
        found = unit_weighings.choose_rule(
            actor, product=id, rule=data["rule"], allowed=data.get("allowed_shortage")
        )
        return net_contents_json(*found)


class FillTargets(Resource):
    """The lowest fill of a product."""

    @writes(FillTargetIn, FillTargetOut, status=200, keyed=False, examples=examples.FILL_TARGET)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """The lowest fill that keeps the rule at the filler's spread; nothing is kept."""
        found = targeting.fill_target(
            actor,
            product=id,
            now=self.now,
            units=data.get("units"),
            deviation=data.get("standard_deviation"),
            density=data.get("density"),
            overfill_percent=data.get("overfill_percent"),
        )
        return fill_target_json(actor, found, data.get("density"))


class _UnitWeighings(Resource):
    """Units weighed, of whatever filled them."""

    def units(self, actor: Actor, id: str) -> FilledUnits | None:
        raise NotImplementedError

    def listed(self, actor: Actor, query: dict[str, Any], id: str) -> Sent:
        of = self.units(actor, id)
        if of is None:
            return Sent({"results": [], "next": None})
        year = unit_weighings.units_in_a_year(actor, of.product, self.now)
        rows = unit_weighings.unit_weighings_of(actor, of).select_related("product")
        return page(self.request, query, rows, lambda row: unit_weighing_json(actor, row, of, year))

    def weighed(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        row, of = unit_weighings.weigh_units(
            actor,
            of=self.units(actor, id),
            weighed=[unit_weighings.Weighed(**one) for one in data["weighings"]],
            tare=data.get("tare"),
            density=data.get("density"),
            happened_at=data.get("happened_at", self.now),
            now=self.now,
        )
        year = unit_weighings.units_in_a_year(actor, of.product, self.now)
        return unit_weighing_json(actor, row, of, year, data.get("density"))


class FillUnitWeighings(_UnitWeighings):
    """Units of a fill weighed."""

    def units(self, actor: Actor, id: str) -> FilledUnits:
        return unit_weighings.units_of_fill(actor, id)

    @reads(Paged, page_of(UnitWeighingOut))
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> Sent:
        """List the weighings of a fill's units, newest first."""
        return self.listed(actor, query, id)

    @writes(UnitWeighingIn, UnitWeighingOut, examples=examples.UNIT_WEIGHING)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Weigh units of a fill: does it keep the rule, and what does it give away?"""
        return self.weighed(actor, data, id)


class BatchUnitWeighings(_UnitWeighings):
    """Units that a batch was finished with, weighed."""

    def units(self, actor: Actor, id: str) -> FilledUnits | None:
        return unit_weighings.units_of_batch(actor, id)

    @reads(Paged, page_of(UnitWeighingOut))
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> Sent:
        """List the weighings of a batch's units, newest first."""
        return self.listed(actor, query, id)

    @writes(UnitWeighingIn, UnitWeighingOut, examples=examples.UNIT_WEIGHING)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Weigh units of a batch that was finished with units."""
        return self.weighed(actor, data, id)
