"""An infusion as it is made: the solids that went in, the marc that came out, what others kept."""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Final

from django.db import connection
from django.db.models import Q, Sum

from formulas.access import standing
from formulas.infusing import Steeped, retention_of, steeped
from formulas.learning import Learned, learned
from formulas.models import Batch, FormulaVersion, Making, Weighing
from formulas.recipes import infusion_of
from ledger.costing import round_stored
from ledger.errors import Invalid, placed
from ledger.models import Holding
from ledger.quantities import Quantity, grams_of

ZERO = Decimal(0)
# Of all versions; a marc that was not weighed teaches nothing.
_WEIGHED_MARC: Final = """
select k.marc_grams, k.spent_grams
  from formulas_formulaversion v
  join formulas_batch b on b.coop_id = v.coop_id and b.version_id = v.id and b.state = 'finished'
  join formulas_making k on k.coop_id = b.coop_id and k.id = b.making_id
 where v.coop_id = %s and v.formula_id = %s and b.id <> %s
   and k.marc_grams is not null and k.spent_grams > 0
"""


def spent_in(batch: Batch, held: Sequence[Holding]) -> Decimal | None:
    """Grams of solid in a batch of an infusion: what lies in it of what spent lines called for.

    Of a lot that went in for another line too, or of which a part was scrapped with the pot, its
    share. None for a batch of what is no infusion.
    """
    if infusion_of(batch.version) is None:
        return None
    rows = standing(Weighing.objects.filter(batch=batch)).values("lot_id").order_by()
    weighed = {
        row["lot_id"]: (row["spent"] or ZERO, row["together"])
        for row in rows.annotate(
            spent=Sum("quantity", filter=Q(line__spent=True)), together=Sum("quantity")
        )
    }
    grams = Fraction(0)
    for one in held:
        spent, together = weighed.get(one.lot_id, (ZERO, ZERO))
        if together > 0:
            grams += Fraction(one.quantity) * Fraction(spent) / Fraction(together)
    return round_stored(grams)


def marc_of(batch: Batch, marc: Quantity | None) -> Decimal | None:
    """The marc in grams. Raises Invalid for a batch of what is no infusion, DensityMissing."""
    if marc is None:
        return None
    if infusion_of(batch.version) is None:
        raise Invalid(
            "Only an infusion leaves a marc, and this formula has no spent line: leave it out.",
            pointer="/marc",
        )
    with placed("/marc"):
        return grams_of(marc, density=None, name="the marc")


def expected_loss(
    version: FormulaVersion, weighed_grams: Decimal, spent_grams: Decimal | None
) -> Decimal | None:
    """The loss to be expected of what was weighed in, or None where it is a percent of that."""
    infusion = infusion_of(version)
    if infusion is None or spent_grams is None:
        return None
    return infusion.loss_grams(weighed_grams, spent_grams)


def steeped_of(making: Making, version: FormulaVersion) -> Steeped | None:
    """What a finished infusion came to; None for what is none."""
    infusion = infusion_of(version)
    if infusion is None or making.spent_grams is None:
        return None
    return steeped(
        infusion,
        input_grams=making.weighed_grams,
        spent_grams=making.spent_grams,
        output_grams=making.output_grams,
        marc_grams=making.marc_grams,
        apart_grams=making.declared_grams + making.beside_grams,
    )


def learned_retention(batch: Batch) -> Learned | None:
    """The grams of liquid that a gram of solid kept in other batches of the formula.

    Nothing for what is no infusion, and then without a query.
    """
    if infusion_of(batch.version) is None:
        return None
    with connection.cursor() as cursor:
        cursor.execute(_WEIGHED_MARC, [batch.coop_id, batch.version.formula_id, batch.id])
        kept = [retention_of(marc, spent) for marc, spent in cursor.fetchall()]
    return learned([Fraction(one) for one in kept if one is not None])
