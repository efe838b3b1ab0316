"""Fills beside their standards: what filling bulk should have cost, in a fixed number of queries.

The bulk is to cost what the standard of the version says that it was made by: the materials of a
kilogram, through the expected loss. Packaging and the work on a unit are those of the product's
standard. Work by the batch and overhead are the batch's, and no part of a fill.

Bulk comes in at what its batch cost, so that the price variance of a fill is the batch's own
variance carried on, and the two are not added up. Its yield is what went in beyond what the units
should hold: heel, rejects, overfill that nobody meant, and spills (a choice of ours). Of a single
material there is no mix. Rejects are part of what went in, though they are expensed.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from formulas.access import fills_of
from formulas.comparing import Standards, names_in, packaging_of, went_in
from formulas.composition import left_after_loss
from formulas.costing import Labour, Overhead
from formulas.errors import StandardMissing
from formulas.models import Batch, Filling, FormulaVersion, StandardCost
from formulas.variances import (
    Actual,
    BatchVariances,
    Goods,
    Priced,
    Standard,
    batch_variances,
    cost_per_kg,
)
from ledger.access import Actor, find
from ledger.costing import GRAMS_PER_KG
from ledger.errors import Conflict, DensityMissing
from ledger.roles import Verb

ZERO, HUNDRED = Decimal(0), Decimal(100)


@dataclass(frozen=True, slots=True)
class ComparedFill:
    """A fill and its variances; None, and what is `missing`, without a standard.

    `version` is the one that its bulk was made by, None for bulk that no batch made.
    """

    filling: Filling
    on: date
    version: FormulaVersion | None
    formula_standard: StandardCost | None
    product_standard: StandardCost | None
    variances: BatchVariances | None

    @property
    def missing(self) -> str:
        """The name of the formula version, or of the product, that has no standard for the day."""
        if self.version is None:
            return str(self.filling.bulk_lot.code)
        if self.formula_standard is None:
            return f"{self.version.formula.name}, version {self.version.number}"
        return "" if self.product_standard else str(self.filling.product.name)


@dataclass(frozen=True, slots=True)
class JudgedFill:
    """A fill whose standards are there: its variances, and the names of its materials."""

    compared: ComparedFill
    variances: BatchVariances
    names: Mapping[str, str]


def variances_of_fill(actor: Actor, fill: UUID | str) -> JudgedFill:
    """The variances of one fill against the standards of the day when it was filled.

    Raises NotFound, Forbidden, Conflict for a fill that was undone, StandardMissing, and
    DensityMissing where nobody can say what the units should hold.
    """
    actor.must(Verb.SEE_COSTS)
    row: Any = find(_fills(actor), fill)
    if row.undone:
        raise Conflict("This fill was undone: there is nothing to compare with a standard.")
    (compared,) = compare_fills(actor, [row])
    if compared.missing:
        version = compared.version.number if compared.version else None
        raise StandardMissing(name=compared.missing, day=compared.on, version=version)
    if compared.variances is None:
        raise DensityMissing(name=row.bulk_lot.material.name)
    return JudgedFill(compared, compared.variances, names_in(actor, compared.variances))


def compare_fills(actor: Actor, fills: Iterable[Filling]) -> list[ComparedFill]:
    """Each fill beside its standards, in the order given."""
    rows = list(fills)
    inputs = went_in(actor, [row.entry_id for row in rows])
    versions = _versions(actor, rows)
    standards = Standards(
        actor,
        versions={one.id for one in versions.values()},
        products={row.product_id for row in rows},
    )
    found = []
    for row in rows:
        on, version = row.entry.happened_on, versions.get(row.bulk_lot.made_in_id)
        of_formula = standards.on(on, version.id) if version else None
        of_product = standards.on(on, row.product_id)
        told = None
        if of_formula and of_product and row.nominal_grams is not None:
            goods = inputs.get((row.entry_id, "store"), {})
            standard = _standard(row, of_formula, of_product)
            told = batch_variances(standard, _actual(row, row.nominal_grams, goods))
        found.append(ComparedFill(row, on, version, of_formula, of_product, told))
    return found


def _fills(actor: Actor) -> QuerySet[Filling]:
    return fills_of(actor).select_related("entry", "product", "lot", "bulk_lot__material")


def _versions(actor: Actor, rows: Iterable[Filling]) -> dict[UUID | None, FormulaVersion]:
    """The version that made the bulk of each fill, by the account of its batch."""
    made_in = {row.bulk_lot.made_in_id for row in rows if row.bulk_lot.made_in_id}
    batches = Batch.objects.select_related("version__formula")
    found = batches.filter(maker_id=actor.maker, account_id__in=made_in)
    return {batch.account_id: batch.version for batch in found}


def _standard(row: Filling, of_formula: StandardCost, of_product: StandardCost) -> Standard:
    """What so many units should have cost: their bulk as one material that nothing is lost of."""
    left = left_after_loss(of_formula.version.process_loss_percent)
    kilogram = cost_per_kg(((one.share, one.price) for one in of_formula.prices.all()), left)
    return Standard(
        materials={str(row.bulk_lot.material_id): Priced(HUNDRED, kilogram / GRAMS_PER_KG)},
        process_loss_percent=ZERO,
        labour=Labour(of_product.hourly_rate, minutes_per_unit=of_product.minutes_per_unit),
        overhead=Overhead(),
        packaging=packaging_of(of_product),
    )


def _actual(row: Filling, nominal: Decimal, goods: Mapping[str, Goods]) -> Actual:
    """What the units took: all that left the store for them, and the work as it was reckoned."""
    bulk = str(row.bulk_lot.material_id)
    return Actual(
        output_grams=nominal,
        units=row.units,
        materials={id: one for id, one in goods.items() if id == bulk},
        packaging={id: one for id, one in goods.items() if id != bulk},
        minutes=Fraction(row.minutes_per_unit) * row.units,
        labour=row.labour,
    )
