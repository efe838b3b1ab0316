"""What was typed at the end of a batch, in grams: what came out, what was lost, what stayed."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from formulas.batches import MOST_UNITS
from formulas.joint_products import Joint
from formulas.models import Batch, ByProduct
from formulas.recipes import density_of
from formulas.steeping import marc_of
from ledger.errors import (
    Invalid,
    QuantityNotPositive,
    Sentence,
    placed,
)
from ledger.models import Lot
from ledger.quantities import Quantity, grams_of

ZERO = Decimal(0)
MOST_MINUTES = 100_000


@dataclass(frozen=True, slots=True)
class AbnormalLoss:
    """What was lost beyond what is normal, declared so that it is expensed, and why."""

    quantity: Quantity
    reason: str


@dataclass(frozen=True, slots=True)
class Outcome:
    """What was typed at the end of a batch, in grams."""

    entered: str
    output_grams: Decimal
    units: int | None
    declared_grams: Decimal
    declared_reason: str
    labour_minutes: Decimal | None
    marc_grams: Decimal | None
    spent_grams: Decimal | None = None
    by_products: Sequence[ByProduct] = ()
    joint: Joint | None = None
    label_version: str = ""

    @property
    def by_product_grams(self) -> Decimal:
        return sum((one.grams for one in self.by_products), ZERO)

    @property
    def lots_beside(self) -> list[Lot]:
        """All lots that came out beside the main one."""
        return [*(one.lot for one in self.by_products), *(self.joint.lots if self.joint else ())]

    @property
    def beside_grams(self) -> Decimal:
        """All that came out beside the main product."""
        return self.by_product_grams + (self.joint.grams if self.joint else ZERO)

    @property
    def by_product_value(self) -> Decimal:
        return sum((one.nrv for one in self.by_products), ZERO)


def check_units(units: int | None) -> None:
    """Raises QuantityNotPositive for none at all, Invalid for more than one batch can fill."""
    if units is not None and units < 1:
        raise QuantityNotPositive(pointer="/units")
    if units is not None and units > MOST_UNITS:
        raise Invalid(
            Sentence("A batch fills at most {most_units} pieces.", most_units=MOST_UNITS),
            pointer="/units",
        )


def outcome_of(
    batch: Batch,
    output: Quantity,
    units: int | None,
    loss: AbnormalLoss | None,
    minutes: Decimal | None,
    marc: Quantity | None,
) -> Outcome:
    if units is not None and batch.product is None:
        raise Invalid("This batch is of bulk, not of a product: leave units out.", pointer="/units")
    check_units(units)
    _check_minutes(batch, minutes)
    declared, reason = ZERO, ""
    if loss is not None:
        if not loss.reason.strip():
            raise Invalid("Say how it was lost.", pointer="/abnormal_loss/reason")
        declared, reason = _grams(batch, loss.quantity, "/abnormal_loss/quantity"), loss.reason
    grams = _grams(batch, output, "/output")
    strained = marc_of(batch, marc)
    return Outcome(output.entered, grams, units, declared, reason, minutes, strained)


def _check_minutes(batch: Batch, minutes: Decimal | None) -> None:
    if minutes is None:
        return
    if batch.product is None:
        raise Invalid(
            "Bulk of no product has no hourly rate, and carries no labour: leave the minutes out.",
            pointer="/labour_minutes",
        )
    if not minutes.is_finite() or not 0 <= minutes <= MOST_MINUTES:
        raise Invalid(
            Sentence("Labour is 0 to {most_minutes} minutes.", most_minutes=MOST_MINUTES),
            pointer="/labour_minutes",
        )


def _grams(batch: Batch, quantity: Quantity, pointer: str) -> Decimal:
    version = batch.version
    with placed(pointer):
        return grams_of(quantity, density=density_of(version), name=version.formula.name)
