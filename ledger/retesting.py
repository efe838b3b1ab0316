"""Retests, specifications and test results (ISO 22716 6.5.3, 6.7, 9).

A retest date moves only by a record of the retest; an expiry date never does. A result outside its
limit (OOS, out of specification) puts the lot on hold by itself, with all that was made from it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from uuid import UUID

from django.db.models import F, Max, QuerySet

from ledger.access import Actor, lot_for, material_for
from ledger.entries import explained, lock_pools
from ledger.errors import (
    ExpiryStands,
    Invalid,
    Sentence,
)
from ledger.limits import Limit, inside
from ledger.lots import custody_of
from ledger.models import (
    Lot,
    LotResult,
    Retest,
    Specification,
    SpecificationLimit,
    Status,
)
from ledger.roles import Verb
from ledger.stopping import Decided, decide_through


@dataclass(frozen=True, slots=True)
class Found:
    """What a test found: a figure or a text."""

    name: str
    value: Decimal | None = None
    text: str = ""
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Retested:
    """A retest that is kept, its lot, and the decision that followed from a failed one."""

    lot: Lot
    retest: Retest
    decided: Decided | None = None


@dataclass(frozen=True, slots=True)
class Tested:
    """Results that are kept, and the decision that followed from one outside its limit."""

    lot: Lot
    results: Sequence[LotResult]
    decided: Decided | None = None


def retest(
    actor: Actor,
    *,
    lot: UUID | str,
    tested_on: date,
    passed: bool,
    basis: str,
    today: date,
    retest_on: date | None = None,
    expires_on: date | None = None,
) -> Retested:
    """Keep the record of a retest; a passed one moves the retest date, a failed one holds the lot.

    Raises NotFound, Forbidden, ExpiryStands for a lot without a retest date or where an expiry date
    is sent, and Invalid for no basis or dates that cannot be.
    """
    actor.must(Verb.DECIDE)
    found = lot_for(actor, lot)
    if not basis.strip():
        raise Invalid("Say on what basis, such as the certificate seen.", pointer="/basis")
    if expires_on is not None:
        raise ExpiryStands(pointer="/expires_on")
    # Two retests of one lot come one after the other, and the second sees the first one's date.
    lock_pools([found.material_id])
    found = lot_for(actor, lot)
    if found.retest_on is None:
        stands = (
            "The lot {code} has no retest date, and its expiry is never extended: use it up in"
            " time, write it off, or record a named deviation where it is used."
        )
        raise ExpiryStands(Sentence(stands, code=found.code))
    _check_days(found, tested_on, passed, retest_on, today)
    kept = Retest(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        lot=found,
        tested_on=tested_on,
        passed=passed,
        basis=basis,
        retest_before=found.retest_on,
        retest_on=retest_on,
        person_id=actor.person_id,
    )
    kept.save(force_insert=True)
    if passed:
        with explained():
            Lot.objects.filter(id=found.id).update(retest_on=retest_on, version=F("version") + 1)
        return Retested(lot_for(actor, lot), kept)
    return Retested(found, kept, _hold(actor, found, f"retest failed: {basis}"))


def retests_of(actor: Actor, lot: UUID | str) -> "QuerySet[Retest]":
    """The retests of a lot. Raises NotFound, Forbidden."""
    actor.must(Verb.READ)
    return Retest.objects.filter(maker_id=actor.maker, lot=lot_for(actor, lot))


def specify(
    actor: Actor, *, material: UUID | str, limits: Sequence[Limit], reason: str = ""
) -> Specification:
    """Set a material's specification as its next version. Raises NotFound, Forbidden, Invalid."""
    actor.must(Verb.DECIDE)
    found = material_for(actor, material)
    names: set[str] = set()
    for place, limit in enumerate(limits):
        limit.check(f"/limits/{place}")
        if limit.name.casefold() in names:
            raise Invalid("This property stands twice.", pointer=f"/limits/{place}/name")
        names.add(limit.name.casefold())
    lock_pools([found.id])
    rows = Specification.objects.filter(maker_id=actor.maker, material=found)
    last: int = rows.aggregate(last=Max("number"))["last"] or 0
    own = {"coop_id": actor.coop_id, "maker_id": actor.maker}
    kept = Specification(
        **own, material=found, number=last + 1, reason=reason, person_id=actor.person_id
    )
    kept.save(force_insert=True)
    SpecificationLimit.objects.bulk_create(
        SpecificationLimit(
            **own,
            specification=kept,
            position=place,
            name=limit.name,
            low=limit.low,
            high=limit.high,
            unit=limit.unit,
            text=limit.text,
        )
        for place, limit in enumerate(limits)
    )
    return kept


