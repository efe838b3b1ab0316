"""Lots: their codes, how they are opened, and what is decided about them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from django.contrib.postgres.expressions import ArraySubquery
from django.db import connection
from django.db.models import F, OuterRef, QuerySet
from django.db.models.functions import Now

from ledger.access import Actor, find, lot_for, lots_visible_to
from ledger.alerts import enqueue_checks
from ledger.entries import explained, lock_pools
from ledger.errors import (
    Invalid,
    Sentence,
    Stale,
)
from ledger.models import Custody, Decision, DecisionDocument, Lot, Material, Retest, Status
from ledger.quantities import Density
from ledger.roles import Verb

NUMBER = """
update ledger_maker set lots_numbered = lots_numbered + %s
 where coop_id = %s and id = %s returning mark, lots_numbered
"""
# What a decision makes of a lot.
BECOMES = {
    "release": Status.RELEASED,
    "reject": Status.REJECTED,
    "hold": Status.HOLD,
    "quarantine": Status.QUARANTINE,
}


@dataclass(frozen=True, slots=True)
class NewLot:
    """A lot about to be opened."""

    material: Material
    arrived_on: date
    supplier_id: UUID | None = None
    supplier_lot: str = ""
    made_in_id: UUID | None = None
    expires_on: date | None = None
    retest_on: date | None = None
    dates_note: str = ""
    density: Density | None = None


def next_lot_codes(actor: Actor, count: int) -> list[str]:
    """Codes short enough to write on a jar: the maker's mark and a running number."""
    with connection.cursor() as cursor:
        cursor.execute(NUMBER, [count, actor.coop_id, actor.maker])
        mark, last = cursor.fetchone()
    return [f"{mark}{number}" for number in range(last - count + 1, last + 1)]


def hold_lot_numbers(actor: Actor) -> None:
    """Take the lock on the maker's running number. It comes before those on its stock, so whoever
    looks at the stock before lots are opened takes it first."""
    next_lot_codes(actor, 0)


def open_lots(actor: Actor, lots: Sequence[NewLot], *, release_basis: str | None) -> list[Lot]:
    """Open lots in quarantine, or released on a stated basis (ISO 22716 6.4, 6.5).

    Raises Forbidden for a release by whoever may not decide, and Invalid for one on no basis or a
    date before the lot's arrival; the pointers count the lots as lines.
    """
    may_release(actor, release_basis)
    for place, new in enumerate(lots):
        _check_dates(new, f"/lines/{place}")
    return open_each(actor, [(new, release_basis) for new in lots])


def may_release(actor: Actor, basis: str | None) -> None:
    """Raises Forbidden for a release by whoever may not decide, Invalid for one on no basis."""
    if basis is not None:
        actor.must(Verb.DECIDE)
        _check_basis(basis, "/release/basis")


def open_each(actor: Actor, lots: Sequence[tuple[NewLot, str | None]]) -> list[Lot]:
    """Open lots whose dates and bases were looked at, each on the basis of its own."""
    codes = next_lot_codes(actor, len(lots))
    rows = [_row(actor, new, code) for (new, _), code in zip(lots, codes, strict=True)]
    based = [(lot, basis) for lot, (_, basis) in zip(rows, lots, strict=True)]
    Lot.objects.bulk_create(rows)
    Custody.objects.bulk_create(
        Custody(
            coop_id=actor.coop_id,
            maker_id=actor.maker,
            lot=lot,
            material_id=lot.material_id,
            status=Status.QUARANTINE if basis is None else Status.RELEASED,
        )
        for lot, basis in based
    )
    released = [(lot, basis) for lot, basis in based if basis is not None]
    if released:
        Decision.objects.bulk_create(
            _decision(actor, lot.id, "release", basis) for lot, basis in released
        )
    return rows


def inherit_status(actor: Actor, lots: Sequence[Lot], *, basis: str) -> None:
    """New lots are released as what they came from was; who did what is said by the basis."""
    own = Custody.objects.filter(coop_id=actor.coop_id, maker_id=actor.maker, lot__in=lots)
    own.update(status=Status.RELEASED, since=Now())
    Decision.objects.bulk_create(_decision(actor, lot.id, "release", basis) for lot in lots)


def decide(
    actor: Actor,
    *,
    lot: UUID | str,
    decision: str,
    basis: str,
    retest_on: date | None = None,
) -> tuple[Lot, Decision]:
    """Release, reject, hold or quarantine a lot, and keep who did so and on what basis.

    A decision may be taken again, on a new basis: the status stays, and the basis is kept too. A
    release after a retest may give the next retest date (ISO 22716 6.7); expiry is never extended.
    Raises NotFound, Forbidden, and Invalid for no basis or a date that cannot be.
    """
    actor.must(Verb.DECIDE)
    found = lot_for(actor, lot)
    status = BECOMES[decision]
    _check_basis(basis, "/basis")
    if retest_on is not None:
        if found.origin_id != actor.maker:
            raise Invalid("A lot is retested by the maker it came from.", pointer="/retest_on")
        _check_retest(found, decision, retest_on)
    # Whoever draws holds this lock when looking at the status: one of the two comes first.
    lock_pools([found.material_id])
    own = Custody.objects.filter(coop_id=actor.coop_id, maker_id=actor.maker, lot=found)
    own.exclude(status=status).update(status=status, since=Now())
    kept = _decision(actor, found.id, decision, basis)
    kept.retest_on = retest_on
    kept.save(force_insert=True)
    if retest_on is not None:
        _keep_retest(actor, found, kept)
    enqueue_checks(actor, [found.material_id])
    return found, kept


