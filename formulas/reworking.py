"""Putting a lot that was made before into a new batch, within what its formula allows."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import ROUND_DOWN, Decimal
from fractions import Fraction
from uuid import UUID

from django.db.models import F, QuerySet, Sum

from formulas.access import batches_of, locked_batch, standing
from formulas.batches import must_be_planned
from formulas.deviations import Rule
from formulas.errors import OverMaximum
from formulas.models import Batch, Rework, Weighing
from formulas.weighing import Weighed, weigh
from ledger.access import Actor, lot_for
from ledger.costing import round_stored
from ledger.errors import Invalid, Sentence
from ledger.quantities import Quantity
from ledger.roles import Verb

ZERO = Decimal(0)
CENTIGRAM = Decimal("0.01")
# What is ten times a batch is another batch, and was planned wrong.
BEYOND_ANY = Decimal(1000)


@dataclass(frozen=True, slots=True)
class Reworked:
    """Rework that stands: its weighing, and the share of the batch that is rework with it."""

    weighed: Weighed
    rework: Rework


@dataclass(frozen=True, slots=True)
class Allowance:
    """How much rework a batch may take: percent of it as planned, what is in, grams left."""

    max_percent: Decimal
    weighed: Sequence[Weighing]
    left_grams: Decimal

    @property
    def grams(self) -> Decimal:
        """So much is in so far."""
        return sum((one.quantity for one in self.weighed), ZERO)


def allowance_of(batch: Batch) -> Allowance:
    """What of a batch may be rework, and how much of that has not gone in yet."""
    weighed = list(_rework_weighed(batch).select_related("lot").order_by("id"))
    before = sum((one.quantity for one in weighed), ZERO)
    most = batch.version.rework_max_percent or ZERO
    return Allowance(most, weighed, _left(batch, before, most))


def batches_for_rework(actor: Actor) -> "QuerySet[Batch]":
    """The planned batches into which rework may go, those first that allow the most of it.

    Raises Forbidden.
    """
    planned = batches_of(actor).filter(state=Batch.State.PLANNED)
    return planned.order_by(F("version__rework_max_percent").desc(nulls_last=True), "-id")


def rework(
    actor: Actor,
    *,
    batch: UUID | str,
    lot: UUID | str,
    quantity: Quantity,
    approval: str,
    happened_at: datetime,
    deviation: str = "",
) -> Reworked:
    """Weigh so much of a made lot into a batch as rework, approved and with its parent kept.

    All rework together is at most the formula version's maximum percent of the batch as planned,
    unless a deviation says why; a version without one allows none (ISO 22716, 10.2: rework follows
    a defined and approved method). The approval also allows what is not released, but never what
    was rejected, and what is past its day only with a deviation. Raises NotFound, AlreadyFinished,
    Invalid for a lot that was not made here, OverMaximum, NotEnough, LotNotReleased, LotExpired,
    LotOpenTooLong, DensityMissing.
    """
    actor.must(Verb.MAKE)
    if not approval.strip():
        raise Invalid("Say who approved the rework, and on what basis.", pointer="/approval")
    found = locked_batch(actor, batch)
    must_be_planned(found)
    if lot_for(actor, lot, pointer="/lot").made_in_id is None:
        raise Invalid(
            "Rework is of what was made here; weigh a purchased lot in for its line.",
            pointer="/lot",
        )
    before = _rework_in(found)
    weighed = weigh(
        actor,
        batch=found.id,
        lot=lot,
        quantity=quantity,
        happened_at=happened_at,
        deviation=deviation or approval,
        only=None if deviation else {Rule.NOT_IN_FORMULA, Rule.STATUS},
    )
    return Reworked(weighed, _keep(actor, weighed, before, approval, deviation))


def _keep(actor: Actor, weighed: Weighed, before: Decimal, approval: str, deviation: str) -> Rework:
    """Keep that it was rework, and how much of the batch is. Raises OverMaximum."""
    batch = weighed.batch
    together = before + weighed.weighing.quantity
    percent = round_stored(Fraction(together) * 100 / Fraction(batch.batch_grams))
    most = batch.version.rework_max_percent or ZERO
    if percent > most and not deviation:
        raise _over(batch, before, percent, most)
    if percent >= BEYOND_ANY:
        raise OverMaximum(
            Sentence(
                "This would make rework {percent:f} % of the batch as it was planned: plan one for"
                " as much as goes in.",
                percent=percent.normalize(),
            ),
            pointer="/quantity",
            percent=percent,
            max_percent=most,
            headroom_grams=_left(batch, before, most),
        )
    kept = Rework(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        batch=batch,
        weighing=weighed.weighing,
        approval=approval,
        percent=percent,
        max_percent=most,
        deviation=deviation,
    )
    kept.save(force_insert=True)
    return kept


def _rework_in(batch: Batch) -> Decimal:
    return _rework_weighed(batch).aggregate(together=Sum("quantity"))["together"] or ZERO


def _rework_weighed(batch: Batch) -> QuerySet[Weighing]:
    """What stands in the batch of lots that went in as rework, and what was weighed back of it."""
    lots = Rework.objects.filter(batch=batch).values("weighing__lot_id")
    return standing(Weighing.objects.filter(batch=batch, line__isnull=True, lot_id__in=lots))


def _over(batch: Batch, before: Decimal, percent: Decimal, most: Decimal) -> OverMaximum:
    left = _left(batch, before, most)
    if not most:
        template = (
            "The formula allows no rework: give its version a rework_max_percent, or record a"
            " deviation."
        )
    else:
        template = (
            "This would make {percent:f} % of the batch rework, above the maximum of {most:f} %: at"
            " most {left:f} g more may go in. Add less, or record a deviation."
        )
    places = {"percent": percent.normalize(), "most": most.normalize(), "left": left}
    return OverMaximum(
        Sentence(template, **places),
        pointer="/quantity",
        percent=percent,
        max_percent=most,
        headroom_grams=left,
    )


def _left(batch: Batch, before: Decimal, most: Decimal) -> Decimal:
    """Grams that may still go in, to the scale's step and never rounded up."""
    left: Decimal = max(ZERO, batch.batch_grams * most / 100 - before)
    return left.quantize(CENTIGRAM, ROUND_DOWN)
