"""The cost formula of each class of material, as the maker chooses it."""

from typing import Any, Final

from rest_framework import serializers

from api.operation import Resource, reads, writes
from api.rest.fields import Body, Choice, Id, Moment, Text
from ledger import cost_formulas
from ledger.access import Actor
from ledger.models import CostFormula, CostPolicy

CAUTION: Final = (
    "A change of the way in which stock is costed changes profit and tax. Ask an accountant before"
    " relying on it."
)


class CostFormulaIn(Body):
    cost_class = Text(max_length=60, help_text="As the materials name it.")
    formula = Choice(CostFormula.values)
    reason = Text(max_length=400)
    happened_at = Moment(required=False)


class ReshapedOut(serializers.Serializer[Any]):
    material = Id()
    entry = Id()


class CostFormulaOut(serializers.Serializer[Any]):
    cost_class = Text()
    formula = serializers.ChoiceField(CostFormula.values)


class ChosenOut(CostFormulaOut):
    entries = ReshapedOut(many=True, help_text="The entry of each material whose layers changed.")
    caution = Text()


class CostFormulaList(serializers.Serializer[Any]):
    results = CostFormulaOut(many=True)


class CostFormulas(Resource):
    """How goods of a class are costed when they leave the store."""

    @reads(None, CostFormulaList)
    def get(self, actor: Actor) -> dict[str, Any]:
        """List the maker's choices; elsewhere the material's own holds, else moving average."""
        rows = cost_formulas.policies_of(actor)[:200]
        return {"results": [policy_json(row) for row in rows]}

    @writes(CostFormulaIn, ChosenOut)
    def post(self, actor: Actor, data: dict[str, Any]) -> dict[str, Any]:
        """Choose lot, fifo or average for a class; it works forward only."""
        chosen = cost_formulas.choose_cost_formula(actor, **{"happened_at": self.now, **data})
        entries = [
            {"material": str(material), "entry": str(entry)}
            for material, entry in chosen.entries.items()
        ]
        return {**policy_json(chosen.policy), "entries": entries, "caution": CAUTION}


def policy_json(row: CostPolicy) -> dict[str, Any]:
    return {"cost_class": row.cost_class, "formula": row.cost_formula}