def _check_retest(lot: Lot, decision: str, retest_on: date) -> None:
    if decision != "release":
        raise Invalid("A new retest date goes with a release.", pointer="/retest_on")
    if lot.retest_on is None:
        raise Invalid("This lot has no retest date; its expiry stands.", pointer="/retest_on")
    if retest_on <= lot.retest_on or (lot.expires_on is not None and retest_on > lot.expires_on):
        raise Invalid(
            "The next retest date comes after the last one, and not after the expiry.",
            pointer="/retest_on",
        )


def _keep_retest(actor: Actor, lot: Lot, decision: Decision) -> None:
    """A release with a new retest date is the record of the retest, too."""
    if lot.retest_on is None:
        raise ValueError("Only a lot with a retest date is retested.")
    Retest.objects.create(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        lot=lot,
        passed=True,
        basis=decision.basis,
        retest_before=lot.retest_on,
        retest_on=decision.retest_on,
        decision=decision,
        person_id=actor.person_id,
    )
    with explained():
        Lot.objects.filter(id=lot.id).update(retest_on=decision.retest_on, version=F("version") + 1)


def decisions_of(actor: Actor, lot: UUID | str) -> "QuerySet[Decision]":
    """What the maker has decided about a lot, the latest first, each with the ids of the documents
    that it `rests_on`. Raises NotFound."""
    actor.must(Verb.READ)
    found = lot_for(actor, lot)
    named = DecisionDocument.objects.filter(coop_id=actor.coop_id, decision=OuterRef("id"))
    return (
        Decision.objects.filter(maker_id=actor.maker, lot=found)
        .annotate(rests_on=ArraySubquery(named.order_by("id").values("document_id")))
        .order_by("-id")
    )


def measure_density(actor: Actor, *, lot: UUID | str, density: Density, version: int | None) -> Lot:
    """Keep a lot's own measured density; it comes before the material's from now on.

    What was weighed by volume before stays as it was. Raises NotFound, Forbidden, Stale, and
    Invalid for what is counted.
    """
    actor.must(Verb.MAKE)
    rows = lots_visible_to(actor).select_for_update(of=("self",), no_key=True)
    found = find(rows.filter(origin_id=actor.maker), lot)
    if version is not None and found.version != version:
        raise Stale
    if found.material.counted:
        raise Invalid("What is counted has no density.", pointer="/density")
    found.density, found.density_at = density.grams_per_millilitre, density.celsius
    found.density_entered, found.version = density.entered, found.version + 1
    found.save(update_fields=["density", "density_at", "density_entered", "version"])
    return found


def must_be_stocked(material: Material, pointer: str) -> None:
    """Raises Invalid for water and the like: it is drawn when needed and never lies in store."""
    if not material.stocked:
        raise Invalid(
            Sentence(
                "{material} is not stocked: weigh it without a lot, and give its cost_per_kg.",
                material=material.name,
            ),
            pointer=pointer,
        )


def custody_of(actor: Actor, lot: Lot) -> Custody:
    """The maker's own say over a lot."""
    return Custody.objects.get(coop_id=actor.coop_id, maker_id=actor.maker, lot=lot)


def last_usable_day(lot: Any, use_by: date | None) -> date | None:
    """The last day on which a maker may use a lot, as `ledger_last_day` has it in SQL.

    It is the earliest of expiry, retest date, and `use_by`, which its custody tells of an open one.
    """
    days = [day for day in (lot.expires_on, lot.retest_on, use_by) if day is not None]
    return min(days, default=None)


def _check_basis(basis: str, pointer: str) -> None:
    if not basis.strip():
        raise Invalid("Say on what basis, such as the certificate seen.", pointer=pointer)


def _check_dates(new: NewLot, pointer: str) -> None:
    for name in ("expires_on", "retest_on"):
        day = getattr(new, name)
        if day is not None and day < new.arrived_on:
            raise Invalid(
                Sentence(
                    "{name} lies before the lot's arrival on {arrived_on}; check both dates.",
                    name=name,
                    arrived_on=new.arrived_on,
                ),
                pointer=f"{pointer}/{name}",
            )


def _row(actor: Actor, new: NewLot, code: str) -> Lot:
    return Lot(
        coop_id=actor.coop_id,
        code=code,
        material=new.material,
        origin_id=actor.maker,
        supplier_id=new.supplier_id,
        supplier_lot=new.supplier_lot,
        made_in_id=new.made_in_id,
        arrived_on=new.arrived_on,
        expires_on=new.expires_on,
        retest_on=new.retest_on,
        dates_note=new.dates_note,
        density=new.density and new.density.grams_per_millilitre,
        density_at=new.density and new.density.celsius,
        density_entered=new.density.entered if new.density else "",
    )


def _decision(actor: Actor, lot_id: UUID, decision: str, basis: str) -> Decision:
    return Decision(
        coop_id=actor.coop_id,
        maker_id=actor.maker,
        lot_id=lot_id,
        decision=decision,
        basis=basis,
        person_id=actor.person_id,
    )
