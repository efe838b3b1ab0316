"""The opening stock: lots that were there before the books began, at the value they then had."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from uuid import UUID

from ledger.access import Actor, day_of, material_for
from ledger.entries import Move, account, lock_pools, post_each
from ledger.errors import MoneyTooFine, placed
from ledger.issuing import Moved
from ledger.lots import NewLot, may_release, must_be_stocked, open_each
from ledger.measuring import Measured, measure
from ledger.models import Account, Entry, Material, Place
from ledger.money import minor_units, round_money
from ledger.places import New, places_named, put_new
from ledger.quantities import Density, Quantity
from ledger.roles import Verb


@dataclass(frozen=True, slots=True)
class There:
    """A lot that was there, as somebody typed it; released if it has a basis for that.

    `place` is where it lies, if somebody has said so.
    """

    material: Material
    quantity: Quantity
    value: Decimal
    supplier_lot: str
    expires_on: date | None = None
    retest_on: date | None = None
    density: Density | None = None
    release_basis: str | None = None
    place: Place | None = None


@dataclass(frozen=True, slots=True)
class Opening:
    """The same, looked at and measured, ready to be opened."""

    new: NewLot
    measured: Measured
    value: Decimal
    release_basis: str | None
    place: Place | None


def open_stock(
    actor: Actor,
    *,
    material: UUID | str,
    quantity: Quantity,
    value: Decimal,
    supplier_lot: str,
    happened_at: datetime,
    expires_on: date | None = None,
    retest_on: date | None = None,
    density: Density | None = None,
    release_basis: str | None = None,
    place: UUID | str | None = None,
) -> Moved:
    """Enter a lot that was there before the books began, at the value it then had.

    Raises NotFound, DensityMissing, Invalid, PlaceKeepsOther, PlaceRetired.
    """
    actor.must(Verb.RECEIVE)
    found = material_for(actor, material, pointer="/material")
    there = There(
        material=found,
        quantity=quantity,
        value=value,
        supplier_lot=supplier_lot,
        expires_on=expires_on,
        retest_on=retest_on,
        density=density,
        release_basis=release_basis,
        place=places_named(actor, [(place, "/place")])[0],
    )
    (moved,) = open_all(actor, [opening_of(actor, there, happened_at)], happened_at=happened_at)
    return moved


def opening_of(actor: Actor, there: There, happened_at: datetime) -> Opening:
    """Look at a lot that was there; nothing is asked of the database.

    Raises Forbidden, DensityMissing, Invalid, each with its pointer.
    """
    actor.must(Verb.RECEIVE)
    must_be_stocked(there.material, "/material")
    if there.value != round_money(there.value, actor.currency):
        digits = minor_units(actor.currency)
        raise MoneyTooFine(currency=actor.currency, digits=digits, pointer="/value")
    with placed("/quantity"):
        measured = measure(there.quantity, there.material, there.density)
    may_release(actor, there.release_basis)
    dates = [day for day in (there.expires_on, there.retest_on) if day is not None]
    new = NewLot(
        material=there.material,
        # It came at an unknown day before, and may be out of date by now.
        arrived_on=min([day_of(actor, happened_at), *dates]),
        supplier_lot=there.supplier_lot,
        expires_on=there.expires_on,
        retest_on=there.retest_on,
        density=there.density,
    )
    return Opening(new, measured, there.value, there.release_basis, there.place)


def open_all(actor: Actor, openings: Sequence[Opening], *, happened_at: datetime) -> list[Moved]:
    """Open lots, each by an entry of its own, in a fixed number of queries.

    Raises Invalid, PlaceKeepsOther, PlaceRetired.
    """
    lots = open_each(actor, [(one.new, one.release_basis) for one in openings])
    put_new(
        actor,
        [
            New(lot, one.release_basis is not None, one.place, "/place")
            for lot, one in zip(lots, openings, strict=True)
            if one.place
        ],
    )
    source = account(actor, Account.Kind.OPENING, "opening stock")
    store = account(actor, Account.Kind.STORE, "store")
    lock_pools(lot.material_id for lot in lots)
    posted = post_each(
        actor,
        kind=Entry.Kind.OPENING,
        happened_at=happened_at,
        entries=[
            (
                [Move(source, store, lot.id, one.measured.quantity, one.value)],
                {"lines": [one.measured.facts()]},
            )
            for lot, one in zip(lots, openings, strict=True)
        ],
    )
    return [
        Moved(entry, [lot], [one.measured])
        for entry, lot, one in zip(posted, lots, openings, strict=True)
    ]
