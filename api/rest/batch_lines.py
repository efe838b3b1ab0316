"""How the lines and the packaging of a batch are shown: what is wanted, from which lots."""

from decimal import Decimal
from typing import Any

from rest_framework import serializers

from api.rest.effect_shapes import InPotOut, in_pot_json
from api.rest.fields import Id, Moment, Shown, Text, plain
from formulas.models import Batch, BatchLine, BatchPackaging, Pick, TopUp
from formulas.past_effects import learned_for
from formulas.pot import InPot
from formulas.shares import Chosen, Share, shares


class PickOut(serializers.Serializer[Any]):
    lot = Id()
    code = Text()
    grams = Shown(required=False)
    count = Shown(required=False)


class PouredShareOut(serializers.Serializer[Any]):
    material = Id()
    name = Text()
    grams = Shown()
    weighed = Shown()
    picks = PickOut(many=True)
    short = Shown()


class BatchLineOut(InPotOut):
    id = Id()
    material = Id(required=False)
    formula = Id(required=False)
    name = Text()
    phase = Text(allow_blank=True)
    percent = Shown()
    max_percent = Shown(allow_null=True)
    max_celsius = Shown(allow_null=True, help_text="It goes in once the batch is no hotter.")
    spent = serializers.BooleanField(help_text="Strained out of the infusion again.")
    planned_grams = Shown(help_text="As the formula has it.")
    grams = Shown(help_text="To be weighed in all, as top-ups have changed it.")
    picks = PickOut(many=True)
    short = Shown()
    shares = PouredShareOut(
        many=True, help_text="Its own material first, then what stands in for it."
    )


class BatchPackagingOut(serializers.Serializer[Any]):
    material = Id()
    name = Text()
    count = Shown()
    picks = PickOut(many=True)
    short = Shown()


class CautionOut(serializers.Serializer[Any]):
    code = Text()
    text = Text()


class TopUpBrief(serializers.Serializer[Any]):
    id = Id()
    line = Id()
    own_material = Id()
    lot = Id(allow_null=True, help_text="What is used up.")
    material = Id(help_text="What makes up.")
    other_lot = Id(allow_null=True)
    kept_grams = Shown()
    replaced_grams = Shown()
    other_grams = Shown()
    own_percent = Shown(allow_null=True, help_text="Active matter; null: one to one.")
    other_percent = Shown(allow_null=True)
    cautions = CautionOut(many=True)
    person = Id()
    created_at = Moment()


def lines_json(row: Batch) -> list[dict[str, Any]]:
    """The lines of a batch that was fetched with its details, in their order."""
    in_pot, taught, lots = InPot(row), learned_for(row), Chosen.of(row)
    of_line: dict[Any, list[Share]] = {}
    for share in shares(row.lines.all(), row.changes.all(), row.weighings.all()):
        of_line.setdefault(share.line.id, []).append(share)
    return [
        _line_json(
            line,
            in_pot_json(line, in_pot.of(line), taught.get(line.material_id)),
            of_line[line.id],
            lots,
        )
        for line in sorted(row.lines.all(), key=lambda line: line.position)
    ]


def packaging_json(row: Batch) -> list[dict[str, Any]]:
    """The packaging of such a batch, in its order."""
    lots = Chosen.of(row)
    return [
        _packaging_json(item, row.units or 0, lots)
        for item in sorted(row.packaging.all(), key=lambda item: item.position)
    ]


def top_up_brief(row: TopUp) -> dict[str, Any]:
    return {
        "id": str(row.id),
        "line": str(row.line_id),
        "own_material": str(row.own_material_id),
        "lot": row.lot_id and str(row.lot_id),
        "material": str(row.material_id),
        "other_lot": row.other_lot_id and str(row.other_lot_id),
        "kept_grams": plain(row.kept_grams),
        "replaced_grams": plain(row.replaced_grams),
        "other_grams": plain(row.other_grams),
        "own_percent": row.own_percent and plain(row.own_percent.normalize()),
        "other_percent": row.other_percent and plain(row.other_percent.normalize()),
        "cautions": row.cautions,
        "person": str(row.person_id),
        "created_at": row.created_at,
    }


def _line_json(
    line: BatchLine, pot: dict[str, Any], parts: list[Share], lots: Chosen
) -> dict[str, Any]:
    return {
        "id": str(line.id),
        "formula" if line.component_id else "material": str(line.component_id or line.material_id),
        "name": line.component.name if line.component else line.material.name,
        "phase": line.phase,
        "percent": plain(line.percent.normalize()),
        "max_percent": line.max_percent and plain(line.max_percent.normalize()),
        "max_celsius": plain(line.max_celsius),
        "spent": line.spent,
        "planned_grams": plain(line.grams),
        "grams": plain(sum((part.grams for part in parts), Decimal(0))),
        **pot,
        "picks": [_pick_json(one, "grams", one.quantity) for one in lots.picks(line)],
        "short": plain(lots.short(line)),
        "shares": [_share_json(part, lots) for part in parts],
    }


def _share_json(part: Share, lots: Chosen) -> dict[str, Any]:
    own = part.material.id
    picks = [one for one in lots.picks(part.line) if one.lot.material_id == own]
    return {
        "material": str(own),
        "name": part.material.name,
        "grams": plain(part.grams),
        "weighed": plain(part.weighed),
        "picks": [_pick_json(one, "grams", one.quantity) for one in picks],
        "short": plain(lots.short(part.line, own)),
    }


def _packaging_json(item: BatchPackaging, units: int, lots: Chosen) -> dict[str, Any]:
    return {
        "material": str(item.material_id),
        "name": item.material.name,
        "count": plain((item.per_unit * units).quantize(1)),
        "picks": [_pick_json(one, "count", one.quantity.quantize(1)) for one in lots.picks(item)],
        "short": plain(lots.short(item).quantize(1)),
    }


def _pick_json(pick: Pick, unit: str, quantity: Decimal) -> dict[str, Any]:
    return {"lot": str(pick.lot_id), "code": pick.lot.code, unit: plain(quantity)}
