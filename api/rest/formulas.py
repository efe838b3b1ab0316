"""Formulas and their versions, and how much of everything a batch needs."""

from typing import Any

from rest_framework import serializers

from api import etags
from api.operation import Resource, Sent, reads, writes
from api.paging import Paged, page, page_of
from api.rest import examples
from api.rest.alternates import AlternateIn, AlternateOut, alternates_json, percent_json
from api.rest.catalogue import DensityOut, density_json
from api.rest.caution_shapes import StepCautionOut, cautions_json
from api.rest.fields import (
    Body,
    Choice,
    DecimalText,
    DensityIn,
    Flag,
    Id,
    Moment,
    Shown,
    TemperatureField,
    Text,
    Whole,
    listed,
    plain,
)
from api.rest.infusion_shapes import InfusionIn, InfusionOut, infusion_in, infusion_json
from api.rest.measurements import MEASURES, TYPED, WindowOut, window_json
from api.rest.scaling_shapes import ScalingIn, ScalingOut, named, scaling_json
from formulas import balances, composing, drafts
from formulas.access import formula_for, formulas_of, version_for
from formulas.alternates import MOST, AlternateDraft, prefetch_alternates
from formulas.batches import Size
from formulas.caution_facts import of_formula
from formulas.composition import Balance, Fixed, ToEffect
from formulas.judging import Measure, Window, read_window
from formulas.measurements import windows_of
from formulas.models import Formula, FormulaVersion, Line
from ledger.access import Actor, day_of
from ledger.errors import Refusal


class ToEffectIn(Body):
    typical_percent = DecimalText(above="0", most="100")
    max_percent = DecimalText(above="0", most="100", help_text="Of the final mass.")


class FormulaLineIn(Body):
    """One line: a material or a formula, with exactly one of percent, balance, to_effect."""

    material = Id(required=False)
    formula = Id(required=False, help_text="Another formula, as an intermediate.")
    percent = DecimalText(above="0", most="100", required=False)
    balance = Flag(required=False, help_text="Takes what is left of 100.")
    to_effect = ToEffectIn(required=False)
    max_temperature = TemperatureField(
        required=False, allow_null=True, help_text="It goes in once the batch is no hotter."
    )
    active_percent = DecimalText(
        above="0", most="100", required=False, allow_null=True, help_text="Active matter."
    )
    spent = Flag(required=False, help_text="Of an infusion: strained out again.")
    alternates = listed(
        AlternateIn, most=MOST, required=False, help_text="What may stand in for it, in turn."
    )

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        named = [name for name in ("material", "formula") if name in attrs]
        said = [attrs.get(name) for name in ("percent", "to_effect", "balance")]
        amounts = [amount for amount in said if amount]
        if len(named) != 1:
            raise serializers.ValidationError(
                "A line names a material or a formula, one of them.", code="invalid"
            )
        if len(amounts) != 1:
            raise serializers.ValidationError(
                "A line has a percent, or is the balance, or is to effect: one of them.",
                code="invalid",
            )
        return attrs


class PhaseIn(Body):
    name = Text(max_length=80, allow_blank=True)
    lines = listed(FormulaLineIn, least=1, most=100)


class WindowIn(Body):
    """What the batch should measure: a target, and limits that are still inside."""

    measure = Choice(MEASURES)
    target = Text(max_length=200, required=False, allow_null=True, help_text=TYPED)
    low = Text(max_length=64, required=False, allow_null=True)
    high = Text(max_length=64, required=False, allow_null=True)

    def to_internal_value(self, data: Any) -> Window:
        found = super().to_internal_value(data)
        typed = {name: found.get(name) for name in ("target", "low", "high")}
        try:
            return read_window(Measure(found["measure"]), **typed)
        except Refusal as refusal:
            place = refusal.pointer.strip("/") or "measure"
            raise serializers.ValidationError(
                {place: [serializers.ErrorDetail(refusal.detail, refusal.code)]}
            ) from refusal


