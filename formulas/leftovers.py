"""What stays behind at filling: the heel in the filler, rejects, and what nobody can explain.

Bulk in = filled + samples + heel + rejects + unexplained (ISO 22716, 7.3: reconciliation of what
was filled). All masses are grams.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from ledger.errors import DensityMissing, Invalid, placed
from ledger.measuring import measure
from ledger.models import Lot
from ledger.quantities import Density, Quantity, count_of

ZERO = Decimal(0)
SMALLEST_SLIP = Decimal("0.01")


@dataclass(frozen=True, slots=True)
class Leftover:
    """So much that did not come to be sold, and why. Rejects may be counted units."""

    quantity: Quantity
    reason: str


@dataclass(frozen=True, slots=True)
class SetAside:
    """The heel and the rejects of a fill in grams; `rejects` are the facts that are kept."""

    heel_grams: Decimal = ZERO
    heel_reason: str = ""
    reject_grams: Decimal = ZERO
    reject_units: int = 0
    rejects: list[dict[str, Any]] = field(default_factory=list)

    @property
    def grams(self) -> Decimal:
        return self.heel_grams + self.reject_grams

    @property
    def reasons(self) -> list[str]:
        said = [self.heel_reason, *(one["reason"] for one in self.rejects)]
        return [reason for reason in said if reason]


@dataclass(frozen=True, slots=True)
class Reconciliation:
    """Where the bulk of one fill went, in grams; all None but what is known without a density.

    `filled` leaves the samples out. `unexplained` is below zero where more was filled than went in.
    """

    bulk_in: Decimal
    heel: Decimal
    rejects: Decimal
    filled: Decimal | None
    samples: Decimal | None
    unexplained: Decimal | None

    @property
    def doubtful(self) -> bool:
        """Whether more was filled than went in, to a hundredth of a gram, or more than a tenth of
        it went nobody knows where: mostly a slip (limits of our own)."""
        if self.unexplained is None:
            return False
        return self.unexplained < -SMALLEST_SLIP or self.unexplained > self.bulk_in / 10


def reconcile(
    *,
    bulk_in: Decimal,
    units: int,
    sample_units: int,
    each: Decimal | None,
    heel: Decimal,
    rejects: Decimal,
) -> Reconciliation:
    """Reconcile a fill of `units` (samples among them) that hold `each` grams."""
    if each is None:
        return Reconciliation(bulk_in, heel, rejects, None, None, None)
    filled, samples = each * (units - sample_units), each * sample_units
    unexplained = bulk_in - filled - samples - heel - rejects
    return Reconciliation(bulk_in, heel, rejects, filled, samples, unexplained)


def set_aside(
    bulk: Lot,
    heel: Leftover | None,
    rejects: Sequence[Leftover],
    each: Decimal | None,
    known: Density | None,
) -> SetAside:
    """The heel and rejects of a fill from `bulk`, whose units hold `each` grams.

    `known` is the density of the bulk as it was filled, else its material's holds.

    Raises Invalid for no reason, DensityMissing for a volume or for units of unknown mass,
    UnitWrong for a counted heel.
    """
    heel_grams, heel_reason = ZERO, ""
    if heel is not None:
        _check_reason(heel, "/heel")
        with placed("/heel/quantity"):
            heel_grams = measure(heel.quantity, bulk.material, known).quantity
        heel_reason = heel.reason
    kept, units, grams = [], 0, ZERO
    for place, reject in enumerate(rejects):
        _check_reason(reject, f"/rejects/{place}")
        with placed(f"/rejects/{place}/quantity"):
            pieces, mass = _rejected(bulk, reject.quantity, each, known)
        units, grams = units + pieces, grams + mass
        facts = {"entered": reject.quantity.entered, "grams": f"{mass:f}", "reason": reject.reason}
        kept.append(facts | ({"units": pieces} if pieces else {}))
    return SetAside(heel_grams, heel_reason, grams, units, kept)


def _rejected(
    bulk: Lot, quantity: Quantity, each: Decimal | None, known: Density | None
) -> tuple[int, Decimal]:
    """How many units were rejected, if units were, and the grams of bulk in them."""
    if quantity.measure != "count":
        return 0, measure(quantity, bulk.material, known).quantity
    if each is None:
        raise DensityMissing(name=bulk.material.name)
    pieces = count_of(quantity, name=bulk.material.name)
    if pieces > 1_000_000:
        raise Invalid("At most a million pieces are rejected at once.")
    return int(pieces), (each * pieces).quantize(Decimal("0.000001"))


def _check_reason(leftover: Leftover, pointer: str) -> None:
    if not leftover.reason.strip():
        raise Invalid("Say why it was not filled.", pointer=f"{pointer}/reason")