def specifications_of(actor: Actor, material: UUID | str) -> "QuerySet[Specification]":
    """The versions of a material's specification with their limits. Raises NotFound, Forbidden."""
    actor.must(Verb.READ)
    found = material_for(actor, material)
    rows = Specification.objects.filter(maker_id=actor.maker, material=found)
    return rows.prefetch_related("limits")


def record_results(
    actor: Actor, *, lot: UUID | str, found: Sequence[Found], tested_on: date, today: date
) -> Tested:
    """Keep test results against the limits in force; one outside puts the lot on hold by itself.

    Raises NotFound, Forbidden, and Invalid for a figure where a text is asked or in another unit.
    """
    actor.must(Verb.DECIDE)
    of = lot_for(actor, lot)
    if tested_on > today:
        raise Invalid("The day of the test lies in the future.", pointer="/tested_on")
    last = Specification.objects.filter(maker_id=actor.maker, material_id=of.material_id).order_by(
        "-number"
    )
    rows = SpecificationLimit.objects.filter(specification__in=last[:1])
    limits = {row.name.casefold(): row for row in rows.select_related("specification")}
    kept, outside = [], []
    for place, one in enumerate(found):
        row = limits.get(one.name.casefold())
        agrees = None
        if row is not None:
            limit = Limit(row.name, row.low, row.high, row.unit, row.text)
            agrees = inside(limit, one.value, one.text, one.unit, f"/results/{place}")
            if not agrees:
                told = one.text or f"{one.value:f} {one.unit or row.unit}".strip()
                outside.append(
                    f"{row.name} {told} against {limit}, specification {row.specification.number}"
                )
        elif (one.value is None) == (not one.text):
            raise Invalid("Send a value or a text.", pointer=f"/results/{place}")
        kept.append(_result(actor, of, one, row, agrees, tested_on))
    LotResult.objects.bulk_create(kept)
    why = "out of specification: " + "; ".join(outside)
    return Tested(of, kept, _hold(actor, of, why) if outside else None)


def results_of(actor: Actor, lot: UUID | str) -> "QuerySet[LotResult]":
    """The test results of a lot. Raises NotFound, Forbidden."""
    actor.must(Verb.READ)
    rows = LotResult.objects.filter(maker_id=actor.maker, lot=lot_for(actor, lot))
    return rows.select_related("limit__specification")


def _check_days(
    lot: Lot, tested_on: date, passed: bool, retest_on: date | None, today: date
) -> None:
    if tested_on > today:
        raise Invalid("The day of the test lies in the future.", pointer="/tested_on")
    if tested_on < lot.arrived_on:
        raise Invalid("The day of the test lies before the lot's arrival.", pointer="/tested_on")
    if passed != (retest_on is not None):
        raise Invalid(
            "A passed retest gives the next retest date, and a failed one gives none.",
            pointer="/retest_on",
        )
    if retest_on is None:
        return
    if retest_on <= max(lot.retest_on or tested_on, tested_on) or (
        lot.expires_on is not None and retest_on > lot.expires_on
    ):
        raise Invalid(
            "The next retest date comes after the last one and the test, and not after the expiry.",
            pointer="/retest_on",
        )


def _hold(actor: Actor, lot: Lot, why: str) -> Decided | None:
    """Hold the lot, unless it is stopped already."""
    if custody_of(actor, lot).status == Status.REJECTED:
        return None
    return decide_through(actor, lot=lot.id, decision="hold", basis=why[:400])


def _result(
    actor: Actor,
    lot: Lot,
    found: Found,
    limit: SpecificationLimit | None,
    agrees: bool | None,
    tested_on: date,
) -> LotResult:
    return LotResult(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        lot=lot,
        name=limit.name if limit else found.name,
        value=found.value,
        text=found.text,
        unit=found.unit or (limit.unit if limit else ""),
        limit=limit,
        inside=agrees,
        tested_on=tested_on,
        person_id=actor.person_id,
    )