class FormulaIn(Body):
    name = Text(max_length=120)
    process_loss_percent = DecimalText(
        least="0", most="99.999999", required=False, help_text="Not of an infusion: it follows."
    )
    infusion = InfusionIn(required=False, allow_null=True)
    # Of the batch, what may be rework: none, if left out.
    rework_max_percent = DecimalText(least="0", most="100", required=False, allow_null=True)
    density = DensityIn(required=False, allow_null=True)
    shelf_life_days = Whole(min_value=1, max_value=3650, required=False, allow_null=True)
    fill_within_days = Whole(
        min_value=1,
        max_value=3650,
        required=False,
        allow_null=True,
        help_text="Of making it: bulk that is older is filled with a deviation only.",
    )
    phases = listed(PhaseIn, least=1, most=30)
    windows = listed(WindowIn, most=10, required=False)
    note = Text(
        max_length=400, required=False, allow_blank=True, help_text="Why this version is written."
    )


class ToEffectOut(serializers.Serializer[Any]):
    typical_percent = Shown()
    max_percent = Shown()


class FormulaLineOut(serializers.Serializer[Any]):
    material = Id(required=False)
    formula = Id(required=False)
    name = Text()
    percent = Shown()
    balance = serializers.BooleanField()
    to_effect = ToEffectOut(allow_null=True)
    max_celsius = Shown(allow_null=True, help_text="It goes in once the batch is no hotter.")
    active_percent = Shown(allow_null=True)
    spent = serializers.BooleanField(help_text="Strained out of the infusion again.")
    alternates = AlternateOut(many=True)


class PhaseOut(serializers.Serializer[Any]):
    name = Text(allow_blank=True)
    lines = FormulaLineOut(many=True)


class FormulaBrief(serializers.Serializer[Any]):
    id = Id()
    name = Text()
    version = serializers.IntegerField()
    material = Id(help_text="What it makes.")
    created_at = Moment()


class FormulaOut(FormulaBrief):
    process_loss_percent = Shown()
    infusion = InfusionOut(allow_null=True)
    rework_max_percent = Shown(allow_null=True)
    density = DensityOut(allow_null=True)
    shelf_life_days = serializers.IntegerField(allow_null=True)
    fill_within_days = serializers.IntegerField(allow_null=True)
    phases = PhaseOut(many=True)
    windows = WindowOut(many=True)
    note = Text(allow_blank=True, help_text="Why this version was written.")
    cautions = StepCautionOut(many=True)


class FormulaQuery(Paged):
    name = Text(max_length=120, required=False, help_text="Part of the name.")


class VersionQuery(Body):
    version = serializers.IntegerField(
        min_value=1, max_value=1_000_000, required=False, help_text="The one in force if left out."
    )


class VersionBrief(serializers.Serializer[Any]):
    number = serializers.IntegerField()
    note = Text(allow_blank=True)
    created_at = Moment()
    person = Id()


def draft_of(data: dict[str, Any]) -> drafts.Draft:
    """A formula as it was sent."""
    phases = [
        drafts.PhaseDraft(name=phase["name"], lines=[_line_draft(line) for line in phase["lines"]])
        for phase in data["phases"]
    ]
    return drafts.Draft(
        name=data["name"],
        phases=phases,
        process_loss_percent=data.get("process_loss_percent"),
        infusion=infusion_in(data),
        rework_max_percent=data.get("rework_max_percent"),
        density=data.get("density"),
        shelf_life_days=data.get("shelf_life_days"),
        fill_within_days=data.get("fill_within_days"),
        windows=data.get("windows", ()),
        note=data.get("note", ""),
    )


def _line_draft(line: dict[str, Any]) -> drafts.LineDraft:
    amount: Fixed | ToEffect | Balance
    if "percent" in line:
        amount = Fixed(line["percent"])
    elif "to_effect" in line:
        amount = ToEffect(line["to_effect"]["typical_percent"], line["to_effect"]["max_percent"])
    else:
        amount = Balance()
    return drafts.LineDraft(
        amount,
        line.get("material"),
        line.get("formula"),
        line.get("max_temperature"),
        line.get("active_percent"),
        [AlternateDraft(**one) for one in line.get("alternates", [])],
        line.get("spent", False),
    )


def brief_json(row: Formula) -> dict[str, Any]:
    return {
        "id": str(row.id),
        "name": row.name,
        "version": row.version,
        "material": str(row.material_id),
        "created_at": row.created_at,
    }


