"""Finished batches beside their standards, one or many, in a fixed number of queries.

What went into a batch is read from the entry of its finish: every lot that lay in it, as weighed,
topped up, put in instead, or added by a count, at the cost that it carried; and the packaging that
was drawn. What was scrapped before the finish is no part of it. A standard is of the output alone:
what came out beside it, or was declared lost, is yield. What that took off the cost
of the batch is told beside the variances and is no part of them (a choice of ours).
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Final
from uuid import UUID

from django.db import connection
from django.db.models import F, Q, QuerySet

from formulas.access import batch_for
from formulas.costing import Labour, Overhead
from formulas.errors import NotFinished, StandardMissing
from formulas.models import Making, StandardCost
from formulas.standards import standards_of
from formulas.variances import (
    FORMULAS,
    Actual,
    BatchVariances,
    Goods,
    Priced,
    Standard,
    batch_variances,
)
from ledger.access import Actor, materials_visible_to
from ledger.costing import GRAMS_PER_KG
from ledger.errors import Invalid, Sentence
from ledger.roles import Verb

ZERO = Decimal(0)
LONGEST_PERIOD: Final = timedelta(days=366)
_WENT_IN: Final = """
select p.entry_id, a.kind, l.material_id, -sum(p.quantity), -sum(p.value)
  from ledger_posting p
  join ledger_account a on a.coop_id = p.coop_id and a.id = p.account_id
  join ledger_lot l on l.coop_id = p.coop_id and l.id = p.lot_id
  where p.coop_id = %(coop)s and p.entry_id = any(%(entries)s) and p.quantity < 0
    and a.kind in ('batch', 'store')
  group by p.entry_id, a.kind, l.material_id
  order by min(p.line)
