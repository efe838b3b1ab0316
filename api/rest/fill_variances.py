"""What filling bulk cost beside its standards."""

from typing import Any

from rest_framework import serializers

from api.operation import NOT_YET, Resource, reads
from api.rest.explained import Explain, figure_json
from api.rest.fields import Id, Shown, Text, plain
from api.rest.variances import ToldVariancesOut, told_json
from formulas.fill_comparing import JudgedFill, variances_of_fill
from formulas.filling import total_of
from formulas.variance_workings import working_of
from ledger.access import Actor


class FillVariancesOut(ToldVariancesOut):
    """Its one material is the bulk; work by the batch and overhead are no part of a fill."""

    fill = Id()
    code = Text(help_text="Of the lot of units.")
    formula = Id()
    version = serializers.IntegerField(help_text="That the bulk was made by.")
    product = Id()
    filled_on = serializers.DateField()
    units = serializers.IntegerField()
    nominal_grams = Shown(help_text="What the units should hold.")
    formula_standard = Id()
    product_standard = Id()
    rejected = Shown(help_text="Of what went in, expensed with the rejects.")
    carried = Shown(help_text="What the units carry of it.")


def fill_variances_json(judged: JudgedFill) -> dict[str, Any]:
    compared = judged.compared
    row, version = compared.filling, compared.version
    return {
        "fill": str(row.id),
        "code": row.lot.code,
        "formula": version and str(version.formula_id),
        "version": version and version.number,
        "product": str(row.product_id),
        "filled_on": compared.on,
        "units": row.units,
        "nominal_grams": plain(row.nominal_grams),
        "formula_standard": compared.formula_standard and str(compared.formula_standard.id),
        "product_standard": compared.product_standard and str(compared.product_standard.id),
        "rejected": plain(row.rejected),
        "carried": plain(total_of(row)),
        **told_json(judged.variances, judged.names, recorded=False),
    }


class FillVariances(Resource):
    """Why a fill cost more or less than its standard."""

    @reads(Explain, FillVariancesOut, conflict=NOT_YET)
    def get(self, actor: Actor, query: dict[str, Any], id: str) -> dict[str, Any]:
        """Compare a fill with the standards of the day when it was filled."""
        judged = variances_of_fill(actor, id)
        found = fill_variances_json(judged)
        if query.get("explain"):
            found["working"] = figure_json(working_of(actor, judged))
        return found