def formula_json(version: FormulaVersion) -> dict[str, Any]:
    lines: dict[Any, list[dict[str, Any]]] = {}
    for line in version.lines.all():
        lines.setdefault(line.phase_id, []).append(_line_json(line))
    return {
        **brief_json(version.formula),
        "version": version.number,
        "process_loss_percent": plain(version.process_loss_percent.normalize()),
        "infusion": infusion_json(version),
        "rework_max_percent": plain(version.rework_max_percent),
        "density": density_json(version),
        "shelf_life_days": version.shelf_life_days,
        "fill_within_days": version.fill_within_days,
        "phases": [
            {"name": phase.name, "lines": lines.get(phase.id, [])} for phase in version.phases.all()
        ],
        "windows": [window_json(window) for window in windows_of(version).values()],
        "note": version.note,
    }


def version_json(row: FormulaVersion) -> dict[str, Any]:
    return {
        "number": row.number,
        "note": row.note,
        "created_at": row.created_at,
        "person": str(row.person_id),
    }


def _line_json(line: Line) -> dict[str, Any]:
    to_effect = None
    if line.max_percent is not None:
        to_effect = {
            "typical_percent": plain(line.percent.normalize()),
            "max_percent": plain(line.max_percent.normalize()),
        }
    return {
        **named(line),
        "percent": plain(line.percent.normalize()),
        "balance": line.kind == Line.Kind.BALANCE,
        "to_effect": to_effect,
        "max_celsius": plain(line.max_celsius),
        "active_percent": percent_json(line.active_percent),
        "spent": line.spent,
        "alternates": alternates_json(line),
    }


class Formulas(Resource):
    """The maker's formulas; nobody else sees them."""

    @reads(FormulaQuery, page_of(FormulaBrief))
    def get(self, actor: Actor, query: dict[str, Any]) -> Sent:
        """List formulas, newest first."""
        rows = formulas_of(actor)
        if "name" in query:
            rows = rows.filter(name__icontains=query["name"])
        return page(self.request, query, rows, brief_json)

    @writes(FormulaIn, FormulaOut, examples=examples.FORMULA_IN)
    def post(self, actor: Actor, data: dict[str, Any]) -> Sent:
        """Write a formula: phases of lines in % w/w that make 100."""
        version = composing.write_formula(actor, draft_of(data))
        return _formula(version_for(actor, version.formula_id))


class OneFormula(Resource):
    """One formula."""

    @reads(VersionQuery, FormulaOut)
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> Sent:
        """Show a formula, by its version in force or another."""
        return _formula(version_for(actor, id, query.get("version")))


class Versions(Resource):
    """The versions of a formula."""

    @reads(Paged, page_of(VersionBrief))
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> Sent:
        """List the versions of a formula, the latest first."""
        return page(self.request, query, formula_for(actor, id).versions.all(), version_json)

    @writes(FormulaIn, FormulaOut, edits=True, examples=examples.FORMULA_IN)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> Sent:
        """Write the next version (If-Match with the formula's ETag); batches keep theirs."""
        version = composing.new_version(
            actor,
            formula=id,
            expected_version=etags.expected_version(self.request, id),
            draft=draft_of(data),
        )
        return _formula(version_for(actor, version.formula_id))


class FormulaScaling(Resource):
    """What a size of a formula needs."""

    @writes(ScalingIn, ScalingOut, status=200, keyed=False, examples=examples.SCALING)
    def post(self, actor: Actor, data: dict[str, Any], id: str) -> dict[str, Any]:
        """Scale to a batch or an output; nothing is kept."""
        needs = balances.scale_formula(
            actor,
            formula=id,
            size=Size(batch=data.get("batch"), output=data.get("output")),
            day=data.get("on", day_of(actor, self.now)),
        )
        return scaling_json(needs)


def _formula(version: FormulaVersion) -> Sent:
    formula = version.formula
    prefetch_alternates(version)
    body = {**formula_json(version), "cautions": cautions_json(of_formula(version))}
    return Sent(body, headers={"ETag": etags.etag(formula.id, formula.version)})