"""


@dataclass(frozen=True, slots=True)
class Summed:
    """The variances of a period, by the names of FORMULAS."""

    batches: int
    without_standard: int
    actual: Decimal
    standard: Decimal
    parts: Mapping[str, Decimal]

    @property
    def total(self) -> Decimal:
        """Above zero: they cost more than they should have."""
        return self.actual - self.standard


@dataclass(frozen=True, slots=True)
class Judged:
    """A finished batch whose standard is there: its variances, and the names of its materials."""

    compared: "Compared"
    variances: BatchVariances
    names: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Compared:
    """A finished batch and its variances; None, and what is `missing`, without a standard."""

    making: Making
    on: date
    formula_standard: StandardCost | None
    product_standard: StandardCost | None
    variances: BatchVariances | None

    @property
    def missing(self) -> str:
        """The name of the formula version, or of the product, that has no standard for the day."""
        batch = self.making.batch
        if self.formula_standard is None:
            return Sentence(
                "{formula}, version {number}",
                formula=batch.version.formula.name,
                number=batch.version.number,
            )
        if batch.product is not None and self.product_standard is None:
            return str(batch.product.name)
        return ""


def variances_of(actor: Actor, batch: UUID | str) -> Judged:
    """The variances of one finished batch against the standard of the day when it was finished.

    Raises NotFound, Forbidden, NotFinished, StandardMissing.
    """
    actor.must(Verb.SEE_COSTS)
    found = batch_for(actor, batch)
    if found.making_id is None:
        raise NotFinished(batch=found.code)
    (compared,) = compare(actor, _makings(actor).filter(id=found.making_id))
    if compared.variances is None:
        raise StandardMissing(name=compared.missing, day=compared.on)
    return Judged(compared, compared.variances, names_in(actor, compared.variances))


def finished_between(
    actor: Actor,
    first: date,
    last: date,
    *,
    formula: UUID | None = None,
    product: UUID | None = None,
) -> QuerySet[Making]:
    """The finishes that stand, of the days from `first` to `last`, both included.

    Raises Forbidden, and Invalid for a period that ends before it begins, or is longer than a year.
    """
    actor.must(Verb.SEE_COSTS)
    if last < first:
        raise Invalid("The period ends before it begins.", pointer="/to")
    if last - first >= LONGEST_PERIOD:
        raise Invalid("A period is a year at most: ask for each year by itself.", pointer="/to")
    rows = _makings(actor).filter(entry__happened_on__gte=first, entry__happened_on__lte=last)
    if formula is not None:
        rows = rows.filter(batch__version__formula_id=formula)
    return rows if product is None else rows.filter(batch__product_id=product)


def compare(actor: Actor, makings: Iterable[Making]) -> list[Compared]:
    """Each finish beside its standards, in the order given."""
    rows = list(makings)
    inputs = went_in(actor, [row.entry_id for row in rows])
    standards = Standards(
        actor,
        versions={row.batch.version_id for row in rows},
        products={row.batch.product_id for row in rows if row.batch.product_id},
    )
    found = []
    for row in rows:
        on = row.entry.happened_on
        of_formula = standards.on(on, row.batch.version_id)
        of_product = standards.on(on, row.batch.product_id)
        told = None
        if of_formula and (of_product or row.batch.product_id is None):
            told = batch_variances(_standard(of_formula, of_product), _actual(row, inputs))
        found.append(Compared(row, on, of_formula, of_product, told))
    return found


def sum_of(actor: Actor, makings: Iterable[Making]) -> Summed:
    """The variances of many batches together; those without a standard are only counted."""
    rows = compare(actor, makings)
    told = [row.variances for row in rows if row.variances is not None]
    return Summed(
        batches=len(rows),
        without_standard=len(rows) - len(told),
        actual=sum((one.actual for one in told), ZERO),
        standard=sum((one.standard for one in told), ZERO),
        parts={name: sum((one.parts[name] for one in told), ZERO) for name in FORMULAS},
    )


def names_in(actor: Actor, variances: BatchVariances) -> dict[str, str]:
    """What the materials of these variances are called, by their ids."""
    wanted = {*(one.name for one in variances.materials), *variances.packaging}
    rows = materials_visible_to(actor).filter(id__in=wanted)
    return {str(id): name for id, name in rows.values_list("id", "name")}


def _makings(actor: Actor) -> QuerySet[Making]:
    return Making.objects.select_related(
        "entry", "batch__version__formula", "batch__product"
    ).filter(maker_id=actor.maker, batch__making=F("id"))


class Standards:
    """The standards of some versions and products, found by day."""

    def __init__(self, actor: Actor, *, versions: Set[UUID], products: Set[UUID]) -> None:
        rows = standards_of(actor).filter(Q(version_id__in=versions) | Q(product_id__in=products))
        self.by_subject: dict[UUID | None, list[StandardCost]] = defaultdict(list)
        for row in rows.order_by("-valid_from", "-id"):
            self.by_subject[row.version_id or row.product_id].append(row)

    def on(self, day: date, subject: UUID | None) -> StandardCost | None:
        """The latest that was valid on a day."""
        return next(
            (row for row in self.by_subject.get(subject, []) if row.valid_from <= day), None
        )


def went_in(actor: Actor, entries: Sequence[UUID]) -> dict[tuple[UUID, str], dict[str, Goods]]:
    """What left the batch, and what left the store, by the entry and the kind of account.

    It is of each material by its id, at what it cost.
    """
    found: dict[tuple[UUID, str], dict[str, Goods]] = defaultdict(dict)
    with connection.cursor() as cursor:
        cursor.execute(_WENT_IN, {"coop": actor.coop_id, "entries": list(entries)})
        for entry, kind, material, quantity, value in cursor:
            found[entry, kind][str(material)] = Goods(quantity, value)
    return found


def _actual(making: Making, inputs: Mapping[tuple[UUID, str], Mapping[str, Goods]]) -> Actual:
    units = making.units or 0
    labour = Labour(
        making.hourly_rate,
        making.minutes_per_batch,
        making.minutes_per_unit,
        making.labour_minutes,
    )
    return Actual(
        output_grams=making.output_grams,
        units=units,
        materials=inputs.get((making.entry_id, "batch"), {}),
        packaging=inputs.get((making.entry_id, "store"), {}),
        minutes=labour.minutes(units),
        labour=making.labour,
        overhead=making.overhead,
    )


def packaging_of(of_product: StandardCost) -> dict[str, Priced]:
    """What a unit takes of each packaging by a product's standard."""
    return {str(row.material_id): Priced(row.share, row.price) for row in of_product.prices.all()}


def _standard(of_formula: StandardCost, of_product: StandardCost | None) -> Standard:
    labour, overhead = Labour(ZERO), Overhead()
    packaging = {} if of_product is None else packaging_of(of_product)
    if of_product is not None:
        labour = Labour(
            of_product.hourly_rate, of_product.minutes_per_batch, of_product.minutes_per_unit
        )
        overhead = Overhead(of_product.overhead_per_batch, of_product.overhead_percent)
    return Standard(
        materials={
            str(row.material_id): Priced(row.share, row.price / GRAMS_PER_KG)
            for row in of_formula.prices.all()
        },
        process_loss_percent=of_formula.version.process_loss_percent,
        packaging=packaging,
        labour=labour,
        overhead=overhead,
    )
